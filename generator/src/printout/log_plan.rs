//! What to log for each parameter.

use serde::Serialize;

use crate::log_plan::LogPlan;
use crate::printout::table::table;
use crate::text::Engineering;
use crate::units::*;

/// The plan as JSON has it.
#[derive(Serialize)]
pub struct View {
    node: String,
    within: f64,
    steps: Vec<StepView>,
}

#[derive(Serialize)]
struct StepView {
    parameter: &'static str,
    columns: &'static str,
    interval_s: f64,
    duration_s: Option<f64>,
    reached: f64,
    condition: String,
}

impl View {
    /// The view of a plan for the node called `name`.
    pub fn of(name: &str, plan: &LogPlan) -> Self {
        let steps = plan.steps.iter().map(|step| StepView {
            parameter: step.parameter,
            columns: step.columns,
            interval_s: step.interval_s,
            duration_s: step.duration_s,
            reached: step.reached,
            condition: step.condition.clone(),
        });
        Self {
            node: name.to_owned(),
            within: plan.within,
            steps: steps.collect(),
        }
    }
}

/// The plan as a table.
pub fn text(name: &str, plan: &LogPlan) -> String {
    let time = |time_s: f64| Engineering(seconds(time_s), "s").to_string();
    let rows = plan.steps.iter().map(|step| {
        vec![
            step.parameter.to_owned(),
            time(step.interval_s),
            step.duration_s.map_or_else(|| "no log gives it".to_owned(), time),
            format!("±{:.0} %", step.reached * 100.0),
            step.columns.to_owned(),
        ]
    });
    let mut text = format!("{name}, each parameter within {:.0} %\n\n", plan.within * 100.0);
    text.push_str(&table(
        &["parameter", "a row every", "for", "reached", "columns"],
        rows,
    ));
    for step in &plan.steps {
        text.push_str(&format!("{}: {}.\n", step.parameter, step.condition));
    }
    text.push_str(
        "reached: what margins.load and the sensing tolerances leave open is in it; no log makes it less.\n",
    );
    text
}
