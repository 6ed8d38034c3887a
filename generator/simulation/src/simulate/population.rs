//! Many units of one node, each with its own parts, on all cores.

use millpond_policy::{Plan, Policy};
use rand_pcg::Pcg64;

use crate::income::Income;
use crate::node::Node;
use crate::parallel;
use crate::progress::Progress;
use crate::simulate::rule::{Flashed, Planned};
use crate::simulate::run::{self, Outcome, run};
use crate::simulate::timeline::Blind;
use crate::simulate::unit::Part;

/// Shares of the units for which a figure is given.
pub const QUANTILES: [f64; 5] = [0.0, 0.05, 0.5, 0.95, 1.0];

/// What every unit has in its flash.
#[derive(Clone, Copy, Debug)]
pub struct Flashing {
    /// The policy.
    pub policy: Policy,
    /// The plan of a node whose pace looks ahead.
    pub plan: Option<Plan>,
}

/// What came of many units, in the order of their numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct Parts {
    /// One for each unit.
    pub outcomes: Vec<Outcome>,
}

impl Parts {
    /// Runs `count` units. Each has its own stream of random numbers, so that the result depends on `seed` and not on the number
    /// of cores; `progress` shows how many are done.
    pub fn of(
        node: &Node,
        flashed: Flashing,
        income: &Income,
        course: &run::Course,
        count: u32,
        seed: u64,
        progress: &dyn Progress,
    ) -> Self {
        let outcomes = parallel::each((0..count).collect(), |number| {
            let mut random = Pcg64::new(u128::from(seed), u128::from(number));
            let part = Part::random(node, &mut random);
            let policy = flashed.policy;
            let outcome = match flashed.plan {
                Some(plan) => run(&part, income, &mut Planned::new(policy, plan), course, &mut Blind),
                None => run(&part, income, &mut Flashed::new(policy), course, &mut Blind),
            };
            progress.step();
            outcome
        });
        Self { outcomes }
    }

    /// Number of the unit with the most losses of supply, and among those the oldest reports; `None` without units.
    pub fn worst(&self) -> Option<usize> {
        (0..self.outcomes.len()).max_by(|a, b| {
            let (a, b) = (&self.outcomes[*a], &self.outcomes[*b]);
            a.brownouts
                .cmp(&b.brownouts)
                .then(a.mean_age_s().total_cmp(&b.mean_age_s()))
        })
    }

    /// A figure of the units at each of [`QUANTILES`], the nearest unit's.
    pub fn quantiles(&self, figure: impl Fn(&Outcome) -> f64) -> [f64; QUANTILES.len()] {
        let mut figures: Vec<f64> = self.outcomes.iter().map(figure).collect();
        figures.sort_by(f64::total_cmp);
        QUANTILES.map(|share| {
            let last = figures.len().saturating_sub(1) as f64;
            figures
                .get((share * last).round() as usize)
                .copied()
                .unwrap_or(f64::NAN)
        })
    }

    /// Losses of supply of all units together during actions that the policy had granted.
    pub fn action_brownouts(&self) -> u64 {
        self.outcomes.iter().map(|outcome| outcome.action_brownouts).sum()
    }

    /// Losses of supply of all units together.
    pub fn brownouts(&self) -> u64 {
        self.outcomes.iter().map(|outcome| outcome.brownouts).sum()
    }
}
