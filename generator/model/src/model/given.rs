//! What tests give: banks, drains and stretches in plain numbers.

use crate::model::bank::{Bank, Branch};
use crate::model::drain::Drain;
use crate::model::stretch::Stretch;
use crate::node::{Capacitor, Sense, SenseKind};
use crate::units::*;

/// A capacitor that is exactly what it says, new and old, warm and cold, and does not leak.
pub fn capacitor(capacitance_f: f64, esr_ohm: f64) -> Capacitor {
    Capacitor {
        capacitance: farads(capacitance_f),
        capacitance_slope: farads_per_volt(0.0),
        tolerance_low: fraction(0.0),
        tolerance_high: fraction(0.0),
        esr: ohms(esr_ohm),
        esr_minimum: ohms(0.0),
        rated_voltage: volts(5.5),
        leakage: amperes(0.0),
        hot_leakage: None,
        fresh_leakage: None,
        series: 1,
        parallel: 1,
        balance_resistor: None,
        bias_capacitance: fraction(1.0),
        end_of_life_capacitance: fraction(1.0),
        end_of_life_esr: fraction(1.0),
        cold_capacitance: fraction(1.0),
        cold_esr: fraction(1.0),
        states_cold: true,
    }
}

/// A branch of constant capacitance.
pub fn branch(capacitance_f: f64, resistance_ohm: f64) -> Branch {
    Branch {
        capacitance: farads(capacitance_f),
        slope: farads_per_volt(0.0),
        resistance: ohms(resistance_ohm),
    }
}

/// A bank of branches, each with its capacitance (F) and its resistance (ohm).
pub fn bank(branches: &[(f64, f64)], leakage_s: f64) -> Bank {
    Bank {
        branches: branches
            .iter()
            .map(|(capacitance_f, resistance_ohm)| branch(*capacitance_f, *resistance_ohm))
            .collect(),
        leakage: siemenses(leakage_s),
    }
}

/// A constant power and a constant current.
pub fn drain(power_w: f64, current_a: f64) -> Drain {
    Drain {
        power: watts(power_w),
        current: amperes(current_a),
    }
}

/// The same for a while, without a peak.
pub fn stretch(power_w: f64, current_a: f64, duration_s: f64) -> Stretch {
    let drain = drain(power_w, current_a);
    Stretch {
        drain,
        peak: drain,
        duration: seconds(duration_s),
    }
}

/// A converter that reads a reference against its supply.
pub fn against_supply(bits: u32, reference_v: f64, tolerance: f64) -> Sense {
    Sense {
        kind: SenseKind::Reference,
        bits,
        reference: volts(reference_v),
        reference_tolerance: fraction(tolerance),
        divider_top: ohms(0.0),
        divider_bottom: ohms(1.0),
        divider_tolerance: fraction(0.0),
        divider_switched: true,
        sampling_capacitor: None,
        sampling_time: None,
        input_leakage: amperes(0.0),
    }
}
