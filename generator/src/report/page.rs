//! The page itself: every view put into the template.

use minijinja::value::Serde;
use minijinja::{AutoEscape, Value};
use serde::Serialize;

use super::Input;
use super::actions::{self, ActionView, Asleep};
use super::chart::Chart;
use super::course::CourseView;
use super::dark::DarkView;
use super::fitted::Fitted;
use super::job;
use super::ladder::Ladder;
use super::pace::PaceView;
use super::rules::Rules;
use super::tornado::Tornado;
use crate::budget::Budget;
use crate::emit::GENERATOR;
use crate::emit::template::render;
use crate::node::Node;
use crate::printout;
use crate::text::Engineering;
use crate::thresholds::Thresholds;
use crate::units::*;
use crate::visible::in_json;

const PAGE: &str = millpond_templates::report::PAGE;
/// The ladder: a part of the section of thresholds.
const LADDER: (&str, &str) = ("ladder", millpond_templates::report::LADDER);

/// A section of the page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Section {
    /// The numbers that matter.
    Figures,
    /// Findings with their cures.
    Findings,
    /// Ladder and table of every threshold.
    Thresholds,
    /// The phases of each action, and the sleeping day.
    Actions,
    /// How long the node lives without light.
    Dark,
    /// The simulated run, the rules beside it, and the pace.
    Course,
    /// What moves the answers most.
    Sensitivity,
    /// A fitted bench log.
    Log,
    /// Care, inputs, licences.
    Closing,
}

impl Section {
    /// All sections in the order of the page.
    pub const ALL: [Self; 9] = [
        Self::Figures,
        Self::Findings,
        Self::Thresholds,
        Self::Actions,
        Self::Dark,
        Self::Course,
        Self::Sensitivity,
        Self::Log,
        Self::Closing,
    ];

    /// Its name, and the template by which it is included under that name.
    fn template(self) -> (&'static str, &'static str) {
        match self {
            Self::Figures => ("figures", millpond_templates::report::FIGURES),
            Self::Findings => ("findings", millpond_templates::report::FINDINGS),
            Self::Thresholds => ("thresholds", millpond_templates::report::THRESHOLDS),
            Self::Actions => ("actions", millpond_templates::report::ACTIONS),
            Self::Dark => ("dark", millpond_templates::report::DARK),
            Self::Course => ("course", millpond_templates::report::COURSE),
            Self::Sensitivity => ("sensitivity", millpond_templates::report::SENSITIVITY),
            Self::Log => ("log", millpond_templates::report::LOG),
            Self::Closing => ("closing", millpond_templates::report::CLOSING),
        }
    }
}

const STYLE: &str = millpond_templates::page::STYLE;
const CHARTS_SCRIPT: &str = millpond_templates::page::CHARTS;
const PLOT_STYLE: &str = millpond_templates::page::PLOT_STYLE;
const PLOT_SCRIPT: &str = millpond_templates::page::PLOT;
const PLOT_LICENCE: &str = millpond_templates::page::PLOT_LICENCE;

/// One number that matters.
#[derive(Serialize)]
pub(super) struct Figure {
    pub(super) label: &'static str,
    pub(super) value: String,
    pub(super) note: String,
    /// Something went wrong: marked by more than colour.
    pub(super) is_alarm: bool,
}

/// A row of the table of thresholds: a cause, then its volts for each action.
#[derive(Serialize)]
struct ThresholdRow {
    name: String,
    cells: Vec<String>,
    is_total: bool,
}

/// Everything that the template is given.
#[derive(Serialize)]
pub(super) struct Page {
    version: &'static str,
    node: String,
    job: String,
    pub(super) figures: Vec<Figure>,
    pub(super) findings: Vec<printout::findings::View>,
    ladder: Ladder,
    threshold_names: Vec<&'static str>,
    threshold_rows: Vec<ThresholdRow>,
    actions: Vec<ActionView>,
    working: String,
    asleep: Asleep,
    pub(super) dark: Vec<DarkView>,
    pub(super) course: Option<CourseView>,
    pub(super) pace: Option<PaceView>,
    pub(super) rules: Option<Rules>,
    pub(super) tornados: Vec<Tornado>,
    pub(super) fitted: Option<Fitted>,
    /// Whether the resistors of gate and limits were judged.
    pub(super) has_comparator: bool,
    has_series: bool,
    has_radio: bool,
    pub(super) inputs: Vec<Input>,
    pub(super) input_hash: String,
    node_text: String,
    #[serde(skip)]
    pub(super) charts: Vec<Chart>,
}

