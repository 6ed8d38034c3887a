//! Decides when a battery-free sensor node may measure or transmit, from its storage voltage.
//!
//! At each wake-up the firmware passes in what it knows ([`Reading`]) and gets a [`Decision`]: measure,
//! transmit, or wait so many seconds, with the reason. The crate reads no clock, pin or memory of its own.
//! The constants ([`Policy`]) are written by `millpond generate`; constants written by hand are checked
//! by the compiler.
//!
//! The firmware keeps this order: [`decide`], then save the state ([`State::pack`]), then act. A power
//! loss at any point then costs at most one action, and never opens the radio early.
//!
//! | suffix | unit | type |
//! | --- | --- | --- |
//! | `_mv` | millivolt at the storage terminal | `u16` |
//! | `_s` | whole seconds | `u16`, or `u32` for elapsed times |
//! | `_uj` | microjoule | `u32` |
//! | `_uw` | microwatt | `u32` |
//! | `_ticks` | ticks of a counter that [`Ticks`] knows | `u32` |
//!
//! No float, no allocation, no panic, no recursion and no division anywhere outside the tests; the longest
//! loop of a decision is over the [`PACE_ROWS`] rows of the pace table, that of a plan over [`AHEAD_SLOTS`] slots.
//!
//! ```
//! use millpond_policy::{decide, Decision, Policy, Reading, Reason, State};
//!
//! const POLICY: Policy = Policy::EXAMPLE; // a firmware includes the generated module instead
//!
//! let mut state = State::cold_start(&POLICY);
//! let full = Reading { storage_mv: 5_000, elapsed_s: 0, waiting: 0 };
//! assert_eq!(decide(&POLICY, &mut state, full), Decision::Measure);
//!
//! // One sample waits now, but the radio stays silent for the off-time after a cold start.
//! let next = Reading { waiting: 1, ..full };
//! assert_eq!(decide(&POLICY, &mut state, next), Decision::Wait { seconds: 20, reason: Reason::RadioSilence });
//! assert_eq!(decide(&POLICY, &mut state, Reading { elapsed_s: 20, ..next }), Decision::Transmit);
//!
//! // An empty store: nothing is permitted, however long ago the last action was.
//! let empty = Reading { storage_mv: 2_400, elapsed_s: 100_000, waiting: 1 };
//! assert_eq!(decide(&POLICY, &mut state, empty), Decision::Wait { seconds: 300, reason: Reason::LowStorage });
//! ```
//!
//! # Features
//!
//! `serde` and `defmt` derive the traits of those crates on the public types. Both are off by default and
//! cost nothing then.
//!
//! `testkit` adds a module of that name: a bench with a clock and a capacitor, for the unit tests of firmware on the
//! host. It is off by default, and no part of it is compiled then.
#![no_std]
#![forbid(unsafe_code)]
#![deny(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::float_arithmetic,
    clippy::indexing_slicing,
    clippy::integer_division,
    clippy::panic,
    clippy::unwrap_used
)]

#[cfg(feature = "backlog")]
mod backlog;
mod clock;
mod decide;
mod decision;
mod division;
mod energy;
mod income;
mod pace;
mod plan;
mod planner;
mod policy;
mod reading;
mod rejected;
mod retained;
mod sense;
mod state;
#[cfg(feature = "testkit")]
pub mod testkit;
mod ticks;
mod when_full;

#[cfg(feature = "backlog")]
pub use backlog::Backlog;
pub use clock::elapsed_since;
pub use decide::decide;
pub use decision::{Decision, Reason};
pub use energy::{Costs, EnergyModel};
pub use income::Income;
pub use pace::{PACE_ROWS, PaceRow};
pub use plan::{AHEAD_SLOTS, Plan, PlanParts, SLOT_S, SLOTS};
pub use planner::Planner;
pub use policy::{Policy, PolicyParts};
pub use reading::Reading;
pub use rejected::Rejected;
pub use retained::{Outage, RETAINED_BYTES};
pub use sense::{Sense, SenseKind};
pub use state::State;
pub use ticks::Ticks;
pub use when_full::WhenFull;
