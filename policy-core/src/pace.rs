//! The pace table: how long to wait between measurements, by storage voltage.
//!
//! Safety never rests on it; the thresholds are checked after it.

use crate::rejected::Rejected;

/// Rows of the pace table.
pub const PACE_ROWS: usize = 12;

/// One row: from this voltage up to that of the row before, wait this long.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PaceRow {
    /// Lowest storage voltage for which the row holds (mV).
    pub from_mv: u16,
    /// Time from one measurement to the next (s), at least 1.
    pub wait_s: u16,
}

/// Wait of the first row that `storage_mv` reaches (s).
///
/// The rows are sorted from the highest voltage down to 0 with waits that never fall, so the answer never
/// rises with the voltage.
pub(crate) fn wait_s(rows: &[PaceRow; PACE_ROWS], storage_mv: u16) -> u16 {
    let row = rows.iter().find(|row| row.from_mv <= storage_mv);
    // OK because the last row starts at 0 mV (`check`), so that a row is always found.
    row.map_or(u16::MAX, |row| row.wait_s)
}

/// Refuses a table that is not sorted, or that would be faster at a lower voltage.
pub(crate) const fn check(rows: &[PaceRow; PACE_ROWS]) -> Result<(), Rejected> {
    let mut rest: &[PaceRow] = rows;
    while let [row, tail @ ..] = rest {
        if row.wait_s == 0 {
            return Err(Rejected::PaceZero);
        }
        match tail.first() {
            Some(next) if next.from_mv >= row.from_mv => return Err(Rejected::PaceUnsorted),
            Some(next) if next.wait_s < row.wait_s => return Err(Rejected::PaceFasterWhenLower),
            None if row.from_mv != 0 => return Err(Rejected::PaceOpenBelow),
            _ => {}
        }
        rest = tail;
    }
    Ok(())
}
