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
