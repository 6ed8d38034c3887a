//! The rows of a CSV text, each with the place where it and its cells stand, and the faults found in them.

use std::ops::Range;

use csv::{Reader, ReaderBuilder, StringRecord};

use crate::problem::{Problem, quoted};

/// A file that is no trace at all has a fault in every row; reading stops at so many.
const MOST_FAULTS: usize = 1000;
/// Largest number that is taken, in the base unit of its column: far above what any lamp, sky or clock gives, and low
/// enough for times to keep their microseconds.
const LARGEST: f64 = 1e10;

/// The text without the mark that some programs put before UTF-8.
pub fn without_byte_order_mark(text: &str) -> &str {
    text.strip_prefix('\u{feff}').unwrap_or(text)
}

/// Faults, as they are found.
#[derive(Debug, Default)]
pub struct Faults(Vec<Problem>);

impl Faults {
    /// Takes one more.
    pub fn note(&mut self, problem: Problem) {
        self.0.push(problem);
    }

    /// Whether there are so many that reading stops at `row`, which is then noted as well.
    pub fn end_reading_at(&mut self, row: &Row<'_>) -> bool {
        let too_many = self.0.len() >= MOST_FAULTS;
        if too_many {
            self.note(Problem::new(
                row.span(),
                format!("reading stopped here, after {MOST_FAULTS} problems"),
                "a time and a figure in each row",
                "see whether this is the right file",
            ));
        }
        too_many
    }

    /// Whether nothing was found.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// All of them.
    pub fn into_list(self) -> Vec<Problem> {
        self.0
    }
}

/// Reads the rows of a text in order; comments and empty lines are passed over.
pub struct Rows<'a> {
    text: &'a str,
    reader: Reader<&'a [u8]>,
    record: StringRecord,
}

/// One row.
pub struct Row<'a> {
    text: &'a str,
    record: &'a StringRecord,
}

impl<'a> Rows<'a> {
    /// The rows of `text`, from its first on.
    pub fn of(text: &'a str) -> Self {
        let reader = ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .comment(Some(b'#'))
            .from_reader(text.as_bytes());
        Self {
            text,
            reader,
            record: StringRecord::new(),
        }
    }

    /// The next row, if there is one.
    pub fn advance(&mut self) -> Option<Row<'_>> {
        // The text is UTF-8 and rows may differ in length, so nothing is left for the CSV reader to refuse.
        while self.reader.read_record(&mut self.record).unwrap_or(false) {
            // A line of blanks is as good as empty; a comment at the very end reads as one, too.
            if self.record.len() > 1 || self.record.get(0).is_some_and(|cell| !cell.trim().is_empty()) {
                return Some(Row {
                    text: self.text,
                    record: &self.record,
                });
            }
        }
        None
    }
}

impl Row<'_> {
    /// Number of cells, at least 1.
    pub fn width(&self) -> usize {
        self.record.len()
    }

    /// A cell without the blanks around it; empty where the row is too short.
    pub fn cell(&self, column: usize) -> &str {
        self.record.get(column).map_or("", str::trim)
    }

    /// From where on the row is to be looked for: comments and empty lines may stand before it.
    pub fn search_from(&self) -> usize {
        self.record
            .position()
            .map_or(0, |position| position.byte() as usize)
    }

    /// Where the row stands.
    pub fn span(&self) -> Range<usize> {
        line_span(self.text, self.search_from())
    }

    /// Where a cell stands.
    pub fn cell_span(&self, column: usize) -> Range<usize> {
        cell_span(self.text, self.search_from(), column)
    }

    /// A cell as a number; otherwise the fault is noted. `name` is what the cell holds, in a message.
    pub fn number(&self, column: usize, name: &str, faults: &mut Faults) -> Option<f64> {
        let cell = self.cell(column);
        let (title, cure) = match cell.parse::<f64>() {
            Ok(number) if number.abs() <= LARGEST => return Some(number),
            Ok(number) if number.is_nan() => (
                format!("the {name} is not a number: {}", quoted(cell)),
                "remove the row, or fill in what was there",
            ),
            Ok(_) => (
                format!("the {name} is too large: {}", quoted(cell)),
                "write it in the unit that the header names: seconds, watts, volts, W/m² or lux",
            ),
            Err(_) if cell.is_empty() => (
                format!("the {name} is missing"),
                "remove the row, or fill in what was there",
            ),
            Err(_) => (
                format!("the {name} is not a number: {}", quoted(cell)),
                "write a plain decimal number with a decimal point, without a unit",
            ),
        };
        faults.note(Problem::new(
            self.cell_span(column),
            title,
            format!("a number, at most {LARGEST:e}"),
            cure,
        ));
        None
    }
}

