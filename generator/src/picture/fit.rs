//! A fit as a picture for a terminal: readings, model, errors, and where the findings are.

use textplots::{Chart, LabelBuilder as _, LabelFormat, Plot as _, Shape};

use crate::fit::Fit;
use crate::text::to_the_millivolt;

/// Size in dots: two in a column, four in a row.
const DOTS: (u32, u32) = (180, 60);
/// Columns of characters.
const COLUMNS: usize = DOTS.0 as usize / 2;
/// Bars of rising height.
const BARS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
/// Units of a time axis with their length (s), the longest first.
const UNITS: [(&str, f64); 4] = [
    ("days", 86_400.0),
    ("hours", 3600.0),
    ("minutes", 60.0),
    ("seconds", 1.0),
];
/// A log shows its times in the longest unit that it has so many of.
const LEAST_UNITS: f64 = 2.0;

/// The picture; empty where the log has no readings.
pub fn terminal(fit: &Fit) -> String {
    let (Some(first), Some(last)) = (fit.curve.first(), fit.curve.last()) else {
        return String::new();
    };
    let (from_s, span_s) = (first.0, (last.0 - first.0).max(1.0));
    let (unit, unit_s) = unit_of(span_s);
    let column = |time_s: f64| (((time_s - from_s) / span_s * COLUMNS as f64) as usize).min(COLUMNS - 1);
    // The lowest and the highest of each column of dots, so that no dip is lost.
    let mut readings: Vec<Option<(f64, f64)>> = vec![None; DOTS.0 as usize];
    let mut model = readings.clone();
    let mut squares = [(0.0, 0usize); COLUMNS];
    for (time_s, reading_v, model_v) in &fit.curve {
        let dot = (((time_s - from_s) / span_s * f64::from(DOTS.0)) as usize).min(DOTS.0 as usize - 1);
        stretch(&mut readings[dot], *reading_v);
        if let Some(model_v) = model_v {
            stretch(&mut model[dot], *model_v);
            let square = &mut squares[column(*time_s)];
            *square = (square.0 + (reading_v - model_v).powi(2), square.1 + 1);
        }
    }
    let spread = |dots: &[Option<(f64, f64)>]| -> Vec<(f32, f32)> {
        let time = |dot: usize| ((from_s + span_s * (dot as f64 + 0.5) / f64::from(DOTS.0)) / unit_s) as f32;
        dots.iter()
            .enumerate()
            .filter_map(|(dot, range)| Some((dot, (*range)?)))
            .flat_map(|(dot, (low, high))| [(time(dot), low as f32), (time(dot), high as f32)])
            .collect()
    };
    let (readings, model) = (spread(&readings), spread(&model));
    let low = readings.iter().map(|point| point.1).fold(f32::INFINITY, f32::min);
    let high = readings
        .iter()
        .map(|point| point.1)
        .fold(f32::NEG_INFINITY, f32::max);
    let margin = ((high - low) * 0.05).max(1e-3);
    let (from, until) = ((from_s / unit_s) as f32, ((from_s + span_s) / unit_s) as f32);
    let mut chart = Chart::new_with_y_range(DOTS.0, DOTS.1, from, until, low - margin, high + margin);
    let (lines, dots) = (Shape::Lines(&model), Shape::Points(&readings));
    let volts = LabelFormat::Custom(Box::new(to_the_millivolt));
    let chart = chart.lineplot(&dots).lineplot(&lines).y_label_format(volts);
    chart.axis();
    chart.figures();
    let mut text = format!("storage voltage (V) over time ({unit}): dots readings, line model\n{chart}");
    let errors_v: Vec<f64> = squares
        .iter()
        .map(|(sum, count)| (sum / (*count).max(1) as f64).sqrt())
        .collect();
    let most_v = errors_v.iter().copied().fold(0.0, f64::max);
    let bar = |error_v: &f64| BARS[((error_v / most_v.max(1e-12)) * (BARS.len() - 1) as f64).ceil() as usize];
    let bars: String = errors_v.iter().map(bar).collect();
    text.push_str(&format!(
        "errors   {} at most {:.1} mV\n",
        bars.trim_end(),
        most_v * 1e3
    ));
    let mut marks = [' '; COLUMNS];
    let mut legend = String::new();
    for (letter, finding) in ('a'..='z').zip(fit.findings.iter().filter(|finding| finding.time_s.is_some())) {
        if let Some(time_s) = finding.time_s {
            marks[column(time_s)] = letter;
            legend.push_str(&format!("  {letter} {}\n", finding.code));
        }
    }
    if !legend.is_empty() {
        let marks: String = marks.iter().collect();
        text.push_str(&format!("findings {}\n{legend}", marks.trim_end()));
    }
    text
}

/// The unit of a time axis, with its length (s): short logs in seconds or minutes, so that its ends tell them apart.
fn unit_of(span_s: f64) -> (&'static str, f64) {
    UNITS
        .into_iter()
        .find(|(_, unit_s)| span_s >= LEAST_UNITS * unit_s)
        .unwrap_or(("seconds", 1.0))
}

fn stretch(range: &mut Option<(f64, f64)>, v: f64) {
    *range = Some(range.map_or((v, v), |(low, high)| (low.min(v), high.max(v))));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Known;
    use crate::log::Log;
    use crate::node;

    #[test]
    fn the_ends_of_a_short_log_are_told_apart() {
        // Seven minutes, 20 mV down. A reading stands for the middle of its count, 1.1 V · 5.7 / 1024 / 2 = 3.06 mV higher,
        // and the axis reaches a millivolt beyond the readings: from 3.982 V to 4.004 V.
        let rows = (0..=420).map(|second| format!("{second},{}\n", 4000 - second / 21));
        let log = Log::parse(
            "bench.csv",
            &format!("time_s,storage_mv\n{}", rows.collect::<String>()),
        )
        .expect("a log");
        let picture = terminal(&Fit::of(&node::example("crack-gauge"), &log, &Known::NOTHING));
        for shown in ["over time (minutes)", "4.004", "3.982", "7.0"] {
            assert!(picture.contains(shown), "{shown}:\n{picture}");
        }
    }

    #[test]
    fn a_time_axis_has_at_least_two_of_its_unit() {
        let units = [119.0, 120.0, 7199.0, 7200.0, 172_799.0, 172_800.0].map(|span_s| unit_of(span_s).0);
        assert_eq!(units, ["seconds", "minutes", "minutes", "hours", "hours", "days"]);
        assert_eq!(unit_of(1.0), ("seconds", 1.0));
    }

    #[test]
    fn any_log_has_a_picture_or_none() {
        let node = node::example("crack-gauge");
        for (text, is_drawn) in [
            ("time_s,storage_mv\n0,4000\n1,4000\n", true),
            ("time_s,event\n0,start\n5,cut\n5,cut\n5,start\n", false),
            // Readings of nothing are none of a node at work, and one alone has no course.
            (
                "time_s,storage_mv,count\n0,0,0\n0,0,5\n0,0,3\n1,,\n2,9999,1\n",
                false,
            ),
            ("time_s,count\n0,4294967294\n1,0\n", false),
        ] {
            let log = Log::parse("bench.csv", text).expect("a log");
            let picture = terminal(&Fit::of(&node, &log, &Known::NOTHING));
            assert_eq!(!picture.is_empty(), is_drawn, "{text}{picture}");
        }
    }
}
