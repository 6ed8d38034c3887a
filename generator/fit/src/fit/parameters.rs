//! The parameters of the contract: a value with its standard error, or why there is none and what would give one.

use super::Evidence;
use super::income;
use super::joint::{CAPACITANCE, LEAKING, REPORT, SAMPLE, SERIES, SLEEPING};
use super::points::{self, COLUMNS, MEASURE, Purpose, RESISTANCE, SLEEP, TRANSMIT};
use super::regression::Estimate;

/// Mixtures of sample and report that are tried for a scale.
const MIXTURES: u32 = 10;
/// A step is seen where its factor is known to this part.
const SEEN: f64 = 0.25;
/// A parameter is given where it is known to this part.
const KNOWN: f64 = 0.35;
/// The leakage is given where the log has narrowed it to this part of what was believed before.
const NARROWED: f64 = 0.5;
/// The income is given where its error is below this part of what comes in or of what the node draws asleep, the larger.
const INCOME_KNOWN: f64 = 0.5;
/// A step so many times the noise is seen by itself.
const CLEAR_STEP: f64 = 8.0;

/// One parameter.
#[derive(Clone, Debug, PartialEq)]
pub struct Parameter {
    /// Its name in the contract.
    pub name: &'static str,
    /// What it is, in SI units.
    pub value: Option<f64>,
    /// The unit.
    pub unit: &'static str,
    /// Of the value.
    pub standard_error: Option<f64>,
    /// What the node file says; `None` where it says nothing.
    pub described: Option<f64>,
    /// Why there is no value, and what would give one.
    pub reason: Option<String>,
}

/// A part over the capacitance: fixed by the log alone.
#[derive(Clone, Debug, PartialEq)]
pub struct Quotient {
    /// Name with its unit.
    pub name: &'static str,
    /// In SI units.
    pub value: f64,
    /// Of the value.
    pub standard_error: f64,
}

