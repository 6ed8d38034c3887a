//! How long a bank takes from one voltage to another, under a load that repeats and in light that does not change.
//!
//! ```text
//! t = ∫ C(u)/ī(u) du        ī(u) = Σ w·i(u)
//! ```
//!
//! i(u) is the current out of the capacitance under each drain of the load, w the part of the time for which it lasts
//! (docs/model.md, equations 51 and 52). By quadrature: drains of P/v, I and G·v together, series resistance and a capacitance
//! that rises have no short closed form. Where one exists, a test holds the two against each other.

use crate::model::bank::{Bank, Branch};
use crate::model::drain::Drain;
use crate::model::load::Load;
use crate::model::terminal;
use crate::node::Harvest;
use crate::units::*;

/// Panels of Simpson's rule that the first estimate has, and the most that are tried.
const PANELS: (u32, u32) = (16, 1 << 15);
/// Relative change at which doubling the panels ends: a thousandth of what the answer is compared with.
const SETTLED: f64 = 1e-8;

/// A load that repeats: drains with the part of the time for which each lasts.
#[derive(Clone, Debug, PartialEq)]
pub struct Mean {
    /// The parts sum to 1.
    shares: Vec<(f64, Drain)>,
}

impl Mean {
    /// One drain all the time.
    pub fn of(drain: Drain) -> Self {
        Self {
            shares: vec![(1.0, drain)],
        }
    }

    /// `loads` once in each `period`, `asleep` for the rest of it; one after the other where they take longer than that.
    pub fn repeated(loads: &[&Load], period: Time, asleep: Drain) -> Self {
        let busy: Time = loads.iter().map(|load| load.duration).sum();
        let period = period.max(busy);
        let mut shares: Vec<(f64, Drain)> = loads
            .iter()
            .flat_map(|load| &load.stretches)
            .map(|stretch| ((stretch.duration / period).get::<ratio>(), stretch.drain))
            .collect();
        shares.push((((period - busy) / period).get::<ratio>(), asleep));
        Self { shares }
    }

    /// Nothing but the bank's own leakage.
    pub fn nothing() -> Self {
        Self::of(Drain {
            power: watts(0.0),
            current: amperes(0.0),
        })
    }
}

/// A bank taken together as one branch (docs/model.md, equation 28), and its converter in steady light.
#[derive(Clone, Debug, PartialEq)]
pub struct Storage {
    branch: Branch,
    leakage: Conductance,
    /// The converter and what the source offers to it.
    charging: Option<(Harvest, Power)>,
}

