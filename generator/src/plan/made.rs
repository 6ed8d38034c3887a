//! A plan in hand, and whether its settings are the node's own.

use millpond_policy::Plan;

use crate::node::Node;
use crate::plan::Planned;
use crate::plan::settings::Settings;
use crate::plan::typical::Typical;
use crate::simulate::study::PLANNED;
use crate::thresholds::Thresholds;

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
    /// The plan of `node` with the usual settings, which takes no time; `None` where it can have none.
    ///
    /// ```
    /// use millpond::{node::NodeFile, plan::made::Made, thresholds::Thresholds};
    /// let node = NodeFile::load("../templates/nodes/crack-gauge.toml")?.node;
    /// let made = Made::usual(&node, &Thresholds::of(&node)).ok_or("no plan")?;
    /// assert_eq!(made.title(), "planned, not tuned");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn usual(node: &Node, thresholds: &Thresholds) -> Option<Self> {
        let plan = Typical::of(node, thresholds)?.plan(&Settings::usual()).ok()?;
        Some(Self {
            plan,
            is_tuned: false,
        })
    }

    /// Name of the pace, for people.
    pub fn title(&self) -> &'static str {
        if self.is_tuned { PLANNED } else { NOT_TUNED }
    }
}

impl From<&Planned> for Made {
    fn from(planned: &Planned) -> Self {
        Self {
            plan: planned.plan,
            is_tuned: true,
        }
    }
}
