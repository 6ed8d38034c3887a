//! The job of a node in two sentences.

use crate::budget::Budget;
use crate::node::{Frame, Node, Pace, Regulator, Source};
use crate::text::Engineering;
use crate::units::*;

/// What the node does, how often, and on what it lives.
pub(super) fn sentence(node: &Node, budget: &Budget) -> String {
    let samples = match node.policy.batch {
        1 => "takes a sample and reports it".to_owned(),
        batch => format!("reports {batch} samples at a time"),
    };
    let pace = match node.policy.pace {
        Pace::Even => "as its storage allows",
        Pace::Planned => "as it plans from storage and the hour of the day",
    };
    format!(
        "{} {samples}{}, between every {} and every {}, {pace}. It lives on {}, filled up to {} by {}, and feeds its load {}; \
         asleep it takes {} at the rail.",
        node.name,
        radio(node, budget),
        Engineering(node.policy.fastest, "s"),
        Engineering(node.policy.slowest, "s"),
        bank(node),
        Engineering(node.harvest.overvoltage, "V"),
        source(node),
        supply(node),
        Engineering(node.sleep_current, "A"),
    )
}

fn radio(node: &Node, budget: &Budget) -> String {
    let Some(radio) = &node.radio else {
        return String::new();
    };
    let (name, bytes) = match radio.frame {
        Frame::Chirp { payload_bytes, .. } => ("chirp spread spectrum", payload_bytes),
        Frame::Ieee802154 { payload_bytes, .. } => ("IEEE 802.15.4", payload_bytes),
        Frame::BleAdvertising { payload_bytes, .. } => ("Bluetooth LE advertising", payload_bytes),
    };
    format!(
        " by {name} ({bytes} bytes, {} on the air)",
        Engineering(budget.transmit.attempt.on_air, "s")
    )
}

fn bank(node: &Node) -> String {
    let kinds = node.storage.iter().map(|capacitor| {
        let one = Engineering(capacitor.capacitance, "F").to_string();
        match (capacitor.series, capacitor.parallel) {
            (1, 1) => one,
            (series, 1) => format!("{series} × {one} in series"),
            (1, parallel) => format!("{parallel} × {one} in parallel"),
            (series, parallel) => format!("{parallel} strings of {series} × {one}"),
        }
    });
    format!("a bank of {}", kinds.collect::<Vec<_>>().join(" and "))
}

fn source(node: &Node) -> String {
    let area = |area: Area| format!("{:.4}", area.get::<square_meter>() * 1e4);
    let trimmed = |text: String| text.trim_end_matches('0').trim_end_matches('.').to_owned();
    match &node.harvest.source {
        Source::Constant { power } => format!("a steady source of {}", Engineering(*power, "W")),
        Source::Photovoltaic {
            area: module, site, ..
        } => format!(
            "a solar module of {} cm² at latitude {}°",
            trimmed(area(*module)),
            site.latitude_deg
        ),
        Source::Indoor { area: cell, .. } => {
            format!("a cell of {} cm² indoors", trimmed(area(*cell)))
        }
        Source::Trace => "a source that is known by its trace".to_owned(),
    }
}

fn supply(node: &Node) -> String {
    match &node.supply.regulator {
        Regulator::Direct { .. } => "straight from storage".to_owned(),
        Regulator::Linear { rail, .. } => {
            format!("through a linear regulator at {}", Engineering(*rail, "V"))
        }
        Regulator::Switching { rail, .. } => {
            format!("through a switching converter at {}", Engineering(*rail, "V"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::node;

    #[test]
    fn the_sentence_says_what_the_node_file_says() {
        let node = node::example("crack-gauge");
        let text = sentence(&node, &Budget::of(&node));
        for part in [
            "crack-gauge takes a sample",
            "chirp spread spectrum (21 bytes, 185.3 ms on the air)",
            "between every 60 s and every 1 h",
            "a bank of 1 F, filled up to 5.3 V by a solar module of 30 cm² at latitude 53.4°",
            "switching converter at 3 V",
            "2.4 uA at the rail",
        ] {
            assert!(text.contains(part), "{part:?} is not in {text}");
        }
        for name in ["display-case", "pump-bearing"] {
            let node = node::example(name);
            assert!(sentence(&node, &Budget::of(&node)).starts_with(name));
        }
    }
}
