//! Made records, with other statistics than those that plans are tuned on: invented, for the evaluation alone.
//!
//! Here the clearness of days is a walk that returns to its mean and has a season, and not a chain of good and poor spells;
//! cloud comes in blocks of an hour; the office has a calendar.

use millpond::income::Income;
use millpond::node::Node;
use millpond::statistics::normal;
use millpond::units::*;
use rand::RngExt;
use rand_pcg::Pcg64;

const STEP_S: f64 = 600.0;
const STEPS_PER_DAY: usize = 144;
/// What a day's clearness keeps of the day before.
const CLEARNESS_KEPT: f64 = 0.6;
/// Office days without people, by number in the year, beside the two weeks in summer and the turn of the year.
const HOLIDAYS: [usize; 5] = [95, 98, 121, 159, 276];

/// Mean clearness, what it varies by, its season's amplitude, and the depth of clouds within a day.
fn climate(seed: u64) -> [f64; 4] {
    match seed {
        1 => [0.5, 0.25, 0.1, 0.6],
        2 => [0.6, 0.15, -0.3, 0.7],
        _ => [0.8, 0.12, 0.05, 0.2],
    }
}

/// A year of light outdoors.
pub(super) fn weather(node: &Node, seed: u64, days: usize) -> Income {
    let mut random = Pcg64::new(u128::from(seed), 0x7061);
    let [mean, spread, season, cloud] = climate(seed);
    let declared = declared(node, days);
    let mut walk = 0.0;
    let mut powers = Vec::with_capacity(declared.len());
    for day in 0..days {
        let fresh = (1.0 - CLEARNESS_KEPT * CLEARNESS_KEPT).sqrt();
        walk = CLEARNESS_KEPT * walk + fresh * normal(&mut random);
        let phase = (day as f64 / 365.0 * std::f64::consts::TAU).cos();
        let clearness = (mean - season * phase + spread * walk).clamp(0.05, 1.0);
        let mut hour = 1.0;
        for step in 0..STEPS_PER_DAY {
            if step % 6 == 0 {
                hour = 1.0 - cloud * random.random::<f64>() * (1.0 - clearness);
            }
            powers.push(declared[day * STEPS_PER_DAY + step] * clearness * hour);
        }
    }
    income(powers)
}

/// Lamps on working days, left off at random, a window beside them.
pub(super) fn office(node: &Node, seed: u64, days: usize) -> Income {
    let mut random = Pcg64::new(u128::from(seed), 0x7062);
    let declared = declared(node, 7);
    let lit = declared.iter().copied().fold(0.0, f64::max);
    let mut powers = Vec::with_capacity(days * STEPS_PER_DAY);
    for day in 0..days {
        let is_holiday =
            day < 2 || (359..365).contains(&day) || (210..217).contains(&day) || HOLIDAYS.contains(&day);
        let is_working = day % 7 < 5 && !is_holiday && random.random::<f64>() > 0.02;
        let opens = 40 + (9.0 * random.random::<f64>()) as usize;
        let closes = 100 + (14.0 * random.random::<f64>()) as usize;
        let window = 0.3 + 0.7 * random.random::<f64>();
        let season = 0.75 - 0.25 * ((day as f64 + 10.0) / 365.0 * std::f64::consts::TAU).cos();
        let mut is_on = true;
        for step in 0..STEPS_PER_DAY {
            let turns = if is_on { 0.02 } else { 0.1 };
            is_on ^= random.random::<f64>() < turns;
            let lamps = if is_working && is_on && (opens..closes).contains(&step) {
                1.0
            } else {
                0.0
            };
            let sun = ((step as f64 - 48.0) / 54.0 * std::f64::consts::PI).sin();
            let daylight = if (48..102).contains(&step) {
                0.25 * window * season * sun
            } else {
                0.0
            };
            powers.push(lit * (lamps + daylight));
        }
    }
    income(powers)
}

/// A machine that runs and stands for random times, warmer at one run than at another.
pub(super) fn machine(node: &Node, seed: u64, days: usize, running_h: f64, standing_h: f64) -> Income {
    let mut random = Pcg64::new(u128::from(seed), 0x7063);
    let declared = declared(node, days);
    let (mut is_running, mut warmth, mut left_h) = (true, 1.0, running_h);
    let mut powers = Vec::with_capacity(declared.len());
    for power_w in declared {
        left_h -= STEP_S / 3600.0;
        if left_h <= 0.0 {
            is_running = !is_running;
            warmth = 0.7 + 0.5 * random.random::<f64>();
            // Between half and one and a half of the mean.
            left_h = (0.5 + random.random::<f64>()) * if is_running { running_h } else { standing_h };
        }
        powers.push(if is_running { power_w * warmth } else { 0.0 });
    }
    income(powers)
}

/// What the node file declares, step by step (W).
fn declared(node: &Node, days: usize) -> Vec<f64> {
    Income::of(&node.harvest.source)
        .map(|income| income.means(seconds(STEP_S), days * STEPS_PER_DAY))
        .unwrap_or_default()
}

fn income(powers_w: Vec<f64>) -> Income {
    Income::of_steps(seconds(STEP_S), powers_w.into_iter().map(watts))
}
