//! The promises about a decision: thresholds, monotony, no hunting, radio silence, any input.

mod common;

use common::{any_elapsed_s, any_policy, any_state, edge_u16};
use millpond_policy::{Decision, Outage, Policy, Reading, Reason, State, decide, elapsed_since};
use proptest::prelude::*;

/// Policies and states for a sweep over all 65536 readings, which stands for 65536 cases itself.
const SWEEPS: u32 = 150;
/// Random streams, each of up to [`STREAM_STEPS`] decisions.
const STREAMS: u32 = 400;
const STREAM_STEPS: usize = 300;

/// One wake-up of a random stream.
#[derive(Clone, Copy, Debug)]
enum Step {
    Ask(Reading),
    /// Power loss; the state comes back from its copy, by a clock that ran on or without one.
    Restart(Outage),
    /// Power loss; nothing comes back.
    RestartCold,
}

fn any_reading() -> impl Strategy<Value = Reading> {
    (
        edge_u16(),
        any_elapsed_s(),
        prop_oneof![any::<u8>(), Just(0), Just(u8::MAX)],
    )
        .prop_map(|(storage_mv, elapsed_s, waiting)| Reading {
            storage_mv,
            elapsed_s,
            waiting,
        })
}

fn any_step() -> impl Strategy<Value = Step> {
    prop_oneof![
        20 => any_reading().prop_map(Step::Ask),
        1 => any_elapsed_s().prop_map(|outage_s| Step::Restart(Outage::Seconds(outage_s))),
        1 => Just(Step::Restart(Outage::Unknown)),
        1 => Just(Step::RestartCold),
    ]
}

