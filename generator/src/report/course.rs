//! The simulated run as two charts: all of it, and closely the days around its longest silence.

use serde::Serialize;

use super::chart::{Chart, Drawn, Level, Merged, Panel, Series, Span, rounded};
use crate::picture;
use crate::simulate::columns::Columns;
use crate::simulate::timeline::{Event, Moment, Watch};
use crate::text::{Engineering, in_days};
use crate::units::*;

/// A day (s).
const DAY_S: f64 = 86_400.0;
/// Width of a column of the close chart (s): an action and the dip after it stay visible.
const CLOSE_S: f64 = 432.0;
/// No run is sorted into more columns, so that memory stays bounded.
const MOST_COLUMNS: usize = 200_000;
/// The chart of the whole run has about so many columns.
const WHOLE_COLUMNS: usize = 2920;
/// The close chart shows so many days, or as many as the silence asks for.
const CLOSE_DAYS: f64 = 7.0;
/// And at most so many.
const MOST_CLOSE_DAYS: f64 = 60.0;

/// Sees a run: columns of time, and when it was silent longest.
pub(super) struct Seen {
    columns: Columns,
    duration_s: f64,
    last_report_s: f64,
    /// Start and end of the longest silence so far (s).
    silence_s: (f64, f64),
    /// When the supply was lost, while it is (s).
    lost_s: Option<f64>,
    /// Stretches without supply that are longer than a column (s).
    down_s: Vec<(f64, f64)>,
}

impl Seen {
    /// Nothing seen of a run of `duration_s`.
    pub(super) fn new(duration_s: f64) -> Self {
        let count = ((duration_s / CLOSE_S).ceil() as usize).clamp(1, MOST_COLUMNS);
        Self {
            columns: Columns::new(duration_s, count),
            duration_s,
            last_report_s: 0.0,
            silence_s: (0.0, 0.0),
            lost_s: None,
            down_s: Vec::new(),
        }
    }

    /// Start and end of the longest silence, the end of the run included (s).
    fn silence_s(&self) -> (f64, f64) {
        longer(self.silence_s, (self.last_report_s, self.duration_s))
    }
}

/// The longer of two stretches; the first of equals.
fn longer(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    if b.1 - b.0 > a.1 - a.0 { b } else { a }
}

impl Watch for Seen {
    fn see(&mut self, moment: &Moment) {
        self.columns.see(moment);
        match moment.event {
            Event::Cut => self.lost_s = self.lost_s.or(Some(moment.time_s)),
            Event::Start => {
                let down_s = self.lost_s.take().map(|lost_s| (lost_s, moment.time_s));
                // Restarts within a column are many and leave no room for a line.
                self.down_s
                    .extend(down_s.filter(|(from_s, until_s)| until_s - from_s > self.columns.width_s()));
            }
            Event::Measure | Event::Transmit | Event::Wait => {}
        }
        if moment.event == Event::Transmit {
            self.silence_s = longer(self.silence_s, (self.last_report_s, moment.time_s));
            self.last_report_s = moment.time_s;
        }
    }
}

