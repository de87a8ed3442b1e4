//! One slip of the pencil, and its warning.

use crate::columns::Column;
use crate::fault::Fault;
use crate::log::reader::Reading;

/// One slip: the run and column it stands in, and why it looks like one.
pub struct Slip {
    /// Index into the season's runs.
    pub run: usize,
    /// Column of the cell that looks wrong.
    pub column: Column,
    /// Why, as a sentence.
    pub why: String,
}

impl Slip {
    /// The warning at the slip's cell.
    pub fn into_fault(self, reading: &Reading) -> Fault {
        reading.warning(reading.run(self.run), self.column, self.why)
    }
}
