//! Names and strings that a C or Rust compiler reads as what they are meant to be.

/// Words that would give a prefix which a compiler or its headers claim: the families of `<stdint.h>` and of C++ names.
const CLAIMED_STARTS: [&str; 3] = ["int", "uint", "std"];
/// Start of an identifier whose own start cannot stand.
const SAFE_START: &str = "node_";

/// A C identifier in lower case from the name of a node: `crack-gauge` gives `crack_gauge`.
///
/// Runs of anything but ASCII letters and digits become one `_`, as two in a row are reserved in C++. A name that would
/// start with a digit, is empty, or would give names that the language claims (`int8`, `std`) gets `node_` before it. Keywords
/// need no care: a prefix is never used alone.
pub(super) fn identifier(name: &str) -> String {
    let words: Vec<String> = name
        .split(|c: char| !c.is_ascii_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_ascii_lowercase)
        .collect();
    let plain = words.join("_");
    let is_free = plain.starts_with(|first: char| first.is_ascii_lowercase())
        && !CLAIMED_STARTS.iter().any(|start| {
            plain
                .strip_prefix(start)
                .is_some_and(|rest| rest.chars().all(|c| c.is_ascii_digit() || c == '_'))
        });
    if is_free {
        plain
    } else {
        format!("{SAFE_START}{plain}").trim_end_matches('_').to_owned()
    }
}

/// A C string literal, quotes included. Everything but plain ASCII is written as octal bytes of UTF-8; `?` is escaped, for
/// the trigraphs of older C.
pub(super) fn c_string(text: &str) -> String {
    let mut literal = String::from("\"");
    for byte in text.bytes() {
        match byte {
            b'"' | b'\\' | b'?' => literal.extend(['\\', char::from(byte)]),
            b' '..=b'~' => literal.push(char::from(byte)),
            _ => literal.push_str(&format!("\\{byte:03o}")),
        }
    }
    literal.push('"');
    literal
}

/// Text for one line of a comment: it cannot end the comment, open another, or join the next line.
pub(super) fn comment(text: &str) -> String {
    let plain: String = text
        .chars()
        .map(|c| match c {
            'µ' | '\u{3bc}' => 'u',
            'Ω' | '\u{2126}' => 'O',
            '−' | '–' => '-',
            '·' | '×' => '*',
            '\\' => '/',
            ' '..='~' => c,
            _ => '?',
        })
        .collect();
    let plain = plain
        .replace("*/", "* /")
        .replace("/*", "/ *")
        .replace("??/", "? ?/");
    plain.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identifiers_are_plain_and_free() {
        for (name, expected) in [
            ("crack-gauge", "crack_gauge"),
            ("Pump Bearing 2", "pump_bearing_2"),
            ("3rd-arch", "node_3rd_arch"),
            ("_hidden--place_", "hidden_place"),
            ("", "node"),
            ("int8", "node_int8"),
            ("uint", "node_uint"),
            ("std", "node_std"),
            ("interior", "interior"),
            ("while", "while"),
            ("brücke", "br_cke"),
        ] {
            assert_eq!(identifier(name), expected);
        }
    }

    #[test]
    fn strings_keep_every_byte() {
        assert_eq!(c_string("a\"b\\c??/"), r#""a\"b\\c\?\?/""#);
        // A digit after an octal escape is not part of it: the escape has three digits.
        assert_eq!(c_string("ü1"), r#""\303\2741""#);
    }

    #[test]
    fn a_comment_stays_one_comment() {
        assert_eq!(
            comment("end */ and /* and\nnext \\"),
            "end * / and / * and?next /"
        );
        assert_eq!(comment("4 µA · 2 Ω"), "4 uA * 2 O");
        assert!(!comment("/*/*/**/").contains("*/") && !comment("/*/*/**/").contains("/*"));
    }
}
