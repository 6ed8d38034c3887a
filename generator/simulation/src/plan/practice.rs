//! Made years to tune a plan on: the declared income, strayed from in ways that the plan has to live with.
//!
//! Weather comes in spells: good and poor days follow one another as a Markov chain of two states, each day with its own
//! spread, each half hour with noise that fades over hours (an autoregressive process of order 1); lamps that stay off and sources that fail are whole
//! stretches without income. The forms are common practice in making weather; the numbers are this project's own, wide on
//! purpose, and no place's record is among them.

use rand::RngExt;
use rand_pcg::Pcg64;

use crate::bound::{Bound, clairvoyant};
use crate::income::Income;
use crate::model::bank::{Bank, Wear};
use crate::node::{Node, Source};
use crate::plan::drill::{self, Flow};
use crate::simulate;
use crate::simulate::run::Course;
use crate::simulate::study::foresight;
use crate::statistics::normal;
use crate::thresholds;
use crate::units::*;

/// Length of a step (s).
const STEP_S: f64 = 1800.0;
const STEPS_PER_DAY: usize = 48;
/// A year has seasons for a source that has them.
const SEASONS_DAYS: usize = 365;
/// Half of it for one that has none.
const NO_SEASONS_DAYS: usize = 182;
/// What the noise of a step keeps of the step before: it fades over three hours.
const NOISE_KEPT: f64 = 0.85;
/// What is left of the income on a day that fails.
const FAILED: f64 = 0.05;
/// Every made year has its own stream of this generator's numbers.
const SEED: u128 = 0x6d70;

/// How a made year strays from the declared income.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Climate {
    name: &'static str,
    /// The whole year by this factor: dirt, shade, a mistaken area.
    scale: f64,
    /// Mean lengths of spells (days).
    good_days: f64,
    poor_days: f64,
    /// Factor on the income of a good and of a poor day.
    good: f64,
    poor: f64,
    /// Standard deviation of a day's factor, as a part of it.
    day_spread: f64,
    /// Standard deviation of the logarithm of a step's factor.
    noise: f64,
    /// Share of the days that fail.
    failing: f64,
    /// Mean lengths of running and of standing (h); standing 0 for a source that never stops.
    running_h: f64,
    standing_h: f64,
    /// The day of the year shifted by so many hours: no place is where the node file says.
    shift_h: usize,
}

/// What the next ones have in common.
const PLAIN: Climate = Climate {
    name: "",
    scale: 1.0,
    good_days: 5.0,
    poor_days: 3.0,
    good: 0.8,
    poor: 0.3,
    day_spread: 0.2,
    noise: 0.4,
    failing: 0.0,
    running_h: 1.0,
    standing_h: 0.0,
    shift_h: 0,
};

/// Outdoor light. The factors are on a clear sky.
const OUTDOORS: [Climate; 7] = [
    Climate {
        name: "changeable",
        ..PLAIN
    },
    Climate {
        name: "dull, module shaded",
        scale: 0.75,
        good_days: 3.0,
        poor_days: 4.0,
        poor: 0.2,
        day_spread: 0.3,
        shift_h: 3,
        ..PLAIN
    },
    Climate {
        name: "dry",
        good_days: 12.0,
        poor_days: 2.0,
        good: 0.9,
        day_spread: 0.1,
        noise: 0.2,
        ..PLAIN
    },
    Climate {
        name: "showers",
        good_days: 2.0,
        poor_days: 2.0,
        good: 0.75,
        poor: 0.25,
        day_spread: 0.3,
        noise: 0.6,
        shift_h: 7,
        ..PLAIN
    },
    Climate {
        name: "long dull spells",
        good_days: 15.0,
        poor_days: 7.0,
        poor: 0.25,
        shift_h: 13,
        ..PLAIN
    },
    Climate {
        name: "weeks of gloom",
        scale: 0.85,
        good_days: 14.0,
        poor_days: 8.0,
        good: 0.7,
        poor: 0.13,
        day_spread: 0.3,
        shift_h: 19,
        ..PLAIN
    },
    Climate {
        name: "bright, larger module",
        scale: 1.3,
        good_days: 6.0,
        good: 0.85,
        ..PLAIN
    },
];

