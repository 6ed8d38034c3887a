//! A day asleep: what is drawn from storage while the node does nothing, item by item.

use crate::model::bank::{Bank, Wear};
use crate::model::divider_current;
use crate::model::drain::Drain;
use crate::node::{Capacitor, Node};
use crate::units::*;

/// A day of 24 hours (s).
const DAY_S: f64 = 86_400.0;

/// What a day asleep takes from storage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SleepingDay {
    /// The sleeping load, as the regulator passes it on.
    pub load: Draw,
    /// The regulator's own current; 0 for a direct supply.
    pub quiescent: Draw,
    /// Leakage of the capacitors themselves.
    pub leakage: Draw,
    /// Balance resistors across cells in series; 0 when there are none.
    pub balance: Draw,
    /// The sensing divider, and what leaks through it into the converter's input; 0 where it is switched.
    pub sensing: Draw,
    /// All of these.
    pub total: Draw,
    /// Mean power of all of these (W).
    pub power: Power,
}

/// A steady current out of storage, and what it comes to in a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Draw {
    /// Current at the storage terminal (A).
    pub current: Current,
    /// Charge of a day (C).
    pub charge: Charge,
    /// Energy of a day (J).
    pub energy: Energy,
}

impl SleepingDay {
    /// The day of `node` with the storage terminal held at `working_voltage`.
    ///
    /// Leakage is the data sheet's current scaled by voltage over rated voltage; balance resistors follow
    /// Ohm's law (docs/model.md, equation 5).
    pub fn of(node: &Node, working_voltage: Voltage) -> Self {
        let regulator = &node.supply.regulator;
        let draw = |current: Current| Draw {
            current,
            charge: current * seconds(DAY_S),
            energy: working_voltage * current * seconds(DAY_S),
        };
        let asleep = Drain::of(regulator, node.sleep_current).at(working_voltage);
        // The regulator feeding nothing draws its own current and no more.
        let quiescent = Drain::of(regulator, amperes(0.0)).at(working_voltage);
        let all = Bank::of_node(node, Wear::NONE).leakage;
        let divider = divider_current::conductance(&node.sense, false);
        let own = Bank::of(&without_balance(&node.storage), Wear::NONE).leakage;
        let input = divider_current::input_draw(&node.sense);
        let total = asleep + all * working_voltage + input;
        Self {
            load: draw(asleep - quiescent),
            quiescent: draw(quiescent),
            leakage: draw(own * working_voltage),
            // From the capacitors alone: without resistors the two are the same sum, and nothing is left of it.
            balance: draw((Bank::of(&node.storage, Wear::NONE).leakage - own) * working_voltage),
            sensing: draw(divider * working_voltage + input),
            total: draw(total),
            power: working_voltage * total,
        }
    }

    /// The part that the load and its regulator draw: an action takes its place while it lasts (W).
    pub(super) fn load_power(&self) -> Power {
        (self.load.energy + self.quiescent.energy) / seconds(DAY_S)
    }

    /// The part that the bank and the divider at its terminal lose, asleep or not (W).
    pub(super) fn bank_power(&self) -> Power {
        (self.leakage.energy + self.balance.energy + self.sensing.energy) / seconds(DAY_S)
    }
}

/// The same capacitors with no resistors across their cells.
fn without_balance(storage: &[Capacitor]) -> Vec<Capacitor> {
    let mut bare = storage.to_vec();
    for part in &mut bare {
        part.balance_resistor = None;
    }
    bare
}
