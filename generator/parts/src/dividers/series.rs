//! Preferred values of resistors and capacitors: the series E3 to E192 of IEC 60063.
//!
//! E3 to E24 are a table that is older than the formula; E48 to E192 are 10^(k/n) rounded to three digits, with one value
//! that the standard has otherwise. The standard itself was not at hand: the values are held against public tables of it
//! in the tests.

use std::fmt;
use std::str::FromStr;

/// E24; E12, E6 and E3 are every second, fourth and eighth of it.
const E24: [f64; 24] = [
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8,
    7.5, 8.2, 9.1,
];
/// What the formula gives and what the standard has in its place, in hundredths.
const EXCEPTION: (f64, f64) = (919.0, 920.0);
/// Smallest resistor offered (ohm) and largest: what is made to a percent and bought everywhere (common practice, no source).
const LEAST_OHM: f64 = 10.0;
const MOST_OHM: f64 = 10e6;

/// Values this close to an end belong to a range: decimal numbers in binary.
const ROUNDING: f64 = 1e-9;

/// A series of preferred values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Series {
    /// 3 values in a factor of ten.
    E3,
    /// 6 values.
    E6,
    /// 12 values.
    E12,
    /// 24 values.
    E24,
    /// 48 values.
    E48,
    /// 96 values.
    E96,
    /// 192 values.
    E192,
}

impl Series {
    /// All of them, coarse to fine.
    pub const ALL: [Self; 7] = [
        Self::E3,
        Self::E6,
        Self::E12,
        Self::E24,
        Self::E48,
        Self::E96,
        Self::E192,
    ];

    /// How many values it has in a factor of ten.
    pub fn count(self) -> usize {
        match self {
            Self::E3 => 3,
            Self::E6 => 6,
            Self::E12 => 12,
            Self::E24 => 24,
            Self::E48 => 48,
            Self::E96 => 96,
            Self::E192 => 192,
        }
    }

    /// Its values from 1 to below 10, rising.
    ///
    /// ```
    /// use millpond_parts::dividers::series::Series;
    /// assert_eq!(Series::E6.decade(), [1.0, 1.5, 2.2, 3.3, 4.7, 6.8]);
    /// assert_eq!(Series::E96.decade()[1], 1.02);
    /// ```
    pub fn decade(self) -> Vec<f64> {
        let count = self.count();
        if count <= E24.len() {
            return E24.iter().step_by(E24.len() / count).copied().collect();
        }
        (0..count)
            .map(|at| {
                let hundredths = (100.0 * libm::exp10(at as f64 / count as f64)).round();
                (if hundredths == EXCEPTION.0 {
                    EXCEPTION.1
                } else {
                    hundredths
                }) / 100.0
            })
            .collect()
    }

    /// Its values from `low` to `high`, both above 0, rising.
    ///
    /// ```
    /// use millpond_parts::dividers::series::Series;
    /// assert_eq!(Series::E6.between(0.09, 0.5), [0.1, 0.15, 0.22, 0.33, 0.47]);
    /// ```
    pub fn between(self, low: f64, high: f64) -> Vec<f64> {
        let decade = self.decade();
        let exponents = libm::log10(low).floor() as i32 - 1..=libm::log10(high).ceil() as i32;
        exponents
            .flat_map(|exponent| {
                // Read as decimal, so that 0.22 is the number nearest to 0.22.
                let value = move |value: &f64| format!("{value}e{exponent}").parse::<f64>();
                decade
                    .iter()
                    .filter_map(move |of_decade| value(of_decade).ok())
                    .collect::<Vec<f64>>()
            })
            .filter(|value| *value >= low * (1.0 - ROUNDING) && *value <= high * (1.0 + ROUNDING))
            .collect()
    }

    /// Its resistors from 10 ohm to 10 Mohm, rising (ohm).
    pub fn resistors_ohm(self) -> Vec<f64> {
        let decade = self.decade();
        let mut values = Vec::new();
        let mut exponent = libm::log10(LEAST_OHM) as i32;
        loop {
            for value in &decade {
                // Three digits, so a whole number of hundredths times a power of ten: exact from 100 ohm on.
                let resistor = (value * 100.0).round() * 10f64.powi(exponent) / 100.0;
                if resistor > MOST_OHM {
                    return values;
                }
                values.push(resistor);
            }
            exponent += 1;
        }
    }
}

impl fmt::Display for Series {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "E{}", self.count())
    }
}

