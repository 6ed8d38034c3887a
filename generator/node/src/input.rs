//! Input files: read whole as text, or why not.
//!
//! Each sort of file has a most that is read, so that none takes the memory of the machine, whatever it is.

use std::fmt;
use std::fs::File;
use std::io::{self, Read as _};
use std::path::Path;

use crate::problem::{InputText, Problems};
use crate::visible::visible;

/// Why an input file could not be used.
#[derive(Debug)]
pub enum LoadError {
    /// There is no text to look at.
    Unreadable {
        /// Path as the user gave it.
        path: String,
        /// Why not.
        why: Unreadable,
    },
    /// The file was read, and cannot be what it is taken for.
    Refused(Problems),
}

/// Why a file has no text to look at.
#[derive(Debug)]
pub enum Unreadable {
    /// It could not be opened or read.
    System(io::Error),
    /// It is larger than a file of its sort may be.
    TooLarge {
        /// What it may have.
        most_bytes: u64,
        /// What would cure it, for this sort of file.
        cure: &'static str,
    },
    /// It is not UTF-8 text.
    NotText {
        /// Position of the first byte that is not UTF-8.
        offset: usize,
    },
}

impl fmt::Display for LoadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable { path, why } => write!(f, "{} {why}{}", visible(path), with_cure(why)),
            Self::Refused(problems) => problems.fmt(f),
        }
    }
}

impl std::error::Error for LoadError {}

impl fmt::Display for Unreadable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::System(error) => write!(f, "cannot be read: {}", in_words(error)),
            Self::TooLarge { most_bytes, .. } => {
                write!(
                    f,
                    "is larger than {}, the most that is read",
                    in_binary_units(*most_bytes)
                )
            }
            Self::NotText { offset } => {
                write!(f, "is not text: byte {offset} (counted from 0) is not UTF-8")
            }
        }
    }
}

impl std::error::Error for Unreadable {}

impl Unreadable {
    /// What would cure it; what the system says needs no more words.
    pub fn cure(&self) -> Option<&'static str> {
        match self {
            Self::System(_) => None,
            Self::TooLarge { cure, .. } => Some(cure),
            Self::NotText { .. } => Some("save it in UTF-8"),
        }
    }
}

fn in_words(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "no such file".to_owned(),
        _ => error.to_string(),
    }
}

fn in_binary_units(bytes: u64) -> String {
    match bytes >> 20 {
        0 => format!("{} KiB", bytes >> 10),
        mebibytes => format!("{mebibytes} MiB"),
    }
}

fn with_cure(why: &Unreadable) -> String {
    why.cure().map_or_else(String::new, |cure| format!("; {cure}"))
}

/// What a sort of file may have.
#[derive(Clone, Copy, Debug)]
pub struct Limit {
    /// The most bytes that are read.
    pub most_bytes: u64,
    /// What would cure a file that has more.
    pub cure: &'static str,
}

impl Limit {
    /// Whether so many bytes are within the limit.
    pub(crate) fn holds(self, bytes: u64) -> Result<(), Unreadable> {
        if bytes <= self.most_bytes {
            return Ok(());
        }
        Err(Unreadable::TooLarge {
            most_bytes: self.most_bytes,
            cure: self.cure,
        })
    }
}

/// The text of the file at `path`, and the path as messages show it.
///
/// # Errors
///
/// [`LoadError::Unreadable`], with what kept the file from being read.
///
/// ```
/// use millpond_node::input::{self, Limit, LoadError};
/// const LIMIT: Limit = Limit { most_bytes: 1 << 20, cure: "cut it" };
/// let path = std::path::Path::new("../../templates/nodes/crack-gauge.toml");
/// assert!(input::read(path, LIMIT)?.text.contains("crack-gauge"));
/// let small = input::Limit { most_bytes: 100, cure: "cut it" };
/// assert!(input::read(path, small).is_err_and(|error| error.to_string().ends_with("; cut it")));
/// # Ok::<(), LoadError>(())
/// ```
pub fn read(path: &Path, limit: Limit) -> Result<InputText, LoadError> {
    let label = path.display().to_string();
    match text(path, limit) {
        Ok(text) => Ok(InputText { path: label, text }),
        Err(why) => Err(LoadError::Unreadable { path: label, why }),
    }
}

/// The text of the file at `path`.
pub(crate) fn text(path: &Path, limit: Limit) -> Result<String, Unreadable> {
    whole(File::open(path).map_err(Unreadable::System)?, limit)
}

/// The text of an open file.
pub(crate) fn whole(file: File, limit: Limit) -> Result<String, Unreadable> {
    let length = file.metadata().map_err(Unreadable::System)?.len();
    limit.holds(length)?;
    let mut bytes = Vec::with_capacity(length as usize + 1);
    // A pipe or device has no length to ask for.
    file.take(limit.most_bytes + 1)
        .read_to_end(&mut bytes)
        .map_err(Unreadable::System)?;
    limit.holds(bytes.len() as u64)?;
    String::from_utf8(bytes).map_err(|error| Unreadable::NotText {
        offset: error.utf8_error().valid_up_to(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMIT: Limit = Limit {
        most_bytes: 2048,
        cure: "cut it",
    };

    #[test]
    fn a_file_is_read_up_to_its_limit() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("input");
        for (length, read) in [(0, true), (2048, true), (2049, false)] {
            let bytes = vec![b'1'; length];
            std::fs::write(&path, &bytes).expect("a file");
            match text(&path, LIMIT) {
                Ok(text) => assert!(read && text.as_bytes() == bytes),
                Err(why) => assert!(!read && matches!(why, Unreadable::TooLarge { .. }), "{why}"),
            }
        }
    }

    /// A device says that it has no length, and has no end.
    #[cfg(target_os = "linux")]
    #[test]
    fn what_has_no_length_is_read_up_to_the_limit_too() {
        let endless = text(Path::new("/dev/zero"), LIMIT);
        assert!(matches!(endless, Err(Unreadable::TooLarge { .. })));
        assert_eq!(text(Path::new("/dev/null"), LIMIT).expect("empty"), "");
    }

    #[test]
    fn messages_say_what_would_cure() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("input");
        let said = |bytes: &[u8]| {
            std::fs::write(&path, bytes).expect("a file");
            let error = read(&path, LIMIT).expect_err("not to be read");
            error
                .to_string()
                .replacen(&path.display().to_string(), "input", 1)
        };
        assert_eq!(
            said(&[b'1'; 2049]),
            "input is larger than 2 KiB, the most that is read; cut it"
        );
        assert_eq!(
            said(b"1\xb5"),
            "input is not text: byte 1 (counted from 0) is not UTF-8; save it in UTF-8"
        );
        let missing = read(&path.join("below"), LIMIT).expect_err("a file is no folder");
        assert!(
            missing.to_string().contains("below cannot be read: "),
            "{missing}"
        );
    }
}
