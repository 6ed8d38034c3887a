//! Reads a weather file of a typical year in the TMY3 layout, for its global horizontal irradiance.
//!
//! Layout: S. Wilcox, W. Marion, "Users Manual for TMY3 Data Sets", NREL/TP-581-43156 (2008). The first line names the
//! station, the second the columns; then one row for each hour of a year of 365 days, stamped with the end of its hour
//! in local standard time, 01:00 to 24:00. Each month may come from another year, so the years are not looked at.
//! Midnight as 00:00 of the next day is understood as well.

use jiff::civil::Date;

use crate::income::sun::YEAR;
use crate::income::{Segment, clear_sky};
use crate::node::Source;
use crate::problem::{InputText, Problem, Problems, quoted};
use crate::rows::{Faults, Row, Rows, without_byte_order_mark};
use crate::units::*;

const DATE: &str = "Date (MM/DD/YYYY)";
const TIME: &str = "Time (HH:MM)";
const IRRADIANCE: &str = "GHI (W/m^2)";

const HOUR_S: f64 = 3600.0;
const HOURS_IN_YEAR: u32 = 365 * 24;

/// The light of a typical year.
#[derive(Clone, Debug, PartialEq)]
pub struct Weather {
    /// Mean irradiance of the unshaded horizontal, hour by hour from the start of the hour that the first row ends.
    pub hours: Vec<PowerDensity>,
}

impl Weather {
    /// Reads a weather file from text; `label` stands for the path in messages.
    ///
    /// A file may hold less than a year, without a missing hour.
    ///
    /// # Errors
    ///
    /// All faults of the text: another layout, hours that are missing, repeated or out of order, irradiance that is no
    /// number, negative or marked as missing.
    ///
    /// ```
    /// use millpond_records::record::weather::Weather;
    /// use millpond_numbers::units::*;
    /// let text = "703165,\"SAND POINT\",AK,-9.0,55.317,-160.517,7\n\
    ///             Date (MM/DD/YYYY),Time (HH:MM),ETR (W/m^2),ETRN (W/m^2),GHI (W/m^2)\n\
    ///             01/01/1997,12:00,161,1415,27\n\
    ///             01/01/1997,13:00,209,1415,47\n";
    /// let weather = Weather::read("sand-point.csv", text)?;
    /// assert_eq!(weather.hours, [watts_per_square_meter(27.0), watts_per_square_meter(47.0)]);
    /// # Ok::<(), millpond_node::problem::Problems>(())
    /// ```
    pub fn read(label: &str, text: &str) -> Result<Self, Problems> {
        let text = without_byte_order_mark(text);
        let mut faults = Faults::default();
        let hours = read_hours(text, None, &mut faults);
        let list = faults.into_list();
        if list.is_empty() {
            return Ok(Self { hours });
        }
        Err(Problems::new(
            vec![InputText {
                path: label.to_owned(),
                text: text.to_owned(),
            }],
            list,
        ))
    }
}

/// Whether a text is in this layout: its second row starts with the column of the date.
pub(super) fn is_layout_of(text: &str) -> bool {
    let mut rows = Rows::of(text);
    rows.advance().is_some() && rows.advance().is_some_and(|row| row.cell(0) == DATE)
}

/// What the module of `source` offers; faults are noted, and the segments mean nothing then.
pub(super) fn segments(text: &str, source: &Source, faults: &mut Faults) -> Vec<Segment> {
    let power = |irradiance: PowerDensity| match source {
        Source::Photovoltaic {
            area,
            efficiency,
            site,
        } => clear_sky::module_power(irradiance * site.shade, *area, *efficiency),
        Source::Constant { .. } | Source::Indoor { .. } | Source::Trace => watts(0.0),
    };
    let hours = read_hours(text, Some(source), faults);
    let ends = (1u32..).map(|hour| f64::from(hour) * HOUR_S);
    hours
        .into_iter()
        .zip(ends)
        .map(|(irradiance, until_s)| Segment {
            until_s,
            power: power(irradiance),
        })
        .collect()
}

