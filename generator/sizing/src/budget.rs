//! What the node spends. Charge and energy of each phase and action, of a day asleep, and the income
//! that a pace of reports asks for.
//!
//! Every figure is nominal: new parts, no margins. Nothing safe rests on it; thresholds do their own sums at
//! the worst corner. Figures at storage are taken at one terminal voltage, the [`Budget::working_voltage`],
//! where a drain i(v) for a time t takes the charge i(v)·t and the energy v·i(v)·t. What is lost in the
//! capacitor's own series resistance is not in them.

mod action;
mod asleep;
mod pace;

pub use action::{ActionBudget, PhaseBudget, Total};
pub use asleep::{Draw, SleepingDay};
pub use pace::{Income, Offer, Pace};

use crate::model::bank::{Bank, Wear};
use crate::node::{ActionKind, Node, Source};
use crate::units::*;

/// What a node spends, at nominal.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// Terminal voltage at which the figures at storage hold: half way between the lowest voltage at which
    /// the node works and the one at which charging stops.
    pub working_voltage: Voltage,
    /// From power-up until the firmware first asks the policy.
    pub boot: ActionBudget,
    /// Taking one sample.
    pub measure: ActionBudget,
    /// Sending one report.
    pub transmit: ActionBudget,
    /// A day on which the node does nothing.
    pub day: SleepingDay,
    /// Reporting as often as the policy allows.
    pub fastest: Pace,
    /// Reporting as rarely as the policy aims for.
    pub slowest: Pace,
    /// What the source gives and how often the node can report on it; `None` unless the source is constant.
    pub offer: Option<Offer>,
    /// What a full store holds.
    pub store: Store,
}

/// What a full store holds, from the voltage at which charging stops down to the lowest one at which the node
/// works.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Store {
    /// Energy between the two voltages, at rest (J).
    pub usable: Energy,
    /// Reports with all their samples and attempts that this energy pays for, asleep in between not counted.
    pub reports: f64,
    /// How long it feeds the node asleep, without income and at the working voltage's power all the way (s); `None` where nothing
    /// draws.
    pub asleep: Option<Time>,
}

impl Budget {
    /// The budget of `node`.
    ///
    /// The working voltage is the mean of the overvoltage limit and the nominal floor, which is the higher of
    /// the regulator's floor and the gate's `disconnect_below`.
    ///
    /// ```no_run
    /// # fn show(node: &millpond_node::node::Node) {
    /// use millpond_sizing::budget::Budget;
    /// use millpond_numbers::units::*;
    /// let budget = Budget::of(node);
    /// println!("one report takes {} J", budget.transmit.total.storage_energy.get::<joule>());
    /// # }
    /// ```
    pub fn of(node: &Node) -> Self {
        let floor = floor(node);
        let full = node.harvest.overvoltage;
        let working_voltage = (floor + full) / 2.0;
        let regulator = &node.supply.regulator;
        let action = |action| ActionBudget::of(regulator, action, node.radio.as_ref(), working_voltage);
        let (measure, transmit) = (action(&node.measure), action(&node.transmit));
        let day = SleepingDay::of(node, working_voltage);

        let samples = measure.total.times(f64::from(node.policy.batch));
        let first_try = samples + transmit.attempt;
        let every_attempt = samples + transmit.total;
        let pace = |period| {
            Pace::of(
                period,
                &first_try,
                &every_attempt,
                &day,
                node.harvest.converter_efficiency,
            )
        };
        let offer = match node.harvest.source {
            Source::Constant { power } => {
                let at_storage = node.harvest.at_storage(power, working_voltage);
                Some(Offer {
                    at_source: power,
                    at_storage,
                    first_try: pace::sustained(at_storage, &first_try, &day, node.policy.fastest),
                    every_attempt: pace::sustained(at_storage, &every_attempt, &day, node.policy.fastest),
                })
            }
            Source::Photovoltaic { .. } | Source::Indoor { .. } | Source::Trace => None,
        };
        let usable = usable(node, floor, full);
        Self {
            working_voltage,
            boot: action(&node.boot),
            fastest: pace(node.policy.fastest),
            slowest: pace(node.policy.slowest),
            offer,
            store: Store {
                usable,
                reports: (usable / every_attempt.storage_energy).get::<ratio>(),
                asleep: (day.power > watts(0.0)).then(|| usable / day.power),
            },
            measure,
            transmit,
            day,
        }
    }
}

impl Budget {
    /// The actions in the order of a node's life.
    pub fn actions(&self) -> [(ActionKind, &ActionBudget); 3] {
        [
            (ActionKind::Boot, &self.boot),
            (ActionKind::Measure, &self.measure),
            (ActionKind::Transmit, &self.transmit),
        ]
    }
}

/// The lowest terminal voltage at which a nominal node works.
fn floor(node: &Node) -> Voltage {
    let rail = node.supply.regulator.floor();
    node.supply
        .gate
        .as_ref()
        .map_or(rail, |gate| rail.max(gate.disconnect_below))
}

/// Energy that the new bank gives between `full` and `floor`, at rest.
fn usable(node: &Node, floor: Voltage, full: Voltage) -> Energy {
    let bank = Bank::of_node(node, Wear::NONE);
    let stored = |at: Voltage| bank.stored_at_rest(at);
    stored(full) - stored(floor)
}

#[cfg(test)]
mod tests;
