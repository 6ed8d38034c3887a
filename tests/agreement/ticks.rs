//! Seconds from ticks: the same in both languages, and the same as a division in 128 bits.

use millpond_policy::Ticks;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use crate::Pair;

/// Calls for one node: some 10 million over the five nodes.
const CALLS: u32 = 2_000_000;

impl<const N: usize> Pair<N> {
    /// A counter that starts anywhere and turns often, its reading with noise above its own bits; and the division by itself,
    /// with any ticks in a second.
    pub(crate) fn ticks<const PER_S: u32, const BITS: u32>(mut self) {
        let mut random = Pcg64Mcg::seed_from_u64(3);
        let mask_ticks = u32::MAX >> (u32::BITS - BITS);
        let start_ticks = random.random();
        let mut now_ticks: u32 = start_ticks;
        let mut ticks = Ticks::<PER_S, BITS>::new(start_ticks);
        self.c.ticks_start(start_ticks);
        let (mut passed_ticks, mut answered_s) = (0_u128, 0_u128);
        for _ in 0..CALLS {
            let step_ticks = any_number(&mut random) & mask_ticks;
            passed_ticks += u128::from(step_ticks);
            now_ticks = now_ticks.wrapping_add(step_ticks);
            let noise = random.random::<u32>() & !mask_ticks;
            let elapsed_s = ticks.elapsed_s(now_ticks ^ noise);
            assert_eq!(self.c.elapsed_s(now_ticks ^ noise), elapsed_s);
            answered_s += u128::from(elapsed_s);
            assert_eq!(answered_s, passed_ticks / u128::from(PER_S));

            let per_s = any_number(&mut random).max(1);
            let (passed, remainder) = (any_number(&mut random), any_number(&mut random) % per_s);
            let sum = u64::from(passed) + u64::from(remainder);
            let expected = (sum / u64::from(per_s), sum % u64::from(per_s));
            // With a tick a second nothing is ever left over, so that the seconds fit 32 bits.
            let (seconds, left_ticks) = self.c.whole_seconds(passed, remainder, per_s);
            assert_eq!((u64::from(seconds), u64::from(left_ticks)), expected);
        }
    }
}

/// Of any length.
fn any_number(random: &mut Pcg64Mcg) -> u32 {
    random.random::<u32>() >> random.random_range(0..u32::BITS)
}
