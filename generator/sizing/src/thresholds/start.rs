//! The voltage from which a bank at rest just carries a sequence of stretches.

use crate::model::bank::Bank;
use crate::model::burst;
use crate::model::discharge::{Stretch, discharge};
use crate::units::*;

/// Width of the bracket that is left (V); the answer is its upper, safe end. Ten times the integrator's error.
const BRACKET_V: f64 = 1e-7;
/// Beyond this the search ends (V): no node file may state a higher voltage, so no bank is ever charged to it.
const UNREACHABLE_V: f64 = 1e3;
/// The method settles in a handful of rounds, plain halving from some hundred volts in 32: a stop, not a tuning.
const ROUNDS: u32 = 120;

/// Voltage behind the resistances of `bank`, all branches at rest at the same voltage, from which it carries
/// `stretches` with its terminal never below `floor`.
///
/// By closed form where there is one (a single branch without leakage, at constant current or constant power);
/// otherwise by bracketing on the integrated discharge, whose lowest point rises with the start. The answer lies at
/// most 0.1 µV above the true one and never below by more than the integrator's error.
///
/// A bank that would have to stand at [`unreachable()`] or above cannot carry the stretches: that voltage is the answer. A true
/// one exists, but a long reserve on a bank that leaks in minutes puts it at powers of ten where no number holds.
///
/// ```
/// use millpond_model::model::{bank::*, discharge::Stretch, drain::Drain};
/// use millpond_sizing::thresholds::start_voltage;
/// use millpond_numbers::units::*;
/// let branch = Branch { capacitance: farads(1.0), slope: farads_per_volt(0.0), resistance: ohms(2.0) };
/// let bank = Bank { branches: vec![branch], leakage: siemenses(0.0) };
/// let drain = Drain { power: watts(0.0), current: amperes(0.1) };
/// let stretch = Stretch { drain, peak: drain, duration: seconds(1.0) };
/// // 0.1 V for the charge and 0.2 V for the resistance.
/// let start = start_voltage(&bank, volts(2.0), &[stretch]);
/// assert!((start - volts(2.3)).abs() < volts(1e-6));
/// ```
pub fn start_voltage(bank: &Bank, floor: Voltage, stretches: &[Stretch]) -> Voltage {
    start_above(bank, floor, stretches, floor)
}

/// The same where it is known not to lie below `least`, which is at or above the floor.
pub(super) fn start_above(bank: &Bank, floor: Voltage, stretches: &[Stretch], least: Voltage) -> Voltage {
    let search = Search {
        bank,
        floor,
        stretches,
    };
    if let Some(start) = search.closed_form() {
        return start.max(least).min(unreachable());
    }
    let least_v = least.get::<volt>();
    let low = search.clearance_v(least_v);
    if low >= 0.0 {
        return least;
    }
    search.upward(least_v, low)
}

/// The same where it is likely to be near `guess`, which is at or above the floor.
pub(super) fn start_near(bank: &Bank, floor: Voltage, stretches: &[Stretch], guess: Voltage) -> Voltage {
    let search = Search {
        bank,
        floor,
        stretches,
    };
    if let Some(start) = search.closed_form() {
        return start.min(unreachable());
    }
    let guess_v = guess.get::<volt>();
    let clearance = search.clearance_v(guess_v);
    if clearance < 0.0 {
        search.upward(guess_v, clearance)
    } else {
        search.downward(guess_v, clearance)
    }
}

/// What is searched.
struct Search<'a> {
    bank: &'a Bank,
    floor: Voltage,
    stretches: &'a [Stretch],
}

