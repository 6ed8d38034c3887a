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
    /// The accounts in the order in which they lead from the start to the end, each with its sign (J).
    pub fn accounts(&self) -> [(&'static str, f64); 6] {
        [
            ("stored at the start", self.stored_start_j),
            ("+ harvested", self.harvested_j),
            ("- spent", self.spent_j),
            ("- spilled", self.spilled_j),
            ("- leaked", self.leaked_j),
            ("= stored at the end", self.stored_end_j),
        ]
    }

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

#[cfg(test)]
mod tests {
    use super::*;

    /// 10 J at first, 5 J in, 6 J spent, 1 J spilled, 2 J leaked, 6 J at last.
    const EVEN: Ledger = Ledger {
        harvested_j: 5.0,
        spent_j: 6.0,
        resistance_j: 0.5,
        spilled_j: 1.0,
        leaked_j: 2.0,
        stored_start_j: 10.0,
        stored_end_j: 6.0,
    };

    #[test]
    fn every_account_counts_once_and_on_its_side() {
        assert_eq!(EVEN.miss_j(), 0.0);
        let moved = |change: fn(&mut Ledger)| {
            let mut ledger = EVEN;
            change(&mut ledger);
            ledger.miss_j()
        };
        assert_eq!(moved(|ledger| ledger.harvested_j += 1.0), 1.0);
        assert_eq!(moved(|ledger| ledger.stored_start_j += 1.0), 1.0);
        assert_eq!(moved(|ledger| ledger.spent_j += 1.0), -1.0);
        assert_eq!(moved(|ledger| ledger.spilled_j += 1.0), -1.0);
        assert_eq!(moved(|ledger| ledger.leaked_j += 1.0), -1.0);
        assert_eq!(moved(|ledger| ledger.stored_end_j += 1.0), -1.0);
        assert_eq!(moved(|ledger| ledger.resistance_j += 1.0), 0.0);
    }

    #[test]
    fn a_millionth_of_the_turnover_is_the_limit() {
        let missing = |miss_j| Ledger {
            spent_j: EVEN.spent_j + miss_j,
            ..EVEN
        };
        assert!(missing(14e-6).is_balanced() && missing(-14e-6).is_balanced());
        assert!(!missing(16e-6).is_balanced() && !missing(-16e-6).is_balanced());
    }
}
