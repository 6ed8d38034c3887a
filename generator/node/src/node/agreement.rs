//! Checks that need more than one section: whether storage, supply, sensing and harvest suit each other.

use std::ops::Range;

use super::quantity::show;
use super::sense::SenseRead;
use super::storage::Bank;
use super::supply::SupplyRead;
use super::table::{Given, Log};
use super::unit::Dimension;
use super::{Regulator, SenseKind};
use crate::problem::Problem;
use crate::units::*;

/// Charging may not go above what any string of cells stands.
pub(super) fn overvoltage_within_rating(log: &Log, overvoltage: &Given<Voltage>, banks: &[Bank]) {
    for (rated, span) in banks.iter().filter_map(|bank| bank.rated.as_ref()) {
        if overvoltage.value > *rated {
            let most = shown(*rated);
            log.note(
                Problem::new(
                    overvoltage.span.clone(),
                    format!("`overvoltage` is above the rated voltage of the storage, {most}"),
                    format!("at most {most}"),
                    format!("stop charging at {most} or below, or put more cells in series"),
                )
                .with(span, "rated voltage of one cell"),
            );
        }
    }
}

/// The supply must have something to work with below the voltage at which charging stops.
pub(super) fn supply_below_overvoltage(log: &Log, overvoltage: &Given<Voltage>, supply: &SupplyRead) {
    let Some((floor, keys)) = &supply.floor else {
        return;
    };
    if floor.value >= overvoltage.value {
        let most = shown(overvoltage.value);
        log.note(
            Problem::new(
                floor.span.clone(),
                format!("storage never reaches what the supply needs: {keys} ask for {}", shown(floor.value)),
                format!("well below the overvoltage, {most}"),
                "take a supply that works from a lower voltage, or more cells in series and a higher `overvoltage`",
            )
            .with(&overvoltage.span, "charging stops here"),
        );
    }
}

/// A full storage must not drive the converter past its reference: it would read the same from there on.
pub(super) fn converter_within_reference(log: &Log, overvoltage: &Given<Voltage>, sensing: &SenseRead) {
    let (Some(sense), Some(reference)) = (&sensing.sense, &sensing.reference) else {
        return;
    };
    if sense.kind == SenseKind::Reference {
        // Storage is the full scale.
        return;
    }
    let share = sense.divider_bottom / (sense.divider_top + sense.divider_bottom);
    let input = overvoltage.value * share.get::<ratio>();
    if input <= sense.reference {
        return;
    }
    let needed = least_divider_top(sense.divider_bottom, overvoltage.value, sense.reference);
    let problem = match &sensing.top {
        Some(top) => Problem::new(
            top.span.clone(),
            format!(
                "at overvoltage the converter's input stands at {}, above its reference",
                shown(input)
            ),
            format!("at least {}", show(Dimension::Resistance, needed)),
            format!(
                "with this `divider_bottom`, use divider_top = \"{}\" or more",
                show(Dimension::Resistance, needed)
            ),
        )
        .with(&reference.span, "full scale"),
        None => Problem::new(
            reference.span.clone(),
            "at overvoltage the terminal stands above the converter's reference, and there is no divider",
            format!("at least {}", shown(overvoltage.value)),
            format!(
                "add a divider with divider_bottom / (divider_top + divider_bottom) of at most {}, as \
                 divider_top, divider_bottom and divider_tolerance",
                // Rounded down to three decimals.
                ((sense.reference / overvoltage.value).get::<ratio>() * 1e3).floor() / 1e3
            ),
        ),
    };
    log.note(problem.with(&overvoltage.span, "charging stops here"));
}

/// A reference is read against the supply: that says something of storage only where storage is the supply, and only above the reference.
pub(super) fn reference_below_supply(log: &Log, supply: &SupplyRead, sensing: &SenseRead) {
    let (Some(sense), Some(kind), Some(reference)) = (&sensing.sense, &sensing.kind, &sensing.reference)
    else {
        return;
    };
    let (Some(read), Some((floor, _))) = (&supply.supply, &supply.floor) else {
        return;
    };
    if sense.kind != SenseKind::Reference {
        return;
    }
    let Regulator::Direct { minimum_input } = read.regulator else {
        let problem = Problem::new(
            kind.span.clone(),
            "the converter's supply is the regulated rail, which stays where it is while storage falls: the reading would not move",
            "`divider` with a regulated supply",
            "read storage through a divider, as divider_top, divider_bottom and divider_tolerance; a reference is read against the \
             supply where [supply] has kind = \"direct\"",
        );
        log.note(problem.with(&floor.span, "the rail does not follow storage"));
        return;
    };
    let one = fraction(1.0);
    let lowest = read.gate.as_ref().map_or(minimum_input, |gate| {
        minimum_input.max(gate.disconnect_below * (one - gate.tolerance))
    });
    if sense.reference * (one + sense.reference_tolerance) >= lowest {
        let problem = Problem::new(
            reference.span.clone(),
            "the supply may come down to the reference while the node still works: the count is at its largest there and no \
             longer moves",
            format!("below {}, its tolerance included", shown(lowest)),
            "take a lower reference of the converter, or let the node work from a higher voltage on",
        );
        log.note(problem.with(&floor.span, "the node works from here on"));
    }
}

/// A phase timed by the airtime needs a radio to work it out from.
pub(super) fn airtime_has_radio(log: &Log, airtime: Option<&Range<usize>>, radio_stands: bool) {
    if let (Some(span), false) = (airtime, radio_stands) {
        log.note(Problem::new(
            span.clone(),
            "`airtime` without a radio",
            "needs [transmit.radio]",
            "add [transmit.radio] with its `modulation`, or write the phase's `duration`",
        ));
    }
}

/// Smallest upper resistor, to two digits and rounded up, that keeps the input at or below the reference (ohm).
fn least_divider_top(bottom: Resistance, overvoltage: Voltage, reference: Voltage) -> f64 {
    let least = bottom.get::<ohm>() * ((overvoltage / reference).get::<ratio>() - 1.0);
    let digit = libm::pow(10.0, libm::log10(least).floor() - 1.0);
    (least / digit).ceil() * digit
}

fn shown(voltage: Voltage) -> String {
    show(Dimension::Voltage, voltage.get::<volt>())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The advice cures: with the named resistor the input is at or below the reference, and a tenth
        /// less would not do.
        #[test]
        fn the_advised_divider_fits(bottom in 1e3f64..1e7, reference in 0.5f64..3.0, factor in 1.01f64..20.0) {
            let overvoltage = volts(reference * factor);
            let top = least_divider_top(ohms(bottom), overvoltage, volts(reference));
            let input = |top: f64| reference * factor * bottom / (top + bottom);
            // Rounding of the last digit may leave the input above by a few units in the last place.
            prop_assert!(input(top) <= reference * (1.0 + 1e-12), "{top}");
            prop_assert!(input(top * 0.9) > reference);
        }
    }
}
