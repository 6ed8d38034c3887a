//! The capacitor bank as branches in parallel at one terminal.

use crate::model::drain::Drain;
use crate::model::leakage::leakage;
pub use crate::model::wear::Wear;
use crate::model::{divider_current, terminal};
use crate::node::{Capacitor, Node};
use crate::units::*;

/// A capacitance behind its series resistance.
///
/// The capacitance may rise with the voltage u on it, C(u) = dQ/du = capacitance + slope·u: a double-layer cell does
/// (Zubieta and Bonert, "Characterization of double-layer capacitors for power electronics applications", IEEE
/// Transactions on Industry Applications 36 (2000) 199-205).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Branch {
    /// Capacitance at 0 V (F), above 0.
    pub capacitance: Capacitance,
    /// Rise of the capacitance with voltage (F/V), at least 0.
    pub slope: CapacitanceSlope,
    /// Series resistance (ohm), above 0.
    pub resistance: Resistance,
}

/// Branches in parallel at the storage terminal, and what leaks there.
#[derive(Clone, Debug, PartialEq)]
pub struct Bank {
    /// One for each kind of capacitor; 1 to 32.
    pub branches: Vec<Branch>,
    /// Leakage, balance resistors and, of a node, its sensing divider together: a current proportional to the terminal voltage (S).
    pub leakage: Conductance,
}

impl Bank {
    /// The bank of `node` with the factors of `wear`, and with all that always conducts at its terminal: the capacitors' own
    /// leakage, balance resistors, and the sensing divider, its resistors at their low end where `wear` has parts at their
    /// low tolerance.
    ///
    /// ```
    /// use millpond_model::model::bank::{Bank, Wear};
    /// use millpond_node::node::Node;
    /// use millpond_numbers::units::*;
    /// let node = Node::read(millpond_templates::nodes::CRACK_GAUGE)?;
    /// let alone = Bank::of(&node.storage, Wear::NONE);
    /// let whole = Bank::of_node(&node, Wear::NONE);
    /// // 4.7 Mohm and 1 Mohm at 4 V
    /// let divider = (whole.leakage - alone.leakage) * volts(4.0);
    /// assert!((divider - amperes(4.0 / 5.7e6)).abs() < amperes(1e-15));
    /// # Ok::<(), millpond_node::problem::Problems>(())
    /// ```
    pub fn of_node(node: &Node, wear: Wear) -> Self {
        let mut bank = Self::of(&node.storage, wear);
        bank.leakage += divider_current::conductance(&node.sense, wear.tolerance);
        bank
    }

    /// The bank made of `storage` with the factors of `wear`.
    ///
    /// `series` cells in a string divide the capacitance and multiply the resistance, `parallel` strings do the
    /// opposite (Kirchhoff; docs/model.md, equation 4). Leakage is the data sheet's current scaled by voltage
    /// over rated voltage, for each string; balance resistors add `1 / (series · balance)` for each string.
    pub fn of(storage: &[Capacitor], wear: Wear) -> Self {
        let branches = storage
            .iter()
            .map(|part| {
                let (series, parallel) = (f64::from(part.series), f64::from(part.parallel));
                let mut share = part.bias_capacitance * parallel / series;
                let mut resistance = part.esr * series / parallel;
                if wear.tolerance {
                    share = share * (fraction(1.0) - part.tolerance_low);
                }
                if wear.aged_capacitance {
                    share = share * part.end_of_life_capacitance;
                }
                if wear.cold_capacitance {
                    // One that is higher in the cold is no better elsewhere.
                    share = share * part.cold_capacitance.min(fraction(1.0));
                }
                if wear.aged_resistance {
                    resistance = resistance * part.end_of_life_esr;
                }
                if wear.cold_resistance {
                    resistance = resistance * part.cold_esr;
                }
                let empty = part.capacitance - part.capacitance_slope * part.rated_voltage;
                // Each of the cells in series has its share of the voltage.
                Branch {
                    capacitance: empty * share,
                    slope: part.capacitance_slope * share / series,
                    resistance,
                }
            })
            .collect();
        Self {
            branches,
            leakage: storage.iter().map(|part| leakage(part, &wear)).sum(),
        }
    }

    /// Capacitance of all branches together with `inner` volts on each.
    pub fn capacitance(&self, inner: Voltage) -> Capacitance {
        self.branches
            .iter()
            .map(|branch| branch.capacitance + branch.slope * inner)
            .sum()
    }

    /// The largest series resistance of a branch: no reading taken while charging can stand further above the
    /// voltage behind the resistance than the charging current times this.
    pub fn largest_resistance(&self) -> Resistance {
        self.branches
            .iter()
            .map(|branch| branch.resistance)
            .fold(ohms(0.0), Resistance::max)
    }

    /// All branches as one: C = ΣC and R = Σ R·(C_k/C)², which dissipates what they do while all fall at the same rate
    /// (docs/model.md, equation 28). Where a capacitance rises with voltage, the shares are those at `full`.
    pub fn as_one(&self, full: Voltage) -> Branch {
        let whole = self.capacitance(full);
        let resistance = self
            .branches
            .iter()
            .map(|branch| {
                let share = (branch.capacitance + branch.slope * full) / whole;
                branch.resistance * share * share
            })
            .sum();
        Branch {
            capacitance: self.capacitance(volts(0.0)),
            slope: self.branches.iter().map(|branch| branch.slope).sum(),
            resistance,
        }
    }

    /// Energy stored with `inner_v` volts behind each branch's resistance: the sum of C·u²/2 + slope·u³/3.
    pub fn stored(&self, inner_v: &[f64]) -> Energy {
        self.branches
            .iter()
            .zip(inner_v)
            .map(|(branch, inner_v)| {
                let inner = volts(*inner_v);
                (branch.capacitance / 2.0 + branch.slope * inner / 3.0) * inner * inner
            })
            .sum()
    }

