//! Income from the balance: what storage gained and what the node drew must have come in.

use super::described::Described;
use super::joint::{CAPACITANCE, LEAKING, Parts, REPORT, SAMPLE, SLEEPING, UNKNOWNS};
use super::points::{LEAKAGE, MEASURE, Point, SLEEP, TRANSMIT};
use nalgebra::SVector;

/// Mean power that reached storage over all runs, and its standard error (W).
///
/// In each step the charge c·(Δv + Σ θ·Δx) has come in at the voltage v (docs/model.md, equation 39).
pub(super) fn mean_w(
    points: &[Point],
    described: &Described,
    parts: &Parts,
    noise_v: f64,
) -> Option<(f64, f64)> {
    let mut gained_j = 0.0;
    let mut drawn_j = [0.0; 4];
    let (mut time_s, mut ends_j2) = (0.0, 0.0);
    let mut is_first = true;
    for pair in points.windows(2) {
        if pair[0].run != pair[1].run {
            is_first = true;
            continue;
        }
        let middle_v = (pair[0].storage_v + pair[1].storage_v) / 2.0;
        let energy_j = middle_v * described.capacitance_f(middle_v);
        gained_j += energy_j * (pair[1].storage_v - pair[0].storage_v);
        for (sum, column) in drawn_j.iter_mut().zip([SLEEP, LEAKAGE, MEASURE, TRANSMIT]) {
            *sum += energy_j * (pair[1].x[column] - pair[0].x[column]);
        }
        time_s += pair[1].time_s - pair[0].time_s;
        if is_first {
            ends_j2 += 2.0 * (energy_j * noise_v).powi(2);
            is_first = false;
        }
    }
    if time_s <= 0.0 {
        return None;
    }
    let factor = |part: usize| parts.mean[part].exp();
    let mut slope = SVector::<f64, UNKNOWNS>::zeros();
    slope[CAPACITANCE] = factor(CAPACITANCE) * gained_j;
    slope[SLEEPING] = factor(SLEEPING) * drawn_j[0];
    slope[LEAKING] = drawn_j[1];
    slope[SAMPLE] = factor(SAMPLE) * drawn_j[2];
    slope[REPORT] = factor(REPORT) * drawn_j[3];
    let leaked_j = parts.mean[LEAKING] * drawn_j[1];
    let income_j = slope[CAPACITANCE] + slope[SLEEPING] + leaked_j + slope[SAMPLE] + slope[REPORT];
    // Voltages that read too large make energies too large: those of the store by the square.
    let current_j = slope[SLEEPING] + slope[SAMPLE] + slope[REPORT];
    slope[UNKNOWNS - 1] = -2.0 * (slope[CAPACITANCE] + leaked_j) - current_j;
    let variance_j2 =
        (slope.transpose() * parts.covariance * slope)[(0, 0)] + ends_j2 * factor(CAPACITANCE).powi(2);
    Some((income_j / time_s, variance_j2.max(0.0).sqrt() / time_s))
}
