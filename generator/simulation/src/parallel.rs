//! Independent work on many things.

/// What `work` makes of each of `items`, in their order. With the feature `parallel` on all cores: the result is the same.
#[cfg(feature = "parallel")]
pub(crate) fn each<T: Send, R: Send>(items: Vec<T>, work: impl Fn(T) -> R + Send + Sync) -> Vec<R> {
    use rayon::prelude::*;
    items.into_par_iter().map(work).collect()
}

/// What `work` makes of each of `items`, in their order.
#[cfg(not(feature = "parallel"))]
pub(crate) fn each<T, R>(items: Vec<T>, work: impl Fn(T) -> R) -> Vec<R> {
    items.into_iter().map(work).collect()
}
