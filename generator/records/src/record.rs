//! A record of light or power, which stands in for the source of a node: a trace, or a typical-year weather file.
//!
//! A trace is a CSV file with a header of two columns: `time_s`, or `time` in RFC 3339, and one of
//!
//! | column | is | becomes power by |
//! | --- | --- | --- |
//! | `power_w` | the power offered to the converter, before its efficiency | itself |
//! | `irradiance_w_m2` | the irradiance of the module | area · efficiency of the node's photovoltaic source |
//! | `illuminance_lx` | the illuminance of the cell | area · power density of the node's indoor source |
//!
//! A row holds until the next one, the last for the median step. A file in the layout of typical-year weather files
//! ([`weather`]) is taken for what it is; its irradiance is that of the unshaded horizontal, and is shaded as the node
//! file says.

mod trace;
pub mod weather;

#[cfg(test)]
mod tests;

use std::path::Path;

use crate::income::Income;
use crate::input::{self, Limit, LoadError};
use crate::node::Source;
use crate::problem::{InputText, Problems};
use crate::rows;

/// Of a trace: one of this size already has more than ten million rows.
pub const LIMIT: Limit = Limit {
    most_bytes: 256 << 20,
    cure: "sample it less often, or cut it",
};

/// Reads a trace or a weather file, of at most 256 MiB, that stands in for `source`.
///
/// # Errors
///
/// [`LoadError::Refused`] with all faults at once, or what kept the file from being read at all.
pub fn load(path: impl AsRef<Path>, source: &Source) -> Result<Income, LoadError> {
    let file = input::read(path.as_ref(), LIMIT)?;
    parse(&file.path, &file.text, source).map_err(LoadError::Refused)
}

/// Reads a trace or a weather file from text; `label` stands for the path in messages.
///
/// # Errors
///
/// All faults of the text: a header that says nothing, rows that are out of order, repeated, no numbers or
/// negative, gaps (a step of more than three times the median step), and a column that the node cannot convert.
///
/// ```
/// use millpond_records::record;
/// use millpond_node::node::Source;
/// use millpond_numbers::units::*;
/// let income = record::parse("lab.csv", "time_s,power_w\n0,0.001\n60,0.002\n", &Source::Trace)?;
/// let ends: Vec<f64> = income.segments().take(4).map(|segment| segment.until_s).collect();
/// assert_eq!(ends, [60.0, 120.0, 180.0, 240.0]);
/// assert!(record::parse("lab.csv", "time_s,power_w\n60,0.001\n0,0.002\n", &Source::Trace).is_err());
/// # Ok::<(), millpond_node::problem::Problems>(())
/// ```
pub fn parse(label: &str, text: &str, source: &Source) -> Result<Income, Problems> {
    let text = rows::without_byte_order_mark(text);
    let mut faults = rows::Faults::default();
    let segments = if weather::is_layout_of(text) {
        weather::segments(text, source, &mut faults)
    } else {
        trace::segments(text, source, &mut faults)
    };
    let list = faults.into_list();
    if list.is_empty() {
        return Ok(Income::repeating(segments));
    }
    Err(Problems::new(
        vec![InputText {
            path: label.to_owned(),
            text: text.to_owned(),
        }],
        list,
    ))
}
