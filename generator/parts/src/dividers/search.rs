//! The best sets of preferred values for given thresholds: all of them, found without trying all of them.
//!
//! With the lower and the third resistor given, both thresholds rise with the top one, so the tops that are no worse than the worst set
//! kept so far form an interval, known in closed form. Only tops inside it are tried. The result is that of trying
//! every set (docs/model.md, "Resistors").

use crate::dividers::circuit::{Circuit, Input, Resistors};

/// The interval of tops is widened by this part on either side, for the rounding of its ends.
const WIDENED: f64 = 1e-9;
/// Errors are told apart from this step on: below it they are rounding, and the next criterion decides.
const ERROR_STEP: f64 = 1e-12;
/// Sets that draw less than this part of the largest current are left out: ten times the resistance has the same ratios.
pub const LEAST_CURRENT_SHARE: f64 = 0.1;

/// What is looked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// How the parts are joined.
    pub circuit: Circuit,
    /// The nominal comparator.
    pub input: Input,
    /// Storage voltage at which the output is to go high (V).
    pub rising_v: f64,
    /// Storage voltage at which it is to go low again (V), if that matters.
    pub falling_v: Option<f64>,
    /// Highest storage voltage (V): there the current is counted.
    pub full_v: f64,
    /// Largest current (A).
    pub most_a: f64,
}

/// A set of resistors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Choice {
    /// Its values.
    pub parts: Resistors,
    /// Largest relative distance of a nominal threshold from the wanted one.
    pub error: f64,
    /// Current at the highest storage voltage (A).
    pub current_a: f64,
}

impl Choice {
    /// What decides which of two sets is better: less error, then less current, then the smaller top, lower and third.
    fn order(&self) -> [f64; 5] {
        let parts = &self.parts;
        [
            self.error,
            self.current_a,
            parts.top_ohm,
            parts.second_ohm,
            parts.third_ohm,
        ]
    }

    /// Whether this set comes before `other`.
    fn before(&self, other: &Self) -> bool {
        self.order() < other.order()
    }
}

impl Wanted {
    /// The set `parts` judged; `None` if it draws too much, or ten times less than it may.
    pub fn judged(&self, parts: Resistors) -> Option<Choice> {
        let current_a = self.circuit.current_a(&parts, self.full_v);
        if current_a > self.most_a || current_a <= self.most_a * LEAST_CURRENT_SHARE {
            return None;
        }
        let miss = |got_v: f64, wanted_v: f64| (got_v / wanted_v - 1.0).abs();
        let rising = miss(self.circuit.rising_v(&parts, &self.input), self.rising_v);
        let falling = self.falling_v.map_or(0.0, |wanted_v| {
            miss(self.circuit.falling_v(&parts, &self.input), wanted_v)
        });
        Some(Choice {
            parts,
            error: (rising.max(falling) / ERROR_STEP).round() * ERROR_STEP,
            current_a,
        })
    }

    /// The `rows` best sets out of `values` (rising), the third resistor out of `thirds`; the best first.
    pub fn best(&self, values: &[f64], thirds: &[f64], rows: usize) -> Vec<Choice> {
        let mut kept: Vec<Choice> = Vec::with_capacity(rows + 1);
        // A divider only ever raises a threshold above its trip point.
        let below = |trip_v: f64, wanted_v: Option<f64>| wanted_v.is_none_or(|wanted_v| trip_v < wanted_v);
        if !below(self.input.rising_v, Some(self.rising_v)) || !below(self.input.falling_v, self.falling_v) {
            return kept;
        }
        for &third in thirds {
            for &lower in values {
                let others = Resistors {
                    top_ohm: 0.0,
                    second_ohm: lower,
                    third_ohm: third,
                };
                let bound = match kept.last() {
                    Some(last) if kept.len() == rows => last.error,
                    _ => f64::INFINITY,
                };
                let (from, to) = self.tops(&others, bound);
                let start = values.partition_point(|value| *value < from);
                for &top in values[start..].iter().take_while(|value| **value <= to) {
                    if let Some(choice) = self.judged(Resistors {
                        top_ohm: top,
                        ..others
                    }) {
                        keep(&mut kept, choice, rows);
                    }
                }
            }
        }
        kept
    }

    /// Ends of the interval that every top lies in whose set misses by no more than `bound` and draws what it may (ohm).
    fn tops(&self, others: &Resistors, bound: f64) -> (f64, f64) {
        let circuit = &self.circuit;
        let mut from = circuit.top_for_current(others, self.full_v, self.most_a);
        let mut to = circuit.top_for_current(others, self.full_v, self.most_a * LEAST_CURRENT_SHARE);
        if bound.is_finite() {
            let (low, high) = (1.0 - bound, 1.0 + bound);
            let rising = |part: f64| circuit.top_rising(others, self.input.rising_v, self.rising_v * part);
            from = from.max(rising(low));
            to = to.min(rising(high));
            if let Some(falling_v) = self.falling_v {
                let falling = |part: f64| circuit.top_falling(others, self.input.falling_v, falling_v * part);
                from = from.max(falling(low));
                to = to.min(falling(high));
            }
        }
        (from * (1.0 - WIDENED), to * (1.0 + WIDENED))
    }
}

