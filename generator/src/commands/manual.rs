//! `millpond manual`: one manual page for each command.

use std::fs;
use std::path::{Path, PathBuf};

use clap::{Command, CommandFactory as _};
use clap_mangen::Man;
use millpond::files::{Kind, MANUAL_MARK};
use millpond::visible;

use crate::cli::{Cli, Manual, Named};
use crate::destinations::replaces_its_own;
use crate::failure::Failure;

/// definition of the commands → pages
pub(crate) fn run(arguments: &Manual) -> Result<(), Failure> {
    let folder = &arguments.folder;
    fs::create_dir_all(folder)
        .map_err(|error| Failure::Unusable(format!("{} cannot be made: {error}", visible::path(folder))))?;
    let mut whole = Cli::command().disable_help_subcommand(true);
    whole.build();
    let mut pages = vec![page(folder, &whole)?];
    for command in whole.get_subcommands() {
        pages.push(page(folder, command)?);
    }
    for (path, _) in pages.iter().filter(|_| !arguments.force) {
        replaces_its_own(&Named {
            called: "a page",
            path: path.clone(),
            kind: Some(Kind::ManualPage),
        })?;
    }
    super::write(&pages)
}

/// The page of one command and its place.
fn page(folder: &Path, command: &Command) -> Result<(PathBuf, String), Failure> {
    let page = Man::new(command.clone()).source(concat!("millpond ", env!("CARGO_PKG_VERSION")));
    let mut text = MANUAL_MARK.as_bytes().to_vec();
    page.render(&mut text)?;
    Ok((
        folder.join(page.get_filename()),
        String::from_utf8_lossy(&text).into_owned(),
    ))
}
