use super::*;
use crate::node::{Gate, Regulator, SenseKind, Source};
use proptest::prelude::*;

fn findings_of(node: &Node) -> Vec<Finding> {
    of(node, &Budget::of(node), &Thresholds::of(node))
}

fn transmit_decide(node: &Node) -> Voltage {
    rounding::from_millivolts(Threshold::of(node, &node.transmit).decide_mv)
}

fn codes(node: &Node) -> Vec<&'static str> {
    findings_of(node)
        .into_iter()
        .map(|finding| finding.code)
        .collect()
}

#[test]
fn the_examples_have_no_error() {
    for name in ["crack-gauge", "display-case", "pump-bearing"] {
        let errors: Vec<_> = findings_of(&crate::node::example(name))
            .into_iter()
            .filter(|finding| finding.severity == Severity::Error)
            .collect();
        assert_eq!(errors, [], "{name}");
    }
}

/// By hand: 44 mA · 1.1 · 3 V / 0.9 = 0.162 W through R = 3.6·R0 needs 2·√(0.162·3.6·R0) below the full bank.
#[test]
fn too_much_resistance_is_named_with_its_cure() {
    let mut node = crate::node::example("crack-gauge");
    node.storage[0].esr = ohms(15.0);
    let finding = findings_of(&node).remove(0);
    assert_eq!(finding.code, "bank-too-small");
    assert!(
        finding.text.contains("series resistance takes"),
        "{}",
        finding.text
    );
    assert!(
        finding.cure.contains("a series resistance of"),
        "{}",
        finding.cure
    );
}

#[test]
fn a_gate_that_connects_too_low_restarts_forever() {
    let mut node = crate::node::example("crack-gauge");
    node.supply.gate.as_mut().expect("a gate").connect_above = volts(2.45);
    let finding = findings_of(&node).remove(0);
    assert_eq!(finding.code, "gate-restarts-forever");
    node.supply.gate.as_mut().expect("a gate").connect_above = volts(5.29);
    assert!(codes(&node).contains(&"gate-never-connects"));
}

/// The voltage that a finding's cure names first.
fn advised(node: &Node, code: &str) -> Option<Voltage> {
    let cure = findings_of(node)
        .into_iter()
        .find(|finding| finding.code == code)?
        .cure;
    let words: Vec<&str> = cure.split_whitespace().collect();
    let pair = words.windows(2).find(|pair| pair[0].parse::<f64>().is_ok())?;
    let number: f64 = pair[0].parse().ok()?;
    Some(volts(if pair[1] == "mV" { number * 1e-3 } else { number }))
}

#[test]
fn cautions_are_raised_where_they_belong() {
    let mut node = crate::node::example("pump-bearing");
    assert!(codes(&node).contains(&"no-gate"));
    assert!(codes(&node).contains(&"duty-limit-not-stated"));
    assert!(!codes(&node).contains(&"series-without-balancing"));
    node.storage[0].balance_resistor = None;
    assert!(codes(&node).contains(&"series-without-balancing"));
    node.harvest.source = crate::node::Source::Constant { power: watts(1e-6) };
    assert!(codes(&node).contains(&"income-too-low"));
    node.radio.as_mut().expect("a radio").duty_limit = Some(fraction(1e-6));
    // 6.72 ms · 10^6 are 1.87 h, above 30 min; at 10^-8 they are 187 h, above what 16 bits of seconds hold.
    assert!(codes(&node).contains(&"silence-above-slowest"));
    node.radio.as_mut().expect("a radio").duty_limit = Some(fraction(1e-8));
    assert!(codes(&node).contains(&"silence-too-long"));
    node.policy.hysteresis = Some(volts(3.0));
    assert!(codes(&node).contains(&"hysteresis-too-wide"));
    node.storage[0].capacitance = farads(1e4);
    assert!(codes(&node).contains(&"energy-out-of-range"));
    node.sense.reference = volts(0.5);
    assert!(codes(&node).contains(&"reading-too-low"));
}

