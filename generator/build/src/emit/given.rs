//! What tests give: constants of a node.

use millpond_policy::{Plan, Policy, WhenFull};

use super::{Constants, DecideCounts, EmittedPlan, ThresholdRow};

/// Constants of a node without a plan, with a name and a term that want care.
pub fn example() -> Constants {
    let term = |term: &str, volts: &str| (term.to_owned(), volts.to_owned());
    Constants {
        node: "crack-gauge".to_owned(),
        version: "0.1.0".to_owned(),
        other_pace: None,
        input_hash: "ab".repeat(32),
        parts: *Policy::EXAMPLE.parts(),
        decide_counts: DecideCounts {
            measure: 425,
            transmit: 505,
        },
        when_full: WhenFull::ThinEvenly,
        thresholds: vec![ThresholdRow {
            action: "transmit".to_owned(),
            start: "2.916 V".to_owned(),
            start_with_reserve: "2.951 V".to_owned(),
            decide: "3090 mV".to_owned(),
            lines: vec![
                term("floor", "2.346 V"),
                term("one count */ of sensing", "0.006 V"),
            ],
        }],
        plan: None,
    }
}

/// The same of a node that plans.
pub fn planned() -> Constants {
    Constants {
        plan: Some(EmittedPlan {
            made_from: vec!["two years */ of weather".to_owned()],
            parts: *Plan::EXAMPLE.parts(),
        }),
        ..example()
    }
}
