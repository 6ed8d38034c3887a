//! C and Rust, generated from the same constants, give the same answers bit for bit.
//!
//! The witness is the C compiler of this machine. The same header on the chips is `millpond-tests --bin chips`.

mod c_planner;
mod c_side;
mod compilers;
mod planner;
mod ticks;

use c_side::{CSide, CState, Shim};
use millpond_policy::{
    Backlog, Decision, Income, Outage, Policy, RETAINED_BYTES, Reading, State, WhenFull, decide,
    elapsed_since,
};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// Steps of the random stream of one node: 17.5 million over the seven nodes.
const STREAM_STEPS: u32 = 2_500_000;
/// States in which every 16-bit reading is tried, for one node.
const SWEPT_STATES: u32 = 300;

/// Samples without a report: more than the widest stride times the largest backlog, and more than the count of dropped
/// samples holds.
const SILENT_SAMPLES: u32 = 140_000;

/// Bytes of a packed state before its check bytes, and as many of those.
const FIELD_BYTES: usize = 5;

/// Both sides of one node, in step.
struct Pair<const N: usize> {
    policy: Policy,
    state: State,
    backlog: Backlog<u16, N>,
    income: Income,
    c: CSide,
}

macro_rules! nodes {
    ($($module:ident, $shim:ident, $per_s:literal, $bits:literal;)*) => {$(
        mod $module {
            include!(concat!(env!("OUT_DIR"), "/", stringify!($module), ".rs"));

            const PLACES: usize = POLICY.parts().backlog as usize;
            /// As in the shim.
            const TICKS_PER_S: u32 = $per_s;
            const TICK_BITS: u32 = $bits;

            fn pair() -> super::Pair<PLACES> {
                #[allow(unsafe_code, reason = "a table of constants that C never changes")]
                super::Pair::new(POLICY, WHEN_FULL, unsafe { &super::c_side::$shim })
            }

            #[test]
            fn every_reading_in_many_states() {
                pair().sweep();
            }

            #[test]
            fn long_random_streams() {
                pair().stream();
            }

            #[test]
            fn a_long_silence() {
                pair().silence();
            }

            #[test]
            fn seconds_from_ticks() {
                pair().ticks::<TICKS_PER_S, TICK_BITS>();
            }

            #[test]
            fn every_count_and_energy() {
                pair().tables();
            }
        }
    )*};
}

nodes! {
    crack_gauge, CRACK_GAUGE_SHIM, 1_000, 32;
    pump_bearing, PUMP_BEARING_SHIM, 32_768, 24;
    display_case, DISPLAY_CASE_SHIM, 32_768, 16;
    smallest, SMALLEST_SHIM, 1, 1;
    largest, LARGEST_SHIM, 4_294_967_295, 32;
    supply_read, SUPPLY_READ_SHIM, 1_024, 32;
    supply_read_largest, SUPPLY_READ_LARGEST_SHIM, 32_768, 16;
}

impl<const N: usize> Pair<N> {
    fn new(policy: Policy, when_full: WhenFull, shim: &'static Shim) -> Self {
        Self {
            policy,
            state: State::cold_start(&policy),
            backlog: Backlog::new(when_full),
            income: Income::new(),
            c: CSide::new(shim),
        }
    }

    /// Every 16-bit reading, in random states of every kind.
    fn sweep(mut self) {
        let mut random = Pcg64Mcg::seed_from_u64(1);
        for _ in 0..SWEPT_STATES {
            let spacing_s = self.policy.parts().spacing_s;
            let stored = CState {
                since_measure_s: edge_u16(&mut random),
                transmit_after_s: edge_u16(&mut random).min(spacing_s),
                refused: random.random_range(0..4),
            };
            self.c.set_state(stored);
            let state = State::unpack(&self.policy, &self.c.pack(), Outage::Seconds(0));
            let (elapsed_s, waiting) = (elapsed_s(&mut random), self.some_waiting(&mut random));
            for storage_mv in 0..=u16::MAX {
                let reading = Reading {
                    storage_mv,
                    elapsed_s,
                    waiting,
                };
                self.state = state;
                self.c.set_state(stored);
                let _ = self.ask(reading);
            }
        }
    }

