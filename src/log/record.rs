//! Rows of cells, each with the place it stands at: the form in which text and spreadsheets meet.

use csv::StringRecord;

use super::limits;
use crate::fault::{Fault, FaultPlace, Faults};

/// A file, or one sheet of it: what a place in it is called.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    /// The file's name as given on the command line.
    pub file: String,
    /// The sheet, where the file is a spreadsheet; a record's `line` is then its row.
    pub sheet: Option<SheetOrigin>,
}

/// One sheet of a spreadsheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetOrigin {
    /// Its name.
    pub name: String,
    /// Index of the sheet's column that the first cell of every record came from.
    pub first_column: usize,
}

impl Origin {
    /// Where a cell stands: its line, or its sheet, row and letter.
    ///
    /// * `column` — index of the cell in its record, from 0; `None` for the row as a whole
    pub fn place(&self, line: usize, column: Option<usize>) -> FaultPlace {
        match &self.sheet {
            None => FaultPlace::Line(line),
            Some(SheetOrigin { name, first_column }) => FaultPlace::Cell {
                sheet: name.clone(),
                row: line,
                letter: column.map(|c| letters(c + first_column)),
            },
        }
    }

    /// What a row of this origin is called: `line` or `row`.
    pub fn row_word(&self) -> &'static str {
        match self.sheet {
            None => "line",
            Some(_) => "row",
        }
    }

    /// An error at a cell.
    pub fn error(&self, line: usize, column: Option<usize>, expected: impl Into<String>) -> Fault {
        Fault::error(&self.file, expected).at(self.place(line, column))
    }

    /// A warning at a cell.
    pub fn warning(
        &self,
        line: usize,
        column: Option<usize>,
        expected: impl Into<String>,
    ) -> Fault {
        Fault::warning(&self.file, expected).at(self.place(line, column))
    }

    /// The fault of a row beyond the limit.
    pub fn too_many_rows(&self, line: usize, most: usize) -> Fault {
        self.error(
            line,
            None,
            format!("too many rows; a log may have {most} runs"),
        )
    }

    /// The fault of a header or row beyond the limit.
    pub fn too_many_columns(&self, line: usize, columns: usize) -> Fault {
        let most = limits::COLUMNS;
        self.error(
            line,
            None,
            format!("{columns} columns; a log may have {most}"),
        )
    }
}

/// One row of cells, without the spaces around each.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// Line or row where it begins, counted from 1.
    pub line: usize,
    /// Its cells.
    pub cells: StringRecord,
}

impl Record {
    /// A cell by its index; empty where the row has no such cell.
    pub fn cell(&self, index: usize) -> &str {
        self.cells.get(index).unwrap_or_default()
    }
}

/// The rows of a log, blank ones and comments left out.
pub struct Records<'t> {
    /// Where the rows come from.
    pub origin: Origin,
    /// Whether a comma may stand for the decimal point.
    pub decimal_comma: bool,
    /// The fault of a file without any row.
    pub nothing: Fault,
    /// The rows, down to the first that makes the file unreadable.
    pub rows: Box<dyn Iterator<Item = Result<Record, Faults>> + 't>,
}

/// The letters of a spreadsheet's column: 0 is A, 25 is Z, 26 is AA.
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
