//! Parts simulated: random units of each example inside its tolerances, and how often an action that was granted took the supply away.

use indicatif::ProgressBar;
use millpond::income::Income;
use millpond::node::Node;
use millpond::simulate::parts::{Flashing, Parts};
use millpond::thresholds::Thresholds;
use millpond::{policy, simulate};

use super::{Extent, Row};

const NODES: [(&str, &str); 3] = [
    (
        "crack-gauge",
        include_str!("../../../templates/nodes/crack-gauge.toml"),
    ),
    (
        "display-case",
        include_str!("../../../templates/nodes/display-case.toml"),
    ),
    (
        "pump-bearing",
        include_str!("../../../templates/nodes/pump-bearing.toml"),
    ),
];

pub(super) fn rows(extent: &Extent) -> Result<Vec<Row>, String> {
    let (mut units, mut decisions, mut in_actions, mut losses, mut unbalanced) = (0, 0, 0, 0, 0);
    for (name, text) in NODES {
        let node = Node::read(text).map_err(|problems| format!("{name}: {problems}"))?;
        let thresholds = Thresholds::of(&node);
        let policy =
            policy::policy(&node, &thresholds).map_err(|rejected| format!("{name}: {}", rejected.text()))?;
        let income = Income::of(&node.harvest.source).ok_or_else(|| format!("{name}: no income"))?;
        let course = simulate::course(&node, extent.days);
        let flashing = Flashing { policy, plan: None };
        let parts = Parts::of(
            &node,
            flashing,
            &income,
            &course,
            extent.parts,
            1,
            &ProgressBar::hidden(),
        );
        for outcome in &parts.outcomes {
            units += 1;
            decisions += outcome.decisions;
            in_actions += outcome.action_brownouts;
            losses += outcome.brownouts;
            unbalanced += u64::from(!outcome.ledger.is_balanced());
        }
    }
    let note = format!(
        "{} days each of {} nodes, {decisions} decisions; broken where energy does not balance",
        extent.days,
        NODES.len()
    );
    Ok(vec![
        Row::counted("parts simulated", units, unbalanced, note),
        Row::counted(
            "brown-outs in actions",
            in_actions,
            in_actions,
            format!("losses of supply in an action that was granted; {losses} losses in all, by the dark"),
        ),
    ])
}
