//! The range that a quantity must keep to, and the words for it.

use super::quantity::{Quantity, show};
use super::unit::Dimension;

/// A range of numbers in base units; each end belongs to it or does not.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limit {
    least: f64,
    least_allowed: bool,
    most: f64,
    most_allowed: bool,
}

impl Limit {
    /// Any number.
    pub(super) const ANY: Limit = Limit {
        least: f64::NEG_INFINITY,
        least_allowed: true,
        most: f64::INFINITY,
        most_allowed: true,
    };
    /// Above zero.
    pub(super) const POSITIVE: Limit = Limit {
        least: 0.0,
        least_allowed: false,
        ..Limit::ANY
    };
    /// Zero or more.
    pub(super) const NOT_NEGATIVE: Limit = Limit {
        least: 0.0,
        ..Limit::ANY
    };
    /// A part of a whole: above 0 %, at most 100 %.
    pub(super) const PART: Limit = Limit {
        most: 1.0,
        ..Limit::POSITIVE
    };
    /// A part of a whole that may be nothing: 0 % to 100 %.
    pub(super) const PART_OR_NOTHING: Limit = Limit {
        most: 1.0,
        ..Limit::NOT_NEGATIVE
    };
    /// How far a value may be below nominal: something must be left of it.
    pub(super) const TOLERANCE: Limit = Limit {
        most_allowed: false,
        ..Limit::PART_OR_NOTHING
    };

    /// The same range, ending at `most`.
    pub(super) const fn up_to(self, most: f64) -> Limit {
        Limit {
            most,
            most_allowed: true,
            ..self
        }
    }

    /// The same range, ending just below `most`.
    pub(super) const fn under(self, most: f64) -> Limit {
        Limit {
            most,
            most_allowed: false,
            ..self
        }
    }

    /// The same range, starting at `least`.
    pub(super) const fn from(self, least: f64) -> Limit {
        Limit {
            least,
            least_allowed: true,
            ..self
        }
    }

    /// Whether a quantity lies in the range.
    pub(super) fn holds<Q: Quantity>(&self, quantity: Q) -> bool {
        let value = quantity.in_base();
        let high_enough = value > self.least || (self.least_allowed && value == self.least);
        let low_enough = value < self.most || (self.most_allowed && value == self.most);
        high_enough && low_enough
    }

    /// Whether a quantity lies above the range.
    pub(super) fn is_exceeded_by<Q: Quantity>(&self, quantity: Q) -> bool {
        quantity.in_base() >= self.most
    }

    /// The range in words, such as "above 0 ohm".
    pub(super) fn words(&self, dimension: Dimension) -> String {
        let least = show(dimension, self.least);
        let most = show(dimension, self.most);
        let start = if self.least_allowed {
            format!("{least} or more")
        } else {
            format!("above {least}")
        };
        let end = if self.most_allowed {
            format!("at most {most}")
        } else {
            format!("below {most}")
        };
        match (self.least.is_finite(), self.most.is_finite()) {
            (true, true) => format!("{start}, {end}"),
            (true, false) => start,
            (false, true) => end,
            (false, false) => format!("any {}", dimension.base_symbol()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::*;

    #[test]
    fn ends_belong_or_do_not() {
        assert!(!Limit::POSITIVE.holds(ohms(0.0)));
        assert!(Limit::NOT_NEGATIVE.holds(ohms(0.0)));
        assert!(Limit::PART.holds(fraction(1.0)));
        assert!(!Limit::TOLERANCE.holds(fraction(1.0)));
        assert!(Limit::NOT_NEGATIVE.from(1.0).up_to(2.0).holds(seconds(2.0)));
        assert!(!Limit::NOT_NEGATIVE.under(2.0).holds(seconds(2.0)));
    }

    #[test]
    fn words_name_both_ends() {
        assert_eq!(Limit::POSITIVE.words(Dimension::Resistance), "above 0 ohm");
        assert_eq!(
            Limit::TOLERANCE.words(Dimension::Ratio),
            "0 % or more, below 100 %"
        );
        assert_eq!(Limit::ANY.up_to(5.0).words(Dimension::Voltage), "at most 5 V");
    }
}
