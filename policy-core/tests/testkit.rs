//! The test kit: its account of energy and time, and an application that is tested with it.

mod common;

use common::any_policy;
use millpond_policy::testkit::{Bench, BrownOut};
use millpond_policy::{
    Backlog, Decision, Outage, Policy, PolicyParts, RETAINED_BYTES, Reading, Reason, Sense, SenseKind, State,
    WhenFull, decide,
};
use proptest::prelude::*;

const DAY_S: u32 = 86_400;
const DUSK_TO_DAWN_S: u32 = 20 * 3_600;
/// What the bench's reading of the example node may be off from E = C/2 · (v² − floor²) in floating point (mV): a millivolt
/// by rounding the reading down, and the shift of the squares by 10 bits, 1024 mV² over twice the floor.
const READING_MV: f64 = 1.0 + 1_024.0 / (2.0 * 2_346.0);

/// A firmware around the decisions, as its author would write it.
struct Application {
    state: State,
    backlog: Backlog<u16, 32>,
    /// Stands in for memory that outlives a power loss.
    retained: [u8; RETAINED_BYTES],
    reports: u32,
}

impl Application {
    fn power_up(policy: &Policy, retained: [u8; RETAINED_BYTES]) -> Self {
        Self {
            state: State::unpack(policy, &retained, Outage::Unknown),
            backlog: Backlog::new(WhenFull::KeepNewest),
            retained,
            reports: 0,
        }
    }

    fn waiting(&self) -> u8 {
        self.backlog.len()
    }

    /// Asks, saves, acts.
    fn wake(&mut self, policy: &Policy, reading: Reading) -> Decision {
        let decision = decide(policy, &mut self.state, reading);
        self.retained = self.state.pack(policy);
        match decision {
            Decision::Measure => self.backlog.push(reading.storage_mv),
            Decision::Transmit => {
                for _ in 0..policy.parts().batch {
                    let _ = self.backlog.pop();
                }
                self.reports += 1;
            }
            Decision::Wait { .. } => {}
        }
        decision
    }
}

/// One answer, with the time and the voltage at which it was given.
type Answer = (u32, u16, Decision);

/// Lets the application live on the bench until its counter reaches `until_s`.
fn live(
    policy: &Policy,
    bench: &mut Bench,
    application: &mut Application,
    until_s: u32,
) -> Result<Vec<Answer>, BrownOut> {
    let costs = policy.parts().costs;
    let mut answers = Vec::new();
    while bench.now_s() < until_s {
        let reading = bench.reading(application.waiting());
        let decision = application.wake(policy, reading);
        answers.push((bench.now_s(), reading.storage_mv, decision));
        match decision {
            Decision::Measure => bench.spend_uj(costs.measure_uj)?,
            Decision::Transmit => bench.spend_uj(costs.transmit_uj)?,
            Decision::Wait { seconds, .. } => bench.advance_s(u32::from(seconds))?,
        }
    }
    Ok(answers)
}

/// Twenty hours without light, then a dawn.
#[test]
fn a_night_passes_and_reports_resume_at_dawn() -> Result<(), BrownOut> {
    let policy = Policy::EXAMPLE;
    let parts = policy.parts();
    let mut bench = Bench::new(&policy, 3_700);
    let mut application = Application::power_up(&policy, [0xFF; RETAINED_BYTES]);

    let night = live(&policy, &mut bench, &mut application, DUSK_TO_DAWN_S)?;
    for (_, storage_mv, decision) in &night {
        match decision {
            Decision::Measure => assert!(*storage_mv >= parts.measure_mv),
            Decision::Transmit => assert!(*storage_mv >= parts.transmit_mv),
            Decision::Wait { .. } => {}
        }
    }
    let (_, storage_mv, last) = night[night.len() - 1];
    assert!(
        storage_mv < parts.transmit_mv,
        "{storage_mv} mV: the store was to run low"
    );
    assert!(
        matches!(
            last,
            Decision::Wait {
                reason: Reason::LowStorage,
                ..
            }
        ),
        "{last:?}"
    );
    let reports_at_night = application.reports;
    assert!(reports_at_night > 10 && application.waiting() > 0);

    bench.set_income_uw(1_000);
    let dawn = live(&policy, &mut bench, &mut application, DUSK_TO_DAWN_S + DAY_S)?;
    let (resumed_s, resumed_mv, _) = *dawn
        .iter()
        .find(|(_, _, decision)| *decision == Decision::Transmit)
        .expect("reports resume");
    assert!(
        resumed_mv >= parts.transmit_mv + parts.hysteresis_mv,
        "{resumed_mv} mV"
    );
    assert!(resumed_s < DUSK_TO_DAWN_S + DAY_S / 4, "after {resumed_s} s");
    assert!(application.reports > reports_at_night + 100);
    Ok(())
}

