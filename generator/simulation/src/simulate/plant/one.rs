//! Storage of one branch: du/dt = (v − u)/(R·C), integrated by the pair of order 3 and 2 of Bogacki and Shampine (Applied
//! Mathematics Letters 2 (1989) 321-325), and the accounts with it. Held at the overvoltage limit, u nears it as an exponential.

use crate::model::bank::Bank;
use crate::model::branches::Drawn;
use crate::simulate::ledger::Ledger;
use crate::simulate::plant::converter::{Converter, Mode, Source, Terminal};
use crate::simulate::plant::{COLLAPSED_V, CROSSING_V, End, HALVINGS, LEAST_V};
use crate::units::*;

/// Error allowed in one step (V): the larger of what the solution of order 2 says and of what the step's accounts miss. The
/// solution of order 3 that is kept is better by far, and so the accounts of a run miss each other by less than a millionth,
/// which every run asserts.
const STEP_TOLERANCE_V: f64 = 2e-8;

/// With a time constant below this (s) the rate comes from the currents at the terminal: a difference of voltages, which are known to
/// 4·10⁻¹⁶ V, would be wrong by more than 4·10⁻¹³ V/s.
const SHORT_S: f64 = 1e-3;

/// The storage of one unit and its converter.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct One {
    /// Volts behind the series resistance.
    pub(super) u_v: f64,
    capacitance_f: f64,
    slope_f_per_v: f64,
    /// 1/R.
    conductance_s: f64,
    /// 1/(R·C) where the capacitance does not rise.
    per_s: f64,
    leakage_s: f64,
    /// Whether v − u is too small a part of v to tell the current from.
    is_stiff: bool,
    pub(super) converter: Converter,
    /// The accounts since the start.
    pub(super) ledger: Ledger,
}

/// A step that may be taken: its end, and what to book for it.
struct Step {
    u_v: f64,
    error_v: f64,
    terminal: Terminal,
    spent_j: f64,
    resistance_j: f64,
    leaked_j: f64,
    harvested_j: f64,
    spilled_j: f64,
}

impl One {
    /// The only branch of `bank` at rest at `start`.
    pub(super) fn new(bank: &Bank, converter: Converter, start: Voltage) -> Self {
        let [branch] = bank.branches[..] else {
            unreachable!("the bank has one branch")
        };
        let conductance_s = branch.resistance.get::<ohm>().recip();
        let mut one = Self {
            u_v: start.get::<volt>(),
            capacitance_f: branch.capacitance.get::<farad>(),
            slope_f_per_v: branch.slope.value,
            conductance_s,
            per_s: conductance_s / branch.capacitance.get::<farad>(),
            leakage_s: bank.leakage.get::<siemens>(),
            is_stiff: conductance_s * SHORT_S > branch.capacitance.get::<farad>(),
            converter,
            ledger: Ledger::default(),
        };
        one.ledger.stored_start_j = one.stored_j();
        one
    }

    pub(super) fn stored_j(&self) -> f64 {
        self.stored_at_j(self.u_v)
    }

    fn stored_at_j(&self, u_v: f64) -> f64 {
        (self.capacitance_f / 2.0 + self.slope_f_per_v * u_v / 3.0) * u_v * u_v
    }

