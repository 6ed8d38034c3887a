//! The sets of the example nodes, and what is said when they cannot be right.

use super::*;
use crate::findings::Severity;
use crate::node::{Node, example};
use crate::text::Engineering;
use approx::assert_relative_eq;
use proptest::prelude::*;

/// E96 has a value in every 2.4 %: half of that.
const HALF_STEP: f64 = 0.012;
/// A difference of some millivolts between two thresholds of some volts.
const FIRST_ORDER: f64 = 1e-6;
/// Rounding of the same sum at ten times the resistance.
const ROUNDING: f64 = 1e-9;

const OPTIONS: Options = Options {
    series: Series::E96,
    tolerance: None,
    current_at_most: None,
    rows: 3,
};
const CRACK_GAUGE: &str = millpond_templates::nodes::CRACK_GAUGE;

fn codes(dividers: &Dividers) -> Vec<&'static str> {
    dividers.findings.iter().map(|finding| finding.code).collect()
}

fn changed(from: &str, to: &str) -> Node {
    assert!(CRACK_GAUGE.contains(from), "{from}");
    Node::read(&CRACK_GAUGE.replace(from, to)).expect("sound")
}

/// Every example node is answered in full, without an error.
#[test]
fn the_examples_have_all_their_resistors() {
    for (name, gates) in [("crack-gauge", 3), ("display-case", 0), ("pump-bearing", 0)] {
        let node = example(name);
        let dividers = Dividers::of(&node, &OPTIONS);
        assert_eq!(dividers.sets_for(Use::Gate).count(), gates, "{name}");
        assert_eq!(dividers.sets_for(Use::Overvoltage).count(), 3, "{name}");
        assert_eq!(dividers.sets_for(Use::Sense).count(), 3, "{name}");
        assert!(
            dividers
                .findings
                .iter()
                .all(|finding| finding.severity == Severity::Caution),
            "{name}"
        );
        for set in &dividers.sets {
            assert!(set.current <= dividers.current_at_most);
            assert!(set.upper.lowest < set.upper.nominal && set.upper.nominal < set.upper.highest);
            assert_eq!(set.places.len(), set.resistors.len());
        }
        for set in dividers.sets_for(Use::Sense) {
            // The last count is enough for a full storage in the lowest unit.
            assert!(set.upper.lowest > node.harvest.overvoltage);
        }
    }
}

/// A node that reads a reference against its supply needs no divider for it, and is told so.
#[test]
fn a_reading_against_the_supply_needs_no_divider() {
    let mut node = example("display-case");
    node.sense.kind = crate::node::SenseKind::Reference;
    let dividers = Dividers::of(&node, &OPTIONS);
    assert_eq!(dividers.sets_for(Use::Sense).count(), 0);
    assert!(!codes(&dividers).contains(&"no-divider"));
    assert!(dividers.reads_supply);
}

/// By hand: 1.2 V from a pair at 4.2 V is 2.5 to 1.
#[test]
fn the_limit_of_a_pair_is_as_by_hand() {
    let mut node = example("display-case");
    if let Some(comparator) = &mut node.comparator {
        comparator.hysteresis = volts(0.0);
    }
    let dividers = Dividers::of(&node, &OPTIONS);
    let best = dividers.sets_for(Use::Overvoltage).next().expect("a pair");
    assert_relative_eq!(
        (best.resistors[0] / best.resistors[1]).get::<ratio>(),
        2.5,
        max_relative = HALF_STEP
    );
    assert_eq!(
        best.lower.as_ref().map(|lower| lower.nominal),
        Some(best.upper.nominal)
    );
    // 2 nA through the top resistor.
    assert_relative_eq!(
        best.bias_shift.get::<volt>(),
        2e-9 * best.resistors[0].get::<ohm>(),
        max_relative = FIRST_ORDER
    );
}

#[test]
fn a_missing_comparator_is_asked_for_and_sensing_is_answered() {
    let end = CRACK_GAUGE.find("[comparator]").expect("a last section");
    let node = Node::read(&CRACK_GAUGE[..end]).expect("sound");
    let dividers = Dividers::of(&node, &OPTIONS);
    assert_eq!(codes(&dividers), ["comparator-missing"]);
    assert_eq!(dividers.findings[0].severity, Severity::Error);
    assert_eq!(dividers.sets_for(Use::Sense).count(), 3);
    // The block to paste is a section that the reader takes.
    let (_, block) = dividers.findings[0].cure.split_once("\n\n").expect("a block");
    let pasted = Node::read(&format!("{}{block}", &CRACK_GAUGE[..end])).expect("sound");
    assert_eq!(Dividers::of(&pasted, &OPTIONS).sets_for(Use::Gate).count(), 3);
}

