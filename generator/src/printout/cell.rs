//! What the bench discharge of one capacitor says.

use serde::Serialize;

use crate::cell::{Band, Cell};
use crate::printout::table::table;
use crate::text::{Engineering, InBaseUnit};
use crate::units::*;

/// Largest part of the capacitance that the line may overstate in a band without a word.
const QUIET_OVERSTATEMENT: f64 = 0.02;
/// Largest part of the resistance that its standard error may be without a word.
const QUIET_ERROR: f64 = 0.2;
/// Largest part of the resistance that the time of the step may leave open either way without a word.
const QUIET_START: f64 = 0.05;

/// A cell as JSON has it: SI units, named in the key.
#[derive(Serialize)]
pub struct View {
    current_a: f64,
    rated_v: f64,
    capacitance_f: f64,
    capacitance_f_standard_error: f64,
    capacitance_low_f: f64,
    capacitance_low_f_standard_error: f64,
    capacitance_slope_f_per_v: f64,
    capacitance_slope_f_per_v_standard_error: f64,
    resistance_ohm: f64,
    resistance_ohm_standard_error: f64,
    residual_mv_rms: f64,
    residual_mv_largest: f64,
    fitted_from_v: f64,
    fitted_to_v: f64,
    bands: Vec<BandView>,
    rows_used: usize,
    rows_unused: usize,
    notes: Vec<String>,
    block: String,
}

#[derive(Serialize)]
struct BandView {
    from_percent: u32,
    to_percent: u32,
    capacitance_f: f64,
    line_f: f64,
}

impl View {
    /// The view of `cell`.
    pub fn of(cell: &Cell) -> Self {
        let slope = |slope: CapacitanceSlope| (slope * volts(1.0)).get::<farad>();
        let bands = cell.bands.iter().map(|band| BandView {
            from_percent: band.from_percent,
            to_percent: band.to_percent,
            capacitance_f: band.measured.get::<farad>(),
            line_f: band.line.get::<farad>(),
        });
        Self {
            current_a: cell.current.get::<ampere>(),
            rated_v: cell.rated.get::<volt>(),
            capacitance_f: cell.capacitance.value.get::<farad>(),
            capacitance_f_standard_error: cell.capacitance.standard_error.get::<farad>(),
            capacitance_low_f: cell.capacitance_low.value.get::<farad>(),
            capacitance_low_f_standard_error: cell.capacitance_low.standard_error.get::<farad>(),
            capacitance_slope_f_per_v: slope(cell.capacitance_slope.value),
            capacitance_slope_f_per_v_standard_error: slope(cell.capacitance_slope.standard_error),
            resistance_ohm: cell.resistance.value.get::<ohm>(),
            resistance_ohm_standard_error: cell.resistance.standard_error.get::<ohm>(),
            residual_mv_rms: cell.residual_rms.get::<volt>() * 1e3,
            residual_mv_largest: cell.residual_largest.get::<volt>() * 1e3,
            fitted_from_v: cell.fitted.0.get::<volt>(),
            fitted_to_v: cell.fitted.1.get::<volt>(),
            bands: bands.collect(),
            rows_used: cell.rows_used,
            rows_unused: cell.rows_unused,
            notes: notes(cell),
            block: cell.block(),
        }
    }
}

/// Two tables, what is to be known about them, and the block for the node file.
pub fn text(cell: &Cell) -> String {
    let slope = cell.capacitance_slope;
    let rows = vec![
        row(
            "capacitance, 80 to 40 %",
            cell.capacitance.value,
            cell.capacitance.standard_error,
            "F",
        ),
        row(
            "capacitance at 0 V",
            cell.capacitance_low.value,
            cell.capacitance_low.standard_error,
            "F",
        ),
        row(
            "+ with each volt",
            slope.value * volts(1.0),
            slope.standard_error * volts(1.0),
            "F",
        ),
        row(
            "series resistance",
            cell.resistance.value,
            cell.resistance.standard_error,
            "ohm",
        ),
    ];
    let bands = cell.bands.iter().map(|band: &Band| {
        vec![
            format!("{} to {} %", band.from_percent, band.to_percent),
            Engineering(band.measured, "F").to_string(),
            Engineering(band.line, "F").to_string(),
        ]
    });
    let shown = |voltage: Voltage| Engineering(voltage, "V").to_string();
    let mut text = table(&["cell", "value", "standard error"], rows);
    text.push_str(&format!(
        "at {}; {} rows from {} to {} miss the line by {} rms, {} at most\n\n",
        Engineering(cell.current, "A"),
        cell.rows_used,
        shown(cell.fitted.0),
        shown(cell.fitted.1),
        shown(cell.residual_rms),
        shown(cell.residual_largest),
    ));
    text.push_str(&table(&["part of rated voltage", "measured", "line"], bands));
    for note in notes(cell) {
        text.push_str(&format!("note: {note}\n"));
    }
    text.push_str("\nfor the node file:\n\n");
    text.push_str(&cell.block());
    text
}