    /// The same with every branch at `rest`: nothing has flowed for long.
    pub fn stored_at_rest(&self, rest: Voltage) -> Energy {
        self.stored(&vec![rest.get::<volt>(); self.branches.len()])
    }

    /// Terminal voltage under `drain`, with `inner` volts behind each branch's resistance; `None` where the bank
    /// cannot give the power.
    ///
    /// Kirchhoff at the terminal, Σ (u − v)/R = P/v + I + G·v, is a quadratic in v. Its upper root is the one that
    /// a source settles at when the load is keyed from rest; the lower one is an unstable point of a constant-power
    /// load (docs/model.md, equation 6).
    pub fn terminal(&self, inner: &[f64], drain: &Drain) -> Option<Voltage> {
        let source_a: f64 = self
            .branches
            .iter()
            .zip(inner)
            .map(|(branch, u)| branch.resistance.get::<ohm>().recip() * u)
            .sum();
        let conductances = self
            .branches
            .iter()
            .map(|branch| branch.resistance.get::<ohm>().recip());
        let total_s = conductances.sum::<f64>() + self.leakage.get::<siemens>();
        let (power_w, current_a) = (drain.power.get::<watt>(), drain.current.get::<ampere>());
        terminal::voltage_v(total_s, source_a, power_w, current_a).map(volts)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn cell() -> Capacitor {
        Capacitor {
            capacitance: farads(10.0),
            capacitance_slope: farads_per_volt(0.0),
            tolerance_low: fraction(0.2),
            tolerance_high: fraction(0.2),
            esr: ohms(0.4),
            esr_minimum: ohms(0.0),
            rated_voltage: volts(2.7),
            leakage: amperes(30e-6),
            hot_leakage: None,
            fresh_leakage: None,
            series: 2,
            parallel: 3,
            balance_resistor: Some(ohms(470e3)),
            bias_capacitance: fraction(1.0),
            end_of_life_capacitance: fraction(0.7),
            end_of_life_esr: fraction(3.0),
            cold_capacitance: fraction(0.9),
            cold_esr: fraction(1.5),
            states_cold: true,
        }
    }

    /// By hand from the laws of series and parallel connection.
    #[test]
    fn cells_in_series_and_parallel_combine_as_kirchhoff_says() {
        let nominal = Bank::of(&[cell()], Wear::NONE);
        assert_relative_eq!(nominal.branches[0].capacitance.value, 15.0, max_relative = 1e-12);
        assert_relative_eq!(
            nominal.branches[0].resistance.value,
            0.8 / 3.0,
            max_relative = 1e-12
        );
        // At 5.4 V each string leaks 30 uA and its two balance resistors carry 5.4 V / 940 kohm.
        let leak_a = nominal.leakage.value * 5.4;
        assert_relative_eq!(leak_a, 3.0 * (30e-6 + 5.4 / 940e3), max_relative = 1e-12);
        let worst = Bank::of(&[cell()], Wear::WORST);
        assert_relative_eq!(
            worst.branches[0].capacitance.value,
            15.0 * 0.8 * 0.7 * 0.9,
            max_relative = 1e-12
        );
        assert_relative_eq!(
            worst.branches[0].resistance.value,
            0.8 / 3.0 * 4.5,
            max_relative = 1e-12
        );
        let better_in_the_cold = Capacitor {
            cold_capacitance: fraction(1.5),
            ..cell()
        };
        let warm = Wear {
            cold_capacitance: false,
            ..Wear::WORST
        };
        assert_eq!(
            Bank::of(std::slice::from_ref(&better_in_the_cold), Wear::WORST),
            Bank::of(&[better_in_the_cold], warm)
        );
    }

    /// By hand: a cell of 10 F at its 2.7 V that loses 2 F with each volt has 7.6 F at 1.5 V. At 3 V two in series have 1.5 V each: half of that,
    /// three times in parallel.
    #[test]
    fn cells_in_series_share_the_voltage_that_their_capacitance_rises_with() {
        let cell = Capacitor {
            capacitance_slope: farads_per_volt(2.0),
            ..cell()
        };
        let bank = Bank::of(&[cell], Wear::NONE);
        assert_relative_eq!(
            bank.capacitance(volts(3.0)).value,
            7.6 / 2.0 * 3.0,
            max_relative = 1e-12
        );
    }

    /// The most that a source can give: V²/4R; 2.7 V behind 20 mohm gives 91.125 W.
    /// Source: back-up controller's data sheet, maximum power transfer rule (docs/references.md, 12); the figure is computed.
    #[test]
    fn the_bank_gives_at_most_the_matched_power() {
        let bank = Bank {
            branches: vec![Branch {
                capacitance: farads(1.0),
                slope: farads_per_volt(0.0),
                resistance: ohms(0.02),
            }],
            leakage: siemenses(0.0),
        };
        let at = |power_w: f64| {
            bank.terminal(
                &[2.7],
                &Drain {
                    power: watts(power_w),
                    current: amperes(0.0),
                },
            )
        };
        assert!(at(91.125 * (1.0 + 1e-9)).is_none());
        let matched = at(91.125 * (1.0 - 1e-12)).expect("just below the limit");
        // At the limit half the voltage is left.
        assert_relative_eq!(matched.value, 1.35, max_relative = 1e-5);
        // At the usable power 0.12·V²/R (IEC 62391-2, annex A), 43.74 W, (1 + √0.52)/2 of it is left.
        let usable = at(43.74).expect("well below the limit");
        assert_relative_eq!(
            usable.value,
            2.7 * (1.0 + 0.52f64.sqrt()) / 2.0,
            max_relative = 1e-12
        );
    }
}
