//! Quantities with their units, the middle of many numbers, borders by halving, and numbers as text.
#![forbid(unsafe_code)]

pub mod halving;
pub mod statistics;
pub mod text;
pub mod units;
