//! Witness: the build tools of firmware projects. Each project of docs/embedding is built in a copy, runs, is built again
//! when its node file changes, and stops with the tool's own words when the node is refused.
//!
//! Run with `cargo test -p millpond-tests --test embedding`; one project with `-- make`.

mod project;

use std::path::Path;

use libtest_mimic::{Arguments, Failed, Trial};
use millpond::log::Log;
use millpond::node::NodeFile;
use millpond::units::*;
use millpond_tests::command::ROOT;
use millpond_tests::tool::{self, Tool};
use project::{Kind, NODE, Project};

/// A change that makes a report dearer: what stands in the node file, and what is put in its place.
const LONGER_REPORT: (&str, &str) = ("payload_bytes = 21", "payload_bytes = 60");
/// A node that can never send: the finding is an error.
const TOO_SMALL: (&str, &str) = ("capacitance = \"1.0 F\"", "capacitance = \"22 mF\"");
/// A slip in the file: no node at all.
const WRONG_UNIT: (&str, &str) = ("esr = \"2.2 ohm\"", "esr = \"2.2 mF\"");
/// Head of the bench log that firmware writes and a fit reads.
const LOG_HEAD: &str = "time_s,storage_mv,count,event";
/// What docs/embedding.md takes for the converter's sampling capacitor, a buffer capacitor at its pin, the pin's leakage, and a dip.
const SAMPLING_F: f64 = 12e-12;
const BUFFER_F: f64 = 100e-9;
const PIN_A: f64 = 10e-9;
const DIP_V: f64 = 0.5;

fn main() {
    let make = Needed::find("make", "make (Debian package make)");
    let cmake = Needed::find("cmake", "cmake (Debian package cmake)");
    let cargo = Needed::find("cargo", "cargo");
    let trials = vec![
        make.trial("make rebuilds", || rebuilds(Kind::Make)),
        cmake.trial("cmake rebuilds", || rebuilds(Kind::Cmake)),
        cargo.trial("cargo rebuilds", || rebuilds(Kind::Cargo)),
        cargo.trial("cargo tests the firmware", the_crate_tests_itself),
        make.trial("make and cargo agree", c_and_rust_write_the_same_log),
        Trial::test("the page settles its divider", the_page_settles_its_divider),
    ];
    libtest_mimic::run(&Arguments::from_args(), trials).exit();
}

/// A tool that some trials need.
struct Needed {
    tool: Option<Tool>,
    what: &'static str,
}

impl Needed {
    fn find(program: &str, what: &'static str) -> Self {
        let tool = Tool::find(&[program], &["--version"]);
        tool::announce(tool.as_ref(), what);
        Self { tool, what }
    }

    fn trial(&self, name: &str, check: impl FnOnce() -> Result<(), Failed> + Send + 'static) -> Trial {
        tool::trial(name.to_owned(), self.tool.as_ref(), self.what, |_| check())
    }
}

fn rebuilds(kind: Kind) -> Result<(), Failed> {
    let project = Project::copy(kind)?;
    build(&project)?;
    let original = project.log()?;
    keeps_its_thresholds(&project, &original)?;

    let linked = project.linked()?;
    build(&project)?;
    ensure(project.linked()? == linked, "it was built again without a cause")?;

    project.change_node(LONGER_REPORT.0, LONGER_REPORT.1)?;
    build(&project)?;
    let changed = project.log()?;
    keeps_its_thresholds(&project, &changed)?;
    ensure(
        original != changed,
        "the node file changed, and the firmware did not",
    )?;

    project.change_node(LONGER_REPORT.1, LONGER_REPORT.0)?;
    for (old, new) in [TOO_SMALL, WRONG_UNIT] {
        project.change_node(old, new)?;
        is_refused(&project)?;
        // A build that stopped must not count as done.
        is_refused(&project)?;
        project.change_node(new, old)?;
    }
    build(&project)?;
    ensure(
        project.log()? == original,
        "the same node file, and another firmware",
    )
}

fn the_crate_tests_itself() -> Result<(), Failed> {
    let project = Project::copy(Kind::Cargo)?;
    for arguments in [&["test"][..], &["build", "--no-default-features", "--lib"]] {
        let done = project.cargo(arguments)?;
        ensure(done.succeeded, &done.text)?;
    }
    Ok(())
}

