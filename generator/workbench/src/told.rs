//! Long work, told to whoever asked for it.

use std::sync::atomic::{AtomicU64, Ordering::Relaxed};

use millpond::progress::Progress;

/// Tells whoever asked how far long work has come, as a part of 1.
pub struct Tell<F = fn(f64)>(pub F);

/// Steps of long work, told as a part of those expected.
pub(crate) struct Counted<'a, F> {
    tell: &'a Tell<F>,
    expected: AtomicU64,
    done: AtomicU64,
}

impl<'a, F> Counted<'a, F> {
    pub(crate) fn new(tell: &'a Tell<F>) -> Self {
        Self {
            tell,
            expected: 1.into(),
            done: 0.into(),
        }
    }
}

impl<F: Fn(f64) + Sync> Progress for Counted<'_, F> {
    fn expect(&self, steps: u64) {
        self.expected.store(steps.max(1), Relaxed);
    }

    fn step(&self) {
        let done = self.done.fetch_add(1, Relaxed) + 1;
        // More steps than were expected are a full bar.
        (self.tell.0)((done as f64 / self.expected.load(Relaxed) as f64).min(1.0));
    }
}
