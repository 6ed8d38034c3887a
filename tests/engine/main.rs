//! Witness: a WebAssembly engine (Node.js). The library inside the page answers what it answers on this machine, to the last digit.
//!
//! Run with `cargo test -p millpond-tests --test engine`. The engine is the one named by `MILLPOND_NODE`, or `node` on the path. This
//! machine's compiler, its mathematics and its threads are one way to the digits; the page's are another.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use libtest_mimic::{Arguments, Failed, Trial};
use millpond_tests::command::{with_the_page, write_page};
use millpond_tests::measured;
use millpond_tests::tool::{self, Tool};
use millpond_workbench::{Tell, answer};
use serde_json::{Value, json};

const SCRIPT: &str = include_str!("compare.js");
const ENGINE: &str = "node, a JavaScript engine (apt-get install nodejs; MILLPOND_NODE names it)";
/// Nodes that come with the project.
const NODES: [&str; 3] = ["crack-gauge", "display-case", "pump-bearing"];
/// Inputs that are moved, where a node has them: the bank, the climate of its cells, the reading, the sun.
const MOVED: [&str; 6] = [
    "storage.capacitor[0].capacitance",
    "storage.capacitor[0].esr",
    "sleep.current",
    "harvest.site.latitude",
    "harvest.site.longitude",
    "sense.bits",
];
/// How far an input is moved: by numbers whose products fall on no round one.
const FACTORS: [f64; 4] = [0.713, 0.931, 1.117, 1.373];

fn main() {
    let arguments = Arguments::from_args();
    let named = std::env::var("MILLPOND_NODE").ok();
    let programs: Vec<&str> = named.as_deref().into_iter().chain(["node", "nodejs"]).collect();
    let engine = Tool::find(&programs, &["--version"]);
    let (engine, what) = with_the_page(engine, ENGINE);
    tool::announce(engine.as_ref(), what);
    let profile = tool::trial("a measured profile".to_owned(), engine.as_ref(), what, |engine| {
        hold(engine, &profiled()?)
    });
    let trials = NODES.iter().flat_map(|node| {
        [
            tool::trial(
                format!("constants of {node}"),
                engine.as_ref(),
                what,
                move |engine| hold(engine, &[json!({ "ask": "constants", "text": text(node)? })]),
            ),
            tool::trial(
                format!("{node} moved about"),
                engine.as_ref(),
                what,
                move |engine| hold(engine, &moved(&text(node)?)?),
            ),
            tool::trial(format!("weeks of {node}"), engine.as_ref(), what, move |engine| {
                hold(engine, &weeks(&text(node)?))
            }),
        ]
    });
    libtest_mimic::run(&arguments, trials.chain([profile]).collect::<Vec<Trial>>()).exit();
}

/// Every input moved by every factor: the edited file, and what follows from it. Some of these nodes are refused or cannot work; that has
/// to be said in the same words.
fn moved(text: &str) -> Result<Vec<Value>, Failed> {
    let sized = put(&json!({ "ask": "size", "text": text }))?;
    let fields = sized["fields"].as_array().ok_or("no fields")?;
    let mut questions = vec![json!({ "ask": "size", "text": text })];
    for field in fields {
        let (Some(key), Some(value)) = (field["key"].as_str(), field["value"].as_str()) else {
            return Err(format!("a field without a key or a value: {field}").into());
        };
        if !MOVED.contains(&key) {
            continue;
        }
        let (number, unit) = value.split_once(' ').unwrap_or((value, ""));
        let number: f64 = number.parse()?;
        for factor in FACTORS {
            let edit = json!({
                "ask": "edit", "text": text, "key": key, "value": format!("{} {unit}", number * factor).trim(),
            });
            questions.push(json!({ "ask": "size", "text": put(&edit)?["text"] }));
            questions.push(edit);
        }
    }
    if questions.len() < 2 * FACTORS.len() {
        return Err(format!("only {} questions: the fields have other names", questions.len()).into());
    }
    Ok(questions)
}

/// Stretches of a node's life, by the usual plan.
fn weeks(text: &str) -> Vec<Value> {
    [1.0, 7.0, 28.0]
        .map(|days| json!({ "ask": "simulate", "text": text, "days": days, "tuned": false }))
        .to_vec()
}

/// A node whose start-up is a measured profile: with the profile, without it, and with one that is none.
fn profiled() -> Result<Vec<Value>, Failed> {
    let text = measured::measured(&text(NODES[0])?)?;
    let beside = |profile: &str| json!({ measured::PATH: profile });
    Ok(vec![
        json!({ "ask": "constants", "text": text, "profiles": beside(measured::PROFILE) }),
        json!({ "ask": "size", "text": text, "profiles": beside(measured::PROFILE) }),
        json!({ "ask": "size", "text": text }),
        json!({ "ask": "size", "text": text, "profiles": beside("time_s,current_ma\n0,much\n") }),
    ])
}

/// What the library says on this machine.
fn put(question: &Value) -> Result<Value, Failed> {
    Ok(serde_json::from_str(&answer(
        &question.to_string(),
        &Tell(|_| {}),
    ))?)
}

/// Fails where the page answers one of `questions` in another way than this machine.
fn hold(engine: &Tool, questions: &[Value]) -> Result<(), Failed> {
    let cases: Vec<Value> = questions
        .iter()
        .map(|question| {
            let question = question.to_string();
            json!({ "want": answer(&question, &Tell(|_| {})), "question": question })
        })
        .collect();
    let folder = tempfile::tempdir()?;
    let script = folder.path().join("compare.js");
    fs::write(&script, SCRIPT)?;
    let input = folder.path().join("cases.json");
    fs::write(&input, json!({ "page": page()?, "cases": cases }).to_string())?;
    let output = engine
        .command()
        .arg(&script)
        .stdin(fs::File::open(&input)?)
        .output()?;
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into_owned().into());
    }
    let answers: Vec<Option<String>> = serde_json::from_slice(&output.stdout)?;
    if answers.len() != questions.len() {
        return Err(format!("{} questions, {} answers", questions.len(), answers.len()).into());
    }
    match questions
        .iter()
        .zip(answers)
        .find_map(|(question, parted)| Some((question, parted?)))
    {
        Some((question, parted)) => Err(format!("{}: {parted}", question["ask"]).into()),
        None => Ok(()),
    }
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn example(node: &str) -> PathBuf {
    root().join(format!("templates/nodes/{node}.toml"))
}

fn text(node: &str) -> Result<String, Failed> {
    Ok(fs::read_to_string(example(node))?)
}

/// A page built from this tree, once for all trials.
fn page() -> Result<PathBuf, Failed> {
    static PAGE: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    PAGE.get_or_init(|| built().map_err(|error| error.message().unwrap_or("no page").to_owned()))
        .clone()
        .map_err(Failed::from)
}

fn built() -> Result<PathBuf, Failed> {
    let page = Path::new(env!("CARGO_TARGET_TMPDIR")).join("engine.html");
    write_page(&example(NODES[0]), &page)?;
    Ok(page)
}
