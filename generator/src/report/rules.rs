//! Every pace, every baseline and perfect foresight, side by side.

use serde::Serialize;

use super::actions::Share;
use crate::bound::Bound;
use crate::node::{Node, Pace};
use crate::simulate::made::PLANNED;
use crate::simulate::run::Outcome;
use crate::simulate::study::{EVEN, Study};
use crate::text::Engineering;
use crate::units::*;

/// The comparison.
#[derive(Serialize)]
pub(super) struct Rules {
    rows: Vec<Row>,
    has_bound: bool,
    /// Score of this node's pace against foresight that keeps the thresholds.
    pace_score: Option<String>,
    note: Option<&'static str>,
    ledger: Vec<Account>,
}

#[derive(Serialize)]
struct Row {
    name: String,
    is_own: bool,
    reports: String,
    mean_age: String,
    score: String,
    bar: Option<Share>,
    longest_silence: String,
    brownouts: String,
    uptime: String,
}

#[derive(Serialize)]
struct Account {
    name: String,
    energy: String,
}

impl Rules {
    /// The comparison of a study of `node`.
    pub(super) fn of(node: &Node, study: &Study) -> Self {
        let own = match node.policy.pace {
            Pace::Even => EVEN,
            Pace::Planned => PLANNED,
        };
        let mut rows = vec![row(
            format!("policy, pace {}", study.title(own)),
            true,
            &study.outcome,
            study,
        )];
        let paces = study.paces.iter().map(|(name, outcome)| {
            row(
                format!("policy, pace {}", study.title(name)),
                false,
                outcome,
                study,
            )
        });
        rows.extend(paces);
        let baselines = study
            .baselines
            .iter()
            .map(|(name, outcome)| row((*name).to_owned(), false, outcome, study));
        rows.extend(baselines);
        if let (Some(at_thresholds), Some(best)) = (&study.bound_at_thresholds, &study.bound) {
            let score = (best.mean_age / at_thresholds.mean_age).get::<ratio>();
            let name = "foresight at the thresholds";
            rows.push(foresight(name, at_thresholds, score, format!("{score:.3}")));
            rows.push(foresight("perfect foresight, at best", best, 1.0, "1".to_owned()));
        }
        Self {
            rows,
            has_bound: study.bound.is_some(),
            pace_score: study
                .ratio_at_thresholds(&study.outcome)
                .map(|score| format!("{score:.3}")),
            note: study.note,
            ledger: study
                .outcome
                .ledger
                .accounts()
                .map(|(name, energy_j)| Account {
                    name: name.replace('-', "−"),
                    energy: Engineering(joules(energy_j), "J").to_string(),
                })
                .into(),
        }
    }
}

fn foresight(name: &str, bound: &Bound, share: f64, score: String) -> Row {
    Row {
        name: name.to_owned(),
        is_own: false,
        reports: format!("{:.0}", bound.reports),
        mean_age: Engineering(bound.mean_age, "s").to_string(),
        score,
        bar: Some(Share::of(share)),
        longest_silence: Engineering(bound.longest_silence, "s").to_string(),
        brownouts: "0".to_owned(),
        uptime: "1".to_owned(),
    }
}

fn row(name: String, is_own: bool, outcome: &Outcome, study: &Study) -> Row {
    let score = study.ratio(outcome);
    Row {
        name,
        is_own,
        reports: outcome.reports.to_string(),
        mean_age: Engineering(seconds(outcome.mean_age_s()), "s").to_string(),
        score: score.map_or_else(|| "–".to_owned(), |score| format!("{score:.3}")),
        bar: score.map(Share::of),
        longest_silence: Engineering(seconds(outcome.longest_silence_s), "s").to_string(),
        brownouts: outcome.brownouts.to_string(),
        uptime: format!("{:.4}", outcome.uptime_fraction()),
    }
}
