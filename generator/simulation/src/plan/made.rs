//! How a plan is come by: with the usual settings, or tuned.

use crate::node::Node;
use crate::plan::Planned;
use crate::plan::settings::Settings;
use crate::plan::typical::Typical;
use crate::thresholds::Thresholds;

pub use crate::simulate::made::{Made, NOT_TUNED};

impl Made {
    /// The plan of `node` with the usual settings, which takes no time; `None` where it can have none.
    ///
    /// ```
    /// use millpond_node::node::NodeFile;
    /// use millpond_simulation::plan::made::Made;
    /// use millpond_sizing::thresholds::Thresholds;
    /// let node = NodeFile::load("../../templates/nodes/crack-gauge.toml")?.node;
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
}

impl From<&Planned> for Made {
    fn from(planned: &Planned) -> Self {
        Self {
            plan: planned.plan,
            is_tuned: true,
        }
    }
}
