//! The generated headers under the compilers of firmware projects, every warning an error.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use millpond_policy::Rejected;
use millpond_tests::tool::{self, Tool};

/// Folder that the build script wrote the headers into.
const HEADERS: &str = env!("OUT_DIR");
const NODES: [&str; 8] = [
    "crack_gauge",
    "pump_bearing",
    "display_case",
    "smallest",
    "largest",
    "planned_0",
    "planned_1",
    "planned_2",
];
const WARNINGS: [&str; 8] = [
    "-Wall",
    "-Wextra",
    "-Wpedantic",
    "-Wconversion",
    "-Wsign-conversion",
    "-Wshadow",
    "-Wundef",
    "-Werror",
];
/// Each compiler with the suffix that makes it read the language, and the dialects.
const COMPILERS: [(&str, &str, &[&str]); 2] = [
    ("gcc", "c", &["c99", "c11", "c17"]),
    ("g++", "cpp", &["c++11", "c++17"]),
];

/// Those that are there: Rust links with a C compiler, and nothing here needs one for C++. Where `CI` is set none may be missing.
fn compilers() -> Vec<(&'static str, &'static str, &'static [&'static str])> {
    let mut compilers = COMPILERS.to_vec();
    compilers.retain(|(compiler, _, _)| {
        let found = Tool::find(&[*compiler], &["--version"]);
        tool::announce(found.as_ref(), compiler);
        found.is_some() || std::env::var_os("CI").is_some() || *compiler == "gcc"
    });
    compilers
}

/// Compiles `source`, without linking, against the headers in `folder`. A missing compiler is a failure.
fn compile(compiler: &str, dialect: &str, folder: &Path, source: &Path) -> Output {
    Command::new(compiler)
        .args(WARNINGS)
        .args(["-ffreestanding", "-O1", "-S", "-o", "/dev/null"])
        .arg(format!("-std={dialect}"))
        .arg("-I")
        .args([folder, source])
        .output()
        .unwrap_or_else(|error| panic!("{compiler} is needed for this test: {error}"))
}

#[test]
fn headers_compile_without_a_warning_in_every_dialect() {
    let folder = tempfile::tempdir().expect("a folder");
    let include = |node: &str| format!("#include \"{node}.h\"\n");
    let all: String = NODES.iter().map(|node| include(node)).collect();
    let twice = format!("{0}{0}", include("crack_gauge"));
    let sample = "#include <stdint.h>\nstruct sample { uint16_t width_um; uint8_t flags; };\n\
                  #define CRACK_GAUGE_SAMPLE struct sample\n#include \"crack_gauge.h\"\n\
                  struct sample newest(struct crack_gauge_backlog *backlog, struct sample sample);\n\
                  struct sample newest(struct crack_gauge_backlog *backlog, struct sample sample)\n\
                  { crack_gauge_backlog_push(backlog, sample); (void)crack_gauge_backlog_pop(backlog, &sample); \
                  return sample; }\n";
    let ticks = |per_s: &str| {
        format!(
            "#define CRACK_GAUGE_TICKS_PER_S {per_s}\n#define CRACK_GAUGE_TICK_BITS 24\n\
             #define PUMP_BEARING_TICKS_PER_S {per_s}\n#include \"crack_gauge.h\"\n#include \"pump_bearing.h\"\n\
             uint32_t slept_s(struct crack_gauge_ticks *ticks, uint32_t now_ticks);\n\
             uint32_t slept_s(struct crack_gauge_ticks *ticks, uint32_t now_ticks)\n\
             {{ return crack_gauge_elapsed_s(ticks, now_ticks); }}\n"
        )
    };
    let sources = NODES
        .iter()
        .map(|node| include(node))
        .chain([all, twice, sample.to_owned()])
        .chain(["1", "1000", "32768u", "4294967295UL"].map(ticks));
    let compilers = compilers();
    for (index, text) in sources.enumerate() {
        for (compiler, suffix, dialects) in &compilers {
            let source = folder.path().join(format!("source{index}.{suffix}"));
            fs::write(&source, &text).expect("written");
            for dialect in *dialects {
                let output = compile(compiler, dialect, Path::new(HEADERS), &source);
                let messages = String::from_utf8_lossy(&output.stderr);
                assert!(
                    output.status.success() && messages.is_empty(),
                    "{compiler} {dialect}:\n{text}\n{messages}"
                );
            }
        }
    }
}

/// The header refuses ticks that `Ticks` refuses, in the same words.
#[test]
fn ticks_out_of_range_stop_the_compiler() {
    let second = "a second must have at least 1 tick";
    let counter = "a tick counter must have 1 to 32 bits";
    let folder = tempfile::tempdir().expect("a folder");
    for (per_s, bits, words) in [
        ("0", "32", second),
        ("1000", "0", counter),
        ("1000", "33", counter),
        ("4294967296", "32", "a constant does not fit its type"),
    ] {
        let source = folder.path().join("ticks.c");
        let text = format!(
            "#define CRACK_GAUGE_TICKS_PER_S {per_s}\n#define CRACK_GAUGE_TICK_BITS {bits}\n#include \"crack_gauge.h\"\n"
        );
        fs::write(&source, text).expect("written");
        let output = compile("gcc", "c99", Path::new(HEADERS), &source);
        let messages = String::from_utf8_lossy(&output.stderr);
        assert!(
            !output.status.success() && messages.contains(words),
            "{per_s} ticks, {bits} bits:\n{messages}"
        );
    }
}

