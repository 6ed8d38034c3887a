//! A bench that makes logs of nodes whose truth is known: noise, steps of the converter, jitter, missing cells, resets, nonsense,
//! and one fault at a time.
//!
//! The store follows the simulation's own plant; when the node acts, sleeps and is lit is drawn here, so that a log has what the
//! fit is asked about: nights that let the store fall by many steps, and reports in them. The same seed gives the same log.

mod plan;
mod row;
mod unit;

use millpond::log::Log;
use millpond::node::Node;

use plan::Plan;
use rayon::prelude::*;
pub use unit::Truth;
use unit::Unit;

/// So many seeds are looked at together, at the most and at the least.
const CHUNK: u64 = 64;
const FEWEST: u64 = 8;

/// What is wrong with a node or its log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The node draws four times its sleeping current, more where leakage would hide that.
    SleepCurrentHigh,
    /// A report costs twice its budget, more where a capacitor inside its tolerances would explain that.
    ActionCostsMore,
    /// 60 % of the capacitance at the end of life.
    CapacitanceLow,
    /// A fresh cell: leakage that begins at three times the sleeping fall and settles.
    LeakageSettling,
    /// A divider with the wrong ratio: 15 % too much.
    ReadingScaled,
    /// Ground that is off: 0.3 V too much.
    ReadingOffset,
    /// The same reading for a quarter of the log.
    ReadingStuck,
    /// A reference that is too small for the divider.
    ReadingSaturated,
    /// A quarter of the reports is lost on the air.
    ReportsLost,
    /// The node starts, sends at most once, and is cut off, six times.
    RestartLoop,
    /// Light goes on when the store is full.
    OvervoltagePlateau,
    /// The node's seconds are 6 % too short.
    ClockDrift,
}

impl Fault {
    /// All faults with the finding that has to be raised.
    pub const ALL: [(Self, &'static str); 12] = [
        (Self::SleepCurrentHigh, "sleep-current-high"),
        (Self::ActionCostsMore, "action-costs-more"),
        (Self::CapacitanceLow, "capacitance-low"),
        (Self::LeakageSettling, "leakage-settling"),
        (Self::ReadingScaled, "reading-scaled"),
        (Self::ReadingOffset, "reading-offset"),
        (Self::ReadingStuck, "reading-stuck"),
        (Self::ReadingSaturated, "reading-saturated"),
        (Self::ReportsLost, "reports-lost"),
        (Self::RestartLoop, "restart-loop"),
        (Self::OvervoltagePlateau, "overvoltage-plateau"),
        (Self::ClockDrift, "clock-drift"),
    ];
}

/// A log and what is true of it.
#[derive(Clone, Debug)]
pub struct Bench {
    /// The node as its file describes it.
    pub node: Node,
    /// What the unit on the bench really has.
    pub truth: Truth,
    /// The log as text.
    pub text: String,
}

impl Bench {
    /// The log of `seed`: a random node of the random nodes' kinds, with a 10-bit converter, whose reports step the reading by two
    /// counts at least. `None` where the node of this seed is none of these.
    pub fn of(seed: u64, fault: Option<Fault>) -> Option<Self> {
        Self::run(Plan::of(seed, fault)?)
    }

    /// The log that `log-plan` advises for the healthy node of `seed`, each parameter to be known `within` this part of itself. `None`
    /// where no log is advised.
    pub fn advised(seed: u64, within: f64) -> Option<Self> {
        Self::run(Plan::advised(seed, within)?)
    }

    fn run(plan: Plan) -> Option<Self> {
        let Unit {
            truth,
            text,
            lowest_v,
            ..
        } = Unit::run(&plan);
        let may_empty = matches!(
            plan.fault,
            Some(Fault::ReadingScaled | Fault::ReadingOffset | Fault::RestartLoop)
        );
        if !may_empty && lowest_v < plan.described.floor_v {
            return None;
        }
        Some(Self {
            node: plan.node,
            truth,
            text,
        })
    }

    /// What `look` sees in the first `count` logs with this fault, of the seeds from `first` on, in their order.
    pub fn each<T: Send>(
        first: u64,
        count: usize,
        fault: Option<Fault>,
        look: impl Fn(u64, &Self) -> T + Sync,
    ) -> Vec<T> {
        let mut seen = Vec::new();
        let mut from = first;
        while seen.len() < count {
            // Few seeds give no log: not many more are looked at than are still wanted.
            let wanted = (count - seen.len()) as u64;
            let until = from + wanted.clamp(FEWEST, CHUNK);
            seen.par_extend(
                (from..until)
                    .into_par_iter()
                    .filter_map(|seed| Some(look(seed, &Self::of(seed, fault)?))),
            );
            from = until;
        }
        seen.truncate(count);
        seen
    }

    /// The log as the fit reads it.
    ///
    /// # Panics
    ///
    /// If the log that was made is refused.
    pub fn log(&self) -> Log {
        Log::parse("bench.csv", &self.text).expect("a log that was made here is read")
    }
}
