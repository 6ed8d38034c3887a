//! The stream of readings, clock steps, samples and power losses that every target is given, and the digest of its answers.
//!
//! `tests/chips/c/stream.c` is the same in C, line by line: both take the same random numbers in the same order. Nothing here
//! divides, indexes or panics, so that what the firmware links of it shows no fault of its own.

use core::mem::size_of;

use millpond_policy::{
    Backlog, Decision, Income, Outage, PACE_ROWS, Planner, Policy, RETAINED_BYTES, Reading, Reason, State,
    Ticks, WhenFull, elapsed_since,
};

/// Multiplier and increment of the linear congruential generator modulo 2^32 of "Numerical Recipes" (full period).
const MULTIPLIER: u32 = 1_664_525;
const INCREMENT: u32 = 1_013_904_223;
/// Start and prime of the FNV-1a hash with 32 bits, here over words: each fold is a bijection, so no one changed answer is lost.
const DIGEST_START: u32 = 2_166_136_261;
const DIGEST_PRIME: u32 = 16_777_619;
/// Folded in where there is no sample: no sample has this value.
const NO_SAMPLE: u32 = 1 << 16;
/// Bytes before the check bytes of a retained copy, and as many check bytes.
const FIELD_BYTES: usize = 5;

/// A node's generated constants, and its decision as a function that can be measured.
pub(crate) trait Node {
    const POLICY: Policy;
    const WHEN_FULL: WhenFull;
    const IS_PLANNED: bool;
    fn decide(state: &mut State, planner: &mut Planner, reading: Reading) -> Decision;
}

/// One node in the stream.
pub(crate) struct Stream<N: Node, const PLACES: usize> {
    state: State,
    planner: Planner,
    backlog: Backlog<u16, PLACES>,
    income: Income,
    random: u32,
    digest: u32,
    now_s: u32,
    ticks: Ticks<32_768, 24>,
    now_ticks: u32,
    walk_mv: u16,
    sample: u16,
    stale: [u8; RETAINED_BYTES],
    node: core::marker::PhantomData<N>,
}

impl<N: Node, const PLACES: usize> Stream<N, PLACES> {
    /// Bytes of the policy's state, of the backlog without its samples, and of the income estimate.
    pub(crate) const STATE_BYTES: [usize; 3] = [
        size_of::<State>(),
        size_of::<Backlog<u16, PLACES>>() - PLACES * size_of::<u16>(),
        size_of::<Income>(),
    ];

    pub(crate) fn new() -> Self {
        let state = State::cold_start(&N::POLICY);
        Self {
            stale: state.pack(&N::POLICY),
            state,
            planner: Planner::cold_start(),
            backlog: Backlog::new(N::WHEN_FULL),
            income: Income::new(),
            random: 1,
            digest: DIGEST_START,
            now_s: 0,
            ticks: Ticks::new(0),
            now_ticks: 0,
            walk_mv: N::POLICY.parts().measure_mv,
            sample: 0,
            node: core::marker::PhantomData,
        }
    }

    /// Of every answer and state so far.
    pub(crate) fn digest(&self) -> u32 {
        self.digest
    }

    /// One wake-up, what the firmware does then, and sometimes a power loss.
    pub(crate) fn step(&mut self) {
        let storage_mv = self.next_reading_mv();
        self.fold(u32::from(storage_mv));
        let previous_s = self.now_s;
        let step_s = self.next_elapsed_s();
        self.now_s = previous_s.wrapping_add(step_s);
        let elapsed_s = elapsed_since(previous_s, self.now_s);
        let waiting = if self.below(64) == 0 {
            (self.draw() & 0xFF) as u8
        } else {
            self.backlog.len()
        };
        let reading = Reading {
            storage_mv,
            elapsed_s,
            waiting,
        };
        let decision = N::decide(&mut self.state, &mut self.planner, reading);
        self.fold(word(decision));
        self.fold_state();
        if N::IS_PLANNED {
            self.fold_planner();
            if self.below(64) == 0 {
                let spent_uj = self.draw_long();
                let shift = self.below(32);
                self.planner.spend(spent_uj >> shift);
            }
        }
        self.act(decision);
        // A radio that nobody hears for long.
        if self.below(64) == 0 {
            for _ in 0..self.below(256) {
                let sample = self.draw();
                self.backlog.push(sample);
            }
        }
        self.fold_backlog();
        let spent_uj = self.draw_long();
        let shift = self.below(32);
        self.income.observe(&N::POLICY, reading, spent_uj >> shift);
        self.fold(self.income.income_uw(&N::POLICY));
        // Some ticks, up to a whole turn of their counter.
        let passed_ticks = self.draw_long();
        let shift = self.below(32);
        self.now_ticks = self.now_ticks.wrapping_add(passed_ticks >> shift);
        let ticked_s = self.ticks.elapsed_s(self.now_ticks);
        self.fold(ticked_s);
        match self.below(128) {
            0 => self.lose_power(),
            1 => self.stale = self.state.pack(&N::POLICY),
            _ => {}
        }
    }

