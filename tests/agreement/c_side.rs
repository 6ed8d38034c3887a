//! The C policy of one node, called through the table that `shim.c` fills.
#![allow(
    unsafe_code,
    reason = "calling C needs it; every call passes the memory that the C side asked for"
)]

use std::ffi::c_void;

use millpond_policy::{Decision, RETAINED_BYTES, Reading, Reason};

/// The table of one node, laid out as `struct shim`.
#[repr(C)]
pub(crate) struct Shim {
    world_bytes: u32,
    start: unsafe extern "C" fn(*mut c_void),
    state: unsafe extern "C" fn(*const c_void, *mut CState),
    set_state: unsafe extern "C" fn(*mut c_void, *const CState),
    decide: unsafe extern "C" fn(*mut c_void, u16, u32, u8, *mut CDecision),
    pack: unsafe extern "C" fn(*const c_void, *mut u8),
    unpack: unsafe extern "C" fn(*mut c_void, *const u8, u16) -> u8,
    unpack_after: unsafe extern "C" fn(*mut c_void, *const u8, u16, u32) -> u8,
    waiting: unsafe extern "C" fn(*const c_void) -> u8,
    dropped: unsafe extern "C" fn(*const c_void) -> u16,
    push: unsafe extern "C" fn(*mut c_void, u16),
    pop: unsafe extern "C" fn(*mut c_void, *mut u16) -> u8,
    at: unsafe extern "C" fn(*const c_void, u8) -> *const u16,
    take_dropped: unsafe extern "C" fn(*mut c_void) -> u16,
    storage_mv_from_counts: unsafe extern "C" fn(u16) -> u16,
    stored_uj: unsafe extern "C" fn(u16) -> u32,
    observe: unsafe extern "C" fn(*mut c_void, u16, u32, u32),
    income_uw: unsafe extern "C" fn(*const c_void) -> u32,
    elapsed_since: unsafe extern "C" fn(u32, u32) -> u32,
    ticks_start: unsafe extern "C" fn(*mut c_void, u32),
    elapsed_s: unsafe extern "C" fn(*mut c_void, u32) -> u32,
    whole_seconds: unsafe extern "C" fn(*mut u32, u32, u32) -> u32,
}

/// `struct shim_state`.
#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct CState {
    pub(crate) since_measure_s: u16,
    pub(crate) transmit_after_s: u16,
    pub(crate) refused: u8,
}

#[repr(C)]
#[derive(Default)]
pub(crate) struct CDecision {
    action: u8,
    reason: u8,
    wait_s: u16,
}

#[link(name = "agreement", kind = "static")]
unsafe extern "C" {
    pub(crate) static CRACK_GAUGE_SHIM: Shim;
    pub(crate) static PUMP_BEARING_SHIM: Shim;
    pub(crate) static DISPLAY_CASE_SHIM: Shim;
    pub(crate) static SMALLEST_SHIM: Shim;
    pub(crate) static LARGEST_SHIM: Shim;
    pub(crate) static SUPPLY_READ_SHIM: Shim;
    pub(crate) static SUPPLY_READ_LARGEST_SHIM: Shim;
}

/// State, backlog and income of the C policy, in memory that the Rust side owns.
pub(crate) struct CSide {
    shim: &'static Shim,
    world: Box<[u64]>,
}

impl CSide {
    /// A node after a cold start.
    pub(crate) fn new(shim: &'static Shim) -> Self {
        let words = (shim.world_bytes as usize).div_ceil(size_of::<u64>());
        let mut side = Self {
            shim,
            world: vec![u64::MAX; words].into_boxed_slice(),
        };
        // SAFETY: here and below, `world` is as large as the C side asked for and aligned for any of its types.
        unsafe { (shim.start)(side.mutable()) };
        side
    }

    pub(crate) fn state(&self) -> CState {
        let mut state = CState::default();
        unsafe { (self.shim.state)(self.constant(), &mut state) };
        state
    }

    pub(crate) fn set_state(&mut self, state: CState) {
        unsafe { (self.shim.set_state)(self.mutable(), &state) };
    }

    pub(crate) fn decide(&mut self, reading: Reading) -> Decision {
        let mut out = CDecision::default();
        let Reading {
            storage_mv,
            elapsed_s,
            waiting,
        } = reading;
        unsafe { (self.shim.decide)(self.mutable(), storage_mv, elapsed_s, waiting, &mut out) };
        decision(&out)
    }

