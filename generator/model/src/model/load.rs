//! The load that an action puts on the storage terminal: its phases and attempts as stretches of drain.

use crate::model::airtime::Airtime;
use crate::model::discharge::Stretch;
use crate::model::divider_current;
use crate::model::drain::Drain;
use crate::node::{Action, Node, Phase, Radio, Regulator};
use crate::units::*;

/// An action as the storage terminal sees it.
#[derive(Clone, Debug, PartialEq)]
pub struct Load {
    /// One stretch for each phase, attempts one after the other.
    pub stretches: Vec<Stretch>,
    /// How long all attempts take (s).
    pub duration: Time,
    /// Transmitter on in all attempts together (s); 0 without a phase timed by airtime.
    pub on_air: Time,
    /// From its first moment on to its last, over all attempts (s).
    pub air_span: Time,
}

impl Load {
    /// The load of `action` through `regulator`, with every current of the load higher by the fraction
    /// `excess`.
    ///
    /// `excess` is `margins.load` in the worst corner and 0 at nominal. The efficiency of a switching
    /// regulator is read at the raised current; the regulator's own current is not raised (docs/model.md,
    /// "How margins stack").
    ///
    /// # Panics
    ///
    /// If a phase is timed by airtime and `radio` is `None`, which a checked
    /// [`crate::node::Node`] never has.
    ///
    /// ```
    /// use millpond_model::model::load::Load;
    /// use millpond_node::node::*;
    /// use millpond_numbers::units::*;
    /// let direct = Regulator::Direct { minimum_input: volts(1.8) };
    /// let phase = Phase {
    ///     name: "humidity".into(),
    ///     current: amperes(480e-6),
    ///     peak_current: amperes(480e-6),
    ///     extent: Extent::Fixed(seconds(14e-3)),
    /// };
    /// let action = Action { phases: vec![phase], attempts: 2 };
    /// let load = Load::of(&direct, &action, None, fraction(0.1));
    /// assert_eq!(load.stretches.len(), 2);
    /// assert!((load.stretches[0].drain.current - amperes(528e-6)).abs() < amperes(1e-15));
    /// ```
    pub fn of(regulator: &Regulator, action: &Action, radio: Option<&Radio>, excess: Ratio) -> Self {
        let raised = fraction(1.0) + excess;
        let (mut attempt, mut duration, mut on_air) = (Vec::new(), seconds(0.0), seconds(0.0));
        let mut first_to_last = None;
        for phase in &action.phases {
            let timing = Airtime::of_phase(phase, radio);
            let begin = duration;
            duration += timing.extent;
            on_air += timing.on_air;
            if timing.on_air > seconds(0.0) {
                first_to_last = Some((first_to_last.map_or(begin, |(first, _)| first), duration));
            }
            attempt.push(Stretch {
                drain: Drain::of(regulator, phase.current * raised),
                peak: Drain::of(regulator, phase.peak_current * raised),
                duration: timing.extent,
            });
        }
        let attempts = f64::from(action.attempts);
        Self {
            stretches: (0..action.attempts).flat_map(|_| attempt.clone()).collect(),
            duration: duration * attempts,
            on_air: on_air * attempts,
            air_span: first_to_last.map_or(seconds(0.0), |(first, last)| {
                duration * (attempts - 1.0) + last - first
            }),
        }
    }

    /// The load of one attempt at one phase; arguments and panics as for [`Load::of`].
    pub fn of_phase(regulator: &Regulator, phase: &Phase, radio: Option<&Radio>, excess: Ratio) -> Self {
        let alone = Action {
            phases: vec![phase.clone()],
            attempts: 1,
        };
        Self::of(regulator, &alone, radio, excess)
    }

    /// Charge that all attempts draw with the terminal held at `terminal` (above 0): Σ (P/v + I)·t (docs/model.md, equation 19).
    ///
    /// What series resistance adds is left out: the terminal of a real bank falls under the load.
    pub fn charge_at(&self, terminal: Voltage) -> Charge {
        self.stretches
            .iter()
            .map(|stretch| stretch.charge_at(terminal))
            .sum()
    }

    /// Energy that all attempts draw with the terminal held at `terminal`: Σ (P + I·v)·t.
    pub fn energy_at(&self, terminal: Voltage) -> Energy {
        self.stretches
            .iter()
            .map(|stretch| stretch.energy_at(terminal))
            .sum()
    }

    /// `node` asleep for `duration`, drawing `sleep_current` at the rail, higher by the fraction `excess`, and what leaks into its
    /// converter's input beside it.
    pub fn node_asleep(node: &Node, sleep_current: Current, duration: Time, excess: Ratio) -> Stretch {
        let mut stretch = Self::asleep(&node.supply.regulator, sleep_current, duration, excess);
        stretch.drain.current += divider_current::input_draw(&node.sense);
        stretch.peak = stretch.drain;
        stretch
    }

