//! A bank at rest: all branches at one voltage, and the charge that they have given since.

use crate::model::bank::Bank;
use crate::units::*;

/// Charge that the branches of `bank`, all at `rest` before, have given when they stand at `inner_v` volts: the sum of ∫ C(u) du =
/// (C0 + k/2·(u1 + u2))·(u1 − u2), with what leaked meanwhile in it.
pub fn given(bank: &Bank, rest: Voltage, inner_v: &[f64]) -> Charge {
    let branches = bank.branches.iter().zip(inner_v);
    branches
        .map(|(branch, inner_v)| {
            let inner = volts(*inner_v);
            let middle = branch.capacitance + branch.slope * ((rest + inner) / 2.0);
            middle * (rest - inner)
        })
        .sum()
}

/// Where branches with `inner_v` volts each come to rest: Σ C0·u + k/2·u² keeps the charge that they have together.
///
/// ```
/// use millpond_model::model::{bank::*, redistribution::shared};
/// use millpond_numbers::units::*;
/// let branch = |capacitance_f| Branch { capacitance: farads(capacitance_f), slope: farads_per_volt(0.0), resistance: ohms(1.0) };
/// let bank = Bank { branches: vec![branch(0.8), branch(0.2)], leakage: siemenses(0.0) };
/// assert!((shared(&bank, &[3.0, 0.0]) - volts(2.4)).abs() < volts(1e-12));
/// ```
pub fn shared(bank: &Bank, inner_v: &[f64]) -> Voltage {
    let (mut charge_c, mut empty_f, mut slope_f_per_v) = (0.0, 0.0, 0.0);
    for (branch, inner_v) in bank.branches.iter().zip(inner_v) {
        let (c0, slope) = (branch.capacitance.get::<farad>(), branch.slope.value);
        charge_c += (c0 + slope / 2.0 * inner_v) * inner_v;
        empty_f += c0;
        slope_f_per_v += slope;
    }
    let root = (empty_f * empty_f + 2.0 * slope_f_per_v * charge_c).sqrt();
    volts(2.0 * charge_c / (empty_f + root))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::bank::Branch;
    use approx::assert_relative_eq;

    /// Rounding of a root.
    const ROUNDING: f64 = 1e-14;

    fn bank() -> Bank {
        let branch = |slope| Branch {
            capacitance: farads(1.0),
            slope: farads_per_volt(slope),
            resistance: ohms(1.0),
        };
        Bank {
            branches: vec![branch(0.0), branch(1.0)],
            leakage: siemenses(0.0),
        }
    }

    /// By hand: 1 F at 2 V and 1 F + 1 F/V at 1 V have 2 C and 1.5 C; 2·u + u²/2 = 3.5 at √11 − 2.
    #[test]
    fn branches_share_the_charge_of_a_rising_capacitance() {
        let voltage = shared(&bank(), &[2.0, 1.0]);
        assert_relative_eq!(voltage.get::<volt>(), 11f64.sqrt() - 2.0, max_relative = ROUNDING);
    }

    /// By hand: from 3 V, where they have 3 C and 7.5 C, to 2 V and 1 V with 2 C and 1.5 C: 7 C.
    #[test]
    fn what_is_given_is_the_difference_of_the_charges() {
        let charge = given(&bank(), volts(3.0), &[2.0, 1.0]);
        assert_relative_eq!(charge.get::<coulomb>(), 7.0, max_relative = ROUNDING);
    }
}
