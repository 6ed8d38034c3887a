//! What made a file, and whether it still is what was made.
//!
//! Each output has a line with the SHA-256 of its own text, taken while the place of the hash is empty. An edit by hand
//! leaves a hash that does not fit. Line ends count as `\n`, whatever a checkout made of them.

use sha2::{Digest, Sha256};

use crate::text::hexadecimal;

/// How the content line starts, in comments and in JSON.
const CONTENT_MARKS: [&str; 2] = ["content sha256 ", "\"content_sha256\": \""];
/// How the input line starts.
const INPUT_MARKS: [&str; 2] = ["input sha256 ", "\"input_sha256\": \""];
/// Length of a SHA-256 in hexadecimal digits.
const HASH_DIGITS: usize = 64;

/// The text with its content hash put in.
///
/// Text without a content line comes back as it is; every template has one.
pub(super) fn stamped(text: &str) -> String {
    match place(text, &CONTENT_MARKS) {
        Some(at) => format!("{}{}{}", &text[..at], hash(text), &text[at..]),
        None => text.to_owned(),
    }
}

/// Whether the content hash fits the text; `None` if it has none.
pub(super) fn is_untouched(text: &str) -> Option<bool> {
    let at = place(text, &CONTENT_MARKS)?;
    let stated = digits(text, at)?;
    let empty = format!("{}{}", &text[..at], &text[at + HASH_DIGITS..]);
    Some(stated == hash(&empty))
}

/// The stated hash of the inputs.
pub(super) fn input_hash(text: &str) -> Option<&str> {
    digits(text, place(text, &INPUT_MARKS)?)
}

/// Whether the text has the constants of a plan: one of them is enough to know, in whichever language.
pub(super) fn has_plan(text: &str) -> bool {
    const SIGN: &str = "sample_unit_s";
    text.to_ascii_lowercase().contains(SIGN)
}

/// The text with `\n` as its only line end.
pub(super) fn with_plain_line_ends(text: &str) -> String {
    text.replace("\r\n", "\n")
}

/// Where the hash of the first line with one of these marks stands. Only comment signs may stand before the mark.
fn place(text: &str, marks: &[&str]) -> Option<usize> {
    let mut start = 0;
    for line in text.split_inclusive('\n') {
        let mark_at = line.len() - line.trim_start_matches([' ', '*', '/']).len();
        if let Some(mark) = marks.iter().find(|mark| line[mark_at..].starts_with(**mark)) {
            return Some(start + mark_at + mark.len());
        }
        start += line.len();
    }
    None
}

fn digits(text: &str, at: usize) -> Option<&str> {
    let digits = text.get(at..at + HASH_DIGITS)?;
    digits
        .bytes()
        .all(|digit| digit.is_ascii_hexdigit())
        .then_some(digits)
}

fn hash(text: &str) -> String {
    hexadecimal(&Sha256::digest(text.as_bytes()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SHA-256 of "abc", FIPS 180-4 example.
    const HASH_OF_ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

    #[test]
    fn the_hash_is_the_published_one() {
        assert_eq!(hash("abc"), HASH_OF_ABC);
    }

    #[test]
    fn a_stamped_text_is_untouched_until_any_byte_changes() {
        let text = stamped("// content sha256 \nlet a = 1;\n");
        assert_eq!(is_untouched(&text), Some(true));
        for at in 0..text.len() {
            let mut bytes = text.clone().into_bytes();
            bytes[at] ^= 1;
            let changed = String::from_utf8(bytes).expect("ASCII stays ASCII");
            assert_ne!(is_untouched(&changed), Some(true), "byte {at}");
        }
    }

    #[test]
    fn text_without_a_content_line_is_not_ours() {
        assert_eq!(is_untouched("let a = 1;\n"), None);
        assert_eq!(is_untouched("// content sha256 short\n"), None);
    }
}
