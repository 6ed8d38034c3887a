//! The loop of a node: read at rest, decide, save, act.
#![no_std]

#[cfg(feature = "host")]
pub mod host;

/// The constants, written by build.rs from the node file.
pub mod policy {
    include!(concat!(env!("OUT_DIR"), "/policy.rs"));
}

use millpond_policy::{Decision, Outage, RETAINED_BYTES, Reading, State, decide, elapsed_since};
use policy::{Backlog, POLICY, WHEN_FULL};

/// What the loop needs of a board. A firmware writes these functions for its chip.
pub trait Board {
    /// Free-running counter of seconds (s). It may wrap at 2³² and starts anywhere; it runs on while the node sleeps. From a
    /// counter of ticks: the sum of what `millpond_policy::Ticks` answers, never ticks by a division.
    fn now_s(&mut self) -> u32;
    /// Raw reading of the storage divider at rest: radio off, reference settled, mean of a few conversions (counts).
    fn storage_counts(&mut self) -> u16;
    /// Reads memory that outlives a power loss. Any bytes may come back.
    fn load(&mut self) -> [u8; RETAINED_BYTES];
    /// Writes memory that outlives a power loss, from the first byte to the last, and returns when it is written.
    fn save(&mut self, copy: &[u8; RETAINED_BYTES]);
    /// Takes one sample: the phases of `[measure]` in the node file, and nothing more.
    fn measure(&mut self) -> u16;
    /// Sends one report with all its retries: the phases of `[transmit]` in the node file, and nothing more. True when
    /// it arrived, as far as the node can know.
    fn send(&mut self, samples: impl Iterator<Item = u16>, dropped: u16) -> bool;
    /// Sleeps, with everything off but the counter (s).
    fn sleep_s(&mut self, seconds: u16);
    /// Writes one row of the bench log. A unit in the field may do nothing here.
    fn log(&mut self, time_s: u32, storage_mv: u16, count: u16, event: &'static str);
}

/// What a node keeps in ordinary memory: gone after a power loss.
pub struct Node {
    state: State,
    backlog: Backlog<u16>,
    previous_s: u32,
    /// Reports that arrived since power-up.
    count: u16,
}

impl Node {
    /// No clock ran on: the radio stays silent for the off-time from here. The backlog in ordinary memory is lost.
    pub fn power_up(board: &mut impl Board) -> Self {
        let node = Self {
            state: State::unpack(&POLICY, &board.load(), Outage::Unknown),
            backlog: Backlog::new(WHEN_FULL),
            previous_s: board.now_s(),
            count: 0,
        };
        let storage_mv = POLICY.storage_mv_from_counts(board.storage_counts());
        board.log(node.previous_s, storage_mv, node.count, "start");
        node
    }

    /// One wake-up. The firmware calls it for ever.
    pub fn wake(&mut self, board: &mut impl Board) {
        let now_s = board.now_s();
        let storage_mv = POLICY.storage_mv_from_counts(board.storage_counts());
        let reading = Reading {
            storage_mv,
            elapsed_s: elapsed_since(self.previous_s, now_s),
            waiting: self.backlog.len(),
        };
        let decision = decide(&POLICY, &mut self.state, reading);
        self.previous_s = now_s;

        // Before acting: the power may fail in the action.
        board.save(&self.state.pack(&POLICY));

        match decision {
            Decision::Measure => {
                self.backlog.push(board.measure());
                board.log(now_s, storage_mv, self.count, "measure");
            }
            Decision::Transmit => {
                self.report(board);
                board.log(now_s, storage_mv, self.count, "transmit");
            }
            Decision::Wait { seconds, .. } => {
                board.log(now_s, storage_mv, self.count, "wait");
                board.sleep_s(seconds);
            }
        }
    }

    /// Sends the oldest samples in one report. They leave the backlog only when it arrived.
    fn report(&mut self, board: &mut impl Board) {
        let batch = usize::from(POLICY.parts().batch);
        if board.send(self.backlog.iter().take(batch).copied(), self.backlog.dropped()) {
            self.backlog.take_dropped();
            for _ in 0..batch {
                self.backlog.pop();
            }
            self.count = self.count.wrapping_add(1);
        }
    }
}