    /// Anything asleep for `duration`, drawing `sleep_current` at the rail, higher by the fraction `excess`.
    pub fn asleep(regulator: &Regulator, sleep_current: Current, duration: Time, excess: Ratio) -> Stretch {
        let drain = Drain::of(regulator, sleep_current * (fraction(1.0) + excess));
        Stretch {
            drain,
            peak: drain,
            duration,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::bank::{Bank, Branch};
    use crate::model::discharge::discharge;
    use crate::node::Extent;
    use crate::node::{BlePhy, Efficiency, Frame};
    use approx::{assert_abs_diff_eq, assert_relative_eq};
    use proptest::prelude::*;

    /// Sums and products of a few doubles.
    const ROUNDING: f64 = 1e-14;

    fn phase(current_a: f64, extent: Extent) -> Phase {
        Phase {
            name: "phase".into(),
            current: amperes(current_a),
            peak_current: amperes(current_a),
            extent,
        }
    }

    fn fixed(current_a: f64, duration_s: f64) -> Phase {
        phase(current_a, Extent::Fixed(seconds(duration_s)))
    }

    fn action(attempts: u32, phases: Vec<Phase>) -> Action {
        Action { phases, attempts }
    }

    fn direct() -> Regulator {
        Regulator::Direct {
            minimum_input: volts(1.8),
        }
    }

    fn switching() -> Regulator {
        Regulator::Switching {
            rail: volts(3.0),
            minimum_input: volts(2.2),
            quiescent: amperes(0.6e-6),
            efficiency: Efficiency {
                points: vec![
                    (amperes(10e-6), fraction(0.72)),
                    (amperes(1e-3), fraction(0.88)),
                    (amperes(50e-3), fraction(0.9)),
                ],
            },
        }
    }

    fn chirp_radio() -> Radio {
        Radio {
            frame: Frame::Chirp {
                spreading_factor: 9,
                bandwidth: hertzes(125e3),
                coding_rate: 1,
                preamble_symbols: 8,
                explicit_header: true,
                crc: true,
                low_data_rate: None,
                payload_bytes: 21,
            },
            duty_limit: None,
        }
    }

    /// The three actions of the crack gauge in the example nodes, on its worst bank (0.504 F, 7.92 ohm),
    /// currents 10 % higher: from these voltages a circuit simulator ends with the terminal at the floor of
    /// 2.346 V.
    #[test]
    fn the_crack_gauge_ends_at_its_floor_as_in_a_circuit_simulator() {
        let bank = Bank {
            branches: vec![Branch {
                capacitance: farads(0.504),
                slope: farads_per_volt(0.0),
                resistance: ohms(7.92),
            }],
            leakage: siemenses(0.0),
        };
        let boot = vec![fixed(4e-3, 45e-3)];
        let measure = vec![fixed(3.2e-3, 60e-3), fixed(5.1e-3, 25e-3)];
        let transmit = vec![
            fixed(4.5e-3, 6e-3),
            phase(44e-3, Extent::Airtime),
            fixed(1.6e-6, 1.0),
            fixed(10.5e-3, 40e-3),
        ];
        for (phases, start_v) in [(boot, 2.3968), (measure, 2.4109), (transmit, 2.9159)] {
            let load = Load::of(
                &switching(),
                &action(1, phases),
                Some(&chirp_radio()),
                fraction(0.1),
            );
            let run = discharge(&bank, &[start_v], &load.stretches).expect("stays up");
            // The start is given to 0.1 mV, and the terminal answers with 1/(1 − P·R/v²), 1.3 here.
            assert_abs_diff_eq!(run.lowest.value, 2.346, epsilon = 1.5e-4);
        }
    }

    /// By hand: 0.9 mA raised by a ninth is 1 mA, where the efficiency is 88 %; 3 V · 1 mA / 0.88. The
    /// quiescent current stays.
    #[test]
    fn efficiency_is_read_at_the_raised_current() {
        let load = Load::of(
            &switching(),
            &action(1, vec![fixed(0.9e-3, 1.0)]),
            None,
            fraction(1.0 / 9.0),
        );
        let drain = load.stretches[0].drain;
        assert_relative_eq!(drain.power.value, 3e-3 / 0.88, max_relative = ROUNDING);
        assert_eq!(drain.current, amperes(0.6e-6));
    }

    /// By hand: the peak is raised as the mean is, and stands in the stretch's peak.
    #[test]
    fn a_peak_is_kept_apart_from_the_mean() {
        let mut phase = fixed(10e-3, 1.0);
        phase.peak_current = amperes(30e-3);
        let load = Load::of(&direct(), &action(1, vec![phase]), None, fraction(0.5));
        assert_relative_eq!(
            load.stretches[0].drain.current.value,
            15e-3,
            max_relative = ROUNDING
        );
        assert_relative_eq!(
            load.stretches[0].peak.current.value,
            45e-3,
            max_relative = ROUNDING
        );
    }

    /// By hand: three advertising packets of 320 us and two gaps of 400 us last 1.76 ms, of which 0.96 ms on
    /// the air; twice in two attempts, with 2 ms of other work in each.
    #[test]
    fn attempts_repeat_the_phases_and_the_time_on_air() {
        let radio = Radio {
            frame: Frame::BleAdvertising {
                phy: BlePhy::OneMegabit,
                payload_bytes: 24,
                channels: 3,
                gap: seconds(400e-6),
            },
            duty_limit: None,
        };
        let phases = vec![phase(6.2e-3, Extent::Airtime), fixed(1e-3, 2e-3)];
        let load = Load::of(&direct(), &action(2, phases), Some(&radio), fraction(0.0));
        assert_eq!(load.stretches.len(), 4);
        assert_eq!(load.stretches[..2], load.stretches[2..]);
        assert_abs_diff_eq!(load.duration.value, 2.0 * 3.76e-3, epsilon = ROUNDING);
        assert_abs_diff_eq!(load.on_air.value, 2.0 * 0.96e-3, epsilon = ROUNDING);
        // Two events of 1.76 ms and the 2 ms between them.
        assert_abs_diff_eq!(load.air_span.value, 2.0 * 1.76e-3 + 2e-3, epsilon = ROUNDING);
    }

    /// Published: 8 mA for 1 ms every 100 ms above 2 uA asleep average to 82 uA (tutorial "BLE advertising",
    /// which lets the sleeping current flow all the time).
    #[test]
    fn the_average_current_equals_the_published_example() {
        let burst = Load::of(
            &direct(),
            &action(1, vec![fixed(8e-3, 1e-3)]),
            None,
            fraction(0.0),
        );
        let asleep = Load::asleep(&direct(), amperes(2e-6), seconds(0.1), fraction(0.0));
        let charge = burst.charge_at(volts(3.0)) + asleep.charge_at(volts(3.0));
        assert_relative_eq!((charge / seconds(0.1)).value, 82e-6, max_relative = ROUNDING);
    }

    /// By hand: two attempts of 1 mA for 2 s and 4 mA for 1 s draw 12 mC, 36 mJ at 3 V. Through the switching regulator 1 mA takes
    /// 3 mW/0.88 and 0.6 uA for 2 s: 6.81818 mJ + 3.6 uJ at 3 V, and a third of it in charge.
    #[test]
    fn charge_and_energy_are_as_by_hand() {
        let phases = || vec![fixed(1e-3, 2.0), fixed(4e-3, 1.0)];
        let load = Load::of(&direct(), &action(2, phases()), None, fraction(0.0));
        assert_relative_eq!(load.charge_at(volts(3.0)).value, 12e-3, max_relative = ROUNDING);
        assert_relative_eq!(load.energy_at(volts(3.0)).value, 36e-3, max_relative = ROUNDING);
        let first = Load::of_phase(&switching(), &phases()[0], None, fraction(0.0));
        let energy_j = 6e-3 / 0.88 + 3.6e-6;
        assert_relative_eq!(
            first.energy_at(volts(3.0)).value,
            energy_j,
            max_relative = ROUNDING
        );
        assert_relative_eq!(
            first.charge_at(volts(3.0)).value,
            energy_j / 3.0,
            max_relative = ROUNDING
        );
    }

    proptest! {
        /// The stretches last as long as the load says, whatever the phases and attempts.
        #[test]
        fn durations_add_up(
            phases in prop::collection::vec((1e-6..0.1f64, 1e-4..10.0f64), 1..6), attempts in 1..9u32,
        ) {
            let phases = phases.into_iter().map(|(a, s)| fixed(a, s)).collect();
            let load = Load::of(&switching(), &action(attempts, phases), None, fraction(0.0));
            let sum: Time = load.stretches.iter().map(|stretch| stretch.duration).sum();
            prop_assert!((sum - load.duration).abs() <= load.duration * ROUNDING);
        }

        /// A higher excess never draws less, asleep or awake, at any terminal voltage.
        #[test]
        fn a_higher_excess_draws_more(
            current in 1e-7..0.1f64, excess in 0.0..1.0f64, more in 0.001..1.0f64, terminal in 0.5..6.0f64,
        ) {
            for regulator in [direct(), switching()] {
                let drawn = |excess| {
                    let awake = Load::of(&regulator, &action(1, vec![fixed(current, 1.0)]), None, fraction(excess));
                    let asleep = Load::asleep(&regulator, amperes(current), seconds(1.0), fraction(excess));
                    assert_eq!(awake.stretches[0], asleep);
                    asleep.drain.at(volts(terminal))
                };
                prop_assert!(drawn(excess + more) > drawn(excess));
            }
        }
    }
}
