//! Whether a file on disk is what would be written now.

use std::fmt;

use similar::TextDiff;

use crate::emit::fingerprint;
use crate::input::Limit;
use crate::visible::visible_lines;

/// Lines shown around each difference.
const CONTEXT_LINES: usize = 3;

/// Of a file that is held against the fresh text: the largest that is generated has 50 KiB.
pub const LIMIT: Limit = Limit {
    most_bytes: 128 << 10,
    cure: "name a file that `millpond generate` wrote",
};

/// Lines of an existing file that a difference is made of: the longest that is generated has a fourth of them, and the time grows with
/// the square of what differs.
const MOST_LINES: usize = 4096;

/// Bytes of a difference that are shown: all of an output beside an empty file, and no more than a screen can be scrolled through.
const MOST_SHOWN_BYTES: usize = 64 << 10;

/// A file that differs from what would be written now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stale {
    /// What happened to it.
    pub reason: StaleReason,
    /// Unified diff from the file to what would be written, cut where it is long. Characters that steer a terminal, turn the
    /// direction of a line or hide are written as escapes.
    pub difference: String,
}

/// Why a file differs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StaleReason {
    /// The file does not carry the marks of a generated one.
    NotGenerated,
    /// Its text is not what was written: somebody edited it.
    HandEdited,
    /// It is as written, from inputs that have changed since.
    InputChanged,
    /// It is as written, from the same inputs under another `--pace`.
    PaceChanged,
    /// It is as written, from the same inputs by another version.
    VersionChanged,
}

/// Holds an existing file against the fresh text.
///
/// # Errors
/// [`Stale`] with the reason and a diff. A file that differs in line ends only is not stale.
///
/// ```
/// use millpond::files::{StaleReason, verify};
/// let stale = verify("#define A 1\n", "#define A 2\n").unwrap_err();
/// assert_eq!(stale.reason, StaleReason::NotGenerated);
/// assert!(stale.difference.contains("-#define A 1\n+#define A 2\n"));
/// ```
pub fn verify(existing: &str, fresh: &str) -> Result<(), Stale> {
    let existing = fingerprint::with_plain_line_ends(existing);
    let fresh = fingerprint::with_plain_line_ends(fresh);
    if existing == fresh {
        return Ok(());
    }
    let reason = match fingerprint::is_untouched(&existing) {
        None => StaleReason::NotGenerated,
        Some(false) => StaleReason::HandEdited,
        Some(true) if fingerprint::input_hash(&existing) != fingerprint::input_hash(&fresh) => {
            StaleReason::InputChanged
        }
        Some(true) if fingerprint::has_plan(&existing) != fingerprint::has_plan(&fresh) => {
            StaleReason::PaceChanged
        }
        Some(true) => StaleReason::VersionChanged,
    };
    Err(Stale {
        reason,
        difference: difference(&existing, &fresh),
    })
}

fn difference(existing: &str, fresh: &str) -> String {
    // A carriage return alone ends a line of a difference too.
    let mut line_ends = existing.match_indices(['\n', '\r']).map(|(at, _)| at + 1);
    let compared = line_ends.nth(MOST_LINES - 1).unwrap_or(existing.len());
    let unified = TextDiff::from_lines(&existing[..compared], fresh)
        .unified_diff()
        .context_radius(CONTEXT_LINES)
        .header("existing", "fresh")
        .to_string();
    // A carriage return ends a line of a difference as a line feed does.
    let mut difference = visible_lines(&unified.replace('\r', "\u{240d}\n")).into_owned();
    let end = difference.floor_char_boundary(MOST_SHOWN_BYTES);
    if end < difference.len() || compared < existing.len() {
        difference.truncate(end);
        difference.push_str("\n... the rest of the difference is left out\n");
    }
    difference
}

impl fmt::Display for StaleReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NotGenerated => "not written by millpond",
            Self::HandEdited => "edited by hand after it was written",
            Self::InputChanged => {
                "stale: the node file's bytes, or those of a profile, have changed since it was written"
            }
            Self::PaceChanged => "stale: written with another --pace",
            Self::VersionChanged => "stale: written by another version of millpond",
        })
    }
}