/// The hours of a weather file, which must suit `source` if one is given.
fn read_hours(text: &str, source: Option<&Source>, faults: &mut Faults) -> Vec<PowerDensity> {
    let mut rows = Rows::of(text);
    let station = rows.advance().is_some();
    let Some(header) = rows.advance().filter(|_| station) else {
        let end = text.trim_end().len();
        let cure = "a weather file has the station in its first line and the columns in its second";
        faults.note(Problem::new(
            end..end,
            "the weather file has no header",
            "two header lines",
            cure,
        ));
        return Vec::new();
    };
    let Some(columns) = Columns::of(&header, faults) else {
        return Vec::new();
    };
    if source.is_some_and(|source| !matches!(source, Source::Photovoltaic { .. })) {
        faults.note(Problem::new(
            header.cell_span(columns.irradiance),
            "the irradiance of a weather file cannot become power: the node has no solar module",
            "a node with harvest of kind = \"photovoltaic\"",
            "describe the solar module in the node file, or give a trace with `power_w`",
        ));
    }
    let mut hours = Vec::new();
    let mut before = None;
    while let Some(row) = rows.advance() {
        if faults.end_reading_at(&row) {
            break;
        }
        hours.push(read_irradiance(&row, columns.irradiance, faults));
        // A stamp that cannot be read is a fault of its own; the next one has nothing to follow then.
        before = read_stamp(&row, &columns, before, faults);
    }
    if hours.is_empty() && faults.is_empty() {
        let end = text.trim_end().len();
        faults.note(Problem::new(
            end..end,
            "the weather file has no hours",
            "a row for each hour",
            "add the rows",
        ));
    }
    hours
}

/// Where the columns that are needed stand.
struct Columns {
    date: usize,
    time: usize,
    irradiance: usize,
}

impl Columns {
    fn of(header: &Row<'_>, faults: &mut Faults) -> Option<Self> {
        let mut find = |name: &str| {
            let found = (0..header.width()).find(|column| header.cell(*column) == name);
            if found.is_none() {
                let title = format!("the weather file has no column `{name}`");
                let cure = "take the file as it was published, or give a trace with `irradiance_w_m2`";
                faults.note(Problem::new(
                    header.span(),
                    title,
                    "the columns of the TMY3 layout",
                    cure,
                ));
            }
            found
        };
        let (date, time, irradiance) = (find(DATE), find(TIME), find(IRRADIANCE));
        Some(Self {
            date: date?,
            time: time?,
            irradiance: irradiance?,
        })
    }
}

fn read_irradiance(row: &Row<'_>, column: usize, faults: &mut Faults) -> PowerDensity {
    let number = row.number(column, "irradiance", faults);
    if number.is_some_and(|number| number < 0.0) {
        let title = "the irradiance is negative, or marked as missing";
        let cure = "fill in the hour, for instance from its neighbours";
        faults.note(Problem::new(row.cell_span(column), title, "0 or more", cure));
    }
    watts_per_square_meter(number.unwrap_or(0.0))
}

/// The hour of the year, 0 to 8759, that a row's stamp ends, 0 for the last of December; faults are noted.
fn read_stamp(row: &Row<'_>, columns: &Columns, before: Option<u32>, faults: &mut Faults) -> Option<u32> {
    let day = day_of_year(row.cell(columns.date));
    if day.is_none() {
        faults.note(Problem::new(
            row.cell_span(columns.date),
            format!(
                "this is not a day of a typical year: {}",
                quoted(row.cell(columns.date))
            ),
            "MM/DD/YYYY, and no 29 February",
            "write the date so; take out the hours of a leap day",
        ));
    }
    let hour = hour_of_day(row.cell(columns.time));
    if hour.is_none() {
        faults.note(Problem::new(
            row.cell_span(columns.time),
            format!(
                "this is not the end of an hour: {}",
                quoted(row.cell(columns.time))
            ),
            "01:00 to 24:00",
            "give hourly means, stamped with the end of the hour",
        ));
    }
    let ends = (day? * 24 + hour?) % HOURS_IN_YEAR;
    let due = before.map(|before| (before + 1) % HOURS_IN_YEAR);
    if due.is_some_and(|due| due != ends) {
        faults.note(Problem::new(
            row.cell_span(columns.time),
            if before == Some(ends) {
                "the same hour stands twice"
            } else {
                "hours are missing or out of order"
            },
            "the hour after that of the row before it",
            "sort the rows by date and time, keep each hour once, and fill in the missing ones",
        ));
    }
    Some(ends)
}

/// "03/01/1987" as the number of days before it in a year of 365 days.
fn day_of_year(text: &str) -> Option<u32> {
    let mut parts = text.split('/');
    let (month, day, year) = (parts.next()?, parts.next()?, parts.next()?);
    let is_year = year.len() == 4 && year.bytes().all(|byte| byte.is_ascii_digit()) && parts.next().is_none();
    let date = Date::new(i16::try_from(YEAR).ok()?, month.parse().ok()?, day.parse().ok()?).ok()?;
    is_year.then(|| u32::from(date.day_of_year().unsigned_abs()) - 1)
}

/// "07:00" as 7; 0 to 24.
fn hour_of_day(text: &str) -> Option<u32> {
    let (hour, minute) = text.split_once(':')?;
    hour.parse().ok().filter(|hour| *hour <= 24 && minute == "00")
}
