//! Stands in for a board on the host: the bench of the test kit, under a lamp that is on by day.

extern crate std;

use std::vec::Vec;

use millpond_policy::testkit::{Bench, BrownOut};
use millpond_policy::{Costs, RETAINED_BYTES};

use crate::Board;
use crate::policy::POLICY;

const DAY_S: u32 = 86_400;
const DAWN_S: u32 = 43_200;
/// What the lamp gives between dawn and the end of the day (µW).
const LAMP_UW: u32 = 1_500;
const COSTS: Costs = POLICY.parts().costs;

/// One row of the bench log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Row {
    pub time_s: u32,
    pub storage_mv: u16,
    /// Reports that arrived since power-up.
    pub count: u16,
    pub event: &'static str,
}

/// A board whose store and clock are the bench's.
pub struct Host {
    pub bench: Bench,
    pub rows: Vec<Row>,
    /// Whether reports arrive.
    pub is_heard: bool,
    /// The first brown-out, if there was one.
    pub supply: Result<(), BrownOut>,
    retained: [u8; RETAINED_BYTES],
}

impl Host {
    /// Switched on at dusk, with its store at this voltage and its memory blank.
    pub fn new(storage_mv: u16) -> Self {
        Self {
            bench: Bench::new(&POLICY, storage_mv),
            rows: Vec::new(),
            is_heard: true,
            supply: Ok(()),
            retained: [0; RETAINED_BYTES],
        }
    }
}

impl Board for Host {
    fn now_s(&mut self) -> u32 {
        self.bench.now_s()
    }

    fn storage_counts(&mut self) -> u16 {
        self.bench.storage_counts()
    }

    fn load(&mut self) -> [u8; RETAINED_BYTES] {
        self.retained
    }

    fn save(&mut self, copy: &[u8; RETAINED_BYTES]) {
        self.retained = *copy;
    }

    fn measure(&mut self) -> u16 {
        self.supply = self.supply.and(self.bench.spend_uj(COSTS.measure_uj));
        (self.bench.now_s() >> 8) as u16
    }

    fn send(&mut self, samples: impl Iterator<Item = u16>, _dropped: u16) -> bool {
        assert!(samples.count() > 0, "an empty report");
        self.supply = self.supply.and(self.bench.spend_uj(COSTS.transmit_uj));
        self.is_heard
    }

    fn sleep_s(&mut self, seconds: u16) {
        let is_day = self.bench.now_s() % DAY_S >= DAWN_S;
        self.bench.set_income_uw(if is_day { LAMP_UW } else { 0 });
        self.supply = self.supply.and(self.bench.advance_s(u32::from(seconds)));
    }

    fn log(&mut self, time_s: u32, storage_mv: u16, count: u16, event: &'static str) {
        self.rows.push(Row {
            time_s,
            storage_mv,
            count,
            event,
        });
    }
}
