//! What one action takes, phase by phase.

use crate::model::airtime::Airtime;
use crate::model::load::Load;
use crate::node::{Action, Radio, Regulator};
use crate::units::*;
use std::iter::Sum;
use std::ops::Add;

/// What one action takes.
#[derive(Clone, Debug, PartialEq)]
pub struct ActionBudget {
    /// The phases of one attempt, in order.
    pub phases: Vec<PhaseBudget>,
    /// How often the phases are run in the worst case.
    pub attempts: u32,
    /// Sum over the phases of one attempt.
    pub attempt: Total,
    /// Sum over all attempts.
    pub total: Total,
}

/// What one phase takes in one attempt.
#[derive(Clone, Debug, PartialEq)]
pub struct PhaseBudget {
    /// Name as the node file has it.
    pub name: String,
    /// How long it lasts (s).
    pub duration: Time,
    /// Transmitter on (s); 0 unless the phase is timed by airtime.
    pub on_air: Time,
    /// Mean current at the rail (A).
    pub rail_current: Current,
    /// Charge at the rail (C).
    pub rail_charge: Charge,
    /// Charge taken from storage, the regulator's own current included (C).
    pub storage_charge: Charge,
    /// Energy taken from storage, the regulator's own current included (J).
    pub storage_energy: Energy,
}

/// Sum over phases, attempts or actions.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Total {
    /// How long they last (s).
    pub duration: Time,
    /// Transmitter on (s).
    pub on_air: Time,
    /// Charge at the rail (C).
    pub rail_charge: Charge,
    /// Charge taken from storage (C).
    pub storage_charge: Charge,
    /// Energy taken from storage (J).
    pub storage_energy: Energy,
}

impl ActionBudget {
    /// What `action` takes with the storage terminal at `working_voltage`.
    ///
    /// # Panics
    ///
    /// If a phase is timed by airtime and `radio` is `None`, which a checked
    /// [`crate::node::Node`] never has.
    pub fn of(
        regulator: &Regulator,
        action: &Action,
        radio: Option<&Radio>,
        working_voltage: Voltage,
    ) -> Self {
        let phases: Vec<_> = action
            .phases
            .iter()
            .map(|phase| {
                let timing = Airtime::of_phase(phase, radio);
                let load = Load::of_phase(regulator, phase, radio, fraction(0.0));
                PhaseBudget {
                    name: phase.name.clone(),
                    duration: timing.extent,
                    on_air: timing.on_air,
                    rail_current: phase.current,
                    rail_charge: phase.current * timing.extent,
                    storage_charge: load.charge_at(working_voltage),
                    storage_energy: load.energy_at(working_voltage),
                }
            })
            .collect();
        let attempt: Total = phases.iter().map(PhaseBudget::as_total).sum();
        Self {
            phases,
            attempts: action.attempts,
            attempt,
            total: attempt.times(f64::from(action.attempts)),
        }
    }
}

impl PhaseBudget {
    /// The phase as a sum of one.
    fn as_total(&self) -> Total {
        Total {
            duration: self.duration,
            on_air: self.on_air,
            rail_charge: self.rail_charge,
            storage_charge: self.storage_charge,
            storage_energy: self.storage_energy,
        }
    }
}

impl Total {
    /// The same `count` times over.
    pub(super) fn times(&self, count: f64) -> Self {
        Self {
            duration: self.duration * count,
            on_air: self.on_air * count,
            rail_charge: self.rail_charge * count,
            storage_charge: self.storage_charge * count,
            storage_energy: self.storage_energy * count,
        }
    }
}

impl Add for Total {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self {
            duration: self.duration + other.duration,
            on_air: self.on_air + other.on_air,
            rail_charge: self.rail_charge + other.rail_charge,
            storage_charge: self.storage_charge + other.storage_charge,
            storage_energy: self.storage_energy + other.storage_energy,
        }
    }
}

impl Sum for Total {
    fn sum<I: Iterator<Item = Self>>(totals: I) -> Self {
        totals.fold(Self::default(), Self::add)
    }
}
