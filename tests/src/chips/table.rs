//! The rows as text in columns.

use super::row::Row;

/// Headings and contents, in the same order.
pub(crate) const HEADINGS: [&str; 13] = [
    "target", "language", "node", "steps", "agree", "flash", "data", "state", "stack", "longest", "usual",
    "hour", "unit",
];

/// One line a row, with headings. A dash is what is not measured.
///
/// ```
/// assert!(millpond_tests::chips::table(&[]).starts_with("target"));
/// ```
#[must_use]
pub fn table(rows: &[Row]) -> String {
    let lines: Vec<[String; 13]> = std::iter::once(HEADINGS.map(str::to_owned))
        .chain(rows.iter().map(cells))
        .collect();
    let width = |column: usize| lines.iter().map(|line| line[column].len()).max().unwrap_or(0);
    let widths: [usize; 13] = std::array::from_fn(width);
    let mut text = String::new();
    for line in &lines {
        let padded = line
            .iter()
            .zip(widths)
            .map(|(cell, width)| format!("{cell:<width$}"));
        text.push_str(padded.collect::<Vec<_>>().join("  ").trim_end());
        text.push('\n');
    }
    text
}

/// What stands in each column.
pub(crate) fn cells(row: &Row) -> [String; 13] {
    fn or_dash(value: Option<impl ToString>) -> String {
        value.map_or_else(|| "-".to_owned(), |value| value.to_string())
    }
    [
        row.target.to_owned(),
        row.language.to_owned(),
        row.node.to_owned(),
        row.steps.to_string(),
        if row.agree { "yes" } else { "no" }.to_owned(),
        or_dash(row.flash_bytes),
        or_dash(row.data_bytes),
        row.state_bytes.to_string(),
        or_dash(row.stack_bytes),
        or_dash(row.longest),
        or_dash(row.usual),
        or_dash(row.hour),
        or_dash(row.unit),
    ]
}
