//! The questions that a page may ask.

use millpond::generated;
use serde::Deserialize;
use serde_json::{Value, json};

use crate::files::Files;
use crate::told::{Counted, Tell};
use crate::{course, fields, sized};

/// A question.
#[derive(Deserialize)]
#[serde(tag = "ask", rename_all = "snake_case")]
enum Question {
    /// The fields of a node file, what is wrong with it, and everything that follows from it at once.
    Size(Files),
    /// A simulated stretch, the node in the dark, and the pace.
    Simulate {
        #[serde(flatten)]
        files: Files,
        days: f64,
        tuned: bool,
    },
    /// The text with the value of one key changed.
    Edit {
        text: String,
        key: String,
        value: String,
    },
    /// The C header and the Rust module, to the byte those of the command line.
    Constants(Files),
}

/// Answers a question in JSON. A question that cannot be understood, or a node file that is refused, is an answer, too: an object with
/// `error` or with `faults`.
///
/// ```
/// use millpond_workbench::{answer, Tell};
/// let text = millpond_templates::nodes::CRACK_GAUGE;
/// let question = serde_json::json!({"ask": "size", "text": text}).to_string();
/// let answer: serde_json::Value = serde_json::from_str(&answer(&question, &Tell(|_| {})))?;
/// assert_eq!(answer["transmit_mv"], 3116);
/// # Ok::<(), serde_json::Error>(())
/// ```
pub fn answer<F: Fn(f64) + Sync>(question: &str, tell: &Tell<F>) -> String {
    let answered = match serde_json::from_str(question) {
        Ok(Question::Size(files)) => sized::answer(&files),
        Ok(Question::Simulate { files, days, tuned }) => course::answer(&files, days, tuned, tell),
        Ok(Question::Edit { text, key, value }) => match fields::edited(&text, &key, &value) {
            Some(text) => json!({ "text": text }),
            None => json!({ "error": format!("there is no value at {key}") }),
        },
        Ok(Question::Constants(files)) => constants(&files, tell),
        Err(error) => json!({ "error": error.to_string() }),
    };
    answered.to_string()
}

fn constants<F: Fn(f64) + Sync>(files: &Files, tell: &Tell<F>) -> Value {
    let file = match files.node() {
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

#[cfg(test)]
mod tests {
    use super::*;
    use millpond::node::NodeFile;
    use millpond::progress::Unseen;

    const TEXT: &str = millpond_templates::nodes::DISPLAY_CASE;

    /// A node with a measured profile, opened beside it: the constants are those of the files on the disk, to the byte.
    #[test]
    fn a_measured_profile_makes_the_constants_of_the_command_line() {
        let phases = TEXT
            .lines()
            .find(|line| line.starts_with("phases"))
            .expect("those of the boot");
        let text = TEXT.replacen(phases, "profile = \"bench/boot.csv\"", 1);
        let profile = "time_s,current_ma\n0,3\n0.02,5\n0.03,0\n";
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::create_dir(folder.path().join("bench")).expect("a folder");
        std::fs::write(folder.path().join("bench/boot.csv"), profile).expect("a file");
        let file = NodeFile::parse("node.toml", &text, folder.path()).expect("sound");
        let want = generated::from_file(&file, &Unseen).expect("works");
        let asked = |question: Value| -> Value {
            serde_json::from_str(&answer(&question.to_string(), &Tell(|_| {}))).expect("JSON")
        };
        let got = asked(json!({ "ask": "constants", "text": text, "profiles": { "boot.csv": profile } }));
        assert_eq!(got["c"], json!(want.c_header()));
        let without = asked(json!({ "ask": "size", "text": text }));
        assert_eq!(without["faults"][0]["key"], "boot.profile");
        // A fault in the profile stands in its file, at its own line.
        let wrong = asked(
            json!({ "ask": "size", "text": text, "profiles": { "boot.csv": "time_s,current_ma\n0,3\n0.02,much\n" } }),
        );
        let fault = &wrong["faults"][0];
        assert_eq!(
            (&fault["file"], &fault["line"], &fault["column"]),
            (&json!("bench/boot.csv"), &json!(3), &json!(6))
        );
        assert_eq!(fault["key"], Value::Null);
    }
}
