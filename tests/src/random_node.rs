//! Random nodes that somebody could build, each from a seed of its own.
//!
//! What is drawn is what the engineer would choose: supply, actions, and how many volts the most costly action may
//! take from the storage, once by its charge and once by its current. The storage follows from that, so that every
//! node can act, and yet nodes with a tenth and nodes with half of their swing in the series resistance both come.
//! The same seed gives the same node on every machine.

use std::ops::Range;

use millpond::model::drain::Drain;
use millpond::model::load::Load;
use millpond::node::*;
use millpond::units::*;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// One switching node in this many has a store so resistive that the power it can give at all decides, and not the floor.
const POWER_LIMITED_ONE_IN: u32 = 6;
/// One phase in this many has a peak above its mean.
const PEAK_ONE_IN: u32 = 10;
/// What charging may lift a reading by, at most (V).
const LARGEST_LIFT_V: f64 = 0.2;

/// The node of `seed`.
///
/// ```
/// use millpond_tests::random_node::random_node;
/// assert_eq!(random_node(7), random_node(7));
/// assert_ne!(random_node(7), random_node(8));
/// ```
pub fn random_node(seed: u64) -> Node {
    let mut draw = Draw(Pcg64::seed_from_u64(seed));
    let regulator = draw.regulator();
    let gate = draw.one_in(2).then(|| draw.gate(&regulator));
    let boot = draw.action("boot", None);
    let measure = draw.action("sample", None);
    let radio = draw.radio();
    let attempts = draw.0.random_range(1..=3);
    let transmit = draw.action("radio", Some(attempts));
    let margins = draw.margins();

    let floor = gate.as_ref().map_or(regulator.floor(), |gate| {
        regulator
            .floor()
            .max(gate.disconnect_below * (fraction(1.0) + gate.tolerance))
    });
    let loads =
        [&boot, &measure, &transmit].map(|action| Load::of(&regulator, action, Some(&radio), margins.load));
    let charge: Charge = loads
        .iter()
        .map(|load| load.charge_at(floor))
        .fold(coulombs(0.0), Charge::max);
    let current = loads
        .iter()
        .flat_map(|load| &load.stretches)
        .map(|stretch| stretch.drain.at(floor))
        .fold(amperes(0.0), Current::max);
    let swing = volts(draw.spread(0.01..1.0));
    let limited = matches!(regulator, Regulator::Switching { .. }) && draw.one_in(POWER_LIMITED_ONE_IN);
    let sag = if limited {
        floor * draw.0.random_range(0.9..1.5)
    } else {
        volts(draw.spread(0.005..0.8))
    };
    let capacitance: Capacitance = charge / swing;
    let resistance: Resistance = sag / current;
    let overvoltage = floor + (swing + sag) * 2.0 + volts(draw.0.random_range(0.8..2.0));

    let sleep_current = amperes(draw.spread(0.3e-6..20e-6));
    let asleep = Drain::of(&regulator, sleep_current).at(floor);
    let reserve = capacitance * volts(draw.spread(0.005..0.3)) / asleep;
    Node {
        name: format!("random-{seed}"),
        storage: draw.storage(capacitance, resistance, overvoltage),
        sense: draw.sense(overvoltage),
        harvest: draw.harvest(overvoltage, resistance),
        policy: draw.pacing(reserve),
        supply: Supply {
            regulator,
            gate,
            starts_at: None,
        },
        sleep_current,
        boot,
        measure,
        transmit,
        radio: Some(radio),
        margins,
        comparator: None,
    }
}

/// A stream of random choices.
struct Draw(Pcg64);

impl Draw {
    /// Evenly over the logarithm: each factor of ten is as likely as the next.
    fn spread(&mut self, range: Range<f64>) -> f64 {
        self.0.random_range(range.start.ln()..range.end.ln()).exp()
    }

    fn one_in(&mut self, many: u32) -> bool {
        self.0.random_ratio(1, many)
    }

    /// A fraction between the two.
    fn part(&mut self, range: Range<f64>) -> Ratio {
        fraction(self.0.random_range(range))
    }

