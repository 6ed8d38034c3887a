//! What was measured beside the log: either figure gives a log without steps its scale.

use super::described::Described;
use crate::units::*;

/// An ammeter or a bridge is right to this part: the instrument's own error (common practice, no source).
pub(super) const KNOWN_DEVIATION: f64 = 0.01;

/// Figures that were measured by themselves; `None` where they were not.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Known {
    /// Of the whole bank at the working voltage, half way between floor and overvoltage.
    pub capacitance: Option<Capacitance>,
    /// From storage to the sleeping node at the working voltage; leakage inside the capacitors is not in it.
    pub sleep_current: Option<Current>,
}

impl Known {
    /// The log has to say it all.
    pub const NOTHING: Self = Self {
        capacitance: None,
        sleep_current: None,
    };

    /// Whether it gives a scale to what the log fixes over the capacitance only.
    pub(super) fn is_scale(&self) -> bool {
        self.capacitance.is_some() || self.sleep_current.is_some()
    }

    /// Logarithm of the known capacitance over the described one.
    pub(super) fn capacitance(&self, described: &Described) -> Option<f64> {
        let known_f = self.capacitance?.get::<farad>();
        Some((known_f / described.capacitance_f(described.working_v)).ln())
    }

    /// Logarithm of the known sleeping current over the described one.
    pub(super) fn sleep_current(&self, described: &Described) -> Option<f64> {
        let known_a = self.sleep_current?.get::<ampere>();
        Some((known_a / described.sleep_a(described.working_v)).ln())
    }
}
