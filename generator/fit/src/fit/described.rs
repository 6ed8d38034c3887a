//! What the node file says, in the plain numbers that a fit works with, and how far it is to be trusted.

use crate::model::bank::{Bank, Wear};
use crate::model::discharge::Stretch;
use crate::model::load::Load;
use crate::model::reading::Scale;
use crate::node::{Action, Node};
use crate::thresholds::Threshold;
use crate::units::*;

/// A tolerance is taken as the bounds of an even spread: its standard deviation is the bound over √3 (GUM, JCGM 100:2008,
/// section 4.3.7).
const BOUND_TO_DEVIATION: f64 = 0.577_350_269_189_625_8;
/// A margin is taken to hold in 95 of 100 nodes.
const MARGIN_TO_DEVIATION: f64 = 1.0 / 1.96;
/// No current of a description is known better than this: the instrument's own error (common practice, no source).
const LEAST_LOAD_DEVIATION: f64 = 0.01;
/// A bank in use has this many times its new resistance (common practice, no source); it only matters where a report dips far.
const USED_RESISTANCE: f64 = 1.3;
/// What series resistance adds to an action is known to this part of it: resistance doubles in a life and in the cold.
const RESISTIVE_DEVIATION: f64 = 0.5;
/// A data sheet's leakage is a limit after days of charge: the cell has this part of it, give or take (common practice, no source).
pub(super) const USUAL_LEAKAGE: f64 = 0.6;
/// See [`USUAL_LEAKAGE`].
pub(super) const LEAKAGE_DEVIATION: f64 = 0.35;

/// One constant drain of an action.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    pub(super) power_w: f64,
    pub(super) current_a: f64,
    pub(super) duration_s: f64,
}

/// An action as the storage terminal sees it at its first try.
#[derive(Clone, Debug, PartialEq)]
pub struct Work {
    pub(super) pieces: Vec<Piece>,
    /// How long it takes (s).
    pub duration_s: f64,
    /// Drawn from storage at the working voltage (J).
    pub energy_j: f64,
    /// The part of it that does not depend on the voltage.
    pub(super) power_share: f64,
    /// Standard deviation of what the series resistance adds to it, as a part of it.
    pub(super) resistive_deviation: f64,
    /// Series resistance behind which it is drawn (ohm).
    pub(super) resistance_ohm: f64,
}

/// The description in plain numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct Described {
    /// Capacitance of the new bank at 0 V (F).
    pub empty_f: f64,
    /// Its rise with voltage (F/V).
    pub slope_f_per_v: f64,
    /// Series resistance of the bank as one branch (ohm).
    pub resistance_ohm: f64,
    /// Leakage with balance resistors and the sensing divider (S).
    pub(super) leakage_s: f64,
    /// The part of the resistors: balance and sensing divider (S).
    pub(super) resistors_s: f64,
    /// Leakage of all capacitors, each at its rated voltage (A).
    pub leakage_a: f64,
    /// Asleep: power at the terminal, and the current beside it.
    pub(super) sleep: Piece,
    /// Half way between the floor and the overvoltage limit (V).
    pub working_v: f64,
    /// One sample.
    pub measure: Work,
    /// One report, first try.
    pub transmit: Work,
    /// How long the node takes to start (s).
    pub boot_s: f64,
    /// Samples in a report.
    pub batch: u32,
    /// Least time between two reports (s).
    pub fastest_s: f64,
    /// Longest time between two reports that the node aims at (s).
    pub slowest_s: f64,
    /// Standard deviation of every current, as a part of it.
    pub load_deviation: f64,
    /// Every current may be higher by this part.
    pub load_margin: f64,
    /// Standard deviation of the reading's scale, as a part of it.
    pub sense_deviation: f64,
    /// The reading's scale is off by no more than this part.
    pub sense_tolerance: f64,
    /// Voltage of one count (V), the largest up to the overvoltage limit.
    pub count_v: f64,
    /// The largest reading (V).
    pub full_scale_v: f64,
    /// Capacitance that a delivered part reaches at the end of life, warm, over the nominal one.
    pub end_of_life: f64,
    /// Largest capacitance of a delivered part, over the nominal one.
    pub most_capacitance: f64,
    /// Charging stops here (V).
    pub overvoltage_v: f64,
    /// Charging pushes at most this (A).
    pub maximum_a: f64,
    /// The load works down to here (V).
    pub floor_v: f64,
    /// Connected above, disconnected below (V), with the tolerance of both; where there is a gate.
    pub gate: Option<(f64, f64, f64)>,
    /// What firmware must read to send (V).
    pub transmit_decide_v: f64,
}

