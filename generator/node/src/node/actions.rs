//! The actions of a node as a list: a stage goes through them instead of naming each.

use std::fmt;

use super::{Action, Node};

/// What an action is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ActionKind {
    /// From power-up until the firmware can first ask the policy.
    Boot,
    /// Taking one sample.
    Measure,
    /// Sending one report.
    Transmit,
}

impl ActionKind {
    /// Its name in the node file, in results and in tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::Boot => "boot",
            Self::Measure => "measure",
            Self::Transmit => "transmit",
        }
    }

    /// How a sentence calls it.
    pub fn noun(self) -> &'static str {
        match self {
            Self::Boot => "a start-up",
            Self::Measure => "a measurement",
            Self::Transmit => "a transmission",
        }
    }

    /// Whether firmware asks the policy before it. Nothing is asked before a start-up.
    pub fn is_decided(self) -> bool {
        self != Self::Boot
    }
}

impl fmt::Display for ActionKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl Node {
    /// The actions in the order of a node's life.
    ///
    /// ```
    /// let node = millpond_node::node::Node::read(millpond_templates::nodes::CRACK_GAUGE)?;
    /// let names: Vec<&str> = node.actions().iter().map(|(kind, _)| kind.name()).collect();
    /// assert_eq!(names, ["boot", "measure", "transmit"]);
    /// # Ok::<(), millpond_node::problem::Problems>(())
    /// ```
    pub fn actions(&self) -> [(ActionKind, &Action); 3] {
        [
            (ActionKind::Boot, &self.boot),
            (ActionKind::Measure, &self.measure),
            (ActionKind::Transmit, &self.transmit),
        ]
    }

    /// The action of that kind.
    pub fn action(&self, kind: ActionKind) -> &Action {
        match kind {
            ActionKind::Boot => &self.boot,
            ActionKind::Measure => &self.measure,
            ActionKind::Transmit => &self.transmit,
        }
    }
}
