//! Files: the constants of a node in C, Rust and JSON, and how a file gets to the disk.
//!
//! Each text is rendered in memory, carries what made it and a hash of its own text, and is written only where it differs
//! ([`write_all`]) or held against what stands there ([`verify`]). The same constants give the same bytes.

mod depfile;
mod json;
#[cfg(not(target_arch = "wasm32"))]
mod replace;
mod verify;
#[cfg(not(target_arch = "wasm32"))]
mod write;

pub use depfile::{Unwritable, depfile};
pub use json::json;
pub use millpond_build::emit::*;
#[cfg(not(target_arch = "wasm32"))]
pub use replace::{Kind, MANUAL_MARK, Standing, may_replace};
pub use verify::{LIMIT, Stale, StaleReason, verify};
#[cfg(not(target_arch = "wasm32"))]
pub use write::{WriteError, behind_links, create, folder_of, try_place, write_all, write_new};
