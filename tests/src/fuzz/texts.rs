//! Files of people: any text is read or refused with a message that can be shown, and what is read is sound.

use millpond::budget::Budget;
use millpond::cell::Cell;
use millpond::findings;
use millpond::fit::{Fit, Known};
use millpond::log::Log;
use millpond::node::{Node, NodeFile, Source};
use millpond::policy;
use millpond::problem::Problems;
use millpond::record;
use millpond::size::catalogue;
use millpond::thresholds::Thresholds;
use millpond::units::*;

/// Rows of a log that is fitted, not only read: a fit of more takes long and shows nothing new.
const MOST_FITTED_ROWS: usize = 500;
/// Pieces of an income that are looked at.
const PIECES: usize = 100;
/// The nodes of `templates/nodes`: their sources are solar, indoor and constant.
const NODES: [&str; 3] = [
    millpond_templates::nodes::CRACK_GAUGE,
    millpond_templates::nodes::DISPLAY_CASE,
    millpond_templates::nodes::PUMP_BEARING,
];

/// The first byte chooses, the rest is the text.
fn split(bytes: &[u8]) -> (u8, String) {
    match bytes.split_first() {
        Some((first, rest)) => (*first, String::from_utf8_lossy(rest).into_owned()),
        None => (0, String::new()),
    }
}

fn example(choice: u8) -> Node {
    match NODES
        .get(usize::from(choice) % NODES.len())
        .map(|text| Node::read(text))
    {
        Some(Ok(node)) => node,
        _ => panic!("the examples are sound"),
    }
}

/// A refusal names at least one fault, and can be shown.
fn is_shown(problems: &Problems) {
    assert!(!problems.list.is_empty());
    assert!(problems.render(true).contains("refused"));
}

pub(super) fn node(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    // Profiles are looked for where there are none.
    let file = match NodeFile::parse("node.toml", &text, "/nowhere") {
        Ok(file) => file,
        Err(problems) => return is_shown(&problems),
    };
    let node = &file.node;
    let (budget, thresholds) = (Budget::of(node), Thresholds::of(node));
    let findings = findings::without_cures(node, &budget, &thresholds);
    if findings
        .iter()
        .all(|finding| finding.severity != findings::Severity::Error)
    {
        // Findings are there so that this never fails.
        if let Err(rejected) = policy::policy(node, &thresholds) {
            panic!("no finding, and yet: {}", rejected.text());
        }
    }
}

pub(super) fn trace(bytes: &[u8]) {
    let (choice, text) = split(bytes);
    let source = if choice % 4 == 3 {
        Source::Trace
    } else {
        example(choice).harvest.source
    };
    match record::parse("trace.csv", &text, &source) {
        Ok(income) => {
            let mut now_s = 0.0;
            for piece in income.segments().take(PIECES) {
                assert!(piece.until_s > now_s, "time stands still at {now_s}");
                assert!(piece.power >= watts(0.0) && piece.power.is_finite());
                now_s = piece.until_s;
            }
        }
        Err(problems) => is_shown(&problems),
    }
}

pub(super) fn log(bytes: &[u8]) {
    let (choice, text) = split(bytes);
    let log = match Log::parse("log.csv", &text) {
        Ok(log) => log,
        Err(problems) => return is_shown(&problems),
    };
    assert!(log.len() >= 2 && log.duration_s() > 0.0);
    assert!(log.time_s.windows(2).all(|pair| pair[0] <= pair[1]));
    if log.len() <= MOST_FITTED_ROWS {
        let fit = Fit::of(&example(choice), &log, &Known::NOTHING);
        for parameter in &fit.parameters {
            assert!(parameter.value.is_none_or(f64::is_finite), "{}", parameter.name);
        }
    }
}

pub(super) fn catalogue(bytes: &[u8]) {
    let (choice, text) = split(bytes);
    let own = example(choice >> 1).storage.remove(0);
    let parts = if choice & 1 == 0 {
        catalogue::from_csv("parts.csv", &text, &own)
    } else {
        catalogue::from_toml("parts.toml", &text, &own)
    };
    match parts {
        Ok(parts) => {
            assert!(!parts.is_empty());
            for part in &parts {
                assert!(
                    part.capacitor.capacitance > farads(0.0) && part.price.is_none_or(|price| price >= 0.0)
                );
            }
        }
        Err(problems) => is_shown(&problems),
    }
}

pub(super) fn discharge(bytes: &[u8]) {
    let (choice, text) = split(bytes);
    let current = amperes(0.01 * f64::from(choice) + 0.001);
    match Cell::parse("cell.csv", &text, current, volts(3.0)) {
        Ok(cell) => assert!(cell.capacitance.value > farads(0.0) && cell.capacitance.value.is_finite()),
        Err(problems) => is_shown(&problems),
    }
}
