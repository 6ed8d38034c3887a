//! What storage loses by itself: the leakage of its cells and the current of their balance resistors.

use crate::model::wear::Wear;
use crate::node::Capacitor;
use crate::units::*;

/// Conductance that `part` puts at the storage terminal: the stated leakage at the rated voltage as a conductance, times what a new cell
/// and the hot end make of it where `wear` has them, and the balance resistors, in every string.
pub(super) fn leakage(part: &Capacitor, wear: &Wear) -> Conductance {
    let (series, parallel) = (f64::from(part.series), f64::from(part.parallel));
    let balance = part
        .balance_resistor
        .map_or(siemenses(0.0), |resistor| (resistor * series).recip());
    let own: Conductance = part.leakage / (part.rated_voltage * series);
    let more = |applies: bool, factor: Option<Ratio>| factor.filter(|_| applies).unwrap_or(fraction(1.0));
    let grown = own * more(wear.fresh_leakage, part.fresh_leakage) * more(wear.hot_leakage, part.hot_leakage);
    (grown + balance) * parallel
}
