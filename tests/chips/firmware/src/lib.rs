//! Firmware for the emulated chips: the generated policy of one node, in the stream of `stream` and in the smallest
//! program around it. One node a build, as in a firmware: the compiler sees the only constants that there are.
//!
//! A static library, so that the C board of tests/chips/c gives it a reset vector and an output. On the RISC-V target, where no
//! C compiler is asked for, `riscv` does.
#![no_std]

mod minimal;
#[cfg(target_arch = "riscv32")]
mod riscv;
mod stream;

use core::panic::PanicInfo;

#[cfg(feature = "planned")]
use generated::PLAN;
use generated::{POLICY, WHEN_FULL};
use millpond_policy::{Decision, Planner, Policy, Reading, State, WhenFull};

/// Steps from one printed digest to the next.
const STEPS_PER_DIGEST: u16 = 1_000;

unsafe extern "C" {
    /// Takes a line of the report: what it is, and up to two numbers.
    safe fn board_line(what: u8, first: u32, second: u32);
    /// Fills the free stack with a pattern.
    safe fn board_paint();
    /// Starts counting instructions.
    safe fn board_start();
    /// Stops counting instructions.
    safe fn board_stop();
    /// Looks how much of the pattern is gone.
    safe fn board_depth();
}

/// The module that `millpond generate` wrote for the node.
mod generated {
    include!(env!("MILLPOND_CHIPS_NODE"));
}

const PLACES: usize = POLICY.parts().backlog as usize;

struct Generated;

impl stream::Node for Generated {
    const POLICY: Policy = POLICY;
    const WHEN_FULL: WhenFull = WHEN_FULL;
    const IS_PLANNED: bool = cfg!(feature = "planned");

    fn decide(state: &mut State, planner: &mut Planner, reading: Reading) -> Decision {
        board_paint();
        board_start();
        let decision = decide_node(state, planner, reading);
        board_stop();
        board_depth();
        decision
    }
}

/// A function of its own under a name that the harness knows; without a plan, the one inside the next.
#[cfg(feature = "planned")]
#[unsafe(no_mangle)]
#[inline(never)]
fn decide_node(state: &mut State, planner: &mut Planner, reading: Reading) -> Decision {
    planner.decide(&POLICY, &PLAN, state, reading)
}

#[cfg(not(feature = "planned"))]
#[inline(always)]
fn decide_node(state: &mut State, _planner: &mut Planner, reading: Reading) -> Decision {
    #[unsafe(export_name = "decide_node")]
    #[inline(never)]
    fn decide_node(state: &mut State, reading: Reading) -> Decision {
        millpond_policy::decide(&POLICY, state, reading)
    }
    decide_node(state, reading)
}

/// Runs the stream and prints the digest every so many steps.
#[unsafe(no_mangle)]
extern "C" fn stream_node(steps: u32) {
    let [state_bytes, control_bytes, income_bytes] = stream::Stream::<Generated, PLACES>::STATE_BYTES;
    board_line(b'z', state_bytes as u32, control_bytes as u32);
    board_line(b'i', income_bytes as u32, 0);
    if cfg!(feature = "planned") {
        board_line(b'p', size_of::<Planner>() as u32, 0);
    }
    let mut stream = stream::Stream::<Generated, PLACES>::new();
    let mut since_digest = 0;
    for _ in 0..steps {
        stream.step();
        since_digest += 1;
        if since_digest == STEPS_PER_DIGEST {
            since_digest = 0;
            board_line(b'd', stream.digest(), 0);
        }
    }
}

/// Where this is linked in, something can panic: the check of the symbols fails.
#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    loop {}
}
