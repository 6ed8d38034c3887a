//! A run as a picture: storage voltage with the thresholds, actions, and light.

pub mod fit;
#[cfg(not(target_arch = "wasm32"))]
mod svg;

use std::iter;

use textplots::{Chart, LabelBuilder as _, LabelFormat, Plot as _, Shape};

use crate::simulate::columns::{Column, Columns};
use crate::simulate::timeline::{Moment, Watch};
use crate::text::to_the_millivolt;
use crate::thresholds::Thresholds;
use crate::units::*;

/// Columns of time that a run is sorted into.
const COLUMNS: usize = 800;
/// Size of the terminal picture, in dots: two in a column, four in a row.
const DOTS: (u32, u32) = (180, 60);

/// A day (s).
const DAY_S: f64 = 86_400.0;
/// Bars of rising height.
const BARS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// Collects what a picture needs while the run goes on, in a fixed amount of memory.
#[derive(Clone, Debug)]
pub struct Picture {
    duration_s: f64,
    columns: Columns,
}

/// A threshold drawn across the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// What it is.
    pub name: String,
    /// Where it is (V).
    pub storage_v: f64,
}

impl Level {
    /// The levels of a node that every picture shows: its floor, and from where it may do each action.
    pub fn of(thresholds: &Thresholds) -> Vec<Self> {
        let floor = Self {
            name: "floor".to_owned(),
            storage_v: thresholds.floor.get::<volt>(),
        };
        let actions = thresholds.decided().map(|(kind, threshold)| Self {
            name: format!("{kind} from"),
            storage_v: f64::from(threshold.decide_mv) / 1e3,
        });
        iter::once(floor).chain(actions).collect()
    }
}

impl Picture {
    /// An empty picture of a run of `duration_s`.
    pub fn new(duration_s: f64) -> Self {
        Self {
            duration_s,
            columns: Columns::new(duration_s, COLUMNS),
        }
    }

    /// The picture for a terminal: dots for the voltage, lines of figures below it.
    pub fn terminal(&self, levels: &[Level]) -> String {
        let points: Vec<(f32, f32)> = self
            .seen()
            .flat_map(|(days, column)| {
                [
                    (days as f32, column.lowest_v as f32),
                    (days as f32, column.highest_v as f32),
                ]
            })
            .collect();
        let days = (self.duration_s / 86_400.0) as f32;
        let (low_v, high_v) = self.range_v(levels);
        let mut chart = Chart::new_with_y_range(DOTS.0, DOTS.1, 0.0, days, low_v as f32, high_v as f32);
        let shape = Shape::Lines(&points);
        let lines: Vec<Vec<(f32, f32)>> = levels
            .iter()
            .map(|level| {
                (0..=DOTS.0)
                    .step_by(4)
                    .map(|x| (days * x as f32 / DOTS.0 as f32, level.storage_v as f32))
                    .collect()
            })
            .collect();
        let shapes: Vec<Shape> = lines.iter().map(|line| Shape::Points(line)).collect();
        let chart = shapes
            .iter()
            .fold(chart.lineplot(&shape), |chart, shape| chart.lineplot(shape))
            .y_label_format(LabelFormat::Custom(Box::new(to_the_millivolt)));
        chart.axis();
        chart.figures();
        let mut text = format!("storage voltage (V) over time (days)\n{chart}");
        text.push_str(&format!("light   {}\n", self.strip(|column| column.offered_w)));
        text.push_str(&format!(
            "reports {}\n",
            self.strip(|column| f64::from(column.reports))
        ));
        if self.seen().any(|(_, column)| column.cuts > 0) {
            text.push_str(&format!(
                "cuts    {}\n",
                self.strip(|column| f64::from(column.cuts))
            ));
        }
        for level in levels {
            text.push_str(&format!("dotted: {} at {:.3} V\n", level.name, level.storage_v));
        }
        text
    }

    /// A line of bars, one for each column of the terminal picture, as high as the most that a figure reaches in it.
    fn strip(&self, figure: impl Fn(&Column) -> f64) -> String {
        let width = (DOTS.0 / 2) as usize;
        let mut bars = vec![0.0_f64; width];
        for (place, (_, column)) in self.columns.all().enumerate() {
            let bar = &mut bars[place * width / COLUMNS];
            *bar = bar.max(column.as_ref().map_or(0.0, &figure));
        }
        let most = bars.iter().fold(0.0, |most: f64, bar| most.max(*bar));
        let height = |bar: &f64| {
            if *bar > 0.0 {
                (bar / most * (BARS.len() - 1) as f64).ceil() as usize
            } else {
                0
            }
        };
        bars.iter().map(|bar| BARS[height(bar)]).collect()
    }

    /// The columns that saw something, with their time in days.
    fn seen(&self) -> impl Iterator<Item = (f64, Column)> {
        self.columns
            .seen()
            .map(|(time_s, column)| (time_s / DAY_S, column))
    }

    fn range_v(&self, levels: &[Level]) -> (f64, f64) {
        let all = self
            .seen()
            .flat_map(|(_, column)| [column.lowest_v, column.highest_v])
            .chain(levels.iter().map(|level| level.storage_v));
        let (low_v, high_v) = all.fold((f64::INFINITY, 0.0), |(low, high): (f64, f64), v| {
            (low.min(v), high.max(v))
        });
        ((low_v.min(high_v) - 0.05).max(0.0), high_v + 0.05)
    }
}

impl Watch for Picture {
    fn see(&mut self, moment: &Moment) {
        self.columns.see(moment);
    }
}
