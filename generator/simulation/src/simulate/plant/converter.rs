//! The harvesting converter at the terminal: what it gives, and where the terminal then stands.
//!
//! It gives its power (P/v), is at its largest current, holds the terminal at the overvoltage limit and spills the rest, or is
//! stopped where the terminal stands above the limit without it.

use crate::model::branches::Drawn;
use crate::model::terminal;
use crate::node::Harvest;
use crate::simulate::plant::CROSSING_V;
use crate::units::*;

/// Part by which two roots that are equal may differ: rounding of a few operations.
pub(super) const ROUNDING: f64 = 1e-12;

/// A converter and what its source offers.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Converter {
    efficiency: f64,
    cold_efficiency: f64,
    cold_start_v: f64,
    pub(super) overvoltage_v: f64,
    maximum_a: f64,
    /// Power that the source offers.
    pub(super) offered_w: f64,
}

/// What the converter does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mode {
    /// It gives all its power.
    Power { is_cold: bool },
    /// It is at its largest current.
    Current { is_cold: bool },
    /// It holds the terminal at the overvoltage limit.
    Held,
    /// The terminal stands above the limit without it.
    Stopped,
}

/// What happens at the terminal at one moment.
#[derive(Clone, Copy, Debug)]
pub(super) struct Terminal {
    pub(super) v_v: f64,
    /// What the converter could give, and what it gives.
    pub(super) available_w: f64,
    pub(super) taken_w: f64,
    pub(super) mode: Mode,
}

/// Storage as its terminal shows it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Source {
    /// Σ 1/R + G.
    pub(super) total_s: f64,
    /// Σ u/R.
    pub(super) source_a: f64,
    /// Mean of u over the conductances, which a cold start is judged by.
    pub(super) mean_v: f64,
}

impl Converter {
    pub(super) fn new(harvest: &Harvest) -> Self {
        Self {
            efficiency: harvest.converter_efficiency.get::<ratio>(),
            cold_efficiency: harvest.cold_start_efficiency.get::<ratio>(),
            cold_start_v: harvest.cold_start.get::<volt>(),
            overvoltage_v: harvest.overvoltage.get::<volt>(),
            maximum_a: harvest.maximum_current.get::<ampere>(),
            offered_w: 0.0,
        }
    }

    /// The terminal, the converter in the state that belongs to it.
    #[inline]
    pub(super) fn terminal(&self, source: Source, drawn: Drawn) -> Option<Terminal> {
        let is_cold = source.mean_v < self.cold_start_v;
        if self.offered_w > 0.0 {
            let mut charging = self.in_mode(Mode::Power { is_cold }, source, drawn);
            if charging.is_some_and(|power| power.available_w > self.maximum_a * power.v_v) {
                // A root where the converter has not the power for that current is none: the load pulls the terminal down.
                charging = self
                    .in_mode(Mode::Current { is_cold }, source, drawn)
                    .filter(|current| self.maximum_a * current.v_v <= current.available_w * (1.0 + ROUNDING));
            }
            let charging = charging?;
            if charging.v_v < self.overvoltage_v {
                return Some(charging);
            }
        }
        let bare = self.in_mode(Mode::Stopped, source, drawn);
        match bare {
            Some(bare) if bare.v_v >= self.overvoltage_v => Some(bare),
            _ if self.offered_w > 0.0 => self.in_mode(Mode::Held, source, drawn),
            bare => bare.map(|bare| Terminal {
                mode: Mode::Power { is_cold },
                ..bare
            }),
        }
    }

    /// `end`, reached from the state `before`. Where the terminal rose to the overvoltage limit it is held there, also where a branch of
    /// next to no resistance makes less of a difference to it than a crossing is known to: taken as stopped, the converter
    /// would start again at once, and so on.
    pub(super) fn arrived(&self, before: Mode, end: Terminal) -> Terminal {
        let is_charging = matches!(before, Mode::Power { .. } | Mode::Current { .. }) && self.offered_w > 0.0;
        if is_charging && end.mode == Mode::Stopped && end.v_v <= self.overvoltage_v + 2.0 * CROSSING_V {
            return Terminal {
                v_v: self.overvoltage_v,
                taken_w: end.available_w,
                mode: Mode::Held,
                ..end
            };
        }
        end
    }

    /// The terminal with the converter in a given state: the upper root of Σ (u − v)/R = P/v + I + G·v.
    #[inline]
    pub(super) fn in_mode(&self, mode: Mode, source: Source, drawn: Drawn) -> Option<Terminal> {
        let available_w = self.available_w(mode, source.mean_v);
        if mode == Mode::Held {
            return Some(Terminal {
                v_v: self.overvoltage_v,
                available_w,
                taken_w: available_w,
                mode,
            });
        }
        let (given_w, given_a) = self.given(mode, available_w);
        let v_v = terminal::voltage_v(
            source.total_s,
            source.source_a,
            drawn.power_w - given_w,
            drawn.current_a - given_a,
        )?;
        Some(Terminal {
            v_v,
            available_w,
            taken_w: given_w + given_a * v_v,
            mode,
        })
    }

    /// Power and current that it gives in a state in which it does not hold the terminal.
    #[inline]
    pub(super) fn given(&self, mode: Mode, available_w: f64) -> (f64, f64) {
        match mode {
            Mode::Power { .. } => (available_w, 0.0),
            Mode::Current { .. } => (0.0, self.maximum_a),
            Mode::Held | Mode::Stopped => (0.0, 0.0),
        }
    }

    /// Below this terminal voltage it would be at its largest current.
    pub(super) fn corner_v(&self, available_w: f64) -> f64 {
        available_w / self.maximum_a
    }

    #[inline]
    fn available_w(&self, mode: Mode, mean_v: f64) -> f64 {
        let is_cold = match mode {
            Mode::Power { is_cold } | Mode::Current { is_cold } => is_cold,
            Mode::Held | Mode::Stopped => mean_v < self.cold_start_v,
        };
        self.offered_w
            * if is_cold {
                self.cold_efficiency
            } else {
                self.efficiency
            }
    }
}
