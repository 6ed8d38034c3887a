//! The questions that a page may ask.

use millpond::generated;
use millpond::node::NodeFile;
use millpond::progress::Progress;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use crate::problems::{self, Fault};
use crate::{course, fields, sized};

/// Tells whoever asked how far long work has come, as a part of 1.
pub struct Tell<F = fn(f64)>(pub F);

/// A question.
#[derive(Deserialize)]
#[serde(tag = "ask", rename_all = "snake_case")]
enum Question {
    /// The fields of a node file, what is wrong with it, and everything that follows from it at once.
    Size { text: String },
    /// A simulated stretch, the node in the dark, and the pace.
    Simulate { text: String, days: f64, tuned: bool },
    /// The text with the value of one key changed.
    Edit {
        text: String,
        key: String,
        value: String,
    },
    /// The C header and the Rust module, to the byte those of the command line.
    Constants { text: String },
}

/// What every answer to a refused node file has.
#[derive(Serialize)]
pub(crate) struct Refused {
    pub(crate) faults: Vec<Fault>,
}

/// Answers a question in JSON. A question that cannot be understood, or a node file that is refused, is an answer, too: an object with
/// `error` or with `faults`.
///
/// ```
/// use millpond_workbench::{answer, Tell};
/// let text = include_str!("../../../templates/nodes/crack-gauge.toml");
/// let question = serde_json::json!({"ask": "size", "text": text}).to_string();
/// let answer: serde_json::Value = serde_json::from_str(&answer(&question, &Tell(|_| {})))?;
/// assert_eq!(answer["transmit_mv"], 3116);
/// # Ok::<(), serde_json::Error>(())
/// ```
pub fn answer<F: Fn(f64) + Sync>(question: &str, tell: &Tell<F>) -> String {
    let answered = match serde_json::from_str(question) {
        Ok(Question::Size { text }) => sized::answer(&text),
        Ok(Question::Simulate { text, days, tuned }) => course::answer(&text, days, tuned, tell),
        Ok(Question::Edit { text, key, value }) => match fields::edited(&text, &key, &value) {
            Some(text) => json!({ "text": text }),
            None => json!({ "error": format!("there is no value at {key}") }),
        },
        Ok(Question::Constants { text }) => constants(&text, tell),
        Err(error) => json!({ "error": error.to_string() }),
    };
    answered.to_string()
}

/// The node in `text`, or the answer that refuses it.
pub(crate) fn node(text: &str) -> Result<NodeFile, Value> {
    NodeFile::parse("node.toml", text, "").map_err(|problems| {
        let faults = problems::faults(text, &problems);
        json!(Refused { faults })
    })
}

fn constants<F: Fn(f64) + Sync>(text: &str, tell: &Tell<F>) -> Value {
    let file = match node(text) {
        Ok(file) => file,
        Err(refused) => return refused,
    };
    match generated::from_file(&file, &Counted::new(tell)) {
        Ok(generated) => json!({
            "name": file.node.name,
            "c": generated.c_header(),
            "rust": generated.rust_module(),
        }),
        Err(refusal) => json!({ "error": refusal.to_string() }),
    }
}

/// Steps of long work, told as a part of those expected.
pub(crate) struct Counted<'a, F> {
    tell: &'a Tell<F>,
    expected: std::sync::atomic::AtomicU64,
    done: std::sync::atomic::AtomicU64,
}

impl<'a, F> Counted<'a, F> {
    pub(crate) fn new(tell: &'a Tell<F>) -> Self {
        Self {
            tell,
            expected: 1.into(),
            done: 0.into(),
        }
    }
}

impl<F: Fn(f64) + Sync> Progress for Counted<'_, F> {
    fn expect(&self, steps: u64) {
        self.expected
            .store(steps.max(1), std::sync::atomic::Ordering::Relaxed);
    }

    fn step(&self) {
        use std::sync::atomic::Ordering::Relaxed;
        let done = self.done.fetch_add(1, Relaxed) + 1;
        // More steps than were expected are a full bar.
        (self.tell.0)((done as f64 / self.expected.load(Relaxed) as f64).min(1.0));
    }
}
