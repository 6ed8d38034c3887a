//! One module for each command: the stages it runs, in order, and where the result goes.

pub(crate) mod budget;
pub(crate) mod check;
pub(crate) mod compare;
pub(crate) mod fit;
pub(crate) mod generate;
pub(crate) mod init;
pub(crate) mod log_plan;
pub(crate) mod simulate;
pub(crate) mod thresholds;

use std::io::Write;

use crate::failure::Failure;

/// Writes a result to standard output. A reader that has gone away is not an error.
fn print(text: &str) -> Result<(), Failure> {
    match std::io::stdout().write_all(text.as_bytes()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(error.into()),
        _ => Ok(()),
    }
}
