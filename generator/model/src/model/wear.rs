//! How far the parts of a bank are from what they say.

use crate::node::Node;

/// How far the parts of a bank are from nominal: factors on what the data sheet gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wear {
    /// Parts as delivered at their low tolerance.
    pub tolerance: bool,
    /// Capacitance at the end of life.
    pub aged_capacitance: bool,
    /// Capacitance at the cold end.
    pub cold_capacitance: bool,
    /// Series resistance at the end of life.
    pub aged_resistance: bool,
    /// Series resistance at the cold end.
    pub cold_resistance: bool,
    /// Leakage of cells that have not been held at their voltage.
    pub fresh_leakage: bool,
    /// Leakage at the hot end.
    pub hot_leakage: bool,
}

impl Wear {
    /// New parts at nominal.
    pub const NONE: Self = Self {
        tolerance: false,
        aged_capacitance: false,
        cold_capacitance: false,
        aged_resistance: false,
        cold_resistance: false,
        fresh_leakage: false,
        hot_leakage: false,
    };
    /// The worst at the cold end: every factor of capacitance and resistance at once.
    pub const WORST: Self = Self {
        tolerance: true,
        aged_capacitance: true,
        cold_capacitance: true,
        aged_resistance: true,
        cold_resistance: true,
        fresh_leakage: true,
        hot_leakage: false,
    };
    /// The worst at the hot end: old parts at room temperature's capacitance and resistance, with the leakage of the heat.
    pub const HOT: Self = Self {
        cold_capacitance: false,
        cold_resistance: false,
        hot_leakage: true,
        ..Self::WORST
    };

    /// The ends of the temperature range at which `node` may be at its worst: the cold one, and the hot one where the file says what
    /// leaks there. Cold, a bank holds less; hot, it leaks more (docs/model.md, section "Corners").
    ///
    /// ```
    /// use millpond_model::model::bank::Wear;
    /// use millpond_node::node::Node;
    /// use millpond_numbers::units::*;
    /// let mut node = Node::read(millpond_templates::nodes::DISPLAY_CASE)?;
    /// assert_eq!(Wear::at_ends(&node), [Wear::WORST]);
    /// node.storage[0].hot_leakage = Some(fraction(2.0));
    /// assert_eq!(Wear::at_ends(&node), [Wear::WORST, Wear::HOT]);
    /// # Ok::<(), millpond_node::problem::Problems>(())
    /// ```
    pub fn at_ends(node: &Node) -> &'static [Self] {
        if node.states_heat() {
            &[Self::WORST, Self::HOT]
        } else {
            &[Self::WORST]
        }
    }
}
