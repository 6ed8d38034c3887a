//! Rules that decide for a simulated node: the real policy, and the ones it is compared with.

use millpond_policy::{Decision, Policy, Reading, State, decide};

/// Something that decides like firmware: from a reading and the time since the last one.
pub trait Rule {
    /// The node has started: everything in its memory is gone.
    fn restart(&mut self);

    /// What to do now.
    fn decide(&mut self, reading: Reading) -> Decision;
}

/// The policy itself, as it is flashed.
#[derive(Clone, Debug)]
pub struct Flashed {
    policy: Policy,
    state: State,
}

impl Flashed {
    /// `policy` after a cold start.
    pub fn new(policy: Policy) -> Self {
        Self {
            policy,
            state: State::cold_start(&policy),
        }
    }
}

impl Rule for Flashed {
    fn restart(&mut self) {
        self.state = State::cold_start(&self.policy);
    }

    fn decide(&mut self, reading: Reading) -> Decision {
        decide(&self.policy, &mut self.state, reading)
    }
}
