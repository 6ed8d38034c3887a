//! The decision.
//!
//! # The promises, and why they hold
//!
//! Each action has a *time part*, the seconds until it is due, and a *gate*: its decide threshold, raised by
//! the hysteresis after a refusal. The wait for the action is the time part, or `retry_s` if that is longer
//! and the reading is below the gate.
//!
//! **Never below the threshold.** An action is granted only when its wait is 0. Below the gate the wait is at
//! least `retry_s`, which is at least 1, and the gate is never below the threshold.
//!
//! **Monotone.** Take one state and two readings that differ in voltage only. Time parts do not rise with the
//! voltage (the pace table's waits never rise with it, and neither does a plan's; the radio's time does not depend on it), and neither does
//! what the gate adds. So neither wait rises. Transmit is granted when its wait is 0, otherwise Measure when its wait is
//! 0, otherwise the smaller wait is answered: with the higher reading the answer is the same, a greater action,
//! or a shorter wait.
//!
//! **No hunting.** A due action below its gate is marked as refused, which raises its gate by the hysteresis;
//! only granting the action, at or above the raised gate, takes the mark away.
//!
//! **Radio silence.** A granted Transmit sets `transmit_after_s` to `spacing_s`, at least the off-time, and it falls
//! only by elapsed seconds. The next Transmit needs it at 0.

use crate::decision::{Decision, Reason};
use crate::pace;
use crate::policy::Policy;
use crate::reading::Reading;
use crate::state::{MEASURE_REFUSED, State, TRANSMIT_REFUSED};

/// Wait for a transmission that has nothing to send (s): no wait of a measurement is longer.
const NEVER_S: u16 = u16::MAX;

/// One action as it stands at this reading.
struct Turn {
    /// Until it is due (s); 0 when it is due.
    time_s: u16,
    /// Until it may be asked for again because of low storage (s); 0 at and above the gate.
    gate_s: u16,
}

impl Turn {
    fn wait_s(&self) -> u16 {
        self.time_s.max(self.gate_s)
    }

    /// Whether low storage is what the wait is for.
    fn is_held_by_gate(&self) -> bool {
        self.gate_s != 0 && self.gate_s >= self.time_s
    }

    fn is_refused(&self) -> bool {
        self.time_s == 0 && self.gate_s != 0
    }
}

/// Answers what to do next, and updates the state. See the crate's page for an example.
///
/// Every reading is allowed, and so is a clock that stands still, jumps or wraps. Save the state after the
/// call and before acting on the answer.
pub fn decide(policy: &Policy, state: &mut State, reading: Reading) -> Decision {
    let interval_s = pace::wait_s(&policy.parts().pace, reading.storage_mv);
    decide_every(policy, state, reading, interval_s)
}

/// The same with a time between measurements that does not come from the pace table (s).
pub(crate) fn decide_every(
    policy: &Policy,
    state: &mut State,
    reading: Reading,
    interval_s: u16,
) -> Decision {
    let parts = policy.parts();
    state.advance(reading.elapsed_s);

    let gate_s = |action_mv: u16, refused_bit: u8| {
        let raised_mv = if state.refused & refused_bit != 0 {
            parts.hysteresis_mv
        } else {
            0
        };
        // OK because `Policy::new` refuses a threshold within the hysteresis of 65535.
        let gate_mv = action_mv.wrapping_add(raised_mv);
        if reading.storage_mv < gate_mv {
            parts.retry_s
        } else {
            0
        }
    };

    let measure = Turn {
        time_s: interval_s.saturating_sub(state.since_measure_s),
        gate_s: gate_s(parts.measure_mv, MEASURE_REFUSED),
    };
    let transmit = Turn {
        time_s: if reading.waiting >= parts.batch {
            state.transmit_after_s
        } else {
            NEVER_S
        },
        gate_s: gate_s(parts.transmit_mv, TRANSMIT_REFUSED),
    };

    if measure.is_refused() {
        state.refused |= MEASURE_REFUSED;
    }
    if transmit.is_refused() {
        state.refused |= TRANSMIT_REFUSED;
    }

    let (measure_s, transmit_s) = (measure.wait_s(), transmit.wait_s());
    if transmit_s == 0 {
        state.transmit_after_s = parts.spacing_s;
        state.refused &= !TRANSMIT_REFUSED;
        return Decision::Transmit;
    }
    if measure_s == 0 {
        state.since_measure_s = 0;
        state.refused &= !MEASURE_REFUSED;
        return Decision::Measure;
    }
    if transmit_s < measure_s {
        // OK because `Policy::new` refuses a spacing below the off-time.
        let paced_s = parts.spacing_s.wrapping_sub(parts.off_time_s);
        let reason = if transmit.is_held_by_gate() {
            Reason::LowStorage
        } else if state.transmit_after_s > paced_s {
            Reason::RadioSilence
        } else {
            Reason::Pace
        };
        return Decision::Wait {
            seconds: transmit_s,
            reason,
        };
    }
    let reason = if measure.is_held_by_gate() {
        Reason::LowStorage
    } else {
        Reason::Pace
    };
    Decision::Wait {
        seconds: measure_s,
        reason,
    }
}
