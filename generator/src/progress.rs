//! How far long work has come, for whoever wants to show it.

/// Sees the steps of long work. It is told from several threads.
pub trait Progress: Sync {
    /// There will be about so many steps.
    fn expect(&self, steps: u64);
    /// A step is done.
    fn step(&self);
}

/// Looks at nothing.
#[derive(Clone, Copy, Debug, Default)]
pub struct Unseen;

impl Progress for Unseen {
    fn expect(&self, _steps: u64) {}
    fn step(&self) {}
}

#[cfg(not(target_arch = "wasm32"))]
impl Progress for indicatif::ProgressBar {
    fn expect(&self, steps: u64) {
        self.set_length(steps);
    }

    fn step(&self) {
        self.inc(1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bar_counts_the_steps() {
        let bar = indicatif::ProgressBar::hidden();
        bar.expect(3);
        Progress::step(&bar);
        assert_eq!((bar.length(), bar.position()), (Some(3), 1));
    }
}
