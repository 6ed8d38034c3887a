//! Compiles and links the firmware of one target: the stream, and the smallest program with and without the policy.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Mutex;

use super::ChipsError;
use super::image::{Image, Sizes};
use super::nodes::{NODES, Node};
use super::target::{Language, Machine, Target};
use crate::compiler::Wanted;
use crate::tool::Tool;

/// Folder of the firmware's sources.
const SOURCES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/chips");
/// The generated header must pass these in every firmware project.
const WARNINGS: [&str; 5] = ["-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Werror"];
/// Only what is called is linked.
const SECTIONS: [&str; 3] = ["-ffunction-sections", "-fdata-sections", "-Wl,--gc-sections"];
/// SysTick's ticks to instructions, rounded. Cortex-M0: 16 MHz and 1024 ns an instruction, 16.384 ticks. Cortex-M3: 25 MHz,
/// 25.6 ticks.
const CORTEX_M0_TICKS: &str = "-DTICKS_TO_INSTRUCTIONS(ticks)=(((ticks) * 125u + 1024u) >> 11)";
const CORTEX_M3_TICKS: &str = "-DTICKS_TO_INSTRUCTIONS(ticks)=(((ticks) * 5u + 64u) >> 7)";

/// One build of the firmware crate at a time for each machine: its nodes share a target folder.
static CARGO: [Mutex<()>; 5] = [const { Mutex::new(()) }; 5];

/// What a command wrote.
pub(crate) struct Called {
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

/// The tools of one target, found, and what all of its images are linked with.
pub(crate) struct Tools {
    pub(crate) target: Target,
    folder: PathBuf,
    /// The firmware crate of each node, in the order of the nodes.
    libraries: Vec<(Node, PathBuf)>,
    /// Runs AVR firmware.
    pub(crate) harness: Option<PathBuf>,
}

impl Tools {
    /// Finds the tools and compiles what is common. `None` for Rust on this machine, which is part of this program.
    pub(crate) fn find(target: Target) -> Result<Option<Self>, ChipsError> {
        if target.machine == Machine::Host && target.language == Language::Rust {
            return Ok(None);
        }
        require(target)?;
        let folder = folder().join(target.to_string().replace(' ', "-"));
        fs::create_dir_all(&folder)?;
        for node in NODES {
            write_if_new(&folder.join(format!("{}.h", node.identifier)), node.c_header)?;
        }
        let libraries = match target.language {
            Language::Rust => rust_libraries(target.machine, &folder)?,
            Language::C => Vec::new(),
        };
        let harness = match target.machine {
            Machine::Avr => Some(avr_harness(&folder)?),
            _ => None,
        };
        Ok(Some(Self {
            target,
            folder,
            libraries,
            harness,
        }))
    }

    /// The stream of one node.
    pub(crate) fn stream(&self, node: &Node, steps: u32) -> Result<Image, ChipsError> {
        let name = format!("{}-stream-{steps}", node.identifier);
        self.link(node, &name, "stream.c", "stream_node", steps)
    }

    /// What the policy adds to the smallest firmware.
    pub(crate) fn sizes(&self, node: &Node) -> Result<Sizes, ChipsError> {
        let link = |entry: &str| {
            let name = format!("{}-{entry}", node.identifier);
            self.link(node, &name, "minimal.c", entry, 1)
        };
        Ok(link("minimal_node")?.beyond(&link("minimal_base")?))
    }