#[test]
fn a_reading_that_would_stand_still_is_cautioned_of() {
    // The rail of 2.5 V is the reference, and no gate disconnects the node.
    let mut node = crate::node::example("pump-bearing");
    assert!(codes(&node).contains(&"reading-freezes"));
    let gate = |disconnect_v: f64| Gate {
        connect_above: volts(3.2),
        disconnect_below: volts(disconnect_v),
        tolerance: fraction(0.02),
    };
    // The floor is 2.62 V: a gate of 2 % holds it from 2.674 V on.
    node.supply.gate = Some(gate(2.66));
    assert!(codes(&node).contains(&"reading-freezes"));
    node.supply.gate = Some(gate(2.68));
    assert!(!codes(&node).contains(&"reading-freezes"));
    node.sense.reference = volts(2.6);
    assert!(codes(&node).contains(&"reading-freezes"));
    node.supply.gate = None;
    node.sense.reference = volts(2.4);
    assert!(!codes(&node).contains(&"reading-freezes"));

    let mut node = crate::node::example("display-case");
    node.supply.regulator = Regulator::Direct {
        minimum_input: volts(1.8),
    };
    node.supply.gate = None;
    assert!(!codes(&node).contains(&"reading-freezes"));
    node.sense.reference = volts(1.8);
    let found = findings_of(&node)
        .into_iter()
        .find(|finding| finding.code == "reading-freezes")
        .expect("found");
    assert!(
        found.text.contains("1.8 V") && found.cure.contains("below 1.8 V"),
        "{found:?}"
    );
    node.sense.kind = SenseKind::Reference;
    assert!(!codes(&node).contains(&"reading-freezes"));
}

/// A node that reads 1.2 V against its supply: what a full bank of 4.2 V reads with the reference 20 % high is 3.5 V.
#[test]
fn readings_against_the_supply_are_judged_too() {
    let mut node = crate::node::example("display-case");
    node.supply.regulator = Regulator::Direct {
        minimum_input: volts(1.8),
    };
    node.sense.kind = SenseKind::Reference;
    (node.sense.divider_top, node.sense.divider_bottom) = (ohms(0.0), ohms(1.0));
    (node.sense.divider_tolerance, node.sense.divider_switched) = (fraction(0.0), true);
    assert!(!codes(&node).iter().any(|code| code.starts_with("reading-")));
    node.sense.reference_tolerance = fraction(0.2);
    node.margins.extra = volts(1.3);
    let low = findings_of(&node)
        .into_iter()
        .find(|finding| finding.code == "reading-may-stay-low");
    assert!(low.expect("found").text.contains("its high end reads 3.499 V"));
}

/// The display case with a cell of `factor` times its size. By hand: 180 lx give 43.2 uW for 8 h and 20 lx 4.8 uW for 2.5 h of six days
/// of the week, a mean of 12.771 uW, of which 70 % reach storage.
fn case_in_light(factor: f64) -> Node {
    let mut node = crate::node::example("display-case");
    if let Source::Indoor { area, .. } = &mut node.harvest.source {
        *area *= factor;
    }
    node
}

