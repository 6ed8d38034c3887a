//! How the value of an option is read, and what is said of one that cannot be.

use std::ops::RangeInclusive;

use millpond::income::light::Light;
use millpond::node::quantity::{Quantity, parse};
use millpond::units::*;

/// More amperes or volts than this are a slip of the prefix.
const MOST_BASE_UNITS: f64 = 1e3;

/// From one quantity to another.
#[derive(Clone, Copy)]
pub(crate) struct Range<Q> {
    pub(crate) low: Q,
    pub(crate) high: Q,
}

impl<Q: Quantity> Range<Q> {
    /// Whether it lies between the two, ends included.
    pub(crate) fn holds(&self, quantity: Q) -> bool {
        (self.low.in_base()..=self.high.in_base()).contains(&quantity.in_base())
    }
}

/// Sizes of a source.
#[derive(Clone, Copy)]
pub(crate) enum SourceRange {
    Area(Range<Area>),
    Times(Range<f64>),
}

/// A quantity above 0 with its unit, or a plain number of base units.
pub(super) fn quantity<Q: Quantity>(text: &str) -> Result<Q, String> {
    let read = text
        .trim()
        .parse::<f64>()
        .map_or_else(|_| parse::<Q>(text), |number| Ok(Q::from_base(number)));
    match read {
        Ok(quantity) if quantity.in_base() > 0.0 && quantity.in_base() <= MOST_BASE_UNITS => Ok(quantity),
        _ => Err(format!(
            "{} above 0, at most {MOST_BASE_UNITS} in the base unit, with its unit",
            Q::DIMENSION.name()
        )),
    }
}

/// Two ends with dots between, or one value that is both.
fn ends(text: &str) -> (&str, &str) {
    text.split_once("..").unwrap_or((text, text))
}

/// Quantities above 0, the second not below the first.
pub(super) fn range<Q: Quantity>(text: &str) -> Result<Range<Q>, String> {
    let (low, high) = ends(text);
    match (parse::<Q>(low), parse::<Q>(high)) {
        (Ok(low), Ok(high)) if low.in_base() > 0.0 && high.in_base() >= low.in_base() => {
            Ok(Range { low, high })
        }
        _ => Err(format!(
            "{} above 0 with its unit, or two of them from low to high with .. between",
            Q::DIMENSION.name()
        )),
    }
}

/// Areas, or plain factors.
pub(super) fn source_range(text: &str) -> Result<SourceRange, String> {
    let (low, high) = ends(text);
    match (low.trim().parse::<f64>(), high.trim().parse::<f64>()) {
        (Ok(low), Ok(high)) if low > 0.0 && high >= low && high <= MOST_BASE_UNITS => {
            Ok(SourceRange::Times(Range { low, high }))
        }
        (Err(_), Err(_)) => range(text).map(SourceRange::Area),
        _ => Err("two factors above 0 from low to high, such as 0.5..2".to_owned()),
    }
}

/// Light in any terms.
pub(super) fn light(text: &str) -> Result<Light, String> {
    Light::read(text)
        .ok_or_else(|| "a power, an irradiance or an illuminance with its unit, such as 200 lx".to_owned())
}

/// A number of days that a run can have.
pub(super) fn days(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(days) if days > 0.0 && days <= 36_525.0 => Ok(days),
        _ => Err("a number of days above 0, at most 36525".to_owned()),
    }
}

/// A seed of random numbers.
pub(super) fn seed(text: &str) -> Result<u64, String> {
    text.parse()
        .map_err(|_| format!("a whole number from 0 to {}", u64::MAX))
}

/// How many random units.
pub(super) fn parts(text: &str) -> Result<u32, String> {
    whole(text, 0..=u32::MAX)
}

/// How many rows of a table.
pub(super) fn rows(text: &str) -> Result<u32, String> {
    whole(text, 1..=1000)
}

fn whole(text: &str, range: RangeInclusive<u32>) -> Result<u32, String> {
    match text.parse() {
        Ok(number) if range.contains(&number) => Ok(number),
        _ => Err(format!(
            "a whole number from {} to {}",
            range.start(),
            range.end()
        )),
    }
}

/// A part of a parameter that it can be known to.
pub(super) fn percent(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(percent) if percent > 0.0 && percent <= 100.0 => Ok(percent),
        _ => Err("a number of percent above 0, at most 100".to_owned()),
    }
}

/// A number of years.
pub(super) fn years(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(years) if years > 0.0 && years <= 1000.0 => Ok(years),
        _ => Err("a number of years above 0, at most 1000".to_owned()),
    }
}

/// A time of endurance.
pub(super) fn endurance(text: &str) -> Result<Time, String> {
    match parse::<Time>(text) {
        Ok(time) if time > seconds(0.0) => Ok(time),
        _ => Err("a time above 0 with its unit, such as \"1000 h\"".to_owned()),
    }
}

/// A temperature that a capacitor can have.
pub(super) fn temperature(text: &str) -> Result<Temperature, String> {
    match parse::<Temperature>(text) {
        Ok(temperature)
            if temperature >= degrees_celsius(-100.0) && temperature <= degrees_celsius(300.0) =>
        {
            Ok(temperature)
        }
        _ => Err("a temperature from -100 degC to 300 degC, such as \"25 degC\"".to_owned()),
    }
}

/// A tolerance of resistors.
pub(super) fn tolerance(text: &str) -> Result<Ratio, String> {
    match parse::<Ratio>(text) {
        Ok(part) if part >= fraction(0.0) && part <= fraction(0.2) => Ok(part),
        _ => Err("a percentage from 0 % to 20 %, with its % sign".to_owned()),
    }
}
