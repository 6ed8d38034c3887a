//! The report: drawn without a word on the console or the network, readable at every width, the same bytes twice.

use std::fs;
use std::path::Path;

use libtest_mimic::Failed;
use millpond::budget::Budget;
use millpond::dividers::{Dividers, Options};
use millpond::findings::{self, Finding};
use millpond::fit::{Fit, Known};
use millpond::income::Income;
use millpond::log::{self, Log};
use millpond::node::NodeFile;
use millpond::plan::made::Made;
use millpond::report::{self, Input, Sources};
use millpond::simulate::study::Study;
use millpond::simulate::timeline::Timeline;
use millpond::thresholds::Thresholds;
use millpond::{input, policy, simulate};
use serde_json::{Value, json};

use crate::{Browser, none};

/// What a page may take (bytes): the goal.
const MOST_BYTES: usize = 3_000_000;
/// A whole year.
const DAYS: f64 = 365.0;
/// Charts of a page: boot, measure, transmit, the whole run, the close one, the log.
const CHARTS: u64 = 6;

pub(crate) fn check(browser: &Browser, node: &str) -> Result<(), Failed> {
    let folder = tempfile::tempdir()?;
    let page = page(folder.path(), node)?;
    if page.len() > MOST_BYTES {
        return Err(format!("{} bytes", page.len()).into());
    }
    let elsewhere = tempfile::tempdir()?;
    if self::page(elsewhere.path(), node)? != page {
        return Err("the same inputs in another folder gave other bytes".into());
    }
    let path = folder.path().join("report.html");
    fs::write(&path, &page)?;
    let answer = browser.look(json!({
        "look": "report", "page": path, "charts": ["current-transmit", "whole", "close", "log"],
    }))?;
    for list in ["messages", "requests", "faults", "overflows"] {
        none(&answer, list)?;
    }
    if (answer["charts"].as_u64(), answer["drawn"].as_u64()) != (Some(CHARTS), Some(CHARTS)) {
        return Err(format!("{} charts, {} drawn", answer["charts"], answer["drawn"]).into());
    }
    let thresholds = Thresholds::of(&NodeFile::load(example(node))?.node);
    let decides: Vec<String> = thresholds
        .actions()
        .iter()
        .map(|(action, threshold)| format!("{action} {} mV", threshold.decide_mv))
        .collect();
    if answer["ladder"] != json!(decides) {
        return Err(format!("ladder: want {decides:?}, got {}", answer["ladder"]).into());
    }
    for (chart, read) in answer["read"].as_object().ok_or("nothing was read")? {
        check_read(chart, read)?;
    }
    Ok(())
}

/// Numbers stand under the pointer, in every panel at once; the keys move it.
fn check_read(chart: &str, read: &Value) -> Result<(), Failed> {
    let numbers = |list: &str| -> Vec<f64> {
        let texts = read[list].as_array().into_iter().flatten();
        texts
            .filter_map(|text| text.as_str()?.trim().parse().ok())
            .collect()
    };
    // Time and values; a column in which nothing happened has no values.
    for (list, least) in [("pointed", 2), ("closer", 1), ("next", 1)] {
        if numbers(list).len() < least {
            return Err(format!("{chart}: no values {list}: {read}").into());
        }
    }
    if numbers("others").first() != numbers("pointed").first() {
        return Err(format!("{chart}: the panels do not point at one time: {read}").into());
    }
    // Neighbours may stand at the same time to three decimals; the few steps of an action may end where the pointer stands.
    let goes_back = numbers("next")[0] < numbers("closer")[0];
    let stays = read["next"] == read["closer"] && !chart.starts_with("current");
    if goes_back || stays {
        return Err(format!("{chart}: the arrow key did not go on: {read}").into());
    }
    Ok(())
}

fn example(node: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../templates/nodes/{node}.toml"))
}

/// The page of an example with a log, which is the simulated timeline of three days.
fn page(folder: &Path, node: &str) -> Result<String, Failed> {
    let file = NodeFile::load(example(node))?;
    let income = Income::of(&file.node.harvest.source).ok_or("an example declares its source")?;
    let thresholds = Thresholds::of(&file.node);
    let policy = policy::policy(&file.node, &thresholds).map_err(|rejected| rejected.text())?;
    let plan = Made::usual(&file.node, &thresholds);
    let path = folder.join("bench.csv");
    let mut timeline = Timeline::new(fs::File::create(&path)?)?;
    let course = simulate::course(&file.node, 3.0);
    Study::of(
        &file.node,
        &thresholds,
        policy,
        plan,
        &income,
        &course,
        &mut timeline,
    );
    timeline.finish()?;
    let log = input::read(&path, log::LIMIT)?;
    let fit = Fit::of(&file.node, &Log::parse(&log.path, &log.text)?, &Known::NOTHING);
    let inputs = [
        Input::of("node file", &file.path, &file.text),
        Input::of("bench log", "bench.csv", &log.text),
    ];
    let page = report::page(
        &Sources {
            file: &file,
            inputs: &inputs,
            income: Some(&income),
            plan,
            days: DAYS,
            fit: Some(("bench.csv", &fit)),
        },
        &millpond::progress::Unseen,
    );
    let mut findings = findings::of(&file.node, &Budget::of(&file.node), &thresholds);
    if file.node.comparator.is_some() {
        findings.extend(Dividers::of(&file.node, &Options::USUAL).findings);
    }
    let is_missing = |finding: &Finding| !page.contains(finding.code);
    if findings.is_empty() != page.contains("No findings") || findings.iter().any(is_missing) {
        return Err("the page says something else about findings than the tool".into());
    }
    Ok(page)
}