    /// A node's life: wake-ups, clock steps, samples, reports that fail, power losses with good, torn and stale copies.
    fn stream(mut self) {
        let mut random = Pcg64Mcg::seed_from_u64(2);
        let mut storage_mv = 0_u16;
        let mut stale = self.c.pack();
        let (mut measured, mut sent) = (0, 0);
        for step in 0..STREAM_STEPS {
            storage_mv = match random.random_range(0..16) {
                0 => edge_u16(&mut random),
                1..8 => storage_mv.saturating_add(random.random_range(0..80)),
                _ => storage_mv.saturating_sub(random.random_range(0..80)),
            };
            let waiting = match random.random_range(0..64) {
                0 => random.random(),
                _ => self.backlog.len(),
            };
            let elapsed_s = elapsed_s(&mut random);
            match self.ask(Reading {
                storage_mv,
                elapsed_s,
                waiting,
            }) {
                Decision::Measure => {
                    measured += 1;
                    self.push(step as u16);
                }
                Decision::Transmit => {
                    sent += 1;
                    self.report(random.random_range(0..4) != 0);
                }
                // More samples than the decision asks for: the backlog must fill up, too.
                Decision::Wait { .. } if random.random_range(0..4) == 0 => self.push(step as u16),
                Decision::Wait { .. } => {}
            }
            let spent_uj = random.random::<u32>() >> random.random_range(0..32);
            self.income.observe(
                &self.policy,
                Reading {
                    storage_mv,
                    elapsed_s,
                    waiting,
                },
                spent_uj,
            );
            self.c.observe(storage_mv, elapsed_s, spent_uj);
            assert_eq!(self.c.income_uw(), self.income.income_uw(&self.policy));
            let (previous_s, now_s) = (random.random(), random.random());
            assert_eq!(
                self.c.elapsed_since(previous_s, now_s),
                elapsed_since(previous_s, now_s)
            );
            match random.random_range(0..200) {
                0 => self.lose_power(&mut random, stale),
                1 => stale = self.c.pack(),
                _ => {}
            }
        }
        // The node `largest` may act only at a full-scale reading: it is there for the ends of the ranges.
        let least = if self.policy.parts().measure_mv == u16::MAX {
            1
        } else {
            STREAM_STEPS / 1_000
        };
        assert!(
            measured >= least && sent >= least,
            "{measured} measurements, {sent} transmissions"
        );
    }

    /// Nothing is sent for so long that the widest stride and the end of the count are reached, and one report in
    /// between makes a little room.
    fn silence(mut self) {
        for sample in 0..SILENT_SAMPLES {
            self.push(sample as u16);
            if sample == SILENT_SAMPLES / 2 && N > 2 {
                assert_eq!(self.c.pop(), self.backlog.pop());
            }
        }
        assert_eq!(self.backlog.dropped(), u16::MAX);
    }

    /// Every count and every voltage.
    fn tables(self) {
        for number in 0..=u16::MAX {
            assert_eq!(
                self.c.storage_mv_from_counts(number),
                self.policy.storage_mv_from_counts(number)
            );
            assert_eq!(self.c.stored_uj(number), self.policy.stored_uj(number));
        }
    }

    fn ask(&mut self, reading: Reading) -> Decision {
        let before = self.state;
        let decision = decide(&self.policy, &mut self.state, reading);
        let c_decision = self.c.decide(reading);
        assert_eq!(
            c_decision, decision,
            "C and Rust differ for {reading:?} in {before:?}"
        );
        self.compare_states();
        decision
    }

    fn compare_states(&self) {
        let refused = u8::from(self.state.measure_refused()) | u8::from(self.state.transmit_refused()) << 1;
        let state = CState {
            since_measure_s: self.state.since_measure_s(),
            transmit_after_s: self.state.transmit_after_s(),
            refused,
        };
        assert_eq!(self.c.state(), state);
    }

    fn push(&mut self, sample: u16) {
        self.backlog.push(sample);
        self.c.push(sample);
        self.compare_backlogs();
    }

    /// Sends one batch, and the count of dropped samples; a report that fails takes nothing out.
    fn report(&mut self, succeeds: bool) {
        self.compare_backlogs();
        if succeeds {
            assert_eq!(self.c.take_dropped(), self.backlog.take_dropped());
            for _ in 0..=self.policy.parts().batch {
                assert_eq!(self.c.pop(), self.backlog.pop());
            }
        }
        self.compare_backlogs();
    }

