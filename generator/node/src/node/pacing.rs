//! Reads `[policy]` and `[margins]`: how often to report, and how much to allow for what is not known.

use super::limit::Limit;
use super::table::Table;
use super::{Margins, Pace, Pacing, Stack, WhenFull};
use crate::problem::Problem;
use crate::units::*;

/// The firmware counts the seconds between reports in sixteen bits.
const LONGEST_WAIT_S: f64 = 65_535.0;

/// Nothing is planned for a year without harvest.
const YEAR_S: f64 = 365.0 * 86_400.0;

/// The firmware counts samples in eight bits.
const MOST_SAMPLES: u32 = 255;

/// Samples that can wait, when the file does not say.
const USUAL_BACKLOG: u32 = 16;

/// Absolute zero, in degrees Celsius.
const ABSOLUTE_ZERO_DEGC: f64 = -273.15;

/// No node works above this, in degrees Celsius.
const HOTTEST_DEGC: f64 = 300.0;

/// A load allowance beyond this is a slip.
const MOST_LOAD: f64 = 10.0;

/// Reads how often to report.
pub(super) fn read_policy(root: &mut Table<'_>) -> Option<Pacing> {
    let mut table = root.table("policy")?;
    let wait = Limit::ANY.from(1.0).up_to(LONGEST_WAIT_S);
    let stretch = Limit::NOT_NEGATIVE.under(YEAR_S);
    let fastest = table.required::<Time>("fastest", "60 s", wait);
    let slowest = table.required::<Time>("slowest", "1 h", wait);
    let dark_horizon = table.required::<Time>("dark_horizon", "16 h", stretch);
    let reserve = table.required::<Time>("reserve", "2 h", stretch);
    let batch_given = table.optional::<u32>("batch", "1", 1..=MOST_SAMPLES);
    let batch = if table.has("batch") {
        batch_given.as_ref().map(|given| given.value)
    } else {
        Some(1)
    };
    let backlog_given = table.optional::<u32>("backlog", "32", 1..=MOST_SAMPLES);
    let backlog = if table.has("backlog") {
        backlog_given.as_ref().map(|given| given.value)
    } else {
        batch.map(|batch| batch.max(USUAL_BACKLOG))
    };
    let choices = [
        ("keep-newest", WhenFull::KeepNewest),
        ("keep-oldest", WhenFull::KeepOldest),
        ("thin-evenly", WhenFull::ThinEvenly),
    ];
    let when_full = table.choice("when_full", &choices, Some(WhenFull::KeepNewest));
    let paces = [Pace::Even, Pace::Planned].map(|pace| (pace.name(), pace));
    let pace = table.choice("pace", &paces, Some(Pace::Even));
    let hysteresis = table.optional::<Voltage>("hysteresis", "50 mV", Limit::NOT_NEGATIVE);
    if let (Some(fastest), Some(slowest)) = (&fastest, &slowest)
        && fastest.value > slowest.value
    {
        table.log().note(
            Problem::new(
                fastest.span.clone(),
                "`fastest` is longer than `slowest`",
                "at most `slowest`",
                "both are the time between two reports: exchange them",
            )
            .with(&slowest.span, "the longest time aimed at"),
        );
    }
    if let (Some(batch), Some(backlog)) = (&batch_given, &backlog_given)
        && batch.value > backlog.value
    {
        table.log().note(
            Problem::new(
                backlog.span.clone(),
                "`backlog` is smaller than `batch`",
                format!("at least {}", batch.value),
                "a full report must fit: raise `backlog`, or lower `batch`",
            )
            .with(&batch.span, "samples in one report"),
        );
    }
    table.finish();
    Some(Pacing {
        fastest: fastest?.value,
        slowest: slowest?.value,
        pace: pace?.value,
        dark_horizon: dark_horizon?.value,
        reserve: reserve?.value,
        batch: batch?,
        backlog: backlog?,
        when_full: when_full?.value,
        hysteresis: hysteresis.map(|given| given.value),
    })
}

/// Reads the margins; every one has a default.
pub(super) fn read_margins(root: &mut Table<'_>) -> Option<Margins> {
    let usual = Margins {
        stack: Stack::WorstCase,
        temperature_min: None,
        temperature_max: None,
        load: fraction(0.0),
        extra: volts(0.0),
    };
    if !root.has("margins") {
        root.know("margins");
        return Some(usual);
    }
    let mut table = root.optional_table("margins")?;
    let stacks = [
        ("worst-case", Stack::WorstCase),
        ("root-sum-square", Stack::RootSumSquare),
    ];
    let stack = table.choice("stack", &stacks, Some(usual.stack));
    let range = Limit::ANY.from(ABSOLUTE_ZERO_DEGC).up_to(HOTTEST_DEGC);
    let temperature_min = table.optional::<Temperature>("temperature_min", "-10 degC", range);
    let temperature_max = table.optional::<Temperature>("temperature_max", "45 degC", range);
    let load = table.or("load", "10 %", Limit::NOT_NEGATIVE.up_to(MOST_LOAD), usual.load);
    let extra = table.or("extra", "20 mV", Limit::NOT_NEGATIVE, usual.extra);
    if let (Some(min), Some(max)) = (&temperature_min, &temperature_max)
        && min.value >= max.value
    {
        table.log().note(
            Problem::new(
                min.span.clone(),
                "`temperature_min` is not below `temperature_max`",
                "the cold end",
                "exchange the two, or correct the sign",
            )
            .with(&max.span, "the hot end"),
        );
    }
    table.finish();
    Some(Margins {
        stack: stack?.value,
        temperature_min: temperature_min.map(|given| given.value),
        temperature_max: temperature_max.map(|given| given.value),
        load: load?,
        extra: extra?,
    })
}
