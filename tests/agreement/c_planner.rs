//! The C planner of one node, called through the table that `planner_shim.c` fills.
#![allow(
    unsafe_code,
    reason = "calling C needs it; every call passes memory that is laid out as the C side has it"
)]

use millpond_policy::{Decision, Planner, Reading, SLOTS, State};

use crate::c_side::{CDecision, decision};

/// The table of one node, laid out as `struct planner_shim`.
#[repr(C)]
pub(crate) struct Shim {
    pub(crate) planner_bytes: u32,
    start: unsafe extern "C" fn(*mut Memory),
    start_planner: unsafe extern "C" fn(*mut Memory),
    observe: unsafe extern "C" fn(*mut Memory, u16, u32),
    spend: unsafe extern "C" fn(*mut Memory, u32),
    decide: unsafe extern "C" fn(*mut Memory, u16, u32, u8, *mut CDecision),
}

/// What a planner remembers.
#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct PlannerMemory {
    pub(crate) slots_units: [u16; SLOTS],
    pub(crate) balance_uj: u32,
    pub(crate) since_s: u16,
    pub(crate) interval_s: u16,
    pub(crate) slot: u8,
    pub(crate) ratio: u8,
    pub(crate) learned: u8,
}

/// `struct planner_shim_memory`, whose first fields are those of the planner.
#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Memory {
    slots_units: [u16; SLOTS],
    balance_uj: u32,
    since_s: u16,
    interval_s: u16,
    slot: u8,
    ratio: u8,
    learned: u8,
    since_measure_s: u16,
    transmit_after_s: u16,
    refused: u8,
}

unsafe extern "C" {
    pub(crate) static PLANNED_0_SHIM: Shim;
    pub(crate) static PLANNED_1_SHIM: Shim;
    pub(crate) static PLANNED_2_SHIM: Shim;
    pub(crate) static PLANNED_3_SHIM: Shim;
    pub(crate) static PLANNED_4_SHIM: Shim;
    pub(crate) static PLANNED_5_SHIM: Shim;
    pub(crate) static PLANNED_6_SHIM: Shim;
    pub(crate) static PLANNED_7_SHIM: Shim;
    pub(crate) static PLANNED_8_SHIM: Shim;
    pub(crate) static PLANNED_9_SHIM: Shim;
}

impl PlannerMemory {
    pub(crate) fn planner(self) -> Planner {
        // SAFETY: both are `repr(C)` with the same fields, of which every value is allowed.
        unsafe { std::mem::transmute(self) }
    }

    pub(crate) fn of(planner: Planner) -> Self {
        // SAFETY: as above.
        unsafe { std::mem::transmute(planner) }
    }
}

impl Memory {
    /// Everything that the Rust side remembers, as the C side would.
    pub(crate) fn of(state: State, planner: Planner) -> Self {
        let planner = PlannerMemory::of(planner);
        Self {
            slots_units: planner.slots_units,
            balance_uj: planner.balance_uj,
            since_s: planner.since_s,
            interval_s: planner.interval_s,
            slot: planner.slot,
            ratio: planner.ratio,
            learned: planner.learned,
            since_measure_s: state.since_measure_s(),
            transmit_after_s: state.transmit_after_s(),
            refused: u8::from(state.measure_refused()) | u8::from(state.transmit_refused()) << 1,
        }
    }
}

/// State and planner in C.
pub(crate) struct CPlanner {
    pub(crate) shim: &'static Shim,
    pub(crate) memory: Memory,
}

impl CPlanner {
    /// A node after a cold start.
    pub(crate) fn new(shim: &'static Shim) -> Self {
        let mut memory = Memory::default();
        // SAFETY: here and below, the memory is laid out as the C side has it.
        unsafe { (shim.start)(&mut memory) };
        Self { shim, memory }
    }

    pub(crate) fn restart_planner(&mut self) {
        unsafe { (self.shim.start_planner)(&mut self.memory) };
    }

    pub(crate) fn observe(&mut self, reading: Reading) {
        unsafe { (self.shim.observe)(&mut self.memory, reading.storage_mv, reading.elapsed_s) };
    }

    pub(crate) fn spend(&mut self, energy_uj: u32) {
        unsafe { (self.shim.spend)(&mut self.memory, energy_uj) };
    }

    pub(crate) fn decide(&mut self, reading: Reading) -> Decision {
        let mut out = CDecision::default();
        let Reading {
            storage_mv,
            elapsed_s,
            waiting,
        } = reading;
        unsafe { (self.shim.decide)(&mut self.memory, storage_mv, elapsed_s, waiting, &mut out) };
        decision(&out)
    }
}
