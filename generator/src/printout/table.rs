//! Tables for a terminal: a ruled head, numbers to the right.

use comfy_table::{CellAlignment, LineStyle, Table, TableStyle};

/// The lines drawn: one rule under the head.
const RULES: TableStyle = TableStyle::new().header_separator(LineStyle::none().fill('-').junction('-'));

/// A table with `head`; every column but the first stands to the right.
pub(super) fn table(head: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> String {
    let mut table = Table::new();
    table.load_style(RULES).set_header(head.to_vec());
    for row in rows {
        table.add_row(row);
    }
    for column in table.column_iter_mut().skip(1) {
        column.set_cell_alignment(CellAlignment::Right);
    }
    let lines: Vec<String> = table.lines().map(|line| line.trim_end().to_owned()).collect();
    lines.join("\n") + "\n"
}
