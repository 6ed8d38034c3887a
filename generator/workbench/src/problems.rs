//! What is wrong with a node file, each fault at the field that it concerns.

use millpond::problem::Problems;
use millpond::visible::visible;
use serde::Serialize;

use crate::fields;

/// One fault.
#[derive(Serialize)]
pub(crate) struct Fault {
    /// The field's key; `None` where no value stands at that place.
    key: Option<String>,
    /// The profile that it stands in; `None` for the node file.
    file: Option<String>,
    /// Counted from 1.
    line: usize,
    /// Counted from 1, in characters.
    column: usize,
    title: String,
    expected: String,
    cure: String,
}

/// All faults of a node file and of the profiles that it names.
pub(crate) fn faults(problems: &Problems) -> Vec<Fault> {
    let node_text = problems.files.first().map_or("", |file| &file.text);
    let fields = fields::spans(node_text);
    let faults = problems.list.iter().map(|problem| {
        let profile = problems.files.get(problem.file).filter(|_| problem.file > 0);
        let text = profile.map_or(node_text, |file| &file.text);
        let at = text.floor_char_boundary(problem.span.start.min(text.len()));
        let line_start = text[..at].rfind('\n').map_or(0, |end| end + 1);
        let touches = |span: &std::ops::Range<usize>| span.start <= at && at < span.end.max(span.start + 1);
        Fault {
            key: fields
                .iter()
                .find(|(_, span)| profile.is_none() && touches(span))
                .map(|(key, _)| key.clone()),
            file: profile.map(|file| visible(&file.path).into_owned()),
            line: 1 + text[..line_start].matches('\n').count(),
            column: 1 + text[line_start..at].chars().count(),
            title: problem.title.clone(),
            expected: problem.expected.clone(),
            cure: problem.cure.clone(),
        }
    });
    faults.collect()
}