#[test]
fn a_limit_above_the_rating_is_an_error_and_its_cure_cures() {
    let loose = changed("reference_tolerance = \"0.5 %\"", "reference_tolerance = \"4 %\"");
    let dividers = Dividers::of(&loose, &OPTIONS);
    let finding = &dividers.findings[0];
    assert_eq!(
        (finding.code, finding.severity),
        ("limit-above-rating", Severity::Error)
    );
    let advised = finding
        .cure
        .split(' ')
        .find_map(|word| word.parse::<f64>().ok())
        .expect("a voltage");
    let mut cured = loose.clone();
    cured.harvest.overvoltage = volts(advised);
    assert!(!codes(&Dividers::of(&cured, &OPTIONS)).contains(&"limit-above-rating"));
}

/// The tolerance that the gate's finding advises is enough, and a hundredth of a percent less is not.
#[test]
fn the_advised_gate_tolerance_is_the_least() {
    let node = changed("tolerance = \"2 %\"", "tolerance = \"0.5 %\"");
    let finding = |node: &Node| {
        let dividers = Dividers::of(node, &OPTIONS);
        dividers
            .findings
            .into_iter()
            .find(|finding| finding.code == "gate-outside-tolerance")
    };
    let advised = finding(&node).expect("too close a tolerance").cure;
    let percent: f64 = advised
        .split('"')
        .nth(1)
        .and_then(|text| text.split(' ').next()?.parse().ok())
        .expect("a percentage");
    let with = |percent: f64| {
        let mut node = node.clone();
        if let Some(gate) = &mut node.supply.gate {
            gate.tolerance = fraction(percent / 100.0);
        }
        node
    };
    assert_eq!(finding(&with(percent)), None);
    assert!(finding(&with(percent - 0.01)).is_some());
}

#[test]
fn bias_coarse_values_and_short_sampling_are_noticed() {
    let cases = [
        (
            "input_bias_current = \"1 nA\"",
            "input_bias_current = \"100 nA\"",
            Series::E96,
            "bias-moves-threshold",
        ),
        (
            "input_bias_current = \"1 nA\"",
            "input_bias_current = \"1 pA\"",
            Series::E3,
            "threshold-missed",
        ),
        (
            "gate_circuit = \"feedback\"",
            "gate_circuit = \"pair\"",
            Series::E96,
            "gate-missed",
        ),
        (
            "sampling_capacitor = \"12 pF\"",
            "sampling_capacitor = \"12 pF\"\nsampling_time = \"4 us\"",
            Series::E96,
            "sampling-too-short",
        ),
        (
            "reference = \"1.2 V\"",
            "reference = \"5.4 V\"",
            Series::E96,
            "no-divider",
        ),
    ];
    for (from, to, series, code) in cases {
        let usual = Dividers::of(&example("crack-gauge"), &OPTIONS);
        assert!(!codes(&usual).contains(&code), "{code} in health");
        let dividers = Dividers::of(&changed(from, to), &Options { series, ..OPTIONS });
        assert!(codes(&dividers).contains(&code), "{code}: {:?}", codes(&dividers));
    }
}

/// By hand: 4 V and 2.3 V are 1.7391 to 1. Around 1.2 V that is 1.2 ± 0.3238 V, a hysteresis of 647.6 mV; and a comparator with it is cured.
#[test]
fn a_pair_without_hysteresis_is_no_gate() {
    let pair = changed("gate_circuit = \"feedback\"", "gate_circuit = \"pair\"");
    let dividers = Dividers::of(&pair, &OPTIONS);
    let finding = &dividers.findings[0];
    assert_eq!((finding.code, finding.severity), ("gate-missed", Severity::Error));
    assert!(
        finding.cure.contains("a `hysteresis` of 647.6 mV"),
        "{}",
        finding.cure
    );
    // What is far off with nominal parts is no tolerance to write down.
    assert!(!codes(&dividers).contains(&"gate-outside-tolerance"));
    let mut cured = pair;
    if let Some(comparator) = &mut cured.comparator {
        comparator.hysteresis = volts(0.6476);
    }
    assert!(!codes(&Dividers::of(&cured, &OPTIONS)).contains(&"gate-missed"));
}

