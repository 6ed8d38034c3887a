//! The voltages from which each action succeeds in the worst case, and what firmware must read to act.

mod start;
mod term;
mod worst_corner;

use start::start_near;
pub use start::{start_voltage, unreachable};
pub use term::{Cause, Group, Term};
pub use worst_corner::{Corner, End, Highest, highest_start};
use worst_corner::{highest_near, highest_of_two};

use crate::model::bank::{Bank, Branch, Wear};
use crate::model::discharge::{Stretch, discharge};
use crate::model::load::Load;
use crate::model::reading::Scale;
use crate::node::{Action, ActionKind, Node, Stack};
use crate::rounding::{self, CountScale};
use crate::units::*;

/// Series resistance that stands for none: it takes a nanovolt from an ampere.
const NO_RESISTANCE_OHM: f64 = 1e-9;
/// A threshold is left this many counts before the action resumes, at least: one for the converter's step and one for
/// its noise (common practice, no source).
const HYSTERESIS_COUNTS: f64 = 2.0;

/// All thresholds of a node, and what they rest on.
#[derive(Clone, Debug, PartialEq)]
pub struct Thresholds {
    /// The bank of the largest resistances: low tolerance, end of life, cold. Each action has a corner of its own beside it.
    pub corner: Bank,
    /// Terminal voltage that no action may go below.
    pub floor: Voltage,
    /// Terminal voltage at which charging stops.
    pub overvoltage: Voltage,
    /// What the firmware's converter makes of a voltage.
    pub scale: Scale,
    /// How firmware turns counts into millivolts.
    pub counts: CountScale,
    /// How far a reading taken while charging can stand above the voltage behind the resistance.
    pub charging_lift: Voltage,
    /// How sensing errors were added.
    pub stack: Stack,
    /// From power-up until the firmware first asks the policy.
    pub boot: Threshold,
    /// Taking one sample.
    pub measure: Threshold,
    /// Sending one report.
    pub transmit: Threshold,
    /// How much higher a refused action resumes (mV).
    pub hysteresis_mv: u32,
}

/// The threshold of one action.
#[derive(Clone, Debug, PartialEq)]
pub struct Threshold {
    /// The action's drains with `margins.load` on them.
    pub load: Load,
    /// Sleep that must stay affordable afterwards.
    pub reserve: Stretch,
    /// The corner in which the action alone needs the highest start, with its bank.
    pub corner: Corner,
    /// The bank of that corner.
    pub bank: Bank,
    /// Voltage behind the resistance, bank at rest, from which the action alone just succeeds in that corner.
    pub start: Voltage,
    /// The corner in which the action with the reserve after it needs the highest start.
    pub corner_with_reserve: Corner,
    /// The same with the reserve after it.
    pub start_with_reserve: Voltage,
    /// What firmware must read, at least, in millivolts.
    pub decide_mv: u32,
    /// The first raw count that reads as `decide_mv` or more: the smallest where counts rise with storage, the largest where they fall.
    /// [`CountScale::beyond`] where there is none.
    pub decide_counts: u32,
    /// Energy drawn from storage in the worst corner by the action started at `decide_mv`.
    pub energy: Energy,
    /// Causes in volts; they sum to `decide_mv` less the floor.
    pub terms: Vec<Term>,
}

impl Thresholds {
    /// Sizes every threshold of `node`.
    ///
    /// The floor is the larger of the supply's and the gate's `disconnect_below` at its high end.
    pub fn of(node: &Node) -> Self {
        let corner = Bank::of_node(node, Wear::WORST);
        let scale = Scale::of(&node.sense);
        let counts = CountScale::of(&scale);
        let charging_lift = node.harvest.maximum_current * corner.largest_resistance();
        let measure = Threshold::of(node, &node.measure);
        let transmit = Threshold::of(node, &node.transmit);
        let overvoltage_mv = rounding::millivolts_down(node.harvest.overvoltage);
        let wanted_mv = match node.policy.hysteresis {
            Some(hysteresis) => rounding::millivolts_up(hysteresis),
            None => {
                let taken = measure.taken(&corner, floor(node));
                let highest_mv = measure.decide_mv.max(transmit.decide_mv);
                let count = scale.count_at(rounding::from_millivolts(highest_mv));
                let wanted = rounding::millivolts_up(taken.max(count * HYSTERESIS_COUNTS));
                // An action that resumes only above what the source can reach would never resume.
                wanted.min(overvoltage_mv.saturating_sub(highest_mv))
            }
        };
        Self {
            floor: floor(node),
            overvoltage: node.harvest.overvoltage,
            counts,
            charging_lift,
            stack: node.margins.stack,
            boot: Threshold::of(node, &node.boot),
            measure,
            transmit,
            hysteresis_mv: wanted_mv.max(1),
            corner,
            scale,
        }
    }

