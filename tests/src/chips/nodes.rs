//! The nodes of the stream: the examples, each with another rule for a full backlog, as the build script generated them.

use millpond_policy::{Decision, Policy, Reading, State, WhenFull, decide};

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
    run_here: fn(u32) -> Transcript,
}

macro_rules! node {
    ($module:ident, $name:literal) => {{
        mod $module {
            include!(concat!(env!("OUT_DIR"), "/", stringify!($module), ".rs"));

            pub(super) const PLACES: usize = POLICY.parts().backlog as usize;
        }

        struct Generated;

        impl stream::Node for Generated {
            const POLICY: Policy = $module::POLICY;
            const WHEN_FULL: WhenFull = $module::WHEN_FULL;

            fn decide(state: &mut State, reading: Reading) -> Decision {
                decide(&$module::POLICY, state, reading)
            }
        }

        Node {
            name: $name,
            identifier: stringify!($module),
            c_header: include_str!(concat!(env!("OUT_DIR"), "/", stringify!($module), ".h")),
            rust_module: include_str!(concat!(env!("OUT_DIR"), "/", stringify!($module), ".rs")),
            run_here: run::<Generated, { $module::PLACES }>,
        }
    }};
}

/// The nodes in templates/nodes.
pub(crate) const NODES: [Node; 3] = [
    node!(crack_gauge, "crack-gauge"),
    node!(pump_bearing, "pump-bearing"),
    node!(display_case, "display-case"),
];

impl Node {
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
    Transcript {
        digests,
        state_bytes: (state + control + income) as u32,
        ..Transcript::default()
    }
}
