//! Discharges whose truth is known, and blocks read back.

use proptest::prelude::*;
use rand::SeedableRng;
use rand_pcg::Pcg64;

use super::*;
use crate::node::{self, Node};
use crate::statistics::normal;

/// Iteration and differences of numbers of like size, relative.
const EXACT: f64 = 1e-6;
/// The same of a resistance whose drop is a few thousandths of the voltages it is the difference of.
const DROP: f64 = 1e-3;
/// What a local straight line may add to a mean capacitance (`CROSSING_HALF_WIDTH` says why), relative.
const LOCAL_LINE: f64 = 5e-4;

/// A cell C0 + k·u behind R at the current I, charged to U.
#[derive(Clone, Copy, Debug)]
pub(super) struct Truth {
    pub(super) low_f: f64,
    pub(super) slope_f_per_v: f64,
    pub(super) resistance_ohm: f64,
    pub(super) current_a: f64,
    pub(super) rated_v: f64,
}

/// How soon after the current begins a row follows where its time is to leave nothing open, as a part of the discharge.
const AT_ONCE: f64 = 1e-9;

/// About the make of the measured cells.
const USUAL: Truth = Truth {
    low_f: 21.8,
    slope_f_per_v: 2.1,
    resistance_ohm: 0.025,
    current_a: 3.0,
    rated_v: 3.0,
};

impl Truth {
    pub(super) fn full_c(&self) -> f64 {
        (self.low_f + self.slope_f_per_v * self.rated_v / 2.0) * self.rated_v
    }

    /// The terminal so long after the current began.
    pub(super) fn storage_v(&self, time_s: f64) -> f64 {
        let charge_c = self.full_c() - self.current_a * time_s;
        line::voltage_v(charge_c, self.low_f, self.slope_f_per_v).expect("charge")
            - self.current_a * self.resistance_ohm
    }

    /// The file of it in so many rows down to nothing, the second at once after the current, with an error on each reading.
    fn csv(&self, rows: u32, mut error_v: impl FnMut() -> f64) -> String {
        let mut text = format!("time_s,storage_v\n0,{}\n", self.rated_v + error_v());
        let length_s = self.full_c() / self.current_a;
        let parts = (1..rows).map(|row| f64::from(row) / f64::from(rows));
        for part in std::iter::once(AT_ONCE).chain(parts) {
            let time_s = length_s * part;
            let storage_v = self.storage_v(time_s) + error_v();
            text.push_str(&format!("{time_s},{storage_v}\n"));
        }
        text
    }

    pub(super) fn parse(&self, text: &str) -> Result<Cell, Problems> {
        Cell::parse("bench.csv", text, amperes(self.current_a), volts(self.rated_v))
    }

    fn cell(&self, rows: u32) -> Cell {
        self.parse(&self.csv(rows, || 0.0)).expect("a discharge")
    }

    /// From 80 to 40 % at the terminal, by hand: I·R higher, so C0 + k·(0.6·U + I·R).
    fn standard_f(&self) -> f64 {
        self.low_f + self.slope_f_per_v * (0.6 * self.rated_v + self.current_a * self.resistance_ohm)
    }
}

fn slope_of(cell: &Cell) -> f64 {
    (cell.capacitance_slope.value * volts(1.0)).get::<farad>()
}

/// 10 F behind 50 mΩ at 1 A: 1 s takes 0.1 V, and the current 50 mV at once.
#[test]
fn a_constant_capacitance_is_as_by_hand() {
    let truth = Truth {
        low_f: 10.0,
        slope_f_per_v: 0.0,
        resistance_ohm: 0.05,
        current_a: 1.0,
        rated_v: 2.7,
    };
    let text: String = (1..260)
        .map(|step| f64::from(step) / 10.0)
        .map(|time_s| format!("{time_s},{}\n", 2.65 - time_s / 10.0))
        .collect();
    let cell = truth
        .parse(&format!("time_s,storage_v\n0,2.7\n1e-9,2.65\n{text}"))
        .expect("a discharge");
    assert!((cell.capacitance.value.get::<farad>() - 10.0).abs() < 10.0 * EXACT);
    assert!((cell.capacitance_low.value.get::<farad>() - 10.0).abs() < 10.0 * EXACT);
    assert!((cell.resistance.value.get::<ohm>() - 0.05).abs() < 0.05 * EXACT);
    assert!(slope_of(&cell).abs() < EXACT);
    assert!(cell.residual_largest < volts(EXACT));
}

