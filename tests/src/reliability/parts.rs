//! Parts simulated: random units of six nodes inside their tolerances, and how often an action that was granted took the supply away.

use millpond::income::Income;
use millpond::progress::Unseen;
use millpond::simulate::population::{Flashing, Parts};
use millpond::thresholds::Thresholds;
use millpond::{policy, simulate};

use super::{Extent, Row};
use crate::units;

pub(super) fn rows(extent: &Extent) -> Result<Vec<Row>, String> {
    let (mut units, mut decisions, mut in_actions, mut losses, mut unbalanced) = (0, 0, 0, 0, 0);
    let nodes = units::nodes().map_err(|problems| problems.to_string())?;
    for node in &nodes {
        let name = &node.name;
        let thresholds = Thresholds::of(node);
        let policy =
            policy::policy(node, &thresholds).map_err(|rejected| format!("{name}: {}", rejected.text()))?;
        let income = Income::of(&node.harvest.source).ok_or_else(|| format!("{name}: no income"))?;
        let course = simulate::course(node, extent.days);
        let flashing = Flashing { policy, plan: None };
        let parts = Parts::of(node, flashing, &income, &course, extent.parts, 1, &Unseen);
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
        nodes.len()
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
