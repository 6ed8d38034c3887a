//! From the text of a quantity, such as "470 mF", to a typed number.
//!
//! The power of ten of prefix and unit is folded into the exponent of the decimal digits before they become a
//! binary number, so "470 mF" is the number nearest to 0.47 and not 470 times the number nearest to 0.001.

use super::unit::{self, Dimension};
use crate::units::*;

/// Largest plain number taken, in base units: the largest of all [`Dimension::most`].
const MOST_BASE_UNITS: f64 = 1e12;

/// Smallest number other than zero that is taken, in base units: below what any instrument resolves.
const LEAST_BASE_UNITS: f64 = 1e-18;

/// A type that a text with a unit can be read into.
pub trait Quantity: Copy {
    /// What it measures.
    const DIMENSION: Dimension;
    /// From a number of base units (degrees Celsius for temperatures, 1 for ratios).
    fn from_base(value: f64) -> Self;
    /// To a number of base units.
    fn in_base(self) -> f64;
}

macro_rules! quantities {
    ($($quantity:ident in $unit:ident),* $(,)?) => {$(
        impl Quantity for $quantity {
            const DIMENSION: Dimension = Dimension::$quantity;
            fn from_base(value: f64) -> Self { $quantity::new::<$unit>(value) }
            fn in_base(self) -> f64 { self.get::<$unit>() }
        }
    )*};
}

quantities! {
    Voltage in volt,
    Current in ampere,
    Capacitance in farad,
    Resistance in ohm,
    Power in watt,
    PowerDensity in watt_per_square_meter,
    Area in square_meter,
    Length in meter,
    Illuminance in lux,
    Frequency in hertz,
    Time in second,
    Temperature in degree_celsius,
    Ratio in ratio,
}

impl Quantity for CapacitanceSlope {
    const DIMENSION: Dimension = Dimension::CapacitanceSlope;
    fn from_base(value: f64) -> Self {
        farads_per_volt(value)
    }
    fn in_base(self) -> f64 {
        (self * volts(1.0)).get::<farad>()
    }
}

/// Why a text is not a quantity of the wanted dimension.
#[derive(Clone, Debug, PartialEq)]
pub enum QuantityFault {
    /// The text does not begin with a number.
    NoNumber,
    /// A number alone.
    NoUnit,
    /// A comma among the digits; holds the text with a point in its place.
    Comma(String),
    /// The unit is not known; holds a known one that looks alike.
    UnknownUnit(String, Option<String>),
    /// The unit measures something else.
    OtherDimension(Dimension),
    /// Not a finite number, or larger than any node needs.
    TooLarge,
    /// Not zero, but smaller than anything that can be measured.
    TooSmall,
}

/// Reads a quantity from text.
///
/// ```
/// use millpond_node::node::quantity::parse;
/// use millpond_numbers::units::*;
/// assert_eq!(parse::<Capacitance>("470 mF"), Ok(farads(0.47)));
/// assert_eq!(parse::<Time>("1.5 min"), Ok(seconds(90.0)));
/// assert!(parse::<Voltage>("3 mA").is_err());
/// ```
///
/// # Errors
///
/// Says in which way the text is not a quantity of this dimension; see [`QuantityFault`].
pub fn parse<Q: Quantity>(text: &str) -> Result<Q, QuantityFault> {
    let text = text.trim();
    let (number, rest) = split_number(text).ok_or(QuantityFault::NoNumber)?;
    let symbol = rest.trim();
    if symbol.starts_with(',') || (symbol.starts_with('.') && symbol.contains(',')) {
        return Err(QuantityFault::Comma(without_comma(text)));
    }
    if symbol.is_empty() {
        return Err(QuantityFault::NoUnit);
    }
    let Some((unit, prefix_exponent)) = unit::find(symbol) else {
        return Err(QuantityFault::UnknownUnit(
            symbol.to_string(),
            unit::nearest(symbol, Q::DIMENSION),
        ));
    };
    if unit.dimension != Q::DIMENSION {
        return Err(QuantityFault::OtherDimension(unit.dimension));
    }
    let value = scaled(&number, unit.exponent + prefix_exponent)? * unit.factor;
    if value.abs() > Q::DIMENSION.most() {
        Err(QuantityFault::TooLarge)
    } else {
        Ok(Q::from_base(value))
    }
}

