//! Seconds from ticks: no time is lost or gained, across every wrap of the counter, and the radio keeps its silence there.

use millpond_policy::{Decision, Policy, Reading, State, Ticks, decide, elapsed_since};
use proptest::prelude::*;

/// Calls of one long life.
const CALLS: u32 = 3_000_000;
const MILLISECONDS_WRAP: u64 = 1 << 32;

/// Any counter, as the tests need it.
trait Clock {
    fn elapsed_s(&mut self, now_ticks: u32) -> u32;
}

impl<const PER_S: u32, const BITS: u32> Clock for Ticks<PER_S, BITS> {
    fn elapsed_s(&mut self, now_ticks: u32) -> u32 {
        Ticks::elapsed_s(self, now_ticks)
    }
}

/// Starts a clock.
type Start = fn(u32) -> Box<dyn Clock>;

macro_rules! clocks {
    ($(($per_s:literal, $bits:literal)),*) => {
        [$(($per_s, $bits, |now_ticks| Box::new(Ticks::<$per_s, $bits>::new(now_ticks)))),*]
    };
}

/// Ticks in a second, bits of the counter. The narrow ones, and those whose second is longer than a turn, are the odd cases.
const CLOCKS: [(u32, u32, Start); 16] = clocks![
    (1, 32),
    (2, 32),
    (3, 32),
    (100, 32),
    (1_000, 32),
    (1_024, 32),
    (32_768, 32),
    (1_000_000, 32),
    (2_147_483_648, 32),
    (4_294_967_295, 32),
    (32_768, 24),
    (32_768, 16),
    (1_000, 16),
    (65_537, 16),
    (128, 8),
    (3, 1)
];

/// A clock beside the true time in 128 bits.
struct Watched {
    clock: Box<dyn Clock>,
    per_s: u128,
    turn_ticks: u128,
    start_ticks: u128,
    passed_ticks: u128,
    answered_s: u128,
}

impl Watched {
    fn new((per_s, bits, start): (u32, u32, Start), start_ticks: u32) -> Self {
        Self {
            clock: start(start_ticks),
            per_s: per_s.into(),
            turn_ticks: 1 << bits,
            start_ticks: start_ticks.into(),
            passed_ticks: 0,
            answered_s: 0,
        }
    }

    /// Lets less than a turn pass and asks. The bits that the counter does not have come out of `noise`.
    fn step(&mut self, ticks: u32, noise: u32) -> Result<(), TestCaseError> {
        self.passed_ticks += u128::from(ticks) % self.turn_ticks;
        let now_ticks = (self.start_ticks + self.passed_ticks) % self.turn_ticks;
        let above = u128::from(noise) / self.turn_ticks * self.turn_ticks;
        self.answered_s += u128::from(self.clock.elapsed_s((now_ticks + above) as u32));
        prop_assert_eq!(self.answered_s, self.passed_ticks / self.per_s);
        Ok(())
    }
}

/// By hand: 1500 ms over the wrap, in three calls.
#[test]
fn milliseconds_over_the_wrap_are_as_by_hand() {
    let mut clock: Ticks<1_000, 32> = Ticks::new(u32::MAX - 699);
    assert_eq!(clock.elapsed_s(u32::MAX), 0); // 699 ms
    assert_eq!(clock.elapsed_s(299), 0); // 999 ms
    assert_eq!(clock.elapsed_s(300), 1); // 1000 ms
    assert_eq!(clock.elapsed_s(799), 0);
    assert_eq!(clock.elapsed_s(1_300), 1);
    // A turn less a tick: 4294967295 ms and no remainder before it.
    assert_eq!(clock.elapsed_s(1_299), 4_294_967);
}

/// The remainder outlives millions of calls: calls of less than a second each, and of up to a turn.
#[test]
fn a_long_life_neither_loses_nor_gains_a_second() {
    for clock in CLOCKS {
        let mut watched = Watched::new(clock, 0xFFFF_FF00);
        let mut random = 1_u32;
        for call in 0..CALLS / 16 {
            random = random.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let ticks = if call & 0xFF == 0 { random } else { random >> 20 };
            watched.step(ticks, random).expect("the seconds of the reference");
        }
        assert!(watched.passed_ticks > 2 * watched.turn_ticks);
    }
}

proptest! {
    #[test]
    fn seconds_are_those_of_a_reference_in_128_bits(
        start_ticks: u32,
        steps in prop::collection::vec((prop_oneof![any::<u32>(), 0_u32..2_000, Just(u32::MAX)], any::<u32>()), 1..100),
    ) {
        for clock in CLOCKS {
            let mut watched = Watched::new(clock, start_ticks);
            for (ticks, noise) in &steps {
                watched.step(*ticks, *noise)?;
            }
        }
    }

    /// Firmware on a millisecond counter that wraps, and asleep as it is told or less: the milliseconds from one
    /// transmission to the next are never fewer than the off-time, less the second that whole seconds hide.
    #[test]
    fn the_radio_keeps_its_silence_over_the_wrap(
        before_ms in 0_u64..200_000, sleeps_ms in prop::collection::vec(0_u64..25_000, 40..60),
    ) {
        let policy = Policy::EXAMPLE;
        let mut now_ms = MILLISECONDS_WRAP - before_ms;
        let mut clock: Ticks<1_000, 32> = Ticks::new(now_ms as u32);
        let mut state = State::cold_start(&policy);
        let mut sent_ms: Option<u64> = None;
        let mut sent = 0;
        for sleep_ms in sleeps_ms {
            let reading = Reading { storage_mv: 5_000, elapsed_s: clock.elapsed_s(now_ms as u32), waiting: 1 };
            if decide(&policy, &mut state, reading) == Decision::Transmit {
                if let Some(sent_ms) = sent_ms {
                    prop_assert!(now_ms - sent_ms + 1_000 > 1_000 * u64::from(policy.parts().off_time_s));
                }
                sent_ms = Some(now_ms);
                sent += 1;
            }
            now_ms += sleep_ms;
        }
        prop_assert!(sent > 0);
    }
}

/// Two transmissions at the wrap, 2 s apart: granted with a counter of seconds that is made by dividing, refused with this one.
#[test]
fn a_divided_counter_ends_the_silence_and_ticks_keep_it() {
    let policy = Policy::EXAMPLE;
    let reading = |elapsed_s| Reading {
        storage_mv: 5_000,
        elapsed_s,
        waiting: 1,
    };
    let sent = |elapsed_s: [u32; 2]| {
        let mut state = State::cold_start(&policy);
        elapsed_s.map(|elapsed_s| decide(&policy, &mut state, reading(elapsed_s)) == Decision::Transmit)
    };
    let [before_ms, first_ms, second_ms] = [u32::MAX - 30_999, u32::MAX - 999, 1_000];

    let divided = [before_ms, first_ms, second_ms].map(|now_ms| now_ms / 1_000);
    let [first_s, second_s] = [0, 1].map(|at| elapsed_since(divided[at], divided[at + 1]));
    assert_eq!(second_s, 4_290_672_331);
    assert_eq!(sent([first_s, second_s]), [true, true]);

    let mut clock: Ticks<1_000, 32> = Ticks::new(before_ms);
    assert_eq!(
        sent([clock.elapsed_s(first_ms), clock.elapsed_s(second_ms)]),
        [true, false]
    );
}
