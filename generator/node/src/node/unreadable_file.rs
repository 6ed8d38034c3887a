//! Why a file beside a node file cannot be had.

use crate::input::Unreadable;

/// Why a file cannot be had, and what would cure it.
pub(super) struct Unread {
    pub(super) reason: String,
    pub(super) cure: &'static str,
}

impl From<Unreadable> for Unread {
    fn from(why: Unreadable) -> Self {
        Self {
            reason: why.to_string(),
            cure: why
                .cure()
                .unwrap_or("write the path from the folder of the node file"),
        }
    }
}
