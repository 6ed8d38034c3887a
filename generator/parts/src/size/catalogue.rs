//! Reads a catalogue of parts: TOML by its ending, CSV otherwise.

use std::path::Path;

use crate::input::{self, Limit, LoadError};
use crate::node::Capacitor;
use crate::node::catalogue::{self, CatalogueRow, MOST_PARTS, OPTIONAL, Part, REQUIRED};
use crate::problem::{InputText, Problem, Problems, quoted};
use crate::rows::{Rows, without_byte_order_mark};

/// A larger file is no catalogue to choose from: thousands of parts take less.
const LIMIT: Limit = Limit {
    most_bytes: 2 << 20,
    cure: "make it smaller",
};

/// More columns than this are not looked at one by one: there are keys for a fifth of them.
const MOST_COLUMNS: usize = 100;

/// Reads the catalogue at `path`, of at most 2 MiB; `own` is the capacitor whose place the parts take.
///
/// # Errors
///
/// [`LoadError::Refused`] with all faults at once, or what kept the file from being read at all.
pub fn load(path: impl AsRef<Path>, own: &Capacitor) -> Result<Vec<Part>, LoadError> {
    let path = path.as_ref();
    let file = input::read(path, LIMIT)?;
    let is_toml = path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("toml"));
    let parts = if is_toml {
        from_toml(&file.path, &file.text, own)
    } else {
        from_csv(&file.path, &file.text, own)
    };
    parts.map_err(LoadError::Refused)
}

/// Reads a TOML catalogue from text; `label` stands for the path in messages.
///
/// # Errors
///
/// All faults of the text.
///
/// ```
/// use millpond_node::node::NodeFile;
/// use millpond_parts::size::catalogue::from_toml;
/// let own = NodeFile::load("../../templates/nodes/crack-gauge.toml")?.node.storage.remove(0);
/// let text = "[[part]]\nname = \"small\"\ncapacitance = \"470 mF\"\nesr = \"5 ohm\"\nrated_voltage = \"5.5 V\"\nleakage = \"3 uA\"\n";
/// let parts = from_toml("parts.toml", text, &own).map_err(|problems| problems.to_string())?;
/// assert_eq!(parts[0].name, "small");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn from_toml(label: &str, text: &str, own: &Capacitor) -> Result<Vec<Part>, Problems> {
    catalogue::from_toml(label, text, own)
}

/// Reads a CSV catalogue from text; `label` stands for the path in messages.
///
/// # Errors
///
/// All faults of the text.
///
/// ```
/// use millpond_node::node::NodeFile;
/// use millpond_parts::size::catalogue::from_csv;
/// use millpond_numbers::units::*;
/// let own = NodeFile::load("../../templates/nodes/crack-gauge.toml")?.node.storage.remove(0);
/// let text = "name,capacitance,esr,rated_voltage,leakage,price\nsmall,470 mF,5 ohm,5.5 V,3 uA,1.10\n";
/// let parts = from_csv("parts.csv", text, &own).map_err(|problems| problems.to_string())?;
/// assert_eq!(parts[0].capacitor.capacitance, farads(0.47));
/// // Not said of the part, so that of the node's own.
/// assert_eq!(parts[0].capacitor.tolerance_low, own.tolerance_low);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn from_csv(label: &str, text: &str, own: &Capacitor) -> Result<Vec<Part>, Problems> {
    let text = without_byte_order_mark(text);
    let refused = |list| {
        Problems::new(
            vec![InputText {
                path: label.to_owned(),
                text: text.to_owned(),
            }],
            list,
        )
    };
    let mut rows = Rows::of(text);
    let Some(header) = rows.advance() else {
        return Err(refused(vec![Problem::new(
            0..text.len(),
            "the catalogue is empty",
            "a header and a row for each part",
            format!("begin with: {}", REQUIRED.join(",")),
        )]));
    };
    if header.width() > MOST_COLUMNS {
        return Err(refused(vec![Problem::new(
            header.span(),
            format!("the header has {} columns", header.width()),
            format!("at most {MOST_COLUMNS}, each a key of a part"),
            format!("known: {}, {}", REQUIRED.join(", "), OPTIONAL.join(", ")),
        )]));
    }
    let mut faults = Vec::new();
    let names: Vec<String> = (0..header.width())
        .map(|column| header.cell(column).to_owned())
        .collect();
    let spans: Vec<_> = (0..header.width())
        .map(|column| header.cell_span(column))
        .collect();
    for (column, name) in names.iter().enumerate() {
        let is_known = REQUIRED.contains(&name.as_str()) || OPTIONAL.contains(&name.as_str());
        if !is_known {
            faults.push(Problem::new(
                spans[column].clone(),
                format!("unknown column `{}`", quoted(name)),
                "no such key of a part",
                format!("known: {}, {}", REQUIRED.join(", "), OPTIONAL.join(", ")),
            ));
        } else if names[..column].contains(name) {
            faults.push(Problem::new(
                spans[column].clone(),
                format!("a second column `{}`", quoted(name)),
                "each column once",
                "remove one of them",
            ));
        }
    }
    let missing: Vec<&str> = REQUIRED
        .into_iter()
        .filter(|name| !names.iter().any(|given| given == name))
        .collect();
    if !missing.is_empty() {
        faults.push(Problem::new(
            header.span(),
            format!("the header lacks {}", missing.join(", ")),
            "missing here",
            format!("every part has {}", REQUIRED.join(", ")),
        ));
    }
    if !faults.is_empty() {
        return Err(refused(faults));
    }
    let mut read = Vec::new();
    let mut cells = Vec::new();
    while let Some(row) = rows.advance() {
        if cells.len() == MOST_PARTS {
            faults.push(catalogue::too_many(row.span()));
            break;
        }
        if row.width() > names.len() {
            faults.push(Problem::new(
                row.cell_span(names.len()),
                format!("the row has {} cells, the header {}", row.width(), names.len()),
                "no column for this",
                "put quotes around a cell that has a comma in it",
            ));
        }
        let texts: Vec<_> = (0..names.len())
            .map(|column| (row.cell(column).to_owned(), row.cell_span(column)))
            .collect();
        cells.push((row.span(), texts));
    }
    if cells.is_empty() {
        faults.push(Problem::new(
            text.trim_end().len()..text.trim_end().len(),
            "the catalogue has no part",
            "a row for each part",
            "add one",
        ));
    }
    for (span, texts) in &cells {
        let columns = names.iter().zip(&spans).zip(texts);
        read.push(CatalogueRow::of(
            span.clone(),
            columns.map(|((name, name_span), (text, text_span))| {
                (name.as_str(), name_span.clone(), text.as_str(), text_span.clone())
            }),
        ));
    }
    catalogue::from_rows(label, text, &read, faults, own)
}
