//! Files that are no files of their kind: ten million bytes of one sort of nonsense each, and what the command has to do with them.
//!
//! Whatever it is given, the command ends by itself within [`MOST_CPU_S`] of processor time and [`MOST_MEMORY_KIB`] of memory, with an
//! exit code of its own and a message that a screen can hold. The system keeps the limits: it stops a process that goes beyond.

use std::fs;
use std::io;
use std::path::Path;
use std::process::{Command, Output, Stdio};

/// Length of every input but those at the limit of its kind (bytes).
pub const LENGTH: usize = 10_000_000;
/// Processor time that an answer may take (s): some seconds, on the slowest of machines with checks compiled in.
pub const MOST_CPU_S: u32 = 30;
/// Address space that the process may take (KiB): 1 GiB.
pub const MOST_MEMORY_KIB: u32 = 1 << 20;
/// A message longer than this helps nobody (bytes): a hundred problems with their lines.
pub const MOST_MESSAGE: usize = 100_000;

const MIB: usize = 1 << 20;

/// A sort of file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A node file, at its limit of 1 MiB; longer ones are not read.
    Node,
    /// A node file of ten million bytes.
    LongNode,
    /// A current profile that a node file names.
    Profile,
    /// A trace of income.
    Trace,
    /// A bench log.
    Log,
    /// A discharge of one capacitor.
    Discharge,
    /// A catalogue in CSV, at its limit of 2 MiB.
    Catalogue,
    /// A catalogue in TOML, at its limit.
    TomlCatalogue,
    /// A catalogue of ten million bytes.
    LongCatalogue,
    /// A file that is held against fresh constants, at its limit of 128 KiB.
    Generated,
    /// One of ten million bytes.
    LongGenerated,
}

impl Kind {
    /// Every sort.
    pub const ALL: [Self; 11] = [
        Self::Node,
        Self::LongNode,
        Self::Profile,
        Self::Trace,
        Self::Log,
        Self::Discharge,
        Self::Catalogue,
        Self::TomlCatalogue,
        Self::LongCatalogue,
        Self::Generated,
        Self::LongGenerated,
    ];

    fn length(self) -> usize {
        match self {
            Self::Node => MIB,
            Self::Catalogue | Self::TomlCatalogue => 2 * MIB,
            Self::Generated => MIB / 8,
            _ => LENGTH,
        }
    }

    fn is_toml(self) -> bool {
        matches!(self, Self::Node | Self::LongNode | Self::TomlCatalogue)
    }

    /// The first line that makes the rest rows of such a file.
    fn header(self) -> &'static str {
        match self {
            Self::Profile => "time_s,current_ma\n",
            Self::Trace => "time_s,power_w\n",
            Self::Log => "time_s,storage_mv\n",
            Self::Discharge => "time_s,storage_v\n",
            Self::Catalogue | Self::LongCatalogue => "name,capacitance,esr,rated_voltage,leakage\n",
            Self::Node | Self::LongNode | Self::TomlCatalogue | Self::Generated | Self::LongGenerated => "",
        }
    }

    /// What the command is asked with the file `input`.
    fn arguments(self) -> &'static [&'static str] {
        match self {
            Self::Node | Self::LongNode => &["check", "input"],
            Self::Profile => &["check", "profiled.toml"],
            Self::Trace => &["simulate", "node.toml", "--days", "10", "--trace", "input"],
            Self::Log => &["fit", "node.toml", "input"],
            Self::Discharge => &["cell", "input", "--current", "0.3", "--rated", "3"],
            Self::Catalogue | Self::LongCatalogue => {
                &["size", "node.toml", "--days", "1", "--catalogue", "input"]
            }
            Self::TomlCatalogue => &["size", "node.toml", "--days", "1", "--catalogue", "input.toml"],
            Self::Generated | Self::LongGenerated => &["generate", "node.toml", "--c", "input", "--verify"],
        }
    }

    fn file(self) -> &'static str {
        if self == Self::TomlCatalogue {
            "input.toml"
        } else {
            "input"
        }
    }
}

/// A sort of nonsense.
#[derive(Clone, Copy)]
pub struct Nonsense {
    /// What it is called.
    pub name: &'static str,
    /// Whether rows of it may make a sound file of some kind.
    pub may_be_sound: bool,
    make: fn(Kind, usize) -> Vec<u8>,
}

