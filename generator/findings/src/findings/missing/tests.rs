use super::super::of;
use super::*;
use crate::budget::Budget;

fn codes(node: &Node) -> Vec<&'static str> {
    let findings = of(node, &Budget::of(node), &Thresholds::of(node));
    findings.into_iter().map(|finding| finding.code).collect()
}

/// The examples leave nothing out; each thing that is taken away is missed, and only that.
#[test]
fn what_is_left_out_is_missed() {
    let missing = |node: &Node| -> Vec<&'static str> {
        let ends = ["-not-stated"];
        let mut codes = codes(node);
        codes.retain(|code| ends.iter().any(|end| code.ends_with(end)) && *code != "duty-limit-not-stated");
        codes
    };
    for name in ["crack-gauge", "display-case", "pump-bearing"] {
        assert!(missing(&crate::node::example(name)).is_empty(), "{name}");
    }
    let gauge = || crate::node::example("crack-gauge");
    let mut cold = gauge();
    cold.storage[0].states_cold = false;
    (cold.storage[0].cold_capacitance, cold.storage[0].cold_esr) = (fraction(1.0), fraction(1.0));
    assert_eq!(missing(&cold), ["cold-not-stated"]);
    cold.margins.temperature_min = Some(degrees_celsius(15.0));
    assert!(missing(&cold).is_empty());

    let mut hot = gauge();
    hot.storage[0].hot_leakage = None;
    assert_eq!(missing(&hot), ["hot-leakage-not-stated"]);
    hot.margins.temperature_max = Some(degrees_celsius(25.0));
    assert!(missing(&hot).is_empty());
    // Next to nothing more is not worth a word.
    hot.margins.temperature_max = Some(degrees_celsius(25.1));
    hot.storage[0].leakage = amperes(1e-9);
    assert!(missing(&hot).is_empty());

    let mut new = gauge();
    new.storage[0].fresh_leakage = None;
    assert_eq!(missing(&new), ["fresh-leakage-not-stated"]);
    new.storage[0].leakage = amperes(0.0);
    assert!(missing(&new).is_empty());

    let with_points = |points: &[(f64, f64)]| {
        let mut node = gauge();
        if let Regulator::Switching { efficiency, .. } = &mut node.supply.regulator {
            efficiency.points = points
                .iter()
                .map(|(a, part)| (amperes(*a), fraction(*part)))
                .collect();
        }
        missing(&node)
    };
    assert_eq!(
        with_points(&[(10e-6, 0.72), (50e-3, 0.9)]),
        ["light-load-not-stated"]
    );
    assert_eq!(
        with_points(&[(2.4e-6, 0.72), (40e-3, 0.9)]),
        ["heavy-load-not-stated"]
    );
    assert!(with_points(&[(2.4e-6, 0.72), (44e-3, 0.9)]).is_empty());
    // One figure says nothing of light load, and is taken for that of a load.
    assert_eq!(with_points(&[(1e-3, 0.85)]), ["light-load-not-stated"]);

    let mut nowhere = crate::node::example("display-case");
    nowhere.margins.temperature_min = None;
    assert!(missing(&nowhere).is_empty());
    nowhere.margins.temperature_max = None;
    assert_eq!(missing(&nowhere), ["temperature-not-stated"]);
    nowhere.storage[0].states_cold = true;
    assert!(missing(&nowhere).is_empty());
}

/// By hand: a bank that leaks and draws nothing else falls by C/G·ln(v1/v2). At 40 degC it leaks four times as much by the rule, new ten
/// times: a quarter and a tenth of the time. What costs most comes first.
#[test]
fn what_is_left_out_is_said_by_the_rule() {
    let mut node = crate::node::example("display-case");
    node.sleep_current = amperes(0.0);
    node.sense.divider_switched = true;
    node.margins.temperature_max = Some(degrees_celsius(40.0));
    node.storage[0].fresh_leakage = None;
    let thresholds = Thresholds::of(&node);
    let hours = |times: f64| {
        let conductance_s = 1e-6 / 4.5 * times;
        let lasts_s = 0.22 * 0.8 * 0.7 / conductance_s * (4.2f64 / 1.8).ln();
        Engineering(seconds(lasts_s), "s").to_string()
    };
    let found = data(&node, &thresholds);
    let codes: Vec<_> = found.iter().map(|finding| finding.code).collect();
    assert_eq!(codes, ["fresh-leakage-not-stated", "hot-leakage-not-stated"]);
    for (finding, times) in found.iter().zip([10.0, 4.0]) {
        let words = format!("{} instead of {}", hours(times), hours(1.0));
        assert!(finding.text.contains(&words), "{words}: {}", finding.text);
        assert!(
            finding.text.contains("storage.capacitor[0] (220 mF)"),
            "{}",
            finding.text
        );
    }
    // By the rule of a double-layer cell the resistance is twice as high at -40 degC.
    let mut gauge = crate::node::example("crack-gauge");
    gauge.margins.temperature_min = Some(degrees_celsius(-40.0));
    let cell = &mut gauge.storage[0];
    (cell.states_cold, cell.cold_capacitance, cell.cold_esr) = (false, fraction(1.0), fraction(1.0));
    let now_mv = Thresholds::of(&gauge).transmit.decide_mv;
    let mut usual = gauge.clone();
    usual.storage[0].cold_esr = fraction(2.0);
    let rise_mv = Thresholds::of(&usual).transmit.decide_mv - now_mv;
    let found = data(&gauge, &Thresholds::of(&gauge));
    assert!(
        found[0].text.contains(&format!("{rise_mv} mV higher")),
        "{}",
        found[0].text
    );
}