#[test]
fn light_that_does_not_feed_the_node_in_the_mean_is_cautioned_of() {
    let node = case_in_light(1.0);
    let mean = watts(6.0 * (43.2e-6 * 8.0 + 4.8e-6 * 2.5) / (7.0 * 24.0));
    let needed = Budget::of(&node).slowest.every_attempt;
    let enough = (needed.at_source / mean).get::<ratio>();
    assert!(!codes(&case_in_light(enough * 1.001)).contains(&"income-too-low"));
    let dim = findings_of(&case_in_light(enough * 0.999));
    let caution = dim
        .iter()
        .find(|finding| finding.code == "income-too-low")
        .expect("a caution");
    assert!(
        caution.cure.contains(&at_least(needed.at_source, "W")),
        "{}",
        caution.cure
    );

    // Light enough for ten such nodes, and a converter that carries a tenth of what one takes.
    let mut choked = case_in_light(enough * 10.0);
    choked.harvest.maximum_current = needed.at_storage / (10.0 * Budget::of(&choked).working_voltage);
    let choked = findings_of(&choked);
    let caution = choked
        .iter()
        .find(|finding| finding.code == "income-too-low")
        .expect("a caution");
    assert!(
        caution.cure.contains("harvest.maximum_current"),
        "{}",
        caution.cure
    );

    let mut shaded = crate::node::example("crack-gauge");
    assert!(!codes(&shaded).contains(&"income-too-low"));
    if let Source::Photovoltaic { site, .. } = &mut shaded.harvest.source {
        site.shade = fraction(1e-6);
    }
    assert!(codes(&shaded).contains(&"income-too-low"));
}

/// By hand: a linear supply and a bank that does not leak draw the same current at every voltage, so C·(full − decide)/I is where the
/// caution begins, in the worst corner of the example (10 F · 80 % · 70 %, two in series, 8 % more load, three attempts of 6.72 ms).
#[test]
fn a_darkness_out_of_reach_is_cautioned_of() {
    let mut node = crate::node::example("pump-bearing");
    node.storage.truncate(1);
    node.storage[0].leakage = amperes(0.0);
    node.sense.divider_switched = true;
    node.storage[0].balance_resistor = None;
    let thresholds = Thresholds::of(&node);
    let (asleep_a, own_a) = (3.8e-6 * 1.08, 1.2e-6);
    let airtime_s = (6.0 + 64.0) * 32e-6;
    let busy_s = 4.0 * 1.3 + 3.0 * (2.4e-3 + airtime_s + 1.2e-3);
    let busy_c = 1.08 * (4.0 * 7.4e-3 * 1.3 + 3.0 * (19e-3 * 3.6e-3 + 22e-3 * airtime_s));
    let period_s = 1800.0;
    let mean_a = own_a + (busy_c + asleep_a * (period_s - busy_s)) / period_s;
    let capacitance_f = 10.0 * 0.8 * 0.7 / 2.0;
    let reach_s = capacitance_f * (5.2 - f64::from(thresholds.transmit.decide_mv) / 1e3) / mean_a;
    let is_cautioned = |horizon_s: f64| {
        let mut node = node.clone();
        node.policy.dark_horizon = seconds(horizon_s);
        codes(&node).contains(&"dark-horizon-out-of-reach")
    };
    // The quadrature is good to 1e-8.
    assert!(!is_cautioned(reach_s * (1.0 - 1e-6)));
    assert!(is_cautioned(reach_s * (1.0 + 1e-6)));
}

/// Mohm for mohm or ohm is cured by a lower resistance, at least the one that was meant.
#[test]
fn a_slip_of_the_prefix_is_cured_by_the_resistance() {
    for meant in ["crack-gauge", "pump-bearing"] {
        let mut node = crate::node::example(meant);
        let meant_ohm = node.storage[0].esr.get::<ohm>();
        node.storage.truncate(1);
        node.storage[0].esr = ohms(meant_ohm * 1e6);
        let cure = findings_of(&node).remove(0).cure;
        assert!(cure.contains("a series resistance of "), "{cure}");
        assert!(!cure.contains("no lower series resistance"), "{cure}");
    }
}

