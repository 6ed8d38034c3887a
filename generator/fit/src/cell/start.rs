//! When the current begins: between the last row at rest and the first one under the current (docs/model.md, equation 34).

use super::discharge::{Discharge, Sample};
use crate::units::*;

/// At rest the voltage falls by less than this part of its rate under the current, and under the current by more.
const PART_OF_RATE: f64 = 0.5;
/// A row lower than the rest by fewer standard deviations of a reading may be noise.
const NOISE_DEVIATIONS: f64 = 3.0;
/// So many rows before the current are its rest: they average the noise, and what drifted before them does not count.
const MOST_REST_ROWS: usize = 10;

/// How well the log knows when the current began.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Start {
    /// From the last row at rest to the first one under the current.
    pub interval: Time,
    /// How far the series resistance lies either way, by when in that interval the current began.
    pub resistance: Resistance,
}

/// The step, in plain numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Step {
    /// The voltage before the current.
    pub(super) rest_v: f64,
    /// The last row at rest.
    pub(super) rest_s: f64,
    /// The first row under the current.
    pub(super) loaded_s: f64,
}

/// The step of a discharge that falls at `rate_v_per_s` once under the current, read with `reading_v` of noise, and is
/// carried back to `curve_v` at a time.
///
/// With half of that rate added back the voltage rises at rest, and falls with the step and after it: its highest row is at
/// rest, whatever drifts and however the quick charge of the first moments blurs the step. Noise may put it too early, and
/// the resistance too low, so rows that follow within noise of the rest belong to it. The first row is at rest in any case.
pub(super) fn find(
    discharge: &Discharge,
    rate_v_per_s: f64,
    reading_v: f64,
    curve_v: impl Fn(f64) -> Option<f64>,
) -> Option<Step> {
    let rows = discharge.samples.get(..discharge.loaded_from)?;
    let raised_v = |sample: &Sample| sample.storage_v + PART_OF_RATE * rate_v_per_s * sample.time_s;
    let noise_v = NOISE_DEVIATIONS * reading_v;
    let mut highest = rows
        .iter()
        .enumerate()
        .max_by(|a, b| raised_v(a.1).total_cmp(&raised_v(b.1)))
        .map(|(row, _)| row)?;
    // After a long pause in the log half the rate adds back more than the step took: such a row stands on the curve, and not
    // by the row before it.
    if let Some(before) = highest.checked_sub(1) {
        let (row, fall_v) = (rows[highest], rows[before].storage_v - rows[highest].storage_v);
        let is_on_curve = curve_v(row.time_s).is_some_and(|curve_v| (row.storage_v - curve_v).abs() < fall_v);
        if fall_v > noise_v && is_on_curve {
            highest = before;
        }
    }
    let least_v = rest_v(&rows[..=highest]) - noise_v;
    let following = rows[highest + 1..]
        .iter()
        .take_while(|sample| sample.storage_v >= least_v)
        .count();
    let last = highest + following;
    Some(Step {
        rest_v: rest_v(&rows[..=last]),
        rest_s: rows[last].time_s,
        loaded_s: discharge.samples.get(last + 1)?.time_s,
    })
}

/// Mean of the last rows at rest.
fn rest_v(rest: &[Sample]) -> f64 {
    let last = &rest[rest.len().saturating_sub(MOST_REST_ROWS)..];
    last.iter().map(|sample| sample.storage_v).sum::<f64>() / last.len() as f64
}

#[cfg(test)]
mod tests {
    use rand::{RngExt as _, SeedableRng};
    use rand_pcg::Pcg64;

    use crate::cell::Cell;
    use crate::cell::tests::Truth;
    use crate::statistics::normal;
    use crate::units::*;

    /// At 10 rows in a second its resistance drops 30 mV, and each row 8.5 mV.
    const SMALL: Truth = Truth {
        low_f: 3.0,
        slope_f_per_v: 0.2,
        resistance_ohm: 0.1,
        current_a: 0.3,
        rated_v: 2.7,
    };
    const STEP_S: f64 = 0.1;
    /// A curve is taken as straight over one step, in which its capacitance moves by a few thousandths.
    const STRAIGHT: f64 = 0.01;
    /// Errors that are off by a third of a standard error on average leave 94 of 100 inside two, in place of 95.
    const MOST_BIAS: f64 = 1.0 / 3.0;

    /// A log with so many rows at rest, the last of them `part` of a step before the current.
    fn log(rest_rows: u32, part: f64, error_v: impl FnMut() -> f64) -> String {
        log_every(STEP_S, rest_rows, part, error_v)
    }

