//! How a text gets to the disk: written only where it differs ([`write_all`]), over nothing that is somebody's own ([`may_replace`]), or held
//! against what stands there ([`verify`]). And the texts that no build script needs: JSON, and a rule for build tools.

mod depfile;
mod json;
#[cfg(not(target_arch = "wasm32"))]
mod replace;
mod verify;
#[cfg(not(target_arch = "wasm32"))]
mod write;

pub use depfile::{Unwritable, depfile};
pub use json::json;
#[cfg(not(target_arch = "wasm32"))]
pub use replace::{Kind, MANUAL_MARK, Standing, may_replace};
pub use verify::{LIMIT, Stale, StaleReason, verify};
#[cfg(not(target_arch = "wasm32"))]
pub use write::{WriteError, behind_links, create, folder_of, try_place, write_all, write_new};