fn row<Q: InBaseUnit>(name: &str, value: Q, error: Q, unit: &'static str) -> Vec<String> {
    vec![
        name.to_owned(),
        Engineering(value, unit).to_string(),
        Engineering(error, unit).to_string(),
    ]
}

/// What the figures alone do not say.
fn notes(cell: &Cell) -> Vec<String> {
    let mut notes: Vec<String> = note_on_start(cell).into_iter().collect();
    let (resistance, error) = (cell.resistance.value, cell.resistance.standard_error);
    // The start is as likely at any time of its interval: its part of the error, squared, is a third of the half squared.
    let of_start = cell.start.resistance * cell.start.resistance / 3.0;
    if !notes.is_empty() && of_start > error * error / 2.0 {
        // Said already: nothing but the start is to be cured first.
    } else if resistance <= ohms(0.0) {
        notes.push(
            "the series resistance comes out negative: the current is too small for it, or the first row already stands under \
             the current; discharge with a larger current, and log from just before it"
                .to_owned(),
        );
    } else if !cell.shows_resistance() {
        notes.push(
            "the series resistance cannot be told from none: discharge with a larger current".to_owned(),
        );
    } else if error > resistance * QUIET_ERROR {
        notes.push(
            "the series resistance is known poorly: discharge with a larger current, near that of the node's largest load"
                .to_owned(),
        );
    }
    if cell.capacitance_slope.value <= farads_per_volt(0.0) {
        notes.push(
            "the capacitance does not rise with the voltage: the block has the line's lowest value and no slope".to_owned(),
        );
    }
    let over = cell.overstatement().get::<ratio>();
    if over > QUIET_OVERSTATEMENT {
        notes.push(format!(
            "the line stands up to {:.0} % above a measured band; `tolerance_low` in the block allows for it",
            (over * 100.0).ceil()
        ));
    }
    notes
}

/// Where the time between two rows leaves much of the resistance open.
fn note_on_start(cell: &Cell) -> Option<String> {
    let (start, highest) = (cell.start, cell.highest_resistance());
    if start.resistance <= highest.abs() * QUIET_START {
        return None;
    }
    let shown = |resistance: Resistance| Engineering(resistance, "ohm").to_string();
    Some(format!(
        "the current began somewhere in the {} between the last row at rest and the first one under it, so the series \
         resistance lies from {} to {}, and the block has the higher; log one row just before the current, and go on in finer steps",
        Engineering(start.interval, "s"),
        shown(cell.resistance.value - start.resistance),
        shown(highest),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A farad behind `resistance_ohm` at a current of 100 mA from 3 V: at rest `apart_s` before the current, then a row each 0.2 s. What
    /// stands above 2.91 V reads `low_v` too low.
    fn discharged(rest_rows: u32, apart_s: f64, resistance_ohm: f64, low_v: f64) -> Cell {
        let read = |v: f64| if v > 2.91 { v - low_v } else { v };
        let mut log = "time_s,storage_v\n".to_owned();
        for row in (1..=rest_rows).rev() {
            log.push_str(&format!("{},{}\n", -apart_s * f64::from(row), read(3.0)));
        }
        for row in 0..145 {
            let time_s = 0.2 * f64::from(row);
            let storage_v = read(3.0 - 0.1 * (resistance_ohm + time_s));
            log.push_str(&format!("{time_s},{storage_v}\n"));
        }
        Cell::parse("log.csv", &log, amperes(0.1), volts(3.0)).expect("a discharge")
    }

    #[test]
    fn the_note_names_the_step_and_its_cure() {
        for rest_rows in [1, 5] {
            let text = text(&discharged(rest_rows, 0.1, 0.5, 0.0));
            assert!(text.contains("began somewhere in the 100 ms"), "{text}");
            assert!(
                text.contains("one row just before") && !text.contains("negative"),
                "{text}"
            );
        }
        assert!(text(&discharged(1, 1.0, 0.5, 0.0)).contains("began somewhere in the 1 s"));
    }

    /// The line through the discharge begins above the voltage at rest.
    #[test]
    fn a_resistance_below_none_is_said() {
        let text = text(&discharged(1, 1e-6, 0.01, 0.03));
        assert!(text.contains("comes out negative"), "{text}");
    }
}
