//! The units a node file may use, each with its dimension and size in the SI base unit.
//!
//! Prefixes and units: BIPM, The International System of Units, 9th edition (2019), tables 2, 4, 7 and 8.

/// What kind of quantity a unit measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Dimension {
    /// Electric potential difference, in volts.
    Voltage,
    /// Electric current, in amperes.
    Current,
    /// Capacitance, in farads.
    Capacitance,
    /// Rise of capacitance with voltage, in farads per volt.
    CapacitanceSlope,
    /// Electrical resistance, in ohms.
    Resistance,
    /// Power, in watts.
    Power,
    /// Power on an area, in watts per square metre.
    PowerDensity,
    /// Area, in square metres.
    Area,
    /// Illuminance, in lux.
    Illuminance,
    /// Frequency, in hertz.
    Frequency,
    /// Time, in seconds.
    Time,
    /// Temperature, in degrees Celsius.
    Temperature,
    /// A fraction; written as a percentage.
    Ratio,
    /// Energy: no key takes one, but it is recognised where another quantity is due.
    Energy,
    /// Electric charge: no key takes one, but it is recognised where another quantity is due.
    Charge,
    /// Length; a node file has none, a catalogue has heights.
    Length,
}

/// A unit symbol and its size: one of it is `factor · 10^exponent` of the base unit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Unit {
    /// Symbol without prefix.
    pub(super) symbol: &'static str,
    /// What it measures.
    pub(super) dimension: Dimension,
    /// Power of ten, folded into the digits before they become a binary number.
    pub(super) exponent: i32,
    /// What is left when the power of ten is taken out: a whole number.
    pub(super) factor: f64,
    /// Whether an SI prefix may stand before it.
    pub(super) prefixed: bool,
}

/// SI prefixes that a node file may use: symbol and power of ten. The first of each size is the one shown.
pub(super) const PREFIXES: [(&str, i32); 9] = [
    ("p", -12),
    ("n", -9),
    ("u", -6),
    ("\u{b5}", -6),
    ("\u{3bc}", -6),
    ("m", -3),
    ("k", 3),
    ("M", 6),
    ("G", 9),
];

/// All units; spellings with a raised two or an ohm sign are brought to these by [`find`].
pub(super) const UNITS: [Unit; 29] = [
    plain("%", Dimension::Ratio, -2),
    plain("degC", Dimension::Temperature, 0),
    plain("°C", Dimension::Temperature, 0),
    plain("℃", Dimension::Temperature, 0),
    prefixed("V", Dimension::Voltage, 0),
    prefixed("A", Dimension::Current, 0),
    prefixed("F", Dimension::Capacitance, 0),
    prefixed("F/V", Dimension::CapacitanceSlope, 0),
    prefixed("ohm", Dimension::Resistance, 0),
    prefixed("W", Dimension::Power, 0),
    prefixed("W/m2", Dimension::PowerDensity, 0),
    prefixed("W/cm2", Dimension::PowerDensity, 4),
    plain("m2", Dimension::Area, 0),
    plain("dm2", Dimension::Area, -2),
    plain("cm2", Dimension::Area, -4),
    plain("mm2", Dimension::Area, -6),
    prefixed("lx", Dimension::Illuminance, 0),
    prefixed("Hz", Dimension::Frequency, 0),
    prefixed("s", Dimension::Time, 0),
    multiple("min", Dimension::Time, 60.0),
    multiple("h", Dimension::Time, 3_600.0),
    multiple("d", Dimension::Time, 86_400.0),
    prefixed("J", Dimension::Energy, 0),
    Unit {
        prefixed: true,
        ..multiple("Wh", Dimension::Energy, 3_600.0)
    },
    prefixed("C", Dimension::Charge, 0),
    Unit {
        prefixed: true,
        ..multiple("Ah", Dimension::Charge, 3_600.0)
    },
    plain("m", Dimension::Length, 0),
    plain("cm", Dimension::Length, -2),
    plain("mm", Dimension::Length, -3),
];

const fn plain(symbol: &'static str, dimension: Dimension, exponent: i32) -> Unit {
    Unit {
        symbol,
        dimension,
        exponent,
        factor: 1.0,
        prefixed: false,
    }
}

const fn prefixed(symbol: &'static str, dimension: Dimension, exponent: i32) -> Unit {
    Unit {
        symbol,
        dimension,
        exponent,
        factor: 1.0,
        prefixed: true,
    }
}

const fn multiple(symbol: &'static str, dimension: Dimension, factor: f64) -> Unit {
    Unit {
        symbol,
        dimension,
        exponent: 0,
        factor,
        prefixed: false,
    }
}

