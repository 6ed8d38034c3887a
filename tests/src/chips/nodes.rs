//! The nodes of the stream: the examples, each with another rule for a full backlog, as the build script generated them.

use millpond_policy::{Decision, Planner, Policy, Reading, State, WhenFull, decide};

use super::stream::{self, Stream};
use super::transcript::{STEPS_PER_DIGEST, Transcript};

/// One node and its generated files.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Node {
    /// As in its file.
    pub(crate) name: &'static str,
    /// As in the names that are generated.
    pub(crate) identifier: &'static str,
    pub(crate) c_header: &'static str,
    pub(crate) rust_module: &'static str,
    /// Whether it plans.
    pub(crate) is_planned: bool,
    run_here: fn(u32) -> Transcript,
}

macro_rules! node {
    ($module:ident, $name:literal, $is_planned:literal, $decide:expr) => {{
        mod $module {
            include!(concat!(env!("OUT_DIR"), "/", stringify!($module), ".rs"));

            pub(super) const PLACES: usize = POLICY.parts().backlog as usize;
        }

        struct Generated;

        impl stream::Node for Generated {
            const POLICY: Policy = $module::POLICY;
            const WHEN_FULL: WhenFull = $module::WHEN_FULL;
            const IS_PLANNED: bool = $is_planned;

            fn decide(state: &mut State, planner: &mut Planner, reading: Reading) -> Decision {
                let decide: fn(&mut State, &mut Planner, Reading) -> Decision = $decide;
                decide(state, planner, reading)
            }
        }

        Node {
            name: $name,
            identifier: stringify!($module),
            c_header: include_str!(concat!(env!("OUT_DIR"), "/", stringify!($module), ".h")),
            rust_module: include_str!(concat!(env!("OUT_DIR"), "/", stringify!($module), ".rs")),
            is_planned: $is_planned,
            run_here: run::<Generated, { $module::PLACES }>,
        }
    }};
}

/// The nodes in templates/nodes, one of them with a plan, too, and the one that the variable `MILLPOND_NODE` names.
pub(crate) const NODES: &[Node] = &[
    node!(crack_gauge, "crack-gauge", false, |state, _, reading| decide(
        &crack_gauge::POLICY,
        state,
        reading
    )),
    node!(pump_bearing, "pump-bearing", false, |state, _, reading| decide(
        &pump_bearing::POLICY,
        state,
        reading
    )),
    node!(display_case, "display-case", false, |state, _, reading| decide(
        &display_case::POLICY,
        state,
        reading
    )),
    node!(
        crack_gauge_planned,
        "crack-gauge-planned",
        true,
        |state, planner, reading| planner.decide(
            &crack_gauge_planned::POLICY,
            &crack_gauge_planned::PLAN,
            state,
            reading
        )
    ),
    #[cfg(all(own_node, not(own_node_plans)))]
    node!(own, "own", false, |state, _, reading| decide(
        &own::POLICY,
        state,
        reading
    )),
    #[cfg(own_node_plans)]
    node!(own, "own", true, |state, planner, reading| planner.decide(
        &own::POLICY,
        &own::PLAN,
        state,
        reading
    )),
];

/// Name of the node that is no example: goals of size are not for it.
const OWN: &str = "own";

impl Node {
    pub(crate) fn is_own(&self) -> bool {
        self.name == OWN
    }

    /// The stream in Rust on this machine.
    pub(crate) fn run_here(&self, steps: u32) -> Transcript {
        (self.run_here)(steps)
    }
}

fn run<N: stream::Node, const PLACES: usize>(steps: u32) -> Transcript {
    let mut stream = Stream::<N, PLACES>::new();
    let mut digests = Vec::new();
    for step in 1..=steps {
        stream.step();
        if step % STEPS_PER_DIGEST == 0 {
            digests.push(stream.digest());
        }
    }
    let [state, control, income] = Stream::<N, PLACES>::STATE_BYTES;
    let planner = if N::IS_PLANNED { size_of::<Planner>() } else { 0 };
    Transcript {
        digests,
        state_bytes: (state + control + income + planner) as u32,
        ..Transcript::default()
    }
}
