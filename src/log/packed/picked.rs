//! Some of the runs of a season.

/// Some of a season's runs: their indices, rising, kept as parts.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Picked {
    /// First index, and the one behind the last.
    pub(super) parts: Vec<(u32, u32)>,
    len: usize,
}

impl Picked {
    /// Adds all from `from` to before `to`; `from` must not be below what is there already.
    pub fn add(&mut self, from: usize, to: usize) {
        self.len += to - from;
        match self.parts.last_mut() {
            Some(last) if last.1 as usize == from => last.1 = to as u32,
            _ => self.parts.push((from as u32, to as u32)),
        }
    }

    /// How many.
    pub fn len(&self) -> usize {
        self.len
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The indices.
    pub fn iter(&self) -> impl Iterator<Item = usize> + Clone + '_ {
        let parts = self.parts.iter();
        parts.flat_map(|&(from, to)| from as usize..to as usize)
    }
}