impl FromStr for Series {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wanted = text.trim().to_ascii_uppercase();
        let found = Self::ALL.into_iter().find(|series| series.to_string() == wanted);
        found.ok_or_else(|| "one of E3, E6, E12, E24, E48, E96, E192".to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

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

    /// E192 in hundredths, typed in from public tables of IEC 60063: the guide "Standard resistors values", and four
    /// independent listings that agree with it.
    #[rustfmt::skip]
    const E192: [u32; 192] = [
        100, 101, 102, 104, 105, 106, 107, 109, 110, 111, 113, 114, 115, 117, 118, 120, 121, 123, 124, 126, 127, 129, 130, 132,
        133, 135, 137, 138, 140, 142, 143, 145, 147, 149, 150, 152, 154, 156, 158, 160, 162, 164, 165, 167, 169, 172, 174, 176,
        178, 180, 182, 184, 187, 189, 191, 193, 196, 198, 200, 203, 205, 208, 210, 213, 215, 218, 221, 223, 226, 229, 232, 234,
        237, 240, 243, 246, 249, 252, 255, 258, 261, 264, 267, 271, 274, 277, 280, 284, 287, 291, 294, 298, 301, 305, 309, 312,
        316, 320, 324, 328, 332, 336, 340, 344, 348, 352, 357, 361, 365, 370, 374, 379, 383, 388, 392, 397, 402, 407, 412, 417,
        422, 427, 432, 437, 442, 448, 453, 459, 464, 470, 475, 481, 487, 493, 499, 505, 511, 517, 523, 530, 536, 542, 549, 556,
        562, 569, 576, 583, 590, 597, 604, 612, 619, 626, 634, 642, 649, 657, 665, 673, 681, 690, 698, 706, 715, 723, 732, 741,
        750, 759, 768, 777, 787, 796, 806, 816, 825, 835, 845, 856, 866, 876, 887, 898, 909, 920, 931, 942, 953, 965, 976, 988,
    ];
    /// E96 and E48 in hundredths, from the same guide.
    #[rustfmt::skip]
    const E96: [u32; 96] = [
        100, 102, 105, 107, 110, 113, 115, 118, 121, 124, 127, 130, 133, 137, 140, 143, 147, 150, 154, 158, 162, 165, 169, 174,
        178, 182, 187, 191, 196, 200, 205, 210, 215, 221, 226, 232, 237, 243, 249, 255, 261, 267, 274, 280, 287, 294, 301, 309,
        316, 324, 332, 340, 348, 357, 365, 374, 383, 392, 402, 412, 422, 432, 442, 453, 464, 475, 487, 499, 511, 523, 536, 549,
        562, 576, 590, 604, 619, 634, 649, 665, 681, 698, 715, 732, 750, 768, 787, 806, 825, 845, 866, 887, 909, 931, 953, 976,
    ];
    #[rustfmt::skip]
    const E48: [u32; 48] = [
        100, 105, 110, 115, 121, 127, 133, 140, 147, 154, 162, 169, 178, 187, 196, 205, 215, 226, 237, 249, 261, 274, 287, 301,
        316, 332, 348, 365, 383, 402, 422, 442, 464, 487, 511, 536, 562, 590, 619, 649, 681, 715, 750, 787, 825, 866, 909, 953,
    ];
    const OLD_E24: [u32; 24] = [
        100, 110, 120, 130, 150, 160, 180, 200, 220, 240, 270, 300, 330, 360, 390, 430, 470, 510, 560, 620,
        680, 750, 820, 910,
    ];
    const OLD_E12: [u32; 12] = [100, 120, 150, 180, 220, 270, 330, 390, 470, 560, 680, 820];

    fn hundredths(series: Series) -> Vec<u32> {
        series
            .decade()
            .iter()
            .map(|value| (value * 100.0).round() as u32)
            .collect()
    }

    #[test]
    fn every_series_is_that_of_the_standard() {
        assert_eq!(hundredths(Series::E192), E192);
        assert_eq!(hundredths(Series::E96), E96);
        assert_eq!(hundredths(Series::E48), E48);
        assert_eq!(hundredths(Series::E24), OLD_E24);
        assert_eq!(hundredths(Series::E12), OLD_E12);
        assert_eq!(hundredths(Series::E6), [100, 150, 220, 330, 470, 680]);
        assert_eq!(hundredths(Series::E3), [100, 220, 470]);
    }

    /// Each finer series of the same family has all of the coarser one.
    #[test]
    fn a_finer_series_has_the_coarser_one() {
        for pair in [Series::E48, Series::E96, Series::E192]
            .windows(2)
            .chain(Series::ALL[..4].windows(2))
        {
            let finer = hundredths(pair[1]);
            assert!(
                hundredths(pair[0]).iter().all(|value| finer.contains(value)),
                "{pair:?}"
            );
        }
    }

    #[test]
    fn resistors_run_over_six_decades_without_a_rounding_error() {
        let values = Series::E96.resistors_ohm();
        assert_eq!(values.len(), 6 * 96 + 1);
        assert_eq!((values[0], values[576]), (10.0, 10e6));
        assert!(values.is_sorted_by(|a, b| a < b));
        assert!(values.contains(&10.2) && values.contains(&97.6e3) && values.contains(&4.99e6));
    }

    #[test]
    fn names_are_read_in_either_case() {
        assert_eq!("e24".parse(), Ok(Series::E24));
        assert!("E25".parse::<Series>().is_err());
    }
}