/// The text of a quantity with its number times `factor`: the unit stays as it is written. `None` where the text is no quantity, where
/// its zero is a convention (a temperature), and for nothing, which no factor changes.
pub fn times(text: &str, factor: f64) -> Option<String> {
    scalable(text).map(|(number, unit)| format!("{} {unit}", number * factor))
}

/// The number and the unit of a text that [`times`] takes, as they are written.
pub fn scalable(text: &str) -> Option<(f64, &str)> {
    let (number, rest) = split_number(text.trim())?;
    let symbol = rest.trim();
    let (unit, _) = unit::find(symbol)?;
    // The limits are those of the quantity, which a prefix brings back from any number.
    let value = number.nearest(0)?;
    let is_scalable = value.is_finite() && value != 0.0;
    (is_scalable && unit.dimension != Dimension::Temperature).then_some((value, symbol))
}

/// Reads a number without a unit and multiplies it by a power of ten, exactly to the last digit.
pub(super) fn parse_plain(text: &str, exponent: i32) -> Result<f64, QuantityFault> {
    match split_number(text.trim()) {
        Some((number, "")) => scaled(&number, exponent),
        Some((_, rest)) if rest.starts_with(',') => Err(QuantityFault::Comma(without_comma(text.trim()))),
        _ => Err(QuantityFault::NoNumber),
    }
}

/// The text with its decimal comma made a point: the last of the marks is the decimal one, the others part
/// thousands.
fn without_comma(text: &str) -> String {
    let decimal = text.rfind([',', '.']).unwrap_or(text.len());
    let keep = |(at, c): (usize, char)| match c {
        ',' | '.' if at == decimal => Some('.'),
        ',' | '.' => None,
        other => Some(other),
    };
    text.char_indices().filter_map(keep).collect()
}

/// A decimal number taken apart: sign and digits, and the power of ten that followed an `e`.
struct Decimal {
    digits: String,
    exponent: i32,
}

impl Decimal {
    /// The number nearest to the digits times a power of ten, without limits.
    fn nearest(&self, exponent: i32) -> Option<f64> {
        let power = self.exponent.saturating_add(exponent);
        format!("{}e{power}", self.digits).parse().ok()
    }
}

/// Splits the longest decimal number off the front of a text.
fn split_number(text: &str) -> Option<(Decimal, &str)> {
    let mut digits = String::new();
    let mut rest = text;
    // U+2212 is the minus sign that data sheets and word processors write.
    if let Some(unsigned) = rest.strip_prefix(['-', '\u{2212}']) {
        digits.push('-');
        rest = unsigned;
    } else if let Some(unsigned) = rest.strip_prefix('+') {
        rest = unsigned;
    }
    let whole = rest.len() - rest.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    digits.push_str(&rest[..whole]);
    rest = &rest[whole..];
    let mut count = whole;
    if let Some(decimals) = rest.strip_prefix('.') {
        let length = decimals.len() - decimals.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        digits.push('.');
        digits.push_str(&decimals[..length]);
        rest = &decimals[length..];
        count += length;
    }
    if count == 0 {
        return None;
    }
    let mut exponent = 0;
    if let Some(power) = rest.strip_prefix(['e', 'E']) {
        let unsigned = power.strip_prefix(['-', '+']).unwrap_or(power);
        let length = unsigned.len() - unsigned.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        if length > 0 {
            let end = power.len() - unsigned.len() + length;
            // A power that does not fit is far outside every limit on the same side.
            let outermost = if power.starts_with('-') {
                i32::MIN / 2
            } else {
                i32::MAX / 2
            };
            exponent = power[..end].parse().unwrap_or(outermost);
            rest = &power[end..];
        }
    }
    Some((Decimal { digits, exponent }, rest))
}

