//! Whether a command can write where it is told to: asked before it computes or writes anything.
//!
//! No output may be one of the command's own inputs, under whatever name, nor another output, each needs a folder to stand in, and what
//! stands in its place is replaced only where this tool wrote it, or with `--force`.

use std::fs::{self, Metadata};
use std::path::{Path, PathBuf};

use millpond::files::{behind_links, folder_of, may_replace, try_place};
use millpond::input::LoadError;
use millpond::node::NodeFile;
use millpond::problem::InputText;
use millpond::visible;

use crate::cli::{Files, Named};
use crate::failure::Failure;

/// How the command line calls a file that the node file names.
const PROFILE: &str = "a profile of the node file";

/// Refuses outputs that cannot be written, or that would cost an input or one another.
pub(crate) fn check(mut files: Files) -> Result<(), Failure> {
    if files.outputs.is_empty() {
        return Ok(());
    }
    for output in &files.outputs {
        has_a_place(output).map_err(Failure::Unusable)?;
    }
    files.inputs.extend(profiles(files.node.as_deref()));
    let inputs: Vec<Place> = files.inputs.iter().map(Place::of).collect();
    let outputs: Vec<Place> = files.outputs.iter().map(Place::of).collect();
    for (number, output) in outputs.iter().enumerate() {
        if let Some(input) = inputs.iter().find(|input| input.is(output)) {
            return Err(Failure::Unusable(format!(
                "{output} is {input}: it would be lost; choose another name for what is written"
            )));
        }
        if let Some(other) = outputs[..number].iter().find(|other| other.is(output)) {
            return Err(Failure::Unusable(format!(
                "{output} is {other}: only one of them would be left; give each a name of its own"
            )));
        }
    }
    if files.force {
        return Ok(());
    }
    files.outputs.iter().try_for_each(replaces_its_own)
}

/// Whether what stands in the place of an output may go.
pub(crate) fn replaces_its_own(output: &Named) -> Result<(), Failure> {
    let Some(kind) = output.kind else { return Ok(()) };
    may_replace(&output.path, kind).map_err(|standing| {
        Failure::Unusable(format!(
            "{}: {} {standing}: it is left as it is; give another name, or --force to replace it",
            output.called,
            visible::path(&output.path)
        ))
    })
}

/// Says of each input that it is a named pipe, which is read until nobody writes to it any more: whoever waits knows what for.
pub(crate) fn announce_pipes(files: &Files) {
    #[cfg(unix)]
    for Named { called, path, .. } in &files.inputs {
        use std::os::unix::fs::FileTypeExt as _;
        // A link, as the shell makes one for the output of another command, is no such pipe by its own name.
        if fs::symlink_metadata(path).is_ok_and(|there| there.file_type().is_fifo()) {
            let shown = visible::path(path);
            crate::commands::say(&format!(
                "{called}: {shown} is a pipe; it is read until whoever writes to it has closed it"
            ));
        }
    }
    #[cfg(not(unix))]
    let _ = files;
}

/// Whether there is a folder for the file, and nothing else in its place.
fn has_a_place(output: &Named) -> Result<(), String> {
    let Named { called, path, .. } = output;
    let shown = visible::path(path);
    if path.as_os_str() == "-" {
        return Err(format!(
            "{called}: - is no name of a file here; write /dev/stdout for standard output where the system has it, ./- for a file of that \
             name"
        ));
    }
    match fs::metadata(path) {
        Ok(there) if there.is_dir() => {
            return Err(format!(
                "{called}: {shown} cannot be written: it is a folder; name a file in it"
            ));
        }
        // A device or a pipe takes what it is given; a file is in a folder already.
        Ok(_) => return Ok(()),
        Err(_) => {}
    }
    let file = behind_links(path);
    let folder = folder_of(&file);
    let lacks = match fs::metadata(folder) {
        Ok(there) if there.is_dir() => match try_place(&file) {
            Ok(()) => return Ok(()),
            Err(error) => format!(
                "no file can be made in the folder {}: {error}",
                visible::path(folder)
            ),
        },
        Ok(_) => format!("{} is not a folder; name one that is", visible::path(folder)),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            format!(
                "the folder {} does not exist; make it first",
                visible::path(folder)
            )
        }
        Err(error) => format!(
            "the folder {} cannot be looked into: {error}",
            visible::path(folder)
        ),
    };
    Err(format!("{called}: {shown} cannot be written: {lacks}"))
}

/// The profiles that a node file names; those of a refused one as far as they were read. A pipe can be read only once, and is left to the
/// command.
fn profiles(node: Option<&Path>) -> Vec<Named> {
    let Some(node) = node.filter(|path| path.is_file()) else {
        return Vec::new();
    };
    let profiles = match NodeFile::load(node) {
        Ok(file) => file.profiles,
        Err(LoadError::Refused(problems)) => problems.files.into_iter().skip(1).collect(),
        Err(_) => Vec::new(),
    };
    let named = |profile: InputText| Named {
        called: PROFILE,
        path: PathBuf::from(profile.path),
        kind: None,
    };
    profiles.into_iter().map(named).collect()
}

/// Where a file is, or would be.
struct Place<'a> {
    file: &'a Named,
    /// Without links and dots.
    path: PathBuf,
    there: Option<Metadata>,
}

impl<'a> Place<'a> {
    fn of(file: &'a Named) -> Self {
        let end = behind_links(&file.path);
        let beside = || Some(fs::canonicalize(folder_of(&end)).ok()?.join(end.file_name()?));
        Self {
            file,
            path: fs::canonicalize(&file.path)
                .ok()
                .or_else(beside)
                .unwrap_or(end.clone()),
            there: fs::metadata(&file.path).ok(),
        }
    }

    /// Whether writing one costs the other. Devices and pipes keep nothing that could be lost.
    fn is(&self, other: &Self) -> bool {
        let keeps = |place: &Self| place.there.as_ref().is_none_or(Metadata::is_file);
        keeps(self) && keeps(other) && (self.path == other.path || self.is_linked_to(other))
    }

    /// Whether both are names of one file on the disk.
    #[cfg(unix)]
    fn is_linked_to(&self, other: &Self) -> bool {
        use std::os::unix::fs::MetadataExt as _;
        let number = |place: &Self| place.there.as_ref().map(|there| (there.dev(), there.ino()));
        number(self).is_some_and(|own| number(other) == Some(own))
    }

    /// Elsewhere the standard library cannot tell: the path decides.
    #[cfg(not(unix))]
    fn is_linked_to(&self, _other: &Self) -> bool {
        false
    }
}

impl std::fmt::Display for Place<'_> {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            formatter,
            "{} ({})",
            self.file.called,
            visible::path(&self.file.path)
        )
    }
}
