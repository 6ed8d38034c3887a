//! A copy of one of the projects in docs/embedding, with a node file of its own, built by the tool that it is made for.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::SystemTime;

use libtest_mimic::Failed;
use millpond_tests::command::{ROOT, cargo, millpond};

/// How the projects name what lies outside their own folder.
const UPWARD: &str = "../../../";
/// Where the profiles of tests begin in the workspace's manifest, of which they are the end.
const PROFILES: &str = "[profile.dev]\n";
/// A profile of its own for the generator.
const GENERATOR: &str = "[profile.dev.package.millpond]\nopt-level = 0\n";
/// The node that the projects are written for, from the top of the project.
pub(crate) const NODE: &str = "templates/nodes/crack-gauge.toml";

/// Which project, by the name of its folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Make,
    Cmake,
    Cargo,
}

/// The copy. One of a kind at a time, as all of a kind stand in the same folder: cargo would keep what it built for each
/// other folder.
pub(crate) struct Project {
    kind: Kind,
    folder: PathBuf,
    _turn: MutexGuard<'static, ()>,
}

/// What a build said.
pub(crate) struct Built {
    pub(crate) succeeded: bool,
    /// Both outputs.
    pub(crate) text: String,
}

impl Kind {
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Make => "make",
            Self::Cmake => "cmake",
            Self::Cargo => "cargo",
        }
    }

    fn turn(self) -> MutexGuard<'static, ()> {
        static TURNS: [Mutex<()>; 3] = [const { Mutex::new(()) }; 3];
        // A failed trial leaves nothing behind that the next copy would not remove.
        TURNS[self as usize]
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }
}

impl Project {
    /// Copies the project of `kind`, the C sources beside it, and the node file.
    pub(crate) fn copy(kind: Kind) -> Result<Self, Failed> {
        let turn = kind.turn();
        let folder = scratch().join(kind.name());
        if folder.exists() {
            fs::remove_dir_all(&folder)?;
        }
        let from = Path::new(ROOT).join("docs/embedding");
        for name in ["c", kind.name()] {
            copy_folder(&from.join(name), &folder.join(name))?;
        }
        let project = Self {
            kind,
            folder,
            _turn: turn,
        };
        fs::copy(Path::new(ROOT).join(NODE), project.node())?;
        if kind == Kind::Cargo {
            project.lead_outside()?;
        }
        Ok(project)
    }

    /// The copy's node file.
    pub(crate) fn node(&self) -> PathBuf {
        self.folder.join("node.toml")
    }

    /// Puts `new` in place of `old` in the node file.
    pub(crate) fn change_node(&self, old: &str, new: &str) -> Result<(), Failed> {
        replace(&self.node(), old, new)
    }

    /// Builds the firmware as its user would.
    pub(crate) fn build(&self) -> Result<Built, Failed> {
        match self.kind {
            Kind::Make => self.run(
                Command::new("make")
                    .arg(assignment("MILLPOND", millpond()?))
                    .arg(assignment("NODE", &self.node())),
            ),
            Kind::Cmake => {
                let configured = self.run(
                    Command::new("cmake")
                        .args(["-S", ".", "-B", "build"])
                        .arg(assignment("-DMILLPOND", millpond()?))
                        .arg(assignment("-DNODE", &self.node())),
                )?;
                if !configured.succeeded {
                    return Ok(configured);
                }
                self.run(Command::new("cmake").args(["--build", "build"]))
            }
            Kind::Cargo => self.cargo(&["build"]),
        }
    }

    /// Calls cargo in the project, with this workspace's target folder: other people's libraries are compiled already.
    pub(crate) fn cargo(&self, arguments: &[&str]) -> Result<Built, Failed> {
        self.run(
            Command::new(cargo())
                .args(arguments)
                .arg("--offline")
                .env("CARGO_TARGET_DIR", target()),
        )
    }

    /// When the firmware was last linked.
    pub(crate) fn linked(&self) -> Result<SystemTime, Failed> {
        Ok(fs::metadata(self.firmware())?.modified()?)
    }

    /// Two days of the firmware on this machine: its bench log.
    pub(crate) fn log(&self) -> Result<String, Failed> {
        let done = Command::new(self.firmware()).stdin(Stdio::null()).output()?;
        if !done.status.success() {
            return Err(String::from_utf8_lossy(&done.stderr).into_owned().into());
        }
        Ok(String::from_utf8(done.stdout)?)
    }

    fn firmware(&self) -> PathBuf {
        match self.kind {
            Kind::Make | Kind::Cmake => self.path().join("build/firmware"),
            Kind::Cargo => target().join("debug/host"),
        }
    }

    fn path(&self) -> PathBuf {
        self.folder.join(self.kind.name())
    }

    fn run(&self, command: &mut Command) -> Result<Built, Failed> {
        let done = command
            .current_dir(self.path())
            .stdin(Stdio::null())
            .output()
            .map_err(|error| format!("{command:?}: {error}"))?;
        let text = [done.stdout, done.stderr].concat();
        Ok(Built {
            succeeded: done.status.success(),
            text: String::from_utf8_lossy(&text).into_owned(),
        })
    }

    /// Other people's libraries are compiled as this workspace compiles them, or none that is there already would do. The generator,
    /// which is one of them here, writes one node's constants and is not worth optimising.
    fn share_profiles(&self) -> Result<(), Failed> {
        let workspace = fs::read_to_string(Path::new(ROOT).join("Cargo.toml"))?;
        let profiles = workspace.find(PROFILES).map(|start| &workspace[start..]);
        let profiles = profiles.ok_or_else(|| format!("Cargo.toml: no {PROFILES}"))?;
        let settings = self.path().join(".cargo");
        fs::create_dir(&settings)?;
        Ok(fs::write(
            settings.join("config.toml"),
            format!("{profiles}\n{GENERATOR}"),
        )?)
    }

    /// Away from its place, the crate finds its libraries by their full path, and their versions are those of this
    /// workspace.
    fn lead_outside(&self) -> Result<(), Failed> {
        let root = fs::canonicalize(ROOT)?;
        let root = format!("{}/", root.display());
        replace(&self.path().join("Cargo.toml"), UPWARD, &root)?;
        replace(
            &self.path().join("build.rs"),
            &format!("{UPWARD}{NODE}"),
            "../node.toml",
        )?;
        fs::copy(Path::new(ROOT).join("Cargo.lock"), self.path().join("Cargo.lock"))?;
        self.share_profiles()
    }
}

/// `name=path`
fn assignment(name: &str, path: &Path) -> String {
    format!("{name}={}", path.display())
}

/// Below this workspace's own target folder.
fn scratch() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("embedding")
}

/// This workspace's target folder.
fn target() -> PathBuf {
    let below = Path::new(env!("CARGO_TARGET_TMPDIR"));
    below.parent().unwrap_or(below).to_owned()
}

/// Copies files and folders, but not what a build leaves behind.
fn copy_folder(from: &Path, to: &Path) -> io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let (path, name) = entry.map(|entry| (entry.path(), entry.file_name()))?;
        if name == "build" || name == "target" || name == "Cargo.lock" {
            continue;
        }
        if path.is_dir() {
            copy_folder(&path, &to.join(name))?;
        } else {
            fs::copy(&path, to.join(name))?;
        }
    }
    Ok(())
}

/// Puts `new` in place of every `old` in a file, of which there must be one.
fn replace(path: &Path, old: &str, new: &str) -> Result<(), Failed> {
    let text = fs::read_to_string(path)?;
    if !text.contains(old) {
        return Err(format!("{}: no {old}", path.display()).into());
    }
    Ok(fs::write(path, text.replace(old, new))?)
}
