//! A branch while the terminal stands at a fixed voltage V: a closed form, also where the capacitance rises with voltage.
//!
//! With the gap x = V − u and C(u) = C_V − k·x, dx/dt = −x/(R·C): C_V·ln(x0/x) − k·(x0 − x) = t/R.

/// Rounds of Newton's method; it converges from one side and doubles the digits each time.
const ROUNDS: u32 = 60;
/// Part of the answer by which two rounds may differ in the end: rounding of a few operations.
const ROUNDING: f64 = 1e-14;

/// One branch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Branch {
    /// Capacitance at V.
    pub(super) capacitance_f: f64,
    /// Rise of the capacitance with voltage.
    pub(super) slope_f_per_v: f64,
    /// 1/R.
    pub(super) conductance_s: f64,
}

impl Branch {
    /// The gap that is left of `gap_v` after `time_s`.
    pub(super) fn gap_after_v(self, gap_v: f64, time_s: f64) -> f64 {
        let Self {
            capacitance_f,
            slope_f_per_v,
            conductance_s,
        } = self;
        // y = ln(x0/x), from the side on which every tangent stays.
        let mut y = time_s * conductance_s / (capacitance_f - slope_f_per_v * gap_v);
        if slope_f_per_v > 0.0 {
            for _ in 0..ROUNDS {
                let left = gap_v * libm::exp(-y);
                let miss = capacitance_f * y - slope_f_per_v * (gap_v - left) - time_s * conductance_s;
                let change = miss / (capacitance_f - slope_f_per_v * left);
                y -= change;
                if change.abs() <= ROUNDING * y {
                    break;
                }
            }
        }
        gap_v * libm::exp(-y)
    }

    /// Charge that goes in while the gap closes from one to the other: ∫ C du.
    pub(super) fn charge_c(self, from_v: f64, to_v: f64) -> f64 {
        (from_v - to_v) * (self.capacitance_f - self.slope_f_per_v * (from_v + to_v) / 2.0)
    }

    /// What the resistance takes meanwhile: ∫ x²/R dt = ∫ C·x du.
    pub(super) fn lost_j(self, from_v: f64, to_v: f64) -> f64 {
        self.capacitance_f / 2.0 * (from_v * from_v - to_v * to_v)
            - self.slope_f_per_v / 3.0 * (from_v.powi(3) - to_v.powi(3))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of some volts and joules; the gap is searched as closely.
    const ROUNDING: f64 = 1e-12;

    /// By hand: 0.1 F at V and 0.02 F/V, 1 ohm, a gap of 1 V that falls to 1/e takes 0.1 − 0.02·(1 − 1/e) seconds.
    #[test]
    fn the_gap_falls_to_a_part_of_e_in_the_time_by_hand() {
        let branch = Branch {
            capacitance_f: 0.1,
            slope_f_per_v: 0.02,
            conductance_s: 1.0,
        };
        for gap_v in [1.0, -1.0, 0.3, 4.0] {
            let left_v = gap_v / std::f64::consts::E;
            let time_s = 0.1 - 0.02 * (gap_v - left_v);
            assert!((branch.gap_after_v(gap_v, time_s) - left_v).abs() < ROUNDING);
        }
    }

    /// V·Q is what is stored more and what the resistance takes.
    #[test]
    fn the_energy_of_a_hold_is_whole() {
        let (limit_v, slope) = (5.0_f64, 0.02);
        let branch = Branch {
            capacitance_f: 0.1 + slope * limit_v,
            slope_f_per_v: slope,
            conductance_s: 0.5,
        };
        let stored_j = |u: f64| 0.05 * u * u + slope / 3.0 * u.powi(3);
        let (from_v, to_v) = (2.0, 0.4);
        let gained_j = stored_j(limit_v - to_v) - stored_j(limit_v - from_v);
        let given_j = limit_v * branch.charge_c(from_v, to_v);
        assert!((given_j - gained_j - branch.lost_j(from_v, to_v)).abs() < ROUNDING);
    }
}
