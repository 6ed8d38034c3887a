//! How well each pace does on income that it was not made from: rows for the binary `paces` and its test.
//!
//! Every record has its own node: the evaluation's node with the source that an engineer would declare for the place. The
//! planned pace is tuned on made years of that declared source (millpond::plan) and then runs on the record, which it has
//! never seen.

mod income;
mod record;

use indicatif::ProgressBar;
use millpond::income::Income;
use millpond::plan;
use millpond::plan::made::Made;
use millpond::plan::practice::Year;
use millpond::policy;
use millpond::progress::Unseen;
use millpond::simulate;
use millpond::simulate::rule::Planned;
use millpond::simulate::run::{Outcome, run};
use millpond::simulate::study::Study;
use millpond::simulate::timeline::Blind;
use millpond::simulate::unit::Part;
use millpond::statistics::median;
use millpond::thresholds::Thresholds;
use millpond::units::*;
use rayon::prelude::*;
use serde::Serialize;

pub use record::{Place, RECORDS, Record, Source};

use crate::tool::Tool;

/// No plan may lose the supply in this time from power-up, where foresight does not.
const FIRST_DAYS: f64 = 3.0;
/// Sections of the year from which the first days are tried.
const STARTS: usize = 12;
/// Rules of publications, for the comparison that the goal asks for.
pub const PUBLISHED: [&str; 2] = ["hourly slot averages", "constant fraction"];

/// One pace on one record.
#[derive(Clone, Debug, Serialize)]
pub struct Row {
    /// The income.
    pub record: String,
    /// The pace or rule.
    pub pace: &'static str,
    /// Mean age at best over mean age reached; `None` where even foresight cannot keep the node alive.
    pub score: Option<f64>,
    /// Time without a running firmware (s).
    pub dead_s: f64,
    /// Losses of supply.
    pub brownouts: u64,
    /// Longest time without a report (s).
    pub longest_silence_s: f64,
    /// The same under foresight (s).
    pub bound_silence_s: Option<f64>,
    /// Losses of supply in the first three days, from twelve starts over the year; for the planned pace.
    pub early_brownouts: Option<u64>,
}

/// The rows of all records that can be had; what is missing is said through `missing`.
///
/// # Errors
///
/// If a node file or a record cannot be used.
///
/// With `hindsight` there is one row more for each record: a plan whose settings were tuned on the record itself. What it
/// gains is what the declared income did not tell; what it still lacks, no settings of this planner reach.
pub fn rows(
    python: Option<&Tool>,
    hindsight: bool,
    progress: &ProgressBar,
    missing: impl Fn(&str) + Sync,
) -> Result<Vec<Row>, String> {
    progress.set_length(RECORDS.len() as u64);
    let parts: Vec<Vec<Row>> = RECORDS
        .par_iter()
        .map(|record| {
            let rows = match record.income(python)? {
                Some(income) => of_record(record, &income, hindsight)?,
                None => {
                    missing(record.name);
                    Vec::new()
                }
            };
            progress.inc(1);
            Ok(rows)
        })
        .collect::<Result<_, String>>()?;
    Ok(parts.into_iter().flatten().collect())
}

