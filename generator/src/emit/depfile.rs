//! A rule for build tools: which files are made from which, in the syntax of POSIX make.

use std::path::Path;

/// `outputs: inputs`, so that make, ninja or CMake build the outputs again when an input changes. Each input also stands as a
/// target of its own, so that a build goes on where one that is no longer named was removed.
///
/// Spaces, `#`, `$` and `:` are written as those tools read them. A path that is no text is shown with replacement characters.
///
/// ```
/// use std::path::Path;
/// let rule = millpond::emit::depfile([Path::new("policy.h")], [Path::new("node.toml"), Path::new("send current.csv")]);
/// assert_eq!(rule, "policy.h: \\\n node.toml \\\n send\\ current.csv\n\nnode.toml:\n\nsend\\ current.csv:\n");
/// ```
pub fn depfile<'a>(
    outputs: impl IntoIterator<Item = &'a Path>,
    inputs: impl IntoIterator<Item = &'a Path>,
) -> String {
    let outputs: Vec<String> = outputs.into_iter().map(escaped).collect();
    let inputs: Vec<String> = inputs.into_iter().map(escaped).collect();
    let mut rule = format!("{}:", outputs.join(" "));
    for input in &inputs {
        rule.push_str(" \\\n ");
        rule.push_str(input);
    }
    rule.push('\n');
    for input in &inputs {
        rule.push_str(&format!("\n{input}:\n"));
    }
    rule
}

/// A path as a word of a rule.
fn escaped(path: &Path) -> String {
    let path = path.to_string_lossy();
    let mut word = String::with_capacity(path.len());
    for character in path.chars() {
        match character {
            '$' => word.push('$'),
            ' ' | '\t' | '#' => word.push('\\'),
            // Elsewhere a colon follows the letter of a drive.
            ':' if cfg!(unix) => word.push('\\'),
            _ => {}
        }
        word.push(character);
    }
    word
}
