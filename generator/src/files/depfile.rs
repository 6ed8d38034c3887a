//! A rule for build tools: which files are made from which, as GNU make, ninja and CMake read it.

use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::visible;

/// A path that no rule can hold.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error(
    "{} cannot stand in a rule for make and ninja: {why}; rename it",
    visible::path(path)
)]
pub struct Unwritable {
    /// The path.
    pub path: PathBuf,
    /// What is in the way.
    pub why: String,
}

/// Signs that make and ninja take as they stand, beside letters and digits.
const PLAIN: &str = "+,/_.~()-";
/// Signs that stand behind a backslash.
const BEHIND_A_BACKSLASH: &str = " #";

/// `outputs: inputs`, so that make, ninja or CMake build the outputs again when an input changes. Each input also stands as a
/// target of its own, so that a build goes on where one that is no longer named was removed.
///
/// A space and `#` are written behind a backslash, `$` twice, a colon on Unix behind a backslash; `./` stands before words
/// that make reads for itself. GNU make (manual, sections "Rule
/// Syntax" and "Prerequisite Types") and ninja (manual, section "Depfiles", and the comment on escapes in its reader) agree on these and
/// on letters, digits and `+,/_.~()-`. On everything else they differ or have no escape: line ends, tabulators, backslashes,
/// `%;*?[]|=&<>'"` and so on.
///
/// # Errors
///
/// [`Unwritable`] for the first path with any of those, and for one that is no text.
///
/// ```
/// use std::path::Path;
/// let rule = millpond::files::depfile([Path::new("policy.h")], [Path::new("node.toml"), Path::new("send current.csv")])?;
/// assert_eq!(rule, "policy.h: \\\n node.toml \\\n send\\ current.csv\n\nnode.toml:\n\nsend\\ current.csv:\n");
/// assert!(millpond::files::depfile([Path::new("policy.h")], [Path::new("50%.toml")]).is_err());
/// # Ok::<(), millpond::files::Unwritable>(())
/// ```
pub fn depfile<'a>(
    outputs: impl IntoIterator<Item = &'a Path>,
    inputs: impl IntoIterator<Item = &'a Path>,
) -> Result<String, Unwritable> {
    let words = |path: &Path| {
        escaped(path).map_err(|why| Unwritable {
            path: path.to_owned(),
            why,
        })
    };
    let outputs: Vec<String> = outputs.into_iter().map(words).collect::<Result<_, _>>()?;
    let inputs: Vec<String> = inputs.into_iter().map(words).collect::<Result<_, _>>()?;
    Ok(rule(&outputs.join(" "), &inputs))
}

fn rule(outputs: &str, inputs: &[String]) -> String {
    let mut rule = format!("{outputs}:");
    for input in inputs {
        rule.push_str(" \\\n ");
        rule.push_str(input);
    }
    rule.push('\n');
    for input in inputs {
        rule.push_str(&format!("\n{input}:\n"));
    }
    rule
}

/// Whether the text is such a rule to the last byte: comments, which could carry a mark, are not in ninja's syntax.
#[cfg(not(target_arch = "wasm32"))]
pub(super) fn is_rule(text: &str) -> bool {
    let mut lines = text.lines();
    let Some(outputs) = lines.next().and_then(|line| line.strip_suffix(": \\")) else {
        return false;
    };
    let mut inputs = Vec::new();
    for line in lines {
        let more = line.strip_suffix(" \\");
        match more.unwrap_or(line).strip_prefix(' ') {
            Some(input) => inputs.push(input.to_owned()),
            None => return false,
        }
        if more.is_none() {
            break;
        }
    }
    !inputs.is_empty() && rule(outputs, &inputs) == text
}

