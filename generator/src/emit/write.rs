//! Writing several files so that a failure loses nothing.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::{Builder, NamedTempFile};
use thiserror::Error;

/// A file that could not be written. No other file was changed unless it was complete.
#[derive(Debug, Error)]
#[error("{} cannot be written: {source}", path.display())]
pub struct WriteError {
    /// The file.
    pub path: PathBuf,
    /// What the system says.
    pub source: io::Error,
}

/// A file that stands complete beside its destination.
struct Prepared {
    file: NamedTempFile,
    destination: PathBuf,
}

/// Writes each text to its path. Returns, in the same order, each path and whether it was written: a file that holds
/// the text already is left alone, and keeps its time.
///
/// All texts are first written beside their destinations and moved into place only when every one of them stands, so that a
/// full disk or a missing folder leaves the old files whole. A link is followed, not replaced.
///
/// # Errors
/// [`WriteError`] with the path: the folder is missing, not writable, or the path is a folder.
///
/// ```
/// let folder = tempfile::tempdir()?;
/// let path = folder.path().join("policy.h");
/// let files = [(path.clone(), "text\n".to_owned())];
/// assert_eq!(millpond::emit::write_all(&files)?, [(path.clone(), true)]);
/// assert_eq!(millpond::emit::write_all(&files)?, [(path, false)]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn write_all(files: &[(PathBuf, String)]) -> Result<Vec<(PathBuf, bool)>, WriteError> {
    let mut prepared = Vec::new();
    for (path, text) in files {
        let file = prepare(path, text).map_err(|source| WriteError {
            path: path.clone(),
            source,
        })?;
        prepared.push((path, file));
    }
    let mut results = Vec::new();
    for (path, file) in prepared {
        let written = file.is_some();
        if let Some(Prepared { file, destination }) = file {
            file.persist(destination).map_err(|error| WriteError {
                path: path.clone(),
                source: error.error,
            })?;
        }
        results.push((path.clone(), written));
    }
    Ok(results)
}

/// Writes the text beside its destination; `None` if it stands there already.
fn prepare(path: &Path, text: &str) -> io::Result<Option<Prepared>> {
    let destination = match fs::canonicalize(path) {
        Ok(destination) => destination,
        Err(error) if error.kind() == io::ErrorKind::NotFound => path.to_owned(),
        Err(error) => return Err(error),
    };
    if destination.is_dir() {
        return Err(io::Error::from(io::ErrorKind::IsADirectory));
    }
    if fs::read(&destination).is_ok_and(|existing| existing == text.as_bytes()) {
        return Ok(None);
    }
    let folder = match destination.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let mut builder = Builder::new();
    #[cfg(unix)]
    let permissions = std::os::unix::fs::PermissionsExt::from_mode(NEW_FILE_MODE);
    #[cfg(unix)]
    builder.permissions(permissions);
    let mut file = builder.prefix(".millpond-").tempfile_in(folder)?;
    file.write_all(text.as_bytes())?;
    if let Ok(existing) = fs::metadata(&destination) {
        file.as_file().set_permissions(existing.permissions())?;
    }
    file.as_file().sync_all()?;
    Ok(Some(Prepared { file, destination }))
}

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
}