/// The power fails in the very action that was permitted; the counter starts anew, the retained copy is there.
#[test]
fn after_a_power_loss_the_radio_stays_silent_for_the_off_time() -> Result<(), BrownOut> {
    let policy = Policy::EXAMPLE;
    let mut bench = Bench::new(&policy, 5_000);
    let mut application = Application::power_up(&policy, [0; RETAINED_BYTES]);
    live(&policy, &mut bench, &mut application, 1_000)?;

    bench.power_loss(5);
    let mut application = Application::power_up(&policy, application.retained);
    let answers = live(&policy, &mut bench, &mut application, 1_000)?;
    let (sent_s, _, _) = *answers
        .iter()
        .find(|(_, _, decision)| *decision == Decision::Transmit)
        .expect("a full store reports");
    assert!(
        sent_s >= u32::from(policy.parts().off_time_s),
        "{sent_s} s after the restart"
    );
    Ok(())
}

/// E = C/2 · (v² − floor²) with C = 0.5 F, solved for v in floating point.
#[test]
fn the_reading_is_the_voltage_of_a_capacitor() -> Result<(), BrownOut> {
    let policy = Policy::EXAMPLE;
    let (floor_v, capacitance_f) = (f64::from(policy.parts().energy.floor_mv) / 1e3, 0.5);
    let mut bench = Bench::new(&policy, 5_000);
    while bench.stored_uj() > 50_000 {
        let stored_j = f64::from(bench.stored_uj()) / 1e6;
        let exact_mv = 1e3 * (floor_v * floor_v + 2.0 * stored_j / capacitance_f).sqrt();
        let off_mv = f64::from(bench.storage_mv()) - exact_mv;
        assert!(
            off_mv.abs() <= READING_MV,
            "{stored_j} J: {exact_mv} mV, off by {off_mv} mV"
        );
        bench.spend_uj(9_973)?;
    }
    assert_eq!(bench.spend_uj(50_001).map(|()| bench.storage_mv()), Err(BrownOut));
    assert_eq!(bench.storage_mv(), policy.parts().energy.floor_mv);
    Ok(())
}

#[test]
fn an_empty_store_is_told_in_words() {
    assert_eq!(BrownOut.to_string(), "the store ran empty");
}

