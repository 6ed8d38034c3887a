use super::super::{of, starting};
use super::*;
use crate::budget::Budget;
use crate::node;

fn findings_of(node: &Node) -> Vec<Finding> {
    of(node, &Budget::of(node), &Thresholds::of(node))
}

fn codes(node: &Node) -> Vec<&'static str> {
    findings_of(node).iter().map(|finding| finding.code).collect()
}

/// The display case with a start-up of `current_ma` for 100 ms.
fn case_that_starts(current_ma: f64) -> Node {
    let mut node = node::example("display-case");
    let phase = &mut node.boot.phases[0];
    (phase.current, phase.peak_current) = (amperes(current_ma * 1e-3), amperes(current_ma * 1e-3));
    phase.extent = node::Extent::Fixed(seconds(0.1));
    node
}

/// By hand: the worst bank is 0.22 F · 0.8 · 0.7 = 0.1232 F behind 0.3 ohm; 100 mA · 1.1 for 0.1 s take 89.3 mV of charge and 33 mV of
/// resistance, the converter's 1 mA lifts by 0.3 mV: 1.9226 V, where reset is released at 1.9 V.
#[test]
fn a_reset_that_is_released_too_low_restarts_forever() {
    let mut node = case_that_starts(100.0);
    let errors = |node: &Node| {
        let all = findings_of(node);
        let errors = all
            .into_iter()
            .filter(|finding| finding.severity == Severity::Error);
        errors.collect::<Vec<_>>()
    };
    let found = errors(&node);
    assert_eq!(found[0].code, RESTARTS_FOREVER);
    assert!(found[0].text.contains("needs 1.923 V"), "{}", found[0].text);
    assert!(
        found[0].cure.contains("supply.starts_at of at least 1.923 V"),
        "{}",
        found[0].cure
    );
    assert_eq!(starting(&node, &Thresholds::of(&node)).as_ref(), Some(&found[0]));
    for (starts_at_v, code) in [
        (1.9224, Some(RESTARTS_FOREVER)),
        (1.9230, None),
        (4.2, None),
        (4.21, Some("never-starts")),
    ] {
        node.supply.starts_at = Some(volts(starts_at_v));
        assert_eq!(
            errors(&node).first().map(|finding| finding.code),
            code,
            "{starts_at_v}"
        );
    }
    // A gate is judged by another one.
    node.supply.starts_at = None;
    node.supply.gate = node::example("crack-gauge").supply.gate;
    assert!(!codes(&node).contains(&RESTARTS_FOREVER));
}

/// The number after `key` in a text, in base units.
fn number_after(text: &str, key: &str) -> f64 {
    let words: Vec<&str> = text[text.find(key).expect(key) + key.len()..]
        .split_whitespace()
        .collect();
    let number: f64 = words[0].trim_end_matches(',').parse().expect("a number");
    match words[1].trim_end_matches(',').chars().next() {
        Some('m') => number * 1e-3,
        Some('u') => number * 1e-6,
        _ => number,
    }
}

/// Every change that is offered cures by itself, and the gate that is offered raises no error of its own.
#[test]
fn each_cure_of_a_restart_cures_alone() {
    let node = case_that_starts(100.0);
    let cure = findings_of(&node).remove(0).cure;
    type Change<'a> = &'a dyn Fn(&mut Node, f64);
    let cured: [(&str, Change<'_>); 4] = [
        ("supply.starts_at of at least", &|node, number| {
            node.supply.starts_at = Some(volts(number))
        }),
        ("a start-up of", &|node, number| {
            node.boot.phases[0].extent = node::Extent::Fixed(seconds(number));
        }),
        ("a capacitance of", &|node, number| {
            node.storage[0].capacitance = farads(number)
        }),
        ("connect_above of at least", &|node, number| {
            node.supply.gate = Some(node::Gate {
                connect_above: volts(number),
                disconnect_below: volts(number_after(&cure, "disconnect_below of")),
                tolerance: fraction(0.02),
            });
        }),
    ];
    for (words, change) in cured {
        let mut changed = node.clone();
        change(&mut changed, number_after(&cure, words));
        let errors: Vec<_> = findings_of(&changed)
            .into_iter()
            .filter(|finding| finding.severity == Severity::Error)
            .collect();
        assert_eq!(errors, [], "{words} in {cure}");
    }
}
