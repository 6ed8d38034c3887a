//! Text from files and arguments as a screen may be given it: nothing in it steers a terminal, turns the direction of a line, or hides.
//!
//! One rule serves messages, tables, differences and pages: what the standard library does not print as it is inside a string is written
//! as an escape, `\u{202e}`. That covers control characters, marks of direction (Unicode Standard Annex 9), zero-width characters,
//! separators of lines and paragraphs, other spaces than the usual one, and code points that nobody has assigned.

use std::borrow::Cow;
use std::fmt::Write as _;
use std::path::Path;

/// Letters and marks that the standard library prints and a screen shows nothing of: default-ignorable code points that are no format
/// characters (Unicode, `DerivedCoreProperties`, from memory).
const FILLERS: [char; 7] = [
    '\u{34f}', '\u{115f}', '\u{1160}', '\u{17b4}', '\u{17b5}', '\u{3164}', '\u{ffa0}',
];

/// The text on one line, everything in it to be seen.
///
/// ```
/// use millpond_node::visible::visible;
/// assert_eq!(visible("wärmt\u{1b}[2J\u{202e}\n"), "wärmt\\u{1b}[2J\\u{202e}\\n");
/// ```
pub fn visible(text: &str) -> Cow<'_, str> {
    escaped(text, &[])
}

/// The same of a text of several lines, which keeps its line feeds and tabulators.
///
/// ```
/// use millpond_node::visible::visible_lines;
/// assert_eq!(visible_lines("one\ntwo\r\n"), "one\ntwo\\r\n");
/// ```
pub fn visible_lines(text: &str) -> Cow<'_, str> {
    escaped(text, &['\n', '\t'])
}

/// A path as messages show it; what is no text of it is a replacement character.
///
/// ```
/// use std::path::Path;
/// assert_eq!(millpond_node::visible::path(Path::new("a\u{7}.toml")), "a\\u{7}.toml");
/// ```
pub fn path(path: &Path) -> String {
    visible(&path.to_string_lossy()).into_owned()
}

/// JSON with everything that cannot be seen as an escape of JSON: the same value to whoever reads it.
pub fn in_json(json: &str) -> Cow<'_, str> {
    // Only strings of JSON hold anything beyond ASCII, and the writer escapes the control characters before the space.
    let is_kept = |character: char| character < '\u{7f}' || is_plain(character);
    if json.chars().all(is_kept) {
        return Cow::Borrowed(json);
    }
    let mut shown = String::with_capacity(json.len());
    for character in json.chars() {
        if is_kept(character) {
            shown.push(character);
            continue;
        }
        for unit in character.encode_utf16(&mut [0; 2]) {
            // Writing to a string cannot fail.
            let _ = write!(shown, "\\u{unit:04x}");
        }
    }
    Cow::Owned(shown)
}

/// The first character of a name that nobody sees, or that steers what shows it. Spaces of all widths are seen.
pub fn hidden(name: &str) -> Option<char> {
    let is_space = |character: char| {
        character.is_whitespace() && !character.is_control() && !matches!(character, '\u{2028}' | '\u{2029}')
    };
    name.chars()
        .find(|character| !is_plain(*character) && !is_space(*character))
}

fn escaped<'a>(text: &'a str, kept: &[char]) -> Cow<'a, str> {
    let is_kept = |character: char| is_plain(character) || kept.contains(&character);
    if text.chars().all(is_kept) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len());
    for character in text.chars() {
        if is_kept(character) {
            shown.push(character);
        } else if FILLERS.contains(&character) {
            shown.extend(character.escape_unicode());
        } else {
            shown.extend(character.escape_debug());
        }
    }
    Cow::Owned(shown)
}

/// Whether a screen shows a character as what it is.
fn is_plain(character: char) -> bool {
    if character.is_ascii() {
        return character == ' ' || character.is_ascii_graphic();
    }
    // After another letter, so that an accent that joins it is not taken for one that stands alone.
    let mut bytes = [b'x'; 5];
    let length = 1 + character.encode_utf8(&mut bytes[1..]).len();
    let pair = str::from_utf8(&bytes[..length]).unwrap_or_default();
    !FILLERS.contains(&character) && pair.escape_debug().count() == 2
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Unicode Standard Annex 9, section 2, from memory: each formatting character by its code. Then zero-width characters, separators, a
    /// tag, a filler, a space that does not break, and control characters of both sets.
    const HIDDEN: [u32; 29] = [
        0x202a, 0x202b, 0x202c, 0x202d, 0x202e, 0x2066, 0x2067, 0x2068, 0x2069, 0x200e, 0x200f, 0x061c,
        0x200b, 0x200c, 0x200d, 0x2060, 0xfeff, 0xad, 0x2028, 0x2029, 0xe0041, 0x3164, 0xa0, 0x1b, 0x9b,
        0x7f, 0, 7, 0x0d,
    ];

    #[test]
    fn what_hides_or_steers_is_written_out() {
        for code in HIDDEN {
            let mark = char::from_u32(code).expect("a character");
            let text = format!("a{mark}b");
            for shown in [visible(&text), visible_lines(&text)] {
                assert!(
                    shown.starts_with("a\\") && shown.ends_with('b') && !shown.contains(mark),
                    "{code:x}: {shown}"
                );
            }
            assert_eq!(hidden(&text).is_some(), code != 0xa0, "{code:x}");
        }
    }

    #[test]
    fn what_people_write_stays() {
        for text in [
            "Messgerät 2",
            "e\u{301}",
            "क्षमता",
            "测量",
            "4 µA · 2 Ω − 1",
            "a\\b\"c'",
            "⚡",
            "",
        ] {
            assert!(matches!(visible(text), Cow::Borrowed(_)), "{text}");
            assert_eq!(hidden(text), None);
        }
    }

    #[test]
    fn json_stays_the_same_value() {
        let text = "a\u{202e}\u{7f}\u{e0041}\u{1b}µ\n";
        let json = serde_json::to_string(text).expect("text");
        let shown = in_json(&json);
        assert_eq!(shown, "\"a\\u202e\\u007f\\udb40\\udc41\\u001bµ\\n\"");
        assert_eq!(serde_json::from_str::<String>(&shown).expect("JSON"), text);
    }

    proptest! {
        #[test]
        fn what_is_shown_can_be_seen_and_stays(text in any::<String>()) {
            let shown = visible(&text);
            prop_assert!(shown.chars().all(is_plain));
            prop_assert_eq!(visible(&shown), shown.clone());
            let lines = visible_lines(&text);
            prop_assert!(lines.chars().all(|c| is_plain(c) || c == '\n' || c == '\t'));
            let json = serde_json::to_string(&text).expect("text");
            prop_assert_eq!(serde_json::from_str::<String>(&in_json(&json)).expect("JSON"), text);
        }
    }
}