/// All paces and rules on one record.
///
/// # Errors
///
/// If the node of the record cannot work.
pub fn of_record(record: &Record, income: &Income, hindsight: bool) -> Result<Vec<Row>, String> {
    let node = record.node()?;
    let thresholds = Thresholds::of(&node);
    let policy = policy::policy(&node, &thresholds).map_err(|rule| rule.text().to_owned())?;
    let declared = Income::of(&node.harvest.source).ok_or("the node declares no income")?;
    let planned = plan::tuned(&node, &thresholds, &policy, &declared, &Unseen)
        .map_err(|error| format!("{}: {error}", record.name))?;
    let course = simulate::course(&node, record.days as f64);
    let study = Study::of(
        &node,
        &thresholds,
        policy,
        Some(Made::from(&planned)),
        income,
        &course,
        &mut Blind,
    );
    let early = early_brownouts(record, income, &node, policy, planned.plan);
    let row = |pace: &'static str, outcome: &Outcome, early_brownouts| Row {
        record: record.name.to_owned(),
        pace,
        score: study.ratio(outcome),
        dead_s: outcome.duration_s - outcome.up_s,
        brownouts: outcome.brownouts,
        longest_silence_s: outcome.longest_silence_s,
        bound_silence_s: study
            .bound
            .as_ref()
            .map(|bound| bound.longest_silence.get::<second>()),
        early_brownouts,
    };
    let mut rows = vec![row("planned", &study.outcome, Some(early))];
    if hindsight && let Some(year) = Year::of(&node, "the record itself", income.clone(), record.days as f64)
    {
        let best = plan::tuned_on(&node, &thresholds, &policy, vec![year], &Unseen)
            .map_err(|error| format!("{}: {error}", record.name))?;
        let part = Part::nominal(&node);
        let mut rule = Planned::new(policy, best.plan);
        let outcome = run(&part, income, &mut rule, &course, &mut Blind);
        rows.push(row("planned, tuned in hindsight", &outcome, None));
    }
    rows.extend(
        study
            .paces
            .iter()
            .chain(&study.baselines)
            .map(|(name, outcome)| row(name, outcome, None)),
    );
    Ok(rows)
}

/// Losses of supply in the first days of a node that knows nothing, switched on at twelve times of the record.
fn early_brownouts(
    record: &Record,
    income: &Income,
    node: &millpond::node::Node,
    policy: millpond_policy::Policy,
    plan: millpond_policy::Plan,
) -> u64 {
    let step = seconds(3600.0);
    let hours = income.means(step, record.days * 24);
    let part = Part::nominal(node);
    let course = simulate::course(node, FIRST_DAYS);
    (0..STARTS)
        .map(|start| {
            let first = start * hours.len() / STARTS;
            let powers = hours.iter().cycle().skip(first).take(24 * FIRST_DAYS as usize);
            let income = Income::of_steps(step, powers.map(|power_w| watts(*power_w)));
            if millpond::bound::clairvoyant(&simulate::study::foresight(node, &income, &course)).is_err() {
                return 0;
            }
            let mut rule = Planned::new(policy, plan);
            run(&part, &income, &mut rule, &course, &mut Blind).brownouts
        })
        .sum()
}

/// Median, worst score and the ratio to the best published rule, of the records in which foresight keeps the node alive.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Summary {
    /// Records with a bound.
    pub records: usize,
    /// Median score of the planned pace.
    pub median: f64,
    /// Worst score of the planned pace.
    pub worst: f64,
    /// That median over the median of the best published rule.
    pub over_published: f64,
    /// Largest longest silence of the planned pace, in times of foresight's.
    pub silence: f64,
    /// Losses of supply of the planned pace, those of the first days included.
    pub brownouts: u64,
}

/// What the rows say of the planned pace; `None` without a record that has a bound.
pub fn summary(rows: &[Row]) -> Option<Summary> {
    let planned: Vec<&Row> = rows
        .iter()
        .filter(|row| row.pace == "planned" && row.score.is_some())
        .collect();
    let middle_of = |mut values: Vec<f64>| median(&mut values);
    let scores: Vec<f64> = planned.iter().filter_map(|row| row.score).collect();
    // The rule of a publication whose median is the best.
    let published = PUBLISHED
        .iter()
        .filter_map(|name| {
            let scores = rows.iter().filter(|row| row.pace == *name);
            middle_of(scores.filter_map(|row| row.score).collect())
        })
        .max_by(f64::total_cmp)?;
    let middle = middle_of(scores.clone())?;
    Some(Summary {
        records: planned.len(),
        worst: scores.iter().copied().min_by(f64::total_cmp)?,
        median: middle,
        over_published: middle / published,
        silence: planned
            .iter()
            .filter_map(|row| Some(row.longest_silence_s / row.bound_silence_s?))
            .max_by(f64::total_cmp)?,
        brownouts: planned
            .iter()
            .map(|row| row.brownouts + row.early_brownouts.unwrap_or(0))
            .sum(),
    })
}
