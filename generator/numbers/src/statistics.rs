//! Figures of many numbers, and numbers drawn at random.

use rand::RngExt;
use rand_pcg::Pcg64;

/// The number that so many of `values` are below or equal to, in order; `None` where there are no more than that. Reorders them.
///
/// ```
/// use millpond_numbers::statistics::nth;
/// assert_eq!(nth(&mut [5.0, 1.0, 3.0], 1), Some(3.0));
/// assert_eq!(nth(&mut [5.0], 1), None);
/// ```
pub fn nth(values: &mut [f64], place: usize) -> Option<f64> {
    (place < values.len()).then(|| *values.select_nth_unstable_by(place, f64::total_cmp).1)
}

/// The middle one of `values`, of an even count the upper one of the two in the middle: it is one of them. `None` where there are none.
/// Reorders them.
///
/// ```
/// use millpond_numbers::statistics::upper_median;
/// assert_eq!(upper_median(&mut [5.0, 1.0, 3.0, 9.0]), Some(5.0));
/// ```
pub fn upper_median(values: &mut [f64]) -> Option<f64> {
    nth(values, values.len() / 2)
}

/// The middle one of `values`, of an even count the mean of the two in the middle; `None` where there are none. Reorders them.
///
/// ```
/// use millpond_numbers::statistics::median;
/// assert_eq!(median(&mut [5.0, 1.0, 3.0, 9.0]), Some(4.0));
/// assert_eq!(median(&mut []), None);
/// ```
pub fn median(values: &mut [f64]) -> Option<f64> {
    let upper = upper_median(values)?;
    let lower = nth(values, (values.len() - 1) / 2)?;
    Some(f64::midpoint(lower, upper))
}

/// A number close to the standard normal distribution: twelve equal ones, added (Irwin and Hall).
pub fn normal(random: &mut Pcg64) -> f64 {
    (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// As many are below the median as above it.
        #[test]
        fn the_median_parts_them_in_halves(values in prop::collection::vec(-1e3..1e3_f64, 1..40)) {
            let middle = median(&mut values.clone()).expect("there are some");
            let below = values.iter().filter(|value| **value < middle).count();
            let above = values.iter().filter(|value| **value > middle).count();
            prop_assert!(2 * below <= values.len() && 2 * above <= values.len());
        }
    }
}