/// At 0.3 A a straight line through 90 to 70 % arrives above the first row: it makes a cell of 25 mΩ one of less than none.
#[test]
fn the_curve_keeps_the_resistance_from_coming_out_negative() {
    let truth = Truth {
        current_a: 0.3,
        ..USUAL
    };
    let text = truth.csv(300, || 0.0);
    let discharge = discharge::read(&text, truth.rated_v).expect("a discharge");
    let straight = crossing_free_line(&discharge);
    assert!(straight > truth.rated_v, "{straight}");
    let cell = truth.cell(300);
    assert!((cell.resistance.value.get::<ohm>() - 0.025).abs() < 0.025 * DROP);
    assert!(cell.shows_resistance());
}

/// Where the straight line through 90 to 70 % stands at time 0, by two sums.
fn crossing_free_line(discharge: &Discharge) -> f64 {
    let samples = discharge.between(levels::RESISTANCE_FROM, levels::RESISTANCE_TO);
    let count = samples.len() as f64;
    let middle_s = samples.iter().map(|s| s.time_s).sum::<f64>() / count;
    let middle_v = samples.iter().map(|s| s.storage_v).sum::<f64>() / count;
    let squares: f64 = samples.iter().map(|s| (s.time_s - middle_s).powi(2)).sum();
    let products: f64 = samples
        .iter()
        .map(|s| (s.time_s - middle_s) * (s.storage_v - middle_v))
        .sum();
    middle_v - products / squares * middle_s
}

/// A first row that already stands under the current hides the resistance, and the note says so.
#[test]
fn a_resistance_below_nothing_is_said() {
    let text = USUAL.csv(300, || 0.0);
    let (_, rest) = text.split_once("0,3\n").expect("the first row");
    let cell = USUAL
        .parse(&format!("time_s,storage_v\n{rest}"))
        .expect("a discharge");
    assert!(!cell.shows_resistance(), "{:?}", cell.resistance);
    // An instrument whose upper range reads 30 mV too low, on a cell without resistance.
    let truth = Truth {
        resistance_ohm: 0.0,
        ..USUAL
    };
    let lowered = |v: f64| if v > 2.91 { v - 0.03 } else { v };
    let text = truth.csv(300, || 0.0);
    let rows = text.lines().skip(1).map(|line| {
        let (time, v) = line.split_once(',').expect("two cells");
        format!("{time},{}\n", lowered(v.parse().expect("a voltage")))
    });
    let rows: String = rows.collect();
    let cell = truth
        .parse(&format!("time_s,storage_v\n{rows}"))
        .expect("a discharge");
    assert!(cell.resistance.value < ohms(0.0));
    assert!(pasted(&cell).is_ok());
}

/// Part of `of` runs in which `is_inside` holds for each of the four figures and twice its standard error.
fn inside(of: u64, correlation: f64, deviation_v: f64) -> [f64; 4] {
    let truths = [
        USUAL.standard_f(),
        USUAL.low_f,
        USUAL.slope_f_per_v,
        USUAL.resistance_ohm,
    ];
    let mut held = [0.0; 4];
    for seed in 0..of {
        let mut random = Pcg64::seed_from_u64(seed);
        let mut now_v = 0.0;
        let text = USUAL.csv(300, || {
            let part = (1.0 - correlation * correlation).sqrt();
            now_v = correlation * now_v + part * deviation_v * normal(&mut random);
            now_v
        });
        let cell = USUAL.parse(&text).expect("a discharge");
        let seen = [
            (
                cell.capacitance.value.value,
                cell.capacitance.standard_error.value,
            ),
            (
                cell.capacitance_low.value.value,
                cell.capacitance_low.standard_error.value,
            ),
            (
                cell.capacitance_slope.value.value,
                cell.capacitance_slope.standard_error.value,
            ),
            (cell.resistance.value.value, cell.resistance.standard_error.value),
        ];
        for (held, ((value, error), truth)) in held.iter_mut().zip(seen.iter().zip(truths)) {
            *held += f64::from((value - truth).abs() <= 2.0 * error) / of as f64;
        }
    }
    held
}