/// The number nearest to the digits times a power of ten.
fn scaled(number: &Decimal, exponent: i32) -> Result<f64, QuantityFault> {
    let value = number.nearest(exponent).ok_or(QuantityFault::NoNumber)?;
    let written_as_zero = !number.digits.contains(|c: char| ('1'..='9').contains(&c));
    if value.abs() > MOST_BASE_UNITS {
        Err(QuantityFault::TooLarge)
    } else if value.abs() < LEAST_BASE_UNITS && !written_as_zero {
        Err(QuantityFault::TooSmall)
    } else {
        Ok(value)
    }
}

/// A number of base units as a node file would write it, to five significant digits: for messages.
pub(super) fn show(dimension: Dimension, value: f64) -> String {
    let (scale, symbol) = match dimension {
        Dimension::Ratio => (0.01, "%".to_string()),
        Dimension::Temperature => (1.0, "degC".to_string()),
        Dimension::Area => (1e-4, "cm2".to_string()),
        Dimension::Time if value >= 172_800.0 && value % 86_400.0 == 0.0 => (86_400.0, "d".to_string()),
        Dimension::Time if value >= 3_600.0 && value % 3_600.0 == 0.0 => (3_600.0, "h".to_string()),
        _ => {
            let prefixes = [("", 1.0), ("m", 1e-3), ("u", 1e-6), ("n", 1e-9), ("p", 1e-12)];
            let large = [("G", 1e9), ("M", 1e6), ("k", 1e3)];
            let plain = matches!(dimension, Dimension::Time);
            let above = large
                .iter()
                .filter(|_| !plain)
                .find(|(_, scale)| value.abs() >= *scale);
            let below = prefixes.iter().find(|(_, scale)| value.abs() >= *scale);
            let (prefix, scale) = *above.or(below).unwrap_or(&("", 1.0));
            (scale, format!("{prefix}{}", dimension.base_symbol()))
        }
    };
    format!("{} {symbol}", significant(value / scale))
}

