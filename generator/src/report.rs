//! Everything there is to say about a node, as one page that needs no network.
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

use std::borrow::Cow;
use std::ffi::OsStr;
use std::path::Path;

use hmac_sha256::Hash;
use millpond_policy::Policy;
use serde::Serialize;

use crate::budget::Budget;
use crate::dividers::{Dividers, Options};
use crate::findings::{self, Finding, Severity};
use crate::fit::Fit;
use crate::income::Income;
use crate::node::{Node, NodeFile, Pace};
use crate::picture::Level;
use crate::plan::made::Made;
use crate::plan::rates;
use crate::plan::typical::Typical;
use crate::policy;
use crate::printout;
use crate::progress::Progress;
use crate::sensitivity;
use crate::simulate;
use crate::simulate::study::Study;
use crate::simulate::timeline::{Blind, Moment, Watch};
use crate::survival::{Corner, Doing, Survival};
use crate::text::{Engineering, hexadecimal, in_days, lasting};
use crate::thresholds::Thresholds;
use crate::units::*;
use crate::visible::visible;

use course::Seen;
#[cfg(not(target_arch = "wasm32"))]
pub(crate) use page::inline;
pub use page::{Section, scripts, style};

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
    /// The file of this path and text. It is not read again: a pipe has its text only once.
    ///
    /// ```
    /// use millpond::report::Input;
    /// let input = Input::of("bench log", "logs/bench.csv", "abc");
    /// assert_eq!(input.name, "bench.csv");
    /// // FIPS 180-2, appendix B.1.
    /// assert_eq!(input.sha256, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    /// ```
    pub fn of(role: &'static str, path: &str, text: &str) -> Self {
        let name = Path::new(path).file_name().map(OsStr::to_string_lossy);
        Self {
            role,
            name: visible(&name.unwrap_or(Cow::Borrowed(path))).into_owned(),
            sha256: hexadecimal(&Hash::hash(text.as_bytes())),
        }
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
    pub plan: Option<Made>,
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
/// # Ok::<(), millpond::input::LoadError>(())
/// ```
pub fn page(sources: &Sources, progress: &dyn Progress) -> String {
    let mut report = Report::of(sources.file);
    report.page.inputs = sources.inputs.to_vec();
    if let Some(income) = sources.income {
        report.simulate(income, sources.plan, sources.days, &mut Blind);
    }
    report.add_pace(sources.income, sources.plan);
    progress.step();
    report.add_dark();
    progress.step();
    report.page.tornados = tornado::views(&sensitivity::of(sources.file));
    progress.step();
    if let Some((name, fit)) = sources.fit {
        let (view, chart) = fitted::view(name, fit);
        report.page.fitted = Some(view);
        report.page.charts.extend(chart);
    }
    report.page.text()
}

/// A page while it is put together. [`page`] takes all of it; the workbench takes the sections that it shows, when it shows them.
pub struct Report<'a> {
    node: &'a Node,
    thresholds: Thresholds,
    /// `None` where the node cannot work.
    policy: Option<Policy>,
    page: Page,
}

impl<'a> Report<'a> {
    /// What follows from the node alone.
    ///
    /// ```
    /// use millpond::{node::NodeFile, report::{Report, Section}};
    /// let file = NodeFile::load("../templates/nodes/crack-gauge.toml")?;
    /// let report = Report::of(&file);
    /// assert!(report.section(Section::Thresholds).contains("transmit 3116 mV"));
    /// # Ok::<(), millpond::input::LoadError>(())
    /// ```
    pub fn of(file: &'a NodeFile) -> Self {
        let node = &file.node;
        let budget = Budget::of(node);
        let thresholds = Thresholds::of(node);
        let findings = findings::of(node, &budget, &thresholds);
        let works = findings.iter().all(|finding| finding.severity != Severity::Error);
        let mut page = Page::new(node, &file.text, &budget, &thresholds);
        page.findings = printout::findings::views(&of_all_stages(node, findings));
        page.has_comparator = node.comparator.is_some();
        page.input_hash.clone_from(&file.input_hash);
        Self {
            node,
            policy: policy::policy(node, &thresholds).ok().filter(|_| works),
            thresholds,
            page,
        }
    }

