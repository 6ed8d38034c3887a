//! What is said of keys and sections that a table lacks, and of sections that stand outside their own.

use std::ops::Range;

use super::nearest_key::listed;
use crate::problem::Problem;

/// Sections that stand inside another one, as they are opened, and their keys; none are listed where the outer section has no key of its
/// own.
pub(super) const INNER_SECTIONS: [(&str, &[&str]); 4] = [
    ("[[storage.capacitor]]", &[]),
    (
        "[supply.gate]",
        &["connect_above", "disconnect_below", "tolerance"],
    ),
    ("[transmit.radio]", &RADIO_KEYS),
    ("[harvest.site]", &["latitude", "longitude", "shade"]),
];

/// Keys of the radio, of all modulations.
pub(super) const RADIO_KEYS: [&str; 14] = [
    "modulation",
    "duty_limit",
    "payload_bytes",
    "spreading_factor",
    "bandwidth",
    "coding_rate",
    "preamble_symbols",
    "explicit_header",
    "crc",
    "low_data_rate",
    "maximum_frame",
    "phy",
    "channels",
    "gap",
];

/// The header of the section that an unknown `key` at `path` (empty for the file itself) belongs to: one that is called `key` and
/// stands in another one, or one inside `path` that has such a key.
pub(super) fn inner_section(path: &str, key: &str) -> Option<&'static str> {
    INNER_SECTIONS.into_iter().find_map(|(header, keys)| {
        let (outer, name) = header.trim_matches(['[', ']']).split_once('.')?;
        let is_meant = if path.is_empty() {
            name == key
        } else {
            outer == path && (keys.is_empty() || keys.contains(&key))
        };
        is_meant.then_some(header)
    })
}

/// The fault of a table at `path` (empty for the file itself) that lacks `missing`, each a key with an example. `span` is where
/// the table is opened, of the file its end.
pub(super) fn problem(path: &str, span: &Range<usize>, missing: &[(String, String)]) -> Problem {
    let (sections, keys): (Vec<_>, Vec<_>) = missing
        .iter()
        .map(|(_, example)| example.as_str())
        .partition(|text| text.starts_with('['));
    let key_names = keys
        .iter()
        .map(|example| example.split(" = ").next().unwrap_or(example));
    let names: Vec<_> = key_names
        .chain(sections.iter().copied())
        .map(|name| format!("`{name}`"))
        .collect();
    let is_file = path.is_empty();
    let place = if is_file {
        "the file".to_string()
    } else {
        format!("`{path}`")
    };
    let cure = match (keys.as_slice(), sections.as_slice()) {
        // Below a header a line belongs to that section.
        (keys, []) if is_file => format!("add above the first [section]: {}", keys.join("; ")),
        (keys, []) => format!("add for example: {}", keys.join("; ")),
        ([], ["[[part]]"]) => "add [[part]] with its keys, as docs/catalogue.md shows".to_string(),
        ([], [section]) => format!("add {section} with its keys; `millpond init` writes an example"),
        _ => "start from an example: `millpond init` writes a file that has them all".to_string(),
    };
    let at = if is_file && !keys.is_empty() {
        0..0
    } else {
        span.clone()
    };
    Problem::new(
        at,
        format!("{place} lacks {}", listed(&names, "and")),
        "missing here",
        cure,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::node::Node;

    const EXAMPLE: &str = millpond_templates::nodes::CRACK_GAUGE;

    /// The marker stands where the line belongs, and the line put there cures.
    #[test]
    fn a_key_of_the_file_is_missed_at_its_top() {
        let without = EXAMPLE.replace("schema = 1\n", "");
        let problems = Node::read(&without).expect_err("no schema");
        assert_eq!(problems.list.len(), 1, "{}", problems.render(false));
        let missed = &problems.list[0];
        assert_eq!(missed.span, 0..0);
        let line = missed.cure.strip_prefix("add above the first [section]: ");
        let cured = format!("{}\n{without}", line.expect("a line to add"));
        assert!(Node::read(&cured).is_ok());
    }

    /// A section can be added at the end, where the marker stands; at the top it would take the keys of the file along.
    #[test]
    fn a_section_is_missed_at_the_end_of_the_file() {
        let section = "[node]\nname = \"crack-gauge\"\n";
        assert!(EXAMPLE.contains(section), "the example has changed");
        let without = EXAMPLE.replace(section, "");
        let problems = Node::read(&without).expect_err("no [node]");
        assert_eq!(problems.list.len(), 1, "{}", problems.render(false));
        let end = problems.list[0].span.start;
        let cured = format!("{}\n{section}{}", &without[..end], &without[end..]);
        assert!(Node::read(&cured).is_ok());
    }

    /// Each inner section of the examples, opened as if it stood by itself: the header that is offered cures.
    #[test]
    fn a_section_outside_its_own_is_sent_back() {
        let mut found = 0;
        for (header, _) in INNER_SECTIONS {
            let (outer, name) = header
                .trim_matches(['[', ']'])
                .split_once('.')
                .expect("two names");
            let alone = header.replace(&format!("{outer}."), "");
            let slipped = EXAMPLE.replace(&format!("\n{header}"), &format!("\n{alone}"));
            if slipped == EXAMPLE {
                // The site stands in braces.
                continue;
            }
            let problems = Node::read(&slipped).expect_err("out of place");
            let cures: Vec<_> = problems
                .list
                .iter()
                .map(|problem| problem.cure.as_str())
                .collect();
            assert!(
                cures.contains(&format!("did you mean {header}?").as_str()),
                "{name}: {cures:?}"
            );
            found += 1;
        }
        assert_eq!(found, 3);
    }

    /// Without its header the keys of an inner section stand in the section above: each is sent below the header.
    #[test]
    fn keys_without_their_header_are_sent_below_it() {
        for header in ["[supply.gate]", "[transmit.radio]"] {
            let lines: Vec<_> = EXAMPLE.lines().collect();
            let at = lines.iter().position(|line| line.starts_with(header));
            let (above, below) = lines.split_at(at.expect("a header"));
            let slipped = [above, &below[1..]].concat().join("\n");
            let problems = Node::read(&slipped).expect_err("out of place");
            let cure = format!("it belongs below {header}");
            let sent = problems.list.iter().filter(|problem| problem.cure == cure);
            let keys = below[1..].iter().take_while(|line| !line.starts_with('['));
            let keys = keys.filter(|line| line.contains(" = ")).count();
            assert!(keys >= 3);
            assert_eq!(sent.count(), keys, "{}", problems.render(false));
        }
    }
}
