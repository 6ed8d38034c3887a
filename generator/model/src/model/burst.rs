//! Closed forms: how full a single branch must be so that a stretch at constant current or constant power ends
//! with its terminal at a given voltage. No leakage, a constant capacitance, and only one
//! of the two kinds of drain at a time.

use crate::model::bank::Branch;
use crate::model::discharge::Stretch;
use crate::model::drain::Drain;
use crate::units::*;

/// Relative change at which the iteration for the start voltage has settled: some units in the last place.
const SETTLED: f64 = 1e-15;
/// Newton's method on a convex function settles in a handful of rounds; this is a stop, not a tuning.
const ROUNDS: u32 = 60;

/// Voltage behind the resistance at which `branch` can just carry `stretches`, with its terminal never below
/// `floor`; `None` where no closed form exists (constant power and constant current together, or a capacitance that
/// rises with voltage).
///
/// Backward over the stretches: the end of a stretch must satisfy both the next one's start and
/// `floor + i(floor)·R` (docs/model.md, equations 7 to 9).
pub fn start(branch: &Branch, floor: Voltage, stretches: &[Stretch]) -> Option<Voltage> {
    if branch.slope > farads_per_volt(0.0) {
        return None;
    }
    let mut needed = floor;
    for stretch in stretches.iter().rev() {
        let end =
            needed
                .max(resting(branch, floor, &stretch.drain))
                .max(resting(branch, floor, &stretch.peak));
        needed = if stretch.drain.power == watts(0.0) {
            end + stretch.drain.current * stretch.duration / branch.capacitance
        } else if stretch.drain.current == amperes(0.0) {
            before_constant_power(branch, stretch.drain.power, stretch.duration, end)
        } else {
            return None;
        };
    }
    Some(needed)
}

/// Least voltage behind the resistance at which the terminal stands at `floor` or above under `drain`:
/// `floor + i(floor)·R`, but never less than 2·√(P·R), below which the power cannot be given at all.
fn resting(branch: &Branch, floor: Voltage, drain: &Drain) -> Voltage {
    let matched: Voltage = (drain.power * branch.resistance).sqrt();
    let terminal = floor.max(matched);
    terminal + drain.at(terminal) * branch.resistance
}

/// Voltage behind the resistance `duration` before it is `end`, at constant power.
///
/// In the terminal voltage, with u = v + P·R/v: t = C/(2P)·(v1² − v2²) − C·R·ln(v1/v2). Convex and rising in v1
/// above √(P·R), so Newton's method from above settles from above.
fn before_constant_power(branch: &Branch, power: Power, duration: Time, end: Voltage) -> Voltage {
    let (resistance_ohm, power_w) = (branch.resistance.get::<ohm>(), power.get::<watt>());
    let capacitance_f = branch.capacitance.get::<farad>();
    let product = power_w * resistance_ohm;
    let end_v = end.get::<volt>();
    let terminal_v = (end_v + (end_v * end_v - 4.0 * product).max(0.0).sqrt()) / 2.0;
    let elapsed = |v: f64| {
        capacitance_f / (2.0 * power_w) * (v * v - terminal_v * terminal_v)
            - capacitance_f * resistance_ohm * libm::log(v / terminal_v)
    };
    let duration_s = duration.get::<second>();
    let mut v = (terminal_v * terminal_v + 2.0 * power_w * duration_s / capacitance_f + product).sqrt();
    for _ in 0..ROUNDS {
        let slope = capacitance_f * (v / power_w - resistance_ohm / v);
        let change = (elapsed(v) - duration_s) / slope;
        v -= change;
        if change.abs() < SETTLED * v {
            break;
        }
    }
    volts(v + product / v)
}