    fn link(
        &self,
        node: &Node,
        name: &str,
        c_source: &str,
        entry: &str,
        steps: u32,
    ) -> Result<Image, ChipsError> {
        let path = self.folder.join(format!("{name}.elf"));
        let library = self.libraries.iter().find(|(of, _)| of.name == node.name);
        let library = library.map(|(_, library)| library);
        if self.target.machine == Machine::Riscv32imc {
            link_riscv(&path, library, entry, steps)?;
            return Image::read(&path);
        }
        let mut command = c_compiler(self.target.machine);
        command
            .args(WARNINGS)
            .args(SECTIONS)
            .arg(format!("-DENTRY={entry}"))
            .arg(format!("-DSTEPS={steps}u"))
            .arg(format!("-I{SOURCES}/c"))
            .arg(format!("{SOURCES}/c/{}", board(self.target.machine)));
        match library {
            Some(library) => {
                command.arg(library);
            }
            None => {
                command
                    .args(c_names(node))
                    .arg("-I")
                    .arg(&self.folder)
                    .arg(format!("{SOURCES}/c/{c_source}"));
            }
        }
        call(command.arg("-o").arg(&path))?;
        Image::read(&path)
    }
}

fn link_riscv(path: &Path, library: Option<&PathBuf>, entry: &str, steps: u32) -> Result<(), ChipsError> {
    let mut command = Command::new("ld.lld");
    command
        .args(["-m", "elf32lriscv", "--gc-sections", "-u", "reset", "-T"])
        .arg(format!("{SOURCES}/c/riscv.ld"))
        .arg(format!("--defsym=chips_entry={entry}"))
        .arg(format!("--defsym=chips_steps={steps}"))
        .args(library)
        .arg("-o")
        .arg(path);
    call(&mut command).map(|_| ())
}

/// How the sources in tests/chips/c get the names of a node.
fn c_names(node: &Node) -> Vec<String> {
    let identifier = node.identifier;
    let upper = identifier.to_uppercase();
    let mut names = vec![
        format!("-DHEADER=\"{identifier}.h\""),
        format!("-DNODE(name)={identifier}_##name"),
        format!("-DCONSTANT(name)={upper}_##name"),
        format!("-D{upper}_TICKS_PER_S=32768"),
        format!("-D{upper}_TICK_BITS=24"),
    ];
    names.extend(node.is_planned.then(|| "-DPLANNED".to_owned()));
    names
}

/// The compiler with what the machine needs.
fn c_compiler(machine: Machine) -> Command {
    let arm = |cpu: &str, ticks: &str| {
        let mut command = Command::new("arm-none-eabi-gcc");
        command
            .args([
                cpu,
                "-mthumb",
                "-masm-syntax-unified",
                "-Os",
                "-nostartfiles",
                "--specs=nano.specs",
            ])
            .args(["-Wl,--no-warn-rwx-segments", "-Wl,-z,noexecstack", "-T"])
            .arg(format!("{SOURCES}/c/arm.ld"))
            .arg(ticks);
        command
    };
    match machine {
        Machine::Avr => {
            let mut command = Command::new("avr-gcc");
            command.args(["-mmcu=atmega328p", "-Os"]);
            command
        }
        Machine::CortexM0 => arm("-mcpu=cortex-m0", CORTEX_M0_TICKS),
        Machine::CortexM3 => arm("-mcpu=cortex-m3", CORTEX_M3_TICKS),
        Machine::Host | Machine::Riscv32imc => {
            let mut command = Command::new("gcc");
            command.arg("-O2");
            command
        }
    }
}

fn board(machine: Machine) -> &'static str {
    match machine {
        Machine::Avr => "board_avr.c",
        Machine::CortexM0 | Machine::CortexM3 => "board_arm.c",
        Machine::Host | Machine::Riscv32imc => "board_host.c",
    }
}

/// The folder that everything is built in.
fn folder() -> PathBuf {
    // OUT_DIR is <target folder>/<profile>/build/<package>/out.
    let target = Path::new(env!("OUT_DIR")).ancestors().nth(4);
    target.unwrap_or(Path::new("target")).join("chips")
}

/// The target folder of cargo for `triple`. Each has its own: building Rust's library takes one core half a minute, and in a common
/// folder one build would wait for the other.
fn cargo_folder(triple: &str) -> PathBuf {
    folder().join("rust").join(triple)
}

/// Whether the tools of a target are there.
pub(crate) fn require(target: Target) -> Result<(), ChipsError> {
    match (target.machine, target.language) {
        (Machine::Host, Language::Rust) => return Ok(()),
        (machine, Language::Rust) => machine
            .triple()
            .map_or(Ok(()), |triple| cargo_build(triple).map(|_| ()))?,
        (_, Language::C) => {}
    }
    require_tools(target.machine)
}

