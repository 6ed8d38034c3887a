//! Quantities as people read them: four significant digits and an SI prefix.

use std::fmt;

use crate::units::*;

/// A quantity with the name of its unit, shown with an SI prefix: `2.916 V`, `185.3 ms`, `4.7 Mohm`.
///
/// ```
/// use millpond::{text::Engineering, units::*};
/// assert_eq!(Engineering(volts(2.9159), "V").to_string(), "2.916 V");
/// assert_eq!(Engineering(seconds(0.185344), "s").to_string(), "185.3 ms");
/// assert_eq!(Engineering(farads(1.0), "F").to_string(), "1 F");
/// assert_eq!(Engineering(seconds(7200.0), "s").to_string(), "2 h");
/// ```
pub struct Engineering<Q>(pub Q, pub &'static str);

/// How long something lasts, in words where nothing ends it.
pub fn lasting(time: Option<Time>) -> String {
    time.map_or_else(
        || "for ever".to_owned(),
        |time| Engineering(time, "s").to_string(),
    )
}

/// Significant digits shown.
const DIGITS: i32 = 4;
/// Prefixes by powers of a thousand, from 10^-15.
const PREFIXES: [&str; 9] = ["f", "p", "n", "u", "m", "", "k", "M", "G"];
/// Place of the empty prefix.
const UNITY: i32 = 5;

/// What [`Engineering`] can show: the number in the SI base unit.
pub trait InBaseUnit: Copy {
    /// The number in the SI base unit.
    fn base(self) -> f64;
}

macro_rules! in_base_unit {
    ($($quantity:ty: $unit:ident),* $(,)?) => {$(
        impl InBaseUnit for $quantity {
            fn base(self) -> f64 {
                self.get::<$unit>()
            }
        }
    )*};
}

in_base_unit! {
    Voltage: volt, Current: ampere, Capacitance: farad, Resistance: ohm, Energy: joule, Power: watt, Charge: coulomb,
    Time: second, Frequency: hertz, Area: square_meter,
    Illuminance: lux, Ratio: ratio, PowerDensity: watt_per_square_meter,
}

impl<Q: InBaseUnit> fmt::Display for Engineering<Q> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (value, unit) = in_larger_unit(self.0.base(), self.1);
        let text = with_unit(value, unit);
        f.pad(&text)
    }
}

/// A number of days in words.
///
/// ```
/// use millpond::text::in_days;
/// assert_eq!([in_days(1.0), in_days(0.5), in_days(365.0)], ["1 day", "0.5 days", "365 days"]);
/// ```
pub fn in_days(days: f64) -> String {
    format!("{days} {}", if days == 1.0 { "day" } else { "days" })
}

/// A voltage at the end of an axis (V), to the millivolt as logs have it: a bank moves by hundredths of a volt in an hour.
///
/// ```
/// assert_eq!(millpond::text::to_the_millivolt(3.9794), "3.979");
/// ```
pub fn to_the_millivolt(storage_v: f32) -> String {
    format!("{storage_v:.3}")
}

/// Bytes as a hash is written: two lower-case digits each.
///
/// ```
/// assert_eq!(millpond::text::hexadecimal(&[0, 0xab]), "00ab");
/// ```
pub fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A limit from above as [`Engineering`] shows it, rounded down: who takes the text by its word stays below the limit.
///
/// ```
/// use millpond::{text::at_most, units::*};
/// assert_eq!(at_most(volts(5.3 / 1.03), "V"), "5.145 V");
/// assert_eq!(at_most(volts(5.3), "V"), "5.3 V");
/// assert_eq!(at_most(seconds(100_000.0), "s"), "27.77 h");
/// ```
pub fn at_most<Q: InBaseUnit>(limit: Q, unit: &str) -> String {
    bounded(limit.base(), unit, -1.0)
}

/// A limit from below, rounded up.
///
/// ```
/// use millpond::{text::at_least, units::*};
/// assert_eq!(at_least(volts(3.60012), "V"), "3.601 V");
/// ```
pub fn at_least<Q: InBaseUnit>(limit: Q, unit: &str) -> String {
    bounded(limit.base(), unit, 1.0)
}

/// A number that stands for itself within this part is not moved by a digit: it is the rounding of a binary fraction.
const SAME: f64 = 1e-12;

