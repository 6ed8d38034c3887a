//! Types that the value of a key can be read into, and what is said when it cannot.

use std::ops::RangeInclusive;

use toml::de::DeValue;

use super::limit::Limit;
use super::quantity::{self, Quantity, QuantityFault, parse_plain, show};
use super::unit::Dimension;
use crate::problem::quoted;
use crate::visible::hidden;

/// Why a value does not suit its key: what a [`Problem`](crate::problem::Problem) says, without the place.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Fault {
    pub(super) title: String,
    pub(super) expected: String,
    pub(super) cure: String,
}

/// A type that the value of a key can be read into.
pub(super) trait Read: Sized {
    /// What narrows the type to what the key allows.
    type Limit;

    /// An example as it stands in the file: in quotes, if the type wants them.
    fn written(example: &str) -> String;

    /// Reads the value of `key`; `example` goes into the cure.
    fn read(key: &str, value: &DeValue<'_>, limit: &Self::Limit, example: &str) -> Result<Self, Fault>;
}

impl<Q: Quantity> Read for Q {
    type Limit = Limit;

    fn written(example: &str) -> String {
        format!("\"{example}\"")
    }

    fn read(key: &str, value: &DeValue<'_>, limit: &Limit, example: &str) -> Result<Self, Fault> {
        let dimension = Q::DIMENSION;
        let expected = format!("{} with its unit, in quotes", dimension.name());
        let DeValue::String(text) = value else {
            let cure = match value {
                DeValue::Integer(_) | DeValue::Float(_) => bare(&number(value), dimension),
                _ => format!("write for example \"{example}\""),
            };
            return Err(Fault {
                title: format!("`{key}` is {}", kind(value)),
                expected,
                cure,
            });
        };
        let quantity = quantity::parse::<Q>(text)
            .map_err(|fault| quantity_fault(key, text, dimension, fault, example))?;
        if limit.holds(quantity) {
            return Ok(quantity);
        }
        let negative = quantity.in_base() < 0.0 && !limit.is_exceeded_by(quantity);
        let title = if negative && dimension != Dimension::Temperature {
            format!("`{key}` is negative: {}", quoted(text.trim()))
        } else {
            format!("`{key}` is out of range: {}", quoted(text.trim()))
        };
        let cure = format!("write for example \"{example}\"");
        Err(Fault {
            title,
            expected: limit.words(dimension),
            cure,
        })
    }
}

impl Read for u32 {
    type Limit = RangeInclusive<u32>;

    fn written(example: &str) -> String {
        example.to_string()
    }

    fn read(key: &str, value: &DeValue<'_>, limit: &Self::Limit, example: &str) -> Result<Self, Fault> {
        let expected = format!("a whole number from {} to {}", limit.start(), limit.end());
        let cure = format!("write for example {key} = {example}");
        let DeValue::Integer(integer) = value else {
            let cure = match value {
                DeValue::String(_) => {
                    format!("write the number without quotes, for example {key} = {example}")
                }
                _ => cure,
            };
            let title = match value {
                DeValue::Float(_) => format!("`{key}` is not a whole number: {}", quoted(&number(value))),
                _ => format!("`{key}` is {}", kind(value)),
            };
            return Err(Fault {
                title,
                expected,
                cure,
            });
        };
        let number = u32::from_str_radix(integer.as_str(), integer.radix()).ok();
        number.filter(|number| limit.contains(number)).ok_or_else(|| {
            let title = format!("`{key}` is out of range: {}", quoted(&integer.to_string()));
            Fault {
                title,
                expected,
                cure,
            }
        })
    }
}

impl Read for f64 {
    type Limit = RangeInclusive<f64>;

    fn written(example: &str) -> String {
        example.to_string()
    }

