//! What came of a simulated node.

use serde::Serialize;

use crate::findings::Finding;
use crate::node::Node;
use crate::printout;
use crate::printout::table::table;
use crate::simulate::made::PLANNED;
use crate::simulate::population::{Parts, QUANTILES};
use crate::simulate::run::Outcome;
use crate::simulate::study::Study;
use crate::text::{Engineering, in_days};
use crate::units::*;

/// Length of a bar: the score of perfect foresight.
const BAR_CHARACTERS: usize = 50;

/// What has to be said where the plan has the usual settings.
const TUNING: &str = "planned, not tuned: a plan with the usual settings; `--pace planned` tunes the one that would be flashed\n";
/// Why there is nothing to hold the rules against.
const NO_BOUND: &str =
    "note: no score and no row of foresight: on this income even a node that only sleeps loses its supply\n";

/// The run as JSON has it.
#[derive(Serialize)]
pub struct View {
    node: String,
    #[serde(flatten)]
    outcome: OutcomeView,
    bound: Option<BoundView>,
    bound_at_thresholds: Option<AtThresholdsView>,
    pace: &'static str,
    /// Whether the plan behind it is the node's own; `null` where there is none.
    tuned: Option<bool>,
    paces: Vec<Named>,
    baselines: Vec<Named>,
    parts: Option<PartsView>,
    /// What the run shows.
    findings: Vec<printout::findings::View>,
    runtime_s: f64,
}

#[derive(Serialize)]
struct OutcomeView {
    days: f64,
    reports: u64,
    measurements: u64,
    decisions: u64,
    starts: u64,
    failed_starts: u64,
    brownouts: u64,
    action_brownouts: u64,
    uptime_fraction: f64,
    mean_age_s: f64,
    longest_silence_s: f64,
    harvested_j: f64,
    spent_j: f64,
    resistance_j: f64,
    spilled_j: f64,
    leaked_j: f64,
    stored_start_j: f64,
    stored_end_j: f64,
}

#[derive(Serialize)]
struct BoundView {
    mean_age_s: f64,
    reports: f64,
    longest_silence_s: f64,
    ratio: f64,
}

#[derive(Serialize)]
struct AtThresholdsView {
    mean_age_s: f64,
    ratio: f64,
    longest_silence_s: f64,
}

#[derive(Serialize)]
struct Named {
    name: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    tuned: Option<bool>,
    #[serde(flatten)]
    outcome: OutcomeView,
    ratio: Option<f64>,
}

#[derive(Serialize)]
struct PartsView {
    count: usize,
    brownouts: u64,
    action_brownouts: u64,
    worst: Option<usize>,
    quantiles: [f64; QUANTILES.len()],
    mean_age_s: [f64; QUANTILES.len()],
    longest_silence_s: [f64; QUANTILES.len()],
    reports: [f64; QUANTILES.len()],
    uptime_fraction: [f64; QUANTILES.len()],
}

impl View {
    /// The view of a study, of many units if there were any, and of what they show.
    pub fn of(
        node: &Node,
        study: &Study,
        parts: Option<&Parts>,
        findings: &[Finding],
        runtime_s: f64,
    ) -> Self {
        Self {
            node: node.name.clone(),
            outcome: outcome(&study.outcome),
            bound: study
                .bound
                .as_ref()
                .zip(study.ratio(&study.outcome))
                .map(|(bound, score)| BoundView {
                    mean_age_s: bound.mean_age.get::<second>(),
                    reports: bound.reports,
                    longest_silence_s: bound.longest_silence.get::<second>(),
                    ratio: score,
                }),
            bound_at_thresholds: study
                .bound_at_thresholds
                .as_ref()
                .zip(study.ratio_at_thresholds(&study.outcome))
                .map(|(bound, score)| AtThresholdsView {
                    mean_age_s: bound.mean_age.get::<second>(),
                    ratio: score,
                    longest_silence_s: bound.longest_silence.get::<second>(),
                }),
            pace: node.policy.pace.name(),
            tuned: tuned(node.policy.pace.name(), study),
            paces: study
                .paces
                .iter()
                .map(|(name, run)| named(name, run, study))
                .collect(),
            baselines: study
                .baselines
                .iter()
                .map(|(name, run)| named(name, run, study))
                .collect(),
            parts: parts.map(|parts| PartsView {
                count: parts.outcomes.len(),
                brownouts: parts.brownouts(),
                action_brownouts: parts.action_brownouts(),
                worst: parts.worst(),
                quantiles: QUANTILES,
                mean_age_s: parts.quantiles(Outcome::mean_age_s),
                longest_silence_s: parts.quantiles(|outcome| outcome.longest_silence_s),
                reports: parts.quantiles(|outcome| outcome.reports as f64),
                uptime_fraction: parts.quantiles(Outcome::uptime_fraction),
            }),
            findings: printout::findings::views(findings),
            runtime_s,
        }
    }
}

