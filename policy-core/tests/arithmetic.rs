//! Energy, income and sensing against exact arithmetic in wider numbers.

mod common;

use common::any_policy;
use millpond_policy::{EnergyModel, Income, Policy, PolicyParts, Reading, Rejected, Sense, SenseKind};
use proptest::prelude::*;

/// A time constant that an observation of a minute divides: 2^12 s.
const INCOME_SHIFT: u8 = 12;

fn policy_with(change: impl FnOnce(&mut PolicyParts)) -> Result<Policy, Rejected> {
    let mut parts = *Policy::EXAMPLE.parts();
    change(&mut parts);
    Policy::new(parts)
}

proptest! {
    /// Every accepted energy model: equal to the formula in 128 bits, never above the exact product, never falling.
    #[test]
    fn stored_energy_is_exact_and_never_above_the_truth(
        floor_mv in 0_u16..2_600, room_mv in 0_u16..=62_000, before in 0_u8..32, scale in 1_u16.., after in 0_u8..32,
    ) {
        let full_mv = floor_mv + room_mv;
        let energy = EnergyModel { floor_mv, full_mv, energy_shift_before: before, energy_scale: scale, energy_shift_after: after };
        let largest = ((u128::from(full_mv).pow(2) - u128::from(floor_mv).pow(2)) >> before) * u128::from(scale);
        match policy_with(|parts| parts.energy = energy) {
            Err(rejected) => {
                prop_assert_eq!(rejected, Rejected::EnergyOverflow);
                prop_assert!(largest > u128::from(u32::MAX));
            }
            Ok(policy) => {
                prop_assert!(largest <= u128::from(u32::MAX));
                let mut previous_uj = 0;
                for storage_mv in 0..=u16::MAX {
                    let squares = u128::from(storage_mv.min(full_mv)).pow(2).saturating_sub(u128::from(floor_mv).pow(2));
                    let exact = ((squares >> before) * u128::from(scale)) >> after;
                    let stored_uj = policy.stored_uj(storage_mv);
                    prop_assert_eq!(u128::from(stored_uj), exact);
                    prop_assert!(u128::from(stored_uj) << (before + after) <= squares * u128::from(scale));
                    prop_assert!(stored_uj >= previous_uj);
                    previous_uj = stored_uj;
                }
            }
        }
    }

    /// Every accepted sense: equal to the formula in 128 bits for all counts.
    #[test]
    fn sensing_is_exact(count_scale: u32, count_shift in 0_u8..32, maximum_count: u16) {
        let sense = Sense { kind: SenseKind::Divider, count_scale, count_shift, maximum_count };
        let largest = u64::from(count_scale) * u64::from(maximum_count);
        match policy_with(|parts| parts.sense = sense) {
            Err(rejected) => {
                prop_assert_eq!(rejected, Rejected::CountOverflow);
                prop_assert!(largest > u64::from(u32::MAX));
            }
            Ok(policy) => {
                prop_assert!(largest <= u64::from(u32::MAX));
                for counts in 0..=u16::MAX {
                    let exact = (u64::from(counts.min(maximum_count)) * u64::from(count_scale)) >> count_shift;
                    prop_assert_eq!(u64::from(policy.storage_mv_from_counts(counts)), exact.min(65_535));
                }
            }
        }
    }

    /// A reference against the supply: equal to the quotient for all counts that a converter can deliver, which is below 65.536 V there;
    /// 0 for all others; and more counts never read higher.
    #[test]
    fn sensing_against_the_supply_is_exact(count_scale: u32, maximum_count: u16) {
        let sense = Sense { kind: SenseKind::Reference, count_scale, count_shift: 0, maximum_count };
        let policy = policy_with(|parts| parts.sense = sense).expect("any scale is sound");
        let mut previous_mv = u16::MAX;
        for counts in 0..=u16::MAX {
            let read_mv = policy.storage_mv_from_counts(counts);
            let exact = count_scale.checked_div(u32::from(counts)).filter(|_| counts <= maximum_count);
            prop_assert_eq!(read_mv, exact.and_then(|mv| u16::try_from(mv).ok()).unwrap_or(0));
            if read_mv > 0 {
                prop_assert!(read_mv <= previous_mv);
                previous_mv = read_mv;
            }
        }
    }

    /// A steady income is found to the microwatt, below or above where the estimate started, for any spending.
    #[test]
    fn a_steady_income_is_found(income_uw in 1_u32..1_000_000, start_uw in 0_u32..1_000_000, interval_s in 1_u32..4_096) {
        let policy = policy_with(|parts| parts.income_shift = INCOME_SHIFT).expect("good constants");
        let mut income = Income::new();
        let reading = Reading { storage_mv: 4_000, elapsed_s: interval_s, waiting: 0 };
        income.observe(&policy, reading, 0);
        let observations = 20 * 4_096 / interval_s + 20;
        for spent_uw in [start_uw, income_uw] {
            for _ in 0..observations {
                income.observe(&policy, reading, spent_uw * interval_s);
            }
        }
        // Twenty time constants leave e⁻²⁰ of a watt: 0.002 µW. The shift rounds down by less than one; coming from
        // above, what is below one microwatt does not fade.
        prop_assert!(income.income_uw(&policy).abs_diff(income_uw) <= 1, "{}", income.income_uw(&policy));
    }

    /// Any stream: no overflow (the checks are on in tests), and never above what the 32 bits hold.
    #[test]
    fn any_income_stream_is_taken(
        policy in any_policy(), stream in prop::collection::vec(any::<(u16, u32, u32)>(), 0..200),
    ) {
        let mut income = Income::new();
        for (storage_mv, elapsed_s, spent_uj) in stream {
            income.observe(&policy, Reading { storage_mv, elapsed_s, waiting: 0 }, spent_uj);
            prop_assert!(income.income_uw(&policy) <= u32::MAX >> policy.parts().income_shift);
        }
    }
}

