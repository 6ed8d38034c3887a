//! Reads a trace: a CSV file of power, irradiance or illuminance over time.
//!
//! All faults are found in one reading, and each names its cell. What a trace must look like is said in the
//! [module above](super).

use jiff::Timestamp;

use crate::income::{Segment, clear_sky, indoor};
use crate::node::Source;
use crate::problem::{Problem, quoted};
use crate::rows::{Faults, Row, Rows, cell_span};
use crate::statistics::median;
use crate::text::Engineering;
use crate::units::*;

/// A step longer than so many median steps is a gap: one or two lost rows are bridged by the row before them.
const GAP_STEPS: f64 = 3.0;
/// Written times are rounded; a step within this of the limit is none too many.
const STEP_ROUNDING: f64 = 1e-6;

const HEADER: &str = "time_s (or time, in RFC 3339) and one of power_w, irradiance_w_m2, illuminance_lx";
const HEADER_CURE: &str = "write a first line such as time_s,power_w and keep two columns, with a comma between them and points in numbers";

/// What the header says.
struct Header<'a> {
    clock: Clock,
    /// From a figure of the second column to the offered power.
    power: Box<dyn Fn(f64) -> Power + 'a>,
    /// What the second column holds, in a message.
    name: &'static str,
}

/// How time is written.
enum Clock {
    Seconds,
    /// The first row's time is kept: differences to it are exact where the time itself would be rounded.
    Calendar {
        first: Option<Timestamp>,
    },
}

/// A row that was read.
struct Sample {
    time_s: f64,
    power: Power,
    /// From where on the row is to be looked for in the text.
    search_from: usize,
}

/// The segments of one round of the trace; faults are noted, and the segments mean nothing then.
pub(super) fn segments(text: &str, source: &Source, faults: &mut Faults) -> Vec<Segment> {
    let mut rows = Rows::of(text);
    let Some(header) = rows.advance() else {
        faults.note(Problem::new(
            0..0,
            "the trace is empty",
            "a header and at least two rows",
            HEADER_CURE,
        ));
        return Vec::new();
    };
    let Some(header) = read_header(&header, source, faults) else {
        return Vec::new();
    };
    let samples = read_samples(text, &mut rows, header, faults);
    let Some(step_s) = median_step_s(&samples) else {
        if faults.is_empty() {
            let end = text.trim_end().len();
            faults.note(Problem::new(
                end..end,
                "the trace has fewer than two rows",
                "another row",
                "a row holds until the next one, the last for the median step: write at least two; what never \
                 changes is kind = \"constant\" in the node file",
            ));
        }
        return Vec::new();
    };
    find_gaps(text, &samples, step_s, faults);
    let first_s = samples.first().map_or(0.0, |sample| sample.time_s);
    let ends = samples.iter().skip(1).map(|sample| sample.time_s);
    let last = samples.last().map(|sample| sample.time_s + step_s);
    let pieces = samples.iter().zip(ends.chain(last));
    pieces
        .map(|(sample, end_s)| Segment {
            until_s: end_s - first_s,
            power: sample.power,
        })
        .collect()
}

fn read_header<'a>(row: &Row<'_>, source: &'a Source, faults: &mut Faults) -> Option<Header<'a>> {
    let clock = match row.cell(0) {
        "time_s" => Clock::Seconds,
        "time" => Clock::Calendar { first: None },
        _ => {
            faults.note(Problem::new(
                row.span(),
                "the trace has no such header",
                HEADER,
                HEADER_CURE,
            ));
            return None;
        }
    };
    let unsuitable = |needed: &str, kind: &str| {
        Problem::new(
            row.cell_span(1),
            format!("`{}` cannot become power: the node has no {needed}", row.cell(1)),
            "a column that the node file can convert",
            format!("write `power_w`, or describe the {needed} in the node file as kind = \"{kind}\""),
        )
    };
    let none = |_: f64| watts(0.0);
    let (power, name): (Box<dyn Fn(f64) -> Power + 'a>, _) = match (row.cell(1), source, row.width()) {
        ("power_w", _, 2) => (Box::new(watts), "power"),
        ("irradiance_w_m2", Source::Photovoltaic { area, efficiency, .. }, 2) => {
            let power = |light| clear_sky::module_power(watts_per_square_meter(light), *area, *efficiency);
            (Box::new(power), "irradiance")
        }
        (
            "illuminance_lx",
            Source::Indoor {
                area, power_density, ..
            },
            2,
        ) => (
            Box::new(|light| indoor::cell_power(luxes(light), *area, power_density)),
            "illuminance",
        ),
        // The rows are read all the same, for their own faults.
        ("irradiance_w_m2", _, 2) => {
            faults.note(unsuitable("solar module", "photovoltaic"));
            (Box::new(none), "irradiance")
        }
        ("illuminance_lx", _, 2) => {
            faults.note(unsuitable("cell for indoor light", "indoor"));
            (Box::new(none), "illuminance")
        }
        _ => {
            faults.note(Problem::new(
                row.span(),
                "the trace has no such header",
                HEADER,
                HEADER_CURE,
            ));
            return None;
        }
    };
    Some(Header { clock, power, name })
}

