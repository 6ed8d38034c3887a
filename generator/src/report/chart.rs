//! A chart as the page's script draws it: panels of numbers over one axis.

use serde::Serialize;

/// Panels above each other that share their axis, their zoom and their pointer.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Chart {
    /// Name of the place in the page.
    pub(super) id: String,
    /// What the axis is, with its unit.
    pub(super) axis: String,
    /// The axis: rising numbers.
    pub(super) at: Vec<f64>,
    /// From the top down.
    pub(super) panels: Vec<Panel>,
    /// Stretches of the axis in which nothing was seen: no line of a panel goes through them.
    pub(super) gaps: Vec<(f64, f64)>,
    /// Stretches of the axis that are marked.
    pub(super) spans: Vec<Span>,
}

/// One plot.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Panel {
    /// What the upright axis is, with its unit.
    pub(super) axis: String,
    /// Height of the plot in CSS pixels.
    pub(super) height: u32,
    /// Decimals under the pointer.
    pub(super) digits: u32,
    /// Whether the upright axis starts at 0.
    pub(super) from_zero: bool,
    pub(super) series: Vec<Series>,
    /// Values drawn across.
    pub(super) levels: Vec<Level>,
}

/// One series.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Series {
    pub(super) label: String,
    pub(super) drawn: Drawn,
    /// What stands for several values where a plot has more of them than it has room for.
    pub(super) merged: Merged,
    /// As long as the chart's axis; `None` where there is nothing.
    pub(super) values: Vec<Option<f64>>,
}

/// How a series is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Drawn {
    Line,
    /// Each value holds until the next.
    Step,
    /// A line whose room up to the next series is filled.
    Band,
    Bars,
    Dots,
}

/// How several values become one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Merged {
    Most,
    Least,
    Mean,
    /// They do not: every value is drawn.
    Never,
}

/// A value drawn across a panel.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Level {
    pub(super) label: String,
    pub(super) value: f64,
}

/// A stretch of the axis.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Span {
    pub(super) label: String,
    pub(super) from: f64,
    pub(super) until: f64,
}

/// Rounded to so many decimals: more would only make the page larger.
pub(super) fn rounded(value: f64, decimals: u32) -> f64 {
    let scale = 10f64.powi(decimals as i32);
    (value * scale).round() / scale
}