impl Page {
    /// What follows from the node alone.
    pub(super) fn new(node: &Node, text: &str, budget: &Budget, thresholds: &Thresholds) -> Self {
        let decide =
            |decide_mv: u32| Engineering(crate::rounding::from_millivolts(decide_mv), "V").to_string();
        let above = |decide_mv: u32| {
            let above = crate::rounding::from_millivolts(decide_mv) - thresholds.floor;
            format!("{} above the floor", Engineering(above, "V"))
        };
        let (measure_mv, transmit_mv) = (thresholds.measure.decide_mv, thresholds.transmit.decide_mv);
        Self {
            version: env!("CARGO_PKG_VERSION"),
            node: node.name.clone(),
            job: job::sentence(node, budget),
            figures: vec![
                Figure {
                    label: "transmit from",
                    value: decide(transmit_mv),
                    note: above(transmit_mv),
                    is_alarm: false,
                },
                Figure {
                    label: "measure from",
                    value: decide(measure_mv),
                    note: above(measure_mv),
                    is_alarm: false,
                },
            ],
            findings: Vec::new(),
            ladder: Ladder::of(node, thresholds),
            threshold_names: thresholds.actions().iter().map(|(kind, _)| kind.name()).collect(),
            threshold_rows: threshold_rows(thresholds),
            actions: actions::views(budget),
            working: Engineering(budget.working_voltage, "V").to_string(),
            asleep: Asleep::of(budget),
            dark: Vec::new(),
            course: None,
            pace: None,
            rules: None,
            tornados: Vec::new(),
            fitted: None,
            has_comparator: false,
            has_series: node.storage.iter().any(|capacitor| capacitor.series > 1),
            has_radio: node.radio.is_some(),
            inputs: Vec::new(),
            input_hash: String::new(),
            node_text: text.to_owned(),
            charts: actions::charts(budget),
        }
    }

    /// The text of the whole page.
    pub(super) fn text(&self) -> String {
        let context = minijinja::context! {
            generator => GENERATOR,
            style => style(),
            scripts => scripts(),
            plot_licence => PLOT_LICENCE,
            charts => self.charts_json(),
            ..Value::from(Serde(self)),
        };
        let mut included = vec![LADDER];
        included.extend(Section::ALL.map(Section::template));
        render(PAGE, &included, context, AutoEscape::Html)
    }

    /// One section of it.
    pub(super) fn section(&self, section: Section) -> String {
        let context = minijinja::context! { plot_licence => PLOT_LICENCE, ..Value::from(Serde(self)) };
        render(section.template().1, &[LADDER], context, AutoEscape::Html)
    }

    /// The charts as JSON that may stand in a script element, which only `<` could end early.
    pub(super) fn charts_json(&self) -> String {
        // Plain structs of numbers and strings: serialising cannot fail.
        let charts = serde_json::to_string(&self.charts).unwrap_or_default();
        in_json(&charts).replace('<', "\\u003c")
    }
}

/// What draws the charts of every page, as text for a script element.
pub fn scripts() -> String {
    [PLOT_SCRIPT, CHARTS_SCRIPT].map(inline).join("\n")
}

/// The look of every page, as text for a style element.
pub fn style() -> String {
    [PLOT_STYLE, STYLE].map(inline).join("\n")
}

/// A script or a style that cannot end the element that it stands in.
pub(crate) fn inline(text: &str) -> String {
    text.replace("</script", "<\\/script")
        .replace("</style", "<\\/style")
}

/// The thresholds as a table: the floor, every cause, what firmware must read.
fn threshold_rows(thresholds: &Thresholds) -> Vec<ThresholdRow> {
    let actions = thresholds.actions();
    let row = |name: &str, is_total, cells: Vec<String>| ThresholdRow {
        name: name.to_owned(),
        cells,
        is_total,
    };
    let volts_of = |voltage: Voltage| format!("{:.4} V", voltage.get::<volt>());
    let floor = row("floor", false, vec![volts_of(thresholds.floor); actions.len()]);
    let causes = thresholds.transmit.terms.iter().enumerate().map(|(place, term)| {
        let cells = actions.iter().map(|(_, threshold)| {
            threshold
                .terms
                .get(place)
                .map_or_else(String::new, |term| volts_of(term.voltage))
        });
        row(&format!("+ {}", term.cause.name()), false, cells.collect())
    });
    let decide = row(
        "= decide",
        true,
        actions
            .iter()
            .map(|(_, threshold)| format!("{} mV", threshold.decide_mv))
            .collect(),
    );
    let counts = row(
        "decide, raw counts",
        false,
        actions
            .iter()
            .map(|(_, threshold)| threshold.decide_counts.to_string())
            .collect(),
    );
    std::iter::once(floor)
        .chain(causes)
        .chain([decide, counts])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::node;

    fn page(name: &str, text: &str) -> String {
        let node = node::example(name);
        let budget = Budget::of(&node);
        Page::new(&node, text, &budget, &Thresholds::of(&node)).text()
    }

    /// What a node file says is shown, not run.
    #[test]
    fn text_of_the_node_file_stays_text() {
        let page = page("crack-gauge", "# </script><script>alert(1)</script>");
        assert!(!page.contains("<script>alert"));
        assert!(page.contains("&lt;script&gt;alert(1)"));
    }

    /// Nothing in the page points out of it, whatever a browser may make of it.
    #[test]
    fn the_page_asks_for_nothing() {
        let page = page("display-case", "");
        for mark in [
            "src=\"http",
            "href=\"http",
            "@import",
            "url(http",
            "<link",
            "<img",
            "<iframe",
        ] {
            assert!(!page.contains(mark), "{mark}");
        }
        assert!(page.contains("default-src &#x27;none&#x27;") || page.contains("default-src 'none'"));
    }

    /// The library's own texts do not end the elements that they stand in.
    #[test]
    fn inlined_texts_stay_inside() {
        let page = page("pump-bearing", "");
        assert_eq!(page.matches("</script").count(), page.matches("<script").count());
        assert_eq!(page.matches("</style>").count(), page.matches("<style>").count());
    }
}