fn read_samples(text: &str, rows: &mut Rows<'_>, mut header: Header<'_>, faults: &mut Faults) -> Vec<Sample> {
    let mut samples: Vec<Sample> = Vec::new();
    while let Some(row) = rows.advance() {
        if faults.end_reading_at(&row) {
            break;
        }
        if row.width() != 2 {
            let title = match row.width() {
                1 => "a row of the trace has 1 cell".to_string(),
                count => format!("a row of the trace has {count} cells"),
            };
            let cure = "write two cells, parted by a comma, and decimals with a point";
            faults.note(Problem::new(
                row.span(),
                title,
                format!("a time and the {}", header.name),
                cure,
            ));
            continue;
        }
        let time_s = header.clock.read(&row, faults);
        let figure = row.number(1, header.name, faults);
        if figure.is_some_and(|figure| figure < 0.0) {
            faults.note(Problem::new(
                row.cell_span(1),
                format!("the {} is negative", header.name),
                "0 or more",
                "take out the offset of the instrument, and set what is left below zero to 0",
            ));
        }
        let Some(time_s) = time_s else { continue };
        if let Some(before) = samples.last().filter(|before| time_s <= before.time_s) {
            let title = if time_s == before.time_s {
                "the same time stands twice"
            } else {
                "time goes back"
            };
            let expected = "later than the row before it";
            let cure = "sort the rows by time and keep each time once";
            let place = cell_span(text, before.search_from, 0);
            faults.note(
                Problem::new(row.cell_span(0), title, expected, cure).with(&place, "the row before it"),
            );
        }
        let power = (header.power)(figure.unwrap_or(0.0));
        samples.push(Sample {
            time_s,
            power,
            search_from: row.search_from(),
        });
    }
    samples
}

impl Clock {
    fn read(&mut self, row: &Row<'_>, faults: &mut Faults) -> Option<f64> {
        match self {
            Clock::Seconds => row.number(0, "time", faults),
            Clock::Calendar { first } => match row.cell(0).parse::<Timestamp>() {
                Ok(time) => Some(time.duration_since(*first.get_or_insert(time)).as_secs_f64()),
                Err(_) => {
                    faults.note(Problem::new(
                        row.cell_span(0),
                        format!("this is not a time: {}", quoted(row.cell(0))),
                        "RFC 3339 with an offset, such as 2018-06-21T12:00:00Z or 2018-06-21T14:00:00+02:00",
                        "write the time so, or the seconds since the first row under `time_s`",
                    ));
                    None
                }
            },
        }
    }
}

/// The median of the steps between rows; `None` when there are fewer than two rows. Steps that are faults themselves
/// count as well.
fn median_step_s(samples: &[Sample]) -> Option<f64> {
    let mut steps_s: Vec<f64> = samples
        .windows(2)
        .map(|pair| pair[1].time_s - pair[0].time_s)
        .collect();
    median(&mut steps_s)
}

fn find_gaps(text: &str, samples: &[Sample], step_s: f64, faults: &mut Faults) {
    let longest_s = GAP_STEPS * step_s * (1.0 + STEP_ROUNDING);
    // Where most steps are faults themselves, nothing is known about the usual one.
    if longest_s <= 0.0 {
        return;
    }
    for pair in samples.windows(2) {
        let gap_s = pair[1].time_s - pair[0].time_s;
        if gap_s <= longest_s {
            continue;
        }
        let shown = |time_s| Engineering(seconds(time_s), "s").to_string();
        let before = cell_span(text, pair[0].search_from, 0);
        faults.note(
            Problem::new(
                cell_span(text, pair[1].search_from, 0),
                format!("rows are missing: {} since the row before", shown(gap_s)),
                format!("at most {GAP_STEPS} times the usual step of {}", shown(step_s)),
                "fill in what was offered meanwhile (0 for a logger that sleeps in the dark), or cut the trace here",
            )
            .with(&before, "the row before it"),
        );
    }
}