fn require_tools(machine: Machine) -> Result<(), ChipsError> {
    let needs = |program: &str, arguments: &[&str], what| {
        let found = Tool::find(&[program], arguments);
        found.map(|_| ()).ok_or(ChipsError::Missing(what))
    };
    match machine {
        Machine::Host => needs("gcc", &["--version"], "gcc (Debian package gcc)"),
        Machine::Avr => {
            needs(
                "avr-gcc",
                &["--version"],
                "avr-gcc (Debian packages gcc-avr and avr-libc)",
            )?;
            let headers = [
                "-E",
                "-include",
                "simavr/sim_avr.h",
                "-include",
                "libelf.h",
                "-xc",
                "/dev/null",
            ];
            needs(
                "gcc",
                &headers,
                "simavr (Debian packages gcc, libsimavr-dev and libelf-dev)",
            )
        }
        Machine::CortexM0 | Machine::CortexM3 => {
            let what = "arm-none-eabi-gcc (Debian packages gcc-arm-none-eabi and libnewlib-arm-none-eabi)";
            needs("arm-none-eabi-gcc", &["--version"], what)?;
            needs(
                "qemu-system-arm",
                &["--version"],
                "qemu-system-arm (Debian package qemu-system-arm)",
            )
        }
        Machine::Riscv32imc => {
            needs("ld.lld", &["--version"], "ld.lld (Debian package lld)")?;
            needs(
                "qemu-system-riscv32",
                &["--version"],
                "qemu-system-riscv32 (Debian package qemu-system-misc)",
            )
        }
    }
}

fn avr_harness(folder: &Path) -> Result<PathBuf, ChipsError> {
    let path = folder.join("harness");
    let mut command = Command::new("gcc");
    command
        .args(["-O2", "-Wall", "-Wextra", "-Werror"])
        .arg(format!("{SOURCES}/c/harness_avr.c"))
        .arg("-o")
        .arg(&path)
        .args(["-lsimavr", "-lelf"]);
    call(&mut command)?;
    Ok(path)
}

/// The firmware crate as a static library for each node.
fn rust_libraries(machine: Machine, target_folder: &Path) -> Result<Vec<(Node, PathBuf)>, ChipsError> {
    let Some(triple) = machine.triple() else {
        return Err(ChipsError::Strange("this machine needs no library".into()));
    };
    let _one_at_a_time = CARGO[machine as usize].lock();
    let mut libraries = Vec::new();
    for node in NODES {
        let module = target_folder.join(format!("{}.rs", node.identifier));
        write_if_new(&module, node.rust_module)?;
        let mut command = cargo_build(triple)?;
        command
            .current_dir(format!("{SOURCES}/firmware"))
            .env("MILLPOND_CHIPS_NODE", &module)
            .arg("--locked");
        if node.is_planned {
            command.args(["--features", "planned"]);
        }
        let called = call(&mut command)?;
        if called.stderr.contains("warning") {
            return Err(ChipsError::Refused {
                command: format!("{command:?}"),
                output: called.stderr,
            });
        }
        let built = cargo_folder(triple)
            .join(triple)
            .join("release/libmillpond_chips_firmware.a");
        let library = target_folder.join(format!("{}.a", node.identifier));
        fs::copy(built, &library)?;
        libraries.push((*node, library));
    }
    Ok(libraries)
}

/// `cargo build --release` for `triple`.
pub(crate) fn cargo_build(triple: &str) -> Result<Command, ChipsError> {
    let wanted = Wanted {
        target: triple,
        libraries: "core",
        // A static library is not linked.
        linkers: &[],
        rustc: None,
    };
    let mut command = wanted.cargo("build").ok_or(ChipsError::Missing(
        "Rust for chips (`rustup target add`, or Debian packages rustc-web and rust-web-src)",
    ))?;
    // The library of this target is built for no chip in particular; the compiler asks for one.
    let flags = if triple == "avr-none" {
        "-Ctarget-cpu=atmega328p"
    } else {
        ""
    };
    command
        .arg("--release")
        .env("CARGO_TARGET_DIR", cargo_folder(triple))
        .env("CARGO_TERM_COLOR", "never")
        .env("RUSTFLAGS", flags)
        .env_remove("CARGO_ENCODED_RUSTFLAGS")
        .env_remove("RUSTC_WRAPPER");
    Ok(command)
}

/// Runs a command to its end.
pub(crate) fn call(command: &mut Command) -> Result<Called, ChipsError> {
    let output = command.stdin(Stdio::null()).output()?;
    let called = Called {
        stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
        stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
    };
    if output.status.success() {
        Ok(called)
    } else {
        Err(ChipsError::Refused {
            command: format!("{command:?}"),
            output: format!("{}{}", called.stderr, called.stdout),
        })
    }
}

/// Leaves the time stamp of an equal file alone, so that nothing is compiled again.
fn write_if_new(path: &Path, text: &str) -> Result<(), ChipsError> {
    if fs::read_to_string(path).is_ok_and(|old| old == text) {
        return Ok(());
    }
    Ok(fs::write(path, text)?)
}
