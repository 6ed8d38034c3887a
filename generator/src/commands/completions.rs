//! `millpond completions`: what a shell needs to complete commands and options.

use clap::CommandFactory as _;

use crate::cli::{Cli, Completions};
use crate::failure::Failure;

/// definition of the commands → script of the shell
pub(crate) fn run(arguments: &Completions) -> Result<(), Failure> {
    let mut script = Vec::new();
    // Into memory first: the library stops the process where it cannot write.
    clap_complete::generate(arguments.shell, &mut Cli::command(), "millpond", &mut script);
    super::print(&String::from_utf8_lossy(&script))
}
