//! A plan in hand, and whether its settings are the node's own.

use millpond_policy::Plan;

use crate::node::Pace;

/// Name of the pace that plans.
pub const PLANNED: &str = Pace::Planned.name();
/// Name for people of a pace that plans with the usual settings: it is not what would be flashed.
pub const NOT_TUNED: &str = "planned, not tuned";

/// A plan and how it was come by.
#[derive(Clone, Copy, Debug)]
pub struct Made {
    /// The constants.
    pub plan: Plan,
    /// Whether the settings were tuned for this node, as those of a flashed plan are. The usual ones can do better or worse.
    pub is_tuned: bool,
}

impl Made {
    /// Name of the pace, for people.
    pub fn title(&self) -> &'static str {
        if self.is_tuned { PLANNED } else { NOT_TUNED }
    }
}