/// Two standard errors hold the truth in 95 % of cases; of 300 runs, in 90 to 98 %. Where neighbours are alike, the window
/// of a level counts as very few independent rows, so more is allowed above and a little below.
#[test]
fn standard_errors_hold_the_truth() {
    for (correlation, least, most) in [(0.0, 0.90, 0.99), (0.6, 0.87, 1.0), (0.85, 0.85, 1.0)] {
        let held = inside(300, correlation, 1e-3);
        for part in held {
            assert!(part >= least && part <= most, "{correlation}: {held:?}");
        }
    }
}

/// The block in the place of an example's own, in enough cells in series.
fn pasted(cell: &Cell) -> Result<Node, Problems> {
    let text = millpond_templates::nodes::CRACK_GAUGE;
    let (before, rest) = text.split_once("[[storage.capacitor]]").expect("a capacitor");
    let (_, after) = rest.split_once("\n[").expect("a next table");
    let block = cell.block();
    // As many as stand the example's overvoltage.
    let series = (5.3 / cell.rated.get::<volt>()).ceil().max(2.0);
    Node::read(&format!(
        "{before}{block}series = {series}\nbalance_resistor = \"1 Mohm\"\n\n[{after}"
    ))
}

#[test]
fn the_block_of_a_usual_cell_is_read_back() {
    let node = pasted(&USUAL.cell(300)).expect("accepted");
    let part = &node.storage[0];
    assert_eq!(part.rated_voltage, volts(3.0));
    // Rounded to four digits, each to its safe side: 0.01 F less at 3 V is 3.4 mF/V less.
    assert!(part.capacitance <= farads(28.1) && part.capacitance > farads(28.0));
    assert!(
        part.capacitance_slope >= farads_per_volt(2.0966) && part.capacitance_slope < farads_per_volt(2.102)
    );
    assert!(part.esr >= ohms(0.025 * (1.0 - EXACT)) && part.esr < ohms(0.0251));
    assert_eq!(node.storage.len(), node::example("crack-gauge").storage.len());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Without noise every figure comes back; the block is accepted and has nowhere more capacitance than the cell.
    #[test]
    fn every_cell_comes_back(
        low in -2.0..2.5f64, part in -0.15..0.7f64, rated_v in 1.0..5.0f64, drop in 0.002..0.06f64, length in 1.5..4.0f64,
        rows in 150u32..600,
    ) {
        let low_f = 10f64.powf(low);
        let current_a = low_f * rated_v / 10f64.powf(length);
        let truth = Truth {
            low_f,
            slope_f_per_v: part * low_f / rated_v,
            resistance_ohm: drop * rated_v / current_a,
            current_a,
            rated_v,
        };
        let cell = truth.cell(rows);
        prop_assert!((cell.capacitance.value.get::<farad>() / truth.standard_f() - 1.0).abs() < LOCAL_LINE);
        prop_assert!((cell.capacitance_low.value.get::<farad>() / low_f - 1.0).abs() < EXACT * 10.0);
        prop_assert!((slope_of(&cell) - truth.slope_f_per_v).abs() * rated_v < low_f * EXACT * 10.0);
        prop_assert!((cell.resistance.value.get::<ohm>() / truth.resistance_ohm - 1.0).abs() < DROP);
        let node = pasted(&cell).map_err(|problems| TestCaseError::fail(problems.to_string()))?;
        let written = &node.storage[0];
        for step in 0..=20 {
            let v = volts(rated_v * f64::from(step) / 20.0);
            let given = written.capacitance - written.capacitance_slope * (written.rated_voltage - v);
            let own = cell.capacitance_low.value + cell.capacitance_slope.value * v;
            prop_assert!(given <= own * (1.0 + EXACT), "{given:?} {own:?}");
        }
        prop_assert!(written.esr >= cell.resistance.value * (1.0 - EXACT));
    }

    #[test]
    fn any_text_is_answered(text in "(time_s,storage_v\n)?([-0-9.,\"#\r\n e]|\\PC){0,200}") {
        let _ = USUAL.parse(&text);
    }
}

fn titles(text: &str) -> Vec<String> {
    let problems = USUAL.parse(text).expect_err("faults");
    problems.list.into_iter().map(|problem| problem.title).collect()
}