    fn act(&mut self, decision: Decision) {
        match decision {
            Decision::Measure => {
                self.backlog.push(self.sample);
                self.sample = self.sample.wrapping_add(1);
            }
            // One report in four gets no answer: the samples stay.
            Decision::Transmit => {
                if self.below(4) != 0 {
                    let dropped = self.backlog.take_dropped();
                    self.fold(u32::from(dropped));
                    for _ in 0..=N::POLICY.parts().batch {
                        let sample = self.backlog.pop();
                        self.fold(sample.map_or(NO_SAMPLE, u32::from));
                    }
                }
            }
            // More samples than the decision asks for: the backlog must fill up, too.
            Decision::Wait { .. } => {
                if self.below(4) == 0 {
                    let sample = self.draw();
                    self.backlog.push(sample);
                }
            }
        }
    }

    fn lose_power(&mut self) {
        let mut copy = self.state.pack(&N::POLICY);
        let mut length = RETAINED_BYTES;
        copy.iter().for_each(|byte| self.fold(u32::from(*byte)));
        match self.below(9) {
            0 => {
                let written = usize::from(self.below(RETAINED_BYTES as u16));
                copy.iter_mut().skip(written).for_each(|byte| *byte = 0xFF);
            }
            1 => {
                let written = usize::from(self.below(RETAINED_BYTES as u16));
                let old = copy.iter_mut().zip(&self.stale).skip(written);
                old.for_each(|(byte, stale)| *byte = *stale);
            }
            2 => {
                let place = usize::from(self.below(RETAINED_BYTES as u16));
                let bit = self.below(8);
                copy.iter_mut()
                    .skip(place)
                    .take(1)
                    .for_each(|byte| *byte ^= 1 << bit);
            }
            3 => copy = self.stale,
            4 => length = usize::from(self.below(RETAINED_BYTES as u16)),
            // Whole, but never packed by this policy in this state: only the rules for its content can find it.
            5 => {
                let place = match usize::from(self.below(FIELD_BYTES as u16 + 2)) {
                    field @ 0..FIELD_BYTES => field,
                    mark => mark + FIELD_BYTES,
                };
                let forged = (self.draw() & 0xFF) as u8;
                copy.iter_mut()
                    .skip(place)
                    .take(1)
                    .for_each(|byte| *byte = forged);
                seal(&mut copy);
            }
            6 => {
                let near_s = N::POLICY
                    .parts()
                    .spacing_s
                    .wrapping_sub(1)
                    .wrapping_add(self.below(3));
                [copy[3], copy[4]] = near_s.to_le_bytes();
                seal(&mut copy);
            }
            7 => {
                copy[0] = 8 + self.below(8) as u8;
                seal(&mut copy);
            }
            _ => {}
        }
        let outage = if self.below(2) == 0 {
            Outage::Unknown
        } else {
            Outage::Seconds(self.next_elapsed_s())
        };
        self.state = State::unpack(&N::POLICY, copy.get(..length).unwrap_or(&copy), outage);
        if self.below(4) == 0 {
            self.income = Income::new();
            self.backlog = Backlog::new(N::WHEN_FULL);
        }
        if N::IS_PLANNED && self.below(8) == 0 {
            self.planner = Planner::cold_start();
        }
        self.fold_state();
    }

    /// A storage voltage: anywhere, at the ends, about a threshold or a row of the pace table, from counts, or
    /// near the one before.
    fn next_reading_mv(&mut self) -> u16 {
        let parts = N::POLICY;
        let parts = parts.parts();
        match self.below(16) {
            0 => self.draw(),
            1 => {
                if self.below(2) == 0 {
                    0
                } else {
                    u16::MAX
                }
            }
            2 => self.near_mv(parts.measure_mv),
            3 => self.near_mv(parts.transmit_mv),
            4 => {
                let counts = if self.below(2) == 0 {
                    let above = self.below(4);
                    parts.sense.maximum_count.wrapping_sub(1).wrapping_add(above)
                } else {
                    let counts = self.draw();
                    counts >> self.below(8)
                };
                N::POLICY.storage_mv_from_counts(counts)
            }
            5 => {
                let row = self.below(PACE_ROWS as u16);
                let above_mv = self.below(2);
                let from_mv = parts.pace.get(usize::from(row)).map_or(0, |row| row.from_mv);
                from_mv.wrapping_sub(1).wrapping_add(above_mv)
            }
            6..=10 => {
                self.walk_mv = self.walk_mv.saturating_add(self.below(80));
                if self.walk_mv > parts.energy.full_mv {
                    self.walk_mv = parts.energy.floor_mv;
                }
                self.walk_mv
            }
            _ => {
                self.walk_mv = self.walk_mv.saturating_sub(self.below(80));
                self.walk_mv
            }
        }
    }

