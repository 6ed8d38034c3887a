//! A bar on standard error that shows how far long work has come.

use std::io::IsTerminal as _;

use indicatif::{ProgressBar, ProgressStyle};
use millpond::progress::Progress;

/// The bar; hidden where standard error is no terminal.
pub(super) struct Bar(ProgressBar);

impl Bar {
    /// Counts so many of something.
    pub(super) fn new(count: u64, of: &str) -> Self {
        if !std::io::stderr().is_terminal() {
            return Self(ProgressBar::hidden());
        }
        let style =
            ProgressStyle::with_template(&format!("{{pos}} of {{len}} {of} {{wide_bar}} {{eta}} left"));
        Self(ProgressBar::new(count).with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar())))
    }

    /// The work is done: takes the bar away.
    pub(super) fn finish(&self) {
        self.0.finish_and_clear();
    }
}

impl Progress for Bar {
    fn expect(&self, steps: u64) {
        self.0.set_length(steps);
    }

    fn step(&self) {
        self.0.inc(1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bar_counts_the_steps() {
        let bar = Bar(ProgressBar::hidden());
        bar.expect(3);
        bar.step();
        assert_eq!((bar.0.length(), bar.0.position()), (Some(3), 1));
    }
}
