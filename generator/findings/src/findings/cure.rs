//! The smallest change of the bank that cures a threshold, found by trying.

use std::fmt;

use crate::node::Node;
use crate::text::{Engineering, InBaseUnit};
use crate::units::*;

/// The largest change that is tried: a part a thousand times larger or better is another project.
pub(super) const LARGEST_FACTOR: f64 = 1000.0;
/// The same for a resistance, which may be written in Mohm where mohm was meant.
const LARGEST_SLIP: f64 = 1e9;
/// Rounds of halving on a logarithmic axis: 10^9 to the power 2^-22 is a change below a hundred-thousandth.
const ROUNDS: u32 = 22;

/// What would cure an action that does not fit.
pub(super) struct Cure {
    /// Present and smallest sufficient capacitance of one cell.
    pub(super) capacitance: Option<(Capacitance, Capacitance)>,
    /// Present and largest sufficient series resistance of one cell.
    resistance: Option<(Resistance, Resistance)>,
    /// Present and largest sufficient `harvest.maximum_current`.
    pub(super) charging: Option<(Current, Current)>,
}

impl Cure {
    /// Each change in words.
    pub(super) fn changes(&self) -> impl Iterator<Item = String> {
        let capacitance = self.capacitance.map(|change| instead("capacitance", change, "F"));
        let resistance = self
            .resistance
            .map(|change| instead("series resistance", change, "ohm"));
        let charging = self
            .charging
            .map(|change| instead("harvest.maximum_current", change, "A"));
        [capacitance, resistance, charging].into_iter().flatten()
    }
}

/// The smallest changes after which `node` is as `fits` wants it: a larger capacitance or a lower series resistance of
/// the capacitor kind that holds most of the charge, or a lower charging current, one at a time.
pub(super) fn of(node: &Node, fits: impl Fn(&Node) -> bool) -> Cure {
    let largest = node.largest_kind();
    let now = &node.storage[largest];
    let capacitance = smallest(LARGEST_FACTOR, |factor| {
        let mut changed = node.clone();
        let part = &mut changed.storage[largest];
        part.capacitance = round_up(now.capacitance * factor);
        part.capacitance_slope = now.capacitance_slope * (part.capacitance / now.capacitance);
        let cured = part.capacitance;
        fits(&changed).then_some(cured)
    });
    let lower = |now: f64, most: f64, set: &dyn Fn(&mut Node, f64)| {
        smallest(most, |factor| {
            let mut changed = node.clone();
            let cured = round_down(now / factor);
            set(&mut changed, cured);
            fits(&changed).then_some(cured)
        })
    };
    let resistance = lower(now.esr.get::<ohm>(), LARGEST_SLIP, &|node, cured_ohm| {
        node.storage[largest].esr = ohms(cured_ohm);
    });
    let charges = node.harvest.maximum_current;
    let charging = lower(charges.get::<ampere>(), LARGEST_FACTOR, &|node, cured_a| {
        node.harvest.maximum_current = amperes(cured_a);
    });
    Cure {
        capacitance: capacitance.map(|cured| (now.capacitance, cured)),
        resistance: resistance.map(|cured_ohm| (now.esr, ohms(cured_ohm))),
        charging: charging.map(|cured_a| (charges, amperes(cured_a))),
    }
}

/// The answer for the smallest factor from 1 to `most` for which there is one. Sufficiency rises with the factor.
pub(super) fn smallest<T>(most: f64, cured: impl Fn(f64) -> Option<T>) -> Option<T> {
    let mut best = cured(most)?;
    let (mut low, mut high) = (0.0, libm::log(most));
    for _ in 0..ROUNDS {
        let middle = low + (high - low) / 2.0;
        match cured(libm::exp(middle)) {
            Some(answer) => (best, high) = (answer, middle),
            None => low = middle,
        }
    }
    Some(best)
}

/// Two significant digits, rounded up: what a catalogue is searched for.
fn round_up(capacitance: Capacitance) -> Capacitance {
    let step = step_of(capacitance.get::<farad>());
    farads((capacitance.get::<farad>() / step - 1e-9).ceil() * step)
}

/// Two significant digits, rounded down.
pub(super) fn round_down(value: f64) -> f64 {
    let step = step_of(value);
    (value / step + 1e-9).floor() * step
}

fn step_of(value: f64) -> f64 {
    10f64.powi(libm::log10(value).floor() as i32 - 1)
}

impl fmt::Display for Cure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let useless = match (self.capacitance, self.resistance) {
            (Some(_), None) => "; no lower series resistance alone would",
            (None, Some(_)) => "; no larger capacitance alone would",
            (None, None) => "; neither a larger capacitance nor a lower series resistance alone would",
            (Some(_), Some(_)) => "",
        };
        let cures: Vec<String> = self.changes().collect();
        if cures.is_empty() {
            return write!(
                f,
                "neither a larger capacitance nor a lower series resistance alone would do: lower the floor, the load or \
                 the sensing error, or raise what is above them"
            );
        }
        let comma = if cures.len() > 1 { "," } else { "" };
        write!(f, "{}{comma} would do{useless}", cures.join(", or "))
    }
}

pub(super) fn instead<Q: InBaseUnit>(input: &str, (now, cured): (Q, Q), unit: &'static str) -> String {
    format!(
        "a {input} of {} instead of {}",
        Engineering(cured, unit),
        Engineering(now, unit)
    )
}
