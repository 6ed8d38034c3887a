//! From a log to the points of a linear model: each reading with what had been drawn before it, in described units.
//!
//! Between two readings the charge on storage changes by what sleep, leakage, samples and reports draw. Divided by the described
//! capacitance, and with each drain as described, this gives columns x: how far the voltage would have fallen by each of
//! them (docs/model.md, equation 36). The truth is a sum of the columns times unknown factors.

use super::actions::{Act, Actions, Kind};
use super::described::{Described, Work};
use super::readings::Readings;
use crate::log::Log;

/// Columns: sleep, leakage, samples, reports, and the current drawn at the moment of the reading.
pub(super) const COLUMNS: usize = 5;
pub(super) const SLEEP: usize = 0;
pub(super) const LEAKAGE: usize = 1;
pub(super) const MEASURE: usize = 2;
pub(super) const TRANSMIT: usize = 3;
pub(super) const RESISTANCE: usize = 4;

/// A gap of so many long steps ends a run: what happened in it is not known.
const LONGEST_GAP_STEPS: f64 = 20.0;
/// More points than this are drawn together, neighbours into their mean: the model is linear.
const MOST_POINTS: usize = 100_000;
/// Times of events and rows are known to this (s): a reading this near a change of current is of no use.
const TIMING_S: f64 = 0.02;
/// Readings below this part of the floor are no readings of this node at work.
const LEAST_FLOOR_PART: f64 = 0.2;

/// One reading, or the mean of a few.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    pub(super) time_s: f64,
    pub(super) storage_v: f64,
    /// What would have been drawn since the start of the log, as described (V); the last column in A.
    pub(super) x: [f64; COLUMNS],
    /// Points of one run follow each other without a reset or a long gap.
    pub(super) run: u32,
}

/// What points are for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Purpose {
    /// Slopes: a reading that is held says nothing of what is drawn.
    Slopes,
    /// The balance of energy: while storage is held, as much comes in as is drawn.
    Balance,
}

/// The points of a log.
pub(super) fn of(
    log: &Log,
    described: &Described,
    readings: &Readings,
    actions: &Actions,
    purpose: Purpose,
) -> Vec<Point> {
    let mut sweep = Sweep::new(described, actions);
    let mut points = Vec::with_capacity(log.len().min(MOST_POINTS * 2));
    let bin = log.storage_mv.len().div_ceil(MOST_POINTS).max(1);
    let mut mean = Mean::default();
    let longest_s = LONGEST_GAP_STEPS * readings.long_step_s;
    let mut last_s = f64::NEG_INFINITY;
    for row in 0..log.len() {
        let Some(v) = log.storage_v(row) else { continue };
        let time_s = log.time_s[row];
        if v < LEAST_FLOOR_PART * described.floor_v || readings.is_nonsense(row) {
            continue;
        }
        let x = sweep.advance(time_s, v);
        let out = readings.is_excluded(row) && (purpose == Purpose::Slopes || !readings.is_flat_top(row));
        if time_s - last_s > longest_s || out {
            sweep.run += 1;
        }
        last_s = time_s;
        let Some(x) = x.filter(|_| !out) else { continue };
        let point = Point {
            time_s,
            storage_v: v + described.count_v / 2.0,
            x,
            run: sweep.run,
        };
        points.extend(mean.take(point, bin));
    }
    points.extend(mean.end());
    points
}

/// Goes through the actions beside the readings.
struct Sweep<'a> {
    described: &'a Described,
    actions: &'a Actions,
    next: usize,
    next_reset: usize,
    /// Until then the node starts (s).
    starting_until_s: f64,
    /// Actions that have begun and may not be over.
    active: Vec<Act>,
    last: Option<(f64, f64)>,
    x: [f64; COLUMNS],
    run: u32,
}

impl<'a> Sweep<'a> {
    fn new(described: &'a Described, actions: &'a Actions) -> Self {
        Self {
            described,
            actions,
            next: 0,
            next_reset: 0,
            starting_until_s: f64::NEG_INFINITY,
            active: Vec::new(),
            last: None,
            x: [0.0; COLUMNS],
            run: 0,
        }
    }