    /// Lets `duration_s` pass under `drain`, at most until the terminal falls below `lower_v` or rises to `upper_v`.
    /// Returns how it ended and how long it took.
    pub(super) fn advance(
        &mut self,
        drain: Drawn,
        duration_s: f64,
        lower_v: f64,
        upper_v: f64,
    ) -> (End, f64) {
        let mut left_s = duration_s;
        let mut step_s = duration_s;
        let Some(mut now) = self.terminal(self.u_v, drain) else {
            return (End::Below, 0.0);
        };
        loop {
            if now.v_v < lower_v {
                return (End::Below, duration_s - left_s);
            }
            if now.v_v >= upper_v {
                return (End::Above, duration_s - left_s);
            }
            if left_s <= 0.0 {
                return (End::Time, duration_s);
            }
            if now.mode == Mode::Held {
                self.hold(drain, &now, left_s);
                return (End::Time, duration_s);
            }
            step_s = step_s.min(left_s);
            let Some(step) = self.step(drain, &now, step_s) else {
                if self.rate(self.u_v, &now, drain).abs() * step_s < COLLAPSED_V {
                    return (End::Below, duration_s - left_s);
                }
                step_s /= 4.0;
                continue;
            };
            let growth = |error_v: f64| 0.9 * libm::cbrt(STEP_TOLERANCE_V / error_v);
            if step.error_v > STEP_TOLERANCE_V {
                step_s *= growth(step.error_v).clamp(0.1, 0.9);
                continue;
            }
            let error_v = step.error_v;
            let is_beyond = |end: &Terminal| end.v_v < lower_v || end.v_v >= upper_v || end.mode != now.mode;
            let (taken, taken_s) = if is_beyond(&step.terminal) {
                self.up_to(drain, &now, step, step_s, is_beyond)
            } else {
                (step, step_s)
            };
            left_s -= taken_s;
            now = self.converter.arrived(now.mode, taken.terminal);
            self.book(&taken);
            // Most stretches take one step: the root is spared where no other follows.
            if left_s > 0.0 {
                step_s *= if error_v > 0.0 {
                    growth(error_v).clamp(1.0, 5.0)
                } else {
                    5.0
                };
            }
        }
    }

    /// The shortest step that ends beyond a limit, found by halving `step`, which does.
    fn up_to(
        &self,
        drain: Drawn,
        now: &Terminal,
        mut step: Step,
        mut step_s: f64,
        is_beyond: impl Fn(&Terminal) -> bool,
    ) -> (Step, f64) {
        let (mut inside_s, mut inside_v) = (0.0, self.u_v);
        for _ in 0..HALVINGS {
            if (step.u_v - inside_v).abs() <= CROSSING_V {
                break;
            }
            let middle_s = inside_s + (step_s - inside_s) / 2.0;
            let Some(middle) = self.step(drain, now, middle_s) else {
                break;
            };
            if is_beyond(&middle.terminal) {
                (step, step_s) = (middle, middle_s);
            } else {
                (inside_s, inside_v) = (middle_s, middle.u_v);
            }
        }
        (step, step_s)
    }

    /// One step of the pair of Bogacki and Shampine in the converter's present state; `None` where storage cannot carry the
    /// drain.
    fn step(&self, drain: Drawn, now: &Terminal, step_s: f64) -> Option<Step> {
        let u1_v = self.u_v;
        let k1 = self.rate(u1_v, now, drain);
        let u2_v = u1_v + step_s / 2.0 * k1;
        let middle = self.in_mode(now.mode, u2_v, drain)?;
        let k2 = self.rate(u2_v, &middle, drain);
        let u3_v = u1_v + step_s * 0.75 * k2;
        let third = self.in_mode(now.mode, u3_v, drain)?;
        let k3 = self.rate(u3_v, &third, drain);
        let u_v = u1_v + step_s * (2.0 * k1 + 3.0 * k2 + 4.0 * k3) / 9.0;
        let last = self.in_mode(now.mode, u_v, drain)?;
        let k4 = self.rate(u_v, &last, drain);
        let estimate_v =
            (step_s * (-5.0 / 72.0 * k1 + 1.0 / 12.0 * k2 + 1.0 / 9.0 * k3 - 1.0 / 8.0 * k4)).abs();
        // The quadrature of the same method: weights 2/9, 1/3 and 4/9 on its three stages.
        let ninth_s = step_s / 9.0;
        let sum = |a: f64, b: f64, c: f64| ninth_s * (2.0 * a + 3.0 * b + 4.0 * c);
        let lost_w = |u_v: f64, v_v: f64| (u_v - v_v) * (u_v - v_v) * self.conductance_s;
        let resistance_j = sum(
            lost_w(u1_v, now.v_v),
            lost_w(u2_v, middle.v_v),
            lost_w(u3_v, third.v_v),
        );
        let terminal_vs = sum(now.v_v, middle.v_v, third.v_v);
        let terminal_v2s = sum(now.v_v * now.v_v, middle.v_v * middle.v_v, third.v_v * third.v_v);
        let spent_j = resistance_j + drain.power_w * step_s + drain.current_a * terminal_vs;
        let leaked_j = self.leakage_s * terminal_v2s;
        let harvested_j = step_s * now.available_w;
        let spilled_j = match now.mode {
            Mode::Power { .. } => 0.0,
            _ => harvested_j - sum(now.taken_w, middle.taken_w, third.taken_w),
        };
        // The estimate crosses zero at some lengths, as for an exponential at its time constant; the step's own accounts, which
        // know nothing of it, then show the error.
        let miss_j =
            self.stored_at_j(u1_v) + harvested_j - spent_j - spilled_j - leaked_j - self.stored_at_j(u_v);
        let charge_c = (self.capacitance_f + self.slope_f_per_v * u1_v) * u1_v.max(LEAST_V);
        Some(Step {
            u_v,
            error_v: estimate_v.max(miss_j.abs() / charge_c),
            terminal: self.terminal(u_v, drain)?,
            spent_j,
            resistance_j,
            leaked_j,
            harvested_j,
            spilled_j,
        })
    }

