//! Data only: the example nodes, and the templates that are filled with numbers elsewhere.
#![no_std]
#![forbid(unsafe_code)]

/// Example nodes, as node files.
pub mod nodes {
    /// A gauge that watches a crack in the open: solar, a bank of double-layer cells, a chirp spread spectrum radio.
    pub const CRACK_GAUGE: &str = include_str!("../nodes/crack-gauge.toml");
    /// A sensor in a display case: indoor light and a short-range radio.
    pub const DISPLAY_CASE: &str = include_str!("../nodes/display-case.toml");
    /// A sensor at the bearing of a pump: heat or vibration and a long-range radio.
    pub const PUMP_BEARING: &str = include_str!("../nodes/pump-bearing.toml");
    /// All of them by name.
    pub const ALL: [(&str, &str); 3] = [
        ("crack-gauge", CRACK_GAUGE),
        ("display-case", DISPLAY_CASE),
        ("pump-bearing", PUMP_BEARING),
    ];
}

/// Templates of the constants of firmware.
pub mod constants {
    /// The C header.
    pub const POLICY_H: &str = include_str!("../policy.h.jinja");
    /// The part of the C header that paces by a plan.
    pub const PLANNER_H: &str = include_str!("../planner.h.jinja");
    /// The Rust module.
    pub const POLICY_RS: &str = include_str!("../policy.rs.jinja");
}

/// What every page has.
pub mod page {
    /// Looks of a page.
    pub const STYLE: &str = include_str!("../page/page.css");
    /// Charts of a page.
    pub const CHARTS: &str = include_str!("../page/charts.js");
    /// Looks of the plotting library.
    pub const PLOT_STYLE: &str = include_str!("../page/uplot/uPlot.min.css");
    /// The plotting library.
    pub const PLOT: &str = include_str!("../page/uplot/uPlot.iife.min.js");
    /// Its licence.
    pub const PLOT_LICENCE: &str = include_str!("../page/uplot/LICENSE");
}

/// Templates of the report, part by part.
pub mod report {
    /// The page around the parts.
    pub const PAGE: &str = include_str!("../report/page.html.jinja");
    /// The ladder of voltages, a picture.
    pub const LADDER: &str = include_str!("../report/ladder.svg.jinja");
    /// The figures at the top.
    pub const FIGURES: &str = include_str!("../report/figures.html.jinja");
    /// Findings.
    pub const FINDINGS: &str = include_str!("../report/findings.html.jinja");
    /// Thresholds and their terms.
    pub const THRESHOLDS: &str = include_str!("../report/thresholds.html.jinja");
    /// What each action takes.
    pub const ACTIONS: &str = include_str!("../report/actions.html.jinja");
    /// Life in the dark.
    pub const DARK: &str = include_str!("../report/dark.html.jinja");
    /// The course of a run.
    pub const COURSE: &str = include_str!("../report/course.html.jinja");
    /// What moves the outlook.
    pub const SENSITIVITY: &str = include_str!("../report/sensitivity.html.jinja");
    /// What a log says.
    pub const LOG: &str = include_str!("../report/log.html.jinja");
    /// What the page was made from.
    pub const CLOSING: &str = include_str!("../report/closing.html.jinja");
}

/// The page with the library in it.
pub mod workbench {
    /// The page.
    pub const PAGE: &str = include_str!("../workbench/page.html.jinja");
    /// Asks the library.
    pub const ENGINE: &str = include_str!("../workbench/engine.js");
    /// Shows its answers.
    pub const WORKBENCH: &str = include_str!("../workbench/workbench.js");
    /// Looks of the page.
    pub const STYLE: &str = include_str!("../workbench/workbench.css");
}
