//! The words of the column `event`: which are known, and what is said of the others.

use std::ops::Range;

use crate::problem::{Problem, quoted};
use crate::simulate::timeline::Event;

const KNOWN: [Event; 5] = [
    Event::Start,
    Event::Measure,
    Event::Transmit,
    Event::Wait,
    Event::Cut,
];
/// A word that was garbled on its way stands alone: one that stands in so many rows is meant.
const MEANT_ROWS: usize = 2;
/// So many different words are kept to be shown.
const MOST_WORDS: usize = 20;

/// The event of that name.
pub(super) fn event(word: &str) -> Option<Event> {
    KNOWN
        .into_iter()
        .find(|event| event.word().eq_ignore_ascii_case(word))
}

/// Words that are no event.
#[derive(Debug, Default)]
pub(super) struct Unknown {
    words: Vec<Word>,
}

#[derive(Debug)]
struct Word {
    word: String,
    /// Where it stands first.
    span: Range<usize>,
    line: usize,
    rows: usize,
}

impl Unknown {
    /// Takes in a word that stands at this place.
    pub(super) fn note(&mut self, word: &str, start: usize, line: usize) {
        if let Some(known) = self
            .words
            .iter_mut()
            .find(|known| known.word.eq_ignore_ascii_case(word))
        {
            known.rows += 1;
        } else if self.words.len() < MOST_WORDS {
            self.words.push(Word {
                word: word.to_owned(),
                span: start..start + word.len(),
                line,
                rows: 1,
            });
        }
    }

    /// The fault of a log with words that are meant: what they stand for would be taken as never done.
    pub(super) fn problem(&self) -> Option<Problem> {
        let mut meant = self.words.iter().filter(|word| word.rows >= MEANT_ROWS);
        let said = |word: &Word| format!("`{}`, in {} rows", quoted(&word.word), word.rows);
        let first = meant.next()?;
        let problem = Problem::new(
            first.span.clone(),
            format!("the event is not known: {}", said(first)),
            known_words(),
            "write what the node did in these words and leave the cell of other rows empty, or call the column something else",
        );
        Some(meant.fold(problem, |problem, word| {
            problem.with(&word.span, format!("nor is {}", said(word)))
        }))
    }

    /// Words that stand alone: line and what is wrong.
    pub(super) fn slips(&self) -> Vec<(usize, String)> {
        let slip = |word: &Word| {
            let what = format!("`{}` is none of {}", quoted(&word.word), known_words());
            (word.line, what)
        };
        self.words.iter().map(slip).collect()
    }
}

fn known_words() -> String {
    KNOWN.map(Event::word).join(", ")
}
