//! The Rust module.

use millpond_policy::SenseKind;
use minijinja::value::{Serde, Value};
use minijinja::{AutoEscape, context};

use super::{Constants, Emitter, names, pace_option, plan, plan_lines, template, threshold_lines};

const TEMPLATE: &str = millpond_templates::constants::POLICY_RS;

/// Renders the Rust module.
pub(super) struct RustModule;

impl Emitter for RustModule {
    fn render(&self, constants: &Constants) -> String {
        let context = context! {
            version => names::comment(&constants.version),
            input_hash => names::comment(&constants.input_hash),
            pace_option => pace_option(constants),
            node_comment => names::comment(&constants.node),
            node_string => format!("{:?}", constants.node),
            threshold_lines => threshold_lines(&constants.thresholds),
            parts => Value::from(Serde(&constants.parts)),
            counts => Value::from(Serde(&constants.decide_counts)),
            falling => constants.parts.sense.kind == SenseKind::Reference,
            when_full_variant => format!("{:?}", constants.when_full),
            plan => plan(constants),
            plan_lines => plan_lines(constants),
        };
        template::render(TEMPLATE, &[], context, AutoEscape::None)
    }
}
