//! Kinds of capacitor: what all cells of one hold, and which of them holds the most.

use super::{Capacitor, Node};
use crate::units::*;

impl Capacitor {
    /// Nominal capacitance of all cells of the kind together: n side by side of strings of m are n/m of one.
    pub fn whole(&self) -> Capacitance {
        self.capacitance * self.bias_capacitance * f64::from(self.parallel) / f64::from(self.series)
    }
}

impl Node {
    /// Whether the file says of any capacitor what it leaks at the hot end.
    pub fn states_heat(&self) -> bool {
        self.storage.iter().any(|part| part.hot_leakage.is_some())
    }

    /// Place in `storage` of the kind that holds most of the charge; the first of equal ones.
    ///
    /// ```
    /// let mut node = millpond_node::node::NodeFile::load("../../templates/nodes/crack-gauge.toml")?.node;
    /// node.storage.push(node.storage[0].clone());
    /// assert_eq!(node.largest_kind(), 0);
    /// node.storage[1].parallel += 1;
    /// assert_eq!(node.largest_kind(), 1);
    /// # Ok::<(), millpond_node::input::LoadError>(())
    /// ```
    pub fn largest_kind(&self) -> usize {
        (0..self.storage.len())
            .reduce(|most, next| {
                if self.storage[next].whole() > self.storage[most].whole() {
                    next
                } else {
                    most
                }
            })
            .unwrap_or_default()
    }
}
