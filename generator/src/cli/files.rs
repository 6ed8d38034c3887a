//! Which files a command reads and which it writes, as the command line names them.

use std::path::{Path, PathBuf};

use millpond::files::Kind;

use super::Command;

/// A file and how the command line calls it: "the node file", "--timeline".
#[derive(Clone, Debug)]
pub(crate) struct Named {
    pub(crate) called: &'static str,
    pub(crate) path: PathBuf,
    /// What is written there; nothing of an input, and of what is never written over.
    pub(crate) kind: Option<Kind>,
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
    /// Whether outputs are written over whatever stands there.
    pub(crate) force: bool,
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
        self.inputs.extend(path.map(|path| Named {
            called,
            path: path.to_owned(),
            kind: None,
        }));
        self
    }

    fn writes(mut self, called: &'static str, kind: Kind, path: Option<&PathBuf>) -> Self {
        self.outputs.extend(path.map(|path| Named {
            called,
            path: path.clone(),
            kind: Some(kind),
        }));
        self
    }

    fn writes_a_new_one(mut self, called: &'static str, path: &Path) -> Self {
        self.outputs.push(Named {
            called,
            path: path.to_owned(),
            kind: None,
        });
        self
    }

    fn by_force(mut self, force: bool) -> Self {
        self.force = force;
        self
    }
}

impl Command {
    /// The files of a command. Manual pages have their names only when they are made.
    pub(crate) fn files(&self) -> Files {
        match self {
            Self::Init(init) => Files::default().writes_a_new_one("the file to write", &init.file),
            // With --verify the files are looked at, not written.
            Self::Generate(generate) if generate.verify => Files::of_node(&generate.node)
                .reads("--c", generate.c.as_deref())
                .reads("--rust", generate.rust.as_deref())
                .reads("--json", generate.json.as_deref()),
            Self::Generate(generate) => Files::of_node(&generate.node)
                .writes("--c", Kind::CHeader, generate.c.as_ref())
                .writes("--rust", Kind::RustModule, generate.rust.as_ref())
                .writes("--json", Kind::Json, generate.json.as_ref())
                .writes("--depfile", Kind::Depfile, generate.depfile.as_ref())
                .by_force(generate.force),
            Self::Simulate(simulate) => Files::of_node(&simulate.node)
                .reads("--trace", simulate.trace.as_deref())
                .writes("--timeline", Kind::Timeline, simulate.timeline.as_ref())
                .writes("--picture", Kind::Picture, simulate.picture.as_ref())
                .by_force(simulate.force),
            Self::Fit(fit) => Files::of_node(&fit.node)
                .reads("the log", Some(&fit.log))
                .writes("--write", Kind::FittedNode, fit.write.as_ref())
                .by_force(fit.force),
            Self::Report(report) => Files::of_node(&report.node)
                .reads("--trace", report.trace.as_deref())
                .reads("--log", report.log.as_deref())
                .writes("--output", Kind::Page, Some(&report.output))
                .by_force(report.force),
            Self::Workbench(workbench) => Files::of_node(&workbench.node)
                .writes("--output", Kind::Page, workbench.output.as_ref())
                .by_force(workbench.force),
            Self::Check(print) | Self::Budget(print) | Self::Thresholds(print) => Files::of_node(&print.node),
            Self::Survival(survival) => Files::of_node(&survival.node),
            Self::Size(size) => Files::of_node(&size.node).reads("--catalogue", size.catalogue.as_deref()),
            Self::Cell(cell) => Files::default().reads("the discharge", Some(&cell.discharge)),
            Self::LogPlan(log_plan) => Files::of_node(&log_plan.node),
            Self::Sensitivity(sensitivity) => Files::of_node(&sensitivity.node),
            Self::Lifetime(lifetime) => Files::of_node(&lifetime.node),
            Self::Dividers(dividers) => Files::of_node(&dividers.node),
            Self::Compare(compare) => Files::default()
                .reads("the old node file", Some(&compare.old))
                .reads("the new node file", Some(&compare.new)),
            Self::Completions(_) | Self::Manual(_) => Files::default(),
        }
    }
}
