//! Storage of several branches, each by itself: `model/branches.rs` step by step, with the accounts as further components of
//! the same method.

use crate::halving::halved;
use crate::model::bank::Bank;
use crate::model::branches::{Branches, Drawn, Rates, Stepped};
use crate::simulate::ledger::Ledger;
use crate::simulate::plant::converter::{Converter, Mode, Source, Terminal};
use crate::simulate::plant::held;
use crate::simulate::plant::{COLLAPSED_V, CROSSING_V, End, HALVINGS, LEAST_V};
use crate::units::*;

/// Error allowed in one step, by the embedded solution of order 3 (V). What a branch is off by after a change of the load dies
/// away with it, so that a voltage is wrong by a few steps' errors and not by their sum: a fifth of the 50 µV that the terminal
/// may be off by leaves room for that. The slow branches, which would keep an error, move within a step by far less than the
/// fast ones, for which the step is chosen.
const STEP_TOLERANCE_V: f64 = 5e-5;
/// What the accounts of one step may miss each other by, as a voltage on the whole bank (V): a run asserts a millionth of its
/// turnover, and many steps add up.
const ACCOUNT_TOLERANCE_V: f64 = 2e-8;
/// A first step is one in which no branch would move by more at its present rate (V): of a change of the load of some tens of
/// millivolts, no more than a time constant or two.
const FIRST_MOVE_V: f64 = 5e-3;
/// A step may be so many times the one before: once the fast branches have come to terms, the slow ones want one of hours.
const MOST_GROWTH: f64 = 1000.0;
/// A step that is not good enough is cut to this at most: one much longer than the fast branches take does not get better by
/// being a little shorter.
const LEAST_CUT: f64 = 0.3;
/// An extreme of the terminal inside a step is looked at from this close to a limit (V): what the curve through the step's ends
/// may miss it by.
const NEAR_V: f64 = 1e-3;
/// A hold that follows a hold lasts so long at least (s): a millionth of a second of what the converter cannot give is a nanojoule.
const LEAST_HELD_S: f64 = 1e-6;
/// Times in a hold, as parts of it, at which a converter that carries branches from above the limit is looked at.
const LOOKS: i32 = 40;

/// The storage of one unit and its converter.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Several<const N: usize> {
    branches: Branches<N>,
    /// How many of the places have a branch.
    count: usize,
    /// Volts behind each branch's resistance.
    state_v: [f64; N],
    pub(super) converter: Converter,
    /// The accounts since the start.
    pub(super) ledger: Ledger,
}

/// One state, under one load.
#[derive(Clone, Copy)]
struct Point<const N: usize> {
    state_v: [f64; N],
    terminal: Terminal,
}

/// A step that may be taken: its end, and what to book for it.
struct Step<const N: usize> {
    end: Point<N>,
    /// Over what is allowed.
    error: f64,
    spent_j: f64,
    resistance_j: f64,
    leaked_j: f64,
    harvested_j: f64,
    spilled_j: f64,
}

/// The terminal voltages that an advance ends at.
#[derive(Clone, Copy)]
struct Limits {
    lower_v: f64,
    upper_v: f64,
}

impl Limits {
    fn are_passed(&self, terminal: &Terminal) -> bool {
        terminal.v_v < self.lower_v || terminal.v_v >= self.upper_v
    }
}

impl<const N: usize> Several<N> {
    /// The storage `bank` at rest at `start`.
    pub(super) fn new(bank: &Bank, converter: Converter, start: Voltage) -> Self {
        let mut several = Self {
            branches: Branches::of(bank),
            count: bank.branches.len(),
            state_v: Branches::state(&vec![start.get::<volt>(); bank.branches.len()]),
            converter,
            ledger: Ledger::default(),
        };
        several.ledger.stored_start_j = several.stored_j();
        several
    }

    pub(super) fn mean_v(&self) -> f64 {
        self.source(&self.state_v).mean_v
    }

    pub(super) fn inner_v(&self) -> &[f64] {
        &self.state_v[..self.count]
    }

    pub(super) fn stored_j(&self) -> f64 {
        self.stored_at_j(&self.state_v)
    }

    fn stored_at_j(&self, state_v: &[f64; N]) -> f64 {
        let branches = &self.branches;
        state_v
            .iter()
            .enumerate()
            .map(|(k, u)| (branches.capacitance_f[k] / 2.0 + branches.slope_f_per_v[k] * u / 3.0) * u * u)
            .sum()
    }

