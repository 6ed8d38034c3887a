//! Nodes whose budget is asked for.

use proptest::prelude::*;

use crate::model::given;
use crate::node::*;
use crate::units::*;

pub(super) fn capacitor(capacitance_f: f64, rated_v: f64, leakage_a: f64) -> Capacitor {
    Capacitor {
        tolerance_low: fraction(0.2),
        tolerance_high: fraction(0.2),
        rated_voltage: volts(rated_v),
        leakage: amperes(leakage_a),
        end_of_life_capacitance: fraction(0.7),
        end_of_life_esr: fraction(3.0),
        ..given::capacitor(capacitance_f, 0.4)
    }
}

pub(super) fn phase(name: &str, current_a: f64, extent: Extent) -> Phase {
    Phase {
        name: name.into(),
        current: amperes(current_a),
        peak_current: amperes(current_a),
        extent,
    }
}

pub(super) fn fixed(name: &str, current_a: f64, duration_s: f64) -> Phase {
    phase(name, current_a, Extent::Fixed(seconds(duration_s)))
}

pub(super) fn once(phases: Vec<Phase>) -> Action {
    Action { phases, attempts: 1 }
}

/// The pump-bearing tag of the example nodes.
pub(super) fn pump_bearing() -> Node {
    let mut cells = capacitor(10.0, 2.7, 30e-6);
    cells.series = 2;
    cells.balance_resistor = Some(ohms(470e3));
    let mut ceramic = capacitor(220e-6, 10.0, 1e-6);
    ceramic.bias_capacitance = fraction(0.55);
    Node {
        name: "pump-bearing".into(),
        storage: vec![cells, ceramic],
        supply: Supply {
            regulator: Regulator::Linear {
                rail: volts(2.5),
                dropout: volts(0.12),
                quiescent: amperes(1.2e-6),
            },
            gate: None,
            starts_at: None,
        },
        sleep_current: amperes(3.8e-6),
        boot: once(vec![fixed("start-up", 6e-3, 80e-3)]),
        measure: once(vec![fixed("vibration capture", 7.4e-3, 1.3)]),
        transmit: Action {
            phases: vec![
                fixed("channel check", 19e-3, 2.4e-3),
                phase("send", 22e-3, Extent::Airtime),
                fixed("acknowledgement", 19e-3, 1.2e-3),
            ],
            attempts: 3,
        },
        radio: Some(Radio {
            frame: Frame::Ieee802154 {
                payload_bytes: 64,
                maximum_frame: 127,
            },
            duty_limit: None,
        }),
        sense: Sense {
            kind: SenseKind::Divider,
            bits: 12,
            reference: volts(2.5),
            reference_tolerance: fraction(0.01),
            divider_top: ohms(1e6),
            divider_bottom: ohms(680e3),
            divider_tolerance: fraction(0.005),
            divider_switched: false,
            sampling_capacitor: None,
            sampling_time: None,
            input_leakage: amperes(0.0),
        },
        harvest: Harvest {
            source: Source::Constant { power: watts(900e-6) },
            converter_efficiency: fraction(0.65),
            overvoltage: volts(5.2),
            maximum_current: amperes(2e-3),
            cold_start: volts(0.6),
            cold_start_efficiency: fraction(0.1),
        },
        policy: Pacing {
            fastest: seconds(20.0),
            slowest: seconds(1800.0),
            pace: crate::node::Pace::Even,
            dark_horizon: seconds(8.0 * 3600.0),
            reserve: seconds(3600.0),
            batch: 4,
            backlog: 64,
            when_full: WhenFull::KeepNewest,
            hysteresis: None,
        },
        margins: Margins {
            stack: Stack::WorstCase,
            temperature_min: None,
            temperature_max: None,
            load: fraction(0.08),
            extra: volts(0.01),
        },
        comparator: None,
    }
}

/// A node whose only losses are its load: a direct supply at a terminal of `working_v`.
pub(super) fn lossless(working_v: f64, sleep_a: f64, measure: Phase, transmit: Phase) -> Node {
    let mut node = pump_bearing();
    node.sense.divider_switched = true;
    node.storage = vec![capacitor(1.0, 5.5, 0.0)];
    node.supply.regulator = Regulator::Direct {
        minimum_input: volts(working_v - 0.5),
    };
    node.harvest.overvoltage = volts(working_v + 0.5);
    node.sleep_current = amperes(sleep_a);
    node.measure = once(vec![measure]);
    node.transmit = once(vec![transmit]);
    node.policy.batch = 1;
    node
}

/// A node with other currents, times, attempts and source.
pub(super) fn any_node() -> impl Strategy<Value = Node> {
    (
        prop::sample::select(vec![0, 1, 2]),
        (1e-7..1e-4f64, 1e-4..0.05f64, 1e-3..2.0f64),
        (1e-4..0.1f64, 1..5u32, 1..9u32),
        (1e-5..0.1f64, 0.3..1.0f64),
    )
        .prop_map(
            |(kind, (sleep, sense, sensing), (sending, attempts, batch), (power, efficiency))| {
                let mut node = pump_bearing();
                match kind {
                    0 => {}
                    1 => {
                        node.supply.regulator = Regulator::Direct {
                            minimum_input: volts(1.8),
                        }
                    }
                    _ => {
                        node.supply.regulator = Regulator::Switching {
                            rail: volts(3.0),
                            minimum_input: volts(2.2),
                            quiescent: amperes(0.6e-6),
                            efficiency: Efficiency {
                                points: vec![(amperes(1e-5), fraction(0.72)), (amperes(5e-2), fraction(0.9))],
                            },
                        }
                    }
                }
                node.sleep_current = amperes(sleep);
                node.measure = once(vec![fixed("sense", sense, sensing)]);
                node.transmit.phases[1].current = amperes(sending);
                node.transmit.attempts = attempts;
                node.policy.batch = batch;
                node.harvest.source = Source::Constant { power: watts(power) };
                node.harvest.converter_efficiency = fraction(efficiency);
                node
            },
        )
}
