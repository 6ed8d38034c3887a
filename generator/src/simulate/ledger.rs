//! Where the energy went: every joule of a run is in one account, and the accounts balance.

/// Part of the turnover by which a run's accounts may miss each other: a millionth.
const BALANCE: f64 = 1e-6;
/// Energy below which a relative error means nothing (J).
const LEAST_J: f64 = 1e-3;

/// The accounts of one run, all in joules.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ledger {
    /// Offered to storage by the converter, after its efficiency.
    pub harvested_j: f64,
    /// Drawn from storage by the node, losses in the capacitors' series resistance included.
    pub spent_j: f64,
    /// The part of `spent_j` that was lost in series resistance, while charging too.
    pub resistance_j: f64,
    /// Offered and not stored: storage full, or more than the converter's largest current carries.
    pub spilled_j: f64,
    /// Lost through leakage and balance resistors.
    pub leaked_j: f64,
    /// Stored at the start.
    pub stored_start_j: f64,
    /// Stored at the end.
    pub stored_end_j: f64,
}

impl Ledger {
    /// By how much the accounts miss each other: start + harvested − spent − spilled − leaked − end.
    pub fn miss_j(&self) -> f64 {
        self.stored_start_j + self.harvested_j
            - self.spent_j
            - self.spilled_j
            - self.leaked_j
            - self.stored_end_j
    }

    /// Whether the accounts balance to a millionth of what was turned over.
    pub fn is_balanced(&self) -> bool {
        let turnover_j = self.stored_start_j + self.harvested_j;
        self.miss_j().abs() <= BALANCE * turnover_j.max(LEAST_J)
    }
}
