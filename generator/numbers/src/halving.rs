//! Where a condition begins to hold, by halving a range.

/// The range `low` to `high` after so many `halvings`, or fewer where no number is left between the two: below its lower end `is_enough` does not hold, at its upper end it does, as it
/// was said to do at the ends given.
///
/// ```
/// use millpond_numbers::halving::halved;
/// let (low, high) = halved(0.0, 2.0, 50, |x| x * x >= 2.0);
/// assert!(low * low < 2.0 && high * high >= 2.0 && high - low < 1e-14);
/// ```
pub fn halved(low: f64, high: f64, halvings: u32, mut is_enough: impl FnMut(f64) -> bool) -> (f64, f64) {
    let (mut low, mut high) = (low, high);
    for _ in 0..halvings {
        let middle = low + (high - low) / 2.0;
        if middle <= low || middle >= high {
            break;
        }
        if is_enough(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    (low, high)
}
