//! The node over time, with the very decision code that is flashed.
//!
//! From a node, its policy and an income to what came of it: reports, silences, losses of supply, and where the energy went.

pub mod baseline;
pub mod columns;
pub mod ledger;
pub mod made;
pub mod plant;
pub mod population;
pub mod rule;
pub mod run;
pub mod study;
pub mod timeline;
pub mod unit;

use crate::node::Node;
use crate::units::*;

use run::Course;

/// The course of a run of `days` days, from the gate's `connect_above` where there is a gate, and from half way between the
/// supply's floor and the overvoltage limit where there is none.
pub fn course(node: &Node, days: f64) -> Course {
    let floor = node.supply.regulator.floor();
    let full = node.harvest.overvoltage;
    let start = node
        .supply
        .gate
        .as_ref()
        .map_or((floor + full) / 2.0, |gate| gate.connect_above);
    Course {
        duration: seconds(days * 86_400.0),
        start: start.min(full),
        batch: node.policy.batch,
        backlog: node.policy.backlog,
    }
}