/// A path as a word of a rule, or what is in the way.
fn escaped(path: &Path) -> Result<String, String> {
    let text = path.to_str().ok_or("it is no UTF-8 text")?;
    // Elsewhere folders are parted by backslashes, which these tools take as slashes too.
    let text = if cfg!(windows) {
        text.replace('\\', "/")
    } else {
        text.to_owned()
    };
    let lacks = if text.is_empty() {
        "it is empty"
    } else if text.ends_with(' ') {
        "it ends with a space"
    } else if text.ends_with(':') {
        "it ends with a colon"
    } else if text.ends_with(')') {
        "it ends with ), as members of archives do"
    } else if is_special_target(&text) {
        "make has a meaning of its own for it"
    } else if within_here(&text).starts_with('~') {
        "it begins with ~, for which make puts a home"
    } else {
        ""
    };
    if !lacks.is_empty() {
        return Err(lacks.to_owned());
    }
    let mut word = String::with_capacity(text.len());
    if is_claimed(&text) {
        word.push_str("./");
    }
    for character in text.chars() {
        match character {
            '$' => word.push_str("$$"),
            ':' if cfg!(windows) => word.push(':'),
            ':' => word.push_str("\\:"),
            _ if BEHIND_A_BACKSLASH.contains(character) => word.extend(['\\', character]),
            _ if is_plain(character) => word.push(character),
            _ => return Err(format!("it holds {}", visible::visible(&character.to_string()))),
        }
    }
    Ok(word)
}

fn is_plain(character: char) -> bool {
    if character.is_ascii() {
        return PLAIN.contains(character) || character.is_ascii_alphanumeric();
    }
    visible::hidden(&character.to_string()).is_none()
}

/// `.PHONY` and the like.
fn is_special_target(text: &str) -> bool {
    let name = within_here(text).strip_prefix('.');
    name.is_some_and(|name| !name.is_empty() && name.chars().all(|c| c.is_ascii_uppercase() || c == '_'))
}

/// The path as make has it once it has taken every `./` from its start.
fn within_here(text: &str) -> &str {
    let mut name = text;
    while let Some(rest) = name.strip_prefix("./") {
        name = rest.trim_start_matches('/');
    }
    name
}

/// Words that make reads for itself at the start of a line.
fn is_claimed(text: &str) -> bool {
    const WORDS: [&str; 18] = [
        "define", "endef", "undefine", "ifdef", "ifndef", "ifeq", "ifneq", "else", "endif", "include",
        "sinclude", "load", "override", "private", "export", "unexport", "vpath", "-include",
    ];
    text.split(' ').next().is_some_and(|first| WORDS.contains(&first))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(input: &str) -> Result<String, Unwritable> {
        depfile([Path::new("p.h")], [Path::new(input)])
    }

    #[test]
    fn what_cannot_be_escaped_is_refused_with_a_sentence() {
        for sign in "%;*?[]|=&<>'\"`^!@{}\\\t\n\r\u{b}\0\u{7f}\u{202e}\u{200b}\u{2028}\u{85}".chars() {
            if cfg!(windows) && sign == '\\' {
                continue;
            }
            let refused = of(&format!("a{sign}b")).expect_err("no escape").to_string();
            assert!(
                refused.contains("cannot stand in a rule") && refused.ends_with("; rename it"),
                "{refused}"
            );
            assert!(!refused.contains(|c: char| c.is_control()), "{refused:?}");
        }
        for path in [
            "",
            "a ",
            "a:",
            "a(b)",
            ".PHONY",
            "./.SUFFIXES",
            "~a",
            "~/a",
            ".//./~/a",
        ] {
            assert!(of(path).is_err(), "{path:?}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_path_that_is_no_text_is_refused() {
        let path = Path::new(<std::ffi::OsStr as std::os::unix::ffi::OsStrExt>::from_bytes(
            b"a\xff",
        ));
        let refused = depfile([Path::new("p.h")], [path]).expect_err("no text");
        assert!(refused.to_string().contains("no UTF-8 text"), "{refused}");
    }

    #[test]
    fn a_rule_of_ours_is_known_and_others_are_not() {
        let rule = depfile(
            ["a b.h", "c.rs"].map(Path::new),
            ["n #1.toml", "s $x.csv", "µ.csv"].map(Path::new),
        )
        .expect("written");
        assert!(is_rule(&rule), "{rule}");
        for other in [
            "",
            "all: prog\n\tcc -o prog\n",
            "main.o: main.c \\\n policy.h\npolicy.h:\n",
            "a: \\\n b\n",
            "a: \\\n b\n\nc:\n",
            &format!("{rule}\nall:\n"),
            &rule.replace("µ.csv:", "µ.csv: x"),
        ] {
            assert!(!is_rule(other), "{other}");
        }
    }
}
