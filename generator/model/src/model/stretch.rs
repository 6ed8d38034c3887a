//! A stretch of a load, and where a bank has come to after some.

use crate::model::drain::Drain;
use crate::units::*;

/// A stretch of time with one drain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Mean drain: what empties the bank.
    pub drain: Drain,
    /// Highest drain inside: what the terminal must withstand at any moment of the stretch.
    pub peak: Drain,
    /// How long it lasts (s).
    pub duration: Time,
}

impl Stretch {
    /// Charge drawn with the terminal held at `terminal` (above 0): (P/v + I)·t (docs/model.md, equation 19).
    pub fn charge_at(&self, terminal: Voltage) -> Charge {
        self.drain.at(terminal) * self.duration
    }

    /// Energy drawn with the terminal held at `terminal`: (P + I·v)·t.
    pub fn energy_at(&self, terminal: Voltage) -> Energy {
        self.drain.power_at(terminal) * self.duration
    }
}

/// Where a bank has come to after a sequence of stretches.
#[derive(Clone, Debug, PartialEq)]
pub struct Discharged {
    /// Volts behind each branch's resistance at the end.
    pub inner_v: Vec<f64>,
    /// The lowest terminal voltage seen on the way.
    pub lowest: Voltage,
}
