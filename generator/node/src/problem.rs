//! What is wrong with a node file: where, what was expected, what would cure it.
//!
//! From faults found in one or more input texts to one message for people. All faults of a file are collected
//! before any is shown, and stand in the order in which they stand in the file.

use std::fmt;
use std::ops::Range;

use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet};

use crate::visible::{visible, visible_lines};

/// More faults than this are counted, not shown: nobody reads further, and a file of garbage has very many.
const MOST_SHOWN: usize = 100;

/// A stretch of lines longer than this is named by its position only; a marker under it would not fit a screen.
const MOST_EXCERPT_BYTES: usize = 4096;

/// Longest piece of the user's own text that a title repeats.
const MOST_QUOTED_CHARACTERS: usize = 40;

/// One fault of an input file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Which of [`Problems::files`] the fault is in; 0 is the node file.
    pub file: usize,
    /// Byte range in the text that the marker underlines.
    pub span: Range<usize>,
    /// What is wrong, in one line.
    pub title: String,
    /// What was expected: stands beside the marker.
    pub expected: String,
    /// What would cure it.
    pub cure: String,
    /// Other places of the same file that take part, each with what stands there.
    pub beside: Vec<(Range<usize>, String)>,
}

impl Problem {
    /// A fault of the node file with one marker.
    pub fn new(
        span: Range<usize>,
        title: impl Into<String>,
        expected: impl Into<String>,
        cure: impl Into<String>,
    ) -> Self {
        Problem {
            file: 0,
            span,
            title: title.into(),
            expected: expected.into(),
            cure: cure.into(),
            beside: Vec::new(),
        }
    }

    /// The same fault with a second place marked.
    pub fn with(mut self, span: &Range<usize>, label: impl Into<String>) -> Self {
        self.beside.push((span.clone(), label.into()));
        self
    }
}

/// An input file as it was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InputText {
    /// Path as the user gave it.
    pub path: String,
    /// The whole text.
    pub text: String,
}

/// All faults of a node file and of the files that it names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problems {
    /// The node file, then the profiles it names.
    pub files: Vec<InputText>,
    /// The faults, by file and position; at least one.
    pub list: Vec<Problem>,
}

impl Problems {
    /// Sorts the faults by position and drops repetitions.
    pub fn new(files: Vec<InputText>, mut list: Vec<Problem>) -> Self {
        list.sort_by_key(|problem| (problem.file, problem.span.start, problem.span.end));
        list.dedup();
        Problems { files, list }
    }

    /// The message for people: each fault with file, line, column, the line and a marker, then a count.
    ///
    /// With `colour` the text carries terminal escape sequences; nothing is told by colour alone.
    pub fn render(&self, colour: bool) -> String {
        let renderer = if colour {
            Renderer::styled()
        } else {
            Renderer::plain()
        };
        let mut message = String::new();
        for problem in self.list.iter().take(MOST_SHOWN) {
            message.push_str(&self.render_one(&renderer, problem));
            message.push_str("\n\n");
        }
        if self.list.len() > MOST_SHOWN {
            let unseen = self.list.len() - MOST_SHOWN;
            message.push_str(&format!("{unseen} more problems are not shown.\n"));
        }
        let path = visible(self.files.first().map_or("", |file| file.path.as_str()));
        let count = self.list.len();
        let noun = if count == 1 { "problem" } else { "problems" };
        message.push_str(&format!("{path}: refused, {count} {noun}\n"));
        message
    }

    fn render_one(&self, renderer: &Renderer, problem: &Problem) -> String {
        let (title, cure, expected) = (
            visible(&problem.title),
            visible(&problem.cure),
            visible(&problem.expected),
        );
        let title = Level::ERROR.primary_title(title.as_ref());
        let cure = Level::HELP.message(cure.as_ref());
        let Some(file) = self.files.get(problem.file) else {
            return renderer.render(&[title.element(cure)]);
        };
        let path = visible(&file.path);
        let marker = on_one_line(&file.text, &problem.span);
        let beside: Vec<_> = problem
            .beside
            .iter()
            .map(|(span, label)| (on_one_line(&file.text, span), label))
            .collect();
        let spans = || std::iter::once(&marker).chain(beside.iter().map(|(span, _)| span));
        let first = spans().map(|span| span.start).min().unwrap_or(0);
        let last = spans().map(|span| span.end).max().unwrap_or(0);
        let excerpt = whole_lines(&file.text, first, last);
        let line = 1 + file.text[..excerpt.start].matches('\n').count();
        let group: Group<'_> = if excerpt.len() > MOST_EXCERPT_BYTES {
            let line_start = file.text[..marker.start].rfind('\n').map_or(0, |at| at + 1);
            let line = 1 + file.text[..line_start].matches('\n').count();
            let column = 1 + file.text[line_start..marker.start].chars().count();
            let expected = Level::NOTE.message(expected.as_ref());
            title
                .element(Origin::path(path.as_ref()).line(line).char_column(column))
                .element(expected)
                .element(cure)
        } else {
            // The line ends of other systems are no characters of the line.
            let shown = |end: usize| {
                let text = file.text[excerpt.start..end].replace("\r\n", "\n");
                visible_lines(text.trim_end_matches('\r')).into_owned()
            };
            let within = |span: &Range<usize>| shown(span.start).len()..shown(span.end).len();
            let mut snippet = Snippet::source(shown(excerpt.end))
                .path(path.as_ref())
                .line_start(line)
                .annotation(
                    AnnotationKind::Primary
                        .span(within(&marker))
                        .label(expected.as_ref()),
                );
            for (span, label) in &beside {
                snippet =
                    snippet.annotation(AnnotationKind::Context.span(within(span)).label(label.as_str()));
            }
            title.element(snippet).element(cure)
        };
        renderer.render(&[group])
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.render(false))
    }
}

