//! `millpond generate`: the constants, written where they are wanted.

use std::path::PathBuf;

use millpond::files::{self, Stale};
use millpond::generated::{self, Generated};
use millpond::input;
use millpond::node::NodeFile;
use millpond::printout;
use millpond::visible;

use crate::cli::Generate;
use crate::failure::Failure;

/// node file → … → policy → emitted text → files, or a comparison with them
pub(crate) fn run(arguments: &Generate) -> Result<(), Failure> {
    let mut file = NodeFile::load(&arguments.node)?;
    if let Some(pace) = arguments.pace {
        file.node.policy.pace = pace.into();
    }
    let bar = super::Bar::new(1, "settings");
    let generated =
        generated::from_file(&file, &bar).map_err(|refusal| Failure::Refused(format!("{refusal}\n")));
    bar.finish();
    let generated = generated?;
    super::say(printout::findings::aside(&generated.findings).trim_end_matches('\n'));
    let mut outputs = outputs(arguments, &generated);
    if arguments.verify {
        return verify(arguments, &outputs);
    }
    if outputs.is_empty() && arguments.depfile.is_some() {
        return Err(Failure::Unusable(
            "--depfile needs the files that it is about: --c, --rust or --json".to_owned(),
        ));
    }
    if outputs.is_empty() {
        return super::print(&generated.c_header());
    }
    if let Some(path) = &arguments.depfile {
        let made = outputs.iter().map(|(path, _)| path.as_path());
        let rule = files::depfile(made, generated.inputs.iter().map(PathBuf::as_path))
            .map_err(|error| Failure::Unusable(format!("--depfile: {error}")))?;
        outputs.push((path.clone(), rule));
    }
    super::write(&outputs)
}

/// What is to be written, and where.
fn outputs(arguments: &Generate, generated: &Generated) -> Vec<(PathBuf, String)> {
    let mut outputs = Vec::new();
    if let Some(path) = &arguments.c {
        outputs.push((path.clone(), generated.c_header()));
    }
    if let Some(path) = &arguments.rust {
        outputs.push((path.clone(), generated.rust_module()));
    }
    if let Some(path) = &arguments.json {
        outputs.push((path.clone(), files::json(&generated.constants)));
    }
    outputs
}

/// Holds each file against what would be written now.
fn verify(arguments: &Generate, outputs: &[(PathBuf, String)]) -> Result<(), Failure> {
    if outputs.is_empty() {
        return Err(Failure::Unusable(
            "--verify needs the files to look at: --c, --rust or --json".to_owned(),
        ));
    }
    let mut message = String::new();
    for (path, fresh) in outputs {
        let shown = visible::path(path);
        let existing = input::read(path, files::LIMIT)?.text;
        match files::verify(&existing, fresh) {
            Ok(()) => super::say(&format!("{shown}: up to date")),
            Err(Stale { reason, difference }) => {
                message.push_str(&format!("{shown}: {reason}\n{difference}"));
            }
        }
    }
    if message.is_empty() {
        return Ok(());
    }
    message.push_str(&format!(
        "run the same command without --verify to write it again from {}\n",
        visible::path(&arguments.node)
    ));
    Err(Failure::Refused(message))
}
