//! At which storage voltage the node starts.

use super::Supply;
use crate::units::*;

/// Where no start-up voltage is stated, reset is released this much above what the supply needs (V): the hysteresis of a reset circuit
/// (common practice, no source).
const RESET_HYSTERESIS_V: f64 = 0.1;

impl Supply {
    /// Storage voltage at which the node is connected, as stated: that of the gate, or without one the voltage at which reset is
    /// released, 0.1 V above what the supply needs where the file does not say it.
    ///
    /// ```
    /// use millpond_node::node::Node;
    /// use millpond_numbers::units::*;
    /// let mut node = Node::read(millpond_templates::nodes::DISPLAY_CASE)?;
    /// assert_eq!(node.supply.connects_at(), volts(1.8) + volts(0.1));
    /// node.supply.starts_at = Some(volts(2.5));
    /// assert_eq!(node.supply.connects_at(), volts(2.5));
    /// # Ok::<(), millpond_node::problem::Problems>(())
    /// ```
    pub fn connects_at(&self) -> Voltage {
        match &self.gate {
            Some(gate) => gate.connect_above,
            None => self
                .starts_at
                .unwrap_or(self.regulator.floor() + volts(RESET_HYSTERESIS_V)),
        }
    }
}
