//! What is wrong with a node file, each fault at the field that it concerns.

use millpond::problem::Problems;
use serde::Serialize;

use crate::fields;

/// One fault.
#[derive(Serialize)]
pub(crate) struct Fault {
    /// The field's key; `None` where no value stands at that place.
    key: Option<String>,
    /// Counted from 1.
    line: usize,
    /// Counted from 1, in characters.
    column: usize,
    title: String,
    expected: String,
    cure: String,
}

/// The faults of `text`.
pub(crate) fn faults(text: &str, problems: &Problems) -> Vec<Fault> {
    let fields = fields::spans(text);
    let faults = problems.list.iter().map(|problem| {
        let at = text.floor_char_boundary(problem.span.start.min(text.len()));
        let line_start = text[..at].rfind('\n').map_or(0, |end| end + 1);
        let touches = |span: &std::ops::Range<usize>| span.start <= at && at < span.end.max(span.start + 1);
        Fault {
            key: fields
                .iter()
                .find(|(_, span)| problem.file == 0 && touches(span))
                .map(|(key, _)| key.clone()),
            line: 1 + text[..line_start].matches('\n').count(),
            column: 1 + text[line_start..at].chars().count(),
            title: problem.title.clone(),
            expected: problem.expected.clone(),
            cure: problem.cure.clone(),
        }
    });
    faults.collect()
}