/// Whether the pace of this name has the node's own settings; `None` where there are none to tune.
fn tuned(name: &str, study: &Study) -> Option<bool> {
    let made = study.made.filter(|_| name == PLANNED)?;
    Some(made.is_tuned)
}

fn named(name: &'static str, run: &Outcome, study: &Study) -> Named {
    Named {
        name,
        tuned: tuned(name, study),
        outcome: outcome(run),
        ratio: study.ratio(run),
    }
}

fn outcome(outcome: &Outcome) -> OutcomeView {
    let ledger = &outcome.ledger;
    OutcomeView {
        days: outcome.duration_s / 86_400.0,
        reports: outcome.reports,
        measurements: outcome.measurements,
        decisions: outcome.decisions,
        starts: outcome.starts,
        failed_starts: outcome.failed_starts,
        brownouts: outcome.brownouts,
        action_brownouts: outcome.action_brownouts,
        uptime_fraction: outcome.uptime_fraction(),
        mean_age_s: outcome.mean_age_s(),
        longest_silence_s: outcome.longest_silence_s,
        harvested_j: ledger.harvested_j,
        spent_j: ledger.spent_j,
        resistance_j: ledger.resistance_j,
        spilled_j: ledger.spilled_j,
        leaked_j: ledger.leaked_j,
        stored_start_j: ledger.stored_start_j,
        stored_end_j: ledger.stored_end_j,
    }
}

/// The study as tables, and what it shows.
pub fn text(node: &Node, study: &Study, parts: Option<&Parts>, findings: &[Finding]) -> String {
    let mut rows = vec![row(
        &format!("policy, pace {}", study.title(node.policy.pace.name())),
        &study.outcome,
        study,
    )];
    rows.extend(
        study
            .paces
            .iter()
            .map(|(name, run)| row(&format!("policy, pace {}", study.title(name)), run, study)),
    );
    rows.extend(study.baselines.iter().map(|(name, run)| row(name, run, study)));
    let bounds = [
        ("foresight at the thresholds", &study.bound_at_thresholds),
        ("perfect foresight, at best", &study.bound),
    ];
    let best = study.bound.as_ref();
    for (name, bound) in bounds {
        let (Some(bound), Some(best)) = (bound, best) else {
            continue;
        };
        let score = (best.mean_age / bound.mean_age).get::<ratio>();
        rows.push(vec![
            name.to_owned(),
            format!("{:.0}", bound.reports),
            Engineering(bound.mean_age, "s").to_string(),
            if score == 1.0 {
                "1".to_owned()
            } else {
                format!("{score:.3}")
            },
            Engineering(bound.longest_silence, "s").to_string(),
            "0".to_owned(),
            "1".to_owned(),
        ]);
    }
    let head = [
        "rule",
        "reports",
        "mean age",
        "score",
        "longest silence",
        "brown-outs",
        "uptime",
    ];
    let mut text = format!(
        "{}, {}\n\n{}",
        node.name,
        in_days(study.outcome.duration_s / 86_400.0),
        table(&head, rows)
    );
    text.push_str(
        "mean age of the newest report; score: the age that perfect foresight reaches at best, over the age reached\n",
    );
    if let Some(score) = study.ratio_at_thresholds(&study.outcome) {
        text.push_str(&format!(
            "of the policy's score, the margins of its thresholds cost what foresight at the thresholds lacks to 1; against that \
             foresight its pace scores {score:.3}\n"
        ));
    }
    text.push_str(&start(study));
    if tuned(PLANNED, study) == Some(false) {
        text.push_str(TUNING);
    }
    if study.bound.is_none() {
        text.push_str(NO_BOUND);
    }
    if let Some(note) = study.note {
        text.push_str(&format!("note: {note} (--trace)\n"));
    }
    text.push('\n');
    text.push_str(&bars(node, study));
    let accounts = study.outcome.ledger.accounts();
    text.push_str(&table(
        &["energy", "policy"],
        accounts
            .map(|(name, energy_j)| vec![name.to_owned(), Engineering(joules(energy_j), "J").to_string()]),
    ));
    if let Some(parts) = parts {
        text.push('\n');
        text.push_str(&parts_text(parts));
    }
    if !findings.is_empty() {
        text.push('\n');
        text.push_str(&printout::findings::text(findings));
    }
    text
}