    pub(crate) fn pack(&self) -> [u8; RETAINED_BYTES] {
        let mut copy = [0; RETAINED_BYTES];
        unsafe { (self.shim.pack)(self.constant(), copy.as_mut_ptr()) };
        copy
    }

    /// Restores from `copy` after an outage of so many seconds, or an unknown one.
    pub(crate) fn unpack(&mut self, copy: &[u8], outage_s: Option<u32>) -> bool {
        let (bytes, length) = (copy.as_ptr(), copy.len() as u16);
        let is_whole = match outage_s {
            Some(outage_s) => unsafe { (self.shim.unpack_after)(self.mutable(), bytes, length, outage_s) },
            None => unsafe { (self.shim.unpack)(self.mutable(), bytes, length) },
        };
        is_whole != 0
    }

    pub(crate) fn waiting(&self) -> u8 {
        unsafe { (self.shim.waiting)(self.constant()) }
    }

    pub(crate) fn dropped(&self) -> u16 {
        unsafe { (self.shim.dropped)(self.constant()) }
    }

    pub(crate) fn push(&mut self, sample: u16) {
        unsafe { (self.shim.push)(self.mutable(), sample) };
    }

    pub(crate) fn pop(&mut self) -> Option<u16> {
        let mut sample = 0;
        let is_taken = unsafe { (self.shim.pop)(self.mutable(), &mut sample) };
        (is_taken != 0).then_some(sample)
    }

    /// The samples in place, read until the C side has no more.
    pub(crate) fn samples(&self) -> Vec<u16> {
        let at = |index| unsafe { (self.shim.at)(self.constant(), index).as_ref().copied() };
        (0..=u8::MAX).map_while(at).collect()
    }

    pub(crate) fn take_dropped(&mut self) -> u16 {
        unsafe { (self.shim.take_dropped)(self.mutable()) }
    }

    pub(crate) fn storage_mv_from_counts(&self, counts: u16) -> u16 {
        unsafe { (self.shim.storage_mv_from_counts)(counts) }
    }

    pub(crate) fn stored_uj(&self, storage_mv: u16) -> u32 {
        unsafe { (self.shim.stored_uj)(storage_mv) }
    }

    pub(crate) fn observe(&mut self, storage_mv: u16, elapsed_s: u32, spent_uj: u32) {
        unsafe { (self.shim.observe)(self.mutable(), storage_mv, elapsed_s, spent_uj) };
    }

    pub(crate) fn income_uw(&self) -> u32 {
        unsafe { (self.shim.income_uw)(self.constant()) }
    }

    pub(crate) fn elapsed_since(&self, previous_s: u32, now_s: u32) -> u32 {
        unsafe { (self.shim.elapsed_since)(previous_s, now_s) }
    }

    pub(crate) fn ticks_start(&mut self, now_ticks: u32) {
        unsafe { (self.shim.ticks_start)(self.mutable(), now_ticks) }
    }

    pub(crate) fn elapsed_s(&mut self, now_ticks: u32) -> u32 {
        unsafe { (self.shim.elapsed_s)(self.mutable(), now_ticks) }
    }

    /// Seconds in these ticks and those left over, and what is left over then.
    pub(crate) fn whole_seconds(
        &self,
        passed_ticks: u32,
        mut remainder_ticks: u32,
        per_s: u32,
    ) -> (u32, u32) {
        let seconds = unsafe { (self.shim.whole_seconds)(&mut remainder_ticks, passed_ticks, per_s) };
        (seconds, remainder_ticks)
    }

    fn constant(&self) -> *const c_void {
        self.world.as_ptr().cast()
    }

    fn mutable(&mut self) -> *mut c_void {
        self.world.as_mut_ptr().cast()
    }
}

/// An answer from C.
pub(crate) fn decision(out: &CDecision) -> Decision {
    let reason = match out.reason {
        0 => Reason::Pace,
        1 => Reason::LowStorage,
        2 => Reason::RadioSilence,
        other => panic!("reason {other} from C"),
    };
    match out.action {
        0 => Decision::Wait {
            seconds: out.wait_s,
            reason,
        },
        1 => Decision::Measure,
        2 => Decision::Transmit,
        other => panic!("action {other} from C"),
    }
}