    /// The columns at a reading; `None` where it may have been taken during an action of unknown time, or while the node starts.
    fn advance(&mut self, time_s: f64, v: f64) -> Option<[f64; COLUMNS]> {
        let (last_s, last_v) = self.last.unwrap_or((time_s, v));
        self.last = Some((time_s, v));
        while let Some(reset_s) = self
            .actions
            .resets_s
            .get(self.next_reset)
            .filter(|reset_s| **reset_s <= time_s)
        {
            self.next_reset += 1;
            self.run += 1;
            // What starting draws is no column: the level begins anew behind it.
            self.starting_until_s = reset_s + self.described.boot_s + TIMING_S;
        }
        let middle_v = (last_v + v) / 2.0;
        let capacitance_f = self.described.capacitance_f(middle_v);
        let mut busy_s = 0.0;
        while let Some(act) = self
            .actions
            .list
            .get(self.next)
            .filter(|act| act.until_s < time_s || (!act.is_exact() && act.until_s <= time_s))
        {
            self.next += 1;
            self.active.push(*act);
        }
        let mut open = [0.0; COLUMNS];
        let (described, x, has_samples) = (self.described, &mut self.x, self.actions.has_samples);
        let mut is_blurred = false;
        self.active.retain(|act| {
            let (work, column) = work(described, act.kind, has_samples);
            let since_s = time_s - act.from_s;
            if act.is_exact() && since_s < work.duration_s {
                let (charge_c, current_a) = work.until(since_s, middle_v);
                open[column] += charge_c / capacitance_f;
                open[RESISTANCE] = current_a;
                let near = [since_s - TIMING_S, since_s + TIMING_S];
                is_blurred |= near
                    .iter()
                    .any(|near_s| work.until(near_s.max(0.0), middle_v).1 != current_a);
                busy_s += since_s.min(time_s - last_s);
                return true;
            }
            x[column] += work.charge_c(middle_v) / capacitance_f;
            busy_s += if act.is_exact() {
                (work.duration_s - (last_s - act.from_s).max(0.0)).clamp(0.0, time_s - last_s)
            } else {
                work.duration_s
            };
            false
        });
        let step_s = time_s - last_s;
        let asleep_s = (step_s - busy_s).max(0.0);
        self.x[SLEEP] += self.described.sleep_a(middle_v) * asleep_s / capacitance_f;
        self.x[LEAKAGE] += self.described.leakage_s * middle_v * step_s / capacitance_f;
        let is_open = self
            .actions
            .list
            .get(self.next)
            .is_some_and(|act| !act.is_exact() && act.from_s < time_s);
        let mut x = self.x;
        for (sum, more) in x.iter_mut().zip(open) {
            *sum += more;
        }
        let is_starting = time_s < self.starting_until_s;
        (!is_open && !is_blurred && !is_starting).then_some(x)
    }
}

/// What an action takes, and its column. Samples of unknown time go with their report.
fn work(described: &Described, kind: Kind, has_samples: bool) -> (&Work, usize) {
    match kind {
        Kind::Measure if !has_samples => (&described.measure, TRANSMIT),
        Kind::Measure => (&described.measure, MEASURE),
        Kind::Transmit => (&described.transmit, TRANSMIT),
    }
}

/// Draws neighbours together.
#[derive(Default)]
struct Mean {
    sum: Option<Point>,
    count: usize,
}

impl Mean {
    fn take(&mut self, point: Point, bin: usize) -> Option<Point> {
        let ended = match &self.sum {
            Some(sum) if self.count >= bin || sum.run != point.run => self.end(),
            _ => None,
        };
        match &mut self.sum {
            Some(sum) => {
                sum.time_s += point.time_s;
                sum.storage_v += point.storage_v;
                for (sum, more) in sum.x.iter_mut().zip(point.x) {
                    *sum += more;
                }
            }
            None => self.sum = Some(point),
        }
        self.count += 1;
        ended
    }

    fn end(&mut self) -> Option<Point> {
        let mut point = self.sum.take()?;
        let share = 1.0 / self.count as f64;
        self.count = 0;
        point.time_s *= share;
        point.storage_v *= share;
        point.x.iter_mut().for_each(|sum| *sum *= share);
        Some(point)
    }
}
