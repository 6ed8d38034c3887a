//! Nodes with plans for the agreement tests: the example, the ends of every range, and random ones between.

use millpond::emit::{Constants, EmittedPlan};
use millpond_policy::{AHEAD_SLOTS, Costs, EnergyModel, Plan, PlanParts, Policy, PolicyParts, WhenFull};

/// How many there are; tests/agreement names each.
pub(crate) const COUNT: usize = 10;

/// The nodes `planned-0` and so on.
pub(crate) fn nodes(smallest: PolicyParts, largest: PolicyParts) -> [Constants; COUNT] {
    std::array::from_fn(|index| {
        let mut random = Random(index as u64);
        let (policy, plan) = match index {
            0 => (*Policy::EXAMPLE.parts(), *Plan::EXAMPLE.parts()),
            1 => (smallest, smallest_plan()),
            2 => (largest, largest_plan()),
            _ => (random_policy(&mut random), random_plan(&mut random)),
        };
        let plan = Plan::new(plan).unwrap_or_else(|rejected| panic!("planned-{index}: {rejected}"));
        let name = format!("planned-{index}");
        Constants {
            plan: Some(EmittedPlan {
                made_from: vec![format!("seed {index}")],
                parts: *plan.parts(),
            }),
            ..super::node(&name, WhenFull::KeepNewest, policy)
        }
    })
}

/// The least of everything that the rules allow.
fn smallest_plan() -> PlanParts {
    PlanParts {
        energy: EnergyModel {
            floor_mv: 0,
            full_mv: 0,
            energy_shift_before: 0,
            energy_scale: 1,
            energy_shift_after: 0,
        },
        costs: Costs {
            measure_uj: 0,
            transmit_uj: 0,
            sleep_uw: 0,
        },
        unit_shift: 0,
        full_units: 0,
        sleep_units: 0,
        sample_unit_s: 1,
        reserve_units: 0,
        target_units: 0,
        full_reading_mv: 0,
        caution: [0; AHEAD_SLOTS],
        slot_kept: 0,
        ratio_kept: 0,
        ratio_fading: 0,
        growth: 64,
        fastest_s: 1,
        slowest_s: 1,
    }
}

/// The most of everything that the rules allow: as good as 2³¹ µJ stored, in units of one each.
fn largest_plan() -> PlanParts {
    PlanParts {
        energy: EnergyModel {
            floor_mv: 0,
            full_mv: 65_535,
            energy_shift_before: 16,
            energy_scale: 65_535,
            energy_shift_after: 1,
        },
        costs: Costs {
            measure_uj: u32::MAX,
            transmit_uj: u32::MAX,
            sleep_uw: 13,
        },
        unit_shift: 0,
        full_units: 32_767,
        sleep_units: 65_535,
        sample_unit_s: 89_478_485,
        reserve_units: 32_767,
        target_units: 32_767,
        full_reading_mv: 65_535,
        caution: [255; AHEAD_SLOTS],
        slot_kept: 255,
        ratio_kept: 255,
        ratio_fading: 255,
        growth: 255,
        fastest_s: 65_535,
        slowest_s: 65_535,
    }
}

/// Thresholds between 1 V and 4 V, times up to an hour.
fn random_policy(random: &mut Random) -> PolicyParts {
    let example = *Policy::EXAMPLE.parts();
    let (first_s, second_s) = (random.below(3_600), random.below(3_600));
    let pace = example.pace.map(|row| millpond_policy::PaceRow {
        wait_s: row.wait_s.saturating_mul(1 + first_s % 7),
        ..row
    });
    PolicyParts {
        measure_mv: 2_400 + random.below(800),
        transmit_mv: 2_400 + random.below(1_600),
        hysteresis_mv: random.below(200),
        batch: 1 + random.below(5) as u8,
        off_time_s: first_s.min(second_s),
        spacing_s: first_s.max(second_s),
        retry_s: 1 + random.below(3_600),
        pace,
        ..example
    }
}

/// Like the example, with every number somewhere in its range or near the example's.
fn random_plan(random: &mut Random) -> PlanParts {
    let example = *Plan::EXAMPLE.parts();
    let full_units = 1 + random.below(32_767);
    let (first_s, second_s) = (1 + random.below(7_200), 1 + random.below(7_200));
    PlanParts {
        costs: Costs {
            measure_uj: u32::from(random.below(5_000)),
            transmit_uj: u32::from(random.below(65_535)),
            sleep_uw: u32::from(random.below(100)),
        },
        unit_shift: 6 + random.below(6) as u8,
        full_units,
        sleep_units: random.below(200),
        sample_unit_s: 1 + u32::from(random.below(65_535)) * (1 + u32::from(random.below(20))),
        reserve_units: random.below(full_units),
        target_units: random.below(full_units),
        full_reading_mv: 4_000 + random.below(1_400),
        caution: std::array::from_fn(|_| random.below(256) as u8),
        slot_kept: random.below(256) as u8,
        ratio_kept: random.below(256) as u8,
        ratio_fading: random.below(256) as u8,
        growth: 64 + random.below(192) as u8,
        fastest_s: first_s.min(second_s),
        slowest_s: first_s.max(second_s),
        ..example
    }
}

/// A linear congruential generator; Knuth's constants for 64 bits ("MMIX").
struct Random(u64);

impl Random {
    /// One of 0 to `end` - 1.
    fn below(&mut self, end: u16) -> u16 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (((self.0 >> 48) * u64::from(end)) >> 16) as u16
    }
}