/// Every sort of nonsense.
pub const NONSENSE: [Nonsense; 27] = [
    never("one huge line", |_, length| repeated("x", length)),
    never("NUL bytes", |_, length| repeated("\0", length)),
    never("all quotes", |_, length| repeated("\"", length)),
    never("a quote on each line", |_, length| repeated("\"\n", length)),
    never("one huge number", |kind, length| after(value(kind), "9", length)),
    never("lists in lists", |kind, length| after(value(kind), "[", length)),
    never("tables in tables", |kind, length| {
        after(value(kind), "{a=", length)
    }),
    never("tables in lists", |kind, length| {
        after(value(kind), "[{a=", length)
    }),
    never("empty tables", |kind, length| after(value(kind), "{},", length)),
    never("a key of keys", |_, length| repeated("a.", length)),
    never("a table of keys", |_, length| after("[", "a.", length)),
    never("wrong escapes", |kind, length| {
        after(if kind.is_toml() { "a = \"" } else { "" }, "\\q", length)
    }),
    never("equals signs", |_, length| repeated("=", length)),
    never("carriage returns", |_, length| repeated("\r", length)),
    never("empty lines", |_, length| repeated("\n", length)),
    never("a comment", |_, length| repeated("#", length)),
    never("one table again and again", |_, length| repeated("[a]\n", length)),
    never("a part again and again", |_, length| {
        repeated("[[part]]\n", length)
    }),
    never("a capacitor again and again", |_, length| {
        repeated("[[storage.capacitor]]\n", length)
    }),
    never("tables of many names", |_, length| {
        numbered(length, |number| format!("[a{number}]\n"))
    }),
    never("random bytes", |_, length| random(length)),
    never("columns without end", |_, length| repeated("a,", length)),
    rows("cells without end", |_, length| repeated(",", length)),
    rows("rows of nothing", |_, length| repeated(",\n", length)),
    rows("short rows", |kind, length| {
        numbered(length, |number| {
            if kind.is_toml() {
                format!("a{number}=1\n")
            } else {
                format!("{number},1\n")
            }
        })
    }),
    rows("huge numbers", |kind, length| {
        numbered(length, |number| {
            if kind.is_toml() {
                format!("a{number}=1e308\n")
            } else {
                format!("{number},1e308\n")
            }
        })
    }),
    rows("one row again and again", |_, length| repeated("0,1\n", length)),
];

const fn never(name: &'static str, make: fn(Kind, usize) -> Vec<u8>) -> Nonsense {
    Nonsense {
        name,
        may_be_sound: false,
        make,
    }
}

const fn rows(name: &'static str, make: fn(Kind, usize) -> Vec<u8>) -> Nonsense {
    Nonsense {
        name,
        may_be_sound: true,
        make,
    }
}

fn value(kind: Kind) -> &'static str {
    if kind.is_toml() { "a = " } else { "" }
}

fn repeated(text: &str, length: usize) -> Vec<u8> {
    text.bytes().cycle().take(length).collect()
}

fn after(start: &str, text: &str, length: usize) -> Vec<u8> {
    start.bytes().chain(text.bytes().cycle()).take(length).collect()
}

fn numbered(length: usize, line: impl Fn(usize) -> String) -> Vec<u8> {
    (0..)
        .flat_map(|number| line(number).into_bytes())
        .take(length)
        .collect()
}

/// The same bytes each time.
fn random(length: usize) -> Vec<u8> {
    use rand::{Rng as _, SeedableRng as _};
    let mut bytes = vec![0; length];
    rand_pcg::Pcg64::seed_from_u64(1).fill_bytes(&mut bytes);
    bytes
}

impl Nonsense {
    /// The whole file of a kind: rows below a header where it has one, so that rows are looked at.
    fn file(&self, kind: Kind) -> Vec<u8> {
        let mut bytes = Vec::new();
        if self.name != "columns without end" {
            bytes.extend(kind.header().bytes());
        }
        let left = kind.length() - bytes.len();
        bytes.extend((self.make)(kind, left));
        bytes
    }
}

/// What is wrong with the command's answer to nonsense in a file of a kind; `folder` is empty and may be filled.
///
/// # Errors
///
/// If the files cannot be written or the command not be started.
pub fn try_out(
    command: &Path,
    folder: &Path,
    kind: Kind,
    nonsense: &Nonsense,
) -> io::Result<Result<(), String>> {
    const NODE: &str = millpond_templates::nodes::PUMP_BEARING;
    fs::write(folder.join("node.toml"), NODE)?;
    fs::write(folder.join("profiled.toml"), profiled(NODE))?;
    fs::write(folder.join(kind.file()), nonsense.file(kind))?;
    // SIGXCPU or a failed allocation end it, neither of which is an exit code of ours.
    let limits = format!("ulimit -t {MOST_CPU_S}; ulimit -v {MOST_MEMORY_KIB}; exec \"$0\" \"$@\"");
    let output = Command::new("sh")
        .args(["-c", &limits])
        .arg(command)
        .args(kind.arguments())
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()?;
    Ok(judged(&output, nonsense))
}

fn judged(output: &Output, nonsense: &Nonsense) -> Result<(), String> {
    let said = String::from_utf8_lossy(&output.stderr);
    let start: String = said.chars().take(300).collect();
    match output.status.code() {
        Some(1 | 2) if said.trim().is_empty() => Err("refused without a word".to_owned()),
        Some(1 | 2) if said.len() > MOST_MESSAGE => Err(format!("{} bytes of message: {start}", said.len())),
        Some(1 | 2) => Ok(()),
        Some(0) if nonsense.may_be_sound => Ok(()),
        _ => Err(format!("{}: {start}", output.status)),
    }
}

/// The node with a profile in the place of the one phase of its measurement.
fn profiled(node: &str) -> String {
    let line = |line: &str| line.starts_with("phases = [{") && line.ends_with("}]");
    let lines = node
        .lines()
        .map(|text| if line(text) { "profile = \"input\"" } else { text });
    lines.collect::<Vec<_>>().join("\n")
}