/// Where the run begins: what its first night looks like rests on that.
fn start(study: &Study) -> String {
    let start = Engineering(study.start, "V");
    let when = if study.is_own_income {
        "00:00 of day 1"
    } else {
        "the start of the trace"
    };
    format!("starts at {start} at {when}, connected and with nothing learned; the first day is counted\n")
}

/// The scores as bars, foresight's being the whole width; nothing without a bound.
fn bars(node: &Node, study: &Study) -> String {
    let own = [(node.policy.pace.name(), &study.outcome)];
    let others = study.paces.iter().chain(&study.baselines);
    let rules: Vec<(&'static str, f64)> = own
        .into_iter()
        .chain(others.map(|(name, run)| (*name, run)))
        .filter_map(|(name, run)| Some((study.title(name), study.ratio(run)?)))
        .collect();
    if rules.is_empty() {
        return String::new();
    }
    let width = rules.iter().map(|(name, _)| name.len()).max().unwrap_or(0);
    let lines = rules.iter().map(|(name, score)| {
        let filled = (score.clamp(0.0, 1.0) * BAR_CHARACTERS as f64).round() as usize;
        format!(
            " {name:<width$}  {}{} {score:.3}\n",
            "█".repeat(filled),
            "░".repeat(BAR_CHARACTERS - filled)
        )
    });
    lines.collect::<String>() + "\n"
}

fn row(name: &str, outcome: &Outcome, study: &Study) -> Vec<String> {
    vec![
        name.to_owned(),
        outcome.reports.to_string(),
        Engineering(seconds(outcome.mean_age_s()), "s").to_string(),
        study
            .ratio(outcome)
            .map_or_else(|| "-".to_owned(), |score| format!("{score:.3}")),
        Engineering(seconds(outcome.longest_silence_s), "s").to_string(),
        outcome.brownouts.to_string(),
        format!("{:.4}", outcome.uptime_fraction()),
    ]
}

fn parts_text(parts: &Parts) -> String {
    let time =
        |figures: [f64; QUANTILES.len()]| figures.map(|time_s| Engineering(seconds(time_s), "s").to_string());
    let rows = [
        ("mean age", time(parts.quantiles(Outcome::mean_age_s))),
        (
            "longest silence",
            time(parts.quantiles(|outcome| outcome.longest_silence_s)),
        ),
        (
            "reports",
            parts
                .quantiles(|outcome| outcome.reports as f64)
                .map(|count| format!("{count:.0}")),
        ),
        (
            "uptime",
            parts
                .quantiles(Outcome::uptime_fraction)
                .map(|part| format!("{part:.4}")),
        ),
    ];
    let head: Vec<String> = std::iter::once(format!("{} units", parts.outcomes.len()))
        .chain(QUANTILES.map(|share| format!("{:.0} %", share * 100.0)))
        .collect();
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    let mut text = table(
        &head,
        rows.map(|(name, figures)| std::iter::once(name.to_owned()).chain(figures).collect()),
    );
    text.push_str(&format!(
        "brown-outs of all units: {}, of these during a granted action: {}\n",
        parts.brownouts(),
        parts.action_brownouts()
    ));
    if let Some(worst) = parts.worst() {
        text.push_str(&format!("worst unit: number {worst}\n"));
    }
    text
}
