//! `millpond manual`: one manual page for each command.

use std::fs;
use std::path::{Path, PathBuf};

use clap::{Command, CommandFactory as _};
use clap_mangen::Man;

use crate::cli::{Cli, Manual};
use crate::failure::Failure;

/// definition of the commands → pages
pub(crate) fn run(arguments: &Manual) -> Result<(), Failure> {
    let folder = &arguments.folder;
    fs::create_dir_all(folder)
        .map_err(|error| Failure::Unusable(format!("{} cannot be made: {error}", folder.display())))?;
    let mut whole = Cli::command().disable_help_subcommand(true);
    whole.build();
    let mut pages = vec![page(folder, &whole)?];
    for command in whole.get_subcommands() {
        pages.push(page(folder, command)?);
    }
    super::write(&pages)
}

/// The page of one command and its place.
fn page(folder: &Path, command: &Command) -> Result<(PathBuf, String), Failure> {
    let page = Man::new(command.clone()).source(concat!("millpond ", env!("CARGO_PKG_VERSION")));
    let mut text = Vec::new();
    page.render(&mut text)?;
    Ok((
        folder.join(page.get_filename()),
        String::from_utf8_lossy(&text).into_owned(),
    ))
}
