//! Samples that have not been sent yet, in a buffer of fixed size with a stated rule for when it is full.

use heapless::Deque;

use crate::WhenFull;

/// Widest stride of [`WhenFull::ThinEvenly`]: the largest power of two in 8 bits.
const LARGEST_STRIDE: u8 = 128;

/// Up to `N` samples, oldest first. What was dropped is counted.
///
/// ```
/// use millpond_policy::{Backlog, WhenFull};
/// let mut backlog: Backlog<u16, 4> = Backlog::new(WhenFull::ThinEvenly);
/// for sample in 0..8 {
///     backlog.push(sample);
/// }
/// assert!(backlog.iter().eq(&[0, 2, 4, 6]));
/// assert_eq!(backlog.dropped(), 4);
/// ```
#[derive(Clone, Debug)]
pub struct Backlog<T, const N: usize> {
    samples: Deque<T, N>,
    when_full: WhenFull,
    /// Keep one new sample in this many: a power of two.
    stride: u8,
    /// New samples to drop before the next is kept.
    skip: u8,
    dropped: u16,
}

impl<T, const N: usize> Backlog<T, N> {
    /// An empty backlog. `N` is 1 to 255, as the count of waiting samples has 8 bits.
    ///
    /// ```compile_fail,E0080
    /// use millpond_policy::{Backlog, WhenFull};
    /// let backlog: Backlog<u16, 256> = Backlog::new(WhenFull::KeepNewest);
    /// ```
    #[must_use]
    pub const fn new(when_full: WhenFull) -> Self {
        const {
            assert!(
                N >= 1 && N <= u8::MAX as usize,
                "a backlog holds 1 to 255 samples"
            )
        };
        Self {
            samples: Deque::new(),
            when_full,
            stride: 1,
            skip: 0,
            dropped: 0,
        }
    }

    /// Adds the newest sample. If the backlog is full, its rule says which sample is dropped.
    ///
    /// ```
    /// use millpond_policy::{Backlog, WhenFull};
    /// let mut backlog: Backlog<u16, 2> = Backlog::new(WhenFull::KeepOldest);
    /// backlog.push(10);
    /// backlog.push(20);
    /// backlog.push(30);
    /// assert!(backlog.iter().eq(&[10, 20]));
    /// ```
    pub fn push(&mut self, sample: T) {
        if self.skip != 0 {
            self.skip = self.skip.saturating_sub(1);
            self.count_dropped(1);
            return;
        }
        if self.samples.is_full() {
            match self.when_full {
                WhenFull::KeepNewest => {
                    self.samples.pop_front();
                    self.count_dropped(1);
                }
                WhenFull::KeepOldest => {
                    self.count_dropped(1);
                    return;
                }
                WhenFull::ThinEvenly => self.thin(),
            }
        }
        self.skip = self.stride.saturating_sub(1);
        // OK because a place was made above, so that nothing comes back.
        let _ = self.samples.push_back(sample);
    }

    /// Takes the oldest sample.
    ///
    /// ```
    /// use millpond_policy::{Backlog, WhenFull};
    /// let mut backlog: Backlog<u16, 2> = Backlog::new(WhenFull::KeepNewest);
    /// backlog.push(10);
    /// assert_eq!(backlog.pop(), Some(10));
    /// assert_eq!(backlog.pop(), None);
    /// ```
    pub fn pop(&mut self) -> Option<T> {
        let oldest = self.samples.pop_front();
        if self.samples.is_empty() {
            self.stride = 1;
            self.skip = 0;
        }
        oldest
    }

    /// The samples, oldest first, left in place: for a frame that may have to be sent again.
    ///
    /// ```
    /// use millpond_policy::{Backlog, WhenFull};
    /// let mut backlog: Backlog<u16, 2> = Backlog::new(WhenFull::KeepNewest);
    /// for sample in [10, 20, 30] {
    ///     backlog.push(sample);
    /// }
    /// assert!(backlog.iter().eq(&[20, 30]));
    /// ```
    pub fn iter(&self) -> impl Iterator<Item = &T> {
        self.samples.iter()
    }

    /// Number of samples, for [`Reading::waiting`](crate::Reading::waiting).
    ///
    /// ```
    /// use millpond_policy::{Backlog, WhenFull};
    /// let mut backlog: Backlog<u16, 2> = Backlog::new(WhenFull::KeepNewest);
    /// backlog.push(10);
    /// assert_eq!(backlog.len(), 1);
    /// ```
    #[must_use]
    pub fn len(&self) -> u8 {
        // OK because `new` allows at most 255 places.
        u8::try_from(self.samples.len()).unwrap_or(u8::MAX)
    }

    /// Whether there is no sample.
    ///
    /// ```
    /// use millpond_policy::{Backlog, WhenFull};
    /// assert!(Backlog::<u16, 2>::new(WhenFull::KeepNewest).is_empty());
    /// ```
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.samples.is_empty()
    }

    /// Samples dropped since the count was last taken; 65535 also for anything more.
    ///
    /// ```
    /// use millpond_policy::{Backlog, WhenFull};
    /// let mut backlog: Backlog<u16, 1> = Backlog::new(WhenFull::KeepNewest);
    /// backlog.push(10);
    /// backlog.push(20);
    /// assert_eq!(backlog.dropped(), 1);
    /// ```
    #[must_use]
    pub const fn dropped(&self) -> u16 {
        self.dropped
    }

    /// Takes the count of dropped samples, which starts again at 0: for sending it.
    ///
    /// ```
    /// use millpond_policy::{Backlog, WhenFull};
    /// let mut backlog: Backlog<u16, 1> = Backlog::new(WhenFull::KeepNewest);
    /// backlog.push(10);
    /// backlog.push(20);
    /// assert_eq!((backlog.take_dropped(), backlog.dropped()), (1, 0));
    /// ```
    pub const fn take_dropped(&mut self) -> u16 {
        core::mem::replace(&mut self.dropped, 0)
    }

    /// Drops every second sample, counted back from the newest, so that the next one falls into the rhythm of
    /// those that are left.
    fn thin(&mut self) {
        let before = self.samples.len();
        // The newest goes: with an odd number of samples, so does the oldest.
        let mut is_kept = before & 1 == 0;
        // Once around the ring; what heapless has for this links a panic.
        for _ in 0..before {
            if let Some(sample) = self.samples.pop_front().filter(|_| is_kept) {
                // OK because a place was made just now, so that nothing comes back.
                let _ = self.samples.push_back(sample);
            }
            is_kept = !is_kept;
        }
        let gone = before.saturating_sub(self.samples.len());
        self.count_dropped(u16::try_from(gone).unwrap_or(u16::MAX));
        self.stride = self.stride.saturating_mul(2).min(LARGEST_STRIDE);
    }

    fn count_dropped(&mut self, samples: u16) {
        self.dropped = self.dropped.saturating_add(samples);
    }
}
