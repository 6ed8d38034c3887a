//! `millpond report`: everything there is to say about a node, as one page.

use millpond::budget::Budget;
use millpond::findings::{self, Severity};
use millpond::fit::{Fit, Known};
use millpond::log;
use millpond::node::{Node, NodeFile};
use millpond::policy;
use millpond::problem::InputText;
use millpond::record;
use millpond::report::{self, Input, Sources};
use millpond::thresholds::Thresholds;
use millpond::visible::visible;

use crate::cli::Report;
use crate::failure::Failure;

/// node file, income, log → every stage → one page
pub(crate) fn run(arguments: &Report) -> Result<(), Failure> {
    let mut file = NodeFile::load(&arguments.node)?;
    if let Some(pace) = arguments.pace {
        file.node.policy.pace = pace.into();
    }
    let trace = super::beside(arguments.trace.as_deref(), record::LIMIT)?;
    let income = super::income(&file, trace.as_ref())?;
    let log = super::beside(arguments.log.as_deref(), log::LIMIT)?;
    let known = Known {
        capacitance: arguments.capacitance,
        sleep_current: arguments.sleep_current,
    };
    let fit = match &log {
        Some(log) => Some(Fit::of(&file.node, &super::fit::log(log)?, &known)),
        None => None,
    };
    let inputs = inputs(&file, trace.as_ref(), log.as_ref());
    let works = works(&file.node);
    let thresholds = Thresholds::of(&file.node);
    let plan = match policy::policy(&file.node, &thresholds) {
        // A plan is tuned on the node's own source; without one the page says so by leaving the plan out.
        Ok(policy) if works && income.is_some() => super::plan(&file, &thresholds, &policy)?,
        _ => None,
    };
    let log = inputs
        .iter()
        .find(|input| input.role == LOG)
        .map(|input| input.name.as_str());
    let bar = super::Bar::new(report::STEPS, "parts of the page");
    let page = report::page(
        &Sources {
            file: &file,
            inputs: &inputs,
            income: income.as_ref(),
            plan,
            days: arguments.days,
            fit: log.zip(fit.as_ref()),
        },
        &bar,
    );
    bar.finish();
    super::write(&[(arguments.output.clone(), page)])?;
    if income.is_none() {
        super::say(&format!(
            "{} leaves its income to a trace: nothing was simulated; give one with --trace",
            visible(&file.path)
        ));
    }
    if works {
        return Ok(());
    }
    Err(Failure::Refused(format!(
        "{}: findings forbid this node to work; the page says which\n",
        visible(&file.path)
    )))
}

const LOG: &str = "bench log";

/// Every file that the page rests on, with its hash.
fn inputs(file: &NodeFile, trace: Option<&InputText>, log: Option<&InputText>) -> Vec<Input> {
    let other = |role| move |file: &InputText| Input::of(role, &file.path, &file.text);
    let mut inputs = vec![Input::of("node file", &file.path, &file.text)];
    inputs.extend(file.profiles.iter().map(other("profile")));
    inputs.extend(trace.map(other("income trace")));
    inputs.extend(log.map(other(LOG)));
    inputs
}

/// Whether no finding forbids it.
fn works(node: &Node) -> bool {
    findings::without_cures(node, &Budget::of(node), &Thresholds::of(node))
        .iter()
        .all(|finding| finding.severity != Severity::Error)
}