impl fmt::Display for Stale {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}\n{}", self.reason, self.difference)
    }
}

impl std::error::Error for Stale {}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::emit::{
        Constants, c_header,
        given::{example, planned},
        rust_module,
    };
    use crate::files::json;

    fn reason(existing: &str, fresh: &str) -> Option<StaleReason> {
        verify(existing, fresh).err().map(|stale| stale.reason)
    }

    #[test]
    fn each_output_tells_an_edit_from_a_changed_input() {
        let mut lowered = example();
        lowered.parts.transmit_mv = 3_000;
        lowered.input_hash = "cd".repeat(32);
        let newer = Constants {
            version: "0.2.0".to_owned(),
            ..example()
        };
        for emit in [c_header, rust_module, json] {
            let fresh = emit(&example());
            let edited = fresh.replace("3090", "2900");
            assert_ne!(edited, fresh);
            assert_eq!(reason(&fresh, &fresh), None);
            assert_eq!(reason(&fresh.replace('\n', "\r\n"), &fresh), None);
            assert_eq!(reason(&edited, &fresh), Some(StaleReason::HandEdited));
            assert_eq!(reason(&emit(&lowered), &fresh), Some(StaleReason::InputChanged));
            assert_eq!(reason(&emit(&newer), &fresh), Some(StaleReason::VersionChanged));
            assert_eq!(reason("", &fresh), Some(StaleReason::NotGenerated));
        }
    }

    /// An empty file is beside the largest output there is; what cannot have been written is cut.
    #[test]
    fn a_difference_is_shown_whole_unless_it_is_long() {
        let fresh = c_header(&planned());
        let all = verify("", &fresh).expect_err("they differ").difference;
        assert!(fresh.lines().all(|line| all.contains(line)));
        let end = "\n... the rest of the difference is left out\n";
        let most = LIMIT.most_bytes as usize;
        for long in ["é".repeat(most / 2), "\n".repeat(most), "\r".repeat(most)] {
            let cut = verify(&long, &fresh).expect_err("they differ").difference;
            assert!(cut.len() <= MOST_SHOWN_BYTES + end.len(), "{}", cut.len());
            assert!(cut.ends_with(end));
        }
        assert!(!all.contains("left out"));
    }

    #[test]
    fn another_pace_is_told_from_another_version_and_the_banner_asks_for_it_again() {
        let with_plan = Constants {
            other_pace: Some("planned"),
            ..planned()
        };
        for emit in [c_header, rust_module, json] {
            let (even, planned) = (emit(&example()), emit(&with_plan));
            assert_eq!(reason(&planned, &even), Some(StaleReason::PaceChanged));
            assert_eq!(reason(&even, &planned), Some(StaleReason::PaceChanged));
        }
        let banner = "`millpond generate NODE.toml --pace planned --c THIS_FILE` writes it again";
        assert!(c_header(&with_plan).contains(banner));
        assert!(rust_module(&with_plan).contains("NODE.toml --pace planned --rust THIS_FILE"));
        assert!(!c_header(&planned()).contains("--pace"));
    }

    #[test]
    fn a_difference_does_not_steer_the_terminal() {
        let fresh = c_header(&example());
        let steering = fresh.replace("TRANSMIT_MV", "\x1b[2J\0\x7f\u{9b}2J\u{202e}T\tMV\rMV");
        let shown = verify(&steering, &fresh).expect_err("edited").difference;
        assert!(
            shown.contains("_\\u{1b}[2J\\0\\u{7f}\\u{9b}2J\\u{202e}T\tMV\u{240d}\n"),
            "{shown}"
        );
        assert!(!shown.contains(|character: char| character.is_control() && !"\n\t".contains(character)));
    }

    #[test]
    fn the_difference_names_the_constant() {
        let fresh = c_header(&example());
        let edited = fresh.replace("TRANSMIT_MV 3090u", "TRANSMIT_MV 2900u");
        let difference = verify(&edited, &fresh).expect_err("edited").difference;
        assert!(difference.contains("-#define CRACK_GAUGE_TRANSMIT_MV 2900u"));
        assert!(difference.contains("+#define CRACK_GAUGE_TRANSMIT_MV 3090u"));
    }
}
