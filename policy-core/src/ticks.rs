//! Whole seconds from a counter of ticks that wraps.

/// Whole seconds from a free-running counter that counts `PER_S` ticks in a second and wraps after `BITS` bits.
///
/// A counter of seconds that is made by dividing such ticks is wrong at each wrap: 32 bits of milliseconds end at
/// 4 294 967 s, and from there to 0 [`elapsed_since`](crate::elapsed_since) sees 136 years. Here the ticks are subtracted
/// first and turned into seconds after that, and the ticks that make no whole second are kept for the next call. Over any
/// number of calls
///
///   sum of the seconds answered ≤ ticks since the start / `PER_S` < sum of the seconds answered + 1.
///
/// Right as long as less than one wrap passes from one call to the next: 49.7 days for 32 bits of milliseconds, 512 s for 24
/// bits at 32768 Hz, 2 s for 16 bits at 32768 Hz. Where the node may sleep for longer, call it from the counter's overflow
/// interrupt, too, and add up what it answers. Firmware that sets its counter back starts anew from there.
///
/// `PER_S` is at least 1, `BITS` from 1 to 32; anything else does not compile. No division is linked in.
///
/// ```
/// use millpond_policy::Ticks;
/// let mut clock: Ticks<1_000, 32> = Ticks::new(u32::MAX - 499); // 500 ms before the wrap
/// assert_eq!(clock.elapsed_s(1_499), 1); // 1999 ms later
/// assert_eq!(clock.elapsed_s(1_500), 1); // one more
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Ticks<const PER_S: u32, const BITS: u32> {
    previous_ticks: u32,
    /// Ticks that made no whole second yet: less than `PER_S`.
    remainder_ticks: u32,
}

impl<const PER_S: u32, const BITS: u32> Ticks<PER_S, BITS> {
    /// The counter's bits, all set.
    const MASK_TICKS: u32 = {
        assert!(PER_S >= 1, "a second must have at least 1 tick");
        assert!(
            BITS >= 1 && BITS <= u32::BITS,
            "a tick counter must have 1 to 32 bits"
        );
        u32::MAX >> u32::BITS.wrapping_sub(BITS)
    };

    /// Counts from this reading of the counter on (ticks).
    ///
    /// ```
    /// use millpond_policy::Ticks;
    /// let mut clock: Ticks<32_768, 24> = Ticks::new(5);
    /// assert_eq!(clock.elapsed_s(5), 0);
    /// ```
    #[must_use]
    pub const fn new(now_ticks: u32) -> Self {
        Self {
            previous_ticks: now_ticks & Self::MASK_TICKS,
            remainder_ticks: 0,
        }
    }

    /// Whole seconds since the last call, or since the start, with what was left over then (s). Bits of the reading above
    /// the counter's own do not matter.
    ///
    /// ```
    /// use millpond_policy::Ticks;
    /// let mut clock: Ticks<32_768, 24> = Ticks::new(0xFF_C000); // half a second before the wrap
    /// assert_eq!(clock.elapsed_s(0), 0);
    /// assert_eq!(clock.elapsed_s(0x4000), 1);
    /// ```
    #[must_use]
    pub const fn elapsed_s(&mut self, now_ticks: u32) -> u32 {
        let passed_ticks = now_ticks.wrapping_sub(self.previous_ticks) & Self::MASK_TICKS;
        let (seconds, remainder_ticks) = whole_seconds(passed_ticks, self.remainder_ticks, PER_S);
        self.previous_ticks = now_ticks;
        self.remainder_ticks = remainder_ticks;
        seconds
    }
}

/// Whole seconds in the ticks that passed and those left over before, which are fewer than a second, and what is left over
/// now. Two loops of at most 32 turns.
const fn whole_seconds(passed_ticks: u32, remainder_ticks: u32, per_s: u32) -> (u32, u32) {
    let mut rest_ticks = passed_ticks;
    let mut seconds = 0_u32;
    // The longest stretch of 1, 2, 4, ... seconds that is not longer than what passed; cannot overflow, as twice the stretch
    // is not more than that either.
    let mut stretch_s = 1_u32;
    let mut stretch_ticks = per_s;
    while stretch_ticks <= rest_ticks >> 1 {
        stretch_ticks <<= 1;
        stretch_s <<= 1;
    }
    while stretch_s != 0 {
        if rest_ticks >= stretch_ticks {
            rest_ticks = rest_ticks.wrapping_sub(stretch_ticks);
            seconds = seconds.wrapping_add(stretch_s);
        }
        stretch_ticks >>= 1;
        stretch_s >>= 1;
    }
    // Both remainders are less than a second; cannot overflow, as their sum is formed only if it is less, too.
    let lacking_ticks = per_s.wrapping_sub(remainder_ticks);
    if rest_ticks >= lacking_ticks {
        (seconds.wrapping_add(1), rest_ticks.wrapping_sub(lacking_ticks))
    } else {
        (seconds, rest_ticks.wrapping_add(remainder_ticks))
    }
}
