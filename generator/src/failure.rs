//! How a command ends when it does not end well.

use std::io::{IsTerminal, Write};
use std::process::ExitCode;

use millpond::input::LoadError;
use millpond::problem::Problems;
use millpond::visible::visible_lines;

/// Why a command failed, by exit code.
pub(crate) enum Failure {
    /// Exit code 1: the node was refused, or a check differs. The message goes to standard error, everything in it to be seen.
    Refused(String),
    /// Exit code 1: a file was read and has faults, which are shown where they stand.
    Faults(Problems),
    /// Exit code 2: wrong usage, or a file that cannot be read or written.
    Unusable(String),
}

impl Failure {
    /// Shows the failure on standard error.
    pub(crate) fn report(self) -> ExitCode {
        let (code, message) = match self {
            Self::Refused(message) => (1, visible_lines(&message).into_owned()),
            Self::Faults(problems) => (1, problems.render(colour())),
            Self::Unusable(message) => (2, format!("error: {}\n", visible_lines(&message))),
        };
        // Nothing is left to tell it to when standard error is closed.
        let _ = std::io::stderr().write_all(message.as_bytes());
        ExitCode::from(code)
    }
}

/// Whether messages may carry colour: on a terminal that knows any, and not turned off by the NO_COLOR convention.
pub(crate) fn colour() -> bool {
    std::io::stderr().is_terminal()
        && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
        && std::env::var_os("TERM").is_none_or(|terminal| terminal != "dumb")
}

impl From<LoadError> for Failure {
    fn from(error: LoadError) -> Self {
        match error {
            LoadError::Refused(problems) => Self::Faults(problems),
            other => Self::Unusable(other.to_string()),
        }
    }
}

impl From<std::io::Error> for Failure {
    fn from(error: std::io::Error) -> Self {
        Self::Unusable(error.to_string())
    }
}
