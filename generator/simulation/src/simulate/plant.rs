//! Storage, converter and load at the terminal, over time: exact where a closed form exists, integrated under error control
//! elsewhere.
//!
//! The terminal answers at once: Σ (u_k − v)/R_k = P/v + I + G·v, with the converter's power or current as a negative drain
//! (docs/model.md, section "Simulation"). Behind it each branch goes its own way. A bank of one branch is not stiff and takes an
//! explicit method (`plant/one.rs`), one of several a linearly implicit one (`plant/several.rs`).

mod converter;
mod held;
mod one;
mod several;

use crate::model::bank::Bank;
use crate::model::branches::MOST_BRANCHES;
use crate::model::drain::Drain;
use crate::node::Harvest;
use crate::simulate::ledger::Ledger;
use crate::units::*;

use converter::Converter;
use one::One;
use several::Several;

/// A crossing is found to within this (V).
const CROSSING_V: f64 = 1e-9;
/// Halvings of a step that would reach any crossing: a stop, not a tuning.
const HALVINGS: u32 = 60;
/// A bank that collapses before it has moved by this much collapses here and now (V).
const COLLAPSED_V: f64 = 1e-10;
/// Below this the energy of an error in the voltage is counted as at it (V): what empty storage holds does not matter.
const LEAST_V: f64 = 1e-2;

/// How an advance ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The time is over.
    Time,
    /// The terminal fell below the lower limit, or cannot carry the drain at all.
    Below,
    /// The terminal rose to the upper limit.
    Above,
}

/// The storage of one unit and its converter.
#[derive(Clone, Debug, PartialEq)]
pub struct Plant(Storage);

/// By the number of branches; the larger ones are rare.
#[derive(Clone, Debug, PartialEq)]
enum Storage {
    One(One),
    Two(Several<2>),
    Three(Several<3>),
    Four(Several<4>),
    Eight(Box<Several<8>>),
    Most(Box<Several<MOST_BRANCHES>>),
}

/// The same for storage of one branch and of any other number.
macro_rules! either {
    ($storage:expr, $one:ident => $of_one:expr, $several:ident => $of_several:expr) => {
        match $storage {
            Storage::One($one) => $of_one,
            Storage::Two($several) => $of_several,
            Storage::Three($several) => $of_several,
            Storage::Four($several) => $of_several,
            Storage::Eight($several) => $of_several,
            Storage::Most($several) => $of_several,
        }
    };
}

impl Plant {
    /// The storage `bank` of 1 to 32 branches at rest at `start`, with the converter of `harvest`.
    pub fn new(bank: &Bank, harvest: &Harvest, start: Voltage) -> Self {
        let converter = Converter::new(harvest);
        Self(match bank.branches.len() {
            1 => Storage::One(One::new(bank, converter, start)),
            2 => Storage::Two(Several::new(bank, converter, start)),
            3 => Storage::Three(Several::new(bank, converter, start)),
            4 => Storage::Four(Several::new(bank, converter, start)),
            5..=8 => Storage::Eight(Box::new(Several::new(bank, converter, start))),
            _ => Storage::Most(Box::new(Several::new(bank, converter, start))),
        })
    }

    /// From now on the source offers this much to the converter.
    pub fn offer(&mut self, power_w: f64) {
        either!(&mut self.0, one => one.converter.offered_w = power_w, several => several.converter.offered_w = power_w);
    }

    /// Volts behind the series resistance, of several branches the mean over their conductances: where the terminal stands when
    /// nothing is drawn.
    pub fn inner_v(&self) -> f64 {
        either!(&self.0, one => one.u_v, several => several.mean_v())
    }

    /// Volts behind the resistance of each branch.
    pub fn branches_v(&self) -> &[f64] {
        either!(&self.0, one => std::slice::from_ref(&one.u_v), several => several.inner_v())
    }

    /// Terminal voltage under `drain`; `None` where storage cannot carry it.
    pub fn terminal_v(&self, drain: &Drain) -> Option<f64> {
        let drawn = drain.into();
        let terminal =
            either!(&self.0, one => one.terminal(one.u_v, drawn), several => several.terminal(drawn));
        terminal.map(|terminal| terminal.v_v)
    }

    /// The accounts up to now.
    pub fn ledger(&self) -> Ledger {
        let (ledger, stored_end_j) = either!(&self.0, one => (one.ledger, one.stored_j()), several => (several.ledger, several.stored_j()));
        Ledger {
            stored_end_j,
            ..ledger
        }
    }

    /// Lets `duration_s` pass under `drain`, at most until the terminal falls below `lower_v` or rises to `upper_v`.
    /// Returns how it ended and how long it took.
    pub fn advance(&mut self, drain: &Drain, duration_s: f64, lower_v: f64, upper_v: f64) -> (End, f64) {
        let drawn = drain.into();
        either!(&mut self.0, one => one.advance(drawn, duration_s, lower_v, upper_v), several => several.advance(drawn, duration_s, lower_v, upper_v))
    }
}

#[cfg(test)]
mod tests;
