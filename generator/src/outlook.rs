//! What a node comes to, in three true numbers: from where it may send, and how long it lasts in the dark.
//!
//! The numbers are those of the worst corner, before they are rounded to what firmware reads, so that small changes show.

use crate::model::bank::{Bank, Wear};
use crate::model::dark::time_in_the_dark;
use crate::model::load::Load;
use crate::node::Node;
use crate::thresholds::{Cause, Threshold, floor};
use crate::units::*;

/// The three numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlook {
    /// What firmware must read before it sends, not yet rounded up to a millivolt.
    pub transmit: Voltage,
    /// Asleep without income from a full storage to the floor; `None` where nothing draws.
    pub dark_from_full: Option<Time>,
    /// The same from the transmit threshold; 0 where that is the floor.
    pub dark_from_transmit: Option<Time>,
}

impl Outlook {
    /// The outlook of `node` with the bank, the load margin and the floor at their worst.
    ///
    /// ```
    /// use millpond::{node::Node, outlook::Outlook, thresholds::Thresholds, units::*};
    /// let node = Node::read(include_str!("../../templates/nodes/crack-gauge.toml"))?;
    /// let above = Outlook::of(&node).transmit.get::<volt>() * 1e3;
    /// assert_eq!(above.ceil() as u32, Thresholds::of(&node).transmit.decide_mv);
    /// # Ok::<(), millpond::problem::Problems>(())
    /// ```
    pub fn of(node: &Node) -> Self {
        let threshold = Threshold::of(node, &node.transmit);
        let floor = floor(node);
        let rounding: Voltage = threshold
            .terms
            .iter()
            .filter(|term| term.cause == Cause::Rounding)
            .map(|term| term.voltage)
            .sum();
        let transmit = crate::rounding::from_millivolts(threshold.decide_mv) - rounding;
        let bank = Bank::of_node(node, Wear::WORST);
        let asleep = Load::node_asleep(node, node.sleep_current, node.policy.reserve, node.margins.load);
        let lasts = |from: Voltage| time_in_the_dark(&bank, &asleep.drain, from, floor);
        Self {
            transmit,
            dark_from_full: lasts(node.harvest.overvoltage),
            dark_from_transmit: lasts(transmit),
        }
    }

    /// The numbers in volts and seconds, in the order of the fields; NaN where there is none.
    pub fn numbers(&self) -> [f64; 3] {
        let time_s = |time: Option<Time>| time.map_or(f64::NAN, |time| time.get::<second>());
        [
            self.transmit.get::<volt>(),
            time_s(self.dark_from_full),
            time_s(self.dark_from_transmit),
        ]
    }
}