    /// Runs the nominal unit for `days` on `income` beside the baselines; nothing where the node cannot work. `watch` sees the run.
    pub fn simulate(&mut self, income: &Income, plan: Option<Made>, days: f64, watch: &mut impl Watch) {
        let Some(policy) = self.policy else {
            return;
        };
        let course = simulate::course(self.node, days);
        let mut seen = Watched {
            seen: Seen::new(course.duration.get::<second>()),
            other: watch,
        };
        let study = Study::of(
            self.node,
            &self.thresholds,
            policy,
            plan,
            income,
            &course,
            &mut seen,
        );
        let (view, charts) = course::view(&seen.seen, &Level::of(&self.thresholds), course.start);
        self.page
            .figures
            .extend(figures(&study, days, self.node.policy.dark_horizon));
        self.page.course = Some(view);
        self.page.charts.extend(charts);
        self.page.rules = Some(rules::Rules::of(self.node, &study));
    }

    /// The pace that the node asks for; with the usual settings where it plans and there is no `plan`.
    pub fn add_pace(&mut self, income: Option<&Income>, plan: Option<Made>) {
        let (Some(policy), Some(typical)) = (&self.policy, Typical::of(self.node, &self.thresholds)) else {
            return;
        };
        let plan = plan.or_else(|| Made::usual(self.node, &self.thresholds));
        self.page.pace = Some(match (self.node.policy.pace, plan, income) {
            (Pace::Planned, Some(plan), Some(income)) => {
                pace::PaceView::of(&rates::planned(self.node, &typical, &plan, income))
            }
            _ => pace::PaceView::of(&rates::even(self.node, policy)),
        });
    }

    /// How long the node lives without light; nothing where it cannot work.
    pub fn add_dark(&mut self) {
        if self.policy.is_none() {
            return;
        }
        let typical = Survival::of(self.node, &self.thresholds, Corner::Typical);
        let worst = Survival::of(self.node, &self.thresholds, Corner::Worst);
        let asleep = worst.row(Doing::Sleeping).and_then(|row| row.from_full.alive);
        self.page.figures.insert(
            2.min(self.page.figures.len()),
            Figure {
                label: "in the dark, asleep",
                value: lasting(asleep),
                note: "from full, worst corner".to_owned(),
                is_alarm: false,
            },
        );
        self.page.dark = vec![dark::view(&typical), dark::view(&worst)];
    }

    /// The thresholds that the page rests on.
    pub fn thresholds(&self) -> &Thresholds {
        &self.thresholds
    }

    /// The policy; `None` where the node cannot work.
    pub fn policy(&self) -> Option<&Policy> {
        self.policy.as_ref()
    }

    /// One section as HTML; empty where nothing was put into it.
    pub fn section(&self, section: Section) -> String {
        self.page.section(section)
    }

    /// The charts that the sections have places for, as JSON.
    pub fn charts(&self) -> String {
        self.page.charts_json()
    }
}

/// The findings on the thresholds, and those on the resistors that `dividers` would choose where nothing else is asked, errors first. A
/// comparator that is not described has no resistors to be judged: the section says so in its own words.
fn of_all_stages(node: &Node, mut findings: Vec<Finding>) -> Vec<Finding> {
    if node.comparator.is_some() {
        findings.extend(Dividers::of(node, &Options::USUAL).findings);
        findings.sort_by_key(|finding| finding.severity);
    }
    findings
}

/// What the run says in numbers. A loss of supply and a silence beyond the dark horizon are marked.
fn figures(study: &Study, days: f64, horizon: Time) -> [Figure; 3] {
    let outcome = &study.outcome;
    let silence = seconds(outcome.longest_silence_s);
    let is_silent = silence > horizon;
    [
        Figure {
            label: "reports a day",
            value: format!("{:.1}", outcome.reports as f64 / days),
            note: format!("mean age {}", Engineering(seconds(outcome.mean_age_s()), "s")),
            is_alarm: false,
        },
        Figure {
            label: "longest silence",
            value: Engineering(silence, "s").to_string(),
            note: if is_silent {
                format!(
                    "in {} simulated: longer than the dark horizon of {}",
                    in_days(days),
                    Engineering(horizon, "s")
                )
            } else {
                format!("in {} simulated", in_days(days))
            },
            is_alarm: is_silent,
        },
        Figure {
            label: "brown-outs",
            value: outcome.brownouts.to_string(),
            note: study.ratio(outcome).map_or_else(
                || "no bound: foresight itself dies".to_owned(),
                |score| format!("score {score:.2} of foresight"),
            ),
            is_alarm: outcome.brownouts > 0,
        },
    ]
}

/// The page's own look at a run, and somebody else's.
struct Watched<'a, W> {
    seen: Seen,
    other: &'a mut W,
}

impl<W: Watch> Watch for Watched<'_, W> {
    fn see(&mut self, moment: &Moment) {
        self.seen.see(moment);
        self.other.see(moment);
    }

    fn finished(&mut self, run: &str) {
        self.other.finished(run);
    }
}
