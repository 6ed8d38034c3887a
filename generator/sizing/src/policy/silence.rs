//! What a duty limit makes of a transmission.

use crate::model::load::Load;
use crate::units::*;

/// How long the transmitter stays silent after `on_air` under a duty limit: T·(1/limit − 1).
///
/// ```
/// use millpond_sizing::policy::off_time;
/// use millpond_numbers::units::*;
/// let silence = off_time(seconds(0.185344), fraction(0.01));
/// assert!((silence - seconds(18.349056)).abs() < seconds(1e-9));
/// ```
pub fn off_time(on_air: Time, limit: Ratio) -> Time {
    on_air * (limit.recip() - fraction(1.0))
}

/// A transmission under a duty limit (docs/model.md, equation 18).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Silence {
    /// Transmitter on in all attempts together.
    pub on_air: Time,
    /// From its last moment on the air to the first of the next transmission.
    pub after: Time,
    /// From its first moment on the air to the first of the next transmission, which is what firmware can count: from one granted
    /// Transmit to the next. 0 where the limit asks for no silence.
    pub spacing: Time,
}

impl Silence {
    /// What `limit` asks for after the transmission `load`. Where no phase is timed by airtime, the whole transmission counts as on the air.
    pub fn of(load: &Load, limit: Ratio) -> Self {
        let (on_air, span) = if load.on_air > seconds(0.0) {
            (load.on_air, load.air_span)
        } else {
            (load.duration, load.duration)
        };
        let after = off_time(on_air, limit);
        let spacing = if after > seconds(0.0) {
            span + after
        } else {
            seconds(0.0)
        };
        Self {
            on_air,
            after,
            spacing,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::airtime::Airtime;
    use crate::node::{self, Extent, Node};
    use crate::policy::policy;
    use crate::thresholds::Thresholds;
    use millpond_policy::{Decision, Reading, State, decide};
    use proptest::prelude::*;

    /// Sums and products of a few doubles.
    const ROUNDING_S: f64 = 1e-9;

    /// The example with another duty limit, frame and number of attempts.
    fn gauge(limit: f64, payload_bytes: u32, attempts: u32) -> Node {
        let mut node = node::example("crack-gauge");
        let radio = node.radio.as_mut().expect("a radio");
        radio.duty_limit = Some(fraction(limit));
        if let node::Frame::Chirp {
            payload_bytes: bytes, ..
        } = &mut radio.frame
        {
            *bytes = payload_bytes;
        }
        node.transmit.attempts = attempts;
        node
    }

    /// By hand: a second of 4 s on the air of 50 %, 6 ms before it and 40 ms + 1 s after it, twice: 1 s on, 1.046 s off, 1 s on, then
    /// 2 s of silence.
    #[test]
    fn spacing_is_as_by_hand() {
        let load = Load {
            stretches: Vec::new(),
            duration: seconds(4.092),
            on_air: seconds(2.0),
            air_span: seconds(3.046),
        };
        let silence = Silence::of(&load, fraction(0.5));
        assert_eq!(silence.after, seconds(2.0));
        assert!((silence.spacing - seconds(5.046)).abs() < seconds(ROUNDING_S));
        assert_eq!(Silence::of(&load, fraction(1.0)).spacing, seconds(0.0));
        let untimed = Load {
            on_air: seconds(0.0),
            air_span: seconds(0.0),
            ..load
        };
        let silence = Silence::of(&untimed, fraction(0.25));
        assert!((silence.spacing - seconds(4.0 * 4.092)).abs() < seconds(ROUNDING_S));
    }

    /// The first moment and the last that the transmitter is on, in a transmission that starts at 0 (s).
    fn air_s(node: &Node) -> (f64, f64) {
        let mut now_s = 0.0;
        let (mut first_s, mut last_s) = (f64::INFINITY, 0.0);
        for _ in 0..node.transmit.attempts {
            for phase in &node.transmit.phases {
                let end_s = now_s
                    + Airtime::of_phase(phase, node.radio.as_ref())
                        .extent
                        .get::<second>();
                if phase.extent == Extent::Airtime {
                    first_s = f64::min(first_s, now_s);
                    last_s = end_s;
                }
                now_s = end_s;
            }
        }
        (first_s, last_s)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// A full node that always has a batch and asks again as soon as it may, by a counter of whole seconds: between the last moment
        /// of a report on the air and the first of the next lies all the silence that the limit asks for.
        #[test]
        fn a_full_node_keeps_its_duty_limit(
            limit in 0.005..0.9f64, payload_bytes in 1..=120_u32, attempts in 1..=3_u32, counter_s in 0.0..1.0f64, late_s in 0.0..0.3f64,
        ) {
            let node = gauge(limit, payload_bytes, attempts);
            let thresholds = Thresholds::of(&node);
            let policy = policy(&node, &thresholds).map_err(|rejected| TestCaseError::fail(rejected.text()))?;
            let load = &thresholds.transmit.load;
            let (first_s, last_s) = air_s(&node);
            let silence_s = load.on_air.get::<second>() * (1.0 / limit - 1.0);
            let duration_s = load.duration.get::<second>();
            let mut state = State::cold_start(&policy);
            let (mut now_s, mut asked_s, mut silent_from_s) = (0.0, 0_u32, None);
            let mut sent = 0;
            while sent < 12 {
                let count_s = (now_s + counter_s) as u32;
                let reading = Reading { storage_mv: u16::MAX, elapsed_s: count_s - asked_s, waiting: u8::MAX };
                asked_s = count_s;
                match decide(&policy, &mut state, reading) {
                    Decision::Transmit => {
                        if let Some(from_s) = silent_from_s {
                            let silent_s: f64 = now_s + first_s - from_s;
                            prop_assert!(silent_s >= silence_s - ROUNDING_S, "{silent_s} s of {silence_s} s");
                        }
                        silent_from_s = Some(now_s + last_s);
                        now_s += duration_s;
                        sent += 1;
                    }
                    Decision::Measure => now_s += late_s,
                    // A sleep ends anywhere in its last second.
                    Decision::Wait { seconds, .. } => now_s += f64::from(seconds) - 0.7 + late_s,
                }
            }
        }
    }
}
