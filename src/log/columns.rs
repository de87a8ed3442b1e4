//! Which cell of a log's rows holds which column.

use crate::columns::{COLUMNS, Column};
use crate::units::LengthUnit;

/// Which cell of a record holds which column, and in what unit.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LogColumns {
    found: [Option<(usize, LengthUnit)>; COLUMNS],
    misnamed: [bool; COLUMNS],
}

impl LogColumns {
    /// Sets which cell holds a column, and its unit.
    pub fn put(&mut self, column: Column, index: usize, unit: LengthUnit) {
        self.found[column as usize] = Some((index, unit));
    }

    /// Index of the column's cell in every record, if the log has it.
    pub fn index(&self, column: Column) -> Option<usize> {
        self.found[column as usize].map(|(index, _)| index)
    }

    /// The unit of its header, if the log has it and it is a length.
    pub fn unit(&self, column: Column) -> Option<LengthUnit> {
        column.length_stem()?;
        self.found[column as usize].map(|(_, unit)| unit)
    }

    /// Notes that the log seems to have a column under a name that cannot be read, which is a fault of the header: what
    /// the rows lack for it are none.
    pub fn put_misnamed(&mut self, column: Column) {
        self.misnamed[column as usize] = true;
    }

    /// Whether the log seems to have the column under a name that cannot be read.
    pub fn is_misnamed(&self, column: Column) -> bool {
        self.misnamed[column as usize]
    }

    /// Whether the log has the column.
    pub fn has(&self, column: Column) -> bool {
        self.index(column).is_some()
    }
}
