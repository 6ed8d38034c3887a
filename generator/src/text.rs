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
        let text = match (self.1, self.0.base()) {
            ("s", time_s) if time_s >= 3600.0 => format!("{} h", significant(time_s / 3600.0)),
            ("s", time_s) if time_s >= 300.0 => format!("{} min", significant(time_s / 60.0)),
            (unit, value) => prefixed(value, unit),
        };
        f.pad(&text)
    }
}

/// `value` with the prefix that leaves one to three digits before the point.
fn prefixed(value: f64, unit: &str) -> String {
    if value == 0.0 {
        return format!("0 {unit}");
    }
    // Rounded first, so that 999.96 m becomes 1 and not 1000 m.
    let rounded: f64 = format!("{value:.*e}", (DIGITS - 1) as usize)
        .parse()
        .unwrap_or(value);
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
        /// Read back, the text is the number to four digits.
        #[test]
        fn shows_four_digits(exponent in -14.0..9.0f64) {
            let value = 10f64.powf(exponent);
            let text = Engineering(volts(value), "V").to_string();
            let (number, unit) = text.split_once(' ').expect("a number and a unit");
            let place = PREFIXES.iter().position(|prefix| format!("{prefix}V") == unit).expect("a known prefix");
            let back = number.parse::<f64>().expect("a number") * 10f64.powi(3 * (place as i32 - UNITY));
            // Half a unit in the fourth digit.
            prop_assert!((back / value - 1.0).abs() <= 0.5e-3 + 1e-9, "{text} {value}");
        }
    }
}
