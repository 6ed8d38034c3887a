//! STAGE 8: everything there is to say about a node, as one page that needs no network.
//!
//! From a node file, an income and a log, if there are any, to the text of an HTML file: each section is a view of strings in a file
//! of its own, the template in `templates/report` puts them in order, and a script draws the charts from numbers that stand in the
//! page. The same inputs give the same bytes: no date, no path, no running time.

mod actions;
mod chart;
mod course;
mod dark;
mod fitted;
mod job;
pub mod ladder;
mod pace;
mod page;
mod rules;
mod tornado;

use std::fs;
use std::io;
use std::path::Path;

use millpond_policy::{Plan, Policy};
use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::budget::Budget;
use crate::findings::{self, Severity};
use crate::fit::Fit;
use crate::income::Income;
use crate::node::{Node, NodeFile, Pace};
use crate::plan::rates;
use crate::plan::settings::Settings;
use crate::plan::typical::Typical;
use crate::policy;
use crate::printout;
use crate::progress::Progress;
use crate::sensitivity;
use crate::simulate;
use crate::simulate::picture::Level;
use crate::simulate::study::{EVEN, PLANNED, Study};
use crate::survival::{Corner, Doing, Survival};
use crate::text::Engineering;
use crate::thresholds::Thresholds;
use crate::units::*;

use course::Seen;
use page::{Figure, Page};

/// Steps that [`page`] counts on its progress bar.
pub const STEPS: u64 = 3;

/// A file that the page rests on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Input {
    /// What it is.
    pub role: &'static str,
    /// Its name without its folder, so that the page is the same wherever it is made.
    pub name: String,
    /// SHA-256 over its bytes, in hexadecimal.
    pub sha256: String,
}

impl Input {
    /// Reads the file at `path` for its hash.
    ///
    /// # Errors
    ///
    /// If it cannot be read.
    ///
    /// ```
    /// use millpond::report::Input;
    /// let input = Input::of("node file", "../templates/nodes/crack-gauge.toml")?;
    /// assert_eq!((input.name.as_str(), input.sha256.len()), ("crack-gauge.toml", 64));
    /// # Ok::<(), std::io::Error>(())
    /// ```
    pub fn of(role: &'static str, path: impl AsRef<Path>) -> io::Result<Self> {
        let path = path.as_ref();
        let bytes = fs::read(path)?;
        let name = path.file_name().unwrap_or(path.as_os_str());
        let digits = Sha256::digest(&bytes)
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect();
        Ok(Self {
            role,
            name: name.to_string_lossy().into_owned(),
            sha256: digits,
        })
    }
}

/// What a page is made from.
#[derive(Clone, Copy)]
pub struct Sources<'a> {
    /// The node.
    pub file: &'a NodeFile,
    /// Every file that was read.
    pub inputs: &'a [Input],
    /// What the source brings; `None` where nothing says.
    pub income: Option<&'a Income>,
    /// The plan that runs beside the table; `None` where the node can have none.
    pub plan: Option<Plan>,
    /// How long the simulation runs (days), above 0.
    pub days: f64,
    /// A bench log by its name, and what was fitted to it.
    pub fit: Option<(&'a str, &'a Fit)>,
}

