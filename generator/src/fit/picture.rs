//! A fit as a picture for a terminal: readings, model, errors, and where the findings are.

use textplots::{Chart, Plot as _, Shape};

use super::Fit;

/// Size in dots: two in a column, four in a row.
const DOTS: (u32, u32) = (180, 60);
/// Columns of characters.
const COLUMNS: usize = DOTS.0 as usize / 2;
/// Bars of rising height.
const BARS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
/// A day (s).
const DAY_S: f64 = 86_400.0;

/// The picture; empty where the log has no readings.
pub fn terminal(fit: &Fit) -> String {
    let (Some(first), Some(last)) = (fit.curve.first(), fit.curve.last()) else {
        return String::new();
    };
    let (from_s, span_s) = (first.0, (last.0 - first.0).max(1.0));
    let hours = span_s < 2.0 * DAY_S;
    let unit_s = if hours { 3600.0 } else { DAY_S };
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
    let chart = chart.lineplot(&dots).lineplot(&lines);
    chart.axis();
    chart.figures();
    let unit = if hours { "hours" } else { "days" };
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

fn stretch(range: &mut Option<(f64, f64)>, v: f64) {
    *range = Some(range.map_or((v, v), |(low, high)| (low.min(v), high.max(v))));
}
