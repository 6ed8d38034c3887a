//! The physics of storage, supply and sensing. Pure functions of typed quantities, each with its source.

pub mod airtime;
pub mod bank;
pub mod branches;
pub mod burst;
pub mod discharge;
pub mod divider_current;
pub mod drain;
#[cfg(any(test, feature = "testkit"))]
pub mod given;
mod leakage;
pub mod load;
mod modes;
pub mod passage;
pub mod reading;
pub mod redistribution;
pub mod stretch;
pub mod terminal;
pub mod time_in_the_dark;
pub mod wear;