    /// Lets `duration_s` pass under `drain`, at most until the terminal falls below `lower_v` or rises to `upper_v`.
    pub(super) fn advance(
        &mut self,
        drain: Drawn,
        duration_s: f64,
        lower_v: f64,
        upper_v: f64,
    ) -> (End, f64) {
        let limits = Limits { lower_v, upper_v };
        let mut left_s = duration_s;
        let Some(mut now) = self.point(self.state_v, drain) else {
            return (End::Below, 0.0);
        };
        let mut wanted_s = None;
        let mut least_s = 0.0;
        loop {
            if now.terminal.v_v < lower_v {
                return (End::Below, duration_s - left_s);
            }
            if now.terminal.v_v >= upper_v {
                return (End::Above, duration_s - left_s);
            }
            if left_s <= 0.0 {
                return (End::Time, duration_s);
            }
            if now.terminal.mode == Mode::Held {
                left_s -= self.hold(drain, &now.terminal, left_s, least_s);
                // What a branch of next to no resistance gives at the limit is known to its rounding alone: from one hold to the
                // next the time is doubled, until it lasts or something else happens.
                least_s = f64::max(2.0 * least_s, LEAST_HELD_S);
                let Some(next) = self.point(self.state_v, drain) else {
                    return (End::Below, duration_s - left_s);
                };
                now = next;
                wanted_s = None;
                continue;
            }
            let effective = self.effective(&now.terminal, drain);
            let Some(rates) = self.branches.rates(&now.state_v, effective) else {
                return (End::Below, duration_s - left_s);
            };
            let fastest_v_per_s = rates
                .rate
                .iter()
                .fold(0.0, |most: f64, rate| most.max(rate.abs()));
            let mut step_s = wanted_s
                .unwrap_or(FIRST_MOVE_V / fastest_v_per_s.max(f64::MIN_POSITIVE))
                .min(left_s);
            let (step, grown) = loop {
                let Some(step) = self.step(drain, &now, &rates, step_s) else {
                    if fastest_v_per_s * step_s < COLLAPSED_V {
                        return (End::Below, duration_s - left_s);
                    }
                    step_s /= 4.0;
                    continue;
                };
                let growth = 0.9 / step.error.sqrt().sqrt();
                if step.error <= 1.0 {
                    break (step, growth.clamp(1.0, MOST_GROWTH));
                }
                step_s *= growth.clamp(0.05, LEAST_CUT);
            };
            let (step, taken_s) = self.up_to_limit(drain, &now, &rates, step, step_s, limits);
            left_s -= taken_s;
            if taken_s > least_s {
                least_s = 0.0;
            }
            wanted_s = (step.end.terminal.mode == now.terminal.mode).then_some(step_s * grown);
            self.book(&step);
            let terminal = self.converter.arrived(now.terminal.mode, step.end.terminal);
            now = Point { terminal, ..step.end };
        }
    }

    /// The same step, or the first part of it that ends at a limit or at a change of the converter's state.
    fn up_to_limit(
        &self,
        drain: Drawn,
        now: &Point<N>,
        rates: &Rates<N>,
        step: Step<N>,
        step_s: f64,
        limits: Limits,
    ) -> (Step<N>, f64) {
        let is_beyond =
            |end: &Point<N>| limits.are_passed(&end.terminal) || end.terminal.mode != now.terminal.mode;
        let (mut step, mut step_s) = (step, step_s);
        if !is_beyond(&step.end) {
            let Some(inside_s) = self.extreme_s(drain, now, rates, &step.end, step_s, limits) else {
                return (step, step_s);
            };
            let Some(inside) = self.step(drain, now, rates, inside_s) else {
                return (step, step_s);
            };
            if !is_beyond(&inside.end) {
                return (inside, inside_s);
            }
            (step, step_s) = (inside, inside_s);
        }
        let (mut before_s, mut before_v) = (0.0, now.state_v);
        for _ in 0..HALVINGS {
            let apart = before_v.iter().zip(&step.end.state_v);
            if apart.fold(0.0, |most: f64, (a, b)| most.max((a - b).abs())) <= CROSSING_V {
                break;
            }
            let middle_s = before_s + (step_s - before_s) / 2.0;
            let Some(middle) = self.step(drain, now, rates, middle_s) else {
                break;
            };
            if is_beyond(&middle.end) {
                (step, step_s) = (middle, middle_s);
            } else {
                (before_s, before_v) = (middle_s, middle.end.state_v);
            }
        }
        (step, step_s)
    }

