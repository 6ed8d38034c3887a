//! The constants of the firmware's policy, all integers. Conversions are those of [`crate::rounding`].

mod pace;
mod silence;
#[cfg(test)]
mod tests;

pub use pace::{above_thresholds, sleep_power};
pub use silence::{Silence, off_time};

use hmac_sha256::Hash;
use millpond_policy::{Costs, PACE_ROWS, PaceRow, Policy, PolicyParts, Rejected};

use crate::model::bank::{Bank, Wear};
use crate::node::Node;
use crate::rounding::{self, EnergyScale};
use crate::thresholds::Thresholds;
use crate::units::*;

/// The income estimate averages over this part of `policy.dark_horizon`: slow enough for clouds and steps of the reading,
/// fast enough for dusk (common practice, no source).
const INCOME_PART: f64 = 0.25;
/// The policy refuses slower averages than 2^16 s.
const LARGEST_INCOME_SHIFT: u32 = 16;

/// The policy of `node`.
///
/// # Errors
///
/// The rule that the constants break. A node without an error among its findings breaks none.
pub fn policy(node: &Node, thresholds: &Thresholds) -> Result<Policy, Rejected> {
    let millivolts = |mv: u32| u16::try_from(mv).unwrap_or(u16::MAX);
    let limit = node.radio.as_ref().and_then(|radio| radio.duty_limit);
    let off_time_s = limit.map_or(0, |limit| {
        rounding::silence_up(Silence::of(&thresholds.transmit.load, limit).spacing)
    });
    let retry_s = rounding::seconds_up(node.policy.fastest);
    let floor = thresholds.floor;
    // The smallest capacitance on the way: energy above the floor is never overestimated, since
    // ∫ C(u)·u du ≥ C(floor)·(v² − floor²)/2 where C rises. No larger constant holds just above the floor.
    let capacitance = Bank::of_node(node, Wear::WORST).capacitance(floor);
    let energy =
        EnergyScale::of(capacitance, floor, thresholds.overvoltage).ok_or(Rejected::EnergyOverflow)?;
    let income_s = (node.policy.dark_horizon.get::<second>() * INCOME_PART).max(1.0);
    let mut parts = PolicyParts {
        measure_mv: millivolts(thresholds.measure.decide_mv),
        transmit_mv: millivolts(thresholds.transmit.decide_mv),
        hysteresis_mv: millivolts(thresholds.hysteresis_mv),
        batch: node.policy.batch as u8,
        backlog: node.policy.backlog as u8,
        off_time_s,
        spacing_s: off_time_s.max(retry_s),
        retry_s,
        pace: filled(&pace::rows(node, thresholds, PACE_ROWS)),
        energy: energy.into(),
        costs: Costs {
            measure_uj: rounding::microjoules_up(thresholds.measure.energy),
            transmit_uj: rounding::microjoules_up(thresholds.transmit.energy),
            sleep_uw: rounding::microwatts_up(sleep_power(thresholds)),
        },
        sense: thresholds.counts.into(),
        income_shift: (libm::log2(income_s).floor() as u32).min(LARGEST_INCOME_SHIFT) as u8,
        fingerprint: 0,
    };
    parts.fingerprint = fingerprint(&parts);
    Policy::new(parts)
}

/// The rows as an array. Rows that are not needed stand at the lowest voltages and wait as long as the last one.
fn filled(rows: &[pace::Row]) -> [PaceRow; PACE_ROWS] {
    let longest_s = rows.last().map_or(u16::MAX, |row| row.wait_s);
    let mut array = [PaceRow {
        from_mv: 0,
        wait_s: longest_s,
    }; PACE_ROWS];
    let unused = PACE_ROWS.saturating_sub(rows.len());
    for (index, row) in array.iter_mut().enumerate() {
        let from_below = (PACE_ROWS - 1 - index) as u16;
        *row = match rows.get(index) {
            Some(given) if given.from_mv > unused as u16 => PaceRow {
                from_mv: given.from_mv,
                wait_s: given.wait_s,
            },
            _ => PaceRow {
                from_mv: from_below,
                wait_s: longest_s,
            },
        };
    }
    array
}

/// Marks retained state as made under these constants: the first 16 bits of a hash over all of them.
fn fingerprint(parts: &PolicyParts) -> u16 {
    let hash = Hash::hash(format!("{parts:?}").as_bytes());
    u16::from_be_bytes([hash[0], hash[1]])
}
