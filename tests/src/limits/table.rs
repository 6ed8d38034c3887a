//! A table over hour, recent weather and stored energy, made from the record by dynamic programming: how far a rule without
//! foresight may come that knows the climate of its place and season.
//!
//! For each hour of the record, incomes are drawn from the same hour of the days around it, the day itself left out, so that the
//! table knows what may come and not what does. Backward induction (R. Bellman, "Dynamic Programming", Princeton University
//! Press, 1957) over two rounds of the record, the second for its effect on the first.

use millpond::plan::drill::Spender;

use super::Case;
use super::twin::SLOT_S;

/// Levels of the storage.
const LEVELS: usize = 61;
/// Classes of the recent weather.
const CLASSES: usize = 4;
/// Rates between the slowest and the fastest.
const RATES: usize = 22;
/// Days before and after from which incomes are drawn.
const AROUND_DAYS: i64 = 12;
/// Weight of a day whose weather before was so many classes away.
const WEIGHTS: [f64; CLASSES] = [1.0, 0.15, 0.01, 0.01];
/// What the recent weather keeps of an hour before, at full light.
const RECENT_KEPT: f64 = 0.65;
/// A store that runs empty costs as much as a silence of so long (s).
const EMPTY_S: f64 = 30.0 * 86_400.0;

/// The table and where it stands.
#[derive(Clone, Debug)]
pub struct Table<'a> {
    case: &'a Case,
    /// Best rate by hour, class and level.
    rates: Vec<u8>,
    /// Class of the weather by the end of each hour.
    classes: Vec<u8>,
    slot: usize,
}

/// Spending of a slot on reports under rate number `rate` (J).
fn spending_j(case: &Case, rate: f64) -> f64 {
    let (slowest_j, fastest_j) = (case.spending_j(f64::INFINITY), case.spending_j(0.0));
    slowest_j * (fastest_j / slowest_j).powf(rate / (RATES - 1) as f64)
}

/// The class of the weather after each hour: recent income against the season's, by quartiles of the record.
fn classes(case: &Case) -> Vec<u8> {
    let top_j = case.season_j.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let mut recent = 1.0;
    let weather: Vec<f64> = case
        .income_j
        .iter()
        .zip(&case.season_j)
        .map(|(income_j, season_j)| {
            let weight = (1.0 - RECENT_KEPT) * (season_j / (0.3 * top_j)).min(1.0);
            if *season_j > 0.0 {
                recent += weight * ((income_j / season_j).min(3.0) - recent);
            }
            recent
        })
        .collect();
    let mut sorted = weather.clone();
    sorted.sort_by(f64::total_cmp);
    let cuts: Vec<f64> = (1..CLASSES)
        .map(|class| sorted[sorted.len() * class / CLASSES])
        .collect();
    weather
        .iter()
        .map(|weather| cuts.iter().filter(|cut| *cut <= weather).count() as u8)
        .collect()
}

impl<'a> Table<'a> {
    /// The best table for this record.
    pub fn of(case: &'a Case) -> Self {
        let classes = classes(case);
        let hours = case.income_j.len();
        let level_j = case.store.full_j / (LEVELS - 1) as f64;
        let choices: Vec<(f64, f64)> = (0..RATES)
            .map(|rate| {
                let spent_j = spending_j(case, rate as f64);
                (spent_j, SLOT_S * case.sample_s(spent_j) * case.store.batch / 2.0)
            })
            .collect();
        // Below the threshold nothing is sent: an hour of it ages like one silence that goes on.
        let silent_s2 = 1.5 * SLOT_S * SLOT_S;
        let mut rates = vec![0; hours * CLASSES * LEVELS];
        let mut ahead = vec![0.0; CLASSES * LEVELS];
        for hour in (0..hours).rev().chain((0..hours).rev()) {
            let mut here = vec![0.0; CLASSES * LEVELS];
            for class in 0..CLASSES {
                let draws = draws(case, &classes, hour, class);
                for level in 0..LEVELS {
                    let stored_j = level as f64 * level_j;
                    let later = |spent_j: f64| -> f64 {
                        let slept_j = case.store.asleep_w(stored_j) * SLOT_S;
                        draws
                            .iter()
                            .map(|(income_j, class, weight)| {
                                let left_j = stored_j + income_j - slept_j - spent_j;
                                let values = &ahead[class * LEVELS..(class + 1) * LEVELS];
                                if left_j <= 0.0 {
                                    return weight * (EMPTY_S * SLOT_S + values[0]);
                                }
                                weight * between(values, left_j / level_j)
                            })
                            .sum()
                    };
                    let place = class * LEVELS + level;
                    let mut best = (silent_s2 + later(0.0), 0);
                    if stored_j >= case.store.decide_j {
                        best.0 = f64::INFINITY;
                        for (rate, (spent_j, aged_s2)) in choices.iter().enumerate() {
                            let cost = aged_s2 + later(*spent_j);
                            if cost < best.0 {
                                best = (cost, rate);
                            }
                        }
                    }
                    here[place] = best.0;
                    rates[hour * CLASSES * LEVELS + place] = best.1 as u8;
                }
            }
            // Only differences matter.
            let least = here[LEVELS - 1];
            here.iter_mut().for_each(|cost| *cost -= least);
            ahead = here;
        }
        Self {
            case,
            rates,
            classes,
            slot: 0,
        }
    }
}

/// What may come in this hour after weather of `class`: income (J), the class after it, weight.
fn draws(case: &Case, classes: &[u8], hour: usize, class: usize) -> Vec<(f64, usize, f64)> {
    let hours = case.income_j.len() as i64;
    let mut draws: Vec<(f64, usize, f64)> = (-AROUND_DAYS..=AROUND_DAYS)
        .filter(|day| *day != 0)
        .map(|day| {
            let other = (hour as i64 + day * case.day_slots as i64).rem_euclid(hours);
            let before = usize::from(classes[(other - 1).rem_euclid(hours) as usize]);
            let other = other as usize;
            (
                case.income_j[other],
                usize::from(classes[other]),
                WEIGHTS[before.abs_diff(class)],
            )
        })
        .collect();
    let sum: f64 = draws.iter().map(|draw| draw.2).sum();
    draws.iter_mut().for_each(|draw| draw.2 /= sum);
    draws
}

/// The value between two levels, linear; the last one beyond them.
fn between(values: &[f64], place: f64) -> f64 {
    let place = place.min((LEVELS - 1) as f64);
    let first = (place as usize).min(LEVELS - 2);
    let part = place - first as f64;
    values[first] * (1.0 - part) + values[first + 1] * part
}

impl Spender for Table<'_> {
    fn power_up(&mut self) {}

    fn slot(&mut self, slot: usize, _: f64, _: f64) {
        self.slot = slot;
    }

    fn sample_s(&self, stored_j: f64) -> f64 {
        let hours = self.case.income_j.len();
        let class = usize::from(self.classes[(self.slot + hours - 1) % hours]);
        let start = (self.slot % hours * CLASSES + class) * LEVELS;
        let rates: Vec<f64> = self.rates[start..start + LEVELS]
            .iter()
            .map(|rate| f64::from(*rate))
            .collect();
        let place = stored_j / self.case.store.full_j * (LEVELS - 1) as f64;
        self.case.sample_s(spending_j(self.case, between(&rates, place)))
    }
}
