//! Which files a command reads and which it writes, as the command line names them.

use std::path::{Path, PathBuf};

use super::Command;

/// A file and how the command line calls it: "the node file", "--timeline".
#[derive(Clone, Debug)]
pub(crate) struct Named {
    pub(crate) called: &'static str,
    pub(crate) path: PathBuf,
}

/// What a command reads and what it writes.
#[derive(Debug, Default)]
pub(crate) struct Files {
    /// The node file, which may name further files.
    pub(crate) node: Option<PathBuf>,
    /// Every file that is read, the node file first.
    pub(crate) inputs: Vec<Named>,
    /// Every file that is written.
    pub(crate) outputs: Vec<Named>,
}

impl Files {
    fn of_node(path: &Path) -> Self {
        Self {
            node: Some(path.to_owned()),
            ..Self::default()
        }
        .reads("the node file", Some(path))
    }

    fn reads(mut self, called: &'static str, path: Option<&Path>) -> Self {
        self.inputs.extend(path.map(|path| named(called, path)));
        self
    }

    fn writes(mut self, called: &'static str, path: Option<&PathBuf>) -> Self {
        self.outputs.extend(path.map(|path| named(called, path)));
        self
    }
}

fn named(called: &'static str, path: &Path) -> Named {
    let path = path.to_owned();
    Named { called, path }
}

impl Command {
    /// The files of the commands that write any. Those that only print have nothing to spoil, and manual pages are written over those before.
    pub(crate) fn files(&self) -> Files {
        match self {
            Self::Init(init) => Files::default().writes("the file to write", Some(&init.file)),
            // With --verify the files are looked at, not written.
            Self::Generate(generate) if !generate.verify => Files::of_node(&generate.node)
                .writes("--c", generate.c.as_ref())
                .writes("--rust", generate.rust.as_ref())
                .writes("--json", generate.json.as_ref())
                .writes("--depfile", generate.depfile.as_ref()),
            Self::Simulate(simulate) => Files::of_node(&simulate.node)
                .reads("--trace", simulate.trace.as_deref())
                .writes("--timeline", simulate.timeline.as_ref())
                .writes("--picture", simulate.picture.as_ref()),
            Self::Fit(fit) => Files::of_node(&fit.node)
                .reads("the log", Some(&fit.log))
                .writes("--write", fit.write.as_ref()),
            Self::Report(report) => Files::of_node(&report.node)
                .reads("--trace", report.trace.as_deref())
                .reads("--log", report.log.as_deref())
                .writes("--output", Some(&report.output)),
            Self::Workbench(workbench) => {
                Files::of_node(&workbench.node).writes("--output", workbench.output.as_ref())
            }
            _ => Files::default(),
        }
    }
}
