//! The thresholds, with what each is made of.

use serde::Serialize;

use super::by_action::ByAction;
use crate::model::bank::Bank;
use crate::model::bank::Branch;
use crate::node::{Node, SenseKind, Stack};
use crate::printout::table::table;
use crate::text::Engineering;
use crate::thresholds::{Corner, End, Threshold, Thresholds};
use crate::units::*;

/// A resistance of which no least is stated goes down to less than this; an ampere leaves a microvolt on it.
const NEXT_TO_NONE_OHM: f64 = 1e-6;

/// The thresholds as JSON has them: SI units, named in the key.
#[derive(Serialize)]
pub struct View {
    node: String,
    corner: BankView,
    floor_v: f64,
    overvoltage_v: f64,
    stack: &'static str,
    hysteresis_mv: u32,
    /// `divider`: counts rise with storage, and `decide_counts` is the smallest that permits. `reference`: they fall, and it is the largest.
    sense: &'static str,
    /// One count at the overvoltage limit.
    count_v: f64,
    full_scale_v: f64,
    actions: ByAction<ActionView>,
}

#[derive(Serialize)]
struct BankView {
    branches: Vec<BranchView>,
    leakage_s: f64,
}

/// The corner that won an action: its bank, and where that stands.
#[derive(Serialize)]
struct CornerView {
    end: &'static str,
    resistance: Vec<&'static str>,
    capacitance: Vec<&'static str>,
    #[serde(flatten)]
    bank: BankView,
}

#[derive(Serialize)]
struct BranchView {
    capacitance_f: f64,
    capacitance_slope_f_per_v: f64,
    resistance_ohm: f64,
}

#[derive(Serialize)]
struct ActionView {
    start_v: f64,
    start_with_reserve_v: f64,
    decide_mv: u32,
    decide_counts: u32,
    energy_j: f64,
    duration_s: f64,
    airtime_s: f64,
    terms: Vec<TermView>,
    corner: CornerView,
}

#[derive(Serialize)]
struct TermView {
    term: &'static str,
    volts: f64,
}

impl View {
    /// The view of `node`'s thresholds.
    pub fn of(node: &Node, thresholds: &Thresholds) -> Self {
        let action = |threshold: &Threshold| ActionView {
            start_v: threshold.start.get::<volt>(),
            start_with_reserve_v: threshold.start_with_reserve.get::<volt>(),
            decide_mv: threshold.decide_mv,
            decide_counts: threshold.decide_counts,
            energy_j: threshold.energy.get::<joule>(),
            duration_s: threshold.load.duration.get::<second>(),
            airtime_s: threshold.load.on_air.get::<second>(),
            terms: threshold
                .terms
                .iter()
                .map(|term| TermView {
                    term: term.cause.name(),
                    volts: term.voltage.get::<volt>(),
                })
                .collect(),
            corner: CornerView {
                end: end(&threshold.corner),
                resistance: threshold.corner.resistance_words(),
                capacitance: threshold.corner.capacitance_words(),
                bank: BankView::of(&threshold.bank),
            },
        };
        Self {
            node: node.name.clone(),
            corner: BankView::of(&thresholds.corner),
            floor_v: thresholds.floor.get::<volt>(),
            overvoltage_v: thresholds.overvoltage.get::<volt>(),
            stack: match thresholds.stack {
                Stack::WorstCase => "worst-case",
                Stack::RootSumSquare => "root-sum-square",
            },
            hysteresis_mv: thresholds.hysteresis_mv,
            sense: match thresholds.scale.kind {
                SenseKind::Divider => "divider",
                SenseKind::Reference => "reference",
            },
            count_v: thresholds.scale.count_at(thresholds.overvoltage).get::<volt>(),
            full_scale_v: thresholds.scale.full_scale.get::<volt>(),
            actions: ByAction::of(thresholds.actions(), action),
        }
    }
}

impl BankView {
    fn of(bank: &Bank) -> Self {
        let branches = bank.branches.iter().map(|branch| BranchView {
            capacitance_f: branch.capacitance.get::<farad>(),
            capacitance_slope_f_per_v: branch.slope.value,
            resistance_ohm: branch.resistance.get::<ohm>(),
        });
        Self {
            branches: branches.collect(),
            leakage_s: bank.leakage.get::<siemens>(),
        }
    }
}

