//! The promises about the planner: what the thresholds and the radio promise holds under any plan; its numbers are those of a
//! reference that cannot overflow; limits are those derived by hand.

mod common;
#[path = "common/planner_reference.rs"]
mod reference;

use common::plans::{Memory, any_plan, any_planner};
use common::{any_elapsed_s, any_policy, any_state, edge_u16};
use millpond_policy::{
    AHEAD_SLOTS, Decision, EnergyModel, Plan, PlanParts, Planner, Policy, Reading, Rejected, SLOT_S, State,
};
use proptest::prelude::*;
use reference::{Reference, first_slope};

/// Random streams, each of up to [`STREAM_STEPS`] wake-ups: a plan starts after 24 slots.
const STREAMS: u32 = 600;
const STREAM_STEPS: usize = 200;
/// Single decisions from any memory.
const DECISIONS: u32 = 20_000;
/// Memories of which every 16-bit reading is tried at the end of a slot.
const SWEEPS: u32 = 60;

fn any_reading() -> impl Strategy<Value = Reading> {
    // Most steps end a slot, or two: that is when the planner works.
    let elapsed_s = prop_oneof![any_elapsed_s(), 3_000_u32..8_000, Just(3_600_u32)];
    (edge_u16(), elapsed_s, any::<u8>()).prop_map(|(storage_mv, elapsed_s, waiting)| Reading {
        storage_mv,
        elapsed_s,
        waiting,
    })
}

#[derive(Clone, Copy, Debug)]
enum Step {
    Ask(Reading),
    /// Energy that no decision granted (µJ).
    Spend(u32),
    /// Power loss: the planner is gone, the state is not.
    Forget,
}

fn any_step() -> impl Strategy<Value = Step> {
    prop_oneof![
        30 => any_reading().prop_map(Step::Ask),
        2 => (0_u32..1_000_000).prop_map(Step::Spend),
        1 => any::<u32>().prop_map(Step::Spend),
        1 => Just(Step::Forget),
    ]
}

fn any_start() -> impl Strategy<Value = (Policy, State, Plan, Planner)> {
    let policy = any_policy().prop_flat_map(|policy| (Just(policy), any_state(policy)));
    (policy, any_plan(), any_planner())
        .prop_map(|((policy, state), plan, planner)| (policy, state, plan, planner))
}

