//! The words of the column `event`: which are known, and what is said of the others.

use crate::problem::quoted;
use crate::simulate::timeline::Event;

const KNOWN: [Event; 5] = [
    Event::Start,
    Event::Measure,
    Event::Transmit,
    Event::Wait,
    Event::Cut,
];
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
    line: usize,
    rows: usize,
}

impl Unknown {
    /// Takes in a word that stands in this line.
    pub(super) fn note(&mut self, word: &str, line: usize) {
        if let Some(known) = self
            .words
            .iter_mut()
            .find(|known| known.word.eq_ignore_ascii_case(word))
        {
            known.rows += 1;
        } else if self.words.len() < MOST_WORDS {
            self.words.push(Word {
                word: word.to_owned(),
                line,
                rows: 1,
            });
        }
    }

    /// The first line of each word, and what is wrong.
    pub(super) fn passed_over(&self) -> Vec<(usize, String)> {
        let said = |word: &Word| {
            let rows = if word.rows == 1 {
                String::new()
            } else {
                format!(", in {} rows,", word.rows)
            };
            let what = format!("`{}`{rows} is none of {}", quoted(&word.word), known_words());
            (word.line, what)
        };
        self.words.iter().map(said).collect()
    }
}

fn known_words() -> String {
    KNOWN.map(Event::word).join(", ")
}