/// The first line at or after `from` that is neither empty nor a comment.
fn line_span(text: &str, from: usize) -> Range<usize> {
    let mut start = from.min(text.len());
    loop {
        let end = text[start..].find('\n').map_or(text.len(), |at| start + at);
        let line = text[start..end].trim_end_matches('\r');
        if end < text.len() && (line.is_empty() || line.starts_with('#')) {
            start = end + 1;
        } else {
            return start..start + line.len();
        }
    }
}

/// Where a cell of that line stands, without the blanks around it.
pub fn cell_span(text: &str, from: usize, column: usize) -> Range<usize> {
    let line = line_span(text, from);
    let row = &text[line.clone()];
    let mut in_quotes = false;
    let mut cells = row.split(|c: char| {
        in_quotes ^= c == '"';
        c == ',' && !in_quotes
    });
    let mut start = line.start;
    for cell in cells.by_ref().take(column) {
        start += cell.len() + 1;
    }
    let Some(cell) = cells.next() else {
        return line.end..line.end;
    };
    let blank = cell.len() - cell.trim_start().len();
    start + blank..start + blank + cell.trim().len()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn places_are_those_of_the_text() {
        let text = "# a comment\r\n\r\nfirst, second \r\n\"a, b\",2\r\n\n# another\n  3,\u{e9}\n  \n4\n# end";
        let mut rows = Rows::of(text);
        let row = rows.advance().expect("a first row");
        assert_eq!((row.cell(0), row.cell(1), row.width()), ("first", "second", 2));
        assert_eq!(&text[row.cell_span(1)], "second");
        let row = rows.advance().expect("a second row");
        assert_eq!(row.cell(0), "a, b");
        assert_eq!(
            (&text[row.cell_span(0)], &text[row.cell_span(1)]),
            ("\"a, b\"", "2")
        );
        let row = rows.advance().expect("a third row");
        assert_eq!(&text[row.span()], "  3,\u{e9}");
        assert_eq!(
            (&text[row.cell_span(0)], &text[row.cell_span(1)]),
            ("3", "\u{e9}")
        );
        let row = rows.advance().expect("a last row");
        let end = text.len() - "\n# end".len();
        assert_eq!((row.width(), row.cell(1), row.cell_span(1)), (1, "", end..end));
        assert!(rows.advance().is_none());
    }

    proptest! {
        /// Cells without quotes: what the reader gives stands in the text at the place that is named.
        #[test]
        fn every_cell_is_found_again(
            lines in prop::collection::vec("[ -!$-+.-~\u{e9}]{1,8}(,[ -!$-+.-~]{0,8}){0,3}|#[a-z,]{0,5}|", 0..20),
            ending in prop::sample::select(vec!["\n", "\r\n"]),
        ) {
            let text = lines.join(ending);
            let mut rows = Rows::of(&text);
            while let Some(row) = rows.advance() {
                for column in 0..row.width() {
                    prop_assert_eq!(row.cell(column), &text[row.cell_span(column)]);
                }
            }
        }

        #[test]
        fn any_text_is_answered(text in "([-0-9.,\"#\r\n e]|\\PC){0,80}", column in 0usize..4) {
            let mut rows = Rows::of(&text);
            let mut faults = Faults::default();
            while let Some(row) = rows.advance() {
                prop_assert!(text.get(row.span()).is_some() && text.get(row.cell_span(column)).is_some());
                row.number(column, "power", &mut faults);
            }
        }
    }
}