    fn book(&mut self, step: &Step) {
        self.u_v = step.u_v;
        self.ledger.spent_j += step.spent_j;
        self.ledger.resistance_j += step.resistance_j;
        self.ledger.leaked_j += step.leaked_j;
        self.ledger.harvested_j += step.harvested_j;
        self.ledger.spilled_j += step.spilled_j;
    }

    /// The terminal is held at the limit V: V − u falls as an exponential with the time constant R·C. What the converter
    /// gives is what that takes.
    fn hold(&mut self, drain: Drawn, now: &Terminal, time_s: f64) {
        let limit_v = self.converter.overvoltage_v;
        let capacitance_f = self.capacitance_f + self.slope_f_per_v * self.u_v;
        let before_j = self.stored_j();
        let gap_v = limit_v - self.u_v;
        let decay = libm::exp(-time_s * self.conductance_s / capacitance_f);
        self.u_v = limit_v - gap_v * decay;
        let resistance_j = capacitance_f / 2.0 * gap_v * gap_v * (1.0 - decay * decay);
        let load_j = (drain.power_w + limit_v * drain.current_a) * time_s;
        let leaked_j = limit_v * limit_v * self.leakage_s * time_s;
        let taken_j = self.stored_j() - before_j + resistance_j + load_j + leaked_j;
        self.ledger.spent_j += load_j + resistance_j;
        self.ledger.resistance_j += resistance_j;
        self.ledger.leaked_j += leaked_j;
        self.ledger.harvested_j += now.available_w * time_s;
        self.ledger.spilled_j += now.available_w * time_s - taken_j;
    }

    /// du/dt.
    fn rate(&self, u_v: f64, terminal: &Terminal, drain: Drawn) -> f64 {
        let v_v = terminal.v_v;
        if self.is_stiff && v_v > 0.0 {
            let drawn_a = (drain.power_w - terminal.taken_w) / v_v + drain.current_a + self.leakage_s * v_v;
            return -drawn_a / (self.capacitance_f + self.slope_f_per_v * u_v);
        }
        if self.slope_f_per_v == 0.0 {
            return (v_v - u_v) * self.per_s;
        }
        (v_v - u_v) * self.conductance_s / (self.capacitance_f + self.slope_f_per_v * u_v)
    }

    /// The storage with `u_v` behind the resistance.
    fn source(&self, u_v: f64) -> Source {
        Source {
            total_s: self.conductance_s + self.leakage_s,
            source_a: u_v * self.conductance_s,
            mean_v: u_v,
        }
    }

    /// The terminal with `u_v` behind the resistance, the converter in the state that belongs to it.
    pub(super) fn terminal(&self, u_v: f64, drain: Drawn) -> Option<Terminal> {
        self.converter.terminal(self.source(u_v), drain)
    }

    /// The same with the converter in a given state.
    fn in_mode(&self, mode: Mode, u_v: f64, drain: Drawn) -> Option<Terminal> {
        self.converter.in_mode(mode, self.source(u_v), drain)
    }
}
