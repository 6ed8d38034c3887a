//! Files that a node file names: plain ones in its own folder or below, and no others.
//!
//! A node file comes from anybody. What it names is read, so it must not lead to what is none of its business: the environment of the
//! process, a pipe that nobody writes to, a file in somebody's home.

use std::fs::{self, File, FileType, OpenOptions};
use std::io;
use std::path::Path;

use super::unreadable_file::Unread;
use crate::input::Unreadable;
use crate::visible::hidden;

const INSIDE: &str = "copy the file into the folder of the node file, or below it, and write its path from there, as in \"bench/boot.csv\"";

/// Whether a name leads nowhere but into the folder, by its text alone and on whatever system: no root, no drive, no way up.
pub(super) fn within(name: &str) -> Result<(), Unread> {
    let starts_at_a_drive = matches!(name.as_bytes(), [letter, b':', ..] if letter.is_ascii_alphabetic());
    let reason = if name.is_empty() {
        "is no name of a file"
    } else if hidden(name).is_some() {
        "has a character in its name that nobody sees"
    } else if name.contains('\\') {
        "has a backslash in its name"
    } else if name.starts_with('/') || starts_at_a_drive {
        "starts at a root and not at the folder of the node file"
    } else if name.split('/').any(|part| part == "..") {
        "leads out of the folder of the node file"
    } else {
        return Ok(());
    };
    Err(refused(reason))
}

/// Opens the file of that name, which [`within`] has let pass. What a link leads to counts, and nothing that would block is opened.
pub(super) fn open(folder: &Path, name: &str) -> Result<File, Unread> {
    let folder = if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    };
    let system = |error: io::Error| Unread::from(Unreadable::System(error));
    let root = fs::canonicalize(folder).map_err(system)?;
    let path = fs::canonicalize(folder.join(name)).map_err(system)?;
    if !path.starts_with(&root) {
        return Err(refused("leads out of the folder of the node file, by a link"));
    }
    plain(fs::metadata(&path).map_err(system)?.file_type())?;
    let mut options = OpenOptions::new();
    options.read(true);
    // Should something else have come into its place since.
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::custom_flags(
        &mut options,
        libc::O_NONBLOCK | libc::O_NOFOLLOW | libc::O_NOCTTY,
    );
    let file = options.open(&path).map_err(system)?;
    plain(file.metadata().map_err(system)?.file_type())?;
    Ok(file)
}

fn plain(kind: FileType) -> Result<(), Unread> {
    if kind.is_file() {
        Ok(())
    } else if kind.is_dir() {
        Err(refused("is a folder"))
    } else {
        Err(refused("is a pipe, a device or a socket, and no plain file"))
    }
}

fn refused(reason: &str) -> Unread {
    Unread {
        reason: reason.to_owned(),
        cure: INSIDE,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each with a word of its refusal.
    const OUTSIDE: [(&str, &str); 19] = [
        ("", "no name of a file"),
        ("/proc/self/environ", "root"),
        ("/boot.csv", "root"),
        ("//server/share/boot.csv", "root"),
        ("..", "out of"),
        ("../boot.csv", "out of"),
        ("bench/../../boot.csv", "out of"),
        ("bench/..", "out of"),
        ("./../boot.csv", "out of"),
        ("c:boot.csv", "root"),
        ("C:/boot.csv", "root"),
        ("C:\\boot.csv", "backslash"),
        ("\\\\server\\share\\boot.csv", "backslash"),
        ("\\\\.\\pipe\\boot", "backslash"),
        ("bench\\boot.csv", "backslash"),
        ("boot.csv\0", "nobody sees"),
        ("boot\n.csv", "nobody sees"),
        ("boot\u{1b}[2J.csv", "nobody sees"),
        ("boot\u{202e}.csv", "nobody sees"),
    ];

    #[test]
    fn a_name_stays_inside_by_its_text() {
        for (name, word) in OUTSIDE {
            let refused = within(name).expect_err(name);
            assert!(refused.reason.contains(word), "{name}: {}", refused.reason);
        }
        for name in [
            "boot.csv",
            "./boot.csv",
            "bench/boot.csv",
            "..boot.csv",
            "boot..csv",
            "a/.../b.csv",
            "2026-01-01 12:00.csv",
            "messung für boot.csv",
        ] {
            assert!(within(name).is_ok(), "{name}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn links_are_seen_through_and_only_plain_files_are_opened() {
        use std::os::unix::fs::symlink;
        let outer = tempfile::tempdir().expect("a folder");
        let folder = outer.path().join("node");
        fs::create_dir_all(folder.join("bench")).expect("made");
        fs::write(outer.path().join("secret"), "secret").expect("written");
        fs::write(folder.join("bench/boot.csv"), "own").expect("written");
        symlink("../secret", folder.join("out.csv")).expect("linked");
        symlink("..", folder.join("up")).expect("linked");
        symlink("bench/boot.csv", folder.join("in.csv")).expect("linked");
        symlink("/dev/zero", folder.join("zero.csv")).expect("linked");
        let socket = std::os::unix::net::UnixListener::bind(folder.join("socket.csv")).expect("bound");
        let pipe = std::process::Command::new("mkfifo")
            .arg(folder.join("pipe.csv"))
            .status();
        assert!(pipe.expect("mkfifo starts").success());

        for name in ["bench/boot.csv", "in.csv", "./bench/../bench/boot.csv"] {
            let text = std::io::read_to_string(open(&folder, name).map_err(|why| why.reason).expect(name));
            assert_eq!(text.expect("text"), "own", "{name}");
        }
        for (name, word) in [
            ("out.csv", "by a link"),
            ("up/secret", "by a link"),
            ("zero.csv", "by a link"),
            ("bench", "is a folder"),
            ("pipe.csv", "a pipe"),
            ("socket.csv", "a pipe"),
            ("missing.csv", "no such file"),
        ] {
            let refused = open(&folder, name).expect_err(name);
            assert!(refused.reason.contains(word), "{name}: {}", refused.reason);
        }
        drop(socket);
    }
}