impl Search<'_> {
    /// The answer of a single branch without leakage, at constant current or constant power.
    fn closed_form(&self) -> Option<Voltage> {
        match self.bank.branches.as_slice() {
            [branch] if self.bank.leakage == siemenses(0.0) => {
                burst::start(branch, self.floor, self.stretches)
            }
            _ => None,
        }
    }

    /// Lowest terminal voltage above the floor; −∞ when the bank collapses.
    fn clearance_v(&self, start_v: f64) -> f64 {
        let rest = vec![start_v; self.bank.branches.len()];
        discharge(self.bank, &rest, self.stretches).map_or(f64::NEG_INFINITY, |end| {
            end.lowest.get::<volt>() - self.floor.get::<volt>()
        })
    }

    /// The start above `low_v`, at which the clearance is `low`, below 0.
    fn upward(&self, mut low_v: f64, mut low: f64) -> Voltage {
        // From a start that is nearly enough, what is missing is the first guess: the terminal answers with a factor of 1 and more.
        let mut rise_v = if low.is_finite() && low_v > self.floor.get::<volt>() {
            (-low).max(BRACKET_V)
        } else {
            first_rise(self.bank, self.floor, self.stretches)
        };
        let (mut high_v, mut high) = (low_v, low);
        while high < 0.0 {
            if high_v >= UNREACHABLE_V {
                return unreachable();
            }
            (low_v, low) = (high_v, high);
            high_v = (high_v + rise_v).min(UNREACHABLE_V);
            high = self.clearance_v(high_v);
            rise_v *= 2.0;
        }
        self.narrowed((low_v, low), (high_v, high))
    }

    /// The start at or below `high_v`, at which the clearance is `high`, not below 0.
    fn downward(&self, mut high_v: f64, mut high: f64) -> Voltage {
        let floor_v = self.floor.get::<volt>();
        let mut fall_v = high.max(BRACKET_V);
        while high_v > floor_v {
            let low_v = (high_v - fall_v).max(floor_v);
            let low = self.clearance_v(low_v);
            if low < 0.0 {
                return self.narrowed((low_v, low), (high_v, high));
            }
            (high_v, high) = (low_v, low);
            fall_v *= 2.0;
        }
        self.floor
    }

    /// The upper end of a bracket of which the lower end has a clearance below 0 and the upper one has not.
    ///
    /// Regula falsi that halves the weight of an end that stays twice (Illinois: Dowell and Jarratt, BIT 11 (1971) 168-174);
    /// plain halving where the lower end collapses and has no number.
    fn narrowed(&self, (mut low_v, mut low): (f64, f64), (mut high_v, mut high): (f64, f64)) -> Voltage {
        let mut stayed = 0;
        for _ in 0..ROUNDS {
            if high_v - low_v <= BRACKET_V {
                break;
            }
            let middle_v = if low.is_finite() {
                let secant_v = high_v - high * (high_v - low_v) / (high - low);
                // Half a bracket away from either end, so that the far end closes in, too.
                secant_v.clamp(low_v + BRACKET_V / 2.0, high_v - BRACKET_V / 2.0)
            } else {
                low_v + (high_v - low_v) / 2.0
            };
            let middle = self.clearance_v(middle_v);
            if middle >= 0.0 {
                (high_v, high) = (middle_v, middle);
                low = if stayed == -1 { low / 2.0 } else { low };
                stayed = -1;
            } else {
                (low_v, low) = (middle_v, middle);
                high = if stayed == 1 { high / 2.0 } else { high };
                stayed = 1;
            }
        }
        volts(high_v)
    }
}

/// The start voltage that stands for "at no voltage": the highest that a node file may state.
pub fn unreachable() -> Voltage {
    volts(UNREACHABLE_V)
}