/// The usual discharge with its lines changed.
fn changed(change: impl Fn(usize, &str) -> Option<String>) -> String {
    let text = USUAL.csv(300, || 0.0);
    let lines = text
        .lines()
        .enumerate()
        .filter_map(|(number, line)| change(number, line));
    lines.map(|line| line + "\n").collect()
}

#[test]
fn every_fault_is_found_and_all_at_once() {
    assert_eq!(titles(""), ["the discharge is empty"]);
    assert_eq!(
        titles("time_s,volts\n"),
        ["the discharge has no column storage_v"]
    );
    assert_eq!(
        titles("time_ms,storage_mv\n"),
        [
            "the column `time_ms` is in another unit",
            "the column `storage_mv` is in another unit"
        ]
    );
    assert_eq!(titles("0,3.0\n1,2.9\n"), ["the discharge has no such header"]);
    assert_eq!(
        titles("time_s,storage_v\n0,3\n1,2.9\n"),
        ["the discharge ends at 2.9 V"]
    );

    let broken = changed(|number, line| match number {
        20 => Some("x,2.7".into()),
        21 => Some("7".into()),
        22 => Some("8,".into()),
        23 => Some("0.5,2.7".into()),
        _ => Some(line.into()),
    });
    assert_eq!(
        titles(&broken),
        [
            "the time is not a number: x",
            "a row of the discharge has 1 cell",
            "the voltage is missing",
            "time goes back"
        ]
    );
    let message = USUAL.parse(&broken).expect_err("faults").to_string();
    assert!(message.contains("bench.csv:21:1"), "{message}");
    assert!(message.ends_with("bench.csv: refused, 4 problems\n"), "{message}");

    let rising = changed(|number, line| match line.split_once(',') {
        Some((time, _)) if number == 100 => Some(format!("{time},2.9")),
        _ => Some(line.into()),
    });
    let found = titles(&rising);
    assert!(
        found.len() == 1 && found[0].starts_with("the voltage rises by"),
        "{found:?}"
    );

    let short = changed(|number, line| (number < 150).then(|| line.into()));
    let found = titles(&short);
    assert!(
        found.len() == 1 && found[0].starts_with("the discharge ends at"),
        "{found:?}"
    );

    let sparse = changed(|number, line| (number < 2 || number % 20 == 0).then(|| line.into()));
    let found = titles(&sparse);
    assert!(
        found.len() == 4 && found[0].starts_with("too few rows"),
        "{found:?}"
    );

    let late = changed(|number, line| (number == 0 || number > 60).then(|| line.into()));
    let found = titles(&late);
    assert!(found.len() == 1 && found[0].ends_with("too low"), "{found:?}");

    let thousandfold = |v: &str| v.parse::<f64>().map_or(v.to_owned(), |v| (v * 1e3).to_string());
    let millivolts = changed(|_, line| {
        let (time, v) = line.split_once(',')?;
        Some(format!("{time},{}", thousandfold(v)))
    });
    let found = titles(&millivolts);
    assert!(
        found.len() == 1 && found[0].ends_with("this is another unit"),
        "{found:?}"
    );
}

/// What follows the discharge, such as the recovery after it, changes nothing.
#[test]
fn rows_after_the_end_do_not_count() {
    let text = USUAL.csv(300, || 0.0);
    let recovered = format!("{text}1000,0.05\n1001,0.3\n");
    let (cell, again) = (USUAL.cell(300), USUAL.parse(&recovered).expect("a discharge"));
    assert_eq!(again.rows_unused, cell.rows_unused + 2);
    assert_eq!(again.capacitance, cell.capacitance);
    assert_eq!(again.capacitance_slope, cell.capacitance_slope);
}

/// A voltage that falls ever faster is no capacitor's: the line would leave nothing at 0 V, and no block could say it.
#[test]
fn a_curve_without_capacitance_is_refused() {
    let rows = (1..300).map(|row| f64::from(row) / 10.0);
    let rows: String = rows
        .map(|time_s| format!("{time_s},{}\n", 3.0 * (1.0 - (time_s / 30.0).powi(3))))
        .collect();
    let found = titles(&format!("time_s,storage_v\n0,3\n{rows}"));
    assert!(
        found.len() == 1 && found[0].starts_with("no capacitance"),
        "{found:?}"
    );
}
