//! Writing several files so that a failure loses nothing.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::{Builder, NamedTempFile};
use thiserror::Error;

use crate::visible;

/// A file that could not be written. No other file was changed unless it was complete.
#[derive(Debug, Error)]
#[error("{} cannot be written: {source}", visible::path(path))]
pub struct WriteError {
    /// The file.
    pub path: PathBuf,
    /// What the system says.
    pub source: io::Error,
}

/// A text on its way to its destination.
enum Prepared {
    /// A file that stands complete beside its destination, which it replaces.
    Beside(NamedTempFile, PathBuf),
    /// What cannot be replaced: a device or a pipe, which takes what it is given.
    Straight(File),
}

impl Prepared {
    /// Brings the text to where it belongs.
    fn finish(self, text: &str) -> io::Result<()> {
        match self {
            Self::Beside(file, destination) => {
                file.persist(destination).map(drop).map_err(|error| error.error)
            }
            Self::Straight(mut file) => file.write_all(text.as_bytes()),
        }
    }
}

/// Writes each text to its path. Returns, in the same order, each path and whether it was written: a file that holds
/// the text already is left alone, and keeps its time.
///
/// All texts are first written beside their destinations and moved into place only when every one of them stands, so that a
/// full disk or a missing folder leaves the old files whole. A link is followed, not replaced; a device or a pipe is
/// written to.
///
/// # Errors
/// [`WriteError`] with the path: the folder is missing, not writable, or the path is a folder.
///
/// ```
/// let folder = tempfile::tempdir()?;
/// let path = folder.path().join("policy.h");
/// let files = [(path.clone(), "text\n".to_owned())];
/// assert_eq!(millpond::files::write_all(&files)?, [(path.clone(), true)]);
/// assert_eq!(millpond::files::write_all(&files)?, [(path, false)]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn write_all(files: &[(PathBuf, String)]) -> Result<Vec<(PathBuf, bool)>, WriteError> {
    let failed = |path: &Path| {
        let path = path.to_owned();
        |source| WriteError { path, source }
    };
    let mut prepared = Vec::new();
    for (path, text) in files {
        prepared.push(prepare(path, text).map_err(failed(path))?);
    }
    let mut results = Vec::new();
    for ((path, text), file) in files.iter().zip(prepared) {
        let written = file.is_some();
        if let Some(file) = file {
            file.finish(text).map_err(failed(path))?;
        }
        results.push((path.clone(), written));
    }
    Ok(results)
}

/// Writes a file that must not be there yet: whole, or not at all.
///
/// # Errors
/// [`WriteError`], of the kind `AlreadyExists` where something has that name, be it a link to nowhere.
///
/// ```
/// let folder = tempfile::tempdir()?;
/// let path = folder.path().join("node.toml");
/// millpond::files::write_new(&path, "text\n")?;
/// assert!(millpond::files::write_new(&path, "other\n").is_err());
/// assert_eq!(std::fs::read_to_string(&path)?, "text\n");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn write_new(path: &Path, text: &str) -> Result<(), WriteError> {
    let write = || {
        if path.symlink_metadata().is_ok() {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        let file = beside(path, text)?;
        file.as_file().sync_all()?;
        file.persist_noclobber(path).map_err(|error| error.error)
    };
    write().map(drop).map_err(|source| WriteError {
        path: path.to_owned(),
        source,
    })
}

/// Writes the text beside its destination; `None` if it stands there already.
fn prepare(path: &Path, text: &str) -> io::Result<Option<Prepared>> {
    if let Some(stream) = standard_stream(path) {
        return Ok(Some(Prepared::Straight(stream?)));
    }
    let existing = match fs::metadata(path) {
        Ok(existing) if existing.is_dir() => return Err(io::ErrorKind::IsADirectory.into()),
        Ok(existing) if !existing.is_file() => {
            let file = OpenOptions::new().write(true).open(path)?;
            return Ok(Some(Prepared::Straight(file)));
        }
        Ok(existing) => Some(existing),
        Err(error) if error.kind() == io::ErrorKind::NotFound => None,
        Err(error) => return Err(error),
    };
    let destination = match existing {
        Some(_) => fs::canonicalize(path)?,
        None => behind_links(path),
    };
    if let Some(existing) = &existing {
        // Another size needs no look inside.
        let same = existing.len() == text.len() as u64;
        if same && fs::read(&destination).is_ok_and(|bytes| bytes == text.as_bytes()) {
            return Ok(None);
        }
    }
    let file = beside(&destination, text)?;
    if let Some(existing) = existing {
        file.as_file().set_permissions(existing.permissions())?;
    }
    file.as_file().sync_all()?;
    Ok(Some(Prepared::Beside(file, destination)))
}

