//! What the node file leaves out that a data sheet has, and what a usual rule would make of it.
//!
//! The rules are common practice, no source; none of them enters a threshold. Each
//! finding says what the rule would change on this node, and nothing is said where that is little.

use super::{Finding, Severity};
use crate::node::{Capacitor, Efficiency, Node, Regulator};
use crate::outlook::asleep;
use crate::text::{Engineering, lasting, to_digits};
use crate::thresholds::{Thresholds, unreachable};
use crate::units::*;

/// Temperature at which the figures of a data sheet hold (degC).
const ROOM_DEGC: f64 = 20.0;
/// From here on the cold and the heat matter (degC): nearer to room temperature the rules stay within tolerances.
const COLD_DEGC: f64 = 15.0;
const HOT_DEGC: f64 = 25.0;
/// The temperature for which the rules of the cold are known by heart (degC).
const RULED_DEGC: f64 = -40.0;
/// Times the resistance of a double-layer cell and of an electrolytic capacitor there: about one per cent for each kelvin; several-fold.
const COLD_DOUBLE_LAYER: f64 = 2.0;
const COLD_ELECTROLYTIC: f64 = 4.0;
/// What a class-II ceramic of letter R of the EIA code keeps of its capacitance over its whole range.
const COLD_CERAMIC: f64 = 0.85;
/// Temperature step that doubles leakage (K).
const DOUBLING_K: f64 = 10.0;
/// Times the leakage of a cell that was not held at its voltage yet, up to.
const FRESH: f64 = 10.0;
/// What is left of an efficiency outside its table, for the sake of an example.
const OUTSIDE: f64 = 0.5;
/// A threshold that would move by less (mV), and a time that would shrink by less than this part, are not worth a word: a count of most
/// converters, and what the currents of a node are known to.
const LEAST_MV: u32 = 10;
const LEAST_PART: f64 = 0.05;
/// From this capacitance on a part is taken for a double-layer cell (F), and below this time constant for a ceramic (s).
const DOUBLE_LAYER_F: f64 = 10e-3;
const CERAMIC_S: f64 = 10e-6;

/// A finding with the part of the node's room or time that it may cost.
type Weighed = (f64, Finding);

/// What is left out, what would cost most first.
pub(super) fn data(node: &Node, thresholds: &Thresholds) -> Vec<Finding> {
    let all = [
        cold(node, thresholds),
        hot(node, thresholds),
        fresh(node, thresholds),
        light_load(node, thresholds),
        heavy_load(node, thresholds),
        temperature(node),
    ];
    let mut weighed: Vec<Weighed> = all.into_iter().flatten().collect();
    weighed.sort_by(|(one, _), (other, _)| other.total_cmp(one));
    weighed.into_iter().map(|(_, finding)| finding).collect()
}

fn caution(code: &'static str, text: String, cure: &str) -> Finding {
    Finding {
        code,
        severity: Severity::Caution,
        text,
        cure: cure.to_owned(),
    }
}

/// What a part seems to be, by its size and its time constant: the node file does not say it.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    DoubleLayer,
    Electrolytic,
    Ceramic,
}

impl Kind {
    const ALL: [Self; 3] = [Self::DoubleLayer, Self::Electrolytic, Self::Ceramic];

    fn of(part: &Capacitor) -> Self {
        if part.capacitance >= farads(DOUBLE_LAYER_F) {
            Self::DoubleLayer
        } else if part.esr * part.capacitance < seconds(CERAMIC_S) {
            Self::Ceramic
        } else {
            Self::Electrolytic
        }
    }

    /// Its rule for the cold, in words.
    fn rule(self) -> &'static str {
        match self {
            Self::DoubleLayer => "a usual double-layer cell, whose resistance doubles down to -40 degC,",
            Self::Electrolytic => "a usual electrolytic capacitor, of four times the resistance at -40 degC,",
            Self::Ceramic => "a usual ceramic of class II, which may lose 15 % of its capacitance,",
        }
    }

    /// The part as the rule has it, this many kelvin below room temperature.
    fn cooled(self, part: &mut Capacitor, below_k: f64) {
        let growing = |factor: f64| libm::pow(factor, below_k / (ROOM_DEGC - RULED_DEGC));
        match self {
            Self::DoubleLayer => part.cold_esr = fraction(growing(COLD_DOUBLE_LAYER)),
            Self::Electrolytic => part.cold_esr = fraction(growing(COLD_ELECTROLYTIC)),
            Self::Ceramic => part.cold_capacitance = fraction(COLD_CERAMIC),
        }
    }
}

