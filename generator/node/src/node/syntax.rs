//! Faults of the TOML itself, with cures for the slips that are common in node files.

use std::ops::Range;

use super::table::MOST_NOTED;
use crate::problem::Problem;

/// What the parser says of a key or a section that stands twice.
const DUPLICATE: &str = "duplicate key";

/// Adds the syntax errors to the other faults, and takes out what only follows from them.
pub(super) fn merge(text: &str, errors: &[toml::de::Error], list: &mut Vec<Problem>) {
    let mut syntax = Vec::new();
    // What a damaged line seems to say is not worth a second message. Both lists are walked by position.
    let mut damaged = Vec::new();
    let mut line = 0..0;
    // Where a section that stands twice ends: every key that both have is a fault to the parser.
    let mut repeated = 0;
    for error in errors.iter().take(MOST_NOTED) {
        let span = error.span().unwrap_or(0..0);
        let is_duplicate = error.message().contains(DUPLICATE);
        if is_duplicate && span.start < repeated {
            continue;
        }
        // Thousands of errors may stand on one line of a million bytes.
        if damaged.is_empty() || !(line.start..=line.end).contains(&span.start) {
            line = line_around(text, &span);
            damaged.push(line.clone());
        }
        if is_duplicate && header(&text[line.clone()]).is_some() {
            repeated = next_section(text, line.end);
        }
        let problem = problem(text, &line, span, error.message());
        let at = problem.span.start;
        syntax.push(problem);
        // All that follows an open list is read as its entries; one message is enough.
        if error.message().contains("array") {
            list.retain(|problem| problem.file != 0 || problem.span.start < at);
            break;
        }
    }
    damaged.sort_by_key(|line| line.start);
    list.retain(|problem| {
        let at = problem.span.start;
        let after = damaged.partition_point(|line| line.start <= at);
        problem.file != 0 || after == 0 || at > damaged[after - 1].end
    });
    list.extend(syntax);
}

fn problem(text: &str, range: &Range<usize>, span: Range<usize>, message: &str) -> Problem {
    let line = &text[range.clone()];
    let (title, expected) = message.split_once(", expected ").unwrap_or((message, ""));
    let value = line.split_once('=').map_or("", |(_, value)| value.trim());
    let starts_as_quantity = value.starts_with(|c: char| c.is_ascii_digit() || c == '-');
    let before = text.floor_char_boundary(span.start.clamp(range.start, range.end));
    let opens_line = text[range.start..before].trim().is_empty();
    let (expected, cure) = if title.contains(DUPLICATE) {
        let first = first_like(&text[..range.start], line)
            .map_or(String::new(), |number| format!(", first in line {number}"));
        (
            format!("stands for the second time{first}"),
            "keep one of the two",
        )
    } else if title.contains("array") && opens_line {
        (
            format!("expected {expected}"),
            "a list that is opened above is not closed: end it with ]",
        )
    } else if title.contains("array") {
        (
            format!("expected {expected}"),
            "part the entries with commas and end the list with ]",
        )
    } else if title.contains("basic string") {
        (
            format!("expected {expected}"),
            "close the quotes at the end of the value",
        )
    } else if starts_as_quantity {
        (
            "expected text in quotes".to_string(),
            "write the quantity in quotes, such as \"470 mF\"",
        )
    } else if title.contains("must be quoted") || title.contains("boolean") {
        (
            "expected a number, or text in quotes".to_string(),
            "write words in quotes, such as \"direct\"",
        )
    } else {
        let expected = if expected.is_empty() {
            "cannot be read".to_string()
        } else {
            format!("expected {expected}")
        };
        (expected, "a line is key = value, a [section], or a # comment")
    };
    let title = if title.contains("boolean") {
        "string values must be quoted"
    } else {
        title
    };
    Problem::new(span, format!("not valid TOML: {title}"), expected, cure)
}

/// The header of a line that opens a section.
fn header(line: &str) -> Option<&str> {
    let line = line.trim_start();
    line.split_inclusive(']').next().filter(|_| line.starts_with('['))
}

/// Where the next section opens after `from`, the end of a line, or the end of the text.
fn next_section(text: &str, from: usize) -> usize {
    let mut at = from;
    for line in text[from..].split_inclusive('\n') {
        if header(line).is_some() {
            return at;
        }
        at += line.len();
    }
    at
}

/// The number of the line of `before` that opens the section that `line` opens again.
fn first_like(before: &str, line: &str) -> Option<usize> {
    let again = header(line)?;
    let at = before.lines().position(|line| header(line) == Some(again))?;
    Some(at + 1)
}

/// The line that a span starts on.
fn line_around(text: &str, span: &Range<usize>) -> Range<usize> {
    let at = text.floor_char_boundary(span.start.min(text.len()));
    let start = text[..at].rfind('\n').map_or(0, |newline| newline + 1);
    let end = text[at..].find('\n').map_or(text.len(), |newline| at + newline);
    start..end
}
