//! Reads `[storage]`: the capacitors of the bank.

use std::ops::Range;

use super::Capacitor;
use super::limit::Limit;
use super::quantity::{Quantity, show};
use super::table::Table;
use super::unit::Dimension;
use crate::units::*;

/// Kinds of capacitor side by side; a board has a handful.
const MOST_KINDS: usize = 32;

/// Cells in series or strings in parallel beyond this are a slip of the keyboard.
const MOST_CELLS: u32 = 1000;

/// A cell's upper tolerance beyond this is a slip: the widest that is sold is some hundred percent.
const MOST_TOLERANCE_HIGH: f64 = 10.0;

/// Cold and aged cells have been seen with some ten times their resistance; beyond this it is a slip.
const MOST_RESISTANCE_FACTOR: f64 = 100.0;

/// Cells have been seen to leak some hundred times more when new or hot; beyond this it is a slip.
const MOST_LEAKAGE_FACTOR: f64 = 1000.0;

/// A cell may gain a little capacitance in the cold, not more than twice.
const MOST_COLD_CAPACITANCE: f64 = 2.0;

/// One capacitor entry with what later checks point at.
pub(super) struct Bank {
    /// The capacitor, when all of it could be read.
    pub(super) capacitor: Option<Capacitor>,
    /// Highest voltage that the string of cells stands, and where its rated voltage is written.
    pub(super) rated: Option<(Voltage, Range<usize>)>,
}

/// Reads all capacitors.
pub(super) fn read(root: &mut Table<'_>) -> Vec<Bank> {
    let example = "[[storage.capacitor]]";
    if !root.has("storage") {
        return root
            .tables("storage", example)
            .into_iter()
            .map(read_capacitor)
            .collect();
    }
    let Some(mut storage) = root.optional_table("storage") else {
        return Vec::new();
    };
    let mut tables = storage.tables("capacitor", example);
    if let Some(table) = tables.get(MOST_KINDS) {
        table.note(
            &table.span,
            format!("more than {MOST_KINDS} kinds of capacitor"),
            "no more of them",
            "write equal ones as one, with `parallel` and `series`",
        );
        tables.truncate(MOST_KINDS);
    }
    let banks = tables.into_iter().map(read_capacitor).collect();
    storage.finish();
    banks
}

fn read_capacitor(mut table: Table<'_>) -> Bank {
    let bank = read_cell(&mut table, None);
    table.finish();
    bank
}