/// All parameters, and the quotients.
pub(super) fn of(evidence: &Evidence<'_>) -> (Vec<Parameter>, Vec<Quotient>) {
    let described = evidence.described;
    let capacitance_f = described.capacitance_f(described.working_v);
    let sleep_a = described.sleep_a(described.working_v);
    let empty = |name, unit, described| Parameter {
        name,
        value: None,
        unit,
        standard_error: None,
        described,
        reason: None,
    };
    let mut parameters = vec![
        empty("capacitance_f", "F", Some(capacitance_f)),
        empty("resistance_ohm", "ohm", Some(described.resistance_ohm)),
        empty("sleep_current_a", "A", Some(sleep_a)),
        empty("leakage_a", "A", Some(described.leakage_a)),
        empty("measure_energy_j", "J", Some(described.measure.energy_j)),
        empty("transmit_energy_j", "J", Some(described.transmit.energy_j)),
        empty("income_w", "W", None),
    ];
    let Some((estimate, parts)) = evidence.estimate.zip(evidence.parts) else {
        let reason = nothing_fitted(evidence);
        parameters
            .iter_mut()
            .for_each(|parameter| parameter.reason = Some(reason.clone()));
        return (parameters, Vec::new());
    };
    let seen = |column: usize| {
        let (known, error) = estimate.column(column);
        known && error < SEEN * estimate.beta[column].abs()
    };
    let (sample, report) = (seen(MEASURE), seen(TRANSMIT));
    let part = |place: usize, described: f64| {
        let value = parts.mean[place].exp() * described;
        (value, value * parts.deviation[place])
    };
    let narrow = |place: usize| parts.deviation[place] < KNOWN;
    let mut quotients = Vec::new();
    let mut quotient = |name, column: usize, over_described: f64| {
        let (known, error) = estimate.column(column);
        if known && error < KNOWN * estimate.beta[column].abs() {
            quotients.push(Quotient {
                name,
                value: estimate.beta[column] * over_described,
                standard_error: error * over_described.abs(),
            });
        }
    };
    quotient(
        "sleep_current_over_capacitance_a_per_f",
        SLEEP,
        sleep_a / capacitance_f,
    );
    quotient(
        "measure_energy_over_capacitance_j_per_f",
        MEASURE,
        described.measure.energy_j / capacitance_f,
    );
    quotient(
        "transmit_energy_over_capacitance_j_per_f",
        TRANSMIT,
        described.transmit.energy_j / capacitance_f,
    );
    let has_dark = evidence.cut.dark_s > 0.0;
    let has_scale = evidence.has_scale();
    let no_scale = "the log fixes each current over the capacitance only: no step of a known action stands clear of the noise. \
                    Log a report with its count or event, or measure the capacitor alone (--capacitance) or the sleeping current \
                    once (--sleep-current)";
    let set = |place: usize, (value, standard_error): (f64, f64), parameters: &mut Vec<Parameter>| {
        parameters[place].value = Some(value);
        parameters[place].standard_error = Some(standard_error);
    };
    let has_capacitance = has_scale && narrow(CAPACITANCE);
    if has_capacitance {
        set(0, part(CAPACITANCE, capacitance_f), &mut parameters);
    } else if has_scale {
        parameters[0].reason = Some(
            "steps and sleep tell of different capacitances: either the actions do not cost what the description says, or the \
             capacitor is not what it says. Measure the charge of one report, or the capacitor alone (--capacitance)"
                .into(),
        );
    } else {
        parameters[0].reason = Some(no_scale.into());
    }
    let (known, error) = estimate.column(RESISTANCE);
    if known && error < KNOWN * estimate.beta[RESISTANCE].abs() && narrow(SERIES) {
        set(1, part(SERIES, described.resistance_ohm), &mut parameters);
    } else {
        parameters[1].reason = Some(
            "no reading was taken under a known current. Log one reading in the middle of a report, with the report's start in \
             `event`"
                .into(),
        );
    }
    if has_dark && has_capacitance && narrow(SLEEPING) {
        set(2, part(SLEEPING, sleep_a), &mut parameters);
    } else {
        parameters[2].reason = Some(if !has_dark {
            "storage falls nowhere by sleep alone. Log some hours in the dark".into()
        } else if !has_scale {
            no_scale.to_owned()
        } else {
            "sleep moves the reading too little, or leakage may be as large: the log is too short in the dark. \
             `millpond log-plan` says how long it has to be, or measure the sleeping current once (--sleep-current)"
                .into()
        });
    }
    let own_s = described.leakage_s - described.resistors_s;
    let narrowed = parts.deviation[LEAKING] < NARROWED * parts.before[LEAKING];
    if has_dark && has_capacitance && narrowed && own_s > 0.0 {
        let over = described.leakage_a / own_s;
        let value_a = (parts.mean[LEAKING] * described.leakage_s - described.resistors_s) * over;
        set(
            3,
            (value_a, parts.deviation[LEAKING] * described.leakage_s * over),
            &mut parameters,
        );
    } else {
        parameters[3].reason = Some(
            "leakage and sleeping current both let storage fall; only how they change with voltage tells them apart. Log the \
             dark from full to nearly empty, or the bare capacitor for a day"
                .into(),
        );
    }
    for (place, part_of, is_seen, work, what) in [
        (4, SAMPLE, sample, &described.measure, "a sample"),
        (5, REPORT, report, &described.transmit, "a report"),
    ] {
        let energy_j = work.energy_j;
        let step_v = work.charge_c(described.working_v) / described.capacitance_f(described.working_v);
        if is_seen && has_capacitance && narrow(part_of) {
            set(place, part(part_of, energy_j), &mut parameters);
        } else {
            parameters[place].reason = Some(if place == 4 && !evidence.actions.has_samples {
                "the log does not say when samples were taken. Log them in `event`".into()
            } else if !is_seen && step_v > CLEAR_STEP * evidence.readings.noise_v {
                format!(
                    "the steps of {what} stand clear of the noise, but what else is drawn has their rhythm. Log each in `event`, \
                     or change the pace for a time"
                )
            } else if !is_seen {
                format!(
                    "no step of {what} stands clear of the noise. Log more of them, or read with finer steps"
                )
            } else {
                "the log fixes this energy over the capacitance only. Measure the charge of one report, or the capacitor alone \
                 (--capacitance)"
                    .into()
            });
        }
    }
    let balance = has_capacitance
        .then(|| {
            let points = points::of(
                evidence.log,
                described,
                evidence.readings,
                evidence.actions,
                Purpose::Balance,
            );
            income::mean_w(&points, described, parts, evidence.readings.noise_v)
        })
        .flatten();
    let asleep_w = sleep_a * described.working_v;
    match balance {
        Some((income_w, error_w))
            if error_w < INCOME_KNOWN * income_w.max(asleep_w) && narrow(SLEEPING) && has_dark =>
        {
            set(6, (income_w.max(0.0), error_w), &mut parameters);
        }
        _ => {
            parameters[6].reason = Some(
                "income is what the balance lacks: it needs the capacitance and the sleeping current, and a log long enough for \
                 their energies to stand clear of the readings' steps"
                    .into(),
            );
        }
    }
    (parameters, quotients)
}

/// Whether the steps of samples and reports, taken together in whatever shares, stand clear of the noise: each by itself may not,
/// where samples are so regular that they look like sleep.
pub(super) fn has_scale(estimate: &Estimate) -> bool {
    (0..=MIXTURES).any(|part| {
        let mut shares = [0.0; COLUMNS];
        shares[MEASURE] = f64::from(part) / f64::from(MIXTURES);
        shares[TRANSMIT] = 1.0 - shares[MEASURE];
        let factor: f64 = shares
            .iter()
            .zip(estimate.beta)
            .map(|(share, beta)| share * beta)
            .sum();
        let (known, error) = estimate.sum(&shares);
        known && error < KNOWN * factor
    })
}

fn nothing_fitted(evidence: &Evidence<'_>) -> String {
    if evidence.estimate.is_some() && evidence.parts.is_none() && evidence.known.is_scale() {
        "the log contradicts what was stated with --capacitance or --sleep-current: look at that figure first, then at the findings"
            .into()
    } else if evidence.estimate.is_some() && evidence.parts.is_none() {
        "the log contradicts the description in more than one way: look at the findings first".into()
    } else if evidence.readings.count == 0 {
        "the log has no readings of the storage voltage. Log `storage_mv`".into()
    } else {
        "no stretch of readings is long enough and free of gaps. Log more often, or for longer: see `millpond log-plan`".into()
    }
}
