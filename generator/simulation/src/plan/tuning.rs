//! The best settings of a plan, by direct search.
//!
//! From the usual settings, each one is moved by its step, down and up, all others kept; the best of these neighbours is
//! gone to, and where none is better the steps are halved (R. Hooke, T. A. Jeeves, "'Direct search' solution of numerical and
//! statistical problems", Journal of the ACM 8 (1961) 212-229; all neighbours tried at once, since they run in parallel).
//! No random numbers: the same node gives the same settings.

use std::collections::BTreeMap;

use millpond_policy::{Plan, Policy, Rejected};

use crate::bound::Bound;
use crate::parallel;
use crate::plan::drill::{Drilled, drill};
use crate::plan::practice::Year;
use crate::plan::settings::{ALL, COUNT, Settings};
use crate::plan::typical::Typical;
use crate::progress::Progress;
use crate::units::*;

/// At most so many moves: seconds on two cores.
const MOST_MOVES: usize = 40;
/// So often the steps are halved.
const HALVINGS: u32 = 2;
/// A loss of supply that foresight avoids weighs like this much of a year's score, beside the age that it costs.
const BROWNOUT_PRICE: f64 = 0.5;
/// A silence may be so many times that of foresight before it costs.
const SILENCE_ROOM: f64 = 2.0;
/// What e times more silence costs of a year's score.
const SILENCE_PRICE: f64 = 0.02;

/// What was found.
#[derive(Clone, Copy, Debug)]
pub struct Found {
    /// The constants.
    pub plan: Plan,
    /// The settings behind them.
    pub settings: Settings,
    /// Settings tried.
    pub trials: usize,
}

/// The best settings not below `least` over `years`.
///
/// # Errors
///
/// The rule that the constants under the first settings break; no settings break one that others do not.
pub fn best(
    policy: &Policy,
    typical: &Typical,
    years: &[Year],
    least: Settings,
    progress: &dyn Progress,
) -> Result<Found, Rejected> {
    let trial = |settings: &Settings| -> f64 {
        progress.step();
        typical.plan(settings).map_or(f64::NEG_INFINITY, |plan| {
            let worths: Vec<f64> = years
                .iter()
                .map(|year| worth(&drill(typical, policy, &plan, &year.flow), &year.bound))
                .collect();
            worths.iter().sum::<f64>() / years.len().max(1) as f64
        })
    };
    let start = Settings::usual().at_least(&least);
    typical.plan(&start)?;
    progress.expect((2 * COUNT * MOST_MOVES) as u64);
    let (settings, trials) = climb(start, &least, trial);
    Ok(Found {
        plan: typical.plan(&settings)?,
        settings,
        trials,
    })
}

/// From `start` to settings, none below `least`, that no neighbour betters in `trial`; and how many were tried.
pub fn climb(
    start: Settings,
    least: &Settings,
    trial: impl Fn(&Settings) -> f64 + Sync,
) -> (Settings, usize) {
    let mut here = start;
    let mut tried = BTreeMap::from([(here, trial(&here))]);
    let mut halvings = 0;
    for _ in 0..MOST_MOVES {
        let around: Vec<Settings> = neighbours(&here, least, halvings)
            .into_iter()
            .filter(|settings| !tried.contains_key(settings))
            .collect();
        let worths: Vec<f64> = parallel::each(around.iter().collect(), &trial);
        tried.extend(around.iter().copied().zip(worths.iter().copied()));
        let there = around
            .iter()
            .zip(&worths)
            .max_by(|(a, worth_a), (b, worth_b)| worth_a.total_cmp(worth_b).then(b.cmp(a)));
        match there {
            Some((settings, worth)) if *worth > tried[&here] => here = *settings,
            _ if halvings < HALVINGS => halvings += 1,
            _ => break,
        }
    }
    (here, tried.len())
}

/// Each setting one step down and one up, as far as its range goes.
fn neighbours(here: &Settings, least: &Settings, halvings: u32) -> Vec<Settings> {
    let mut around = Vec::with_capacity(2 * COUNT);
    for (index, setting) in ALL.iter().enumerate() {
        let step = (setting.step >> halvings).max(1);
        for moved in [here.0[index] - step, here.0[index] + step] {
            let mut there = *here;
            there.0[index] = moved.clamp(least.0[index].max(setting.least), setting.most);
            if there != *here && !around.contains(&there) {
                around.push(there);
            }
        }
    }
    around
}

/// What the search makes as large as it can: the score, less the price of losses of supply and of long silences. Not its logarithm,
/// which one hopeless year would rule.
pub fn worth(drilled: &Drilled, bound: &Bound) -> f64 {
    let score = bound.mean_age.get::<second>() / drilled.mean_age_s;
    let silence = drilled.longest_silence_s / (SILENCE_ROOM * bound.longest_silence.get::<second>());
    score - BROWNOUT_PRICE * f64::from(drilled.brownouts) - SILENCE_PRICE * libm::log(silence).max(0.0)
}
