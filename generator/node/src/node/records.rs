//! The rows of a CSV text, parsed by the core of the `csv` library, each with where it begins.

use csv_core::{ReadRecordResult, Reader, ReaderBuilder};

/// Where most rows find room at once (bytes, cells).
const ROOM: (usize, usize) = (64, 4);

/// One row.
pub(super) struct Record {
    /// Its cells, without the blanks around them.
    pub(super) cells: Vec<String>,
    /// From where on it stands in the text (bytes): comments and empty lines may be before it.
    pub(super) from: usize,
}

/// The rows of `text` in order, which may differ in width; lines that begin with `#` are passed over.
pub(super) fn records(text: &str) -> Records<'_> {
    Records {
        text,
        at: 0,
        reader: ReaderBuilder::new().comment(Some(b'#')).build(),
    }
}

/// The rows of a text, in order.
pub(super) struct Records<'a> {
    text: &'a str,
    at: usize,
    reader: Reader,
}

impl Iterator for Records<'_> {
    type Item = Record;

    fn next(&mut self) -> Option<Record> {
        let from = self.at;
        let (mut bytes, mut ends) = (vec![0; ROOM.0], vec![0; ROOM.1]);
        let (mut filled, mut ended) = (0, 0);
        loop {
            // Empty at the end of the text, which the reader takes as its end.
            let input = &self.text.as_bytes()[self.at..];
            let (result, read, written, cells) =
                self.reader
                    .read_record(input, &mut bytes[filled..], &mut ends[ended..]);
            self.at += read;
            filled += written;
            ended += cells;
            match result {
                ReadRecordResult::InputEmpty => {}
                ReadRecordResult::OutputFull => bytes.resize(2 * bytes.len(), 0),
                ReadRecordResult::OutputEndsFull => ends.resize(2 * ends.len(), 0),
                ReadRecordResult::Record => break,
                ReadRecordResult::End => return None,
            }
        }
        let mut start = 0;
        let cells = ends[..ended].iter().map(|end| {
            let cell = String::from_utf8_lossy(&bytes[start..*end]);
            start = *end;
            cell.trim().to_owned()
        });
        Some(Record {
            cells: cells.collect(),
            from,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn rows_are_those_of_the_text() {
        let text = "\u{feff}time_s, current_a\r\n# a comment\n\n0,\"1, 2\"\n3\n";
        let found: Vec<(Vec<String>, usize)> = records(text).map(|row| (row.cells, row.from)).collect();
        let cells = |cells: &[&str]| cells.iter().map(|cell| (*cell).to_owned()).collect::<Vec<_>>();
        assert_eq!(found.len(), 3);
        assert_eq!(found[0], (cells(&["time_s", "current_a"]), 0));
        assert_eq!(found[1].0, cells(&["0", "1, 2"]));
        assert!(text[found[1].1..].contains("0,\"1, 2\"") && !text[found[2].1..].contains("1, 2"));
        assert_eq!(found[2].0, cells(&["3"]));
    }

    proptest! {
        /// Cells longer and more of them than there is room for at first come out as they were.
        #[test]
        fn long_rows_are_whole(rows in prop::collection::vec(prop::collection::vec("[a-z\u{e9}0-9.]{1,80}", 1..9), 0..6)) {
            let text: String = rows.iter().map(|row| row.join(",") + "\n").collect();
            let found: Vec<Vec<String>> = records(&text).map(|row| row.cells).collect();
            prop_assert_eq!(found, rows);
        }
    }
}
