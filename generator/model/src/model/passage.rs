//! How long a bank takes from one voltage to another, under a load that repeats and in light that does not change.
//!
//! ```text
//! t = ∫ C(u)/ī(u) du        ī(u) = Σ q(u)/T
//! ```
//!
//! q(u) is the charge that each action, and sleep for the rest of the period T, takes out of the bank at rest at u (docs/model.md,
//! equations 51 and 52). With one branch that is the current under each drain for as long as it lasts. With several an action is
//! integrated branch by branch ([`crate::model::discharge`]): a ceramic carries a pulse that the cell beside it could not. Asleep
//! the branches fall at one rate, and the bank is as one branch.
//!
//! By quadrature: drains of P/v, I and G·v together, series resistance and a capacitance that rises have no short closed form.
//! Where one exists, a test holds the two against each other.

mod cycle;
mod taken;

pub use cycle::Cycle;

use crate::model::bank::{Bank, Branch};
use crate::model::drain::Drain;
use crate::model::terminal;
use crate::node::Harvest;
use crate::units::*;
use taken::{Given, taken};

/// How closely a quadrature is taken.
struct Rule {
    /// Panels of Simpson's rule that the first estimate has, and the most that are tried.
    panels: (u32, u32),
    /// Relative change at which doubling the panels ends.
    settled: f64,
}

/// Where the current is one expression: to a thousandth of what the answer is compared with.
const EXPRESSION: Rule = Rule {
    panels: (16, 1 << 15),
    settled: 1e-8,
};
/// Where each value is an integrated action: what is left is below a millionth where the charge is smooth, held in a test.
const INTEGRATED: Rule = Rule {
    panels: (4, 1 << 6),
    settled: 1e-6,
};

/// A bank and its converter in steady light.
#[derive(Clone, Debug, PartialEq)]
pub struct Storage {
    /// All branches as one, for what lasts long enough that they fall at one rate.
    branch: Branch,
    /// What actions are run on: of several banks the one that gives most counts. None where one branch is all there is.
    banks: Vec<Bank>,
    leakage: Conductance,
    /// The converter and what the source offers to it.
    charging: Option<(Harvest, Power)>,
}

impl Storage {
    /// `bank` in the dark; `full` is the voltage at which the shares of its branches are taken.
    pub fn dark(bank: &Bank, full: Voltage) -> Self {
        Self {
            branch: bank.as_one(full),
            banks: if bank.branches.len() > 1 {
                vec![bank.clone()]
            } else {
                Vec::new()
            },
            leakage: bank.leakage,
            charging: None,
        }
    }

    /// `bank` while the source of `harvest` offers `offered`.
    pub fn lit(bank: &Bank, harvest: &Harvest, offered: Power) -> Self {
        Self {
            charging: Some((harvest.clone(), offered)),
            ..Self::dark(bank, harvest.overvoltage)
        }
    }

    /// The same where actions are run on `other`, of the same unit, as well: an action takes what the bank gives that gives more, and
    /// both have to carry it. One branch runs none.
    pub fn and_run_on(mut self, other: &Bank) -> Self {
        if !self.banks.is_empty() && !self.banks.contains(other) {
            self.banks.push(other.clone());
        }
        self
    }

    /// Time from `from` to `to`, both behind the series resistance, with the branches at rest at each; `None` where the load and the
    /// light do not lead there, or the bank does not carry an action on the way.
    ///
    /// ```
    /// use millpond_model::model::{bank::*, drain::Drain, passage::*};
    /// use millpond_numbers::units::*;
    /// let branch = Branch { capacitance: farads(1.0), slope: farads_per_volt(0.0), resistance: ohms(2.0) };
    /// let bank = Bank { branches: vec![branch], leakage: siemenses(0.0) };
    /// let asleep = Cycle::steady(Drain { power: watts(0.0), current: amperes(1e-6) });
    /// // 1 V from 1 F at 1 uA: a million seconds.
    /// let time = Storage::dark(&bank, volts(5.0)).passage(&asleep, volts(5.0), volts(4.0)).unwrap();
    /// assert!((time - seconds(1e6)).abs() < seconds(1.0));
    /// ```
    pub fn passage(&self, load: &Cycle, from: Voltage, to: Voltage) -> Option<Time> {
        let (from_v, to_v) = (from.get::<volt>(), to.get::<volt>());
        // The converter changes its efficiency where it leaves its cold start.
        let middle_v = self
            .charging
            .as_ref()
            .map(|(harvest, _)| harvest.cold_start.get::<volt>())
            .filter(|cold_v| *cold_v > from_v.min(to_v) && *cold_v < from_v.max(to_v));
        match middle_v {
            Some(cold_v) => Some(self.piece(load, from_v, cold_v)? + self.piece(load, cold_v, to_v)?),
            None => self.piece(load, from_v, to_v),
        }
    }

    /// The current into the capacitance, mean over the load, with `inner` behind the series resistance.
    pub fn net(&self, load: &Cycle, inner: Voltage) -> Option<Current> {
        let inner_v = inner.get::<volt>();
        self.net_a(load, inner_v, self.is_cold(inner_v)).map(amperes)
    }

