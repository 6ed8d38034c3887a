//! From the constants of a node to the text of its firmware files.
//!
//! A C header and a Rust module. Each is rendered in memory, and carries what made it and a hash of its own text. The same constants
//! give the same bytes.

mod c_header;
pub mod fingerprint;
#[cfg(any(test, feature = "testkit"))]
pub mod given;
mod names;
mod rust_module;
pub mod template;

use millpond_policy::{PlanParts, PolicyParts, WhenFull};
use minijinja::value::{Serde, Value};
use serde::Serialize;

pub use fingerprint::GENERATOR;
pub use fingerprint::marked_copy;

/// Everything that goes into the outputs: integers, and strings that are formatted already.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Constants {
    /// Name of the node.
    pub node: String,
    /// Version of millpond.
    pub version: String,
    /// The pace that was asked for where it is not the node file's own; the command in the banner names it.
    #[serde(skip)]
    pub other_pace: Option<&'static str>,
    /// SHA-256 of everything that was read, hexadecimal.
    #[serde(rename = "input_sha256")]
    pub input_hash: String,
    /// The constants of the policy.
    #[serde(rename = "policy")]
    pub parts: PolicyParts,
    /// The decide thresholds as raw readings.
    pub decide_counts: DecideCounts,
    /// What happens to samples when the backlog is full.
    pub when_full: WhenFull,
    /// How the thresholds came about, for the reader.
    pub thresholds: Vec<ThresholdRow>,
    /// The plan, for a node that plans.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plan: Option<EmittedPlan>,
}

/// The constants of a plan, and where they come from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct EmittedPlan {
    /// What it was made from, for the reader: a line each.
    pub made_from: Vec<String>,
    /// The constants.
    #[serde(flatten)]
    pub parts: PlanParts,
}

/// The decide thresholds as raw readings of the converter (counts): the first that permits, above which all do where counts rise with
/// storage, and below which all do where they fall (`policy.sense.kind` is `reference`).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct DecideCounts {
    /// Of a measurement.
    pub measure: u16,
    /// Of a transmission.
    pub transmit: u16,
}

/// One threshold as people read it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ThresholdRow {
    /// The action: `measure`, `transmit`.
    pub action: String,
    /// Voltage from which the action alone succeeds in the worst corner: "2.916 V".
    pub start: String,
    /// The same with the reserve after it.
    pub start_with_reserve: String,
    /// What the firmware must read: "3090 mV, 523 counts".
    pub decide: String,
    /// Each margin term and its voltage: ("charging lift", "0.032 V").
    pub lines: Vec<(String, String)>,
}

/// One form of the constants.
trait Emitter {
    /// The whole text, with its content line still empty.
    fn render(&self, constants: &Constants) -> String;

    /// The text with the hash of itself.
    fn emit(&self, constants: &Constants) -> String {
        fingerprint::stamped(&self.render(constants))
    }
}

/// The C99 header: the constants and the whole policy as `static` functions.
///
/// ```
/// # use millpond_build::emit::{self, Constants, DecideCounts};
/// # use millpond_policy::{Policy, WhenFull};
/// let constants = Constants {
///     node: "crack-gauge".to_owned(),
///     version: "0.1.0".to_owned(),
///     other_pace: None,
///     input_hash: "0".repeat(64),
///     parts: *Policy::EXAMPLE.parts(),
///     decide_counts: DecideCounts { measure: 425, transmit: 505 },
///     when_full: WhenFull::ThinEvenly,
///     thresholds: Vec::new(),
///     plan: None,
/// };
/// assert!(emit::c_header(&constants).contains("#define CRACK_GAUGE_TRANSMIT_MV 3090u\n"));
/// assert!(emit::rust_module(&constants).contains("    transmit_mv: 3090,\n"));
/// ```
pub fn c_header(constants: &Constants) -> String {
    c_header::CHeader.emit(constants)
}

/// The Rust module for the crate `millpond-policy`: `mod policy;` or `include!` takes it. See [`c_header`].
pub fn rust_module(constants: &Constants) -> String {
    rust_module::RustModule.emit(constants)
}

/// The table of thresholds as lines for a comment: each action, then its terms in columns.
fn threshold_lines(thresholds: &[ThresholdRow]) -> Vec<String> {
    let mut lines = Vec::new();
    for row in thresholds {
        let width = row
            .lines
            .iter()
            .map(|(term, _)| term.chars().count())
            .max()
            .unwrap_or(0);
        let volts_width = row
            .lines
            .iter()
            .map(|(_, volts)| volts.chars().count())
            .max()
            .unwrap_or(0);
        lines.push(names::comment(&format!(
            "{}: start {}, with reserve {}, decide {}",
            row.action, row.start, row.start_with_reserve, row.decide
        )));
        lines.extend(
            row.lines
                .iter()
                .map(|(term, volts)| names::comment(&format!("    {term:<width$}  {volts:>volts_width$}"))),
        );
    }
    lines
}

/// The constants of the plan for a template; nothing where there is none.
fn plan(constants: &Constants) -> Value {
    Value::from(Serde(constants.plan.as_ref().map(|plan| &plan.parts)))
}

/// The option of `generate` that asks for the same pace again, with a space before it; nothing where the node file says it.
fn pace_option(constants: &Constants) -> String {
    constants
        .other_pace
        .map_or_else(String::new, |pace| format!(" --pace {pace}"))
}

/// What the plan was made from, as lines for a comment.
fn plan_lines(constants: &Constants) -> Vec<String> {
    let lines = constants.plan.iter().flat_map(|plan| &plan.made_from);
    lines.map(|line| names::comment(line)).collect()
}

#[cfg(test)]
mod tests {
    use super::given::{example, planned};
    use super::*;

    #[test]
    fn a_plan_is_in_every_output_and_only_where_there_is_one() {
        type Emit = fn(&Constants) -> String;
        let outputs: [(Emit, &str, &str); 2] = [
            (
                c_header,
                "PLAN_SAMPLE_UNIT_S 260859UL\n",
                "\n *     two years * / of weather\n",
            ),
            (
                rust_module,
                "    sample_unit_s: 260859,\n",
                "\n/// two years * / of weather\n/// ```\n",
            ),
        ];
        for (emit, constant, line) in outputs {
            let (without, with) = (emit(&example()), emit(&planned()));
            assert!(with.contains(constant) && with.contains(line), "{with}");
            assert!(!without.to_lowercase().contains("plan"), "{without}");
        }
    }

    #[test]
    fn the_same_constants_give_the_same_bytes() {
        for emit in [c_header, rust_module] {
            assert_eq!(emit(&example()), emit(&example()));
            assert!(emit(&example()).ends_with('\n'));
        }
    }

    #[test]
    fn outputs_hold_only_characters_that_every_compiler_reads() {
        let odd = Constants {
            node: "brück*/\"\\??/\n".to_owned(),
            ..example()
        };
        assert!(
            c_header(&odd)
                .chars()
                .all(|c| c == '\n' || c.is_ascii_graphic() || c == ' ')
        );
        assert!(c_header(&odd).contains("#define BR_CK_NODE \"br\\303\\274ck*/"));
    }

    #[test]
    fn terms_stand_in_columns() {
        let lines = threshold_lines(&example().thresholds);
        assert_eq!(lines[1], "    floor                    2.346 V");
        assert_eq!(lines[2], "    one count * / of sensing  0.006 V");
    }
}