    /// When inside a step the terminal turns so close to a limit that it may pass it: it does while fast branches still come to
    /// terms with slow ones. By the cubic through the voltages and slopes at both ends.
    fn extreme_s(
        &self,
        drain: Drawn,
        now: &Point<N>,
        rates: &Rates<N>,
        end: &Point<N>,
        step_s: f64,
        limits: Limits,
    ) -> Option<f64> {
        let last = self
            .branches
            .rates(&end.state_v, self.effective(&end.terminal, drain))?;
        let slope_v = |rates: &Rates<N>| {
            let moved = self.branches.conductance_s.iter().zip(&rates.rate);
            step_s * moved.map(|(g, rate)| g * rate).sum::<f64>() / (self.branches.all_s + rates.drawn_s)
        };
        let (first_v, last_v) = (slope_v(rates), slope_v(&last));
        if first_v * last_v >= 0.0 {
            return None;
        }
        let rise_v = end.terminal.v_v - now.terminal.v_v;
        // The derivative by the part t of the step: a·t² + b·t + first_v, of which exactly one root lies inside.
        let (a, b) = (
            3.0 * (first_v + last_v) - 6.0 * rise_v,
            6.0 * rise_v - 4.0 * first_v - 2.0 * last_v,
        );
        let root = (b * b - 4.0 * a * first_v).max(0.0).sqrt();
        let q = -(b + root.copysign(b)) / 2.0;
        let part = [q / a, first_v / q]
            .into_iter()
            .find(|part| *part > 0.0 && *part < 1.0)?;
        let turned_v = now.terminal.v_v + part * (first_v + part * (b / 2.0 + part * a / 3.0));
        let ends_v = [now.terminal.v_v, end.terminal.v_v];
        let (low_v, high_v) = (ends_v[0].min(ends_v[1]), ends_v[0].max(ends_v[1]));
        let corner_v = self.converter.corner_v(now.terminal.available_w);
        let is_near = if first_v < 0.0 {
            turned_v < low_v - CROSSING_V
                && [limits.lower_v, self.converter.overvoltage_v, corner_v]
                    .iter()
                    .any(|limit_v| *limit_v <= low_v && turned_v - NEAR_V < *limit_v)
        } else {
            turned_v > high_v + CROSSING_V
                && [limits.upper_v, self.converter.overvoltage_v, corner_v]
                    .iter()
                    .any(|limit_v| *limit_v >= high_v && turned_v + NEAR_V > *limit_v)
        };
        is_near.then_some(part * step_s)
    }

    /// One step in the converter's present state; `None` where storage cannot carry the drain.
    fn step(&self, drain: Drawn, now: &Point<N>, rates: &Rates<N>, step_s: f64) -> Option<Step<N>> {
        let effective = self.effective(&now.terminal, drain);
        let (
            Stepped {
                state_v: end_v,
                error_v,
            },
            passed,
        ) = self
            .branches
            .step_with_passed(&now.state_v, rates, effective, step_s)?;
        let spent_j = passed.lost_j + drain.power_w * step_s + drain.current_a * passed.terminal_vs;
        let leaked_j = self.branches.leakage_s * passed.terminal_v2s;
        let harvested_j = step_s * now.terminal.available_w;
        let (given_w, given_a) = self.converter.given(now.terminal.mode, now.terminal.available_w);
        let spilled_j = match now.terminal.mode {
            Mode::Power { .. } => 0.0,
            _ => harvested_j - (given_w * step_s + given_a * passed.terminal_vs),
        };
        // Nothing above knows of what is stored: where the two agree, both are right.
        let miss_j = self.stored_at_j(&now.state_v) + harvested_j
            - spent_j
            - spilled_j
            - leaked_j
            - self.stored_at_j(&end_v);
        let charge_c: f64 = (0..self.count)
            .map(|k| {
                let u_v = now.state_v[k];
                (self.branches.capacitance_f[k] + self.branches.slope_f_per_v[k] * u_v) * u_v.max(LEAST_V)
            })
            .sum();
        Some(Step {
            end: self.point(end_v, drain)?,
            error: (error_v / STEP_TOLERANCE_V).max(miss_j.abs() / (charge_c * ACCOUNT_TOLERANCE_V)),
            spent_j,
            resistance_j: passed.lost_j,
            leaked_j,
            harvested_j,
            spilled_j,
        })
    }

