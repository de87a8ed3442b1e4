//! A column in chunks, of which one takes no room while nothing stands in it.

use super::codec::NONE;

/// Rows of a chunk: small beside a season, large beside what a chunk costs.
const CHUNK: usize = 1024;

/// A column in chunks; `None` is a chunk of nothing written.
#[derive(Debug, Clone)]
pub struct Column<T> {
    chunks: Vec<Option<Box<[T; CHUNK]>>>,
}

impl<T> Default for Column<T> {
    fn default() -> Self {
        Column { chunks: Vec::new() }
    }
}

/// What stands where nothing was written.
pub trait Blank: Copy + PartialEq {
    const BLANK: Self;
}

impl Blank for u8 {
    /// A launch, ok, its load not noted.
    const BLANK: u8 = 0;
}

impl Blank for u32 {
    const BLANK: u32 = NONE;
}

impl<T: Blank> Column<T> {
    /// Puts a value behind the last; `i` is how many there are.
    pub fn push(&mut self, i: usize, value: T) {
        if i.is_multiple_of(CHUNK) {
            self.chunks.push(None);
        }
        let chunk = &mut self.chunks[i / CHUNK];
        if chunk.is_some() || value != T::BLANK {
            chunk.get_or_insert_with(|| Box::new([T::BLANK; CHUNK]))[i % CHUNK] = value;
        }
    }

    /// Puts so many values of another behind the last; `i` is how many there are here.
    ///
    /// * `as_here` — what a value of the other is here
    pub fn join(&mut self, i: usize, other: &Self, len: usize, as_here: impl Fn(T) -> T) {
        self.chunks.resize((i + len).div_ceil(CHUNK), None);
        for (first, chunk) in (0..len).step_by(CHUNK).zip(&other.chunks) {
            let Some(chunk) = chunk else { continue };
            let mut values = &chunk[..CHUNK.min(len - first)];
            let mut at = i + first;
            while !values.is_empty() {
                let own =
                    self.chunks[at / CHUNK].get_or_insert_with(|| Box::new([T::BLANK; CHUNK]));
                let room = &mut own[at % CHUNK..];
                let (now, later) = values.split_at(values.len().min(room.len()));
                for (own, value) in room.iter_mut().zip(now) {
                    *own = as_here(*value);
                }
                at += now.len();
                values = later;
            }
        }
    }

    /// One value.
    #[inline]
    pub fn get(&self, i: usize) -> T {
        match &self.chunks[i / CHUNK] {
            Some(chunk) => chunk[i % CHUNK],
            None => T::BLANK,
        }
    }
}