    fn regulator(&mut self) -> Regulator {
        let quiescent = amperes(self.spread(0.2e-6..5e-6));
        match self.0.random_range(0..3) {
            0 => Regulator::Direct {
                minimum_input: volts(self.0.random_range(1.7..2.4)),
            },
            1 => Regulator::Linear {
                rail: volts(self.0.random_range(1.8..3.3)),
                dropout: volts(self.spread(0.03..0.3)),
                quiescent,
            },
            _ => {
                let rising = self.0.random_range(1..=4);
                let points = (0..rising).map(|k| {
                    let decade = amperes(1e-6 * 10f64.powi(k + 1)) * self.0.random_range(1.0..9.0);
                    (decade, fraction(self.0.random_range(0.6..0.95)))
                });
                Regulator::Switching {
                    efficiency: Efficiency {
                        points: points.collect(),
                    },
                    rail: volts(self.0.random_range(1.8..3.3)),
                    minimum_input: volts(self.0.random_range(1.0..2.8)),
                    quiescent,
                }
            }
        }
    }

    fn gate(&mut self, regulator: &Regulator) -> Gate {
        let disconnect_below = regulator.floor() * self.0.random_range(0.9..1.1);
        Gate {
            disconnect_below,
            connect_above: disconnect_below + volts(self.0.random_range(0.3..0.8)),
            tolerance: self.part(0.0..0.03),
        }
    }

    /// One to five phases; with `attempts`, one of them is the radio on the air.
    fn action(&mut self, name: &str, attempts: Option<u32>) -> Action {
        let count = self.0.random_range(1..=5);
        let on_air = self.0.random_range(0..count);
        let phases = (0..count).map(|k| {
            let airtime = attempts.is_some() && k == on_air;
            let current = amperes(match (airtime, self.one_in(5)) {
                (true, _) => self.spread(4e-3..60e-3),
                (false, true) => self.spread(1e-6..50e-6),
                (false, false) => self.spread(0.3e-3..15e-3),
            });
            let peak = if self.one_in(PEAK_ONE_IN) {
                self.0.random_range(1.1..3.0)
            } else {
                1.0
            };
            Phase {
                name: format!("{name} {k}"),
                current,
                peak_current: current * peak,
                extent: if airtime {
                    Extent::Airtime
                } else {
                    Extent::Fixed(seconds(self.spread(0.5e-3..1.5)))
                },
            }
        });
        Action {
            phases: phases.collect(),
            attempts: attempts.unwrap_or(1),
        }
    }

    fn radio(&mut self) -> Radio {
        let frame = match self.0.random_range(0..3) {
            0 => Frame::Chirp {
                spreading_factor: self.0.random_range(7..=12),
                bandwidth: hertzes([125e3, 250e3, 500e3][self.0.random_range(0..3)]),
                coding_rate: self.0.random_range(1..=4),
                preamble_symbols: self.0.random_range(6..=16),
                explicit_header: self.0.random(),
                crc: self.0.random(),
                low_data_rate: None,
                payload_bytes: self.0.random_range(1..=64),
            },
            1 => Frame::Ieee802154 {
                payload_bytes: self.0.random_range(9..=127),
                maximum_frame: 127,
            },
            _ => Frame::BleAdvertising {
                phy: BlePhy::OneMegabit,
                payload_bytes: self.0.random_range(0..=31),
                channels: self.0.random_range(1..=3),
                gap: seconds(self.spread(0.15e-3..2e-3)),
            },
        };
        let duty_limit = self.one_in(3).then(|| self.part(0.001..0.1));
        Radio { frame, duty_limit }
    }

    fn margins(&mut self) -> Margins {
        Margins {
            stack: if self.0.random() {
                Stack::WorstCase
            } else {
                Stack::RootSumSquare
            },
            temperature_min: None,
            temperature_max: None,
            load: self.part(0.0..0.2),
            extra: volts(self.0.random_range(0.0..0.05)),
        }
    }