    /// The actions in the order of a node's life.
    pub fn actions(&self) -> [(ActionKind, &Threshold); 3] {
        [
            (ActionKind::Boot, &self.boot),
            (ActionKind::Measure, &self.measure),
            (ActionKind::Transmit, &self.transmit),
        ]
    }

    /// Those that firmware asks the policy for.
    pub fn decided(&self) -> impl Iterator<Item = (ActionKind, &Threshold)> {
        self.actions().into_iter().filter(|(kind, _)| kind.is_decided())
    }

    /// What firmware must read for every action (mV).
    pub fn highest_decide_mv(&self) -> u32 {
        self.decided()
            .map(|(_, threshold)| threshold.decide_mv)
            .max()
            .unwrap_or(0)
    }

    /// Energy of one report and the `samples` in it, in the worst corner.
    pub fn report_energy(&self, samples: u32) -> Energy {
        self.transmit.energy + self.measure.energy * f64::from(samples)
    }
}

/// Terminal voltage that no action of `node` may go below.
pub fn floor(node: &Node) -> Voltage {
    let supply = node.supply.regulator.floor();
    node.supply.gate.as_ref().map_or(supply, |gate| {
        supply.max(gate.disconnect_below * (fraction(1.0) + gate.tolerance))
    })
}

impl Threshold {
    /// Sizes the threshold of `action`, one of the actions of `node`.
    pub fn of(node: &Node, action: &Action) -> Self {
        Self::sized(node, action, None)
    }

    /// What this threshold of `action` would be for another node of the same parts: in the same two corners, which are not searched
    /// again.
    pub fn in_the_same_corners(&self, node: &Node, action: &Action) -> Self {
        Self::sized(node, action, Some([&self.corner, &self.corner_with_reserve]))
    }

    fn sized(node: &Node, action: &Action, corners: Option<[&Corner; 2]>) -> Self {
        let floor = floor(node);
        let excess = node.margins.load;
        let load = |excess| Load::of(&node.supply.regulator, action, node.radio.as_ref(), excess);
        let (nominal_load, worst_load) = (load(fraction(0.0)), load(excess));
        let mut terms = Terms {
            reached: floor,
            list: Vec::new(),
        };
        let bare = without_resistance(&Bank::of_node(node, Wear::NONE));
        terms.reach(
            Cause::Action,
            start_voltage(&bare, floor, &nominal_load.stretches),
        );
        let mut wear = Wear::NONE;
        let mut worn = |cause, wear: Wear| {
            let bank = Bank::of_node(node, wear);
            let start = start_near(&bank, floor, &nominal_load.stretches, terms.reached);
            terms.reach(cause, start);
        };
        worn(Cause::SeriesResistance, wear);
        wear.tolerance = true;
        worn(Cause::CapacitanceTolerance, wear);
        wear.aged_capacitance = true;
        worn(Cause::CapacitanceEndOfLife, wear);
        wear.cold_capacitance = true;
        worn(Cause::CapacitanceCold, wear);
        wear.aged_resistance = true;
        worn(Cause::ResistanceEndOfLife, wear);
        wear.cold_resistance = true;
        worn(Cause::ResistanceCold, wear);
        let first = Corner::largest(node.storage.len());
        let largest = first.bank(node);
        let alone = match corners {
            None => highest_near(node, floor, &worst_load.stretches, first, terms.reached),
            Some([corner, _]) => highest_of_two(node, floor, &worst_load.stretches, corner, terms.reached),
        };
        terms.reach(Cause::LoadMargin, alone.first);
        terms.reach(Cause::Corner, alone.start);

        let reserve = Load::node_asleep(node, node.sleep_current, node.policy.reserve, excess);
        let stretches: Vec<Stretch> = worst_load.stretches.iter().copied().chain([reserve]).collect();
        let reserved = match corners {
            None => highest_near(node, floor, &stretches, alone.corner.clone(), alone.start),
            Some([_, corner]) => highest_of_two(node, floor, &stretches, corner, alone.start),
        };
        // Two searches may differ by the width of their brackets.
        let with_reserve = reserved.start.max(alone.start);
        terms.reach(Cause::Reserve, with_reserve);
        terms.add(
            Cause::ChargingLift,
            node.harvest.maximum_current * largest.largest_resistance(),
        );

        let scale = Scale::of(&node.sense);
        let counts = CountScale::of(&scale);
        for (cause, voltage) in sensing(&scale, terms.reached, node.margins.stack) {
            terms.add(cause, voltage);
        }
        terms.add(Cause::Extra, node.margins.extra);
        let decide_mv = rounding::millivolts_up(terms.reached);
        terms.reach(Cause::Rounding, rounding::from_millivolts(decide_mv));

        let decide = rounding::from_millivolts(decide_mv);
        let rest = vec![decide.get::<volt>(); largest.branches.len()];
        let energy = discharge(&largest, &rest, &worst_load.stretches).map_or(largest.stored(&rest), |end| {
            largest.stored(&rest) - largest.stored(&end.inner_v)
        });
        Self {
            load: worst_load,
            reserve,
            corner: alone.corner,
            bank: alone.bank,
            start: alone.start,
            corner_with_reserve: reserved.corner,
            start_with_reserve: with_reserve,
            decide_mv,
            decide_counts: counts.decide(decide_mv).unwrap_or(counts.beyond()),
            energy,
            terms: terms.list,
        }
    }