    fn read(key: &str, value: &DeValue<'_>, limit: &Self::Limit, example: &str) -> Result<Self, Fault> {
        let expected = format!("a number from {} to {}", limit.start(), limit.end());
        let cure = format!("write for example {key} = {example}");
        let parsed: Option<f64> = match value {
            DeValue::Integer(integer) => i64::from_str_radix(integer.as_str(), integer.radix())
                .ok()
                .map(|v| v as f64),
            DeValue::Float(float) => float.as_str().parse().ok(),
            _ => {
                return Err(Fault {
                    title: format!("`{key}` is {}", kind(value)),
                    expected,
                    cure,
                });
            }
        };
        parsed.filter(|number| limit.contains(number)).ok_or_else(|| {
            let title = format!("`{key}` is out of range: {}", quoted(&number(value)));
            Fault {
                title,
                expected,
                cure,
            }
        })
    }
}

impl Read for bool {
    type Limit = ();

    fn written(example: &str) -> String {
        example.to_string()
    }

    fn read(key: &str, value: &DeValue<'_>, _: &(), example: &str) -> Result<Self, Fault> {
        value.as_bool().ok_or_else(|| Fault {
            title: format!("`{key}` is {}", kind(value)),
            expected: "true or false".to_string(),
            cure: format!("write {key} = {example}, without quotes"),
        })
    }
}

impl Read for String {
    type Limit = ();

    fn written(example: &str) -> String {
        format!("\"{example}\"")
    }

