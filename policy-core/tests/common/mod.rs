//! Random policies and states for the property tests.
#![allow(dead_code, reason = "each test binary uses its own part")]

pub(crate) mod plans;

use millpond_policy::{
    Costs, EnergyModel, Outage, PACE_ROWS, PaceRow, Policy, PolicyParts, RETAINED_BYTES, Sense, SenseKind,
    State,
};
use proptest::prelude::*;

/// Any set of constants that `Policy::new` accepts, with the extremes of each range among them.
pub(crate) fn any_policy() -> impl Strategy<Value = Policy> {
    let thresholds = (edge_u16(), edge_u16(), edge_u16(), 0_u16..300).prop_map(|(a, b, c, hysteresis_mv)| {
        let largest_mv = u16::MAX - hysteresis_mv;
        let (a, b, c) = (a.min(largest_mv), b.min(largest_mv), c.min(largest_mv));
        (a.max(c), b.max(c), c, hysteresis_mv)
    });
    let times = (edge_u16(), edge_u16(), edge_u16()).prop_map(|(a, b, retry_s)| {
        let off_time_s = a.min(b).min(u16::MAX - 1);
        (off_time_s, a.max(b), retry_s.max(1))
    });
    let pace = (
        proptest::collection::btree_set(1_u16.., PACE_ROWS - 1),
        proptest::collection::vec(prop_oneof![1_u16.., 1_u16..4_000], PACE_ROWS),
    )
        .prop_map(|(voltages, mut waits)| {
            waits.sort_unstable();
            let voltages = voltages.into_iter().rev().chain([0]);
            let rows: Vec<PaceRow> = voltages
                .zip(waits)
                .map(|(from_mv, wait_s)| PaceRow { from_mv, wait_s })
                .collect();
            <[PaceRow; PACE_ROWS]>::try_from(rows).expect("as many rows as voltages")
        });
    (thresholds, times, pace, any::<(u8, u8, u16)>(), 0_u8..=16).prop_map(
        |(thresholds, times, pace, (first, second, fingerprint), income_shift)| {
            let (measure_mv, transmit_mv, floor_mv, hysteresis_mv) = thresholds;
            let (off_time_s, spacing_s, retry_s) = times;
            Policy::new(PolicyParts {
                measure_mv,
                transmit_mv,
                hysteresis_mv,
                batch: first.min(second).max(1),
                backlog: first.max(second).max(1),
                off_time_s,
                spacing_s,
                retry_s,
                pace,
                energy: EnergyModel {
                    floor_mv,
                    full_mv: u16::MAX,
                    energy_shift_before: 16,
                    energy_scale: 40_000,
                    energy_shift_after: 1,
                },
                costs: Costs {
                    measure_uj: 1,
                    transmit_uj: 2,
                    sleep_uw: 3,
                },
                sense: Sense {
                    kind: SenseKind::Divider,
                    count_scale: 65_536,
                    count_shift: 16,
                    maximum_count: u16::MAX,
                },
                income_shift,
                fingerprint,
            })
            .expect("the strategy keeps every rule")
        },
    )
}

/// A 16-bit number, often at an end of its range or near a voltage or time that nodes use.
pub(crate) fn edge_u16() -> impl Strategy<Value = u16> {
    prop_oneof![2 => any::<u16>(), 2 => 1_500_u16..6_000, 1 => Just(0), 1 => Just(u16::MAX), 1 => 0_u16..100]
}

/// Elapsed seconds: standing still, ordinary, jumping, wrapping.
pub(crate) fn any_elapsed_s() -> impl Strategy<Value = u32> {
    prop_oneof![
        2 => Just(0_u32),
        4 => 1_u32..100,
        4 => 1_u32..5_000,
        1 => 65_530_u32..65_540,
        1 => any::<u32>(),
        1 => Just(u32::MAX),
    ]
}

/// Any state that the policy can be in.
pub(crate) fn any_state(policy: Policy) -> impl Strategy<Value = State> {
    let spacing_s = policy.parts().spacing_s;
    let after_s = prop_oneof![2 => 0..=spacing_s, 1 => Just(0), 1 => Just(spacing_s)];
    (edge_u16(), after_s, 0_u8..4).prop_map(move |(since_s, after_s, refused)| {
        let copy = packed(policy.parts().fingerprint, since_s, after_s, refused);
        let state = State::unpack(&policy, &copy, Outage::Seconds(0));
        assert_eq!(
            (state.since_measure_s(), state.transmit_after_s()),
            (since_s, after_s)
        );
        state
    })
}

/// A copy as the crate's page describes it.
pub(crate) fn packed(fingerprint: u16, since_s: u16, after_s: u16, refused: u8) -> [u8; RETAINED_BYTES] {
    let mut copy = [0; RETAINED_BYTES];
    copy[0] = 8 + refused;
    copy[1..3].copy_from_slice(&since_s.to_le_bytes());
    copy[3..5].copy_from_slice(&after_s.to_le_bytes());
    copy[10..].copy_from_slice(&fingerprint.to_le_bytes());
    with_check(copy)
}

/// The copy with the check bytes that fit its first five bytes: the sum of these times powers of 2, each product a
/// product of polynomials of which the remainder by x⁸ + x⁴ + x³ + x² + 1 is taken at the end.
pub(crate) fn with_check(mut copy: [u8; RETAINED_BYTES]) -> [u8; RETAINED_BYTES] {
    for check in 0..5 {
        let mut sum = (0..5).fold(0_u32, |sum, place| {
            sum ^ u32::from(copy[place]) << (check * (4 - place))
        });
        for bit in (8..32).rev() {
            if sum >> bit & 1 == 1 {
                sum ^= 0x11D << (bit - 8);
            }
        }
        copy[5 + check] = sum as u8;
    }
    copy
}