/// A bank far too small for its reserve, down to a microfarad, is answered with a cure that can be built.
#[test]
fn a_hopeless_bank_is_answered() {
    for name in ["crack-gauge", "display-case", "pump-bearing"] {
        for capacitance_f in [1e-6, 1e-5, 1e-4] {
            let mut node = crate::node::example(name);
            node.storage.truncate(1);
            node.storage[0].capacitance = farads(capacitance_f);
            let finding = findings_of(&node).remove(0);
            assert_eq!(finding.code, "bank-too-small", "{name} {capacitance_f}");
            assert!(finding.text.contains("more than 1 kV"), "{}", finding.text);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// A larger cell is never cautioned of where a smaller one is not.
    #[test]
    fn more_light_is_never_less(factor in 0.01f64..3.0, more in 1.0f64..3.0) {
        let is_dim = |factor| codes(&case_in_light(factor)).contains(&"income-too-low");
        prop_assert!(is_dim(factor) || !is_dim(factor * more));
    }

    /// Who takes the advice by its four digits is rid of the finding.
    #[test]
    fn advice_that_is_taken_cures(tolerance in 0.001f64..0.05, overvoltage_v in 5.0f64..5.4) {
        let mut node = crate::node::example("crack-gauge");
        node.harvest.overvoltage = volts(overvoltage_v);
        node.supply.gate.as_mut().expect("a gate").tolerance = fraction(tolerance);
        for (code, connect_v) in [("gate-never-connects", 5.399), ("gate-restarts-forever", 2.45)] {
            let mut node = node.clone();
            node.supply.gate.as_mut().expect("a gate").connect_above = volts(connect_v);
            let advice = advised(&node, code);
            prop_assert!(advice.is_some() || code == "gate-restarts-forever" || connect_v * (1.0 + tolerance) <= overvoltage_v);
            let Some(advice) = advice else { continue };
            node.supply.gate.as_mut().expect("a gate").connect_above = advice;
            prop_assert!(!codes(&node).contains(&code), "{code} at {advice:?}");
        }
        node.policy.hysteresis = Some(volts(3.0));
        node.policy.hysteresis = Some(advised(&node, "hysteresis-too-wide").expect("an advice"));
        prop_assert!(!codes(&node).contains(&"hysteresis-too-wide"));
    }

    /// A charging current that lifts every reading above the bank is named as what is wrong, and the one offered in its place is the
    /// largest of two digits that does: a tenth more does not.
    #[test]
    fn a_charging_current_is_blamed_and_cured(current_a in 0.5..20.0f64) {
        let mut node = crate::node::example("crack-gauge");
        node.harvest.maximum_current = amperes(current_a);
        let small = findings_of(&node).into_iter().filter(|finding| finding.code == "bank-too-small");
        let small: Vec<_> = small.collect();
        prop_assert!(!small.is_empty());
        for finding in small {
            prop_assert!(finding.text.contains("; the lift of charging takes"), "{}", finding.text);
            prop_assert!(finding.cure.contains("a harvest.maximum_current of "), "{}", finding.cure);
        }
        let cured = cure::of(&node, |node| transmit_decide(node) <= node.harvest.overvoltage).charging.expect("less current helps");
        prop_assert_eq!(cured.0, amperes(current_a));
        node.harvest.maximum_current = cured.1;
        prop_assert!(transmit_decide(&node) <= node.harvest.overvoltage);
        node.harvest.maximum_current = cured.1 / 0.899;
        prop_assert!(transmit_decide(&node) > node.harvest.overvoltage);
    }

    /// What is offered as a cure cures, and two per cent less of it does not: the cure is the smallest of two digits.
    #[test]
    fn the_cure_is_the_smallest_that_works(capacitance_f in 0.005..0.2f64) {
        let mut node = crate::node::example("crack-gauge");
        node.storage[0].capacitance = farads(capacitance_f);
        prop_assume!(transmit_decide(&node) > node.harvest.overvoltage);
        let cured = cure::of(&node, |node| transmit_decide(node) <= node.harvest.overvoltage).capacitance.expect("more capacitance helps");
        node.storage[0].capacitance = cured.1;
        prop_assert!(transmit_decide(&node) <= node.harvest.overvoltage);
        // Two digits are steps of at most a tenth.
        node.storage[0].capacitance = cured.1 * 0.899;
        prop_assert!(transmit_decide(&node) > node.harvest.overvoltage);
    }
}
