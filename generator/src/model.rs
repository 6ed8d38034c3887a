//! The physics of storage, supply and sensing. Pure functions of typed quantities, each with its source.

pub mod airtime;
pub mod bank;
pub(crate) mod branches;
pub mod burst;
pub mod dark;
pub mod discharge;
pub mod drain;
#[cfg(test)]
pub(crate) mod given;
pub mod load;
mod modes;
pub mod passage;
pub mod reading;
pub mod rest;
mod stretch;
pub(crate) mod terminal;
