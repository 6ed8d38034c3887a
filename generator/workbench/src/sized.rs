//! What follows from a node at once: its fields, thresholds, energy and findings.

use millpond::report::{Report, Section};
use serde_json::{Value, json};

use crate::fields;
use crate::files::Files;

/// The answer for the node in `files`; with `faults`, and without sections, where it is refused.
pub(crate) fn answer(files: &Files) -> Value {
    let fields = fields::of(&files.text);
    let file = match files.node() {
        Ok(file) => file,
        Err(mut refused) => {
            refused["fields"] = json!(fields);
            return refused;
        }
    };
    let report = Report::of(&file);
    let thresholds = report.thresholds();
    json!({
        "fields": fields,
        "faults": [],
        "name": file.node.name,
        "works": report.policy().is_some(),
        "boot_mv": thresholds.boot.decide_mv,
        "measure_mv": thresholds.measure.decide_mv,
        "transmit_mv": thresholds.transmit.decide_mv,
        "sections": {
            "figures": report.section(Section::Figures),
            "findings": report.section(Section::Findings),
            "thresholds": report.section(Section::Thresholds),
            "actions": report.section(Section::Actions),
        },
        "charts": report.charts(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = millpond_templates::nodes::CRACK_GAUGE;

    fn answer_to(text: &str) -> Value {
        let files = Files {
            text: text.to_owned(),
            ..Files::default()
        };
        answer(&files)
    }

    #[test]
    fn a_node_is_sized_and_drawn() {
        let answer = answer_to(TEXT);
        assert_eq!(answer["transmit_mv"], 3116);
        let ladder = answer["sections"]["thresholds"].as_str().expect("a section");
        assert!(ladder.contains("transmit 3116 mV"), "{ladder}");
        let charts = answer["charts"].as_str().expect("JSON in a text");
        let charts: Vec<Value> = serde_json::from_str(charts).expect("JSON");
        assert_eq!(charts.len(), 3);
    }

    #[test]
    fn a_refused_node_has_its_faults_at_their_fields() {
        let text = TEXT
            .replace("\"2.2 ohm\"", "\"2.2 V\"")
            .replace("bits = 10", "bits = 99");
        let answer = answer_to(&text);
        let faults = answer["faults"].as_array().expect("a list");
        let keys: Vec<_> = faults.iter().map(|fault| fault["key"].as_str()).collect();
        assert_eq!(keys, [Some("storage.capacitor[0].esr"), Some("sense.bits")]);
        assert!(faults[0]["line"].as_u64() > Some(10), "{faults:?}");
        assert!(
            answer["fields"]
                .as_array()
                .is_some_and(|fields| fields.len() > 40)
        );
        assert!(answer.get("sections").is_none());
    }

    #[test]
    fn a_text_that_is_no_file_is_refused_too() {
        for text in ["", "schema = ", "[[", "\u{feff}", "a = [1, 2"] {
            let answer = answer_to(text);
            assert!(
                !answer["faults"].as_array().expect("a list").is_empty(),
                "{text:?}"
            );
        }
    }
}