    /// The same with another step.
    fn log_every(step_s: f64, rest_rows: u32, part: f64, mut error_v: impl FnMut() -> f64) -> String {
        let mut text = "time_s,storage_v\n".to_owned();
        for row in 0..rest_rows {
            let time_s = (f64::from(row) - f64::from(rest_rows)) * step_s;
            text.push_str(&format!("{time_s},{}\n", SMALL.rated_v + error_v()));
        }
        for row in 0.. {
            let time_s = f64::from(row) * step_s;
            let storage_v = SMALL.storage_v(time_s + (1.0 - part) * step_s) + error_v();
            if storage_v < 0.2 * SMALL.rated_v {
                break;
            }
            text.push_str(&format!("{time_s},{storage_v}\n"));
        }
        text
    }

    /// Between two rows the cell falls by I·h/C, which is h/C in resistance: half of it either way, and the truth inside.
    #[test]
    fn rows_at_rest_do_not_move_the_resistance() {
        let full_f = SMALL.low_f + SMALL.slope_f_per_v * SMALL.rated_v;
        for rest_rows in [1, 2, 5, 50, 3000] {
            for part in [0.01, 0.5, 1.0] {
                let cell = SMALL.parse(&log(rest_rows, part, || 0.0)).expect("a discharge");
                let half = STEP_S / full_f / 2.0;
                assert!((cell.start.resistance.get::<ohm>() / half - 1.0).abs() < STRAIGHT);
                // A current that began at once after the row at rest makes the middle half a step too high, a late one too low.
                let by_hand = SMALL.resistance_ohm + (1.0 - 2.0 * part) * half;
                let missed = cell.resistance.value.get::<ohm>() - by_hand;
                assert!(
                    missed.abs() < 2.0 * half * STRAIGHT,
                    "{rest_rows} {part} {missed}"
                );
                assert!(cell.highest_resistance() >= ohms(SMALL.resistance_ohm - half * STRAIGHT));
                let apart = (cell.resistance.value - ohms(SMALL.resistance_ohm)).abs();
                assert!(
                    apart <= cell.resistance.standard_error * 2.0,
                    "{rest_rows} {part}"
                );
            }
        }
    }

    /// A second before its current the only row at rest leaves h/C = 282 mΩ open; the later end is the truth.
    #[test]
    fn a_pause_before_the_current_is_in_the_interval() {
        let full_f = SMALL.low_f + SMALL.slope_f_per_v * SMALL.rated_v;
        let text = log(1, 1.0, || 0.0).replacen("-0.1,", "-1,", 1);
        let cell = SMALL.parse(&text).expect("a discharge");
        assert!((cell.start.resistance.get::<ohm>() * full_f * 2.0 - 1.0).abs() < STRAIGHT);
        assert!((cell.highest_resistance().get::<ohm>() / SMALL.resistance_ohm - 1.0).abs() < STRAIGHT);
        assert!((cell.start.interval.get::<second>() - 1.0).abs() < STRAIGHT);
    }

    /// With noise and the current at any time of a step, two standard errors hold the truth as they should: 95 of 100, less what 200 runs
    /// may miss it by. Where a step is so short that the noise of ten rows outweighs what the cell falls in them, too.
    #[test]
    fn two_standard_errors_hold_the_truth_whenever_the_current_began() {
        let runs = 200;
        for (step_s, noise_v) in [(STEP_S, 1e-3), (STEP_S / 20.0, 4e-3)] {
            let (mut held, mut sum) = (0, 0.0);
            for seed in 0..runs {
                let mut random = Pcg64::seed_from_u64(seed);
                let part = random.random_range(0.0..1.0);
                let text = log_every(step_s, 40, part, || noise_v * normal(&mut random));
                let found = SMALL.parse(&text).expect("a discharge").resistance;
                let off = ((found.value - ohms(SMALL.resistance_ohm)) / found.standard_error).get::<ratio>();
                held += u32::from(off.abs() <= 2.0);
                sum += off;
            }
            let (part, mean) = (f64::from(held) / runs as f64, sum / runs as f64);
            assert!(part >= 0.9, "{step_s} s: {part}");
            assert!(mean.abs() < MOST_BIAS, "{step_s} s: {mean}");
        }
    }

    /// A cell charged to 93 % of its rated voltage rests inside the range that the line is fitted to.
    #[test]
    fn rows_at_rest_are_in_no_fit() {
        let text = log(60, 1.0, || 0.0);
        let cell = Cell::parse(
            "bench.csv",
            &text,
            amperes(SMALL.current_a),
            volts(SMALL.rated_v / 0.93),
        )
        .expect("a discharge");
        assert!((cell.capacitance_low.value.get::<farad>() / SMALL.low_f - 1.0).abs() < STRAIGHT / 2.0);
        assert!(cell.residual_largest < volts(1e-6));
    }
}
