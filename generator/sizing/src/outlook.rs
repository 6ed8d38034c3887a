//! What a node comes to, in three true numbers: from where it may send, and how long it lasts in the dark.
//!
//! The numbers are those of the worst corner, before they are rounded to what firmware reads, so that small changes show.

use crate::model::bank::{Bank, Wear};
use crate::model::load::Load;
use crate::model::time_in_the_dark::time_in_the_dark;
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
    /// use millpond_node::node::Node;
    /// use millpond_sizing::{outlook::Outlook, thresholds::Thresholds};
    /// use millpond_numbers::units::*;
    /// let node = Node::read(millpond_templates::nodes::CRACK_GAUGE)?;
    /// let above = Outlook::of(&node).transmit.get::<volt>() * 1e3;
    /// assert_eq!(above.ceil() as u32, Thresholds::of(&node).transmit.decide_mv);
    /// # Ok::<(), millpond_node::problem::Problems>(())
    /// ```
    pub fn of(node: &Node) -> Self {
        let threshold = Threshold::of(node, &node.transmit);
        let rounding: Voltage = threshold
            .terms
            .iter()
            .filter(|term| term.cause == Cause::Rounding)
            .map(|term| term.voltage)
            .sum();
        let transmit = crate::rounding::from_millivolts(threshold.decide_mv) - rounding;
        Self {
            transmit,
            dark_from_full: asleep(node, node.harvest.overvoltage),
            dark_from_transmit: asleep(node, transmit),
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

/// Time asleep without income from `from` to the floor, with bank, leakage, load margin and floor at their worst: the shorter one of the
/// two ends of the temperature range; `None` where nothing draws.
pub fn asleep(node: &Node, from: Voltage) -> Option<Time> {
    let asleep = Load::node_asleep(node, node.sleep_current, node.policy.reserve, node.margins.load);
    let lasts = |end: &Wear| {
        let bank = Bank::of_node(node, *end);
        time_in_the_dark(&bank, &asleep.drain, from, floor(node))
    };
    // What draws at one end draws at the other.
    Wear::at_ends(node).iter().filter_map(lasts).reduce(Time::min)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::node::example;
    use approx::assert_relative_eq;

    /// Five points in each piece of the integral, relative.
    const QUADRATURE: f64 = 1e-9;

    /// By hand: without a sleeping current, a bank falls by its leakage alone, C/G·ln(v1/v2); three times the leakage is a third of the
    /// time, and at the hot end the bank has 1/0.9 of its capacitance in the cold.
    #[test]
    fn the_hot_end_is_as_by_hand() {
        let mut node = example("crack-gauge");
        node.sleep_current = amperes(0.0);
        node.supply.regulator = crate::node::Regulator::Direct {
            minimum_input: volts(2.2),
        };
        node.sense.divider_switched = true;
        let cell = &mut node.storage[0];
        (cell.hot_leakage, cell.fresh_leakage) = (None, None);
        let full = node.harvest.overvoltage;
        let cold = asleep(&node, full).expect("it leaks");
        node.storage[0].hot_leakage = Some(fraction(3.0));
        let hot = asleep(&node, full).expect("it leaks");
        assert_relative_eq!(
            (hot / cold).get::<ratio>(),
            1.0 / 3.0 / 0.9,
            max_relative = QUADRATURE
        );
        // Hardly more leakage than in the cold: there the bank holds less and is the worse one.
        node.storage[0].hot_leakage = Some(fraction(1.05));
        assert_eq!(asleep(&node, full), Some(cold));
        node.storage[0].fresh_leakage = Some(fraction(2.0));
        let fresh = asleep(&node, full).expect("it leaks");
        assert_relative_eq!((fresh / cold).get::<ratio>(), 0.5, max_relative = QUADRATURE);
    }
}