/// A piece of the user's text as a title may repeat it: on one line, everything in it to be seen, cut when long.
pub fn quoted(text: &str) -> String {
    let short: String = text.chars().take(MOST_QUOTED_CHARACTERS).collect();
    let shown = visible(&short);
    if short.len() < text.len() {
        format!("{shown}…")
    } else {
        shown.into_owned()
    }
}

/// The part of a span that lies on its first line, inside the text and on character boundaries.
fn on_one_line(text: &str, span: &Range<usize>) -> Range<usize> {
    let start = text.floor_char_boundary(span.start.min(text.len()));
    let end = text.ceil_char_boundary(span.end.clamp(start, text.len()));
    let length = text[start..end].find(['\n', '\r']).unwrap_or(end - start);
    start..start + length
}

/// The lines, without the last line's end, that hold both positions.
fn whole_lines(text: &str, first: usize, last: usize) -> Range<usize> {
    let start = text[..first].rfind('\n').map_or(0, |at| at + 1);
    let end = text[last..].find('\n').map_or(text.len(), |at| last + at);
    start..end
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn problems(text: &str, list: Vec<Problem>) -> Problems {
        Problems::new(
            vec![InputText {
                path: "node.toml".into(),
                text: text.into(),
            }],
            list,
        )
    }

    #[test]
    fn a_message_names_file_line_and_column() {
        let text = "[sense]\nbits = 40\n";
        let message = problems(
            text,
            vec![Problem::new(15..17, "too many", "6 to 16", "write 12")],
        )
        .render(false);
        assert!(message.contains("node.toml:2:8"), "{message}");
        assert!(message.contains("2 | bits = 40"), "{message}");
        assert!(message.contains("^^ 6 to 16"), "{message}");
        assert!(message.contains("help: write 12"), "{message}");
        assert!(message.ends_with("node.toml: refused, 1 problem\n"), "{message}");
    }

    #[test]
    fn faults_stand_in_the_order_of_the_file() {
        let late = Problem::new(6..7, "late", "", "");
        let early = Problem::new(0..1, "early", "", "");
        let sorted = problems("a = 1\nb = 2\n", vec![late.clone(), early.clone(), late.clone()]);
        assert_eq!(sorted.list, [early, late]);
    }

    #[test]
    fn a_very_long_line_is_named_by_position_only() {
        let text = format!("first = 1\nlong = \"{}\"\n", "x".repeat(100_000));
        let message = problems(&text, vec![Problem::new(17..20, "odd", "short", "cut it")]).render(false);
        assert!(message.contains("node.toml:2:8"), "{message}");
        assert!(message.len() < 500, "{message}");
    }

    /// Characters that steer a terminal or hide stand as escapes in path, title and excerpt, and the marker keeps its place.
    #[test]
    fn nothing_hides_in_a_message() {
        let hidden = "\u{1b}[2J\u{9b}\u{202e}\u{200b}\u{2028}\u{feff}";
        let text = format!("a = \"{hidden}\" # b\n");
        let at = text.find("# b").expect("there");
        let mut all = problems(
            &text,
            vec![Problem::new(at..at + 1, format!("odd {hidden}"), hidden, hidden)],
        );
        all.files[0].path = format!("no{hidden}de.toml");
        let message = all.render(false);
        assert!(
            !message.contains(|c: char| hidden.contains(c) && !"[2J".contains(c)),
            "{message:?}"
        );
        let lines: Vec<&str> = message.lines().collect();
        let place = lines
            .iter()
            .position(|line| line.contains("# b"))
            .expect("an excerpt");
        let column = |line: &str, sign: char| line.chars().position(|c| c == sign);
        assert_eq!(
            column(lines[place], '#'),
            column(lines[place + 1], '^'),
            "{message}"
        );
    }

    #[test]
    fn a_flood_of_faults_is_counted() {
        let list = (0..150)
            .map(|at| Problem::new(at..at + 1, "odd", "", ""))
            .collect();
        let message = problems(&"x".repeat(200), list).render(false);
        assert!(message.contains("50 more problems"), "{message}");
        assert!(message.contains("refused, 150 problems"), "{message}");
    }

    proptest! {
        #[test]
        fn rendering_never_panics(text in "\\PC{0,60}|[a\n\r\té°]{0,60}", a in 0usize..80, b in 0usize..80, c in 0usize..80) {
            let fault = Problem::new(a..b, "t", "e", "c").with(&(c..a), "beside");
            prop_assert!(problems(&text, vec![fault]).render(true).contains("refused"));
        }
    }
}