/// Ranks an answer: a larger one is a greater action or a shorter wait.
fn rank(decision: Decision) -> u32 {
    match decision {
        Decision::Transmit => 200_001,
        Decision::Measure => 200_000,
        Decision::Wait { seconds, .. } => 100_000 - u32::from(seconds),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: DECISIONS, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_plan_grants_an_action_below_its_threshold(
        (policy, mut state, plan, mut planner) in any_start(), reading in any_reading(),
    ) {
        let parts = policy.parts();
        match planner.decide(&policy, &plan, &mut state, reading) {
            Decision::Measure => prop_assert!(reading.storage_mv >= parts.measure_mv),
            Decision::Transmit => prop_assert!(reading.storage_mv >= parts.transmit_mv),
            Decision::Wait { seconds, .. } => prop_assert!(seconds >= 1),
        }
    }

    #[test]
    fn a_planned_wait_ends_with_the_slot(
        (policy, mut state, plan, mut planner) in any_start(), reading in any_reading(),
    ) {
        let decision = planner.decide(&policy, &plan, &mut state, reading);
        let since_s = Memory::of(planner).since_s;
        prop_assert!(since_s < SLOT_S);
        if let Decision::Wait { seconds, .. } = decision {
            prop_assert!(since_s + seconds <= SLOT_S);
        }
    }

    #[test]
    fn a_higher_reading_never_gets_less_of_a_plan(
        (policy, state, plan, planner) in any_start(), reading in any_reading(), other_mv in edge_u16(),
    ) {
        let ask = |storage_mv| {
            let (mut state, mut planner) = (state, planner);
            rank(planner.decide(&policy, &plan, &mut state, Reading { storage_mv, ..reading }))
        };
        let (low_mv, high_mv) = (reading.storage_mv.min(other_mv), reading.storage_mv.max(other_mv));
        prop_assert!(ask(low_mv) <= ask(high_mv), "{} at {low_mv}, {} at {high_mv}", ask(low_mv), ask(high_mv));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: SWEEPS, failure_persistence: None, ..ProptestConfig::default() })]

    /// All readings in order: where there is a step down, a pair of neighbours has it.
    #[test]
    fn neither_rank_nor_pace_ever_falls_over_all_readings(
        (policy, state, plan, planner) in any_start(), elapsed_s in 3_600_u32..7_200,
    ) {
        let mut before = (0, u16::MAX);
        for storage_mv in 0..=u16::MAX {
            let (mut state, mut planner) = (state, planner);
            let reading = Reading { storage_mv, elapsed_s, waiting: 1 };
            let rank = rank(planner.decide(&policy, &plan, &mut state, reading));
            let interval_s = planner.interval_s();
            prop_assert!(rank >= before.0 && interval_s <= before.1, "{storage_mv} mV: {rank}, {interval_s} s after {before:?}");
            before = (rank, interval_s);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: STREAMS, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_radio_keeps_its_silence_under_any_plan(
        (policy, mut state, plan, mut planner) in any_start(),
        steps in proptest::collection::vec(any_step(), 1..STREAM_STEPS),
    ) {
        let off_time_s = u64::from(policy.parts().off_time_s);
        let mut since_s: Option<u64> = None;
        for step in steps {
            match step {
                Step::Ask(reading) => {
                    since_s = since_s.map(|since_s| since_s + u64::from(reading.elapsed_s));
                    if planner.decide(&policy, &plan, &mut state, reading) == Decision::Transmit {
                        prop_assert!(since_s.is_none_or(|since_s| since_s >= off_time_s));
                        since_s = Some(0);
                    }
                }
                Step::Spend(energy_uj) => planner.spend(energy_uj),
                Step::Forget => planner = Planner::cold_start(),
            }
        }
    }

    /// Every number that the planner remembers, after every step, is the one of the reference.
    #[test]
    fn the_planner_is_the_reference_which_cannot_overflow(
        (policy, mut state, plan, planner) in any_start(),
        steps in proptest::collection::vec(any_step(), 1..STREAM_STEPS),
    ) {
        let mut planner = planner;
        let mut reference = Reference::of(Memory::of(planner));
        for step in steps {
            match step {
                Step::Ask(reading) => {
                    let decision = planner.decide(&policy, &plan, &mut state, reading);
                    reference.observe(plan.parts(), reading);
                    match decision {
                        Decision::Measure => reference.spend(plan.parts().costs.measure_uj),
                        Decision::Transmit => reference.spend(plan.parts().costs.transmit_uj),
                        Decision::Wait { .. } => {}
                    }
                }
                Step::Spend(energy_uj) => {
                    planner.spend(energy_uj);
                    reference.spend(energy_uj);
                }
                Step::Forget => {
                    planner = Planner::cold_start();
                    reference = Reference::of(Memory::of(planner));
                }
            }
            prop_assert_eq!(Memory::of(planner), reference.memory());
        }
    }
}

/// A plan whose units are millijoules or so, and whose forecast is what was seen.
fn plain(reserve_units: u16, target_units: u16) -> Plan {
    Plan::new(PlanParts {
        reserve_units,
        target_units,
        caution: [128; AHEAD_SLOTS],
        full_reading_mv: u16::MAX,
        fastest_s: 1,
        slowest_s: u16::MAX,
        ..*Plan::EXAMPLE.parts()
    })
    .expect("as good as the example")
}

/// One slot of this reading, in which so much was spent.
fn pass_slot(planner: &mut Planner, plan: &Plan, storage_mv: u16, spent_uj: u32) {
    planner.spend(spent_uj);
    let reading = Reading {
        storage_mv,
        elapsed_s: u32::from(SLOT_S),
        waiting: 0,
    };
    planner.observe(plan, reading);
}

fn stored_units(plan: &Plan, storage_mv: u16) -> u32 {
    let parts = plan.parts();
    let stored_uj = common::plans::stored_uj(&parts.energy, storage_mv);
    (stored_uj >> parts.unit_shift) as u32
}

/// Income of sleep and P on top, storage at the target: all of P goes into samples, so that a sample comes every cost / P.
#[test]
fn a_constant_income_gives_cost_by_power() {
    const STORAGE_MV: u16 = 3_600;
    for power_units in [10_u32, 71, 500, 3_000] {
        let target_units = stored_units(&plain(0, 0), STORAGE_MV) as u16;
        let plan = plain(0, target_units);
        let parts = plan.parts();
        // So much that income, which is this and sleep, is a whole number of units.
        let spent_uj = ((u32::from(parts.sleep_units) + power_units) << parts.unit_shift)
            - parts.costs.sleep_uw * u32::from(SLOT_S);
        let mut planner = Planner::cold_start();
        for _ in 0..=30 {
            pass_slot(&mut planner, &plan, STORAGE_MV, spent_uj);
        }
        let expected_s = parts.sample_unit_s / power_units + 1;
        assert_eq!(u32::from(planner.interval_s()), expected_s);
    }
}

/// A planner in the first second of slot 0, at `storage_mv`, on a day that is as the average.
fn in_first_slot(plan: &Plan, slots_units: [u16; 24], storage_mv: u16) -> Planner {
    let memory = Memory {
        slots_units,
        balance_uj: (1 << 31) - common::plans::stored_uj(&plan.parts().energy, storage_mv) as u32,
        since_s: 0,
        interval_s: 0,
        slot: 0,
        ratio: 64,
        learned: 24,
    };
    memory.planner()
}

/// No income: what is above the reserve, less the sleep of two days, is spread evenly over them.
#[test]
fn a_dark_night_is_spread_evenly_down_to_the_reserve() {
    const RESERVE_UNITS: u16 = 2_000;
    let plan = plain(RESERVE_UNITS, RESERVE_UNITS);
    let parts = plan.parts();
    for storage_mv in [3_600, 4_200, 5_000] {
        let mut planner = in_first_slot(&plan, [0; 24], storage_mv);
        // 20 mV less: more than sleep takes in a slot at any of these voltages.
        pass_slot(&mut planner, &plan, storage_mv - 20, 0);
        assert_eq!(planner.slots_units(), &[0; 24]);
        let asleep_units = AHEAD_SLOTS as u32 * u32::from(parts.sleep_units);
        let spent_units = stored_units(&plan, storage_mv - 20) - u32::from(RESERVE_UNITS) - asleep_units;
        let expected_s = parts.sample_unit_s * AHEAD_SLOTS as u32 / spent_units + 1;
        assert_eq!(u32::from(planner.interval_s()), expected_s);
    }
}

/// docs/policy-contract.md works this one out.
#[test]
fn the_example_of_the_contract() {
    assert_eq!(stored_units(&Plan::EXAMPLE, 5_000), 19_248);
    let mut planner = in_first_slot(&Plan::EXAMPLE, [0; 24], 5_020);
    pass_slot(&mut planner, &Plan::EXAMPLE, 5_000, 0);
    assert_eq!(planner.interval_s(), 1_267);
}

/// A full store before a slot that would fill it anew is emptied just as fast as keeps it from spilling.
#[test]
fn a_flood_is_spent_before_it_overflows() {
    const FLOOD_UNITS: u16 = 30_000;
    let plan = plain(0, 0);
    let parts = plan.parts();
    let mut slots_units = [0; 24];
    slots_units[1] = FLOOD_UNITS;
    let mut planner = in_first_slot(&plan, slots_units, parts.energy.full_mv);
    pass_slot(&mut planner, &plan, parts.energy.full_mv, 0);
    let full_units = u32::from(parts.full_units);
    let have_units = stored_units(&plan, parts.energy.full_mv).min(full_units);
    let spare_units = have_units + u32::from(FLOOD_UNITS) - u32::from(parts.sleep_units) - full_units;
    assert_eq!(
        u32::from(planner.interval_s()),
        parts.sample_unit_s / spare_units + 1
    );
}

/// The reference's search over corridors, on corridors whose string is seen at a glance: (lower, upper) at 1, 2, 3.
#[test]
fn the_search_finds_strings_that_are_seen_at_a_glance() {
    let end = |at: i128| (at, at);
    // Straight to the end.
    assert_eq!(first_slope(&[(-9, 9), (-9, 9), end(6)]), (6, 3));
    // Bent down over the lower bound at 1, or under the upper at 2.
    assert_eq!(first_slope(&[(5, 9), (-9, 9), end(6)]), (5, 1));
    assert_eq!(first_slope(&[(-9, 9), (-9, 1), end(6)]), (1, 2));
    // The upper at 1 holds it back from the lower at 2.
    assert_eq!(first_slope(&[(-9, 2), (8, 9), end(9)]), (2, 1));
}

#[test]
fn each_rule_of_a_plan_is_broken_once() {
    let good = *Plan::EXAMPLE.parts();
    let costs = good.costs;
    let broken = [
        PlanParts {
            unit_shift: 17,
            ..good
        },
        PlanParts {
            full_units: 32_768,
            ..good
        },
        PlanParts {
            reserve_units: good.full_units + 1,
            ..good
        },
        PlanParts {
            sample_unit_s: 89_478_486,
            ..good
        },
        PlanParts { growth: 63, ..good },
        PlanParts {
            fastest_s: good.slowest_s + 1,
            ..good
        },
        PlanParts {
            costs: millpond_policy::Costs {
                sleep_uw: 1 << 20,
                ..costs
            },
            ..good
        },
    ];
    let rejected = broken.map(|parts| Plan::new(parts).expect_err("a rule is broken"));
    assert_eq!(rejected, Rejected::OF_PLAN);
    let also = [
        (
            PlanParts {
                target_units: good.full_units + 1,
                ..good
            },
            Rejected::PlanAboveFull,
        ),
        (
            PlanParts {
                sample_unit_s: 0,
                ..good
            },
            Rejected::PlanSampleCost,
        ),
        (PlanParts { fastest_s: 0, ..good }, Rejected::PlanFastest),
        (
            PlanParts {
                energy: EnergyModel {
                    energy_scale: 0,
                    ..good.energy
                },
                ..good
            },
            Rejected::EnergyScaleZero,
        ),
    ];
    for (parts, rejected) in also {
        assert_eq!(Plan::new(parts), Err(rejected));
    }
    // The last that is allowed: 48 · 89478485 is the largest multiple of 48 in 32 bits.
    assert!(89_478_485_u32.checked_mul(48).is_some() && 89_478_486_u32.checked_mul(48).is_none());
    let edge = PlanParts {
        unit_shift: 16,
        full_units: 32_767,
        reserve_units: 32_767,
        target_units: 32_767,
        sample_unit_s: 89_478_485,
        growth: 64,
        fastest_s: good.slowest_s,
        ..good
    };
    assert!(Plan::new(edge).is_ok());
}
