//! Quantities with their units, the middle of many numbers, borders by halving, and numbers as text.
#![forbid(unsafe_code)]

// Its macros call one another by their bare names.
#[macro_use]
extern crate uom;

pub mod halving;
pub mod statistics;
pub mod text;
pub mod units;