/// The same loop in two languages, over stores that are modelled apart: in C beside the firmware, in Rust by the test kit.
fn c_and_rust_write_the_same_log() -> Result<(), Failed> {
    let (c, rust) = (Project::copy(Kind::Make)?, Project::copy(Kind::Cargo)?);
    build(&c)?;
    build(&rust)?;
    let (c, rust) = (c.log()?, rust.log()?);
    for (row, (c, rust)) in c.lines().zip(rust.lines()).enumerate() {
        ensure(c == rust, &format!("row {row}: {c} in C, {rust} in Rust"))?;
    }
    ensure(c == rust, "one log is longer than the other")
}

/// The numbers of docs/embedding.md follow from the example node, by R = top·bottom/(top + bottom) and
/// 1 part in 2^(bits + 1) = exp(−t/(R·C)).
fn the_page_settles_its_divider() -> Result<(), Failed> {
    let root = Path::new(ROOT);
    let page = std::fs::read_to_string(root.join("docs/embedding.md"))?;
    let sense = NodeFile::load(root.join(NODE))?.node.sense;
    let (top_ohm, bottom_ohm) = (sense.divider_top.get::<ohm>(), sense.divider_bottom.get::<ohm>());
    let source_ohm = top_ohm * bottom_ohm / (top_ohm + bottom_ohm);
    let half_counts = f64::from(2_u32.pow(sense.bits + 1));
    let sampling_s = source_ohm * SAMPLING_F * half_counts.ln();
    let buffer_s = source_ohm * BUFFER_F;
    let count_v = sense.reference.get::<volt>() / 2_f64.powi(sense.bits as i32);
    let dip_counts = DIP_V * bottom_ohm / (top_ohm + bottom_ohm) / (count_v / 2.0);
    let taken_counts = SAMPLING_F / BUFFER_F * half_counts / 2.0;
    let pin_v = PIN_A * source_ohm * (top_ohm + bottom_ohm) / bottom_ohm;
    for said in [
        format!("behind {:.1} kΩ", source_ohm / 1e3),
        format!("that is {:.0} µs", sampling_s * 1e6),
        format!("= {:.0} ms", buffer_s * 1e3),
        format!("{:.2} s until half a count", buffer_s * dip_counts.ln()),
        format!("switched on, {:.2} s", buffer_s * half_counts.ln()),
        format!("{taken_counts:.2} counts"),
        format!("by {:.0} mV at the terminal", pin_v * 1e3),
    ] {
        ensure(
            page.contains(&said),
            &format!("docs/embedding.md does not say: {said}"),
        )?;
    }
    Ok(())
}

fn build(project: &Project) -> Result<(), Failed> {
    let built = project.build()?;
    ensure(built.succeeded, &built.text)
}

/// The build stops, and shows what the tool says.
fn is_refused(project: &Project) -> Result<(), Failed> {
    let refusal = match millpond::generate(project.node()) {
        Ok(_) => return Err("the node was to be refused".into()),
        Err(refusal) => refusal.to_string(),
    };
    let first = refusal.lines().next().unwrap_or_default();
    let built = project.build()?;
    ensure(!built.succeeded, "a refused node was built")?;
    ensure(
        first.starts_with("error") && built.text.contains(first),
        &format!("want {first}, got\n{}", built.text),
    )
}

/// Every action of the log was taken at or above its threshold, and reports were sent.
fn keeps_its_thresholds(project: &Project, log: &str) -> Result<(), Failed> {
    let generated = millpond::generate(project.node())?;
    let parts = generated.constants.parts;
    let mut lines = log.lines();
    ensure(lines.next() == Some(LOG_HEAD), "the log has another head")?;
    is_read_without_a_remark(log)?;
    let mut reports = 0;
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        let [_, storage_mv, count, event] = cells[..] else {
            return Err(format!("not a row: {line}").into());
        };
        let least_mv = match event {
            "measure" => parts.measure_mv,
            "transmit" => parts.transmit_mv,
            _ => 0,
        };
        ensure(storage_mv.parse::<u16>()? >= least_mv, line)?;
        reports = count.parse::<u16>()?;
    }
    ensure(reports > 0, "no report was sent")
}

/// What the firmware writes, `fit` reads: no row and no word of the log is passed over.
fn is_read_without_a_remark(log: &str) -> Result<(), Failed> {
    let read = Log::parse("bench.csv", log)?;
    let remarks = format!("{:?}{:?}", read.skipped_rows, read.skipped_events);
    ensure(read.skipped == 0 && read.skipped_events.is_empty(), &remarks)?;
    ensure(
        read.len() == log.lines().count() - 1,
        "a row of the log is missing",
    )
}

fn ensure(holds: bool, otherwise: &str) -> Result<(), Failed> {
    if holds { Ok(()) } else { Err(otherwise.into()) }
}