    /// A main store whose worst corner has about `capacitance` and `resistance`, and up to two kinds beside it.
    fn storage(
        &mut self,
        capacitance: Capacitance,
        resistance: Resistance,
        overvoltage: Voltage,
    ) -> Vec<Capacitor> {
        let rated_voltage = volts([2.7, 3.8, 5.5][self.0.random_range(0..3)]);
        let series = (overvoltage / rated_voltage).get::<ratio>().ceil() as u32;
        let parallel = self.0.random_range(1..=2);
        let strings = f64::from(series) / f64::from(parallel);
        let tolerance_low = self.part(0.05..0.3);
        let end_of_life_capacitance = self.part(0.7..1.0);
        let cold_capacitance = self.part(0.8..1.0);
        let end_of_life_esr = self.part(1.0..3.0);
        let cold_esr = self.part(1.0..2.0);
        let left = (fraction(1.0) - tolerance_low) * end_of_life_capacitance * cold_capacitance;
        let cell: Capacitance = capacitance * strings / left;
        let rise = if self.one_in(4) {
            self.part(0.05..0.3)
        } else {
            fraction(0.0)
        };
        let balance_resistor = (series > 1 && self.0.random()).then(|| ohms(self.spread(1e5..3e6)));
        let main = Capacitor {
            capacitance: cell,
            capacitance_slope: cell * rise / rated_voltage,
            tolerance_low,
            tolerance_high: self.part(0.1..0.8),
            esr: resistance / strings / (end_of_life_esr * cold_esr),
            esr_minimum: ohms(0.0),
            rated_voltage,
            // A double-layer cell leaks some microamperes per farad; common practice, no source.
            leakage: amperes(self.spread(0.2..5.0) * 1e-6 * cell.get::<farad>()),
            hot_leakage: None,
            fresh_leakage: None,
            series,
            parallel,
            balance_resistor,
            bias_capacitance: fraction(1.0),
            end_of_life_capacitance,
            end_of_life_esr,
            cold_capacitance,
            cold_esr,
            states_cold: true,
        };
        let mut storage = vec![main];
        for _ in 0..self.0.random_range(0..=2) {
            let ceramic = self.0.random();
            storage.push(self.beside(ceramic));
        }
        storage
    }

    /// A ceramic or an electrolytic capacitor beside the main store, for the current peaks.
    fn beside(&mut self, ceramic: bool) -> Capacitor {
        let (capacitance, esr, bias) = if ceramic {
            (
                self.spread(1e-6..470e-6),
                self.spread(2e-3..50e-3),
                self.part(0.4..1.0),
            )
        } else {
            (self.spread(47e-6..3e-3), self.spread(0.05..3.0), fraction(1.0))
        };
        Capacitor {
            capacitance: farads(capacitance),
            capacitance_slope: farads_per_volt(0.0),
            tolerance_low: self.part(0.1..0.2),
            tolerance_high: fraction(0.2),
            esr: ohms(esr),
            esr_minimum: ohms(0.0),
            rated_voltage: volts([16.0, 25.0, 50.0][self.0.random_range(0..3)]),
            leakage: amperes(self.spread(1e-8..1e-6)),
            hot_leakage: None,
            fresh_leakage: None,
            series: 1,
            parallel: self.0.random_range(1..=4),
            balance_resistor: None,
            bias_capacitance: bias,
            end_of_life_capacitance: self.part(0.8..1.0),
            end_of_life_esr: self.part(1.0..2.0),
            cold_capacitance: self.part(0.8..1.0),
            cold_esr: self.part(1.0..2.0),
            states_cold: true,
        }
    }

    /// A converter whose full scale lies above the overvoltage limit.
    fn sense(&mut self, overvoltage: Voltage) -> Sense {
        let reference = volts([1.1, 1.2, 2.5][self.0.random_range(0..3)]);
        let full_scale = overvoltage * self.0.random_range(1.15..1.5);
        let divider_bottom = ohms(1e6);
        Sense {
            kind: SenseKind::Divider,
            bits: self.0.random_range(8..=16),
            reference,
            reference_tolerance: self.part(0.001..0.03),
            divider_top: divider_bottom * ((full_scale / reference).get::<ratio>() - 1.0).max(0.0),
            divider_bottom,
            divider_tolerance: self.part(0.001..0.02),
            divider_switched: false,
            sampling_capacitor: None,
            sampling_time: None,
            input_leakage: amperes(0.0),
        }
    }

