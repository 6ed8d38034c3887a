//! The constants of a plan, for nodes whose pace looks ahead.
//!
//! From a node, its policy and its typical income to [`millpond_policy::Plan`]. Energies and costs are those of the nominal
//! unit ([`typical`]). What physics leaves open (caution, reserve, target, how fast to learn: [`settings`]) is tuned by
//! running the very planner through made years that stray from the declared income ([`practice`]), with losses of supply and
//! cold starts at their real cost ([`drill`], [`tuning`]).

pub mod drill;
pub mod made;
pub mod practice;
pub mod rates;
pub mod settings;
pub mod tuning;
pub mod typical;

use std::fmt;

use millpond_policy::{Plan, Policy, Rejected};

use crate::income::Income;
use crate::node::{Node, Source};
use crate::parallel;
use crate::plan::practice::Year;
use crate::plan::settings::Settings;
use crate::plan::typical::Typical;
use crate::progress::Progress;
use crate::simulate::rule;
use crate::simulate::run::{Outcome, run};
use crate::simulate::timeline::Blind;
use crate::simulate::unit::Part;
use crate::thresholds::Thresholds;
use crate::units::*;

/// A plan and what it was made from.
#[derive(Clone, Debug)]
pub struct Planned {
    /// The constants.
    pub plan: Plan,
    /// The settings behind them.
    pub settings: Settings,
    /// The made years.
    pub years: Vec<Year>,
    /// Mean age at best over mean age reached, in each of the years.
    pub scores: Vec<f64>,
    /// Losses of supply in all years together.
    pub brownouts: u64,
    /// How often the years were run through.
    pub trials: usize,
}

/// Why a node has no plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NoPlan {
    /// The constants break a rule.
    Rejected(Rejected),
    /// The storage is too large to be counted in 31 bits of microjoules.
    TooLarge,
    /// In every made year the sleeping node runs empty.
    Hopeless,
}

impl fmt::Display for NoPlan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Rejected(rejected) => rejected.fmt(f),
            Self::TooLarge => f.write_str(
                "the storage holds more than 2147 J, more than a plan can count: keep pace = \"even\"",
            ),
            Self::Hopeless => f.write_str(
                "the income does not even keep the node asleep alive in any of the years that a plan is tuned on: more source, more storage or less sleeping current is needed",
            ),
        }
    }
}

impl std::error::Error for NoPlan {}

/// Tunes a plan for `node` on `income`. Deterministic; `progress` counts the settings that were tried.
///
/// # Errors
///
/// [`NoPlan`].
///
/// ```no_run
/// use millpond_income::income::Income;
/// use millpond_node::node::NodeFile;
/// use millpond_simulation::{plan, progress::Unseen};
/// use millpond_sizing::{policy, thresholds::Thresholds};
/// let node = NodeFile::load("crack-gauge.toml")?.node;
/// let thresholds = Thresholds::of(&node);
/// let policy = policy::policy(&node, &thresholds)?;
/// let income = Income::of(&node.harvest.source).ok_or("no income")?;
/// let planned = plan::tuned(&node, &thresholds, &policy, &income, &Unseen)?;
/// println!("{:?}", planned.plan.parts().caution);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn tuned(
    node: &Node,
    thresholds: &Thresholds,
    policy: &Policy,
    income: &Income,
    progress: &dyn Progress,
) -> Result<Planned, NoPlan> {
    tuned_on(node, thresholds, policy, practice::years(node, income), progress)
}

/// The same on these years alone, whatever they are.
///
/// # Errors
///
/// [`NoPlan`].
pub fn tuned_on(
    node: &Node,
    thresholds: &Thresholds,
    policy: &Policy,
    years: Vec<Year>,
    progress: &dyn Progress,
) -> Result<Planned, NoPlan> {
    let typical = Typical::of(node, thresholds).ok_or(NoPlan::TooLarge)?;
    if years.is_empty() {
        return Err(NoPlan::Hopeless);
    }
    let least = typical.least_settings(practice::worst_dark(node, typical.sleep(), &years));
    let found = tuning::best(policy, &typical, &years, least, progress).map_err(NoPlan::Rejected)?;
    let part = Part::nominal(node);
    let outcomes: Vec<Outcome> = parallel::each(years.iter().collect(), |year| {
        let mut rule = rule::Planned::new(*policy, found.plan);
        run(&part, &year.income, &mut rule, &year.course, &mut Blind)
    });
    let score =
        |(outcome, year): (&Outcome, &Year)| year.bound.mean_age.get::<second>() / outcome.mean_age_s();
    Ok(Planned {
        plan: found.plan,
        settings: found.settings,
        scores: outcomes.iter().zip(&years).map(score).collect(),
        brownouts: outcomes.iter().map(|outcome| outcome.brownouts).sum(),
        trials: found.trials,
        years,
    })
}

impl Planned {
    /// What the plan was made from, for the comment of a generated file.
    pub fn made_from(&self, source: &Source) -> Vec<String> {
        let source = match source {
            Source::Constant { .. } => "constant",
            Source::Photovoltaic { .. } => "photovoltaic",
            Source::Indoor { .. } => "indoor",
            Source::Trace => "trace",
        };
        let mut lines = vec![format!(
            "tuned on {} made years of the {source} income, {} settings tried, losses of supply: {}",
            self.years.len(),
            self.trials,
            self.brownouts
        )];
        lines.extend(
            self.years
                .iter()
                .zip(&self.scores)
                .map(|(year, score)| format!("    {}: score {score:.3}", year.name)),
        );
        lines.push(format!("settings: {}", self.settings));
        lines
    }
}

#[cfg(test)]
mod tests;