proptest! {
    /// The policy counts on no more than is held, and a millivolt higher it would count on more.
    #[test]
    fn what_is_read_is_what_is_held(policy in any_policy(), from_mv in 0_u16.., spent_uj in 0_u32..) {
        let mut bench = Bench::new(&policy, from_mv);
        let _ = bench.spend_uj(spent_uj % bench.stored_uj().max(1));
        let storage_mv = bench.storage_mv();
        prop_assert!(policy.stored_uj(storage_mv) <= bench.stored_uj());
        if storage_mv < policy.parts().energy.full_mv {
            prop_assert!(policy.stored_uj(storage_mv + 1) > bench.stored_uj());
        }
        let counts = bench.storage_counts();
        prop_assert!(policy.storage_mv_from_counts(counts) <= storage_mv);
        if counts < policy.parts().sense.maximum_count {
            prop_assert!(policy.storage_mv_from_counts(counts + 1) > storage_mv);
        }
        let sense = Sense { kind: SenseKind::Reference, count_scale: 4_915_200, count_shift: 0, maximum_count: 4_095 };
        let supply = Policy::new(PolicyParts { sense, ..*policy.parts() }).expect("only the sensing differs");
        let counts = Bench::new(&supply, storage_mv).storage_counts();
        // The largest count reads 1.2 V: below that, there is none lower.
        let shown_mv = Bench::new(&supply, storage_mv).storage_mv();
        prop_assert!(supply.storage_mv_from_counts(counts) <= shown_mv.max(1_200));
        // 4915200 >> 16 is 75: that many counts and fewer are none that a converter delivers.
        if counts > 76 {
            prop_assert!(supply.storage_mv_from_counts(counts - 1) > shown_mv);
        }
    }

    /// However the time is cut, the account is the same; and it is the sum by hand while nothing spills or runs out.
    #[test]
    fn energy_is_neither_lost_nor_made(
        income_uw in 0_u32..2_000, leakage_uw in 0_u32..50, steps in proptest::collection::vec(0_u32..40, 1..40)
    ) {
        let policy = Policy::EXAMPLE;
        let mut bench = Bench::new(&policy, 3_700);
        bench.set_income_uw(income_uw);
        bench.set_leakage_uw(leakage_uw);
        let mut at_once = bench.clone();
        let before_uj = i64::from(bench.stored_uj());
        for step_s in &steps {
            prop_assert!(bench.advance_s(*step_s).is_ok());
        }
        let total_s = steps.iter().sum::<u32>();
        prop_assert!(at_once.advance_s(total_s).is_ok());
        prop_assert_eq!(bench.stored_uj(), at_once.stored_uj());
        let net_uw = i64::from(income_uw) - i64::from(leakage_uw) - i64::from(policy.parts().costs.sleep_uw);
        let full_uj = i64::from(policy.stored_uj(u16::MAX));
        let expected_uj = before_uj + net_uw * i64::from(total_s);
        prop_assert!(expected_uj < full_uj, "the numbers above are to leave room");
        prop_assert_eq!(i64::from(bench.stored_uj()), expected_uj);
        prop_assert_eq!(bench.reading(0).elapsed_s, total_s);
    }

    /// No time and no power breaks the account.
    #[test]
    fn any_numbers_are_survived(policy in any_policy(), numbers in any::<[u32; 6]>()) {
        let [income_uw, leakage_uw, now_s, first_s, second_s, spent_uj] = numbers;
        let mut bench = Bench::new(&policy, u16::MAX);
        bench.set_income_uw(income_uw);
        bench.set_leakage_uw(leakage_uw);
        bench.set_now_s(now_s);
        let _ = bench.advance_s(first_s);
        prop_assert_eq!(bench.now_s(), now_s.wrapping_add(first_s));
        prop_assert_eq!(bench.reading(0).elapsed_s, first_s);
        bench.power_loss(second_s);
        prop_assert_eq!(bench.reading(0).elapsed_s, 0);
        let _ = bench.spend_uj(spent_uj);
        prop_assert!(bench.stored_uj() <= policy.stored_uj(u16::MAX));
    }
}

#[test]
fn a_full_store_spills_and_an_empty_one_is_told() {
    let policy = Policy::EXAMPLE;
    let mut bench = Bench::new(&policy, 5_200);
    bench.set_income_uw(u32::MAX);
    assert_eq!(bench.advance_s(u32::MAX), Ok(()));
    assert_eq!(bench.storage_mv(), policy.parts().energy.full_mv);
    // A second of income more than it holds: none of it is kept for later.
    bench.set_income_uw(1_000_000);
    bench.power_loss(1);
    assert_eq!(bench.stored_uj(), policy.stored_uj(u16::MAX));
    bench.set_income_uw(0);
    bench.set_leakage_uw(7);
    bench.power_loss(1_000);
    assert_eq!(bench.stored_uj(), policy.stored_uj(u16::MAX) - 7_000);
    bench.set_leakage_uw(u32::MAX);
    assert_eq!(bench.advance_s(u32::MAX), Err(BrownOut));
    assert_eq!(bench.stored_uj(), 0);
}