impl Described {
    /// The description of `node`.
    pub fn of(node: &Node) -> Self {
        let bank = Bank::of_node(node, Wear::NONE);
        let empty = bank.capacitance(volts(0.0));
        let resistance: Resistance = bank
            .branches
            .iter()
            .map(|branch| {
                let share = branch.capacitance / empty;
                branch.resistance * share * share
            })
            .sum();
        let mut bare = node.storage.clone();
        bare.iter_mut().for_each(|part| part.balance_resistor = None);
        let own_s = Bank::of(&bare, Wear::NONE).leakage.get::<siemens>();
        let leakage_s = bank.leakage.get::<siemens>();
        let leakage_a = node
            .storage
            .iter()
            .map(|part| part.leakage * f64::from(part.parallel))
            .sum::<Current>();
        let floor = node.supply.regulator.floor();
        let cut = node
            .supply
            .gate
            .as_ref()
            .map_or(floor, |gate| floor.max(gate.disconnect_below));
        let working_v = ((cut + node.harvest.overvoltage) / 2.0).get::<volt>();
        let aged = Bank::of_node(
            node,
            Wear {
                tolerance: true,
                aged_capacitance: true,
                ..Wear::NONE
            },
        );
        let scale = Scale::of(&node.sense);
        let divider = node.sense.divider_top / (node.sense.divider_top + node.sense.divider_bottom);
        let divider = 2.0 * (node.sense.divider_tolerance * divider).get::<ratio>();
        let reference = node.sense.reference_tolerance.get::<ratio>();
        let load_margin = node.margins.load.get::<ratio>();
        let high = |part: &crate::node::Capacitor| 1.0 + part.tolerance_high.get::<ratio>();
        let transmit = Threshold::of(node, &node.transmit);
        Self {
            empty_f: empty.get::<farad>(),
            slope_f_per_v: bank.branches.iter().map(|branch| branch.slope.value).sum(),
            resistance_ohm: resistance.get::<ohm>(),
            leakage_s,
            resistors_s: leakage_s - own_s,
            leakage_a: leakage_a.get::<ampere>(),
            sleep: Piece::asleep(node, 1.0),
            working_v,
            measure: Work::of(node, &node.measure, working_v, resistance.get::<ohm>()),
            transmit: Work::of(node, &node.transmit, working_v, resistance.get::<ohm>()),
            boot_s: Work::of(node, &node.boot, working_v, resistance.get::<ohm>()).duration_s,
            batch: node.policy.batch,
            fastest_s: node.policy.fastest.get::<second>(),
            slowest_s: node.policy.slowest.get::<second>(),
            load_deviation: (load_margin * MARGIN_TO_DEVIATION).max(LEAST_LOAD_DEVIATION),
            load_margin,
            sense_deviation: (reference.powi(2) + 2.0 * (divider / 2.0).powi(2)).sqrt() * BOUND_TO_DEVIATION,
            sense_tolerance: reference + divider,
            count_v: scale.count_at(node.harvest.overvoltage).get::<volt>(),
            full_scale_v: scale.highest_reading().get::<volt>(),
            end_of_life: (aged.capacitance(volts(working_v)) / bank.capacitance(volts(working_v)))
                .get::<ratio>(),
            most_capacitance: node.storage.first().map_or(1.0, high),
            overvoltage_v: node.harvest.overvoltage.get::<volt>(),
            maximum_a: node.harvest.maximum_current.get::<ampere>(),
            floor_v: floor.get::<volt>(),
            gate: node.supply.gate.as_ref().map(|gate| {
                let off = gate.tolerance.get::<ratio>();
                (
                    gate.connect_above.get::<volt>(),
                    gate.disconnect_below.get::<volt>(),
                    off,
                )
            }),
            transmit_decide_v: f64::from(transmit.decide_mv) / 1e3,
        }
    }

    /// Capacitance at `at_v` (F).
    pub fn capacitance_f(&self, at_v: f64) -> f64 {
        self.empty_f + self.slope_f_per_v * at_v
    }

    /// Sleeping current at the terminal at `at_v` (A).
    pub fn sleep_a(&self, at_v: f64) -> f64 {
        self.sleep.at(at_v)
    }

    /// Standard deviation of what a cell leaks at `at_v` (A).
    pub fn leakage_deviation_a(&self, at_v: f64) -> f64 {
        LEAKAGE_DEVIATION * (self.leakage_s - self.resistors_s) * at_v
    }

    /// The part of the sleeping drain that is a constant power, at the working voltage.
    pub(super) fn sleep_power_share(&self) -> f64 {
        self.sleep.power_w / self.working_v / self.sleep_a(self.working_v)
    }

    /// Leakage of the bank at `at_v`, balance resistors and the sensing divider included (A).
    pub fn leakage_a_at(&self, at_v: f64) -> f64 {
        self.leakage_s * at_v
    }

    /// Energy between two voltages (J).
    pub(super) fn stored_j(&self, from_v: f64, to_v: f64) -> f64 {
        let stored = |v: f64| (self.empty_f / 2.0 + self.slope_f_per_v * v / 3.0) * v * v;
        stored(to_v) - stored(from_v)
    }

