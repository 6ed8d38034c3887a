//! Inputs tried: nonsense of ten million bytes, and the fuzzer's corpus, as it is and changed at random.

use std::panic;

use rand::{RngExt as _, SeedableRng as _};
use rand_pcg::Pcg64;

use super::{Extent, Row};
use crate::command::millpond;
use crate::fuzz::TARGETS;
use crate::hostile::{Kind, NONSENSE, try_out};

/// Changes of one input, at most.
const MOST_CHANGES: u32 = 8;

pub(super) fn rows(extent: &Extent) -> Result<Vec<Row>, String> {
    Ok(vec![nonsense()?, changed(extent.changed_inputs)?])
}

fn nonsense() -> Result<Row, String> {
    let command = millpond()?;
    let (mut tried, mut broke) = (0, 0);
    for kind in Kind::ALL {
        for nonsense in NONSENSE {
            let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
            let answer =
                try_out(command, folder.path(), kind, &nonsense).map_err(|error| error.to_string())?;
            tried += 1;
            if let Err(why) = answer {
                broke += 1;
                eprintln!("{kind:?}: {}: {why}", nonsense.name);
            }
        }
    }
    let note = format!(
        "{} sorts of nonsense in {} sorts of file",
        NONSENSE.len(),
        Kind::ALL.len()
    );
    Ok(Row::counted("huge inputs tried", tried, broke, note))
}

fn changed(each: u32) -> Result<Row, String> {
    let (mut tried, mut broke) = (0, 0);
    let hook = panic::take_hook();
    panic::set_hook(Box::new(|_| {}));
    for target in TARGETS {
        let corpus = target
            .corpus()
            .map_err(|error| format!("{}: {error}", target.name))?;
        let corpus: Vec<Vec<u8>> = corpus.into_iter().map(|(_, bytes)| bytes).collect();
        let mut random = Pcg64::seed_from_u64(1);
        let kept = corpus.len();
        for number in 0..kept + each as usize {
            let mut bytes = corpus[number % kept].clone();
            if number >= kept {
                change(&mut bytes, &corpus, &mut random);
            }
            tried += 1;
            if panic::catch_unwind(|| (target.run)(&bytes)).is_err() {
                broke += 1;
                eprintln!("{} panics at {:?}", target.name, String::from_utf8_lossy(&bytes));
            }
        }
    }
    panic::set_hook(hook);
    let note = format!(
        "the corpus of {} fuzzed targets, as it is and changed at random",
        TARGETS.len()
    );
    Ok(Row::counted("inputs tried", tried, broke, note))
}

/// Some bytes changed, taken out, doubled, or taken from another input.
fn change(bytes: &mut Vec<u8>, corpus: &[Vec<u8>], random: &mut Pcg64) {
    for _ in 0..random.random_range(1..=MOST_CHANGES) {
        let at = random.random_range(0..=bytes.len());
        let end = (at + random.random_range(1..=16)).min(bytes.len());
        match random.random_range(0..4) {
            0 if at < bytes.len() => bytes[at] = random.random(),
            1 => drop(bytes.drain(at..end)),
            2 => {
                let piece = bytes[at..end].to_vec();
                bytes.splice(at..at, piece);
            }
            _ => {
                let other = &corpus[random.random_range(0..corpus.len())];
                let from = random.random_range(0..=other.len());
                let to = (from + random.random_range(1..=32)).min(other.len());
                bytes.splice(at..at, other[from..to].iter().copied());
            }
        }
    }
}