/// Time for which `branch` gives `power` while the voltage behind its resistance falls from `from` to `to`.
///
/// With s = √(u² − 4PR): t = (C/4P)·[F(from) − F(to)], F(u) = u² + u·s − 4PR·ln(u + s); both voltages at or above
/// 2·√(P·R).
///
/// ```
/// use millpond_model::model::{bank::Branch, burst::holding_time};
/// use millpond_numbers::units::*;
/// let branch = Branch { capacitance: farads(0.1), slope: farads_per_volt(0.0), resistance: ohms(0.5) };
/// let time = holding_time(&branch, watts(0.1), volts(4.5), volts(2.2));
/// assert!((time - seconds(7.669019900)).abs() < seconds(1e-8));
/// ```
pub fn holding_time(branch: &Branch, power: Power, from: Voltage, to: Voltage) -> Time {
    let four_pr = 4.0 * (power * branch.resistance).value;
    let primitive = |u: f64| {
        let s = (u * u - four_pr).max(0.0).sqrt();
        u * u + u * s - four_pr * libm::log(u + s)
    };
    seconds(
        branch.capacitance.get::<farad>() / (4.0 * power.get::<watt>())
            * (primitive(from.get::<volt>()) - primitive(to.get::<volt>())),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::bank::Bank;
    use crate::model::discharge::discharge;
    use crate::model::given::{branch, stretch};
    use approx::{assert_abs_diff_eq, assert_relative_eq};
    use proptest::prelude::*;

    /// The figures from outside are given to nine decimals.
    const NINE_DECIMALS: f64 = 1e-9;
    /// A resistance of a nanoohm at an ampere or less, and rounding (V).
    const NO_RESISTANCE_V: f64 = 1e-8;
    /// Rounding of a few products.
    const ROUNDING: f64 = 1e-12;
    /// Half a unit of the last digit of 11 F.
    const PRINTED_F: f64 = 0.5;

    /// Rows computed by quadrature (SciPy) and confirmed by a circuit simulator to its print precision.
    /// The last one runs down to the power limit 2·√(P·R).
    #[test]
    fn holding_times_equal_quadrature() {
        for (c, r, p, from, to, time_s) in [
            (0.1, 0.5, 0.1, 4.5, 2.2, 7.669019900),
            (0.47, 2.0, 0.12, 5.0, 2.0, 40.238156565),
            (1.4, 1.5, 0.165, 2.0, 1.0, 10.944763538),
            (0.015, 30.0, 0.03, 4.2, 2.4, 2.687437687),
            (1.0, 0.1, 0.5, 2.7, 1.35, 5.397119394),
            (2.5, 0.2, 25.0, 10.0, 20f64.sqrt(), 3.514250240),
        ] {
            let time = holding_time(&branch(c, r), watts(p), volts(from), volts(to));
            assert_abs_diff_eq!(time.value, time_s, epsilon = NINE_DECIMALS);
        }
    }

    /// Start of a burst from the terminal's floor, by root finding on quadrature (SciPy).
    #[test]
    fn starts_of_bursts_equal_root_finding() {
        for (c, r, p, floor, time, start_v) in [
            (0.1, 0.5, 0.13, 2.2, 1.482752, 2.977247970),
            (0.47, 5.0, 0.1, 2.2, 0.370688, 2.462803101),
            (0.022, 1.0, 0.033, 1.8, 0.061696, 1.869025651),
        ] {
            let found = start(&branch(c, r), volts(floor), &[stretch(p, 0.0, time)]).expect("closed form");
            assert_abs_diff_eq!(found.value, start_v, epsilon = NINE_DECIMALS);
        }
    }

    /// Published: 0.1 A taken for 10 s between 5 V and 4.2 V asks for 1.25 F ("How to appropriately calculate the
    /// capacitance of ultracapacitors", constant-current example).
    #[test]
    fn constant_current_equals_the_published_example() {
        let found = start(&branch(1.25, 1e-9), volts(4.2), &[stretch(0.0, 0.1, 10.0)]).expect("closed form");
        assert_abs_diff_eq!(found.value, 5.0, epsilon = NO_RESISTANCE_V);
    }

    /// Published, same note: 200 kW for 10 s between 750 V and 450 V asks for 11 F (resistance left out). By hand 2·P·t/(v1² − v2²)
    /// = 4e6/360000 = 100/9 F, which the note prints without its decimals.
    #[test]
    fn constant_power_equals_the_published_example() {
        let of_one_farad = holding_time(&branch(1.0, 1e-12), watts(200e3), volts(750.0), volts(450.0));
        let asked_f = 10.0 / of_one_farad.value;
        assert_abs_diff_eq!(asked_f, 11.0, epsilon = PRINTED_F);
        assert_relative_eq!(asked_f, 100.0 / 9.0, max_relative = ROUNDING);
    }

    /// Published: 0.5 A for 2 s from 5 V to 3 V ask for 0.5 F ("The function of super capacitor", back-up example).
    #[test]
    fn back_up_sizing_equals_the_published_example() {
        let found = start(&branch(0.5, 1e-9), volts(3.0), &[stretch(0.0, 0.5, 2.0)]).expect("closed form");
        assert_abs_diff_eq!(found.value, 5.0, epsilon = NO_RESISTANCE_V);
    }

    /// Discharged to the power limit the share of the stored energy that is used depends on the utilisation α alone:
    /// P·t = ½CV²·[(α+√α)/2 − ((1−α)/2)·ln((1+√α)/√(1−α))] with R = V²(1−α)/(4P). The formula is that of a back-up
    /// controller's data sheet ("Capacitor Selection Procedure", α = 80 % for example); 0.702850048 and 0.833419326 are computed from it.
    #[test]
    fn utilisation_equals_the_published_formula() {
        for (alpha, share) in [(0.8f64, 0.702850048), (0.9, 0.833419326)] {
            let (c, v, p) = (2.5, 10.0f64, 25.0 / 0.9);
            let r = (1.0 - alpha) * v * v / (4.0 * p);
            let limit = ((1.0 - alpha) * v * v).sqrt();
            let time = holding_time(&branch(c, r), watts(p), volts(v), volts(limit));
            assert_abs_diff_eq!(p * time.value / (0.5 * c * v * v), share, epsilon = NINE_DECIMALS);
        }
    }

    proptest! {
        /// Started at the closed form's answer, the integrator ends with the terminal at the floor.
        #[test]
        fn closed_form_and_integration_agree(
            c in 0.005..5.0f64, r in 0.01..20.0f64, floor in 1.5..3.0f64,
            loads in prop::collection::vec((prop::bool::ANY, 1e-6..0.05f64, 1e-3..1.0f64), 1..5),
        ) {
            let stretches: Vec<Stretch> = loads
                .iter()
                .map(|(power, load, t)| if *power { stretch(*load, 0.0, *t) } else { stretch(0.0, *load, *t) })
                .collect();
            let branch = branch(c, r);
            let found = start(&branch, volts(floor), &stretches).expect("closed form");
            let bank = Bank { branches: vec![branch], leakage: siemenses(0.0) };
            // A microvolt is the integrator's error; the terminal answers with 1/(1 − P·R/v²), at most tenfold here.
            let above = found + volts(1e-6);
            let run = discharge(&bank, &[above.value], &stretches).expect("does not collapse above the start");
            prop_assert!(run.lowest.value >= floor - 1e-6, "{run:?}");
            let below = discharge(&bank, &[found.value - 2e-5], &stretches);
            prop_assert!(below.is_none_or(|run| run.lowest.value < floor.max(f64::EPSILON) + 1e-6));
        }
    }
}
