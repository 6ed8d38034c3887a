//! `millpond report`: everything there is to say about a node, as one page.

use std::path::Path;

use millpond::budget::Budget;
use millpond::findings::{self, Severity};
use millpond::fit::{Fit, Known};
use millpond::node::{Node, NodeFile};
use millpond::policy;
use millpond::report::{self, Input, Sources};
use millpond::thresholds::Thresholds;

use crate::cli::Report;
use crate::failure::Failure;

/// node file, income, log → every stage → one page
pub(crate) fn run(arguments: &Report) -> Result<(), Failure> {
    let mut file = NodeFile::load(&arguments.node)?;
    if let Some(pace) = arguments.pace {
        file.node.policy.pace = pace.into();
    }
    let income = super::income(&file, arguments.trace.as_deref())?;
    let fit = match &arguments.log {
        Some(log) => Some(Fit::of(
            &file.node,
            &super::fit::log(log)?,
            &Known {
                capacitance: arguments.capacitance,
                sleep_current: arguments.sleep_current,
            },
        )),
        None => None,
    };
    let inputs = inputs(arguments, &file)?;
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
        .map(|input| input.name.clone());
    let bar = super::progress(report::STEPS, "parts of the page");
    let page = report::page(
        &Sources {
            file: &file,
            inputs: &inputs,
            income: income.as_ref(),
            plan,
            days: arguments.days,
            fit: log.as_deref().zip(fit.as_ref()),
        },
        &bar,
    );
    bar.finish_and_clear();
    super::write(&[(arguments.output.clone(), page)])?;
    if income.is_none() {
        super::say(&format!(
            "{} leaves its income to a trace: nothing was simulated; give one with --trace",
            file.path
        ));
    }
    if works {
        return Ok(());
    }
    Err(Failure::Refused(format!(
        "{}: findings forbid this node to work; the page says which\n",
        file.path
    )))
}

const LOG: &str = "bench log";

/// Every file that the page rests on, with its hash.
fn inputs(arguments: &Report, file: &NodeFile) -> Result<Vec<Input>, Failure> {
    let read = |role, path: &Path| {
        Input::of(role, path)
            .map_err(|error| Failure::Unusable(format!("{} cannot be read: {error}", path.display())))
    };
    // The path as it was given: a name that is no text is lost in a message, not here.
    let mut inputs = vec![read("node file", &arguments.node)?];
    for profile in &file.profiles {
        inputs.push(read("profile", Path::new(&profile.path))?);
    }
    if let Some(trace) = &arguments.trace {
        inputs.push(read("income trace", trace)?);
    }
    if let Some(log) = &arguments.log {
        inputs.push(read(LOG, log)?);
    }
    Ok(inputs)
}

/// Whether no finding forbids it.
fn works(node: &Node) -> bool {
    findings::without_cures(node, &Budget::of(node), &Thresholds::of(node))
        .iter()
        .all(|finding| finding.severity != Severity::Error)
}