/// By hand: 12 pF share their charge with a capacitor of 2^11 times as much, 24.576 nF, within half a count of ten bits.
#[test]
fn a_short_sampling_is_cured_by_a_capacitor_of_half_counts() {
    let node = changed(
        "sampling_capacitor = \"12 pF\"",
        "sampling_capacitor = \"12 pF\"\nsampling_time = \"4 us\"",
    );
    let dividers = Dividers::of(&node, &OPTIONS);
    let short = dividers
        .findings
        .iter()
        .find(|finding| finding.code == "sampling-too-short");
    let cure = short.map_or("", |finding| &finding.cure);
    assert!(cure.contains("put 24.58 nF across"), "{cure}");
    // As many times the capacitance settle in as many times the time.
    let settling = dividers
        .sets_for(Use::Sense)
        .next()
        .and_then(|best| best.settling);
    let after = Engineering(settling.expect("a time") * 2048.0, "s");
    assert!(cure.contains(&format!("settles in {after} after")), "{cure}");
}

/// The current that the cure names is enough, for whatever sampling time and series.
#[test]
fn a_short_sampling_is_cured_by_the_current_that_is_named() {
    for series in [Series::E6, Series::E24, Series::E96] {
        for sampled_us in [60, 30, 10, 4, 1] {
            let node = changed(
                "sampling_capacitor = \"12 pF\"",
                &format!("sampling_capacitor = \"12 pF\"\nsampling_time = \"{sampled_us} us\""),
            );
            let cure = |options: &Options| {
                Dividers::of(&node, options)
                    .findings
                    .into_iter()
                    .find(|finding| finding.code == "sampling-too-short")
                    .map(|finding| finding.cure)
            };
            let options = Options { series, ..OPTIONS };
            let Some(text) = cure(&options) else { continue };
            let words: Vec<&str> = text.split_whitespace().collect();
            let at = words.iter().position(|word| *word == "--current-at-most");
            let named = format!(
                "{} {}",
                words[at.expect("named") + 2],
                words[at.expect("named") + 3]
            );
            let current =
                crate::node::quantity::parse::<Current>(named.trim_end_matches(';')).expect("a current");
            let enough = Options {
                current_at_most: Some(current),
                ..options
            };
            assert_eq!(cure(&enough), None, "{series:?} {sampled_us} us: {named}");
        }
    }
}

/// Ten times the current: resistors a tenth as large, with the same ratio, settle in a tenth of the time.
#[test]
fn more_current_settles_faster() {
    let node = example("crack-gauge");
    let settled = |current_a: f64| {
        let options = Options {
            current_at_most: Some(amperes(current_a)),
            ..OPTIONS
        };
        let dividers = Dividers::of(&node, &options);
        let set = dividers.sets_for(Use::Sense).next().cloned().expect("a pair");
        (set.resistors, set.settling.expect("a sampling capacitor"))
    };
    let ((slow, slow_time), (fast, fast_time)) = (settled(6e-6), settled(6e-5));
    assert_relative_eq!((slow[0] / fast[0]).get::<ratio>(), 10.0, max_relative = ROUNDING);
    assert_relative_eq!(
        (slow_time / fast_time).get::<ratio>(),
        10.0,
        max_relative = ROUNDING
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Ten times the current gives ten times smaller resistors with the same error, as long as all are to be had.
    #[test]
    fn a_decade_of_current_is_a_decade_of_resistance(decade in -5.8..-5.2f64) {
        let node = example("crack-gauge");
        let sets = |current_a: f64| {
            let options = Options { series: Series::E24, current_at_most: Some(amperes(current_a)), ..OPTIONS };
            Dividers::of(&node, &options).sets
        };
        let current_a = 10f64.powf(decade);
        let (less, more) = (sets(current_a), sets(current_a * 10.0));
        let first = |sets: &[Set]| sets.iter().find(|set| set.purpose == Use::Overvoltage).cloned().expect("a pair");
        let (less, more) = (first(&less), first(&more));
        prop_assert_eq!(less.error, more.error);
        prop_assert!(((less.resistors[0] / more.resistors[0]).get::<ratio>() - 10.0).abs() < ROUNDING);
    }
}