fn policy_and_state() -> impl Strategy<Value = (Policy, State)> {
    any_policy().prop_flat_map(|policy| (Just(policy), any_state(policy)))
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
    #![proptest_config(ProptestConfig::with_cases(SWEEPS))]

    /// Promise 1, for every reading.
    #[test]
    fn no_action_below_its_threshold(
        (policy, state) in policy_and_state(), elapsed_s in any_elapsed_s(), waiting: u8,
    ) {
        for storage_mv in 0..=u16::MAX {
            let mut state = state;
            let decision = decide(&policy, &mut state, Reading { storage_mv, elapsed_s, waiting });
            let is_safe = match decision {
                Decision::Measure => storage_mv >= policy.parts().measure_mv,
                Decision::Transmit => storage_mv >= policy.parts().transmit_mv,
                Decision::Wait { seconds, .. } => seconds >= 1,
            };
            prop_assert!(is_safe, "{decision:?} at {storage_mv} mV");
        }
    }

    /// Promise 2, for every pair of neighbouring readings and so for every pair.
    #[test]
    fn a_higher_reading_never_gets_less(
        (policy, state) in policy_and_state(), elapsed_s in any_elapsed_s(), waiting: u8,
    ) {
        let ranks = (0..=u16::MAX).map(|storage_mv| {
            rank(decide(&policy, &mut state.clone(), Reading { storage_mv, elapsed_s, waiting }))
        });
        prop_assert!(ranks.is_sorted());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(STREAMS))]

    /// Promise 3: between a refusal and the next grant the reading rose by the hysteresis.
    #[test]
    fn a_refused_action_resumes_only_above_the_hysteresis(
        policy in any_policy(), readings in prop::collection::vec(any_reading(), 1..STREAM_STEPS),
    ) {
        let parts = policy.parts();
        let mut state = State::cold_start(&policy);
        let mut hunting = Hunting::default();
        for reading in readings {
            let due_s = due_s(&policy, &state, reading);
            let decision = decide(&policy, &mut state, reading);
            let (measured, sent) = (decision == Decision::Measure, decision == Decision::Transmit);
            if measured && hunting.measure {
                prop_assert!(reading.storage_mv >= parts.measure_mv + parts.hysteresis_mv);
            }
            if sent && hunting.transmit {
                prop_assert!(reading.storage_mv >= parts.transmit_mv + parts.hysteresis_mv);
            }
            let (measure_due, transmit_due) = (due_s.0 == 0, due_s.1 == Some(0));
            hunting.measure = !measured
                && (hunting.measure || measure_due && reading.storage_mv < parts.measure_mv);
            hunting.transmit = !sent
                && (hunting.transmit || transmit_due && reading.storage_mv < parts.transmit_mv);
        }
    }

    /// Promise 4, by the seconds that passed between the calls; a restart without a clock counts as no time
    /// since the last transmission, and starts the off-time anew.
    #[test]
    fn the_radio_keeps_its_silence(
        policy in any_policy(), steps in prop::collection::vec(any_step(), 1..STREAM_STEPS),
    ) {
        let off_time_s = u64::from(policy.parts().off_time_s);
        let mut state = State::cold_start(&policy);
        let mut silent_s = 0_u64;
        for step in steps {
            match step {
                Step::Ask(reading) => {
                    silent_s += u64::from(reading.elapsed_s);
                    if decide(&policy, &mut state, reading) == Decision::Transmit {
                        prop_assert!(silent_s >= off_time_s, "{silent_s} s of {off_time_s} s");
                        silent_s = 0;
                    }
                }
                Step::Restart(outage) => {
                    match outage {
                        Outage::Seconds(outage_s) => silent_s += u64::from(outage_s),
                        Outage::Unknown => silent_s = 0,
                    }
                    state = State::unpack(&policy, &state.pack(&policy), outage);
                }
                Step::RestartCold => {
                    silent_s = 0;
                    state = State::cold_start(&policy);
                }
            }
        }
    }

    /// A node with enough storage acts: the promises above do not hold merely because nothing is ever granted.
    #[test]
    fn a_full_store_measures_and_transmits((policy, state) in policy_and_state()) {
        let mut state = state;
        let mut ask = |elapsed_s, waiting| {
            decide(&policy, &mut state, Reading { storage_mv: u16::MAX, elapsed_s, waiting })
        };
        prop_assert_eq!(ask(u32::MAX, 0), Decision::Measure);
        prop_assert_eq!(ask(0, u8::MAX), Decision::Transmit);
    }

    /// Every answer and every mark is the one that the contract gives: the time part, the gate, and the shorter wait.
    #[test]
    fn an_answer_is_as_the_contract_says(
        (policy, before) in policy_and_state(), readings in prop::collection::vec(any_reading(), 1..STREAM_STEPS),
    ) {
        let parts = policy.parts();
        let mut state = before;
        for reading in readings {
            let before = state;
            let decision = decide(&policy, &mut state, reading);
            let (measure_s, transmit_s) = due_s(&policy, &before, reading);
            let gate_mv = (parts.measure_mv, before.measure_refused());
            let measure = turn(&policy, reading, measure_s, gate_mv, Reason::Pace);
            let transmit = transmit_s.map(|time_s| {
                let is_silence = time_s > u32::from(parts.spacing_s) - u32::from(parts.off_time_s);
                let otherwise = if is_silence { Reason::RadioSilence } else { Reason::Pace };
                turn(&policy, reading, time_s, (parts.transmit_mv, before.transmit_refused()), otherwise)
            });
            let shorter = transmit.as_ref().filter(|transmit| transmit.wait_s < measure.wait_s).unwrap_or(&measure);
            let expected = match (&transmit, &measure) {
                (Some(Turn { wait_s: 0, .. }), _) => Decision::Transmit,
                (_, Turn { wait_s: 0, .. }) => Decision::Measure,
                _ => Decision::Wait { seconds: shorter.wait_s as u16, reason: shorter.reason },
            };
            prop_assert_eq!(decision, expected, "{:?} in {:?}", reading, before);
            let (measured, sent) = (decision == Decision::Measure, decision == Decision::Transmit);
            let is_transmit_low = transmit.is_some_and(|transmit| transmit.is_low);
            let measure_refused = before.measure_refused() || measure_s == 0 && measure.is_low;
            let transmit_refused = before.transmit_refused() || transmit_s == Some(0) && is_transmit_low;
            prop_assert_eq!(state.measure_refused(), !measured && measure_refused);
            prop_assert_eq!(state.transmit_refused(), !sent && transmit_refused);
            if measured {
                prop_assert_eq!(state.since_measure_s(), 0);
            }
            if sent {
                prop_assert_eq!(state.transmit_after_s(), parts.spacing_s);
            }
        }
    }

    /// Sleeping exactly as long as told makes the awaited action due, if the voltage is there.
    #[test]
    fn a_wait_is_as_long_as_needed((policy, state) in policy_and_state(), reading in any_reading()) {
        let mut state = state;
        if let Decision::Wait { seconds, reason } = decide(&policy, &mut state, reading) {
            prop_assume!(reason != Reason::LowStorage);
            let later = Reading { elapsed_s: u32::from(seconds), ..reading };
            let answer = decide(&policy, &mut state, later);
            let refused = matches!(answer, Decision::Wait { reason: Reason::LowStorage, .. })
                || state.transmit_refused() || state.measure_refused();
            prop_assert!(refused || !matches!(answer, Decision::Wait { .. }), "{answer:?}");
        }
    }
}