impl Storage {
    /// `bank` in the dark; `full` is the voltage at which the shares of its branches are taken.
    pub fn dark(bank: &Bank, full: Voltage) -> Self {
        Self {
            branch: bank.as_one(full),
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

    /// Time from `from` to `to`, both behind the series resistance; `None` where the load and the light do not lead there.
    ///
    /// ```
    /// use millpond::model::{bank::*, drain::Drain, passage::*};
    /// use millpond::units::*;
    /// let branch = Branch { capacitance: farads(1.0), slope: farads_per_volt(0.0), resistance: ohms(2.0) };
    /// let bank = Bank { branches: vec![branch], leakage: siemenses(0.0) };
    /// let asleep = Mean::of(Drain { power: watts(0.0), current: amperes(1e-6) });
    /// // 1 V from 1 F at 1 uA: a million seconds.
    /// let time = Storage::dark(&bank, volts(5.0)).passage(&asleep, volts(5.0), volts(4.0)).unwrap();
    /// assert!((time - seconds(1e6)).abs() < seconds(1.0));
    /// ```
    pub fn passage(&self, load: &Mean, from: Voltage, to: Voltage) -> Option<Time> {
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
    pub fn net(&self, load: &Mean, inner: Voltage) -> Option<Current> {
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
    fn piece(&self, load: &Mean, from_v: f64, to_v: f64) -> Option<Time> {
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
        let (mut panels, most) = PANELS;
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
            if change_s <= SETTLED * time_s {
                break;
            }
        }
        Some(seconds(time_s))
    }

    fn net_a(&self, load: &Mean, inner_v: f64, is_cold: bool) -> Option<f64> {
        load.shares
            .iter()
            .map(|(share, drain)| Some(share * self.under_a(drain, inner_v, is_cold)?))
            .sum()
    }

    /// Current into the capacitance under one drain: the terminal is the upper root of (u − v)/R = P/v + I + G·v less what the
    /// converter gives; `None` where storage cannot carry the drain.
    fn under_a(&self, drain: &Drain, inner_v: f64, is_cold: bool) -> Option<f64> {
        let (load_w, load_a) = (drain.power.get::<watt>(), drain.current.get::<ampere>());
        let conductance_s = self.branch.resistance.get::<ohm>().recip();
        let leakage_s = self.leakage.get::<siemens>();
        let (given_w, most_a) = self.charging.as_ref().map_or((0.0, 0.0), |(harvest, offered)| {
            let efficiency = if is_cold {
                harvest.cold_start_efficiency
            } else {
                harvest.converter_efficiency
            };
            (
                (*offered * efficiency).get::<watt>(),
                harvest.maximum_current.get::<ampere>(),
            )
        });
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
mod tests {
    use super::*;
    use crate::model::discharge::{Stretch, discharge};
    use crate::node;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    /// Where the closed form has no resistance and the storage a microohm.
    const EXACT: f64 = 1e-7;

    fn bank(capacitance_f: f64, slope: f64, resistance_ohm: f64, leakage_s: f64) -> Bank {
        Bank {
            branches: vec![Branch {
                capacitance: farads(capacitance_f),
                slope: farads_per_volt(slope),
                resistance: ohms(resistance_ohm),
            }],
            leakage: siemenses(leakage_s),
        }
    }

    fn drain(power_w: f64, current_a: f64) -> Drain {
        Drain {
            power: watts(power_w),
            current: amperes(current_a),
        }
    }

    fn fall_s(bank: &Bank, drain: Drain, from_v: f64, to_v: f64) -> f64 {
        Storage::dark(bank, volts(from_v))
            .passage(&Mean::of(drain), volts(from_v), volts(to_v))
            .expect("it falls")
            .get::<second>()
    }

    /// By hand, each alone: C·(u1² − u2²)/(2P); C·(u1 − u2)/I; (C/G)·ln(u1/u2); and with a rising capacitance
    /// (C0·(u1 − u2) + k·(u1² − u2²)/2)/I.
    #[test]
    fn one_drain_alone_is_as_by_hand() {
        let (c, r) = (0.5, 1e-6);
        assert_relative_eq!(
            fall_s(&bank(c, 0.0, r, 0.0), drain(1e-5, 0.0), 5.0, 2.0),
            c * 21.0 / 2e-5,
            max_relative = EXACT
        );
        assert_relative_eq!(
            fall_s(&bank(c, 0.0, r, 0.0), drain(0.0, 1e-6), 5.0, 2.0),
            c * 3.0 / 1e-6,
            max_relative = EXACT
        );
        assert_relative_eq!(
            fall_s(&bank(c, 0.0, r, 1e-6), drain(0.0, 0.0), 5.0, 2.0),
            c / 1e-6 * 2.5f64.ln(),
            max_relative = EXACT
        );
        assert_relative_eq!(
            fall_s(&bank(c, 0.1, r, 0.0), drain(0.0, 1e-6), 5.0, 2.0),
            (1.5 + 1.05) / 1e-6,
            max_relative = EXACT
        );
    }

    /// All three together, P/v + I + G·v, without resistance: with D = G·u² + I·u + P and Δ = I² − 4·G·P < 0,
    /// t = C/(2G)·[ln(D1/D2) − 2·I/√(−Δ)·(atan((2·G·u1 + I)/√(−Δ)) − atan((2·G·u2 + I)/√(−Δ)))]. By hand.
    #[test]
    fn three_drains_together_are_as_the_closed_form() {
        let (c, g, i, p, from, to) = (0.5, 1e-6f64, 1e-6f64, 8e-6f64, 5.3, 2.3);
        let poly = |u: f64| g * u * u + i * u + p;
        let root = (4.0 * g * p - i * i).sqrt();
        let angle = |u: f64| ((2.0 * g * u + i) / root).atan();
        let want =
            c / (2.0 * g) * ((poly(from) / poly(to)).ln() - 2.0 * i / root * (angle(from) - angle(to)));
        assert_relative_eq!(
            fall_s(&bank(c, 0.0, 1e-6, g), drain(p, i), from, to),
            want,
            max_relative = EXACT
        );
    }

    /// Published: C = I·t/(Vwork − Vmin), 0.5 F for 0.5 A, 2 s, 5 V to 3 V (sizing note of that name), and 11 F for 200 kW, 10 s,
    /// 750 V to 450 V ("How to appropriately calculate the capacitance of ultracapacitor"), rounded to whole farads.
    #[test]
    fn holding_times_equal_the_published_examples() {
        assert_relative_eq!(
            fall_s(&bank(0.5, 0.0, 1e-9, 0.0), drain(0.0, 0.5), 5.0, 3.0),
            2.0,
            max_relative = EXACT
        );
        let rounding = 0.5 / 11.0;
        assert_relative_eq!(
            fall_s(&bank(11.0, 0.0, 1e-12, 0.0), drain(200e3, 0.0), 750.0, 450.0),
            10.0,
            max_relative = rounding
        );
    }

    /// By hand: 1 mW at 80 % into 0.1 F without resistance or leakage from 1 V to 3 V: 0.4 J / 0.8 mW = 500 s; below a cold start at
    /// 2 V, at 10 %, 0.15 J / 0.1 mW + 0.25 J / 0.8 mW = 1812.5 s; held to 0.2 mA, where there are 0.8 mA to 0.27 mA, it is
    /// C·2 V/0.2 mA = 1000 s; held to 0.5 mA, which binds up to 0.8 mW/0.5 mA = 1.6 V, C·0.6 V/0.5 mA + 0.322 J/0.8 mW = 522.5 s.
    #[test]
    fn charging_is_as_by_hand() {
        let mut harvest = node::example("crack-gauge").harvest;
        harvest.converter_efficiency = fraction(0.8);
        harvest.cold_start_efficiency = fraction(0.1);
        harvest.cold_start = volts(0.0);
        harvest.maximum_current = amperes(1.0);
        let rise_s = |harvest: &Harvest| {
            Storage::lit(&bank(0.1, 0.0, 1e-6, 0.0), harvest, watts(1e-3))
                .passage(&Mean::nothing(), volts(1.0), volts(3.0))
                .expect("it rises")
                .get::<second>()
        };
        assert_relative_eq!(rise_s(&harvest), 500.0, max_relative = EXACT);
        harvest.cold_start = volts(2.0);
        assert_relative_eq!(rise_s(&harvest), 1812.5, max_relative = EXACT);
        harvest.cold_start = volts(0.0);
        harvest.maximum_current = amperes(2e-4);
        assert_relative_eq!(rise_s(&harvest), 1000.0, max_relative = EXACT);
        harvest.maximum_current = amperes(5e-4);
        assert_relative_eq!(rise_s(&harvest), 522.5, max_relative = EXACT);
    }

    /// 10 µW of load and 8 µW of light: it does not rise.
    #[test]
    fn what_is_not_reached_has_no_time() {
        let harvest = node::example("crack-gauge").harvest;
        let storage = Storage::lit(&bank(0.1, 0.0, 1.0, 0.0), &harvest, watts(1e-5));
        let load = Mean::of(drain(1e-5, 0.0));
        assert_eq!(storage.passage(&load, volts(3.0), volts(4.0)), None);
        assert!(storage.passage(&load, volts(4.0), volts(3.0)).is_some());
    }

    proptest! {
        /// The integrator of the discharge, given the time, ends where it was asked from.
        #[test]
        fn the_integrator_ends_where_the_passage_leads(
            c in 0.01..10.0f64, k in 0.0..1.0f64, r in 0.01..20.0f64, g in 0.0..1e-5f64, p in 0.0..1e-3f64, i in 1e-6..1e-3f64,
            from in 3.0..6.0f64, part in 0.4..0.95f64,
        ) {
            let (bank, drain) = (bank(c, k, r, g), drain(p, i));
            let time_s = fall_s(&bank, drain, from, from * part);
            let stretch = Stretch { drain, peak: drain, duration: seconds(time_s) };
            let end = discharge(&bank, &[from], &[stretch]).expect("carried");
            // 10⁻⁸ of the time, and the integrator's microvolt.
            prop_assert!((end.inner_v[0] - from * part).abs() < 2e-6, "{} {}", end.inner_v[0], from * part);
        }

        /// A way in two pieces takes as long as in one; more load makes it shorter.
        #[test]
        fn ways_add_up_and_more_load_is_shorter(
            c in 0.01..10.0f64, r in 0.01..20.0f64, g in 0.0..1e-5f64, p in 1e-6..1e-3f64, middle in 2.1..4.9f64, more in 1.01..3.0f64,
        ) {
            let bank = bank(c, 0.0, r, g);
            let whole_s = fall_s(&bank, drain(p, 0.0), 5.0, 2.0);
            let pieces_s = fall_s(&bank, drain(p, 0.0), 5.0, middle) + fall_s(&bank, drain(p, 0.0), middle, 2.0);
            prop_assert!((whole_s - pieces_s).abs() < EXACT * whole_s);
            prop_assert!(fall_s(&bank, drain(p * more, 0.0), 5.0, 2.0) < whole_s);
        }
    }
}
