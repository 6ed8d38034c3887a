//! The C header.

use std::collections::BTreeMap;

use millpond_policy::{Rejected, SenseKind};
use minijinja::value::{Serde, Value};
use minijinja::{AutoEscape, context};

use super::{Constants, Emitter, names, pace_option, plan, plan_lines, template, threshold_lines};

const TEMPLATE: &str = millpond_templates::constants::POLICY_H;
/// What the template includes where there is a plan.
const PLANNER: (&str, &str) = ("planner.h.jinja", millpond_templates::constants::PLANNER_H);

/// Renders the C header.
pub(super) struct CHeader;

impl Emitter for CHeader {
    fn render(&self, constants: &Constants) -> String {
        let prefix = names::identifier(&constants.node);
        // One wording for the compiler of either language.
        let rules: BTreeMap<String, &str> = Rejected::ALL
            .iter()
            .chain(&Rejected::OF_PLAN)
            .map(|rule| (format!("{rule:?}"), rule.text()))
            .collect();
        let context = context! {
            version => names::comment(&constants.version),
            input_hash => names::comment(&constants.input_hash),
            pace_option => pace_option(constants),
            node_comment => names::comment(&constants.node),
            node_string => names::c_string(&constants.node),
            p => format!("{prefix}_"),
            P => format!("{}_", prefix.to_ascii_uppercase()),
            threshold_lines => threshold_lines(&constants.thresholds),
            parts => Value::from(Serde(&constants.parts)),
            counts => Value::from(Serde(&constants.decide_counts)),
            falling => constants.parts.sense.kind == SenseKind::Reference,
            when_full => Value::from(Serde(&constants.when_full)),
            rules => rules,
            plan => plan(constants),
            plan_lines => plan_lines(constants),
        };
        template::render(TEMPLATE, &[PLANNER], context, AutoEscape::None)
    }
}
