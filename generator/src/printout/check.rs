//! Budget, thresholds and findings on one page.

use serde::Serialize;

use crate::budget::Budget;
use crate::findings::Finding;
use crate::node::Node;
use crate::printout;
use crate::thresholds::Thresholds;

/// The page as JSON has it.
#[derive(Serialize)]
pub struct View {
    node: String,
    budget: printout::budget::View,
    thresholds: printout::thresholds::View,
    findings: Vec<printout::findings::View>,
    pace: printout::pace::View,
    in_the_dark: Option<printout::survival::Dark>,
}

impl View {
    /// The view of one node's results.
    pub fn of(
        node: &Node,
        budget: &Budget,
        thresholds: &Thresholds,
        findings: &[Finding],
        pace: printout::pace::View,
        in_the_dark: Option<printout::survival::Dark>,
    ) -> Self {
        Self {
            node: node.name.clone(),
            budget: printout::budget::View::of(node, budget),
            thresholds: printout::thresholds::View::of(node, thresholds),
            findings: printout::findings::views(findings),
            pace,
            in_the_dark,
        }
    }
}

/// The page as text.
pub fn text(node: &Node, budget: &Budget, thresholds: &Thresholds, findings: &[Finding]) -> String {
    format!(
        "{}\n\n{}\n{}\n{}",
        node.name,
        printout::budget::text(budget),
        printout::thresholds::text(thresholds),
        printout::findings::text(findings)
    )
}
