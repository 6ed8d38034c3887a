//! What a threshold is made of: each cause with the volts it takes.

use crate::units::*;

/// One cause and what it adds to a threshold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Term {
    /// Why.
    pub cause: Cause,
    /// How much; at least 0 but for rounding in the last place.
    pub voltage: Voltage,
}

/// Why a threshold stands above the floor, in the order in which the causes are added.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// What the action takes from nominal capacitors without series resistance.
    Action,
    /// Series resistance of new parts at room temperature.
    SeriesResistance,
    /// Parts delivered below their nominal capacitance.
    CapacitanceTolerance,
    /// Capacitance lost at the end of life.
    CapacitanceEndOfLife,
    /// Capacitance lost at the cold end.
    CapacitanceCold,
    /// Series resistance gained at the end of life.
    ResistanceEndOfLife,
    /// Series resistance gained at the cold end.
    ResistanceCold,
    /// Load currents above what was stated.
    LoadMargin,
    /// What the corner that wins takes more than that of the largest resistances.
    Corner,
    /// Sleep after the action, without income.
    Reserve,
    /// A reading taken while the converter charges stands above the voltage behind the resistance.
    ChargingLift,
    /// Reference voltage below nominal.
    ReferenceTolerance,
    /// Divider ratio above nominal.
    DividerTolerance,
    /// The current of the converter's input, through the divider.
    InputLeakage,
    /// The sampling capacitor has not settled.
    Settling,
    /// Resolution of the converter.
    OneCount,
    /// Added by the node file.
    Extra,
    /// Up to the next whole millivolt.
    Rounding,
}

/// Causes that one change cures together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    /// The energy that the action takes, and the margin on its currents.
    Load,
    /// Series resistance, new, old and cold.
    Resistance,
    /// Capacitance missing from nominal.
    Capacitance,
    /// The reserve.
    Reserve,
    /// The lift of a reading across the series resistance while the source charges.
    Charging,
    /// Errors of the reading.
    Sensing,
    /// The extra margin and rounding.
    Extra,
}

impl Cause {
    /// Whether a printed ladder leaves it out where it is nothing for every action: what most nodes do not state.
    pub fn is_optional(self) -> bool {
        matches!(self, Self::InputLeakage | Self::Settling)
    }

    /// The name used in every output.
    pub fn name(self) -> &'static str {
        match self {
            Self::Action => "action",
            Self::SeriesResistance => "series resistance",
            Self::CapacitanceTolerance => "capacitance tolerance",
            Self::CapacitanceEndOfLife => "capacitance at end of life",
            Self::CapacitanceCold => "capacitance in the cold",
            Self::ResistanceEndOfLife => "resistance at end of life",
            Self::ResistanceCold => "resistance in the cold",
            Self::LoadMargin => "load margin",
            Self::Corner => "worst corner",
            Self::Reserve => "reserve",
            Self::ChargingLift => "charging lift",
            Self::ReferenceTolerance => "reference tolerance",
            Self::DividerTolerance => "divider tolerance",
            Self::InputLeakage => "pin leakage",
            Self::Settling => "settling",
            Self::OneCount => "one count",
            Self::Extra => "extra",
            Self::Rounding => "rounding up",
        }
    }

    /// The group it belongs to.
    pub fn group(self) -> Group {
        match self {
            Self::Action | Self::LoadMargin => Group::Load,
            Self::SeriesResistance | Self::ResistanceEndOfLife | Self::ResistanceCold | Self::Corner => {
                Group::Resistance
            }
            Self::CapacitanceTolerance | Self::CapacitanceEndOfLife | Self::CapacitanceCold => {
                Group::Capacitance
            }
            Self::Reserve => Group::Reserve,
            Self::ChargingLift => Group::Charging,
            Self::ReferenceTolerance
            | Self::DividerTolerance
            | Self::InputLeakage
            | Self::Settling
            | Self::OneCount => Group::Sensing,
            Self::Extra | Self::Rounding => Group::Extra,
        }
    }
}

impl Group {
    /// All groups.
    pub const ALL: [Self; 7] = [
        Self::Load,
        Self::Resistance,
        Self::Capacitance,
        Self::Reserve,
        Self::Charging,
        Self::Sensing,
        Self::Extra,
    ];

    /// How a sentence names it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Load => "the action's own energy",
            Self::Resistance => "series resistance",
            Self::Capacitance => "missing capacitance",
            Self::Reserve => "the reserve",
            Self::Charging => "the lift of charging",
            Self::Sensing => "sensing error",
            Self::Extra => "the extra margin",
        }
    }
}