    fn harvest(&mut self, overvoltage: Voltage, resistance: Resistance) -> Harvest {
        let largest = (LARGEST_LIFT_V / resistance.get::<ohm>()).min(20e-3);
        Harvest {
            source: Source::Constant {
                power: watts(self.spread(20e-6..5e-3)),
            },
            converter_efficiency: self.part(0.5..0.9),
            overvoltage,
            maximum_current: amperes(self.spread(0.01..1.0) * largest),
            cold_start: volts(0.6),
            cold_start_efficiency: self.part(0.03..0.15),
        }
    }

    fn pacing(&mut self, reserve: Time) -> Pacing {
        let batch = self.0.random_range(1..=8);
        Pacing {
            fastest: seconds(self.spread(10.0..300.0)),
            slowest: seconds(self.spread(600.0..7200.0)),
            pace: Pace::Even,
            dark_horizon: seconds(self.spread(3600.0..86400.0)),
            reserve: reserve.max(seconds(60.0)),
            batch,
            backlog: self.0.random_range(batch..=255),
            when_full: [WhenFull::KeepNewest, WhenFull::KeepOldest, WhenFull::ThinEvenly]
                [self.0.random_range(0..3)],
            hysteresis: self.one_in(3).then(|| volts(self.0.random_range(0.01..0.1))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::{Case, SEEDS};

    type Has = fn(&Node) -> bool;

    /// Whatever a witness is meant to be asked about comes up among the seeds.
    #[test]
    fn the_seeds_cover_the_kinds() {
        let nodes: Vec<Node> = SEEDS.map(random_node).collect();
        let count = |has: Has| nodes.iter().filter(|node| has(node)).count();
        let kinds: [(&str, Has); 13] = [
            ("direct", |node| {
                matches!(node.supply.regulator, Regulator::Direct { .. })
            }),
            ("linear", |node| {
                matches!(node.supply.regulator, Regulator::Linear { .. })
            }),
            ("switching", |node| {
                matches!(node.supply.regulator, Regulator::Switching { .. })
            }),
            ("gate", |node| node.supply.gate.is_some()),
            ("no gate", |node| node.supply.gate.is_none()),
            ("one kind of capacitor", |node| node.storage.len() == 1),
            ("three kinds of capacitor", |node| node.storage.len() == 3),
            ("capacitance that rises", |node| {
                node.storage[0].capacitance_slope > farads_per_volt(0.0)
            }),
            ("balance", |node| node.storage[0].balance_resistor.is_some()),
            ("three attempts", |node| node.transmit.attempts == 3),
            ("peaks", |node| {
                node.transmit
                    .phases
                    .iter()
                    .any(|phase| phase.peak_current > phase.current)
            }),
            ("power limited", |node| {
                Case::alone(node).iter().any(Case::power_limited)
            }),
            ("chirp", |node| {
                matches!(
                    node.radio,
                    Some(Radio {
                        frame: Frame::Chirp { .. },
                        ..
                    })
                )
            }),
        ];
        for (kind, has) in kinds {
            let found = count(has);
            // One in a hundred: enough that a fault in one kind alone is met.
            assert!(found * 100 >= nodes.len(), "{kind}: {found} of {}", nodes.len());
        }
    }

    /// What the node file's reader would refuse.
    #[test]
    fn every_node_is_inside_the_ranges_of_its_type() {
        for node in SEEDS.map(random_node) {
            for part in &node.storage {
                assert!(
                    part.capacitance > part.capacitance_slope * part.rated_voltage,
                    "{}",
                    node.name
                );
                assert!(
                    node.harvest.overvoltage <= part.rated_voltage * f64::from(part.series),
                    "{}",
                    node.name
                );
            }
            if let Regulator::Switching { efficiency, .. } = &node.supply.regulator {
                assert!(efficiency.points.is_sorted_by(|a, b| a.0 < b.0), "{}", node.name);
            }
            if let Some(gate) = &node.supply.gate {
                assert!(gate.disconnect_below < gate.connect_above, "{}", node.name);
                assert!(gate.connect_above <= node.harvest.overvoltage, "{}", node.name);
            }
            assert!(node.policy.backlog >= node.policy.batch && node.policy.fastest < node.policy.slowest);
        }
    }
}
