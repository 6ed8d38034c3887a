//! The lines of a log that hold something.

use std::ops::Range;

/// A line that holds something: where it starts, its number from 1, and its text without the line's end.
pub(super) struct Line<'a> {
    pub(super) start: usize,
    pub(super) number: usize,
    pub(super) text: &'a str,
}

/// The lines that hold something, in order.
pub(super) struct Lines<'a> {
    text: &'a str,
    at: usize,
    number: usize,
}

impl<'a> Lines<'a> {
    pub(super) fn of(text: &'a str) -> Self {
        Self {
            text,
            at: 0,
            number: 0,
        }
    }
}

impl<'a> Iterator for Lines<'a> {
    type Item = Line<'a>;

    fn next(&mut self) -> Option<Line<'a>> {
        while self.at < self.text.len() {
            let start = self.at;
            let rest = &self.text[start..];
            let length = rest.find('\n').unwrap_or(rest.len());
            self.at = start + length + 1;
            self.number += 1;
            let text = rest[..length].trim_end_matches('\r');
            if !text.trim().is_empty() && !text.trim_start().starts_with('#') {
                return Some(Line {
                    start,
                    number: self.number,
                    text,
                });
            }
        }
        None
    }
}

/// The line that holds this place.
pub(super) fn line_at(text: &str, place: usize) -> Range<usize> {
    let start = text[..place.min(text.len())].rfind('\n').map_or(0, |at| at + 1);
    let end = text[start..].find('\n').map_or(text.len(), |at| start + at);
    start..end
}