/// A file to write into while results come: empty, or a standard stream. What is read-only makes room where that is wanted.
///
/// # Errors
/// What the system says.
///
/// ```
/// let folder = tempfile::tempdir()?;
/// let path = folder.path().join("timeline.csv");
/// std::io::Write::write_all(&mut millpond::files::create(&path, false)?, b"time_s\n")?;
/// assert_eq!(std::fs::read(&path)?, b"time_s\n");
/// # Ok::<(), std::io::Error>(())
/// ```
pub fn create(path: &Path, even_read_only: bool) -> io::Result<File> {
    if let Some(stream) = standard_stream(path) {
        return stream;
    }
    match File::create(path) {
        Err(error) if even_read_only && error.kind() == io::ErrorKind::PermissionDenied && path.is_file() => {
            let file = fs::canonicalize(path)?;
            fs::remove_file(&file)?;
            File::create(file)
        }
        result => result,
    }
}

/// Whether a path names the process's own output. Where that leads into a file, whoever started the process opened it, and a second
/// opening would begin at its start again.
pub(super) fn is_standard_stream(path: &Path) -> bool {
    cfg!(unix) && (is_one_of(path, STANDARD_OUTPUT) || is_one_of(path, STANDARD_ERROR))
}

fn is_one_of(path: &Path, names: [&str; 3]) -> bool {
    names.iter().any(|name| path == Path::new(name))
}

const STANDARD_OUTPUT: [&str; 3] = ["/dev/stdout", "/dev/fd/1", "/proc/self/fd/1"];
const STANDARD_ERROR: [&str; 3] = ["/dev/stderr", "/dev/fd/2", "/proc/self/fd/2"];

#[cfg(unix)]
fn standard_stream(path: &Path) -> Option<io::Result<File>> {
    use std::os::fd::AsFd as _;
    let stream = if is_one_of(path, STANDARD_OUTPUT) {
        io::stdout().as_fd().try_clone_to_owned()
    } else if is_one_of(path, STANDARD_ERROR) {
        io::stderr().as_fd().try_clone_to_owned()
    } else {
        return None;
    };
    Some(stream.map(File::from))
}

#[cfg(not(unix))]
fn standard_stream(_path: &Path) -> Option<io::Result<File>> {
    None
}

/// Where a path leads that does not exist: the end of its links.
///
/// ```
/// use std::path::Path;
/// assert_eq!(millpond::files::behind_links(Path::new("no/such.h")), Path::new("no/such.h"));
/// ```
pub fn behind_links(path: &Path) -> PathBuf {
    let mut path = path.to_owned();
    for _ in 0..MOST_LINKS {
        let Ok(next) = fs::read_link(&path) else { break };
        path = path.parent().unwrap_or(Path::new("")).join(next);
    }
    path
}

/// The folder in which a file stands or would stand.
///
/// ```
/// use std::path::Path;
/// assert_eq!(millpond::files::folder_of(Path::new("policy.h")), Path::new("."));
/// assert_eq!(millpond::files::folder_of(Path::new("build/policy.h")), Path::new("build"));
/// ```
pub fn folder_of(file: &Path) -> &Path {
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Tries whether a file can be made where `destination` would stand: makes one under a passing name, and removes it.
///
/// # Errors
/// What the system says to it.
///
/// ```
/// let folder = tempfile::tempdir()?;
/// millpond::files::try_place(&folder.path().join("policy.h"))?;
/// assert_eq!(std::fs::read_dir(folder.path())?.count(), 0);
/// assert!(millpond::files::try_place(&folder.path().join("no/such/policy.h")).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn try_place(destination: &Path) -> io::Result<()> {
    beside(destination, "").map(drop)
}

