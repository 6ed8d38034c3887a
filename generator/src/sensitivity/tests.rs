//! Derivatives against hand limits, other differences, and what must add up.

use super::*;
use crate::node::quantity;
use approx::assert_relative_eq;

/// At the end of a range three points on one side stand for two on both.
const FROM_ONE_SIDE: f64 = 1e-3;

/// Second-order differences at a thousandth: a millionth of the third derivative, and the bracket of a start voltage.
const DIFFERENCE: f64 = 1e-4;

fn file(name: &str) -> NodeFile {
    let path = format!("{}/../templates/nodes/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    NodeFile::load(path).expect("the examples are valid")
}

/// Change for a percent, over the number itself and a percent: 1 where the number is in proportion.
fn elasticity(sensitivity: &Sensitivity, key: &str, which: usize) -> f64 {
    let mover = sensitivity.quantities.iter().find(|mover| mover.key == key);
    mover.map_or(0.0, |mover| {
        mover.moves[which] * 100.0 / sensitivity.outlook.numbers()[which]
    })
}

/// By hand: `extra` adds itself, so that a percent of 20 mV is 0.2 mV. The dark time from full is in proportion to the one bank's
/// capacitance, leakage or not; to what is left of it at the end of life; and does not see the radio.
#[test]
fn what_follows_by_hand() {
    let gauge = of(&file("crack-gauge"));
    let extra = gauge
        .quantities
        .iter()
        .find(|mover| mover.key == "margins.extra")
        .expect("it moves");
    assert_relative_eq!(extra.moves[0], 0.2e-3, max_relative = DIFFERENCE);
    for key in [
        "storage.capacitor[0].capacitance",
        "storage.capacitor[0].end_of_life_capacitance",
    ] {
        assert_relative_eq!(elasticity(&gauge, key, 1), 1.0, max_relative = DIFFERENCE);
    }
    let send = gauge
        .quantities
        .iter()
        .find(|mover| mover.key == "transmit.phases[1].current")
        .expect("it moves");
    assert_eq!(send.moves[1], 0.0);
    assert!(send.moves[0] > 0.0);
    assert_eq!(gauge.furthest(0, 5).len(), 5);
}

/// A bank and all that draws on it scaled alike last as long: the powers of the capacitance and of all currents sum to nothing (Euler's
/// theorem on homogeneous functions). With a direct supply the currents are the sleeping one and the leakage.
#[test]
fn capacitance_and_currents_cancel() {
    let mut case = file("display-case");
    let switched = case.text.replace("[sense]", "[sense]\ndivider_switched = true");
    case = NodeFile::parse("node.toml", &switched, "").expect("sound");
    let case = of(&case);
    let currents =
        elasticity(&case, "sleep.current", 1) + elasticity(&case, "storage.capacitor[0].leakage", 1);
    assert_relative_eq!(currents, -1.0, max_relative = DIFFERENCE);
    assert_relative_eq!(
        elasticity(&case, "storage.capacitor[0].capacitance", 1),
        1.0,
        max_relative = DIFFERENCE
    );
}

/// The same from other differences: half the step, one side alone, and Richardson's extrapolation of both. Every quantity of every
/// example.
#[test]
fn other_differences_say_the_same() {
    let mut compared = 0;
    for name in ["crack-gauge", "display-case", "pump-bearing"] {
        let file = file(name);
        let middle = Outlook::of(&file.node).numbers();
        for input in inputs::of(&file.text)
            .iter()
            .filter(|input| input.kind == Kind::Quantity)
        {
            let at = |change: f64| {
                let node = NodeFile::parse("node.toml", &input.changed(&file.text, change)?, "")
                    .ok()?
                    .node;
                Some(Outlook::of(&node).numbers())
            };
            let (Some(full), Some(half)) = (slope(&at, &middle, STEP), slope(&at, &middle, STEP / 2.0))
            else {
                continue;
            };
            let only_above = |change: f64| if change < 0.0 { None } else { at(change) };
            let above = slope(&only_above, &middle, STEP);
            for which in 0..3 {
                let richardson = (4.0 * half[which] - full[which]) / 3.0;
                // The bracket of 0.1 µV over half a step, through the threshold into the dark time.
                let noise = 2.0 * 1e-7 / STEP
                    * if which == 0 {
                        4.0
                    } else {
                        4.0 * middle[which].max(middle[1])
                    };
                let allowed = DIFFERENCE * richardson.abs() + noise;
                assert!(
                    (full[which] - richardson).abs() <= allowed,
                    "{name} {} {which}",
                    input.key
                );
                if let Some(above) = &above {
                    // Three points on one side miss by more than two on both.
                    assert!(
                        (above[which] - richardson).abs() <= 10.0 * allowed,
                        "{name} {} {which}",
                        input.key
                    );
                    compared += 1;
                }
            }
        }
    }
    assert!(compared > 300, "{compared}");
}

/// At the end of a range the difference goes to the side that is left: an efficiency of 100 % has none above.
#[test]
fn the_end_of_a_range_is_no_end_of_the_answer() {
    let mut text = file("crack-gauge").text;
    text = text.replace(
        "[[\"2 uA\", \"72 %\"], [\"10 uA\", \"72 %\"], [\"1 mA\", \"88 %\"], [\"50 mA\", \"90 %\"]]",
        "\"100 %\"",
    );
    let whole = NodeFile::parse("node.toml", &text, "").expect("sound");
    let below = NodeFile::parse(
        "node.toml",
        &text.replace("efficiency = \"100 %\"", "efficiency = \"99.999 %\""),
        "",
    )
    .expect("sound");
    let (whole, below) = (
        elasticity(&of(&whole), "supply.efficiency", 1),
        elasticity(&of(&below), "supply.efficiency", 1),
    );
    assert!(whole > 0.1);
    assert_relative_eq!(whole, below, max_relative = FROM_ONE_SIDE);
}

#[test]
fn counts_step_by_one() {
    let gauge = of(&file("crack-gauge"));
    let factor = gauge
        .counts
        .iter()
        .find(|mover| mover.key == "transmit.radio.spreading_factor")
        .expect("it moves");
    // One more spreading factor nearly doubles the time on the air.
    assert!(factor.moves[0] > 0.0);
    assert!(gauge.counts.iter().all(|mover| mover.key != "schema"));
    assert_eq!(quantity::times("12 pF", 2.0).as_deref(), Some("24 pF"));
}
