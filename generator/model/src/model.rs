//! The physics of storage, supply and sensing. Pure functions of typed quantities, each with its source.

pub mod airtime;
pub mod bank;
pub mod branches;
pub mod burst;
pub mod dark;
pub mod discharge;
pub mod drain;
#[cfg(any(test, feature = "testkit"))]
pub mod given;
pub mod load;
mod modes;
pub mod passage;
pub mod reading;
pub mod rest;
pub mod sensing;
pub mod stretch;
pub mod terminal;
