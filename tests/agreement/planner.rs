//! The planner in C and in Rust: after every step both remember the same, bit for bit.

use millpond_policy::{Decision, Plan, Planner, Policy, Reading, State};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use crate::c_planner::{CPlanner, Memory, PlannerMemory, Shim};
use crate::{edge_u16, elapsed_s};

/// Wake-ups of the stream of one node: 15 million over the ten nodes, most of them at the end of a slot.
const STREAM_STEPS: u32 = 1_500_000;
/// Bytes of a planner, as the policy's contract has it.
const PLANNER_BYTES: usize = 60;

macro_rules! nodes {
    ($($module:ident, $shim:ident;)*) => {$(
        mod $module {
            #[allow(unused_imports, unreachable_pub, dead_code)]
            mod generated {
                include!(concat!(env!("OUT_DIR"), "/", stringify!($module), ".rs"));
            }

            #[test]
            fn a_long_life_is_the_same_in_both_languages() {
                #[allow(unsafe_code, reason = "a table of constants that C never changes")]
                super::live(generated::POLICY, generated::PLAN, unsafe { &crate::c_planner::$shim });
            }
        }
    )*};
}

nodes! {
    planned_0, PLANNED_0_SHIM;
    planned_1, PLANNED_1_SHIM;
    planned_2, PLANNED_2_SHIM;
    planned_3, PLANNED_3_SHIM;
    planned_4, PLANNED_4_SHIM;
    planned_5, PLANNED_5_SHIM;
    planned_6, PLANNED_6_SHIM;
    planned_7, PLANNED_7_SHIM;
    planned_8, PLANNED_8_SHIM;
    planned_9, PLANNED_9_SHIM;
}

/// Wake-ups, days, spending that no decision granted, clock jumps, restarts, and memories of every kind.
fn live(policy: Policy, plan: Plan, shim: &'static Shim) {
    let mut random = Pcg64Mcg::seed_from_u64(3);
    let mut state = State::cold_start(&policy);
    let mut planner = Planner::cold_start();
    let mut c = CPlanner::new(shim);
    assert_eq!(c.shim.planner_bytes as usize, PLANNER_BYTES);
    assert_eq!(size_of::<Planner>(), PLANNER_BYTES);
    let mut storage_mv = 4_000_u16;
    let mut plans = 0;
    for _ in 0..STREAM_STEPS {
        storage_mv = match random.random_range(0..32) {
            0 => edge_u16(&mut random),
            1..16 => storage_mv.saturating_add(random.random_range(0..120)),
            _ => storage_mv.saturating_sub(random.random_range(0..120)),
        };
        let reading = Reading {
            storage_mv,
            elapsed_s: match random.random_range(0..8) {
                0 => elapsed_s(&mut random),
                1 => random.random_range(0..600),
                _ => random.random_range(3_000..4_200),
            },
            waiting: random.random_range(0..8),
        };
        match random.random_range(0..400) {
            0 => {
                planner = Planner::cold_start();
                c.restart_planner();
            }
            1 => {
                let energy_uj = random.random::<u32>() >> random.random_range(0..32);
                planner.spend(energy_uj);
                c.spend(energy_uj);
            }
            2 => {
                planner = any_planner(&mut random);
                c.memory = Memory::of(state, planner);
            }
            3..20 => {
                planner.observe(&plan, reading);
                c.observe(reading);
            }
            _ => {
                let before = planner;
                let decision = planner.decide(&policy, &plan, &mut state, reading);
                let c_decision = c.decide(reading);
                assert_eq!(
                    c_decision, decision,
                    "C and Rust differ for {reading:?} after {before:?}"
                );
                if let Decision::Transmit = decision {
                    storage_mv = storage_mv.saturating_sub(30);
                }
                plans += u32::from(planner.is_planning() && before.interval_s() != planner.interval_s());
            }
        }
        assert_eq!(c.memory, Memory::of(state, planner), "{reading:?}");
    }
    // Where the fastest is the slowest, every plan is the same.
    let least = if plan.parts().fastest_s == plan.parts().slowest_s {
        0
    } else {
        STREAM_STEPS / 100
    };
    assert!(plans >= least, "{plans} plans changed the pace");
}

/// Any memory that a planner can have; in one of four what a planner never leaves behind, as after a brown-out.
fn any_planner(random: &mut Pcg64Mcg) -> Planner {
    if random.random_ratio(1, 4) {
        let memory = PlannerMemory {
            slots_units: std::array::from_fn(|_| edge_u16(random)),
            balance_uj: random.random(),
            since_s: edge_u16(random),
            interval_s: edge_u16(random),
            slot: random.random(),
            ratio: random.random(),
            learned: if random.random() { 255 } else { random.random() },
        };
        return memory.planner();
    }
    let memory = PlannerMemory {
        slots_units: std::array::from_fn(|_| edge_u16(random)),
        balance_uj: random.random(),
        since_s: random.random_range(0..3_600),
        interval_s: edge_u16(random),
        slot: random.random_range(0..24),
        ratio: random.random_range(0..=192),
        learned: if random.random() {
            24
        } else {
            random.random_range(0..24)
        },
    };
    memory.planner()
}
