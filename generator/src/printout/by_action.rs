//! Something for each action, as an object with a key for each.

use serde::{Serialize, Serializer};

use crate::node::ActionKind;

/// Keys in the order of a node's life.
pub(super) struct ByAction<T>(Vec<(ActionKind, T)>);

impl<T> ByAction<T> {
    /// What `view` makes of each.
    pub(super) fn of<'a, V: 'a>(
        actions: impl IntoIterator<Item = (ActionKind, &'a V)>,
        view: impl Fn(&'a V) -> T,
    ) -> Self {
        let views = actions.into_iter().map(|(kind, of)| (kind, view(of)));
        Self(views.collect())
    }
}

impl<T: Serialize> Serialize for ByAction<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.0.iter().map(|(kind, view)| (kind.name(), view)))
    }
}