    fn book(&mut self, step: &Step<N>) {
        self.state_v = step.end.state_v;
        self.ledger.spent_j += step.spent_j;
        self.ledger.resistance_j += step.resistance_j;
        self.ledger.leaked_j += step.leaked_j;
        self.ledger.harvested_j += step.harvested_j;
        self.ledger.spilled_j += step.spilled_j;
    }

    /// The terminal is held at the limit V: every branch nears it by itself. Returns for how long, which is the whole time
    /// unless branches that stood above the limit have carried part of the load until then.
    fn hold(&mut self, drain: Drawn, now: &Terminal, left_s: f64, least_s: f64) -> f64 {
        let limit_v = self.converter.overvoltage_v;
        let load_w = drain.power_w + limit_v * (drain.current_a + limit_v * self.branches.leakage_s);
        let gaps_v = self.state_v.map(|u_v| limit_v - u_v);
        let later = |time_s: f64| -> [f64; N] {
            std::array::from_fn(|k| self.held_branch(k).gap_after_v(gaps_v[k], time_s))
        };
        let is_too_much = |time_s: f64| {
            let charging_a: f64 = later(time_s)
                .iter()
                .zip(&self.branches.conductance_s)
                .map(|(gap_v, g)| g * gap_v)
                .sum();
            load_w + limit_v * charging_a > now.available_w
        };
        let mut time_s = left_s;
        if gaps_v[..self.count].iter().any(|gap_v| *gap_v < 0.0) {
            let parts = (0..LOOKS)
                .rev()
                .map(|halvings| left_s * libm::exp2(-f64::from(halvings)));
            if let Some(beyond_s) = parts.into_iter().find(|time_s| is_too_much(*time_s)) {
                let (_, after_s) = halved(beyond_s / 2.0, beyond_s, HALVINGS, is_too_much);
                time_s = after_s.max(least_s).min(left_s);
            }
        }
        let end_v = later(time_s);
        let (mut charge_c, mut resistance_j) = (0.0, 0.0);
        for k in 0..self.count {
            let branch = self.held_branch(k);
            charge_c += branch.charge_c(gaps_v[k], end_v[k]);
            resistance_j += branch.lost_j(gaps_v[k], end_v[k]);
            self.state_v[k] = limit_v - end_v[k];
        }
        let load_j = (drain.power_w + limit_v * drain.current_a) * time_s;
        let leaked_j = limit_v * limit_v * self.branches.leakage_s * time_s;
        let taken_j = limit_v * charge_c + load_j + leaked_j;
        self.ledger.spent_j += load_j + resistance_j;
        self.ledger.resistance_j += resistance_j;
        self.ledger.leaked_j += leaked_j;
        self.ledger.harvested_j += now.available_w * time_s;
        self.ledger.spilled_j += now.available_w * time_s - taken_j;
        time_s
    }

    fn held_branch(&self, k: usize) -> held::Branch {
        let limit_v = self.converter.overvoltage_v;
        held::Branch {
            capacitance_f: self.branches.capacitance_f[k] + self.branches.slope_f_per_v[k] * limit_v,
            slope_f_per_v: self.branches.slope_f_per_v[k],
            conductance_s: self.branches.conductance_s[k],
        }
    }

    /// What is drawn with the converter's part taken off.
    #[inline]
    fn effective(&self, now: &Terminal, drain: Drawn) -> Drawn {
        let (given_w, given_a) = self.converter.given(now.mode, now.available_w);
        Drawn {
            power_w: drain.power_w - given_w,
            current_a: drain.current_a - given_a,
        }
    }

    #[inline]
    fn source(&self, state_v: &[f64; N]) -> Source {
        let source_a: f64 = self
            .branches
            .conductance_s
            .iter()
            .zip(state_v)
            .map(|(g, u)| g * u)
            .sum();
        Source {
            total_s: self.branches.all_s + self.branches.leakage_s,
            source_a,
            mean_v: source_a / self.branches.all_s,
        }
    }

    #[inline]
    fn point(&self, state_v: [f64; N], drain: Drawn) -> Option<Point<N>> {
        let terminal = self.converter.terminal(self.source(&state_v), drain)?;
        Some(Point { state_v, terminal })
    }

    /// The terminal at this moment.
    pub(super) fn terminal(&self, drain: Drawn) -> Option<Terminal> {
        self.converter.terminal(self.source(&self.state_v), drain)
    }
}
