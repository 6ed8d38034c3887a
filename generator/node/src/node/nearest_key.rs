//! Words for messages: the known word nearest to an unknown one, and lists that read as sentences.

/// Below this likeness (Jaro-Winkler, 0 to 1) a key is not offered in place of an unknown one; chosen by trial
/// so that a slip in one letter is caught and another word is not.
const LEAST_LIKENESS: f64 = 0.84;

/// A longer unknown key is not compared with the known ones: no key is as long.
const MOST_COMPARED_BYTES: usize = 64;

/// The known word most like an unknown one, if any is like it.
pub(super) fn nearest<'k>(word: &str, known: impl Iterator<Item = &'k str>) -> Option<&'k str> {
    if word.len() > MOST_COMPARED_BYTES {
        return None;
    }
    let plain = |text: &str| text.to_lowercase().replace('-', "_");
    let word = plain(word);
    let known: Vec<_> = known.map(|candidate| (plain(candidate), candidate)).collect();
    // One more word at either end: `solar_area`.
    let is_longer = |candidate: &str| {
        word.strip_suffix(candidate)
            .is_some_and(|rest| rest.ends_with('_'))
            || word
                .strip_prefix(candidate)
                .is_some_and(|rest| rest.starts_with('_'))
    };
    let within = known.iter().filter(|(candidate, _)| is_longer(candidate));
    let alike = || {
        known
            .iter()
            .map(|known| (strsim::jaro_winkler(&word, &known.0), known))
            .filter(|(likeness, _)| *likeness >= LEAST_LIKENESS)
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, known)| known)
    };
    within
        .max_by_key(|(candidate, _)| candidate.len())
        .or_else(alike)
        .map(|(_, candidate)| *candidate)
}

/// "a", "a and b", "a, b and c".
pub(super) fn listed(items: &[String], word: &str) -> String {
    match items {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} {word} {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_finds_its_key_and_another_word_does_not() {
        let known = ["tolerance_low", "tolerance_high", "leakage", "series"];
        assert_eq!(nearest("tolerence_low", known.into_iter()), Some("tolerance_low"));
        assert_eq!(nearest("Leakage", known.into_iter()), Some("leakage"));
        assert_eq!(
            nearest("tolerance-high", known.into_iter()),
            Some("tolerance_high")
        );
        assert_eq!(nearest("colour", known.into_iter()), None);
        // A word more, where another key is like it.
        let efficiencies = ["cold_start_efficiency", "efficiency", "kind"];
        assert_eq!(
            nearest("cell_efficiency", efficiencies.into_iter()),
            Some("efficiency")
        );
        assert_eq!(nearest("leakage_current", known.into_iter()), Some("leakage"));
        // Too long to be like it: a likeness of 0.79, by hand (3/27 + 1 + 1)/3 and 0.3 of the rest.
        let esr = ["esr"].into_iter();
        assert_eq!(nearest("esr_of_one_cell_at_delivery", esr), Some("esr"));
        assert_eq!(nearest(&"x".repeat(10_000), known.into_iter()), None);
    }

    #[test]
    fn lists_read_as_sentences() {
        let items = |names: &[&str]| names.iter().map(|name| name.to_string()).collect::<Vec<_>>();
        assert_eq!(listed(&items(&["a"]), "and"), "a");
        assert_eq!(listed(&items(&["a", "b", "c"]), "or"), "a, b or c");
    }
}
