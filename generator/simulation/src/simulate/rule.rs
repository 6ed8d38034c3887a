//! Rules that decide for a simulated node: the real policy, and the ones it is compared with.

use millpond_policy::{Decision, Plan, Planner, Policy, Reading, State, decide};

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

/// The policy with a plan in the place of its pace table.
#[derive(Clone, Debug)]
pub struct Planned {
    policy: Policy,
    plan: Plan,
    state: State,
    planner: Planner,
}

impl Planned {
    /// `policy` and `plan` after a cold start: nothing is known of the days.
    pub fn new(policy: Policy, plan: Plan) -> Self {
        Self {
            policy,
            plan,
            state: State::cold_start(&policy),
            planner: Planner::cold_start(),
        }
    }
}

impl Rule for Planned {
    fn restart(&mut self) {
        *self = Self::new(self.policy, self.plan);
    }

    fn decide(&mut self, reading: Reading) -> Decision {
        self.planner
            .decide(&self.policy, &self.plan, &mut self.state, reading)
    }
}