/// The page. A node with an error among its findings gets all but what needs a working node.
///
/// ```
/// use millpond::{income::Income, node::NodeFile, progress::Unseen, report};
/// let file = NodeFile::load("../templates/nodes/display-case.toml")?;
/// let income = Income::of(&file.node.harvest.source);
/// let sources = report::Sources { file: &file, inputs: &[], income: income.as_ref(), plan: None, days: 2.0, fit: None };
/// let page = report::page(&sources, &Unseen);
/// assert!(page.starts_with("<!doctype html>") && page.contains("display-case"));
/// # Ok::<(), millpond::node::LoadError>(())
/// ```
pub fn page(sources: &Sources, progress: &dyn Progress) -> String {
    let file = sources.file;
    let node = &file.node;
    let budget = Budget::of(node);
    let thresholds = Thresholds::of(node);
    let findings = findings::of(node, &budget, &thresholds);
    let works = findings.iter().all(|finding| finding.severity != Severity::Error);
    let policy = policy::policy(node, &thresholds).ok().filter(|_| works);

    let mut page = Page::new(node, &file.text, &budget, &thresholds);
    page.findings = printout::findings::views(&findings);
    page.inputs = sources.inputs.to_vec();
    page.input_hash.clone_from(&file.input_hash);
    if let Some(policy) = policy {
        if let Some(income) = sources.income {
            simulated(&mut page, sources, &thresholds, policy, income);
        }
        page.pace = pace(sources, &thresholds, &policy);
    }
    progress.step();
    if works {
        in_the_dark(&mut page, node, &thresholds);
    }
    progress.step();
    let found = sensitivity::of(file);
    page.tornados = tornado::views(&found);
    progress.step();
    if let Some((name, fit)) = sources.fit {
        let (view, chart) = fitted::view(name, fit);
        page.fitted = Some(view);
        page.charts.extend(chart);
    }
    page.render()
}

/// The simulated run, its charts, and the rules beside it.
fn simulated(page: &mut Page, sources: &Sources, thresholds: &Thresholds, policy: Policy, income: &Income) {
    let node = &sources.file.node;
    let plan = simulate::plan(node, sources.days);
    let mut seen = Seen::new(plan.duration.get::<second>());
    let study = Study::of(node, thresholds, policy, sources.plan, income, &plan, &mut seen);
    let (view, charts) = course::view(&seen, &Level::of(thresholds));
    let outcome = &study.outcome;
    page.figures.extend([
        Figure {
            label: "reports a day",
            value: format!("{:.1}", outcome.reports as f64 / sources.days),
            note: format!("mean age {}", Engineering(seconds(outcome.mean_age_s()), "s")),
        },
        Figure {
            label: "longest silence",
            value: Engineering(seconds(outcome.longest_silence_s), "s").to_string(),
            note: format!("in {} simulated days", sources.days),
        },
        Figure {
            label: "brown-outs",
            value: outcome.brownouts.to_string(),
            note: study.ratio(outcome).map_or_else(
                || "no bound: foresight itself dies".to_owned(),
                |score| format!("score {score:.2} of foresight"),
            ),
        },
    ]);
    page.course = Some(view);
    page.charts.extend(charts);
    page.rules = Some(rules::Rules::of(node, &study));
}

/// The pace that the node asks for, with the plan of the run where it plans.
fn pace(sources: &Sources, thresholds: &Thresholds, policy: &Policy) -> Option<pace::PaceView> {
    let node = &sources.file.node;
    let typical = Typical::of(node, thresholds)?;
    let plan = sources.plan.or_else(|| typical.plan(&Settings::usual()).ok());
    Some(match (node.policy.pace, plan, sources.income) {
        (Pace::Planned, Some(plan), Some(income)) => {
            pace::PaceView::of(PLANNED, &rates::planned(node, &typical, &plan, income))
        }
        _ => pace::PaceView::of(EVEN, &rates::even(node, &typical, policy)),
    })
}

/// How long the node lives without light.
fn in_the_dark(page: &mut Page, node: &Node, thresholds: &Thresholds) {
    let typical = Survival::of(node, thresholds, Corner::Typical);
    let worst = Survival::of(node, thresholds, Corner::Worst);
    let asleep = worst
        .row(Doing::Sleeping)
        .map_or(seconds(0.0), |row| row.from_full.alive);
    page.figures.insert(
        2.min(page.figures.len()),
        Figure {
            label: "in the dark, asleep",
            value: Engineering(asleep, "s").to_string(),
            note: "from full, worst corner".to_owned(),
        },
    );
    page.dark = vec![dark::view(&typical), dark::view(&worst)];
}