/// Light by a schedule.
const INDOORS: [Climate; 5] = [
    Climate {
        name: "as scheduled",
        good_days: 30.0,
        poor_days: 1.0,
        good: 1.0,
        poor: 0.7,
        day_spread: 0.1,
        noise: 0.2,
        ..PLAIN
    },
    Climate {
        name: "lamps often left off",
        good_days: 8.0,
        poor_days: 1.5,
        good: 0.9,
        poor: 0.5,
        noise: 0.5,
        failing: 0.05,
        shift_h: 50,
        ..PLAIN
    },
    Climate {
        name: "closed for a week now and then",
        good_days: 45.0,
        poor_days: 7.0,
        good: 1.0,
        poor: FAILED,
        day_spread: 0.1,
        noise: 0.2,
        shift_h: 100,
        ..PLAIN
    },
    Climate {
        name: "dim",
        scale: 0.75,
        good_days: 20.0,
        poor_days: 3.0,
        good: 1.0,
        poor: 0.6,
        day_spread: 0.15,
        noise: 0.3,
        failing: 0.02,
        shift_h: 75,
        ..PLAIN
    },
    Climate {
        name: "bright",
        scale: 1.25,
        good_days: 20.0,
        poor_days: 2.0,
        good: 1.0,
        poor: 0.7,
        day_spread: 0.1,
        failing: 0.03,
        shift_h: 25,
        ..PLAIN
    },
];

/// A source that runs, or stands.
const MACHINES: [Climate; 5] = [
    Climate {
        name: "steady",
        good: 1.0,
        poor: 0.8,
        day_spread: 0.1,
        noise: 0.1,
        running_h: 400.0,
        standing_h: 4.0,
        ..PLAIN
    },
    Climate {
        name: "stops each day or two",
        good: 1.0,
        poor: 0.8,
        noise: 0.2,
        running_h: 30.0,
        standing_h: 5.0,
        ..PLAIN
    },
    Climate {
        name: "long stops",
        good: 1.0,
        poor: 0.9,
        noise: 0.1,
        running_h: 100.0,
        standing_h: 12.0,
        ..PLAIN
    },
    Climate {
        name: "weak",
        scale: 0.7,
        good: 1.0,
        poor: 0.7,
        running_h: 60.0,
        standing_h: 6.0,
        ..PLAIN
    },
    Climate {
        name: "strong, irregular",
        scale: 1.3,
        good: 1.0,
        poor: 0.6,
        noise: 0.5,
        running_h: 20.0,
        standing_h: 3.0,
        ..PLAIN
    },
];

/// A made year and what foresight reaches in it.
#[derive(Clone, Debug)]
pub struct Year {
    /// How it strays.
    pub name: &'static str,
    /// The power that the source offers.
    pub income: Income,
    /// How long, from which voltage.
    pub course: Course,
    /// The best that anyone could do.
    pub bound: Bound,
    /// The same income for a drill.
    pub flow: Flow,
}

/// The made years of the declared `income` of `node`, without those in which foresight cannot keep the node alive.
///
/// ```
/// use millpond_income::income::Income;
/// use millpond_node::node::NodeFile;
/// use millpond_simulation::plan::practice;
/// let node = NodeFile::load("../../templates/nodes/pump-bearing.toml")?.node;
/// let income = Income::of(&node.harvest.source).ok_or("no income")?;
/// assert!(!practice::years(&node, &income).is_empty());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn years(node: &Node, income: &Income) -> Vec<Year> {
    let (climates, days): (&[Climate], usize) = match node.harvest.source {
        Source::Photovoltaic { .. } => (&OUTDOORS, SEASONS_DAYS),
        Source::Indoor { .. } => (&INDOORS, NO_SEASONS_DAYS),
        Source::Constant { .. } => (&MACHINES, NO_SEASONS_DAYS),
        // A recorded trace has its weather in it already: it is strayed from as if it were outdoors and cleared.
        Source::Trace => (&OUTDOORS, SEASONS_DAYS),
    };
    let declared = income.means(seconds(STEP_S), days * STEPS_PER_DAY);
    climates
        .iter()
        .enumerate()
        .filter_map(|(number, climate)| {
            let mut random = Pcg64::new(SEED, number as u128);
            let powers = climate.stray(&declared, &mut random);
            let income = Income::of_steps(seconds(STEP_S), powers.into_iter().map(watts));
            Year::of(node, climate.name, income, days as f64)
        })
        .collect()
}