impl Dimension {
    /// The dimension in words, with its article.
    pub fn name(self) -> &'static str {
        match self {
            Dimension::Voltage => "a voltage",
            Dimension::Current => "a current",
            Dimension::Capacitance => "a capacitance",
            Dimension::CapacitanceSlope => "a rise of capacitance with voltage",
            Dimension::Resistance => "a resistance",
            Dimension::Power => "a power",
            Dimension::PowerDensity => "a power per area",
            Dimension::Area => "an area",
            Dimension::Illuminance => "an illuminance",
            Dimension::Frequency => "a frequency",
            Dimension::Time => "a time",
            Dimension::Temperature => "a temperature",
            Dimension::Ratio => "a percentage",
            Dimension::Energy => "an energy",
            Dimension::Charge => "a charge",
            Dimension::Length => "a length",
        }
    }

    /// Largest number of base units that is taken: well above what any small node holds, so that a slip of
    /// prefix is noticed, and far below where products of such numbers overflow.
    pub(super) fn most(self) -> f64 {
        match self {
            Dimension::Voltage | Dimension::Current | Dimension::Ratio | Dimension::Area => 1e3,
            Dimension::Temperature | Dimension::Length => 1e3,
            Dimension::Power | Dimension::PowerDensity => 1e4,
            Dimension::Capacitance | Dimension::CapacitanceSlope | Dimension::Charge => 1e5,
            Dimension::Illuminance | Dimension::Energy => 1e6,
            Dimension::Time => 1e9,
            Dimension::Resistance | Dimension::Frequency => 1e12,
        }
    }

    /// Units of this dimension as a reader would write them.
    pub(super) fn units_in_words(self) -> &'static str {
        match self {
            Dimension::Voltage => "mV or V",
            Dimension::Current => "nA, uA, mA or A",
            Dimension::Capacitance => "uF, mF or F",
            Dimension::CapacitanceSlope => "mF/V or F/V",
            Dimension::Resistance => "mohm, ohm, kohm or Mohm",
            Dimension::Power => "uW, mW or W",
            Dimension::PowerDensity => "uW/cm2, mW/cm2 or W/m2",
            Dimension::Area => "mm2, cm2 or m2",
            Dimension::Illuminance => "lx or klx",
            Dimension::Frequency => "Hz, kHz or MHz",
            Dimension::Time => "us, ms, s, min, h or d",
            Dimension::Temperature => "degC",
            Dimension::Ratio => "%",
            Dimension::Energy => "J",
            Dimension::Charge => "C",
            Dimension::Length => "mm, cm or m",
        }
    }

    /// Symbol of the base unit, as the node file writes it.
    pub(super) fn base_symbol(self) -> &'static str {
        match self {
            Dimension::Voltage => "V",
            Dimension::Current => "A",
            Dimension::Capacitance => "F",
            Dimension::CapacitanceSlope => "F/V",
            Dimension::Resistance => "ohm",
            Dimension::Power => "W",
            Dimension::PowerDensity => "W/m2",
            Dimension::Area => "m2",
            Dimension::Illuminance => "lx",
            Dimension::Frequency => "Hz",
            Dimension::Time => "s",
            Dimension::Temperature => "degC",
            Dimension::Ratio => "%",
            Dimension::Energy => "J",
            Dimension::Charge => "C",
            Dimension::Length => "m",
        }
    }
}

/// The unit that a symbol stands for, with the power of ten of its prefix, or nothing.
pub(super) fn find(symbol: &str) -> Option<(Unit, i32)> {
    let symbol = respelled(symbol);
    let whole = UNITS
        .iter()
        .find(|unit| unit.symbol == symbol)
        .map(|unit| (*unit, 0));
    whole.or_else(|| {
        let mut with_prefix = UNITS.iter().filter(|unit| unit.prefixed);
        with_prefix.find_map(|unit| {
            let prefix = symbol.strip_suffix(unit.symbol)?;
            let (_, exponent) = PREFIXES.iter().find(|(name, _)| *name == prefix)?;
            Some((*unit, *exponent))
        })
    })
}

/// A known symbol of the given dimension that differs from an unknown one only slightly: in case, in a plural.
///
/// A prefix that is written rightly is kept, so that "mohms" does not become "Mohm".
pub(super) fn nearest(symbol: &str, dimension: Dimension) -> Option<String> {
    let symbol = respelled(symbol);
    let lower = symbol.to_lowercase();
    let candidates = UNITS
        .iter()
        .filter(|unit| unit.dimension == dimension)
        .flat_map(|unit| {
            let prefixes = PREFIXES
                .iter()
                .filter(|_| unit.prefixed)
                .map(|(prefix, _)| *prefix);
            std::iter::once("")
                .chain(prefixes)
                .map(|prefix| format!("{prefix}{}", unit.symbol))
        });
    candidates
        .filter(|candidate| {
            let plain = candidate.to_lowercase();
            plain == lower || lower.strip_suffix('s') == Some(plain.as_str())
        })
        .max_by_key(|candidate| {
            candidate
                .chars()
                .zip(symbol.chars())
                .filter(|(a, b)| a == b)
                .count()
        })
}

/// The spelling that the table of units has: a raised or careted two, and either ohm sign.
fn respelled(symbol: &str) -> String {
    symbol
        .replace("^2", "2")
        .replace('²', "2")
        .replace(['\u{3a9}', '\u{2126}'], "ohm")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// No symbol may be readable in two ways: "min" must not be a milli-inch, "cd" not a centi-day.
    #[test]
    fn every_spelling_has_one_meaning() {
        let mut seen = std::collections::BTreeMap::new();
        for unit in UNITS {
            let prefixes = PREFIXES.iter().filter(|_| unit.prefixed).copied();
            for (prefix, exponent) in std::iter::once(("", 0)).chain(prefixes) {
                let symbol = format!("{prefix}{}", unit.symbol);
                assert_eq!(seen.insert(symbol.clone(), ()), None, "{symbol} stands twice");
                let (found, power) = find(&symbol).expect("a symbol of the table is found");
                assert_eq!((found.symbol, power), (unit.symbol, exponent), "{symbol}");
            }
        }
    }

    #[test]
    fn slips_of_case_and_plurals_are_guided() {
        assert_eq!(nearest("mf", Dimension::Capacitance).as_deref(), Some("mF"));
        assert_eq!(nearest("KHZ", Dimension::Frequency).as_deref(), Some("kHz"));
        assert_eq!(nearest("mohms", Dimension::Resistance).as_deref(), Some("mohm"));
        assert_eq!(nearest("Mohms", Dimension::Resistance).as_deref(), Some("Mohm"));
        assert_eq!(nearest("parsec", Dimension::Area), None);
    }
}
