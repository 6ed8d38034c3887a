//! The firmware's side: any constants that their constructor takes, any memory, any reading and any clock.

use arbitrary::{Arbitrary, Result, Unstructured};
use millpond_policy::{
    AHEAD_SLOTS, Costs, Decision, EnergyModel, Income, Outage, PACE_ROWS, PaceRow, Plan, PlanParts, Planner,
    Policy, PolicyParts, RETAINED_BYTES, Reading, SLOT_S, Sense, SenseKind, State,
};

/// Calls of one run.
const STEPS: usize = 200;

fn energy(u: &mut Unstructured<'_>) -> Result<EnergyModel> {
    let (a, b): (u16, u16) = u.arbitrary()?;
    Ok(EnergyModel {
        floor_mv: a.min(b),
        full_mv: a.max(b),
        energy_shift_before: u.int_in_range(0..=32)?,
        energy_scale: u.arbitrary()?,
        energy_shift_after: u.int_in_range(0..=32)?,
    })
}

fn costs(u: &mut Unstructured<'_>) -> Result<Costs> {
    Ok(Costs {
        measure_uj: u.arbitrary()?,
        transmit_uj: u.arbitrary()?,
        sleep_uw: u.arbitrary()?,
    })
}

/// The example, another pace, or one with many fields changed; nothing where the constructor refuses.
fn policy(u: &mut Unstructured<'_>) -> Result<Option<Policy>> {
    let mut parts: PolicyParts = *Policy::EXAMPLE.parts();
    if u.arbitrary()? {
        parts.measure_mv = u.arbitrary()?;
        parts.transmit_mv = u.arbitrary()?;
        parts.hysteresis_mv = u.int_in_range(0..=500)?;
        parts.batch = u.arbitrary()?;
        parts.backlog = u8::arbitrary(u)?.max(parts.batch);
        parts.off_time_s = u.arbitrary()?;
        parts.spacing_s = u16::arbitrary(u)?.max(parts.off_time_s);
        parts.retry_s = u.arbitrary()?;
        parts.income_shift = u.int_in_range(0..=20)?;
        parts.fingerprint = u.arbitrary()?;
    }
    if u.arbitrary()? {
        let mut voltages = [0_u16; PACE_ROWS];
        let mut waits = [0_u16; PACE_ROWS];
        for (voltage, wait) in voltages.iter_mut().zip(&mut waits) {
            (*voltage, *wait) = u.arbitrary()?;
        }
        voltages.sort_unstable_by(|a, b| b.cmp(a));
        waits.sort_unstable();
        if let Some(last) = voltages.last_mut() {
            *last = 0;
        }
        for ((row, from_mv), wait_s) in parts.pace.iter_mut().zip(voltages).zip(waits) {
            *row = PaceRow { from_mv, wait_s };
        }
    }
    if u.arbitrary()? {
        parts.energy = energy(u)?;
        parts.costs = costs(u)?;
        parts.sense = Sense {
            kind: if u.arbitrary()? {
                SenseKind::Divider
            } else {
                SenseKind::Reference
            },
            count_scale: u.arbitrary()?,
            count_shift: u.int_in_range(0..=40)?,
            maximum_count: u.arbitrary()?,
        };
    }
    Ok(Policy::new(parts).ok())
}

fn plan(u: &mut Unstructured<'_>) -> Result<Option<Plan>> {
    let mut parts: PlanParts = *Plan::EXAMPLE.parts();
    if u.arbitrary()? {
        parts.unit_shift = u.int_in_range(0..=32)?;
        parts.full_units = u.arbitrary()?;
        parts.reserve_units = u16::arbitrary(u)?.min(parts.full_units);
        parts.target_units = u16::arbitrary(u)?.min(parts.full_units);
        parts.sleep_units = u.arbitrary()?;
        parts.sample_unit_s = u.arbitrary()?;
        parts.full_reading_mv = u.arbitrary()?;
    }
    if u.arbitrary()? {
        parts.caution = <[u8; AHEAD_SLOTS]>::arbitrary(u)?;
        (
            parts.slot_kept,
            parts.ratio_kept,
            parts.ratio_fading,
            parts.growth,
        ) = u.arbitrary()?;
        parts.fastest_s = u.arbitrary()?;
        parts.slowest_s = u16::arbitrary(u)?.max(parts.fastest_s);
    }
    if u.arbitrary()? {
        parts.energy = energy(u)?;
        parts.costs = costs(u)?;
    }
    Ok(Plan::new(parts).ok())
}

fn reading(u: &mut Unstructured<'_>) -> Result<Reading> {
    let elapsed_s = match u.int_in_range(0..=5)? {
        0 => 0,
        1 => u32::from(u8::arbitrary(u)?),
        2 => u32::from(u16::arbitrary(u)?),
        3 => 3_600,
        4 => u32::MAX,
        _ => u.arbitrary()?,
    };
    Ok(Reading {
        storage_mv: u.arbitrary()?,
        elapsed_s,
        waiting: u.arbitrary()?,
    })
}

/// What has to hold of every answer; keeps the time since the last transmission.
struct Watch {
    since_transmit_s: u64,
}

impl Watch {
    fn new() -> Self {
        Self { since_transmit_s: 0 }
    }