/// Puts `choice` into its place among the best.
fn keep(kept: &mut Vec<Choice>, choice: Choice, rows: usize) {
    let place = kept.partition_point(|other| other.before(&choice));
    if place < rows {
        kept.insert(place, choice);
        kept.truncate(rows);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dividers::series::Series;
    use rand::{RngExt, SeedableRng};
    use rand_pcg::Pcg64;
    use rayon::prelude::*;

    /// Random cases held against every set there is.
    const CASES: u64 = 100;
    /// Of these, so many over the whole of E96; the others over coarser series.
    const FINE_CASES: u64 = 4;
    const ROWS: usize = 5;

    /// Every set, judged one by one.
    fn brute(wanted: &Wanted, values: &[f64], thirds: &[f64]) -> Vec<Choice> {
        let of_third = |third: &f64| {
            let mut kept = Vec::new();
            for &lower in values {
                for &top in values {
                    let parts = Resistors {
                        top_ohm: top,
                        second_ohm: lower,
                        third_ohm: *third,
                    };
                    if let Some(choice) = wanted.judged(parts) {
                        keep(&mut kept, choice, ROWS);
                    }
                }
            }
            kept
        };
        let all: Vec<Choice> = thirds.par_iter().flat_map_iter(of_third).collect();
        let mut kept = Vec::new();
        for choice in all {
            keep(&mut kept, choice, ROWS);
        }
        kept
    }

    fn case(seed: u64) -> (Wanted, bool) {
        let mut draw = Pcg64::seed_from_u64(seed);
        let reference_v = draw.random_range(0.4..2.0);
        let half_v = draw.random_range(0.0..0.02);
        let falling_v = draw.random_range(reference_v * 1.2..3.5);
        let rising_v = falling_v + draw.random_range(0.1..2.0);
        let circuit = match seed % 4 {
            0 => Circuit::TwoTaps,
            1 => Circuit::PAIR,
            2 => Circuit::Feedback {
                low_v: 0.0,
                high_v: None,
            },
            _ => Circuit::Feedback {
                low_v: draw.random_range(0.0..0.2),
                high_v: Some(draw.random_range(2.1..4.0)),
            },
        };
        let pair = circuit == Circuit::PAIR && seed % 8 == 1;
        let wanted = Wanted {
            circuit,
            input: Input {
                rising_v: reference_v + half_v,
                falling_v: reference_v - half_v,
                bias_a: 0.0,
                lower_bias_a: 0.0,
            },
            rising_v,
            falling_v: (seed % 8 != 5).then_some(falling_v),
            full_v: rising_v + draw.random_range(0.0..1.5),
            most_a: 10f64.powf(draw.random_range(-6.5..-4.0)),
        };
        (wanted, pair)
    }

    #[test]
    fn the_best_sets_are_those_of_trying_every_one() {
        let mut found = 0;
        for seed in 0..CASES {
            let (wanted, pair) = case(seed);
            let series = match seed {
                seed if seed < FINE_CASES => Series::E96,
                _ => [Series::E6, Series::E12, Series::E24][seed as usize % 3],
            };
            let values = series.resistors_ohm();
            let thirds = if pair { vec![f64::INFINITY] } else { values.clone() };
            let best = wanted.best(&values, &thirds, ROWS);
            assert_eq!(best, brute(&wanted, &values, &thirds), "case {seed}: {wanted:?}");
            found += best.len();
        }
        // Nearly every case has as many sets as rows, or this compares nothing.
        assert!(found > CASES as usize * ROWS * 9 / 10, "{found}");
    }

    /// By hand: 4 V from 1 V is 3 to 1. E24 has it as 3.0 to 1.0, 3.3 to 1.1, 3.6 to 1.2 and 3.9 to 1.3 Mohm, which draw ever less.
    #[test]
    fn three_to_one_is_found_four_times() {
        let wanted = Wanted {
            circuit: Circuit::PAIR,
            input: Input {
                rising_v: 1.0,
                falling_v: 1.0,
                bias_a: 0.0,
                lower_bias_a: 0.0,
            },
            rising_v: 4.0,
            falling_v: None,
            full_v: 4.0,
            most_a: 1e-6,
        };
        let best = wanted.best(&Series::E24.resistors_ohm(), &[f64::INFINITY], 4);
        let pairs: Vec<_> = best
            .iter()
            .map(|choice| (choice.parts.top_ohm, choice.parts.second_ohm))
            .collect();
        assert_eq!(
            pairs,
            [(3.9e6, 1.3e6), (3.6e6, 1.2e6), (3.3e6, 1.1e6), (3e6, 1e6)]
        );
        assert!(best.iter().all(|choice| choice.error == 0.0));
    }
}