/// A word for the end of the temperature range.
fn end(corner: &Corner) -> &'static str {
    match corner.end {
        End::Cold => "cold",
        End::Hot => "hot",
    }
}

/// The thresholds as a table: a row for each term, a column for each action.
pub fn text(thresholds: &Thresholds) -> String {
    let actions = thresholds.actions();
    let volts_of = |voltage: Voltage| format!("{:.4} V", voltage.get::<volt>());
    let row = |name: &str, value: &dyn Fn(&Threshold) -> String| -> Vec<String> {
        std::iter::once(name.to_owned())
            .chain(actions.iter().map(|(_, threshold)| value(threshold)))
            .collect()
    };
    let mut rows = vec![row("floor", &|_| volts_of(thresholds.floor))];
    for (index, term) in thresholds.transmit.terms.iter().enumerate() {
        let is_nothing = |threshold: &Threshold| {
            threshold
                .terms
                .get(index)
                .is_none_or(|term| term.voltage == volts(0.0))
        };
        if term.cause.is_optional() && actions.iter().all(|(_, threshold)| is_nothing(threshold)) {
            continue;
        }
        rows.push(row(&format!("+ {}", term.cause.name()), &|threshold| {
            threshold
                .terms
                .get(index)
                .map(|term| volts_of(term.voltage))
                .unwrap_or_default()
        }));
    }
    rows.push(row("= decide", &|threshold| {
        format!("{} mV", threshold.decide_mv)
    }));
    let counts = match thresholds.scale.kind {
        SenseKind::Divider => "decide, raw counts",
        SenseKind::Reference => "decide, raw counts or fewer",
    };
    rows.push(row(counts, &|threshold| threshold.decide_counts.to_string()));
    rows.push(row("start, action alone", &|threshold| volts_of(threshold.start)));
    rows.push(row("start, with reserve", &|threshold| {
        volts_of(threshold.start_with_reserve)
    }));
    rows.push(row("energy from storage", &|threshold| {
        Engineering(threshold.energy, "J").to_string()
    }));
    rows.push(row("duration", &|threshold| {
        Engineering(threshold.load.duration, "s").to_string()
    }));
    rows.push(row("airtime", &|threshold| {
        if threshold.load.on_air > seconds(0.0) {
            Engineering(threshold.load.on_air, "s").to_string()
        } else {
            "-".to_owned()
        }
    }));
    let mut text = table(&["thresholds", "boot", "measure", "transmit"], rows);
    text.push('\n');
    text.push_str(&corners(thresholds));
    text.push_str(&format!(
        "resumes {} mV higher after a refusal\n",
        thresholds.hysteresis_mv
    ));
    if thresholds.stack == Stack::RootSumSquare {
        text.push_str(
            "sensing errors are stacked root-sum-square: of one unit they are systematic and not independent, so some units \
             will read higher than this allows; worst-case allows for all\n",
        );
    }
    text
}

/// The worst corner, in one line where all actions have the same, else a line for each.
fn corners(thresholds: &Thresholds) -> String {
    let line = |bank: &Bank| {
        let branches: Vec<String> = bank.branches.iter().map(corner_text).collect();
        branches.join(", beside ")
    };
    let actions = thresholds.actions();
    let is_one = actions
        .iter()
        .all(|(_, threshold)| threshold.corner == actions[0].1.corner);
    if is_one {
        return format!("worst corner: {}\n", line(&actions[0].1.bank));
    }
    let lines = actions.iter().map(|(name, threshold)| {
        format!(
            "worst corner of {name}: {}; resistance {}, capacitance {}, {} end\n",
            line(&threshold.bank),
            threshold.corner.resistance_words().join(", "),
            threshold.corner.capacitance_words().join(", "),
            end(&threshold.corner)
        )
    });
    lines.collect()
}

/// One branch of the worst corner.
fn corner_text(branch: &Branch) -> String {
    let capacitance = Engineering(branch.capacitance, "F");
    let resistance = if branch.resistance < ohms(NEXT_TO_NONE_OHM) {
        "next to no resistance".to_owned()
    } else {
        Engineering(branch.resistance, "ohm").to_string()
    };
    if branch.slope > farads_per_volt(0.0) {
        let rise = Engineering(branch.slope * volts(1.0), "F");
        return format!("{capacitance} at 0 V and {rise} more with each volt, behind {resistance}");
    }
    format!("{capacitance} behind {resistance}")
}