/// The income as a drill has it: after the converter, at most its largest current at the middle of the storage.
fn flow(node: &Node, income: &Income, course: &Course) -> Flow {
    let bank = Bank::of_node(node, Wear::NONE);
    let floor = thresholds::floor(node);
    let middle = (floor + node.harvest.overvoltage) / 2.0;
    let count = (course.duration.get::<second>() / drill::STEP_S) as usize;
    Flow {
        power_w: income
            .means(seconds(drill::STEP_S), count)
            .into_iter()
            .map(|power_w| node.harvest.at_storage(watts(power_w), middle).get::<watt>())
            .collect(),
        start_j: (bank.stored_at_rest(course.start) - bank.stored_at_rest(floor)).get::<joule>(),
    }
}

impl Climate {
    /// The declared power of each step (W), strayed from.
    fn stray(&self, declared_w: &[f64], random: &mut Pcg64) -> Vec<f64> {
        let (mut is_good, mut is_running, mut noise) = (true, true, 0.0);
        let mut powers = Vec::with_capacity(declared_w.len());
        for day in 0..declared_w.len() / STEPS_PER_DAY {
            is_good = turned(is_good, self.good_days, self.poor_days, random);
            let typical = if is_good { self.good } else { self.poor };
            let mut of_day = typical * (1.0 + self.day_spread * normal(random)).clamp(0.1, 2.0);
            if random.random::<f64>() < self.failing {
                of_day *= FAILED;
            }
            for step in 0..STEPS_PER_DAY {
                let fresh = (1.0 - NOISE_KEPT * NOISE_KEPT).sqrt() * normal(random);
                noise = NOISE_KEPT * noise + fresh;
                let steps_per_hour = STEPS_PER_DAY as f64 / 24.0;
                if self.standing_h > 0.0 {
                    let (running, standing) =
                        (self.running_h * steps_per_hour, self.standing_h * steps_per_hour);
                    is_running = turned(is_running, running, standing, random);
                }
                // The mean of the logarithmic normal stays 1.
                let of_step = libm::exp(self.noise * noise - self.noise * self.noise / 2.0);
                let shifted =
                    (day * STEPS_PER_DAY + step + self.shift_h * STEPS_PER_DAY / 24) % declared_w.len();
                let running = if is_running { 1.0 } else { 0.0 };
                powers.push(declared_w[shifted] * self.scale * running * (of_day * of_step).min(1.0));
            }
        }
        powers
    }
}

impl Year {
    /// So many days of `income` for `node`; `None` where foresight cannot keep the node alive.
    pub fn of(node: &Node, name: &'static str, income: Income, days: f64) -> Option<Self> {
        let course = simulate::course(node, days);
        let bound = clairvoyant(&foresight(node, &income, &course)).ok()?;
        let flow = flow(node, &income, &course);
        Some(Self {
            name,
            income,
            course,
            bound,
            flow,
        })
    }

    /// The most that the node asleep loses from any moment to a later one: the worst dark stretch, dull days included.
    pub fn worst_dark(&self, node: &Node, sleep: Power) -> Energy {
        let steps = (self.course.duration.get::<second>() / STEP_S) as usize;
        let efficiency = node.harvest.converter_efficiency.get::<ratio>();
        let sleep_w = sleep.get::<watt>();
        let (mut lost_j, mut worst_j) = (0.0_f64, 0.0_f64);
        for power_w in self.income.means(seconds(STEP_S), steps) {
            lost_j = (lost_j + (sleep_w - power_w * efficiency) * STEP_S).max(0.0);
            worst_j = worst_j.max(lost_j);
        }
        joules(worst_j)
    }
}

/// The worst dark stretch of all `years`, for a node that draws so much asleep.
pub fn worst_dark(node: &Node, sleep: Power, years: &[Year]) -> Energy {
    let lost = years.iter().map(|year| year.worst_dark(node, sleep));
    lost.fold(joules(0.0), Energy::max)
}

/// The next state of a chain of two: `first` lasts so long on average, the other so long.
fn turned(is_first: bool, first: f64, other: f64, random: &mut Pcg64) -> bool {
    let stays = if is_first { first } else { other };
    let turns = random.random::<f64>() < stays.max(1.0).recip();
    is_first != turns
}

#[cfg(test)]
mod tests;
