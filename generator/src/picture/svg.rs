//! The picture as a drawing.

use plotters::prelude::*;

use super::{Level, Picture};
use crate::text::PICTURE_MARK;

/// Size of the drawing (pixels).
const WIDTH: u32 = 960;
/// See [`WIDTH`].
const HEIGHT: u32 = 520;

impl Picture {
    /// The picture as SVG, below a comment that says what made it.
    ///
    /// # Errors
    ///
    /// What the drawing library reports, in words.
    pub fn svg(&self, title: &str, levels: &[Level]) -> Result<String, String> {
        let mut drawing = String::new();
        {
            let root = SVGBackend::with_string(&mut drawing, (WIDTH, HEIGHT)).into_drawing_area();
            self.draw(&root, title, levels)
                .map_err(|error| error.to_string())?;
            root.present().map_err(|error| error.to_string())?;
        }
        Ok(format!("{PICTURE_MARK}{drawing}\n"))
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
}