/// A first guess of how far above the floor the start lies: charge over capacitance and the highest current over the
/// conductances, with currents as at the floor.
fn first_rise(bank: &Bank, floor: Voltage, stretches: &[Stretch]) -> f64 {
    let charge: Charge = stretches
        .iter()
        .map(|stretch| (stretch.drain.at(floor) + bank.leakage * floor) * stretch.duration)
        .sum();
    let peak = stretches
        .iter()
        .map(|stretch| stretch.peak.at(floor))
        .fold(amperes(0.0), Current::max);
    let conductance: Conductance = bank.branches.iter().map(|branch| branch.resistance.recip()).sum();
    let rise: Voltage = charge / bank.capacitance(floor) + peak / conductance;
    rise.get::<volt>().max(BRACKET_V)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::bank::Branch;
    use crate::model::given::{branch, stretch};
    use proptest::prelude::*;

    /// Ten times the width of the bracket: the integrator's error on top of it.
    const FOUND_V: f64 = 1e-6;

    /// 0.1 mF that lose half their charge in 7 s cannot keep a node asleep for two hours: by hand, from e^(7200/10) times the
    /// floor alone. The search ends and says so, with leakage and by the closed form.
    #[test]
    fn what_no_voltage_carries_is_unreachable() {
        let bank = |leakage| Bank {
            branches: vec![branch(1e-4, 1.0)],
            leakage: siemenses(leakage),
        };
        let asleep = [stretch(1e-5, 0.0, 7200.0)];
        assert_eq!(start_voltage(&bank(1e-5), volts(2.0), &asleep), unreachable());
        let heavy = [stretch(0.0, 1.0, 7200.0)];
        assert_eq!(start_voltage(&bank(0.0), volts(2.0), &heavy), unreachable());
        // 10 µA for two hours from 100 µF: 720 V above the floor, far and within reach.
        let light = [stretch(0.0, 1e-5, 7200.0)];
        assert!((start_voltage(&bank(0.0), volts(2.0), &light) - volts(722.0)).abs() < volts(1e-3));
    }

    /// By hand: 1 C from 0.8 F that rise by 0.2 F with each volt, down to 2 V: 0.8·(v − 2) + 0.1·(v² − 4) = 1, whatever leaks or not.
    #[test]
    fn a_rising_capacitance_gives_its_charge_without_leakage_too() {
        let bank = Bank {
            branches: vec![Branch {
                slope: farads_per_volt(0.2),
                ..branch(0.8, 1e-6)
            }],
            leakage: siemenses(0.0),
        };
        let start = start_voltage(&bank, volts(2.0), &[stretch(0.0, 0.1, 10.0)]);
        let by_hand = volts((1.84_f64.sqrt() - 0.8) / 0.2);
        assert!((start - by_hand).abs() < volts(FOUND_V), "{start:?} {by_hand:?}");
    }

    /// By hand: 50 mA for a moment through 10 ohm ask for 0.5 V above the floor of 2 V at the end of a second of 1 mA, which takes 1 mV from 1 F.
    #[test]
    fn a_peak_counts_at_the_end_of_its_stretch() {
        let mut peaked = stretch(0.0, 1e-3, 1.0);
        peaked.peak.current = amperes(50e-3);
        for leakage in [0.0, 1e-15] {
            let bank = Bank {
                branches: vec![branch(1.0, 10.0)],
                leakage: siemenses(leakage),
            };
            let start = start_voltage(&bank, volts(2.0), &[peaked]);
            assert!((start - volts(2.501)).abs() < volts(FOUND_V), "{start:?}");
        }
    }

    proptest! {
        /// A leakage of next to nothing sends the search through integration: it finds what the closed form finds.
        #[test]
        fn search_and_closed_form_agree(
            c in 0.005..5.0f64, r in 0.01..20.0f64, floor in 1.5..3.0f64, power in 1e-4..0.1f64, t in 1e-3..2.0f64,
        ) {
            let stretches = [stretch(power, 0.0, t), stretch(power / 50.0, 0.0, t)];
            let bank = |leakage| Bank { branches: vec![branch(c, r)], leakage: siemenses(leakage) };
            let exact = start_voltage(&bank(0.0), volts(floor), &stretches);
            let found = start_voltage(&bank(1e-15), volts(floor), &stretches);
            prop_assert!((found - exact).abs() < volts(FOUND_V), "{found:?} {exact:?}");
        }

        /// Started at the answer the terminal touches the floor; a little lower it falls below.
        #[test]
        fn the_terminal_touches_the_floor(
            c in 0.05..5.0f64, r in 0.1..10.0f64, ceramic in 1e-5..1e-3f64, leakage in 0.0..1e-4f64,
            power in 1e-3..0.1f64, current in 0.0..0.05f64, t in 1e-3..1.0f64,
        ) {
            let bank = Bank { branches: vec![branch(c, r), branch(ceramic, 0.01)], leakage: siemenses(leakage) };
            let stretches = [stretch(power, 0.0, t), stretch(0.0, current, t)];
            let start_v = start_voltage(&bank, volts(2.0), &stretches).get::<volt>();
            let search = Search { bank: &bank, floor: volts(2.0), stretches: &stretches };
            prop_assert!(search.clearance_v(start_v) >= 0.0);
            prop_assert!(search.clearance_v(start_v - FOUND_V) < 0.0);
        }
    }
}
