//! What arbitrary bytes are given to, and what has to hold whatever they are: the targets of the fuzzer in `tests/fuzz`, and of the
//! replay of its corpus.
//!
//! A target panics where a promise is broken. Texts that are no UTF-8 never reach a parser, so they are made UTF-8 first.

mod constants;
mod texts;

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// One thing that is fuzzed.
#[derive(Clone, Copy)]
pub struct Target {
    /// What it is called: the name of its folder in the corpus.
    pub name: &'static str,
    /// Takes any bytes.
    pub run: fn(&[u8]),
}

/// Every target.
pub const TARGETS: [Target; 8] = [
    Target {
        name: "node",
        run: texts::node,
    },
    Target {
        name: "trace",
        run: texts::trace,
    },
    Target {
        name: "log",
        run: texts::log,
    },
    Target {
        name: "catalogue",
        run: texts::catalogue,
    },
    Target {
        name: "discharge",
        run: texts::discharge,
    },
    Target {
        name: "retained",
        run: constants::retained,
    },
    Target {
        name: "decide",
        run: constants::decide,
    },
    Target {
        name: "planner",
        run: constants::planner,
    },
];

impl Target {
    /// The target of a name.
    ///
    /// ```
    /// use millpond_tests::fuzz::Target;
    /// assert_eq!(Target::named("log").map(|target| target.name), Some("log"));
    /// assert!(Target::named("no-such-target").is_none());
    /// ```
    pub fn named(name: &str) -> Option<Self> {
        TARGETS.into_iter().find(|target| target.name == name)
    }

    /// The inputs that are kept for it, in the order of their names.
    ///
    /// # Errors
    ///
    /// If the folder cannot be read.
    pub fn corpus(&self) -> io::Result<Vec<(PathBuf, Vec<u8>)>> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("fuzz/corpus")
            .join(self.name);
        let mut inputs = Vec::new();
        for entry in fs::read_dir(folder)? {
            let path = entry?.path();
            let bytes = fs::read(&path)?;
            inputs.push((path, bytes));
        }
        inputs.sort();
        Ok(inputs)
    }
}