/// A cold end, and a part of which nothing says what the cold does to it.
fn cold(node: &Node, thresholds: &Thresholds) -> Option<Weighed> {
    let end_degc = node.margins.temperature_min?.get::<degree_celsius>();
    if end_degc >= COLD_DEGC {
        return None;
    }
    let is_unknown = |part: &Capacitor| !part.states_cold;
    let mut usual = node.clone();
    for part in usual.storage.iter_mut().filter(|part| is_unknown(part)) {
        Kind::of(part).cooled(part, ROOM_DEGC - end_degc);
    }
    let (part, would_be) = higher(&usual, thresholds)?;
    let rules: Vec<&str> = Kind::ALL
        .into_iter()
        .filter(|kind| {
            let mut unknown = node.storage.iter().filter(|part| is_unknown(part));
            unknown.any(|part| Kind::of(part) == *kind)
        })
        .map(Kind::rule)
        .collect();
    let text = format!(
        "the node may be at {} and nothing says what the cold does to {}: with {} (common practice) the transmit threshold would be {would_be}",
        shown(end_degc),
        named(node, is_unknown),
        rules.join(" and ").trim_end_matches(',')
    );
    let cure = "cold_esr and cold_capacitance of that capacitor, from its data sheet: resistance or impedance ratio, and change of \
                capacitance, at the lowest temperature";
    Some((part, caution("cold-not-stated", text, cure)))
}

/// A hot end, and a part of which nothing says what it leaks there.
fn hot(node: &Node, thresholds: &Thresholds) -> Option<Weighed> {
    let end_degc = node.margins.temperature_max?.get::<degree_celsius>();
    if end_degc <= HOT_DEGC {
        return None;
    }
    let is_unknown = |part: &Capacitor| part.hot_leakage.is_none() && part.leakage > amperes(0.0);
    let mut usual = node.clone();
    for part in usual.storage.iter_mut().filter(|part| is_unknown(part)) {
        part.hot_leakage = Some(fraction(libm::exp2((end_degc - ROOM_DEGC) / DOUBLING_K)));
    }
    let (part, would_last) = shorter(node, &usual, thresholds)?;
    let text = format!(
        "the node may be at {} and nothing says what {} leaks there: leakage doubles every ten kelvin (common practice), and the node, full \
         and in the dark, would sleep for {would_last}",
        shown(end_degc),
        named(node, is_unknown)
    );
    let cure = "hot_leakage of that capacitor, from its data sheet: leakage over temperature";
    Some((part, caution("hot-leakage-not-stated", text, cure)))
}

/// A part of which nothing says what it leaks before it was held at its voltage for days.
fn fresh(node: &Node, thresholds: &Thresholds) -> Option<Weighed> {
    let is_unknown = |part: &Capacitor| {
        part.fresh_leakage.is_none() && part.leakage > amperes(0.0) && Kind::of(part) != Kind::Ceramic
    };
    let mut usual = node.clone();
    for part in usual.storage.iter_mut().filter(|part| is_unknown(part)) {
        part.fresh_leakage = Some(fraction(FRESH));
    }
    let (part, would_last) = shorter(node, &usual, thresholds)?;
    let text = format!(
        "nothing says what {} leaks when new: up to ten times as much until it was held at its voltage for days (common practice), and the \
         node, full, would sleep through the first nights for {would_last}",
        named(node, is_unknown)
    );
    let cure = "fresh_leakage of that capacitor, from its data sheet: leakage over time at rated voltage; or hold it at its voltage for \
                three days before the node goes out, and state 100 %";
    Some((part, caution("fresh-leakage-not-stated", text, cure)))
}

/// A switching supply whose table of efficiency begins above the sleeping current.
fn light_load(node: &Node, thresholds: &Thresholds) -> Option<Weighed> {
    let (lowest, share) = *table(node)?.points.first()?;
    if node.sleep_current >= lowest || node.sleep_current == amperes(0.0) {
        return None;
    }
    let usual = with_table(node, |points| {
        points.insert(0, (node.sleep_current, share * OUTSIDE))
    });
    let (part, would_last) = shorter(node, &usual, thresholds)?;
    let percent = percent(share);
    let known = if table(node)?.points.len() == 1 {
        format!("supply.efficiency is one figure, {percent}, for all currents")
    } else {
        format!(
            "supply.efficiency begins at {} and the node sleeps at {}, where its {percent} are taken, too",
            Engineering(lowest, "A"),
            Engineering(node.sleep_current, "A")
        )
    };
    let text = format!(
        "{known}: efficiency falls at light load (common practice), and with half of it asleep the node, full and in the dark, would sleep \
         for {would_last}"
    );
    let cure = "a pair of supply.efficiency at the sleeping current, from the data sheet's curve over the load current";
    Some((part, caution("light-load-not-stated", text, cure)))
}