/// What the page says of a run beside its charts.
#[derive(Serialize)]
pub(super) struct CourseView {
    days: String,
    silence: String,
    silence_from: String,
    start: String,
    has_gaps: bool,
    charts: [&'static str; 2],
}

/// The run as the page has it, and its two charts.
pub(super) fn view(seen: &Seen, levels: &[picture::Level], start: Voltage) -> (CourseView, [Chart; 2]) {
    let (from_s, until_s) = seen.silence_s();
    let middle_s = (from_s + until_s) / 2.0;
    let half_s = ((until_s - from_s) * 0.75).clamp(CLOSE_DAYS * DAY_S / 2.0, MOST_CLOSE_DAYS * DAY_S / 2.0);
    // The window keeps its width at the ends of the run.
    let start_s = (middle_s - half_s).min(seen.duration_s - 2.0 * half_s).max(0.0);
    let close = seen.columns.between(start_s, start_s + 2.0 * half_s);
    let whole = seen.columns.merged(seen.columns.count().div_ceil(WHOLE_COLUMNS));
    let silence = Span {
        label: "longest silence".to_owned(),
        from: rounded(from_s / DAY_S, 5),
        until: rounded(until_s / DAY_S, 5),
    };
    let view = CourseView {
        days: in_days(seen.duration_s / DAY_S),
        silence: Engineering(seconds(until_s - from_s), "s").to_string(),
        silence_from: format!("{:.1}", from_s / DAY_S),
        start: Engineering(start, "V").to_string(),
        has_gaps: !seen.down_s.is_empty(),
        charts: ["whole", "close"],
    };
    let charts = [
        chart("whole", &whole, levels, &seen.down_s, silence.clone()),
        chart("close", &close, levels, &seen.down_s, silence),
    ];
    (view, charts)
}

/// The stretches `down_s` from the middle of the column that saw each begin to that of the one that saw it end (days), as far as
/// they are two.
fn gaps(columns: &Columns, down_s: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let at = |time_s| rounded(columns.middle_s(time_s) / DAY_S, 5);
    down_s
        .iter()
        .map(|(from_s, until_s)| (at(*from_s), at(*until_s)))
        .filter(|(from, until)| from < until)
        .collect()
}

fn chart(
    id: &str,
    columns: &Columns,
    levels: &[picture::Level],
    down_s: &[(f64, f64)],
    silence: Span,
) -> Chart {
    let hours = columns.width_s() / 3600.0;
    let (mut at, mut high, mut low) = (Vec::new(), Vec::new(), Vec::new());
    let (mut offered, mut reports, mut cuts) = (Vec::new(), Vec::new(), Vec::new());
    for (time_s, column) in columns.all() {
        at.push(rounded(time_s / DAY_S, 5));
        high.push(column.map(|column| rounded(column.highest_v, 3)));
        low.push(column.map(|column| rounded(column.lowest_v, 3)));
        offered.push(column.map(|column| rounded(column.offered_w * 1e3, 4)));
        reports.push(Some(
            column.map_or(0.0, |column| rounded(f64::from(column.reports) / hours, 2)),
        ));
        cuts.push(column.and_then(|column| (column.cuts > 0).then_some(rounded(column.lowest_v, 3))));
    }
    let has_cuts = cuts.iter().any(Option::is_some);
    let series = |label: &str, drawn, merged, values| Series {
        label: label.to_owned(),
        drawn,
        merged,
        values,
    };
    let mut storage = vec![
        series("highest", Drawn::Band, Merged::Most, high),
        series("lowest", Drawn::Line, Merged::Least, low),
    ];
    if has_cuts {
        storage.push(series("supply lost", Drawn::Dots, Merged::Least, cuts));
    }
    let panel = |axis: &str, height, digits, series, levels| Panel {
        axis: axis.to_owned(),
        height,
        digits,
        from_zero: digits < 3 || height < 200,
        series,
        levels,
    };
    let levels = levels.iter().map(|level| Level {
        label: level.name.to_owned(),
        value: rounded(level.storage_v, 4),
    });
    Chart {
        id: id.to_owned(),
        axis: "time (days)".to_owned(),
        at,
        panels: vec![
            panel("storage (V)", 260, 3, storage, levels.collect()),
            panel(
                "offered (mW)",
                120,
                3,
                vec![series(
                    "offered by the source, at most",
                    Drawn::Line,
                    Merged::Most,
                    offered,
                )],
                Vec::new(),
            ),
            panel(
                "reports (1/h)",
                120,
                2,
                vec![series("reports an hour", Drawn::Bars, Merged::Mean, reports)],
                Vec::new(),
            ),
        ],
        gaps: gaps(columns, down_s),
        spans: vec![silence],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Places on the axis are written to a second or so.
    const WRITTEN_DAYS: f64 = 1e-5;

    fn seen(reports_s: &[f64], duration_s: f64) -> Seen {
        let mut seen = Seen::new(duration_s);
        for (place, time_s) in reports_s.iter().enumerate() {
            seen.see(&Moment {
                time_s: *time_s,
                storage_v: 3.0,
                offered_w: 1e-3,
                event: Event::Transmit,
                reports: place as u64,
            });
        }
        seen
    }

    /// By hand: the silences are 10 s, 490 s, 100 s and the rest of the run.
    #[test]
    fn the_longest_silence_may_be_the_last() {
        let reports_s = [10.0, 500.0, 600.0];
        assert_eq!(seen(&reports_s, 1000.0).silence_s(), (10.0, 500.0));
        assert_eq!(seen(&reports_s, 2000.0).silence_s(), (600.0, 2000.0));
        assert_eq!(seen(&[], 7.0).silence_s(), (0.0, 7.0));
    }

    #[test]
    fn the_close_chart_holds_the_silence_and_no_report_is_lost_from_the_whole() {
        let day_s = 86_400.0;
        // A report every half hour but for two days from day 97 on.
        let reports_s: Vec<f64> = (0..365 * 48)
            .map(|half_hour| f64::from(half_hour) * 1800.0 + 1.0)
            .filter(|time_s| !(97.0..99.0).contains(&(time_s / day_s)))
            .collect();
        let (view, [whole, close]) = view(&seen(&reports_s, 365.0 * day_s), &[], volts(3.0));
        assert_eq!(view.silence, "48.5 h");
        let span = &close.spans[0];
        assert!(close.at[0] < span.from && span.until < close.at[close.at.len() - 1]);
        let width_h = (whole.at[1] - whole.at[0]) * 24.0;
        let total: f64 = whole.panels[2].series[0]
            .values
            .iter()
            .flatten()
            .map(|rate| rate * width_h)
            .sum();
        // Rates are rounded to a hundredth.
        let tolerance = 0.005 * width_h * whole.at.len() as f64 + 1.0;
        assert!(
            (total - reports_s.len() as f64).abs() < tolerance,
            "{total} {}",
            reports_s.len()
        );
        assert!(whole.at.len() <= WHOLE_COLUMNS);
    }

    /// By hand: the supply is lost at 10:00 of the second day and back at 09:00 of the third, and once for a second.
    #[test]
    fn lines_end_where_the_supply_is_lost() {
        let day_s = 86_400.0;
        let mut seen = Seen::new(4.0 * day_s);
        for (days, event) in [
            (0.0, Event::Start),
            (1.0 + 10.0 / 24.0, Event::Cut),
            (2.0 + 9.0 / 24.0, Event::Start),
            (3.0, Event::Cut),
            (3.0 + 1.0 / day_s, Event::Start),
        ] {
            seen.see(&Moment {
                time_s: days * day_s,
                storage_v: 3.0,
                offered_w: 0.0,
                event,
                reports: 0,
            });
        }
        let (view, charts) = view(&seen, &[], volts(3.6));
        assert_eq!((view.has_gaps, view.start.as_str()), (true, "3.6 V"));
        for chart in charts {
            let &[(from, until)] = chart.gaps.as_slice() else {
                panic!("one stretch, not {:?}", chart.gaps);
            };
            // Both ends are points of the axis, half a column of 432 s from the moment at most.
            assert!(chart.at.contains(&from) && chart.at.contains(&until));
            assert!(
                (from - (1.0 + 10.0 / 24.0)).abs() <= 216.0 / day_s + WRITTEN_DAYS,
                "{from}"
            );
            assert!(
                (until - (2.0 + 9.0 / 24.0)).abs() <= 216.0 / day_s + WRITTEN_DAYS,
                "{until}"
            );
        }
    }
}