/// One action by the policy contract, worked out in numbers that cannot overflow.
struct Turn {
    is_low: bool,
    wait_s: u32,
    reason: Reason,
}

/// `otherwise` is the reason when it is not low storage.
fn turn(policy: &Policy, reading: Reading, time_s: u32, gate_mv: (u16, bool), otherwise: Reason) -> Turn {
    let parts = policy.parts();
    let (action_mv, is_refused) = gate_mv;
    let raised_mv = u32::from(parts.hysteresis_mv) * u32::from(is_refused);
    let is_low = u32::from(reading.storage_mv) < u32::from(action_mv) + raised_mv;
    let retry_s = u32::from(parts.retry_s);
    let (wait_s, reason) = if is_low && time_s <= retry_s {
        (retry_s, Reason::LowStorage)
    } else {
        (time_s, otherwise)
    };
    Turn {
        is_low,
        wait_s,
        reason,
    }
}

/// Refusals seen from outside, without the state's own marks.
#[derive(Default)]
struct Hunting {
    measure: bool,
    transmit: bool,
}

/// Until each action is due by time alone [s], from the policy contract: `None` with too few samples.
fn due_s(policy: &Policy, state: &State, reading: Reading) -> (u32, Option<u32>) {
    let row = policy
        .parts()
        .pace
        .iter()
        .find(|row| row.from_mv <= reading.storage_mv)
        .expect("last row is 0");
    let since_s =
        (u64::from(state.since_measure_s()) + u64::from(reading.elapsed_s)).min(u64::from(u16::MAX));
    let measure_s = u32::from(row.wait_s).saturating_sub(since_s as u32);
    let transmit_s = u32::from(state.transmit_after_s()).saturating_sub(reading.elapsed_s);
    (
        measure_s,
        (reading.waiting >= policy.parts().batch).then_some(transmit_s),
    )
}

#[test]
fn a_clock_that_stands_still_only_waits() {
    let policy = Policy::EXAMPLE;
    let mut state = State::cold_start(&policy);
    let still = Reading {
        storage_mv: 5_000,
        elapsed_s: 0,
        waiting: 1,
    };
    assert_eq!(decide(&policy, &mut state, still), Decision::Measure);
    for _ in 0..100_000 {
        let decision = decide(&policy, &mut state, still);
        assert_eq!(
            decision,
            Decision::Wait {
                seconds: 20,
                reason: Reason::RadioSilence
            }
        );
    }
}

/// Just measured and nothing to send: the wait is that of the first row that the reading reaches.
#[test]
fn the_pace_is_that_of_the_table() {
    let policy = Policy::EXAMPLE;
    let rows = policy.parts().pace;
    for storage_mv in policy.parts().measure_mv..=u16::MAX {
        let mut state = State::cold_start(&policy);
        let reading = Reading {
            storage_mv,
            elapsed_s: 0,
            waiting: 0,
        };
        assert_eq!(decide(&policy, &mut state, reading), Decision::Measure);
        let wait_s = rows[rows.iter().filter(|row| row.from_mv > storage_mv).count()].wait_s;
        let expected = Decision::Wait {
            seconds: wait_s,
            reason: Reason::Pace,
        };
        assert_eq!(decide(&policy, &mut state, reading), expected, "{storage_mv} mV");
    }
}

#[test]
fn a_wrapping_counter_gives_the_time_between() {
    for previous_s in [0, 1, 65_535, u32::MAX - 30, u32::MAX] {
        for passed_s in [0, 1, 59, 60, 65_536, u32::MAX] {
            assert_eq!(
                elapsed_since(previous_s, previous_s.wrapping_add(passed_s)),
                passed_s
            );
        }
    }
}
