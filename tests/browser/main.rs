//! Witness: Chromium, driven by Playwright, with axe for accessibility. The report and the workbench as a person would use them.
//!
//! Run with `cargo test -p millpond-tests --test browser`. The interpreter is the one named by `MILLPOND_PYTHON`, or else the first
//! `python3` that has Playwright; requirements.txt has the versions. The browser is the one named by `MILLPOND_CHROMIUM`, or
//! `chromium` on the path.

mod report;
mod workbench;

use libtest_mimic::{Arguments, Failed};
use millpond_tests::command::with_the_page;
use millpond_tests::tool::{self, Tool};
use serde_json::{Value, json};

const SCRIPT: &str = include_str!("look.py");
const BROWSER: &str = "chromium and a python3 with Playwright (apt-get install chromium; \
                    pip install --requirement tests/browser/requirements.txt, MILLPOND_PYTHON names it)";
/// Nodes that come with the project.
const NODES: [&str; 3] = ["crack-gauge", "display-case", "pump-bearing"];

/// A browser and what drives it.
#[derive(Clone)]
struct Browser {
    python: Tool,
    chromium: String,
}

impl Browser {
    fn find() -> Option<Self> {
        let named = std::env::var("MILLPOND_CHROMIUM").ok();
        let programs: Vec<&str> = named
            .as_deref()
            .into_iter()
            .chain(["/usr/bin/chromium", "/usr/bin/chromium-browser"])
            .collect();
        Some(Self {
            python: tool::python_with("import playwright, axe_playwright_python")?,
            chromium: Tool::find(&programs, &["--version"])?.program,
        })
    }

    /// What a look at a page finds. `question` names the look and the page.
    fn look(&self, mut question: Value) -> Result<Value, Failed> {
        question["chromium"] = json!(self.chromium);
        Ok(serde_json::from_slice(&self.python.ask(SCRIPT, &question)?)?)
    }
}

fn main() {
    let arguments = Arguments::from_args();
    let browser = Browser::find();
    let python = browser.as_ref().map(|browser| browser.python.clone());
    tool::announce(python.as_ref(), BROWSER);
    let (builder, for_the_page) = with_the_page(python.clone(), BROWSER);
    if python.is_some() {
        tool::announce(builder.as_ref(), for_the_page);
    }
    let trial = |name: String,
                 (tool, what): (&Option<Tool>, _),
                 check: fn(&Browser, &str) -> Result<(), Failed>,
                 node: &'static str| {
        let browser = browser.clone();
        tool::trial(name, tool.as_ref(), what, move |_| match &browser {
            Some(browser) => check(browser, node),
            None => Err("no browser".into()),
        })
    };
    let report = |node| {
        trial(
            format!("report of {node}"),
            (&python, BROWSER),
            report::check,
            node,
        )
    };
    let workbench = |name: &str, check| {
        trial(
            format!("workbench {name}"),
            (&builder, for_the_page),
            check,
            NODES[0],
        )
    };
    // The page takes minutes to build: the reports are looked at meanwhile.
    let mut trials = vec![workbench("served", workbench::served)];
    trials.extend(NODES.into_iter().map(report));
    trials.push(workbench("from a file", workbench::from_file));
    libtest_mimic::run(&arguments, trials).exit();
}

/// Fails unless `list` of an answer is empty.
fn none(answer: &Value, list: &str) -> Result<(), Failed> {
    match answer[list].as_array() {
        Some(items) if items.is_empty() => Ok(()),
        _ => Err(format!("{list}: {:#}", answer[list]).into()),
    }
}
