//! A Rust compiler for another target than this machine: it builds the page and, for the tests, firmware.
//!
//! It is the compiler that builds everything else, if it has the target (`rustup target add`). Else it is one that has the source of the
//! library, which it compiles on the way.

use std::env;
use std::path::Path;
use std::process::{Command, Stdio};

/// Where distributions put a compiler that may have the source of its library beside it.
const SYSTEM_RUSTC: &str = "/usr/bin/rustc";

/// What is to be built for, and by whose compiler.
pub(crate) struct Wanted<'a> {
    /// Rust's name of the target.
    pub(crate) target: &'a str,
    /// Libraries that are needed from source: `core`, or `std,panic_abort`.
    pub(crate) libraries: &'a str,
    /// Linkers for the target, the best first. A compiler that has the target brings its own; where cargo links nothing, none is needed.
    pub(crate) linkers: &'a [&'a str],
    /// A compiler that somebody named: it comes before the usual one and the system's own.
    pub(crate) rustc: Option<String>,
}

/// What builds the page. The variable `MILLPOND_WASM_RUSTC` names a compiler.
pub(crate) fn for_the_page() -> Wanted<'static> {
    Wanted {
        target: "wasm32-unknown-unknown",
        libraries: "std,panic_abort",
        linkers: &["wasm-ld", "rust-lld"],
        rustc: env::var("MILLPOND_WASM_RUSTC").ok(),
    }
}

impl Wanted<'_> {
    /// Cargo with `subcommand`, `build` or `rustc`, for the target, by the first compiler that can. `None` if none can.
    pub(crate) fn cargo(&self, subcommand: &str) -> Option<Command> {
        let usual = env::var("RUSTC").unwrap_or_else(|_| "rustc".to_owned());
        let compilers: Vec<&str> = self
            .rustc
            .as_deref()
            .into_iter()
            .chain([&*usual, SYSTEM_RUSTC])
            .collect();
        let library = Path::new("lib/rustlib").join(self.target).join("lib");
        let source = Path::new("lib/rustlib/src/rust/library/std");
        let having = |path| compilers.iter().find(|rustc| has(rustc, path));

        let mut command = Command::new(env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
        command.args([subcommand, "--target", self.target]);
        if let Some(rustc) = having(&library) {
            command.env("RUSTC", rustc);
            return Some(command);
        }
        command
            .env("RUSTC", having(source)?)
            .env("RUSTC_BOOTSTRAP", "1")
            .arg(format!("-Zbuild-std={}", self.libraries))
            // None of its features: nothing here prints where a panic came from.
            .arg("-Zbuild-std-features=");
        if !self.linkers.is_empty() {
            let linker = self.linkers.iter().find(|linker| answers(linker))?;
            let target = self.target.to_uppercase().replace('-', "_");
            command.env(format!("CARGO_TARGET_{target}_LINKER"), linker);
        }
        Some(command)
    }
}

/// Whether the compiler's own folder has this path.
fn has(rustc: &str, path: &Path) -> bool {
    let output = Command::new(rustc).args(["--print", "sysroot"]).output();
    output.is_ok_and(|output| {
        let sysroot = String::from_utf8_lossy(&output.stdout);
        Path::new(sysroot.trim()).join(path).exists()
    })
}

/// Whether there is such a program.
fn answers(program: &str) -> bool {
    let mut command = Command::new(program);
    command
        .arg("--version")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    command.status().is_ok_and(|status| status.success())
}
