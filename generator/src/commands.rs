//! One module for each command: the stages it runs, in order, and where the result goes.

mod bar;
pub(crate) mod budget;
pub(crate) mod cell;
pub(crate) mod check;
pub(crate) mod compare;
pub(crate) mod completions;
pub(crate) mod dividers;
pub(crate) mod fit;
pub(crate) mod generate;
pub(crate) mod init;
pub(crate) mod lifetime;
pub(crate) mod log_plan;
pub(crate) mod manual;
pub(crate) mod report;
pub(crate) mod sensitivity;
pub(crate) mod simulate;
pub(crate) mod size;
pub(crate) mod survival;
pub(crate) mod thresholds;
pub(crate) mod workbench;

use std::io::Write;
use std::path::{Path, PathBuf};

use millpond::files;
use millpond::generated;
use millpond::income::Income;
use millpond::input::{self, Limit, LoadError};
use millpond::node::{NodeFile, Pace};
use millpond::plan::Planned;
use millpond::plan::made::Made;
use millpond::problem::{InputText, Problems};
use millpond::record;
use millpond::thresholds::Thresholds;
use millpond::visible::{self, visible_lines};
use millpond_policy::Policy;

use bar::Bar;

use crate::failure::{Failure, colour};

/// A remark on standard error, if there is one; nothing is left to tell it to where that is closed.
pub(crate) fn say(remark: &str) {
    if !remark.is_empty() {
        let _ = writeln!(std::io::stderr(), "{}", visible_lines(remark));
    }
}

/// The faults of a file on standard error.
fn say_problems(problems: &Problems) {
    let _ = std::io::stderr().write_all(problems.render(colour()).as_bytes());
}

/// Writes a result to standard output, everything in it to be seen. A reader that has gone away is not an error.
fn print(text: &str) -> Result<(), Failure> {
    match std::io::stdout().write_all(visible_lines(text).as_bytes()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(Failure::Unusable(format!(
            "standard output cannot be written: {error}"
        ))),
        _ => Ok(()),
    }
}

/// Writes the files, all or none, and says which of them changed.
fn write(files: &[(PathBuf, String)]) -> Result<(), Failure> {
    let written = files::write_all(files).map_err(|error| Failure::Unusable(error.to_string()))?;
    for (path, is_new) in written {
        say(&format!(
            "{} {}",
            if is_new { "wrote" } else { "unchanged:" },
            visible::path(&path)
        ));
    }
    Ok(())
}

/// The plan of a node, tuned on what its source declares.
fn tuned(file: &NodeFile, thresholds: &Thresholds, policy: &Policy) -> Result<Planned, Failure> {
    let bar = Bar::new(1, "settings");
    let planned = generated::tuned(file, thresholds, policy, &bar);
    bar.finish();
    planned.map_err(|refusal| Failure::Refused(format!("{refusal}\n")))
}

/// The plan to run beside the table: tuned where the node asks for it, with the usual settings where it is only compared with.
fn plan(file: &NodeFile, thresholds: &Thresholds, policy: &Policy) -> Result<Option<Made>, Failure> {
    let node = &file.node;
    if node.policy.pace == Pace::Planned {
        return tuned(file, thresholds, policy).map(|planned| Some(Made::from(&planned)));
    }
    Ok(Made::usual(node, thresholds))
}

/// The text of a file beside the node file, if one is named.
fn beside(path: Option<&Path>, limit: Limit) -> Result<Option<InputText>, Failure> {
    Ok(path.map(|path| input::read(path, limit)).transpose()?)
}

/// The income of a run: the trace if there is one, else the node's own source; `None` where that leaves it to a trace.
fn income(file: &NodeFile, trace: Option<&InputText>) -> Result<Option<Income>, Failure> {
    let source = &file.node.harvest.source;
    let Some(trace) = trace else {
        return Ok(Income::of(source));
    };
    let income = record::parse(&trace.path, &trace.text, source);
    Ok(Some(income.map_err(LoadError::Refused)?))
}