    /// From a little below a threshold to a little above its hysteresis.
    fn near_mv(&mut self, threshold_mv: u16) -> u16 {
        let hysteresis_mv = N::POLICY.parts().hysteresis_mv;
        threshold_mv
            .wrapping_sub(4)
            .wrapping_add(self.below(hysteresis_mv.wrapping_add(8)))
    }

    /// A clock step: none, seconds, an hour, about the end of 16 bits, a day, a clock that was set back, or anything.
    fn next_elapsed_s(&mut self) -> u32 {
        match self.below(32) {
            0..=3 => 0,
            4..=15 => u32::from(self.below(100)),
            16..=27 => u32::from(self.below(4_000)),
            28 => 65_500 + u32::from(self.below(100)),
            29 => 4_000 + u32::from(self.below(62_000)),
            30 => u32::MAX - u32::from(self.below(3)),
            _ => self.draw_long(),
        }
    }

    fn fold_state(&mut self) {
        let state = self.state;
        self.fold(u32::from(state.since_measure_s()) | u32::from(state.transmit_after_s()) << 16);
        self.fold(u32::from(state.measure_refused()) | u32::from(state.transmit_refused()) << 1);
    }

    fn fold_planner(&mut self) {
        let planner = self.planner;
        self.fold(u32::from(planner.interval_s()) | u32::from(planner.is_planning()) << 16);
        for units in planner.slots_units() {
            self.fold(u32::from(*units));
        }
    }

    fn fold_backlog(&mut self) {
        self.fold(u32::from(self.backlog.len()) | u32::from(self.backlog.dropped()) << 16);
        let index = self.below(PLACES as u16);
        let sample = self.backlog.iter().nth(usize::from(index)).copied();
        self.fold(sample.map_or(NO_SAMPLE, u32::from));
    }

    fn fold(&mut self, word: u32) {
        self.digest = (self.digest ^ word).wrapping_mul(DIGEST_PRIME);
    }

    /// The high half of the next random number: its low bits have short periods.
    fn draw(&mut self) -> u16 {
        self.random = self.random.wrapping_mul(MULTIPLIER).wrapping_add(INCREMENT);
        (self.random >> 16) as u16
    }

    fn draw_long(&mut self) -> u32 {
        let high = self.draw();
        let low = self.draw();
        u32::from(high) << 16 | u32::from(low)
    }

    /// One of 0 to `end` - 1, without a division.
    fn below(&mut self, end: u16) -> u16 {
        (u32::from(self.draw()).wrapping_mul(u32::from(end)) >> 16) as u16
    }
}

/// An answer in one word, as the C header numbers it.
fn word(decision: Decision) -> u32 {
    match decision {
        Decision::Wait { seconds, reason } => {
            let reason = match reason {
                Reason::Pace => 0,
                Reason::LowStorage => 1,
                Reason::RadioSilence => 2,
            };
            reason << 8 | u32::from(seconds) << 16
        }
        Decision::Measure => 1,
        Decision::Transmit => 2,
    }
}

/// Puts right check bytes on a copy: its first bytes times powers of 2, and of the sum the remainder by the field's polynomial.
fn seal(copy: &mut [u8; RETAINED_BYTES]) {
    let mut check = [0; FIELD_BYTES];
    for (index, byte) in check.iter_mut().enumerate() {
        let mut sum = 0_u32;
        for field in copy.iter().take(FIELD_BYTES) {
            sum = sum << index ^ u32::from(*field);
        }
        let mut polynomial = 0x11D << 16;
        for bit in (8..=24).rev() {
            if sum >> bit & 1 != 0 {
                sum ^= polynomial;
            }
            polynomial >>= 1;
        }
        *byte = sum as u8;
    }
    let places = copy.iter_mut().skip(FIELD_BYTES);
    places.zip(check).for_each(|(place, byte)| *place = byte);
}
