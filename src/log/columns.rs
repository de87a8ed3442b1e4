//! Which cell of a log's rows holds which column.

use crate::columns::{COLUMNS, Column};
use crate::units::LengthUnit;

/// Which cell of a record holds which column, and in what unit.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LogColumns {
    found: [Option<(usize, LengthUnit)>; COLUMNS],
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

    /// Whether the log has the column.
    pub fn has(&self, column: Column) -> bool {
        self.index(column).is_some()
    }
}
