//! What is wrong with a node file: where, what was expected, what would cure it.

use std::ops::Range;

/// One fault of an input file. All faults of a file are collected before any is shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Byte range in the text that the marker underlines.
    pub span: Range<usize>,
    /// What is wrong, in one line.
    pub title: String,
    /// What was expected: stands beside the marker.
    pub expected: String,
    /// What would cure it.
    pub cure: String,
}
