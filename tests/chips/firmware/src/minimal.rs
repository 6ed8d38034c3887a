//! The smallest firmware around the decision, to see what the policy adds to a program; `minimal_base` is the same without it.
//!
//! Everything that comes in and goes out is volatile, so that nothing is computed when it is compiled.

use core::hint::black_box;
use core::ptr::{read_volatile, write_volatile};

use millpond_policy::{Decision, Outage, Planner, RETAINED_BYTES, Reading, State};

use crate::decide_node;
use crate::generated::POLICY;

static mut STORAGE_MV: u16 = 0;
static mut ELAPSED_S: u32 = 0;
static mut WAITING: u8 = 0;
static mut ACTION: u8 = 0;
static mut WAIT_S: u16 = 0;
static mut RETAINED: [u8; RETAINED_BYTES] = [0; RETAINED_BYTES];

/// Unpacks once, then decides and packs for ever.
#[unsafe(no_mangle)]
extern "C" fn minimal_node(_steps: u32) {
    let retained = &raw mut RETAINED;
    // OK because nothing else runs, and a black box stands where another would change the copy.
    let mut state = State::unpack(&POLICY, unsafe { &*retained }, Outage::Unknown);
    let mut planner = Planner::cold_start();
    loop {
        let decision = decide_node(&mut state, &mut planner, read());
        unsafe { *retained = state.pack(&POLICY) };
        // The retained copy leaves the program here.
        black_box(retained);
        match decision {
            Decision::Wait { seconds, .. } => write(0, seconds),
            Decision::Measure => write(1, 0),
            Decision::Transmit => write(2, 0),
        }
    }
}

#[unsafe(no_mangle)]
extern "C" fn minimal_base(_steps: u32) {
    loop {
        let reading = read();
        write(reading.waiting, reading.storage_mv ^ reading.elapsed_s as u16);
    }
}

fn read() -> Reading {
    // OK because they are always valid numbers, and nothing else runs.
    unsafe {
        Reading {
            storage_mv: read_volatile(&raw const STORAGE_MV),
            elapsed_s: read_volatile(&raw const ELAPSED_S),
            waiting: read_volatile(&raw const WAITING),
        }
    }
}

fn write(action: u8, wait_s: u16) {
    // OK because nothing else runs.
    unsafe {
        write_volatile(&raw mut ACTION, action);
        write_volatile(&raw mut WAIT_S, wait_s);
    }
}
