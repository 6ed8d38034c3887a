use super::*;
use crate::node::{Source, example};
use crate::policy::policy;
use crate::thresholds::Thresholds;

/// Rounding of the sum of an hour.
const ROUNDING_J: f64 = 1e-9;
/// The planner counts in whole seconds and microjoules.
const WHOLE: f64 = 0.02;

fn crack_gauge() -> (Node, Typical, Made) {
    let node = example("crack-gauge");
    let thresholds = Thresholds::of(&node);
    let typical = Typical::of(&node, &thresholds).expect("the examples are small");
    let made = Made::usual(&node, &thresholds).expect("a plan");
    (node, typical, made)
}

/// Twelve dark hours and twelve at 1 mW: by hand nothing and 3.6 J each.
fn half_dark_j() -> [f64; SLOTS] {
    std::array::from_fn(|hour| if (6..18).contains(&hour) { 3.6 } else { 0.0 })
}

/// Each slot holds what its hour brought, to a unit for each of its two readings and a millivolt of each: dark hours nothing, not
/// the largest number.
#[test]
fn a_planner_learns_the_day_that_it_is_told() {
    let (_, typical, Made { plan, .. }) = crack_gauge();
    let unit_j = f64::from(1_u32 << plan.parts().unit_shift) / 1e6;
    let store = typical.store();
    let full_v = f64::from(store.reading_mv(store.full_j)) / 1e3;
    // C·v·dv with the capacitance that holds full_j between floor and full; both readings are cut to a millivolt.
    let floor_v = f64::from(store.reading_mv(0.0)) / 1e3;
    let capacitance_f = 2.0 * store.full_j / (full_v * full_v - floor_v * floor_v);
    let within_j = 2.0 * capacitance_f * full_v * 1e-3 + 2.0 * unit_j;
    // 24 h below sleep, too: the storage of a day that brings nothing is not what is learned.
    for day_j in [half_dark_j(), [0.0; SLOTS], [0.01; SLOTS]] {
        let planner = learned(&typical, &plan, &day_j);
        assert!(planner.is_planning());
        for (units, income_j) in planner.slots_units().iter().zip(day_j) {
            let learned_j = f64::from(*units) * unit_j;
            assert!(
                (learned_j - income_j).abs() <= within_j,
                "{learned_j} J of {income_j} J, to {within_j} J"
            );
        }
    }
}

/// Once round the day teaches nothing, and leads to the slot where it began.
#[test]
fn a_day_that_is_slept_through_teaches_nothing() {
    let (_, typical, Made { plan, .. }) = crack_gauge();
    let before = learned(&typical, &plan, &half_dark_j());
    let mut after = before;
    come_back(&mut after, &plan, 3_000, 0);
    assert_eq!(after.slots_units(), before.slots_units());
    let mut onwards = after;
    for _ in 0..SLOTS {
        come_back(&mut onwards, &plan, 3_000, 1);
    }
    assert_eq!(onwards, after);
}

/// A constant source brings in each hour its power for an hour, through the converter.
#[test]
fn the_mean_day_of_a_constant_source_is_level() {
    let (mut node, _, _) = crack_gauge();
    node.harvest.converter_efficiency = fraction(0.5);
    let income = Income::of(&Source::Constant { power: watts(1e-3) }).expect("a constant");
    for hour_j in mean_day_j(&node, &income) {
        assert!((hour_j - 1.8).abs() < ROUNDING_J, "{hour_j} J");
    }
}

/// By hand: two days ahead of a source that brings nothing, all that may be spent is what is stored above the target, less 48 h of
/// sleep; where that leaves nothing, the pace is the slowest at every hour.
#[test]
fn without_income_what_is_stored_is_spread_over_two_days() {
    let (node, typical, made) = crack_gauge();
    let income = Income::of(&Source::Constant { power: watts(0.0) }).expect("a constant");
    let parts = made.plan.parts();
    let unit_j = f64::from(1_u32 << parts.unit_shift) / 1e6;
    let store = typical.store();
    let (slowest_s, fastest_s) = (f64::from(parts.slowest_s), f64::from(parts.fastest_s));
    let kept_j = f64::from(parts.target_units.max(parts.reserve_units)) * unit_j;
    let slept_j = 48.0 * f64::from(parts.sleep_units) * unit_j;
    let stored_j = levels(store.full_j, store.decide_j);
    let rates = planned(&node, &typical, &made, &income);
    assert_eq!(rates.title, "planned, not tuned");
    for (level, stored_j) in rates.levels.iter().zip(stored_j) {
        let left_j = stored_j - kept_j - slept_j;
        let sample_j = store.report_j / store.batch;
        let want_s = if left_j > 0.0 {
            (sample_j * 48.0 * 3600.0 / left_j).clamp(fastest_s, slowest_s)
        } else {
            slowest_s
        } * store.batch;
        for interval_s in level.interval_s {
            assert!(
                (interval_s / want_s - 1.0).abs() < WHOLE,
                "{} V: {interval_s} s, {want_s} s",
                level.storage_v
            );
        }
    }
}

/// What is shown of the even pace is what firmware does: at every voltage the row that holds there, its fastest among them.
#[test]
fn the_rows_of_the_table_are_those_of_the_firmware() {
    for name in ["crack-gauge", "display-case", "pump-bearing"] {
        let node = example(name);
        let policy = policy(&node, &Thresholds::of(&node)).expect("the examples have policies");
        let rates = even(&node, &policy);
        assert_eq!(rates.levels.last().map(|level| level.storage_v), Some(0.0));
        let batch = f64::from(node.policy.batch);
        for storage_mv in 0..=policy.parts().energy.full_mv {
            let pace = policy.parts().pace;
            let row = pace
                .iter()
                .find(|row| row.from_mv <= storage_mv)
                .expect("open below");
            let level = rates
                .levels
                .iter()
                .find(|level| level.storage_v * 1e3 <= f64::from(storage_mv) + 1e-6);
            let shown_s = level.expect("open below").interval_s[0];
            assert_eq!(shown_s, f64::from(row.wait_s) * batch, "{name}, {storage_mv} mV");
        }
        let shown = rates.levels.windows(2);
        shown.for_each(|pair| assert!(pair[0].interval_s[0] < pair[1].interval_s[0], "{name}"));
    }
}
