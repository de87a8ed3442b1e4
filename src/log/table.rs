//! The form in which text and spreadsheets meet: a header and rows of cells, each with its place.

use crate::fault::{Fault, Place};

/// Where a table came from, which decides how its faults are placed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Source {
    /// A text file; a record's `line` is its line.
    Text,
    /// A spreadsheet; a record's `line` is its row.
    Sheet {
        /// Name of the sheet.
        name: String,
        /// Index of the sheet's column that the first cell of every record came from.
        first_column: usize,
    },
}

/// One row of cells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// Line or row where it begins, counted from 1.
    pub line: usize,
    /// Cells, without the spaces around them.
    pub cells: Vec<String>,
}

impl Record {
    /// Whether nothing stands in it.
    pub fn is_blank(&self) -> bool {
        self.cells.iter().all(String::is_empty)
    }
}

/// A file as cells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// The file's name as given on the command line.
    pub file: String,
    /// Text or a sheet.
    pub source: Source,
    /// Whether a comma may stand for the decimal point.
    pub decimal_comma: bool,
    /// The first row.
    pub header: Record,
    /// The others, blank ones left out.
    pub rows: Vec<Record>,
}

impl Table {
    /// Where a cell stands: its line, or its sheet, row and letter.
    ///
    /// * `column` — index of the cell in its record, from 0; `None` for the row as a whole
    pub fn place(&self, line: usize, column: Option<usize>) -> Place {
        match &self.source {
            Source::Text => Place::Line(line),
            Source::Sheet { name, first_column } => Place::Cell {
                sheet: name.clone(),
                row: line,
                letter: column.map(|c| letters(c + first_column)),
            },
        }
    }

    /// An error at a cell of this table.
    pub fn error(&self, line: usize, column: Option<usize>, expected: impl Into<String>) -> Fault {
        Fault::error(&self.file, expected).at(self.place(line, column))
    }

    /// A warning at a cell of this table.
    pub fn warning(
        &self,
        line: usize,
        column: Option<usize>,
        expected: impl Into<String>,
    ) -> Fault {
        Fault::warning(&self.file, expected).at(self.place(line, column))
    }
}

/// A spreadsheet's name of its column: 0 is A, 25 is Z, 26 is AA.
pub fn letters(column: usize) -> String {
    let mut n = column + 1;
    let mut out = Vec::new();
    while n > 0 {
        out.push(char::from(b'A' + ((n - 1) % 26) as u8));
        n = (n - 1) / 26;
    }
    out.iter().rev().collect()
}

#[cfg(test)]
mod tests {
    use super::letters;

    #[test]
    fn columns_are_lettered_as_spreadsheets_do() {
        for (column, name) in [(0, "A"), (25, "Z"), (26, "AA"), (701, "ZZ"), (702, "AAA")] {
            assert_eq!(letters(column), name);
        }
    }
}
