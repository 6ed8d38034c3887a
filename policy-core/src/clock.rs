//! Elapsed time from a free-running counter of whole seconds.

/// Seconds from `previous_s` to `now_s` on a counter that wraps at 2³².
///
/// Right across a wrap as long as the two readings are less than 2³² s (136 years) apart, and the counter counts all of its
/// 32 bits. **A counter of seconds made by dividing ticks that wrap is wrong here**: it falls to 0 much earlier (32 bits of
/// milliseconds at 4 294 967 s), which looks like 136 years and ends the radio silence. For ticks there is
/// [`Ticks`](crate::Ticks). A counter that
/// stands still gives 0; one that was set back gives a very large time, which is safe for the thresholds but
/// ends the radio silence: firmware that sets its clock back passes 0 for that wake-up.
///
/// ```
/// use millpond_policy::elapsed_since;
/// assert_eq!(elapsed_since(100, 160), 60);
/// assert_eq!(elapsed_since(u32::MAX, 9), 10);
/// ```
#[must_use]
pub const fn elapsed_since(previous_s: u32, now_s: u32) -> u32 {
    now_s.wrapping_sub(previous_s)
}
