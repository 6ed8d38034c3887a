//! How long a bank lasts with no income: the time that a steady drain and the bank's own leakage need from one voltage to
//! another.

use crate::model::bank::Bank;
use crate::model::drain::Drain;
use crate::units::*;

/// Pieces of the integral, each by a rule of five points: the integrand is a smooth ratio of low polynomials, whose integral is
/// then exact to rounding for any voltages with a ratio below a hundred (held against closed forms in the tests).
const PIECES: usize = 48;
/// Gauss and Legendre's rule of five points on −1 to 1: place and weight, the middle first (textbook).
const RULE: [(f64, f64); 5] = [
    (0.0, 128.0 / 225.0),
    (-0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (-0.906_179_845_938_664, 0.236_926_885_056_189_1),
    (0.906_179_845_938_664, 0.236_926_885_056_189_1),
];

/// Time in which `bank`, all its branches at one voltage, falls from `from` to `to` (above 0) under `drain` and its leakage; `None` where
/// nothing draws, 0 where `from` is not above `to`.
///
/// ```text
/// t = ∫ C(v)/(P/v + I + G·v) dv        from `to` to `from`
/// ```
///
/// Series resistance is left out: a sleeping node's microamperes leave microvolts on it. So is what a slow branch that is not at rest
/// at the start gives or takes. Source: charge balance at the terminal;
/// docs/model.md, equation 46.
///
/// ```
/// use millpond_model::model::{bank::*, time_in_the_dark::time_in_the_dark, drain::Drain};
/// use millpond_numbers::units::*;
/// let branch = Branch { capacitance: farads(1.0), slope: farads_per_volt(0.0), resistance: ohms(2.0) };
/// let bank = Bank { branches: vec![branch], leakage: siemenses(0.0) };
/// let drain = Drain { power: watts(0.0), current: amperes(10e-6) };
/// // 1 F gives 10 µA for 100000 s for each volt.
/// let time = time_in_the_dark(&bank, &drain, volts(3.0), volts(2.0)).unwrap();
/// assert!((time - seconds(1e5)).abs() < seconds(1e-6));
/// ```
pub fn time_in_the_dark(bank: &Bank, drain: &Drain, from: Voltage, to: Voltage) -> Option<Time> {
    let at_rest = drain.power == watts(0.0) && drain.current == amperes(0.0);
    if at_rest && bank.leakage == siemenses(0.0) {
        return None;
    }
    if from <= to {
        return Some(seconds(0.0));
    }
    let half = (from - to) / (2.0 * PIECES as f64);
    let time = (0..PIECES)
        .map(|piece| {
            let middle = to + half * (2 * piece + 1) as f64;
            let of_rule = |(place, weight): &(f64, f64)| -> Time {
                let v = middle + half * *place;
                half * *weight * (bank.capacitance(v) / (drain.at(v) + bank.leakage * v))
            };
            RULE.iter().map(of_rule).sum::<Time>()
        })
        .sum();
    Some(time)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::bank::Branch;
    use crate::model::discharge::{Stretch, discharge};
    use crate::model::given::drain;
    use approx::{assert_abs_diff_eq, assert_relative_eq};
    use proptest::prelude::*;

    /// Rounding of some hundred terms; the quadrature itself is closer.
    const ROUNDING: f64 = 1e-11;
    /// Half a unit of the last digit of 11 F.
    const PRINTED_F: f64 = 0.5;
    /// Half a unit of the last digit of 4.8 µA.
    const PRINTED_A: f64 = 0.05e-6;
    /// The largest current of the cases below, 30 µA, through 1 ohm (V).
    const DROP_V: f64 = 3e-5;

    fn bank(capacitance_f: f64, slope: f64, leakage_s: f64) -> Bank {
        Bank {
            branches: vec![Branch {
                capacitance: farads(capacitance_f),
                slope: farads_per_volt(slope),
                resistance: ohms(1.0),
            }],
            leakage: siemenses(leakage_s),
        }
    }

    fn lasts_s(bank: &Bank, drain: &Drain, from_v: f64, to_v: f64) -> f64 {
        let time = time_in_the_dark(bank, drain, volts(from_v), volts(to_v)).expect("something draws");
        time.get::<second>()
    }

    /// By hand: C·(v1 − v2)/I; C·(v1² − v2²)/(2·P); C/G·ln(v1/v2); with C = k·v and current alone k·(v1² − v2²)/(2·I).
    #[test]
    fn each_drain_alone_is_as_by_hand() {
        let (from, to) = (5.3, 2.346);
        let close = |got: f64, by_hand: f64| assert_relative_eq!(got, by_hand, max_relative = ROUNDING);
        let squares: f64 = from * from - to * to;
        close(
            lasts_s(&bank(1.0, 0.0, 0.0), &drain(0.0, 1e-5), from, to),
            (from - to) / 1e-5,
        );
        close(
            lasts_s(&bank(1.0, 0.0, 0.0), &drain(1e-5, 0.0), from, to),
            squares / 2e-5,
        );
        close(
            lasts_s(&bank(1.0, 0.0, 1e-6), &drain(0.0, 0.0), from, to),
            (from / to).ln() / 1e-6,
        );
        close(
            lasts_s(&bank(1e-9, 0.2, 0.0), &drain(0.0, 1e-5), from, to),
            0.2 * squares / 2e-5 + 1e-9 * (from - to) / 1e-5,
        );
        assert_eq!(
            time_in_the_dark(&bank(1.0, 0.0, 0.0), &drain(0.0, 0.0), volts(5.0), volts(2.0)),
            None
        );
        assert_eq!(lasts_s(&bank(1.0, 0.0, 0.0), &drain(0.0, 1.0), 2.0, 2.0), 0.0);
    }

    /// Published: 200 kW for 10 s from 750 V to 450 V ask for 11 F ("How to appropriately calculate the capacitance of ultracapacitor"). A cell of
    /// 5 F that was measured at 2.69 V and, 3.5 days later, at 2.40 V leaks 4.8 µA, taken as constant ("Calculating capacitor leakage
    /// current", the answer).
    #[test]
    fn published_examples_last_as_long() {
        let asked_f = 10.0 / lasts_s(&bank(1.0, 0.0, 0.0), &drain(200e3, 0.0), 750.0, 450.0);
        assert_abs_diff_eq!(asked_f, 11.0, epsilon = PRINTED_F);
        assert_relative_eq!(asked_f, 100.0 / 9.0, max_relative = ROUNDING);
        let of_one_ampere_s = lasts_s(&bank(5.0, 0.0, 0.0), &drain(0.0, 1.0), 2.69, 2.40);
        assert_abs_diff_eq!(of_one_ampere_s / (3.5 * 86_400.0), 4.8e-6, epsilon = PRINTED_A);
    }

    proptest! {
        /// After that time the integrated discharge, resistance and all, stands where it should.
        #[test]
        fn the_integrated_discharge_arrives(
            capacitance in 0.05..2.0f64, slope in 0.0..0.1f64, leakage in 0.0..2e-6f64, power in 0.0..2e-5f64,
            current in 1e-7..1e-5f64, to in 1.5..3.0f64, more in 0.05..2.5f64,
        ) {
            let (bank, drain) = (bank(capacitance, slope, leakage), drain(power, current));
            let duration = seconds(lasts_s(&bank, &drain, to + more, to));
            let end = discharge(&bank, &[to + more], &[Stretch { drain, peak: drain, duration }]).expect("stays up");
            prop_assert!((end.inner_v[0] - to).abs() < DROP_V, "{} {to}", end.inner_v[0]);
        }

        /// The way down is as long as its parts, and twice the bank with the same drain lasts twice as long.
        #[test]
        fn times_add_up(
            leakage in 0.0..2e-6f64, power in 0.0..2e-5f64, current in 1e-7..1e-5f64, to in 1.5..3.0f64, middle in 0.0..1.0f64,
        ) {
            let drain = drain(power, current);
            let time = |capacitance: f64, from: f64, to: f64| lasts_s(&bank(capacitance, 0.0, leakage), &drain, from, to);
            let between = to + 2.0 * middle;
            let whole = time(1.0, to + 2.0, to);
            prop_assert!((time(1.0, to + 2.0, between) + time(1.0, between, to) - whole).abs() <= ROUNDING * whole);
            prop_assert!((time(2.0, to + 2.0, to) - 2.0 * whole).abs() <= ROUNDING * whole);
        }
    }
}