    /// How far a report with its samples lets the terminal fall at `at_v` (V).
    pub fn report_step_v(&self, at_v: f64) -> f64 {
        let charge_c = self.transmit.charge_c(at_v) + f64::from(self.batch) * self.measure.charge_c(at_v);
        charge_c / self.capacitance_f(at_v)
    }

    /// How fast the terminal falls asleep, leakage included (V/s).
    pub fn sleep_rate_v_per_s(&self, at_v: f64) -> f64 {
        (self.sleep_a(at_v) + self.leakage_s * at_v) / self.capacitance_f(at_v)
    }
}

impl Piece {
    fn of(stretch: &Stretch) -> Self {
        Self {
            power_w: stretch.drain.power.get::<watt>(),
            current_a: stretch.drain.current.get::<ampere>(),
            duration_s: stretch.duration.get::<second>(),
        }
    }

    /// The node asleep for a second, where its load draws `times` the described current.
    fn asleep(node: &Node, times: f64) -> Self {
        Self::of(&Load::node_asleep(
            node,
            node.sleep_current,
            seconds(1.0),
            fraction(times - 1.0),
        ))
    }

    /// Current at `at_v` (A).
    pub(super) fn at(&self, at_v: f64) -> f64 {
        self.power_w / at_v + self.current_a
    }

    /// Current with `inner_v` behind the resistance (A): the terminal dips, and a constant power draws more there.
    fn behind(&self, inner_v: f64, resistance_ohm: f64) -> f64 {
        let open_v = inner_v - self.current_a * resistance_ohm;
        let square = open_v * open_v - 4.0 * self.power_w * resistance_ohm;
        // Where the bank cannot give the power the most that it can give stands for it.
        let terminal_v = (open_v + square.max(0.0).sqrt()) / 2.0;
        self.at(terminal_v.max(inner_v / 2.0))
    }
}

/// Current at the terminal at `at_v`, asleep, where the load draws `times` the described current (A).
pub(super) fn sleep_a(node: &Node, times: f64, at_v: f64) -> f64 {
    Piece::asleep(node, times).at(at_v)
}

/// Energy of the first try of an action at `at_v`, where its load draws `times` the described currents (J).
pub(super) fn action_j(node: &Node, action: &Action, times: f64, at_v: f64) -> f64 {
    first_try(node, action, times)
        .energy_at(volts(at_v))
        .get::<joule>()
}

fn first_try(node: &Node, action: &Action, times: f64) -> Load {
    Load::of(
        &node.supply.regulator,
        &action.first_try(),
        node.radio.as_ref(),
        fraction(times - 1.0),
    )
}

impl Work {
    fn of(node: &Node, action: &Action, working_v: f64, resistance_ohm: f64) -> Self {
        let load = first_try(node, action, 1.0);
        let pieces: Vec<Piece> = load.stretches.iter().map(Piece::of).collect();
        let energy_j = load.energy_at(volts(working_v)).get::<joule>();
        let steady_j: f64 = pieces.iter().map(|piece| piece.power_w * piece.duration_s).sum();
        let mut work = Self {
            duration_s: load.duration.get::<second>(),
            energy_j,
            power_share: steady_j / energy_j,
            pieces,
            resistive_deviation: 0.0,
            resistance_ohm: 0.0,
        };
        work.stand_behind(resistance_ohm * USED_RESISTANCE, RESISTIVE_DEVIATION, working_v);
        work
    }

    /// Takes it to be drawn behind `resistance_ohm`, known to the part `deviation` of it.
    pub(super) fn stand_behind(&mut self, resistance_ohm: f64, deviation: f64, working_v: f64) {
        self.resistance_ohm = resistance_ohm;
        self.resistive_deviation = deviation * (self.charge_c(working_v) * working_v / self.energy_j - 1.0);
    }

    /// Charge of the whole action at `at_v` (C).
    pub(super) fn charge_c(&self, at_v: f64) -> f64 {
        self.pieces
            .iter()
            .map(|piece| piece.behind(at_v, self.resistance_ohm) * piece.duration_s)
            .sum()
    }

    /// Its largest current at `at_v` (A).
    pub(super) fn most_a(&self, at_v: f64) -> f64 {
        self.pieces.iter().map(|piece| piece.at(at_v)).fold(0.0, f64::max)
    }

    /// Charge drawn `time_s` after its start, and the current then; the current is 0 once it is over.
    pub(super) fn until(&self, time_s: f64, at_v: f64) -> (f64, f64) {
        let (mut charge_c, mut begun_s) = (0.0, 0.0);
        for piece in &self.pieces {
            let part_s = (time_s - begun_s).min(piece.duration_s);
            let current_a = piece.behind(at_v, self.resistance_ohm);
            charge_c += current_a * part_s;
            begun_s += piece.duration_s;
            if time_s < begun_s {
                return (charge_c, current_a);
            }
        }
        (charge_c, 0.0)
    }
}