/// Rounded to the shown digits, and by one more in the last where that went to the wrong side.
fn bounded(value: f64, unit: &str, side: f64) -> String {
    let (value, unit) = in_larger_unit(value, unit);
    let rounded = to_digits(value);
    let is_beyond = (value - rounded) * side > SAME * value.abs();
    if value == 0.0 || !is_beyond {
        return with_unit(rounded, unit);
    }
    let last_digit = 10f64.powi(libm::log10(rounded.abs()).floor() as i32 + 1 - DIGITS);
    with_unit(rounded + side * last_digit, unit)
}

/// Long times in minutes and hours.
fn in_larger_unit(value: f64, unit: &str) -> (f64, &str) {
    match unit {
        "s" if value >= 3600.0 => (value / 3600.0, "h"),
        "s" if value >= 300.0 => (value / 60.0, "min"),
        _ => (value, unit),
    }
}

/// Minutes and hours take no prefix.
fn with_unit(value: f64, unit: &str) -> String {
    match unit {
        "h" | "min" => format!("{} {unit}", significant(value)),
        _ => prefixed(value, unit),
    }
}

/// To the significant digits that are shown.
pub(crate) fn to_digits(value: f64) -> f64 {
    format!("{value:.*e}", (DIGITS - 1) as usize)
        .parse()
        .unwrap_or(value)
}

/// `value` with the prefix that leaves one to three digits before the point.
fn prefixed(value: f64, unit: &str) -> String {
    if value == 0.0 {
        return format!("0 {unit}");
    }
    // Rounded first, so that 999.96 m becomes 1 and not 1000 m.
    let rounded = to_digits(value);
    let thousands = (libm::log10(rounded.abs()) / 3.0 + 1e-12).floor() as i32;
    let place = (thousands + UNITY).clamp(0, PREFIXES.len() as i32 - 1);
    let scaled = rounded / 10f64.powi(3 * (place - UNITY));
    format!("{} {}{unit}", significant(scaled), PREFIXES[place as usize])
}

/// Four significant digits without trailing zeros.
fn significant(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let before = libm::log10(value.abs()).floor() as i32 + 1;
    let text = format!("{value:.*}", (DIGITS - before).clamp(0, 9) as usize);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Half a unit in the fourth digit, and rounding.
    const HALF_A_DIGIT: f64 = 0.5e-3 + 1e-9;

    #[test]
    fn carries_over_to_the_next_prefix() {
        assert_eq!(Engineering(volts(0.99996), "V").to_string(), "1 V");
        assert_eq!(Engineering(amperes(999.9e-6), "A").to_string(), "999.9 uA");
        assert_eq!(Engineering(ohms(4.7e6), "ohm").to_string(), "4.7 Mohm");
        assert_eq!(Engineering(volts(-0.0213), "V").to_string(), "-21.3 mV");
        assert_eq!(Engineering(amperes(0.0), "A").to_string(), "0 A");
        assert_eq!(Engineering(seconds(540.0), "s").to_string(), "9 min");
    }

    proptest! {
        /// A limit that is read back never stands on the wrong side, and is no farther away than its last digit.
        #[test]
        fn a_limit_is_kept_by_its_text(volts_above in 1e-3f64..900.0) {
            let read = |text: String| {
                let (number, unit) = text.split_once(' ').expect("a unit");
                number.parse::<f64>().expect("a number") * if unit == "mV" { 1e-3 } else { 1.0 }
            };
            let (low, high) = (read(at_most(volts(volts_above), "V")), read(at_least(volts(volts_above), "V")));
            let slack = 1e-11 * volts_above;
            prop_assert!(low <= volts_above + slack && high >= volts_above - slack);
            prop_assert!(high - low <= 1.001e-3 * volts_above + slack);
        }

        /// Read back, the text is the number to four digits.
        #[test]
        fn shows_four_digits(exponent in -14.0..9.0f64) {
            let value = 10f64.powf(exponent);
            let text = Engineering(volts(value), "V").to_string();
            let (number, unit) = text.split_once(' ').expect("a number and a unit");
            let place = PREFIXES.iter().position(|prefix| format!("{prefix}V") == unit).expect("a known prefix");
            let back = number.parse::<f64>().expect("a number") * 10f64.powi(3 * (place as i32 - UNITY));
            prop_assert!((back / value - 1.0).abs() <= HALF_A_DIGIT, "{text} {value}");
        }
    }
}