/// The header refuses what `Policy::new` refuses, in the same words.
#[test]
fn each_broken_rule_stops_the_compiler() {
    let broken: [(Rejected, &[(&str, &str)]); Rejected::ALL.len()] = [
        (
            Rejected::EnergyShiftTooLarge,
            &[("ENERGY_SHIFT_AFTER_BITS", "32")],
        ),
        (Rejected::EnergyScaleZero, &[("ENERGY_SCALE", "0")]),
        (Rejected::FullBelowFloor, &[("FULL_MV", "2345")]),
        (Rejected::EnergyOverflow, &[("ENERGY_SHIFT_BEFORE_BITS", "0")]),
        (Rejected::MeasureTooHigh, &[("MEASURE_MV", "65496")]),
        (Rejected::TransmitTooHigh, &[("TRANSMIT_MV", "65496")]),
        (Rejected::MeasureBelowFloor, &[("MEASURE_MV", "2345")]),
        (Rejected::TransmitBelowFloor, &[("TRANSMIT_MV", "2345")]),
        (Rejected::BatchZero, &[("BATCH_SAMPLES", "0")]),
        (Rejected::BatchAboveBacklog, &[("BATCH_SAMPLES", "33")]),
        (
            Rejected::OffTimeTooLong,
            &[("OFF_TIME_S", "65535"), ("SPACING_S", "65535")],
        ),
        (Rejected::SpacingBelowOffTime, &[("SPACING_S", "19")]),
        (Rejected::RetryZero, &[("RETRY_S", "0")]),
        (Rejected::PaceZero, &[("PACE_1_WAIT_S", "0")]),
        (Rejected::PaceUnsorted, &[("PACE_4_FROM_MV", "4200")]),
        (Rejected::PaceFasterWhenLower, &[("PACE_4_WAIT_S", "134")]),
        (Rejected::PaceOpenBelow, &[("PACE_12_FROM_MV", "1")]),
        (Rejected::CountShiftTooLarge, &[("COUNT_SHIFT_BITS", "32")]),
        (Rejected::CountOverflow, &[("COUNT_SCALE", "4198405")]),
        (Rejected::IncomeShiftTooLarge, &[("INCOME_SHIFT_BITS", "17")]),
    ];
    assert_eq!(broken.map(|(rejected, _)| rejected), Rejected::ALL);
    refuses_each("example", &broken);
}

/// The same for `Plan::new`.
#[test]
fn each_broken_rule_of_a_plan_stops_the_compiler() {
    let of_energy: [(Rejected, &[(&str, &str)]); 4] = [
        (
            Rejected::EnergyShiftTooLarge,
            &[("PLAN_ENERGY_SHIFT_BEFORE_BITS", "32")],
        ),
        (Rejected::EnergyScaleZero, &[("PLAN_ENERGY_SCALE", "0")]),
        (Rejected::FullBelowFloor, &[("PLAN_FULL_MV", "2299")]),
        (
            Rejected::EnergyOverflow,
            &[("PLAN_ENERGY_SHIFT_BEFORE_BITS", "0")],
        ),
    ];
    let broken: [(Rejected, &[(&str, &str)]); Rejected::OF_PLAN.len()] = [
        (Rejected::UnitShiftTooLarge, &[("PLAN_UNIT_SHIFT_BITS", "17")]),
        (Rejected::PlanTooFull, &[("PLAN_FULL_UNITS", "32768")]),
        (Rejected::PlanAboveFull, &[("PLAN_TARGET_UNITS", "22266")]),
        (Rejected::PlanSampleCost, &[("PLAN_SAMPLE_UNIT_S", "89478486")]),
        (Rejected::PlanGrowth, &[("PLAN_GROWTH", "63")]),
        (Rejected::PlanFastest, &[("PLAN_FASTEST_S", "3601")]),
        // Two hours of it above the full bank's 11,399,680 uJ are 4833 uJ beyond what 31 bits hold.
        (Rejected::PlanEnergyOverflow, &[("PLAN_SLEEP_UW", "296679")]),
    ];
    let of_the_other_end: [(Rejected, &[(&str, &str)]); 3] = [
        (Rejected::PlanAboveFull, &[("PLAN_RESERVE_UNITS", "22266")]),
        (Rejected::PlanSampleCost, &[("PLAN_SAMPLE_UNIT_S", "0")]),
        (Rejected::PlanFastest, &[("PLAN_FASTEST_S", "0")]),
    ];
    assert_eq!(broken.map(|(rejected, _)| rejected), Rejected::OF_PLAN);
    refuses_each("planned_0", &of_energy);
    refuses_each("planned_0", &of_the_other_end);
    refuses_each("planned_0", &broken);
}

/// Compiles the header of `node` with each set of changes, and wants the words of the rule.
fn refuses_each(node: &str, broken: &[(Rejected, &[(&str, &str)])]) {
    let folder = tempfile::tempdir().expect("a folder");
    let source = folder.path().join("source.c");
    let name = format!("{node}.h");
    fs::write(&source, format!("#include \"{name}\"\n")).expect("written");
    let good = fs::read_to_string(Path::new(HEADERS).join(&name)).expect("the build script wrote it");
    for (rejected, changes) in broken {
        let mut header = good.clone();
        for (constant, value) in *changes {
            header = with_constant(&header, &format!("{}_{constant}", node.to_uppercase()), value);
        }
        fs::write(folder.path().join(&name), header).expect("written");
        let output = compile("gcc", "c99", folder.path(), &source);
        let messages = String::from_utf8_lossy(&output.stderr);
        assert!(!output.status.success(), "{rejected:?} compiled");
        let expected = format!("#error \"millpond: {}\"", rejected.text());
        assert!(messages.contains(&expected), "{rejected:?}: {messages}");
    }
}

fn with_constant(header: &str, constant: &str, value: &str) -> String {
    let name = format!("#define {constant} ");
    let start = header.find(&name).expect("the constant is in the header") + name.len();
    let end = start + header[start..].find('\n').expect("a line ends");
    format!("{}{value}u{}", &header[..start], &header[end..])
}