    fn see(&mut self, policy: &Policy, reading: Reading, decision: Decision) {
        let parts = policy.parts();
        self.since_transmit_s += u64::from(reading.elapsed_s);
        match decision {
            Decision::Measure => assert!(
                reading.storage_mv >= parts.measure_mv,
                "measured below its threshold"
            ),
            Decision::Transmit => {
                assert!(
                    reading.storage_mv >= parts.transmit_mv,
                    "sent below its threshold"
                );
                assert!(reading.waiting >= parts.batch, "sent without a batch");
                assert!(
                    self.since_transmit_s >= u64::from(parts.off_time_s),
                    "sent within the off-time"
                );
                self.since_transmit_s = 0;
            }
            Decision::Wait { seconds, .. } => assert!(seconds >= 1, "an answer that asks again at once"),
        }
    }
}

pub(super) fn retained(bytes: &[u8]) {
    let mut u = Unstructured::new(bytes);
    let Ok(Some(policy)) = policy(&mut u) else { return };
    let outage = match u.arbitrary::<Option<u32>>() {
        Ok(Some(seconds)) => Outage::Seconds(seconds),
        _ => Outage::Unknown,
    };
    let copy = u.take_rest();
    let state = State::unpack(&policy, copy, outage);
    torn(&policy, state, copy, outage);
    let again = State::unpack(&policy, &state.pack(&policy), Outage::Seconds(0));
    assert_eq!(again, state, "a packed state comes back");
    if outage == Outage::Unknown {
        let off_time_s = policy.parts().off_time_s;
        assert!(
            state.transmit_after_s() >= off_time_s,
            "the clock was lost and the radio may speak early"
        );
    }
    if copy.len() != RETAINED_BYTES {
        assert_eq!(
            state,
            State::cold_start(&policy),
            "a copy of another length is no copy"
        );
    }
}

/// The state's copy, over another whole one that the bytes tell, torn as they tell: the new one, the old one or none.
fn torn(policy: &Policy, state: State, bytes: &[u8], outage: Outage) {
    let mut old_state = State::cold_start(policy);
    let mut u = Unstructured::new(bytes);
    let (Ok(chosen), Ok(storage_mv), Ok(elapsed_s)) = (u.arbitrary::<u16>(), u.arbitrary(), u.arbitrary())
    else {
        return;
    };
    let _ = millpond_policy::decide(
        policy,
        &mut old_state,
        Reading {
            storage_mv,
            elapsed_s,
            waiting: 1,
        },
    );
    let (new, old) = (state.pack(policy), old_state.pack(policy));
    let mut copy = old;
    for (place, (byte, new)) in copy.iter_mut().zip(new).enumerate() {
        if chosen >> place & 1 == 1 {
            *byte = new;
        }
    }
    let restored = State::unpack(policy, &copy, outage);
    let is_one = [new, old]
        .iter()
        .any(|whole| State::unpack(policy, whole, outage) == restored);
    assert!(
        is_one || restored == State::cold_start(policy),
        "a torn copy is taken"
    );
}

pub(super) fn decide(bytes: &[u8]) {
    let mut u = Unstructured::new(bytes);
    let Ok(Some(policy)) = policy(&mut u) else { return };
    let (mut state, mut income, mut watch) = (State::cold_start(&policy), Income::new(), Watch::new());
    for _ in 0..STEPS {
        if u.is_empty() {
            return;
        }
        let (Ok(mut reading), Ok(from_counts)) = (reading(&mut u), u.arbitrary::<bool>()) else {
            return;
        };
        if from_counts {
            reading.storage_mv = policy.storage_mv_from_counts(reading.storage_mv);
        }
        let (mut lower, before) = (reading, state);
        lower.storage_mv /= 2;
        let decision = millpond_policy::decide(&policy, &mut state, reading);
        watch.see(&policy, reading, decision);
        let other = millpond_policy::decide(&policy, &mut before.clone(), lower);
        assert!(
            rank(other) <= rank(decision),
            "less voltage got more: {other:?} instead of {decision:?}"
        );
        income.observe(&policy, reading, u32::from(reading.waiting) << 20);
        let _ = income.income_uw(&policy);
    }
}

/// Greater is better for the node.
fn rank(decision: Decision) -> (u8, u16) {
    match decision {
        Decision::Transmit => (2, 0),
        Decision::Measure => (1, 0),
        Decision::Wait { seconds, .. } => (0, u16::MAX - seconds),
    }
}

pub(super) fn planner(bytes: &[u8]) {
    let mut u = Unstructured::new(bytes);
    let Ok(Some(policy)) = policy(&mut u) else { return };
    let Ok(Some(plan)) = plan(&mut u) else { return };
    let (mut state, mut planner, mut watch) =
        (State::cold_start(&policy), Planner::cold_start(), Watch::new());
    for _ in 0..STEPS {
        if u.is_empty() {
            return;
        }
        let Ok(reading) = reading(&mut u) else { return };
        let decision = planner.decide(&policy, &plan, &mut state, reading);
        watch.see(&policy, reading, decision);
        if let Decision::Wait { seconds, .. } = decision {
            assert!(seconds <= SLOT_S, "a wait beyond the slot");
        }
        if planner.is_planning() {
            let (fastest_s, slowest_s) = (plan.parts().fastest_s, plan.parts().slowest_s);
            assert!(
                (fastest_s..=slowest_s).contains(&planner.interval_s()),
                "a plan outside its ends"
            );
        }
    }
}