/// A file with the text in the folder of `destination`, gone again where it is not kept.
fn beside(destination: &Path, text: &str) -> io::Result<NamedTempFile> {
    let mut options = OpenOptions::new();
    options.read(true).write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, NEW_FILE_MODE);
    // Opened and written by the system's own calls: those of the library put the passing name into their errors, and nobody asked
    // for a file of that name.
    let mut file = Builder::new()
        .prefix(".millpond-")
        .make_in(folder_of(destination), |path| options.open(path))?;
    file.as_file_mut().write_all(text.as_bytes())?;
    Ok(file)
}

/// As many links as the system itself follows.
const MOST_LINKS: u32 = 40;

/// Mode of a new file before the process's mask: as for any file that a program creates.
#[cfg(unix)]
const NEW_FILE_MODE: u32 = 0o666;

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).expect("the folder is there");
        let mut names: Vec<String> = entries
            .map(|entry| {
                entry
                    .expect("readable")
                    .file_name()
                    .to_string_lossy()
                    .into_owned()
            })
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_failure_changes_no_file_and_leaves_none_behind() {
        let folder = tempfile::tempdir().expect("a folder");
        let first = folder.path().join("first.h");
        fs::write(&first, "old").expect("written");
        let missing = folder.path().join("missing").join("second.h");
        let files = [
            (first.clone(), "new".to_owned()),
            (missing.clone(), "new".to_owned()),
        ];
        let error = write_all(&files).expect_err("the folder is missing");
        assert_eq!(error.path, missing);
        assert!(
            error.to_string().contains("second.h cannot be written"),
            "{error}"
        );
        assert!(!error.to_string().contains(".millpond-"), "{error}");
        assert_eq!(fs::read_to_string(&first).expect("readable"), "old");
        assert_eq!(names(folder.path()), ["first.h"]);
    }

    #[test]
    fn a_folder_in_the_way_is_an_error_before_anything_is_written() {
        let folder = tempfile::tempdir().expect("a folder");
        let first = folder.path().join("first.h");
        let files = [
            (first.clone(), "new".to_owned()),
            (folder.path().to_owned(), "new".to_owned()),
        ];
        assert_eq!(write_all(&files).expect_err("a folder").path, folder.path());
        assert!(!first.exists());
    }

    #[cfg(unix)]
    #[test]
    fn modes_are_those_of_ordinary_files_and_links_are_followed() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().expect("a folder");
        let mode = |path: &Path| fs::metadata(path).expect("there").permissions().mode();
        let (plain, new) = (folder.path().join("plain"), folder.path().join("new"));
        fs::write(&plain, "").expect("written");
        write_all(&[(new.clone(), "text".to_owned())]).expect("written");
        assert_eq!(mode(&new), mode(&plain));

        fs::set_permissions(&plain, fs::Permissions::from_mode(0o640)).expect("changed");
        let link = folder.path().join("link");
        std::os::unix::fs::symlink(&plain, &link).expect("linked");
        write_all(&[(link.clone(), "text".to_owned())]).expect("written");
        assert!(fs::symlink_metadata(&link).expect("there").is_symlink());
        assert_eq!(fs::read_to_string(&plain).expect("readable"), "text");
        assert_eq!(mode(&plain) & 0o777, 0o640);
    }

    /// A link whose file is gone gets it back, and stays a link.
    #[cfg(unix)]
    #[test]
    fn a_link_to_nowhere_is_followed() {
        let folder = tempfile::tempdir().expect("a folder");
        let link = folder.path().join("link");
        std::os::unix::fs::symlink("target", &link).expect("linked");
        write_all(&[(link.clone(), "text".to_owned())]).expect("written");
        assert!(fs::symlink_metadata(&link).expect("there").is_symlink());
        let target = fs::read_to_string(folder.path().join("target")).expect("readable");
        assert_eq!(target, "text");
    }
}
