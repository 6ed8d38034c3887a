//! From which voltage on a regulator holds its rail, and what that rail is.

use super::Regulator;
use crate::units::*;

impl Regulator {
    /// Terminal voltage below which the rail is no longer held.
    pub fn floor(&self) -> Voltage {
        match self {
            Regulator::Direct { minimum_input } | Regulator::Switching { minimum_input, .. } => {
                *minimum_input
            }
            Regulator::Linear { rail, dropout, .. } => *rail + *dropout,
        }
    }

    /// Voltage of the rail while the terminal stands at `terminal`.
    pub fn rail(&self, terminal: Voltage) -> Voltage {
        match self {
            Regulator::Direct { .. } => terminal,
            Regulator::Linear { rail, .. } | Regulator::Switching { rail, .. } => *rail,
        }
    }
}
