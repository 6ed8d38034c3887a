//! Millpond inside a page: a question as JSON in, an answer as JSON out.
//!
//! The same library as on the command line, compiled for `wasm32-unknown-unknown`. There is no glue: the page writes its question
//! into a buffer and reads the answer from another. On any other target the crate is an ordinary library with [`answer`].

mod course;
#[cfg(target_arch = "wasm32")]
mod exports;
mod fields;
mod files;
mod problems;
mod question;
mod sized;
mod told;

pub use fields::{Field, Kind};
pub use question::answer;
pub use told::Tell;
