//! Cross-checks: what millpond computes, held against outside witnesses.
//!
//! Each folder beside `src` is one test target for one witness. Here is what they share: finding the witness's tool,
//! the nodes that all of them are asked about, and the discharges that those nodes promise.

pub mod bench;
pub mod case;
pub mod chips;
pub mod command;
#[path = "../../generator/wasm/compiler.rs"]
mod compiler;
pub mod fuzz;
pub mod hostile;
pub mod limits;
pub mod measured;
pub mod paces;
pub mod random_node;
pub mod rates;
pub mod reliability;
pub mod tool;
pub mod units;
