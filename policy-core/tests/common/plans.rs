//! Random plans and planners for the property tests.

use millpond_policy::{AHEAD_SLOTS, Costs, EnergyModel, Plan, PlanParts, Planner, SLOTS};
use proptest::prelude::*;

use super::edge_u16;

/// The planner's memory, field by field, as the C header lays it out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(C)]
pub(crate) struct Memory {
    pub(crate) slots_units: [u16; SLOTS],
    pub(crate) balance_uj: u32,
    pub(crate) since_s: u16,
    pub(crate) interval_s: u16,
    pub(crate) slot: u8,
    pub(crate) ratio: u8,
    pub(crate) learned: u8,
}

impl Memory {
    pub(crate) fn planner(self) -> Planner {
        // SAFETY: both are `repr(C)` with the same fields, of which every value is allowed.
        #[allow(unsafe_code, reason = "the only way to a planner of any memory")]
        unsafe {
            std::mem::transmute(self)
        }
    }

    pub(crate) fn of(planner: Planner) -> Self {
        // SAFETY: as above.
        #[allow(unsafe_code, reason = "the only way to see all that a planner remembers")]
        unsafe {
            std::mem::transmute(planner)
        }
    }
}

/// Any memory that a planner can have: the fields stay in the ranges that its functions keep them in.
pub(crate) fn any_planner() -> impl Strategy<Value = Planner> {
    let slots = prop_oneof![
        proptest::array::uniform24(edge_u16()),
        proptest::array::uniform24(0_u16..2_000),
        edge_u16().prop_map(|units| [units; SLOTS]),
    ];
    let learned = prop_oneof![4 => Just(24_u8), 1 => 0_u8..24];
    let ratio = prop_oneof![2 => 0_u8..=192, 1 => Just(64), 1 => 60_u8..70];
    let balance_uj = prop_oneof![
        2 => 0_u32..=1 << 31,
        2 => (1_u32 << 31) - 10_000_000..(1 << 31) + 1_000_000,
        1 => any::<u32>(),
    ];
    let started = (
        slots,
        balance_uj,
        0_u16..3_600,
        edge_u16(),
        0_u8..24,
        ratio,
        learned,
    )
        .prop_map(
            |(slots_units, balance_uj, since_s, interval_s, slot, ratio, learned)| {
                let memory = Memory {
                    slots_units,
                    balance_uj,
                    since_s,
                    interval_s,
                    slot,
                    ratio,
                    learned,
                };
                memory.planner()
            },
        );
    prop_oneof![15 => started, 1 => Just(Planner::cold_start())]
}

/// Any set of constants that `Plan::new` accepts, with the extremes of each range among them.
pub(crate) fn any_plan() -> impl Strategy<Value = Plan> {
    let times = (edge_u16(), edge_u16()).prop_map(|(a, b)| (a.min(b).max(1), a.max(b).max(1)));
    let levels = (0_u16..=32_767, 0..=u16::MAX, 0..=u16::MAX).prop_map(|(full_units, reserve, target)| {
        let part = |of: u16| ((u32::from(full_units) * u32::from(of)) >> 16) as u16;
        let ends = |of: u16| {
            if of.is_multiple_of(7) {
                full_units
            } else {
                part(of)
            }
        };
        (full_units, ends(reserve), ends(target))
    });
    let caution = prop_oneof![
        proptest::collection::vec(any::<u8>(), AHEAD_SLOTS),
        any::<u8>().prop_map(|one| vec![one; AHEAD_SLOTS]),
        Just(vec![u8::MAX; AHEAD_SLOTS]),
    ];
    let weights = (any::<[u8; 3]>(), prop_oneof![64_u8..=255, Just(64), Just(255)]);
    let sample_unit_s = prop_oneof![1_u32..=89_478_485, 1_u32..1_000_000, Just(89_478_485)];
    let rest = (edge_u16(), edge_u16(), sample_unit_s, caution, weights, times);
    (any_energy(), any_costs(), 0_u8..=16, levels, rest).prop_map(
        |(energy, (measure_uj, transmit_uj, sleep_part), unit_shift, levels, rest)| {
            let (full_units, reserve_units, target_units) = levels;
            let (sleep_units, full_reading_mv, sample_unit_s, caution, weights, times) = rest;
            let ([slot_kept, ratio_kept, ratio_fading], growth) = weights;
            let room_uj = i128::from(i32::MAX) - stored_uj(&energy, energy.full_mv);
            let sleep_uw = room_uj / 7_200 * i128::from(sleep_part) / 255;
            Plan::new(PlanParts {
                energy,
                costs: Costs {
                    measure_uj,
                    transmit_uj,
                    sleep_uw: sleep_uw as u32,
                },
                unit_shift,
                full_units,
                sleep_units,
                sample_unit_s,
                reserve_units,
                target_units,
                full_reading_mv,
                caution: caution.try_into().expect("as many as slots ahead"),
                slot_kept,
                ratio_kept,
                ratio_fading,
                growth,
                fastest_s: times.0,
                slowest_s: times.1,
            })
            .expect("the strategy keeps every rule")
        },
    )
}

fn any_costs() -> impl Strategy<Value = (u32, u32, u8)> {
    let cost_uj = || prop_oneof![4 => 0_u32..200_000, 1 => any::<u32>(), 1 => Just(u32::MAX)];
    let sleep_part = prop_oneof![Just(0_u8), Just(255), any::<u8>()];
    (cost_uj(), cost_uj(), sleep_part)
}

/// Energy models up to 2³¹ − 1 µJ.
fn any_energy() -> impl Strategy<Value = EnergyModel> {
    let parts = (edge_u16(), edge_u16(), 0_u8..=31, 1_u16..=u16::MAX, 0_u8..=31);
    let any = parts.prop_map(|(a, b, energy_shift_before, energy_scale, energy_shift_after)| {
        let (floor_mv, full_mv) = (a.min(b), a.max(b));
        let squares = (u64::from(full_mv).pow(2) - u64::from(floor_mv).pow(2)) >> energy_shift_before;
        let most = u64::from(u32::MAX) / squares.max(1);
        let energy_scale = u64::from(energy_scale).min(most).max(1) as u16;
        let mut shift = energy_shift_after;
        // A plan has one bit less than a policy.
        while (squares * u64::from(energy_scale)) >> shift > i32::MAX as u64 {
            shift += 1;
        }
        EnergyModel {
            floor_mv,
            full_mv,
            energy_shift_before,
            energy_scale,
            energy_shift_after: shift,
        }
    });
    prop_oneof![1 => any, 1 => Just(Plan::EXAMPLE.parts().energy)]
}

/// Energy above the floor (µJ), in numbers that cannot overflow.
pub(crate) fn stored_uj(energy: &EnergyModel, storage_mv: u16) -> i128 {
    let square = |voltage_mv: u16| i128::from(voltage_mv) * i128::from(voltage_mv);
    let above = (square(storage_mv.min(energy.full_mv)) - square(energy.floor_mv)).max(0);
    ((above >> energy.energy_shift_before) * i128::from(energy.energy_scale)) >> energy.energy_shift_after
}