    fn compare_backlogs(&self) {
        assert_eq!(self.c.waiting(), self.backlog.len());
        assert_eq!(self.c.dropped(), self.backlog.dropped());
        assert!(self.c.samples().iter().eq(self.backlog.iter()));
    }

    fn lose_power(&mut self, random: &mut Pcg64Mcg, stale: [u8; RETAINED_BYTES]) {
        let copy = self.c.pack();
        assert_eq!(copy, self.state.pack(&self.policy));
        let mut bytes = copy.to_vec();
        match random.random_range(0..9) {
            // Torn in the middle of writing.
            0 => bytes[random.random_range(0..RETAINED_BYTES)..].fill(0xFF),
            1 => {
                let written = random.random_range(0..RETAINED_BYTES);
                bytes[written..].copy_from_slice(&stale[written..]);
            }
            2 => bytes[random.random_range(0..RETAINED_BYTES)] ^= 1 << random.random_range(0..8),
            3 => bytes = stale.to_vec(),
            4 => bytes.truncate(random.random_range(0..RETAINED_BYTES)),
            5 => bytes.push(random.random()),
            // Of another format, of other constants or out of range, and yet whole.
            6 => {
                let place = random.random_range(0..FIELD_BYTES + 2);
                bytes[if place < FIELD_BYTES {
                    place
                } else {
                    place + FIELD_BYTES
                }] = edge_u8(random);
                seal(&mut bytes);
            }
            // Torn in any order.
            7 => {
                for (byte, stale) in bytes.iter_mut().zip(stale) {
                    if random.random() {
                        *byte = stale;
                    }
                }
            }
            _ => {}
        }
        let outage_s = random.random::<bool>().then(|| elapsed_s(random));
        let outage = outage_s.map_or(Outage::Unknown, Outage::Seconds);
        self.state = State::unpack(&self.policy, &bytes, outage);
        let is_whole = self.c.unpack(&bytes, outage_s);
        assert!(is_whole || bytes != copy);
        assert!(!is_whole || bytes.len() == RETAINED_BYTES);
        self.compare_states();
    }

    fn some_waiting(&self, random: &mut Pcg64Mcg) -> u8 {
        match random.random_range(0..4) {
            0 => 0,
            1 => self.policy.parts().batch,
            2 => self.policy.parts().batch - 1,
            _ => random.random(),
        }
    }
}

/// Puts right check bytes on a copy: its first bytes times powers of 2, and of the sum the remainder by the field's polynomial.
fn seal(copy: &mut [u8]) {
    for check in 0..FIELD_BYTES {
        let mut sum = copy[..FIELD_BYTES]
            .iter()
            .fold(0_u32, |sum, field| sum << check ^ u32::from(*field));
        for bit in (8..32).rev() {
            if sum >> bit & 1 == 1 {
                sum ^= 0x11D << (bit - 8);
            }
        }
        copy[FIELD_BYTES + check] = sum as u8;
    }
}

/// A byte, often one of the first.
fn edge_u8(random: &mut Pcg64Mcg) -> u8 {
    match random.random_range(0..2) {
        0 => random.random_range(0..8),
        _ => random.random(),
    }
}

/// A 16-bit number, often at an end of its range or small.
pub(crate) fn edge_u16(random: &mut Pcg64Mcg) -> u16 {
    match random.random_range(0..8) {
        0 => 0,
        1 => u16::MAX,
        2..5 => random.random_range(0..2_000),
        5 => random.random_range(2_000..5_500),
        _ => random.random(),
    }
}

/// A clock step: stalled, ordinary, jumping over 16 bits, wrapping.
pub(crate) fn elapsed_s(random: &mut Pcg64Mcg) -> u32 {
    match random.random_range(0..32) {
        0..4 => 0,
        4..16 => random.random_range(0..100),
        16..28 => random.random_range(0..4_000),
        28 => random.random_range(65_500..65_600),
        29 => random.random_range(4_000..70_000),
        30 => u32::MAX - random.random_range(0..3),
        _ => random.random(),
    }
}
