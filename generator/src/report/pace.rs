//! The pace as a table of shades: time between reports over stored energy and hour of the day.

use serde::Serialize;

use crate::plan::rates::Rates;
use crate::simulate::study::EVEN;
use crate::text::Engineering;
use crate::units::*;

/// The deepest shade, in percent: text stays readable on it.
const DEEPEST_PERCENT: f64 = 35.0;

/// The pace.
#[derive(Serialize)]
pub(super) struct PaceView {
    title: &'static str,
    /// Rows hold from their voltage on.
    is_table: bool,
    by_hour: bool,
    hours: Vec<String>,
    rows: Vec<Row>,
}

#[derive(Serialize)]
struct Row {
    storage: String,
    cells: Vec<Cell>,
}

#[derive(Serialize)]
struct Cell {
    interval: String,
    /// How much of the accent colour the cell carries: the shorter the interval, the more.
    shade: String,
}

impl PaceView {
    /// The view of a pace.
    pub(super) fn of(rates: &Rates) -> Self {
        let levels = &rates.levels;
        let by_hour = levels.iter().any(|level| {
            level
                .interval_s
                .iter()
                .any(|interval_s| *interval_s != level.interval_s[0])
        });
        let count = if by_hour { 24 } else { 1 };
        let all = levels.iter().flat_map(|level| level.interval_s);
        let (shortest, longest) = all.fold((f64::INFINITY, 0.0_f64), |(low, high), interval_s| {
            (low.min(interval_s), high.max(interval_s))
        });
        let shade = |interval_s: f64| {
            // By ratio: from a minute to two is as far as from an hour to two.
            let span = libm::log(longest / shortest);
            let part = if span > 0.0 {
                libm::log(longest / interval_s) / span
            } else {
                0.0
            };
            format!("{:.0}%", part * DEEPEST_PERCENT)
        };
        Self {
            title: rates.title,
            is_table: rates.name == EVEN,
            by_hour,
            hours: (0..count).map(|hour| format!("{hour:02}")).collect(),
            rows: levels
                .iter()
                .map(|level| Row {
                    storage: Engineering(volts(level.storage_v), "V").to_string(),
                    cells: level.interval_s[..count]
                        .iter()
                        .map(|interval_s| Cell {
                            interval: Engineering(seconds(*interval_s), "s").to_string(),
                            shade: shade(*interval_s),
                        })
                        .collect(),
                })
                .collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::rates::Level;

    fn rates(levels: Vec<Level>) -> Rates {
        Rates {
            levels,
            ..Rates::NONE
        }
    }

    #[test]
    fn the_shortest_interval_is_deepest_and_a_level_pace_has_one_column() {
        let level = |storage_v, interval_s: [f64; 24]| Level {
            storage_v,
            interval_s,
        };
        let mut hours = [600.0; 24];
        hours[12] = 60.0;
        let view = PaceView::of(&rates(vec![level(4.0, hours), level(3.0, [6000.0; 24])]));
        assert_eq!(view.hours.len(), 24);
        assert_eq!(view.rows[0].cells[12].shade, "35%");
        assert_eq!(view.rows[1].cells[0].shade, "0%");
        // By hand: 600 s is half way from 6000 s to 60 s by ratio.
        assert_eq!(view.rows[0].cells[0].shade, "18%");
        let even = PaceView::of(&rates(vec![level(4.0, [60.0; 24]), level(3.0, [60.0; 24])]));
        assert_eq!(
            (even.hours.len(), even.rows[1].cells[0].shade.as_str()),
            (1, "0%")
        );
    }
}