/// One that ends below the largest load current.
fn heavy_load(node: &Node, thresholds: &Thresholds) -> Option<Weighed> {
    let points = &table(node)?.points;
    let (highest, share) = *points.last()?;
    let phases = node.actions().into_iter().flat_map(|(_, action)| &action.phases);
    let largest = phases
        .map(|phase| phase.peak_current)
        .fold(amperes(0.0), Current::max);
    // One figure for all currents stands for a load, if for anything.
    if points.len() == 1 || largest <= highest {
        return None;
    }
    let usual = with_table(node, |points| points.push((largest, share * OUTSIDE)));
    let (part, would_be) = higher(&usual, thresholds)?;
    let text = format!(
        "supply.efficiency ends at {} and the node draws up to {}, where its {} are taken, too: with half of it there the transmit threshold \
         would be {would_be}",
        Engineering(highest, "A"),
        Engineering(largest, "A"),
        percent(share)
    );
    let cure = "a pair of supply.efficiency at the largest load current, from the data sheet's curve over the load current";
    Some((part, caution("heavy-load-not-stated", text, cure)))
}

/// No temperature at all, and no factor for the cold either.
fn temperature(node: &Node) -> Option<Weighed> {
    let margins = &node.margins;
    let is_stated = margins.temperature_min.is_some()
        || margins.temperature_max.is_some()
        || node.states_heat()
        || node.storage.iter().any(|part| part.states_cold);
    (!is_stated).then(|| {
        let text = "no temperature is stated: the storage is taken as it is at 20 degC".to_owned();
        let cure = "margins.temperature_min and margins.temperature_max, and what they do to each capacitor";
        (0.0, caution("temperature-not-stated", text, cure))
    })
}

fn table(node: &Node) -> Option<&Efficiency> {
    match &node.supply.regulator {
        Regulator::Switching { efficiency, .. } => Some(efficiency),
        Regulator::Direct { .. } | Regulator::Linear { .. } => None,
    }
}

/// The node with other points in its table of efficiency.
fn with_table(node: &Node, change: impl FnOnce(&mut Vec<(Current, Ratio)>)) -> Node {
    let mut node = node.clone();
    if let Regulator::Switching { efficiency, .. } = &mut node.supply.regulator {
        change(&mut efficiency.points);
    }
    node
}

/// By how much the transmit threshold of `usual` is above that of the node, as a part of the room there is and in words; `None` where it
/// is not worth a word.
fn higher(usual: &Node, thresholds: &Thresholds) -> Option<(f64, String)> {
    let threshold = thresholds.transmit.in_the_same_corners(usual, &usual.transmit);
    let rise_mv = threshold.decide_mv.saturating_sub(thresholds.transmit.decide_mv);
    if rise_mv < LEAST_MV {
        return None;
    }
    let rise = crate::rounding::from_millivolts(rise_mv);
    let part = (rise / (thresholds.overvoltage - thresholds.floor)).get::<ratio>();
    let is_beyond = threshold.start_with_reserve >= unreachable();
    let words = if is_beyond {
        "out of reach".to_owned()
    } else {
        format!("{rise_mv} mV higher")
    };
    Some((part, words))
}

/// By which part the time asleep from full of `usual` is below that of the node, and both in words; `None` where it is not worth a word.
fn shorter(node: &Node, usual: &Node, thresholds: &Thresholds) -> Option<(f64, String)> {
    let full = thresholds.overvoltage;
    let (now, then) = (asleep(node, full), asleep(usual, full)?);
    let part = now.map_or(1.0, |now| 1.0 - (then / now).get::<ratio>());
    let words = || format!("{} instead of {}", lasting(Some(then)), lasting(now));
    (part >= LEAST_PART).then(|| (part, words()))
}

/// The parts of which something is unknown, by their place and size.
fn named(node: &Node, is_unknown: impl Fn(&Capacitor) -> bool) -> String {
    let parts = node.storage.iter().enumerate();
    let names: Vec<String> = parts
        .filter(|(_, part)| is_unknown(part))
        .map(|(place, part)| {
            format!(
                "storage.capacitor[{place}] ({})",
                Engineering(part.capacitance, "F")
            )
        })
        .collect();
    names.join(", ")
}

fn percent(share: Ratio) -> String {
    format!("{} %", to_digits(share.get::<ratio>() * 100.0))
}

fn shown(degc: f64) -> String {
    format!("{degc} degC")
}

#[cfg(test)]
mod tests;
