//! Where the measured profiles that a node file names are found: beside it on the disk, or in memory.

use std::collections::BTreeMap;
use std::path::Path;

use super::beside;
use super::unreadable_file::Unread;
use crate::input::{self, Limit};

/// A larger profile is not one action of a small node.
const LIMIT: Limit = Limit {
    most_bytes: 16 << 20,
    cure: "cut it to one action, or sample it less often",
};

/// Where the profiles that a node file names are found. Wherever that is, a profile stands in the folder of the node file or below: a name
/// that leads elsewhere is refused, and so is a link that does, and what is no plain file.
#[derive(Clone, Copy, Debug)]
pub enum Profiles<'a> {
    /// On the disk, by their paths from this folder.
    Folder(&'a Path),
    /// In memory, the text of each under its path. A profile is found under its own name, or else under a path that ends with the name
    /// or that the name ends with: whoever opens files by hand knows their last parts alone.
    Given(&'a BTreeMap<String, String>),
}

impl Profiles<'_> {
    /// The text of the profile called `name`.
    pub(super) fn text(self, name: &str) -> Result<String, Unread> {
        beside::within(name)?;
        match self {
            Self::Folder(folder) => on_disk(folder, name),
            Self::Given(texts) => in_memory(texts, name),
        }
    }
}

fn on_disk(folder: &Path, name: &str) -> Result<String, Unread> {
    Ok(input::whole(beside::open(folder, name)?, LIMIT)?)
}

fn in_memory(texts: &BTreeMap<String, String>, name: &str) -> Result<String, Unread> {
    let alike = |path: &str| Path::new(path).ends_with(name) || Path::new(name).ends_with(path);
    let found = texts
        .get(name)
        .or_else(|| texts.iter().find(|(path, _)| alike(path)).map(|(_, text)| text));
    let text = found.ok_or(Unread {
        reason: "is not there".to_owned(),
        cure: "open it together with the node file",
    })?;
    LIMIT.holds(text.len() as u64)?;
    Ok(text.clone())
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;
    use crate::node::NodeFile;

    const EXAMPLE: &str = millpond_templates::nodes::CRACK_GAUGE;
    const PROFILE: &str = "time_s,current_ma\n0,4\n0.5,10\n0.75,0\n";

    fn naming(profile: &str) -> String {
        let start = EXAMPLE.find("[boot]").expect("a section");
        let end = start + EXAMPLE[start..].find("\n[").expect("another section");
        let boot = format!("[boot]\nprofile = \"{profile}\"\n");
        [&EXAMPLE[..start], &boot, &EXAMPLE[end..]].concat()
    }

    fn given(path: &str) -> BTreeMap<String, String> {
        BTreeMap::from([(path.to_owned(), PROFILE.to_owned())])
    }

    /// Read from the disk or handed over, under whatever end of its path: the same node from the same bytes.
    #[test]
    fn a_profile_in_memory_is_that_on_the_disk() {
        let folder = tempfile::tempdir().expect("a folder");
        fs::create_dir(folder.path().join("bench")).expect("a folder");
        fs::write(folder.path().join("bench/boot.csv"), PROFILE).expect("a file");
        let text = naming("bench/boot.csv");
        let on_disk = NodeFile::parse("node.toml", &text, folder.path()).expect("sound");
        assert_eq!(on_disk.node.boot.phases.len(), 2);
        for path in ["bench/boot.csv", "boot.csv", "nodes/bench/boot.csv"] {
            let texts = given(path);
            let in_memory = NodeFile::parse_with("node.toml", &text, Profiles::Given(&texts));
            assert_eq!(in_memory.expect("sound"), on_disk, "{path}");
        }
    }

    #[test]
    fn a_profile_that_is_not_in_memory_is_asked_for() {
        for path in ["reboot.csv", "bench/boot.csv/other", "boot"] {
            let texts = given(path);
            let refused =
                NodeFile::parse_with("node.toml", &naming("bench/boot.csv"), Profiles::Given(&texts));
            let problems = refused.expect_err("no such profile");
            assert_eq!(problems.list.len(), 1, "{path}");
            assert_eq!(problems.list[0].title, "profile bench/boot.csv is not there");
        }
    }

    #[test]
    fn the_profile_of_its_own_name_comes_first() {
        let mut texts = given("bench/boot.csv");
        texts.insert("boot.csv".to_owned(), "nonsense".to_owned());
        let named = Profiles::Given(&texts);
        assert!(NodeFile::parse_with("node.toml", &naming("bench/boot.csv"), named).is_ok());
        assert!(NodeFile::parse_with("node.toml", &naming("boot.csv"), named).is_err());
    }
}
