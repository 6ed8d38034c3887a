//! A run as a picture: storage voltage with the thresholds, actions, and light.

use plotters::prelude::*;
use textplots::{Chart, Plot as _, Shape};

use crate::simulate::columns::{Column, Columns};
use crate::simulate::timeline::{Moment, Watch};
use crate::thresholds::Thresholds;
use crate::units::*;

/// Columns of time that a run is sorted into.
const COLUMNS: usize = 800;
/// Size of the drawing (pixels).
const WIDTH: u32 = 960;
/// See [`WIDTH`].
const HEIGHT: u32 = 520;
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
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// What it is.
    pub name: &'static str,
    /// Where it is (V).
    pub storage_v: f64,
}

impl Level {
    /// The levels of a node that every picture shows: its floor, and from where it may measure and transmit.
    pub fn of(thresholds: &Thresholds) -> [Self; 3] {
        let at = |decide_mv: u32| f64::from(decide_mv) / 1e3;
        [
            Self {
                name: "floor",
                storage_v: thresholds.floor.get::<volt>(),
            },
            Self {
                name: "measure from",
                storage_v: at(thresholds.measure.decide_mv),
            },
            Self {
                name: "transmit from",
                storage_v: at(thresholds.transmit.decide_mv),
            },
        ]
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
            .fold(chart.lineplot(&shape), |chart, shape| chart.lineplot(shape));
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

    /// The picture as SVG.
    ///
    /// # Errors
    ///
    /// What the drawing library reports, in words.
    pub fn svg(&self, title: &str, levels: &[Level]) -> Result<String, String> {
        let mut text = String::new();
        {
            let root = SVGBackend::with_string(&mut text, (WIDTH, HEIGHT)).into_drawing_area();
            self.draw(&root, title, levels)
                .map_err(|error| error.to_string())?;
            root.present().map_err(|error| error.to_string())?;
        }
        text.push('\n');
        Ok(text)
    }

    fn draw<B: DrawingBackend>(
        &self,
        root: &DrawingArea<B, plotters::coord::Shift>,
        title: &str,
        levels: &[Level],
    ) -> Result<(), DrawingAreaErrorKind<B::ErrorType>> {
        root.fill(&WHITE)?;
        let (upper, lower) = root.split_vertically((HEIGHT * 7 / 10) as i32);
        let days = self.duration_s / 86_400.0;
        let (low_v, high_v) = self.range_v(levels);
        let mut chart = ChartBuilder::on(&upper)
            .caption(title, ("sans-serif", 18))
            .margin(8)
            .x_label_area_size(28)
            .y_label_area_size(56)
            .build_cartesian_2d(0.0..days, low_v..high_v)?;
        chart
            .configure_mesh()
            .light_line_style(TRANSPARENT)
            .x_desc("time (days)")
            .y_desc("storage (V)")
            .draw()?;
        chart.draw_series(LineSeries::new(
            self.seen()
                .flat_map(|(day, column)| [(day, column.lowest_v), (day, column.highest_v)]),
            &BLUE,
        ))?;
        for (index, level) in levels.iter().enumerate() {
            // Each level has its own rhythm of dashes, so that colour is not needed to tell them apart.
            let dash = 3.0 + 4.0 * index as f64;
            let steps = (f64::from(WIDTH) / (2.0 * dash)).ceil() as usize;
            let pieces = (0..steps).map(|step| {
                let from = days * step as f64 / steps as f64;
                PathElement::new(
                    vec![
                        (from, level.storage_v),
                        (from + days / steps as f64 / 2.0, level.storage_v),
                    ],
                    BLACK,
                )
            });
            chart.draw_series(pieces)?;
            let label = format!("{} {:.3} V", level.name, level.storage_v);
            chart.draw_series([Text::new(
                label,
                (days * 0.01, level.storage_v),
                ("sans-serif", 12),
            )])?;
        }
        let cuts = self
            .seen()
            .filter(|(_, column)| column.cuts > 0)
            .map(|(day, _)| Cross::new((day, low_v), 4, RED));
        chart.draw_series(cuts)?;

        let most_w = self
            .seen()
            .fold(0.0, |most: f64, (_, column)| most.max(column.offered_w));
        let mut light = ChartBuilder::on(&lower)
            .margin(8)
            .x_label_area_size(28)
            .y_label_area_size(56)
            .build_cartesian_2d(0.0..days, 0.0..(most_w * 1.05e3).max(1e-3))?;
        light
            .configure_mesh()
            .light_line_style(TRANSPARENT)
            .x_desc("time (days)")
            .y_desc("offered (mW)")
            .draw()?;
        light.draw_series(AreaSeries::new(
            self.seen().map(|(day, column)| (day, column.offered_w * 1e3)),
            0.0,
            YELLOW.mix(0.5),
        ))?;
        Ok(())
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
