//! Faults injected: the command killed or without room while it writes, and retained memory that lost power half way.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use millpond_policy::{Outage, Policy, RETAINED_BYTES, Reading, State};

use super::{Extent, Row};
use crate::command::millpond;

const NODE: &str = millpond_templates::nodes::CRACK_GAUGE;
const OLD: &str = "as it was\n";
/// Sizes at which the disk is full (blocks of 512 bytes); the header has some forty.
const FULL_AT: std::ops::Range<u32> = 0..60;
/// States whose copies are damaged.
const STATES: u32 = 20;

pub(super) fn rows(extent: &Extent) -> Result<Vec<Row>, String> {
    Ok(vec![
        files(extent.kills).map_err(|error| error.to_string())??,
        memory(),
    ])
}

/// The header is the old one or the new one, whatever ends the command.
fn files(kills: u32) -> std::io::Result<Result<Row, String>> {
    let command = match millpond() {
        Ok(command) => command,
        Err(error) => return Ok(Err(error)),
    };
    let folder = tempfile::tempdir()?;
    fs::write(folder.path().join("node.toml"), NODE)?;
    let out = folder.path().join("out");
    generate(command, folder.path()).status()?;
    let new = fs::read_to_string(&out)?;
    let mut broke = 0;
    let mut judge = || -> std::io::Result<()> {
        let text = fs::read_to_string(&out)?;
        broke += u64::from(text != OLD && text != new);
        fs::write(&out, OLD)
    };
    judge()?;
    for number in 0..kills {
        let mut child = generate(command, folder.path()).spawn()?;
        std::thread::sleep(Duration::from_micros(u64::from(number % 50) * 500));
        child.kill()?;
        child.wait()?;
        judge()?;
    }
    for blocks in FULL_AT {
        // A write beyond the size fails where the signal is ignored, and kills where it is not.
        for setting in ["trap '' XFSZ;", ""] {
            Command::new("sh")
                .args([
                    "-c",
                    &format!("{setting} ulimit -f {blocks}; exec \"$0\" generate node.toml --c out --force"),
                ])
                .arg(command)
                .current_dir(folder.path())
                .stderr(Stdio::null())
                .status()?;
            judge()?;
        }
    }
    let tried = u64::from(kills + 2 * FULL_AT.len() as u32);
    Ok(Ok(Row::counted(
        "faults while writing",
        tried,
        broke,
        "kills at any moment, disks full at any size: the file is the old one or the new one",
    )))
}

fn generate(command: &Path, folder: &Path) -> Command {
    let mut generate = Command::new(command);
    generate
        .args(["generate", "node.toml", "--c", "out", "--force"])
        .current_dir(folder)
        .stderr(Stdio::null());
    generate
}

/// A copy that is cut short, or has up to two wrong bits, gives the cold start; one torn over the copy before it that one, the new
/// one or the cold start, in whatever order its bytes are written.
fn memory() -> Row {
    let policy = Policy::EXAMPLE;
    let cold = State::cold_start(&policy);
    let (mut tried, mut broke) = (0, 0);
    let mut state = cold;
    let mut before = cold;
    for number in 0..STATES {
        let reading = Reading {
            storage_mv: 5_000,
            elapsed_s: 7 + number,
            waiting: number as u8,
        };
        let _ = millpond_policy::decide(&policy, &mut state, reading);
        let copy = state.pack(&policy);
        let mut judge = |damaged: &[u8]| {
            tried += 1;
            broke += u64::from(State::unpack(&policy, damaged, Outage::Seconds(0)) != cold);
        };
        for length in 0..RETAINED_BYTES {
            judge(&copy[..length]);
        }
        for first in 0..RETAINED_BYTES * 8 {
            for second in first..RETAINED_BYTES * 8 {
                let mut damaged = copy;
                damaged[first / 8] ^= 1 << (first % 8);
                if second != first {
                    damaged[second / 8] ^= 1 << (second % 8);
                }
                judge(&damaged);
            }
        }
        let old = before.pack(&policy);
        for chosen in 0_u32..1 << RETAINED_BYTES {
            let torn: [u8; RETAINED_BYTES] =
                std::array::from_fn(|place| if chosen >> place & 1 == 1 { copy } else { old }[place]);
            let restored = State::unpack(&policy, &torn, Outage::Seconds(0));
            tried += 1;
            broke += u64::from(![cold, before, state].contains(&restored));
        }
        before = state;
    }
    Row::counted(
        "faults in retained memory",
        tried,
        broke,
        "copies cut short or torn in any order, one or two bits wrong: the new state, the old one or a cold start",
    )
}