/// At most five significant digits, no trailing zeros, never in exponent form.
fn significant(value: f64) -> String {
    let rounded: f64 = format!("{value:.4e}").parse().unwrap_or(value);
    format!("{rounded}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn base<Q: Quantity>(text: &str) -> f64 {
        parse::<Q>(text)
            .unwrap_or_else(|fault| panic!("{text}: {fault:?}"))
            .in_base()
    }

    #[test]
    fn decimals_are_exact() {
        assert_eq!(base::<Capacitance>("470 mF"), 0.47);
        assert_eq!(base::<Resistance>("150 mohm"), 0.15);
        assert_eq!(base::<Resistance>("4.7 Mohm"), 4_700_000.0);
        assert_eq!(base::<Current>("0.6 uA"), 0.6e-6);
        assert_eq!(base::<Ratio>("20 %"), 0.2);
        assert_eq!(base::<Ratio>("0.5%"), 0.005);
        assert_eq!(base::<Area>("30 cm2"), 0.003);
        assert_eq!(base::<PowerDensity>("6 uW/cm2"), 0.06);
        assert_eq!(base::<Time>("1.5 min"), 90.0);
        assert_eq!(base::<Time>("16 h"), 57_600.0);
        assert_eq!(base::<Time>("1 d"), 86_400.0);
        assert_eq!(base::<Frequency>("125 kHz"), 125_000.0);
        assert_eq!(base::<Illuminance>("200 lx"), 200.0);
        assert_eq!(base::<CapacitanceSlope>("3 F/V"), 3.0);
        assert_eq!(base::<Voltage>("1e3 mV"), 1.0);
    }

    #[test]
    fn temperatures_are_degrees_celsius() {
        assert_eq!(parse::<Temperature>("-10 degC"), Ok(degrees_celsius(-10.0)));
        assert_eq!(parse::<Temperature>("\u{2212}10 °C"), Ok(degrees_celsius(-10.0)));
    }

    #[test]
    fn spellings_of_one_unit_agree() {
        for text in [
            "4 uA",
            "4 \u{b5}A",
            "4 \u{3bc}A",
            "4uA",
            "4\u{a0}uA",
            "+4 uA",
            "4.0 uA",
            "0.004 mA",
        ] {
            assert_eq!(base::<Current>(text), 4e-6, "{text}");
        }
        for text in ["4.7 Mohm", "4.7 M\u{3a9}", "4.7 M\u{2126}", "4700 kohm"] {
            assert_eq!(base::<Resistance>(text), 4.7e6, "{text}");
        }
        for text in ["30 cm2", "30 cm²", "30 cm^2"] {
            assert_eq!(base::<Area>(text), 0.003, "{text}");
        }
    }

    #[test]
    fn faults_are_told_apart() {
        use QuantityFault::*;
        let fault = |text| parse::<Capacitance>(text).expect_err(text);
        assert_eq!(fault(""), NoNumber);
        assert_eq!(fault("much"), NoNumber);
        assert_eq!(fault("NaN F"), NoNumber);
        assert_eq!(fault("inf F"), NoNumber);
        assert_eq!(fault("-. F"), NoNumber);
        assert_eq!(fault("470"), NoUnit);
        assert_eq!(fault("4,7 mF"), Comma("4.7 mF".into()));
        assert_eq!(fault("1.000,5 mF"), Comma("1000.5 mF".into()));
        assert_eq!(fault("1,000.5 mF"), Comma("1000.5 mF".into()));
        assert_eq!(fault("470 mf"), UnknownUnit("mf".into(), Some("mF".into())));
        assert_eq!(fault("470 furlong"), UnknownUnit("furlong".into(), None));
        assert_eq!(fault("5 V"), OtherDimension(Dimension::Voltage));
        assert_eq!(fault("5 J"), OtherDimension(Dimension::Energy));
        assert_eq!(fault("470 MF"), TooLarge);
        assert_eq!(fault("1e400 F"), TooLarge);
        assert_eq!(fault("1e99999999999999999999 F"), TooLarge);
        assert_eq!(fault("1e-400 F"), TooSmall);
        assert_eq!(fault("1e-99999999999999999999 F"), TooSmall);
        assert_eq!(parse::<Capacitance>("0 F"), Ok(farads(0.0)));
    }

    #[test]
    fn messages_show_short_numbers() {
        assert_eq!(show(Dimension::Voltage, 5.5), "5.5 V");
        assert_eq!(show(Dimension::Voltage, 0.0123456), "12.346 mV");
        assert_eq!(show(Dimension::Ratio, 0.5), "50 %");
        assert_eq!(show(Dimension::Resistance, 4.7e6), "4.7 Mohm");
        assert_eq!(show(Dimension::Time, 65_535.0), "65535 s");
        assert_eq!(show(Dimension::Time, 31_536_000.0), "365 d");
        assert_eq!(show(Dimension::Temperature, -273.15), "-273.15 degC");
        assert_eq!(show(Dimension::Time, 1.0), "1 s");
        assert_eq!(show(Dimension::Current, 0.0), "0 A");
    }

    proptest! {
        #[test]
        fn a_number_survives_being_written(value in 1e-15f64..1e11) {
            prop_assert_eq!(parse::<Resistance>(&format!("{value} ohm")), Ok(ohms(value)));
            prop_assert_eq!(parse::<Resistance>(&format!("{value:e}ohm")), Ok(ohms(value)));
        }

        /// Division by a power of ten is rounded correctly, as reading a decimal is: the two must be equal.
        #[test]
        fn a_prefix_is_a_correctly_rounded_power_of_ten(count in 0u32..10_000_000) {
            prop_assert_eq!(base::<Capacitance>(&format!("{count} mF")), f64::from(count) / 1e3);
            prop_assert_eq!(base::<Current>(&format!("{count} uA")), f64::from(count) / 1e6);
            prop_assert_eq!(base::<Current>(&format!("{count} nA")), f64::from(count) / 1e9);
            prop_assert_eq!(base::<Ratio>(&format!("{} %", count % 100_000)), f64::from(count % 100_000) / 1e2);
            prop_assert_eq!(base::<Time>(&format!("{count} min")), f64::from(count) * 60.0);
        }

        #[test]
        fn any_text_is_answered(text in "\\PC*|[-+0-9eE.,]{0,12} ?[a-zA-Z%/2]{0,4}") {
            if let Ok(value) = parse::<Voltage>(&text) {
                prop_assert!(value.in_base().is_finite());
            }
        }
    }
}