    fn read(key: &str, value: &DeValue<'_>, _: &(), example: &str) -> Result<Self, Fault> {
        let text = value.as_str().ok_or_else(|| Fault {
            title: format!("`{key}` is {}", kind(value)),
            expected: "text, in quotes".to_string(),
            cure: format!("write for example {key} = \"{example}\""),
        })?;
        if hidden(text).is_some() {
            return Err(Fault {
                title: format!("`{key}` has a character that nobody sees: {}", quoted(text)),
                expected: "letters, digits, signs and spaces".to_string(),
                cure: "type it again: control characters, marks of direction and zero-width characters come along when text is copied"
                    .to_string(),
            });
        }
        Ok(text.to_string())
    }
}

/// What sort of value stands in the file, in words.
pub(super) fn kind(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a bare number",
        DeValue::Boolean(_) => "a truth value",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// The cure for a number without its unit. One between 0 and 1 for a percentage is most likely meant as a part of one.
fn bare(number: &str, dimension: Dimension) -> String {
    if dimension == Dimension::Ratio
        && let Ok(part) = parse_plain(number, 0)
        && let Ok(percent) = parse_plain(number, 2)
        && part > 0.0
        && part < 1.0
    {
        return format!(
            "write a part of one as a percentage, as text: \"{percent} %\"; {number} % would be written \"{number} %\""
        );
    }
    let (base, all) = (dimension.base_symbol(), dimension.units_in_words());
    let choice = if all == base {
        String::new()
    } else {
        format!(", or whichever it is of {all}")
    };
    format!("write the unit too, as text: \"{number} {base}\"{choice}")
}

/// The number of a text that ends in `m`, as minutes are often written.
fn minutes(text: &str) -> Option<&str> {
    let number = text.trim().strip_suffix('m')?.trim_end();
    parse_plain(number, 0).is_ok().then_some(number)
}

fn number(value: &DeValue<'_>) -> String {
    match value {
        DeValue::Integer(integer) => integer.to_string(),
        DeValue::Float(float) => float.to_string(),
        _ => String::new(),
    }
}

fn quantity_fault(key: &str, text: &str, dimension: Dimension, fault: QuantityFault, example: &str) -> Fault {
    let shown = quoted(text.trim());
    let units = dimension.units_in_words();
    let mut expected = match dimension {
        Dimension::Ratio => "a percentage with its % sign".to_string(),
        _ => format!("{} in {units}", dimension.name()),
    };
    let example_cure = format!("write for example \"{example}\"");
    let (title, cure) = match fault {
        QuantityFault::NoNumber if shown.is_empty() => (format!("`{key}` is empty"), example_cure),
        QuantityFault::NoNumber => (
            format!("`{key}` does not begin with a number: {shown}"),
            example_cure,
        ),
        QuantityFault::NoUnit => (
            format!("`{key}` has no unit: {shown}"),
            format!("write a unit ({units}), such as \"{example}\""),
        ),
        QuantityFault::Comma(corrected) => (
            format!("`{key}` has a comma in its number: {shown}"),
            format!(
                "decimals follow a point and thousands are not parted; if the comma is a decimal one, write \"{}\"",
                quoted(&corrected)
            ),
        ),
        QuantityFault::UnknownUnit(symbol, nearest) => (
            format!("`{key}` has an unknown unit: {}", quoted(&symbol)),
            match nearest {
                Some(known) => format!("did you mean \"{known}\"?"),
                None => format!("use one of {units}, such as \"{example}\""),
            },
        ),
        QuantityFault::OtherDimension(found) => (
            format!("`{key}` is given as {}: {shown}", found.name()),
            match (dimension, found) {
                (Dimension::Time, Dimension::Length) if minutes(text).is_some() => {
                    format!(
                        "minutes are min: write \"{} min\"",
                        minutes(text).unwrap_or_default()
                    )
                }
                (Dimension::Current, Dimension::Power) => {
                    format!("divide the power by the voltage and write a current, such as \"{example}\"")
                }
                (Dimension::Temperature, Dimension::Charge) => {
                    format!("write degrees Celsius as degC, such as \"{example}\"")
                }
                _ => example_cure,
            },
        ),
        QuantityFault::TooLarge => {
            expected = format!("at most {}", show(dimension, dimension.most()));
            let mega = shown
                .trim_end()
                .rsplit([' ', '0'])
                .next()
                .is_some_and(|unit| unit.starts_with('M'));
            let cure = if mega {
                format!("M stands for a million and m for a thousandth; write for example \"{example}\"")
            } else {
                example_cure
            };
            (format!("`{key}` is too large for any node: {shown}"), cure)
        }
        QuantityFault::TooSmall => (
            format!("`{key}` is too small to mean anything: {shown}"),
            example_cure,
        ),
    };
    Fault {
        title,
        expected,
        cure,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::*;
    use proptest::prelude::*;

    /// The fault of `value`, a line of a file without its key.
    fn fault<T: Read>(value: &str, limit: &T::Limit) -> Fault {
        let value = DeValue::parse(value).expect("a value of TOML");
        match T::read("key", value.get_ref(), limit, "7 %") {
            Ok(_) => panic!("{value:?} is read"),
            Err(fault) => fault,
        }
    }

    #[test]
    fn minutes_are_offered_for_metres() {
        let cure = |text| fault::<Time>(text, &Limit::POSITIVE).cure;
        assert_eq!(cure("\"1 m\""), "minutes are min: write \"1 min\"");
        assert_eq!(cure("\"1.5m\""), "minutes are min: write \"1.5 min\"");
        // Centimetres are no slip for minutes.
        assert!(!cure("\"1 cm\"").contains("min:"));
    }

    #[test]
    fn a_decimal_is_not_called_a_bare_number_where_a_bare_number_is_due() {
        let fault = fault::<u32>("3.0", &(1..=255));
        assert_eq!(fault.title, "`key` is not a whole number: 3.0");
    }

    proptest! {
        /// A bare part of one for a percentage: the text that is offered first reads as that part, to the last bit.
        #[test]
        fn a_part_of_one_is_offered_as_its_percentage(thousandths in 1u32..1000) {
            let part = f64::from(thousandths) / 1e3;
            let cure = fault::<Ratio>(&format!("{part}"), &Limit::PART).cure;
            let offered = cure.split('"').nth(1).expect("a text in quotes");
            prop_assert_eq!(quantity::parse::<Ratio>(offered), Ok(fraction(part)));
            prop_assert!(cure.ends_with(&format!("\"{part} %\"")), "{}", cure);
        }

        /// From one on it is taken as the percentage without its sign.
        #[test]
        fn a_number_above_one_is_offered_as_it_stands(percent in 2u32..100) {
            let cure = fault::<Ratio>(&format!("{percent}"), &Limit::PART).cure;
            prop_assert_eq!(cure, format!("write the unit too, as text: \"{percent} %\""));
        }
    }
}