/// Reads one kind of capacitor. What may be left out of a catalogue is then that of `own`.
pub(super) fn read_cell(table: &mut Table<'_>, own: Option<&Capacitor>) -> Bank {
    let factor = Limit::PART;
    let growth = Limit::ANY.from(1.0).up_to(MOST_RESISTANCE_FACTOR);
    let capacitance = table.required::<Capacitance>("capacitance", "470 mF", Limit::POSITIVE);
    let slope = table.optional::<CapacitanceSlope>("capacitance_slope", "0.3 F/V", Limit::NOT_NEGATIVE);
    let above = Limit::NOT_NEGATIVE.up_to(MOST_TOLERANCE_HIGH);
    let (tolerance_low, tolerance_high);
    match own {
        None => {
            let given = table.required::<Ratio>("tolerance_low", "20 %", Limit::TOLERANCE);
            tolerance_low = given.map(|given| given.value);
            let given = table.required::<Ratio>("tolerance_high", "20 %", above);
            tolerance_high = given.map(|given| given.value);
        }
        Some(own) => {
            tolerance_low = table.or("tolerance_low", "20 %", Limit::TOLERANCE, own.tolerance_low);
            tolerance_high = table.or("tolerance_high", "20 %", above, own.tolerance_high);
        }
    }
    let esr = table.required::<Resistance>("esr", "150 mohm", Limit::POSITIVE);
    let esr_minimum = table.optional::<Resistance>("esr_minimum", "40 mohm", Limit::NOT_NEGATIVE);
    let rated_voltage = table.required::<Voltage>("rated_voltage", "5.5 V", Limit::POSITIVE);
    let leakage = table.required::<Current>("leakage", "5 uA", Limit::NOT_NEGATIVE);
    let more_leakage = Limit::ANY.from(1.0).up_to(MOST_LEAKAGE_FACTOR);
    let hot_leakage = table.optional::<Ratio>("hot_leakage", "400 %", more_leakage);
    let fresh_leakage = table.optional::<Ratio>("fresh_leakage", "1000 %", more_leakage);
    let series = table.or::<u32>("series", "2", 1..=MOST_CELLS, 1);
    let parallel = table.or::<u32>("parallel", "2", 1..=MOST_CELLS, 1);
    let balance_resistor = table.optional::<Resistance>("balance_resistor", "470 kohm", Limit::POSITIVE);
    let whole = |of: fn(&Capacitor) -> Ratio| own.map_or(fraction(1.0), of);
    let bias_capacitance = table.or(
        "bias_capacitance",
        "55 %",
        factor,
        whole(|own| own.bias_capacitance),
    );
    let end_of_life_capacitance = table.or(
        "end_of_life_capacitance",
        "70 %",
        factor,
        whole(|own| own.end_of_life_capacitance),
    );
    let end_of_life_esr = table.or(
        "end_of_life_esr",
        "200 %",
        growth,
        whole(|own| own.end_of_life_esr),
    );
    let states_cold = ["cold_capacitance", "cold_esr"].iter().any(|key| table.has(key));
    let cold_capacitance = table.or(
        "cold_capacitance",
        "90 %",
        Limit::POSITIVE.up_to(MOST_COLD_CAPACITANCE),
        whole(|own| own.cold_capacitance),
    );
    let cold_esr = table.or("cold_esr", "180 %", growth, whole(|own| own.cold_esr));

    if let (Some(capacitance), Some(slope), Some(rated)) = (&capacitance, &slope, &rated_voltage) {
        let most = capacitance.value / rated.value;
        if slope.value >= most {
            let shown = show(Dimension::CapacitanceSlope, most.in_base());
            table.log().note(
                crate::problem::Problem::new(
                    slope.span.clone(),
                    "`capacitance_slope` leaves no capacitance at 0 V",
                    format!("below {shown}, that is capacitance / rated_voltage"),
                    "`capacitance` is the value at rated voltage; lower the slope, or leave it out if it is not known",
                )
                .with(&capacitance.span, "at rated voltage"),
            );
        }
    }
    if let (Some(esr), Some(least)) = (&esr, &esr_minimum)
        && least.value > esr.value
    {
        table.log().note(
            crate::problem::Problem::new(
                least.span.clone(),
                "`esr_minimum` is above `esr`",
                format!("at most {}", show(Dimension::Resistance, esr.value.in_base())),
                "`esr` is the largest series resistance of a new part, `esr_minimum` the least; exchange them, or leave out \
                 `esr_minimum` if it is not known",
            )
            .with(&esr.span, "largest"),
        );
    }
    if let (Some(balance), Some(1)) = (&balance_resistor, series) {
        table.note(
            &balance.span,
            "`balance_resistor` without cells in series",
            "goes with series = 2 or more",
            "remove `balance_resistor`, or write how many cells stand in series; a resistor across the whole bank \
             is part of `leakage`",
        );
    }
    let rated = match (&rated_voltage, series) {
        (Some(rated), Some(series)) => Some((rated.value * f64::from(series), rated.span.clone())),
        _ => None,
    };
    let capacitor = (|| {
        Some(Capacitor {
            capacitance: capacitance?.value,
            capacitance_slope: slope.map_or_else(|| farads_per_volt(0.0), |given| given.value),
            tolerance_low: tolerance_low?,
            tolerance_high: tolerance_high?,
            esr: esr?.value,
            esr_minimum: esr_minimum.map_or_else(|| ohms(0.0), |given| given.value),
            rated_voltage: rated_voltage?.value,
            leakage: leakage?.value,
            hot_leakage: hot_leakage.map(|given| given.value).or_else(|| own?.hot_leakage),
            fresh_leakage: fresh_leakage
                .map(|given| given.value)
                .or_else(|| own?.fresh_leakage),
            series: series?,
            parallel: parallel?,
            balance_resistor: balance_resistor
                .map(|given| given.value)
                // What stands across the cells of the node's own string stands across others in its place.
                .or_else(|| own.filter(|_| series > Some(1))?.balance_resistor),
            bias_capacitance: bias_capacitance?,
            end_of_life_capacitance: end_of_life_capacitance?,
            end_of_life_esr: end_of_life_esr?,
            cold_capacitance: cold_capacitance?,
            cold_esr: cold_esr?,
            states_cold: states_cold || own.is_some_and(|own| own.states_cold),
        })
    })();
    Bank { capacitor, rated }
}
