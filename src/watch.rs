//! How long work says how far it is, to whoever wants to know.

use std::io::{self, Read};

/// Told how much is done, of how much. Called often and from several threads, so it should be quick.
pub type Watch<'w> = &'w (dyn Fn(u64, u64) + Sync);

/// Nobody looks.
pub const UNWATCHED: Watch<'static> = &|_, _| {};

/// A source whose reading is watched.
pub struct Watched<'w, R> {
    source: R,
    watch: Watch<'w>,
    done: u64,
    all: u64,
}

impl<'w, R> Watched<'w, R> {
    /// * `done` — bytes read before it, `all` — bytes there are to read in all
    pub fn new(source: R, watch: Watch<'w>, done: u64, all: u64) -> Self {
        Watched {
            source,
            watch,
            done,
            all,
        }
    }
}

impl<R: Read> Read for Watched<'_, R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = self.source.read(buffer)?;
        self.done += read as u64;
        (self.watch)(self.done, self.all);
        Ok(read)
    }
}
