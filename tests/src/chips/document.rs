//! docs/cost.md: the rows with the method.

use super::nodes::NODES;
use super::row::Row;
use super::table::{HEADINGS, cells};
use super::target::{Machine, TARGETS};
use super::transcript::Transcript;

/// What stands before the table.
const METHOD: &str = include_str!("../../chips/method.md");

/// The whole page. Only chips are in it: the cost on this machine is nobody's question.
#[must_use]
pub fn document(rows: &[Row]) -> String {
    let mut text = METHOD.to_owned();
    let line = |cells: &[String]| format!("| {} |\n", cells.join(" | "));
    text.push_str(&line(&HEADINGS.map(str::to_owned)));
    text.push_str(&line(&HEADINGS.map(|_| "---".to_owned())));
    rows.iter()
        .filter(|row| row.unit.is_some())
        .for_each(|row| text.push_str(&line(&cells(row))));
    text
}

/// What [`structure`] makes of the page while every target is in it.
#[must_use]
pub fn structure_of_document() -> String {
    let chips = TARGETS.iter().filter(|target| target.machine != Machine::Host);
    let rows = chips.flat_map(|target| {
        NODES.iter().map(move |node| Row {
            agree: true,
            flash_bytes: Some(0),
            data_bytes: Some(0),
            stack_bytes: Some(0),
            longest: Some(0),
            usual: Some(0),
            hour: Some(0),
            ..Row::new(
                *target,
                node.name,
                0,
                &Transcript::default(),
                &Transcript::default(),
            )
        })
    });
    structure(&document(&rows.collect::<Vec<_>>()))
}

/// The page without its numbers: they are those of one version of each compiler.
///
/// ```
/// use millpond_tests::chips::structure;
/// assert_eq!(structure("| avr | 616 |"), structure("| avr | 71 |"));
/// assert_ne!(structure("| avr | 616 |"), structure("| arm | 616 |"));
/// ```
#[must_use]
pub fn structure(page: &str) -> String {
    let mut structure = String::new();
    let mut was_digit = false;
    for character in page.chars() {
        let is_digit = character.is_ascii_digit();
        if !is_digit {
            structure.push(character);
        } else if !was_digit {
            structure.push('#');
        }
        was_digit = is_digit;
    }
    structure
}
