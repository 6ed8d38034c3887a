//! Every pace, every baseline and perfect foresight, side by side.

use serde::Serialize;

use super::actions::Share;
use crate::node::{Node, Pace};
use crate::simulate::run::Outcome;
use crate::simulate::study::{EVEN, PLANNED, Study};
use crate::text::Engineering;
use crate::units::*;

/// The comparison.
#[derive(Serialize)]
pub(super) struct Rules {
    rows: Vec<Row>,
    has_bound: bool,
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
        rows.extend(study.bound.as_ref().map(|bound| Row {
            name: "perfect foresight, at best".to_owned(),
            is_own: false,
            reports: format!("{:.0}", bound.reports),
            mean_age: Engineering(bound.mean_age, "s").to_string(),
            score: "1".to_owned(),
            bar: Some(Share::of(1.0)),
            longest_silence: Engineering(bound.longest_silence, "s").to_string(),
            brownouts: "0".to_owned(),
            uptime: "1".to_owned(),
        }));
        Self {
            rows,
            has_bound: study.bound.is_some(),
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