    /// Voltage behind the resistance at which the terminal just stands at `terminal` while the node sleeps: less than it while
    /// storage charges.
    pub fn inner_at(&self, load: &Drain, terminal: Voltage) -> Voltage {
        let drawn = load.at(terminal) + self.leakage * terminal;
        let given = self.charging.as_ref().map_or(amperes(0.0), |(harvest, offered)| {
            (*offered * harvest.converter_efficiency / terminal).min(harvest.maximum_current)
        });
        terminal + (drawn - given) * self.branch.resistance
    }

    fn is_cold(&self, inner_v: f64) -> bool {
        self.charging
            .as_ref()
            .is_some_and(|(harvest, _)| inner_v < harvest.cold_start.get::<volt>())
    }

    /// Simpson's rule on ever more panels until it settles.
    fn piece(&self, load: &Cycle, from_v: f64, to_v: f64) -> Option<Time> {
        if from_v == to_v {
            return Some(seconds(0.0));
        }
        let is_cold = self.is_cold(from_v.midpoint(to_v));
        let direction = (to_v - from_v).signum();
        let per_v = |inner_v: f64| -> Option<f64> {
            let rate_a = self.net_a(load, inner_v, is_cold)? * direction;
            let capacitance_f = self.branch.capacitance.get::<farad>() + self.branch.slope.value * inner_v;
            (rate_a > 0.0).then_some(capacitance_f / rate_a)
        };
        let width_v = (to_v - from_v).abs();
        let rule = if self.is_integrated(load) {
            INTEGRATED
        } else {
            EXPRESSION
        };
        let (mut panels, most) = rule.panels;
        let sum = |first: u32, step: u32, panels: u32| -> Option<f64> {
            (first..panels)
                .step_by(step as usize)
                .map(|k| per_v(from_v + (to_v - from_v) * f64::from(k) / f64::from(panels)))
                .sum()
        };
        let ends = per_v(from_v)? + per_v(to_v)?;
        let mut even = sum(2, 2, panels)?;
        let mut odd = sum(1, 2, panels)?;
        let simpson = |even: f64, odd: f64, panels: u32| {
            width_v / (3.0 * f64::from(panels)) * (ends + 2.0 * even + 4.0 * odd)
        };
        let mut time_s = simpson(even, odd, panels);
        while panels < most {
            panels *= 2;
            even += odd;
            odd = sum(1, 2, panels)?;
            let finer_s = simpson(even, odd, panels);
            let change_s = (finer_s - time_s).abs();
            time_s = finer_s;
            if change_s <= rule.settled * time_s {
                break;
            }
        }
        Some(seconds(time_s))
    }

    /// Whether the actions of `load` are integrated branch by branch.
    fn is_integrated(&self, load: &Cycle) -> bool {
        !self.banks.is_empty() && !load.actions.is_empty()
    }

    fn net_a(&self, load: &Cycle, inner_v: f64, is_cold: bool) -> Option<f64> {
        if !self.is_integrated(load) {
            return load
                .shares()
                .map(|(share, drain)| Some(share * self.under_a(drain, inner_v, is_cold)?))
                .sum();
        }
        let (power_w, most_a) = self.offered(is_cold);
        let converter = (power_w > 0.0).then(|| Given {
            power: watts(power_w),
            most: amperes(most_a),
        });
        let mut net_a = load.asleep_share * self.under_a(&load.asleep, inner_v, is_cold)?;
        for action in &load.actions {
            let mut most = coulombs(f64::NEG_INFINITY);
            for bank in &self.banks {
                most = most.max(taken(
                    bank,
                    volts(inner_v),
                    &action.stretches,
                    load.floor,
                    converter,
                )?);
            }
            net_a -= (most * action.times / load.period).get::<ampere>();
        }
        Some(net_a)
    }

    /// Power (W) that the converter gives, and its largest current (A).
    fn offered(&self, is_cold: bool) -> (f64, f64) {
        self.charging.as_ref().map_or((0.0, 0.0), |(harvest, offered)| {
            let efficiency = if is_cold {
                harvest.cold_start_efficiency
            } else {
                harvest.converter_efficiency
            };
            (
                (*offered * efficiency).get::<watt>(),
                harvest.maximum_current.get::<ampere>(),
            )
        })
    }

    /// Current into the capacitance under one drain: the terminal is the upper root of (u − v)/R = P/v + I + G·v less what the
    /// converter gives; `None` where storage cannot carry the drain.
    fn under_a(&self, drain: &Drain, inner_v: f64, is_cold: bool) -> Option<f64> {
        let (load_w, load_a) = (drain.power.get::<watt>(), drain.current.get::<ampere>());
        let conductance_s = self.branch.resistance.get::<ohm>().recip();
        let leakage_s = self.leakage.get::<siemens>();
        let (given_w, most_a) = self.offered(is_cold);
        let root = |power_w: f64, current_a: f64| -> Option<f64> {
            terminal::voltage_v(
                conductance_s + leakage_s,
                conductance_s * inner_v,
                power_w,
                current_a,
            )
        };
        let mut terminal_v = root(load_w - given_w, load_a)?;
        let mut given_a = if given_w > 0.0 { given_w / terminal_v } else { 0.0 };
        if given_a > most_a {
            terminal_v = root(load_w, load_a - most_a)?;
            given_a = most_a;
        }
        let drawn_a = if load_w > 0.0 { load_w / terminal_v } else { 0.0 };
        // From the currents and not as (v − u)/R, of which little is left asleep.
        Some(given_a - drawn_a - load_a - leakage_s * terminal_v)
    }
}

#[cfg(test)]
mod tests;
