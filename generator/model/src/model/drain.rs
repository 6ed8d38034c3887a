//! What a load draws from the storage terminal, through its regulator.

use crate::node::Regulator;
use crate::units::*;

/// Current drawn from the storage terminal as a function of its voltage: `i(v) = power / v + current`.
///
/// Every supply of this project has this form, so that one integrator and one closed form serve all of them:
///
/// | supply | `power` | `current` |
/// | --- | --- | --- |
/// | direct | 0 | load current |
/// | linear | 0 | load current + quiescent |
/// | switching | rail voltage · load current / efficiency, or what a smaller load of the table takes if that is more | quiescent |
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drain {
    /// Part that rises as the voltage falls (W).
    pub power: Power,
    /// Part that does not depend on the voltage (A).
    pub current: Current,
}

impl Drain {
    /// What `regulator` draws from the terminal to give `load` at its rail.
    ///
    /// Source: input power of a converter is output power over efficiency, input current of a series regulator
    /// is output current plus its own (textbook definitions; docs/model.md, equations 1 to 3).
    ///
    /// ```
    /// use millpond_model::model::drain::Drain;
    /// use millpond_node::node::Regulator;
    /// use millpond_numbers::units::*;
    /// let linear = Regulator::Linear { rail: volts(2.5), dropout: volts(0.12), quiescent: amperes(1e-6) };
    /// assert_eq!(Drain::of(&linear, amperes(7e-6)).current, amperes(8e-6));
    /// ```
    pub fn of(regulator: &Regulator, load: Current) -> Self {
        match regulator {
            Regulator::Direct { .. } => Self {
                power: watts(0.0),
                current: load,
            },
            Regulator::Linear { quiescent, .. } => Self {
                power: watts(0.0),
                current: load + *quiescent,
            },
            Regulator::Switching {
                rail,
                quiescent,
                efficiency,
                ..
            } => Self {
                power: *rail * efficiency.input(load),
                current: *quiescent,
            },
        }
    }

    /// Current at terminal voltage `terminal` (above 0).
    pub fn at(&self, terminal: Voltage) -> Current {
        self.power / terminal + self.current
    }

    /// Power at terminal voltage `terminal`: P + I·v.
    pub fn power_at(&self, terminal: Voltage) -> Power {
        self.power + terminal * self.current
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::node::Efficiency;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    /// Rounding of a logarithm.
    const ROUNDING: f64 = 1e-12;
    /// The figures are rounded to a microampere.
    const PRINTED_A: f64 = 0.5e-6;
    /// The page rounds to a whole per cent.
    const PRINTED: f64 = 0.005;

    fn table() -> Efficiency {
        Efficiency {
            points: vec![(amperes(1e-5), fraction(0.7)), (amperes(1e-3), fraction(0.9))],
        }
    }

    #[test]
    fn efficiency_is_flat_outside_and_linear_over_the_logarithm_inside() {
        assert_eq!(table().at(amperes(0.0)), fraction(0.7));
        assert_eq!(table().at(amperes(1e-5)), fraction(0.7));
        assert_eq!(table().at(amperes(1.0)), fraction(0.9));
        // 1e-4 A is half way between 1e-5 A and 1e-3 A on a logarithmic axis.
        assert_relative_eq!(table().at(amperes(1e-4)).value, 0.8, max_relative = ROUNDING);
    }

    /// By hand: 44 mA at 45 % take 97.8 mA, 48 mA at 90 % take 53.3 mA; up to 88 mA the former stands.
    #[test]
    fn no_load_takes_less_than_a_smaller_one() {
        let steep = Efficiency {
            points: vec![(amperes(44e-3), fraction(0.45)), (amperes(48e-3), fraction(0.9))],
        };
        for (load, input) in [
            (22e-3, 22e-3 / 0.45),
            (46e-3, 44e-3 / 0.45),
            (48e-3, 44e-3 / 0.45),
            (90e-3, 0.1),
        ] {
            assert_relative_eq!(steep.input(amperes(load)).value, input, max_relative = ROUNDING);
        }
    }

    proptest! {
        /// Whatever the table says, more load never takes less.
        #[test]
        fn more_load_never_takes_less(
            table in prop::collection::btree_map(1..100_000_u32, 0.01..1.0f64, 1..6),
            load in 1e-6..0.2f64, more in 1.0..3.0f64,
        ) {
            let points = table
                .into_iter()
                .map(|(current_ua, efficiency)| (amperes(f64::from(current_ua) * 1e-6), fraction(efficiency)))
                .collect();
            let efficiency = Efficiency { points };
            let (less, most) = (efficiency.input(amperes(load)), efficiency.input(amperes(load * more)));
            // One rounding of each of two quotients.
            prop_assert!(most >= less * (1.0 - 1e-14), "{less:?} {most:?}");
        }
    }

    /// "Boost 2.4 V to 3.3 V, 30 mA at 85 %: 48.529 mA in; buck 4.5 V to 1.8 V, 10 mA at 90 %: 4.444 mA in."
    /// Worked from the definition of efficiency; common practice, no source.
    #[test]
    fn switching_input_current_follows_from_the_efficiency() {
        for (rail, load, efficiency, terminal, input) in [
            (3.3, 30e-3, 0.85, 2.4, 48.529e-3),
            (1.8, 10e-3, 0.9, 4.5, 4.444e-3),
        ] {
            let regulator = Regulator::Switching {
                rail: volts(rail),
                minimum_input: volts(1.0),
                quiescent: amperes(0.0),
                efficiency: Efficiency {
                    points: vec![(amperes(1e-3), fraction(efficiency))],
                },
            };
            let drawn = Drain::of(&regulator, amperes(load)).at(volts(terminal));
            assert!((drawn - amperes(input)).abs() < amperes(PRINTED_A), "{drawn:?}");
        }
    }

    /// Efficiency of a series regulator from 5 V to 3.3 V: 66 % at 150 mA with 0.25 mA of its own, about 53 % at
    /// 1 mA. Source: "LDO efficiency" (e-learning chapter on series regulators, 4-1) and its calculator's text.
    #[test]
    fn linear_efficiency_equals_the_published_example() {
        let regulator = Regulator::Linear {
            rail: volts(3.3),
            dropout: volts(0.1),
            quiescent: amperes(0.25e-3),
        };
        for (load, published) in [(150e-3, 0.66), (1e-3, 0.53)] {
            let load = amperes(load);
            let drawn = volts(5.0) * Drain::of(&regulator, load).at(volts(5.0));
            let efficiency = (volts(3.3) * load / drawn).get::<ratio>();
            assert!((efficiency - published).abs() < PRINTED, "{efficiency}");
        }
    }
}
