//! How long work reports its progress, to whoever shows it.

/// Takes how much is done and of how much. Called often and from several threads, so it should be quick.
pub type Watch<'w> = &'w (dyn Fn(u64, u64) + Sync);

/// A watch that does nothing.
pub const UNWATCHED: Watch<'static> = &|_, _| {};