    /// Volts that all causes of `group` take together.
    pub fn share(&self, group: Group) -> Voltage {
        self.terms
            .iter()
            .filter(|term| term.cause.group() == group)
            .map(|term| term.voltage)
            .sum()
    }

    /// By how much the action, started at its threshold, lowers the voltage of `bank`: with its least capacitance on the
    /// way, that at `floor`, so that the resuming is never too close.
    fn taken(&self, bank: &Bank, floor: Voltage) -> Voltage {
        let decide = rounding::from_millivolts(self.decide_mv);
        self.energy / (bank.capacitance(floor) * decide)
    }
}

/// Collects terms while the voltage rises from the floor.
struct Terms {
    reached: Voltage,
    list: Vec<Term>,
}

impl Terms {
    /// The next cause brings the voltage to `voltage`.
    fn reach(&mut self, cause: Cause, voltage: Voltage) {
        self.list.push(Term {
            cause,
            voltage: voltage - self.reached,
        });
        self.reached = voltage;
    }

    /// The next cause adds `voltage`.
    fn add(&mut self, cause: Cause, voltage: Voltage) {
        self.list.push(Term { cause, voltage });
        self.reached += voltage;
    }
}

/// All branches as one, their resistances left out.
fn without_resistance(bank: &Bank) -> Bank {
    let merged = Branch {
        capacitance: bank.capacitance(volts(0.0)),
        slope: bank.branches.iter().map(|branch| branch.slope).sum(),
        resistance: ohms(NO_RESISTANCE_OHM),
    };
    Bank {
        branches: vec![merged],
        leakage: bank.leakage,
    }
}

/// How far a reading can stand above `truth`, by cause (docs/model.md, equations 11 to 13 and 54 to 56).
///
/// Worst case: the exact extremes, one after the other. Root-sum-square: each error t becomes its share t²/√(Σt²), so
/// that the shares sum to the root.
fn sensing(scale: &Scale, truth: Voltage, stack: Stack) -> [(Cause, Voltage); 5] {
    let errors = scale.errors(truth);
    let errors = [
        (Cause::ReferenceTolerance, errors.reference),
        (Cause::DividerTolerance, errors.divider),
        (Cause::InputLeakage, errors.input_leakage),
        (Cause::Settling, errors.settling),
        (Cause::OneCount, errors.count),
    ];
    match stack {
        Stack::WorstCase => errors,
        Stack::RootSumSquare => {
            let root = errors
                .iter()
                .map(|(_, error)| *error * *error)
                .fold(volts(0.0) * volts(0.0), |a, b| a + b)
                .sqrt();
            errors.map(|(cause, error): (_, Voltage)| (cause, error * (error / root)))
        }
    }
}

#[cfg(test)]
mod tests;
