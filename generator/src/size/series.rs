//! Preferred values (IEC 60063): the values of a decade that parts are made in.

/// A series of preferred values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Series {
    /// Six values a decade.
    E6,
    /// Twelve.
    E12,
    /// Twenty-four.
    E24,
}

/// The values of one decade (IEC 60063:2015, table 1), times ten.
const E24: [u32; 24] = [
    10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91,
];
/// Values this close to an end belong to the range: decimal numbers in binary.
const ROUNDING: f64 = 1e-9;

impl Series {
    fn step(self) -> usize {
        match self {
            Self::E6 => 4,
            Self::E12 => 2,
            Self::E24 => 1,
        }
    }

    /// The values from `low` to `high`, both above 0, in rising order.
    ///
    /// ```
    /// use millpond::size::series::Series;
    /// assert_eq!(Series::E6.between(0.09, 0.5), [0.1, 0.15, 0.22, 0.33, 0.47]);
    /// ```
    pub fn between(self, low: f64, high: f64) -> Vec<f64> {
        let decades = low.log10().floor() as i32 - 1..=high.log10().ceil() as i32;
        decades
            .flat_map(|decade| {
                E24.iter().step_by(self.step()).map(move |value| {
                    // Read as decimal, so that 0.22 is the number nearest to 0.22.
                    format!("{value}e{}", decade - 1)
                        .parse::<f64>()
                        .unwrap_or_default()
                })
            })
            .filter(|value| *value >= low * (1.0 - ROUNDING) && *value <= high * (1.0 + ROUNDING))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Published: IEC 60063:2015, table 1, E6 and E12.
    #[test]
    fn a_decade_is_that_of_the_standard() {
        assert_eq!(Series::E6.between(1.0, 9.9), [1.0, 1.5, 2.2, 3.3, 4.7, 6.8]);
        assert_eq!(
            Series::E12.between(1.0, 9.9),
            [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2]
        );
        assert_eq!(Series::E24.between(1.0, 9.9).len(), 24);
    }

    proptest! {
        /// In order, in the range, and next to either end there is no value left out.
        #[test]
        fn all_values_of_the_range_are_there(low in 1e-6..10.0f64, factor in 1.0..1000.0f64) {
            let values = Series::E12.between(low, low * factor);
            prop_assert!(values.windows(2).all(|pair| pair[0] < pair[1]));
            prop_assert!(values.iter().all(|value| *value >= low * 0.999 && *value <= low * factor * 1.001));
            // Twelve a decade: one more or less at the ends.
            let wanted = 12.0 * factor.log10();
            prop_assert!((values.len() as f64 - wanted).abs() <= 1.5, "{} {wanted}", values.len());
        }
    }
}