#[test]
fn a_long_interval_keeps_its_mean_power() {
    let policy = Policy::EXAMPLE;
    for elapsed_s in [4_096, 4_097, 8_192, 100_000, 4_000_000] {
        let mut income = Income::new();
        let reading = |elapsed_s| Reading {
            storage_mv: 4_000,
            elapsed_s,
            waiting: 0,
        };
        income.observe(&policy, reading(0), 0);
        income.observe(&policy, reading(4_096), 100 * 4_096);
        assert_eq!(income.income_uw(&policy), 100);
        // Halving rounds the time up by at most one part in 2048: one microwatt of 100 at most.
        income.observe(&policy, reading(elapsed_s), 100 * elapsed_s);
        assert!((99..=100).contains(&income.income_uw(&policy)), "{elapsed_s} s");
        // And the interval weighs at least half: an income that doubled is half believed at once.
        income.observe(&policy, reading(elapsed_s), 200 * elapsed_s);
        assert!((149..=200).contains(&income.income_uw(&policy)), "{elapsed_s} s");
    }
}

/// In no time nothing fades: what the store loses and gains again leaves the estimate where it was.
#[test]
fn a_loss_counts_against_the_income() {
    let policy = Policy::EXAMPLE;
    let mut income = Income::new();
    let reading = |storage_mv, elapsed_s| Reading {
        storage_mv,
        elapsed_s,
        waiting: 0,
    };
    income.observe(&policy, reading(3_500, 0), 0);
    income.observe(&policy, reading(3_500, 4_096), 500 * 4_096);
    for storage_mv in [3_000, 3_500, 3_200, 3_900, 3_500] {
        let change_uj = f64::from(policy.stored_uj(storage_mv)) - f64::from(policy.stored_uj(3_500));
        income.observe(&policy, reading(storage_mv, 0), 0);
        let expected_uw = 500.0 + change_uj / 4_096.0;
        assert_eq!(
            income.income_uw(&policy),
            expected_uw.floor() as u32,
            "{storage_mv} mV"
        );
    }
}

#[test]
fn each_rule_is_refused_with_its_own_reason() {
    use Rejected::*;
    type Change = fn(&mut PolicyParts);
    let broken: [(Rejected, Change); Rejected::ALL.len()] = [
        (EnergyShiftTooLarge, |parts| parts.energy.energy_shift_after = 32),
        (EnergyScaleZero, |parts| parts.energy.energy_scale = 0),
        (FullBelowFloor, |parts| parts.energy.full_mv = 2_345),
        (EnergyOverflow, |parts| parts.energy.energy_shift_before = 0),
        (MeasureTooHigh, |parts| parts.measure_mv = 65_496),
        (TransmitTooHigh, |parts| parts.transmit_mv = 65_496),
        (MeasureBelowFloor, |parts| parts.measure_mv = 2_345),
        (TransmitBelowFloor, |parts| parts.transmit_mv = 2_345),
        (BatchZero, |parts| parts.batch = 0),
        (BatchAboveBacklog, |parts| parts.batch = 33),
        (OffTimeTooLong, |parts| {
            (parts.off_time_s, parts.spacing_s) = (65_535, 65_535)
        }),
        (SpacingBelowOffTime, |parts| parts.spacing_s = 19),
        (RetryZero, |parts| parts.retry_s = 0),
        (PaceZero, |parts| parts.pace[0].wait_s = 0),
        (PaceUnsorted, |parts| parts.pace[3].from_mv = 4_200),
        (PaceFasterWhenLower, |parts| parts.pace[3].wait_s = 134),
        (PaceOpenBelow, |parts| parts.pace[11].from_mv = 1),
        (CountShiftTooLarge, |parts| parts.sense.count_shift = 32),
        (CountOverflow, |parts| parts.sense.count_scale = 4_198_405),
        (IncomeShiftTooLarge, |parts| parts.income_shift = 17),
    ];
    assert_eq!(broken.map(|(rejected, _)| rejected), Rejected::ALL);
    for (rejected, change) in broken {
        assert_eq!(policy_with(change), Err(rejected));
    }
    assert_eq!(Policy::new(*Policy::EXAMPLE.parts()), Ok(Policy::EXAMPLE));
}
