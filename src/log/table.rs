//! The form in which text and spreadsheets meet: a header and rows of cells, each with its place.

use super::columns;
use super::limits;
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

/// A file, or one sheet of it: what a place in it is called.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    /// The file's name as given on the command line.
    pub file: String,
    /// Text or a sheet.
    pub source: Source,
}

impl Origin {
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

    /// What its rows are called: `line` or `row`.
    pub fn row_word(&self) -> &'static str {
        match self.source {
            Source::Text => "line",
            Source::Sheet { .. } => "row",
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
    pub fn too_many_rows(&self, line: usize) -> Fault {
        let most = limits::ROWS;
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

/// One row of cells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// Line or row where it begins, counted from 1.
    pub line: usize,
    /// Cells, without the spaces around them.
    pub cells: Vec<String>,
}

/// A file as cells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Where it came from.
    pub origin: Origin,
    /// Whether a comma may stand for the decimal point.
    pub decimal_comma: bool,
    /// What stands above the header: a title, who keeps the log.
    pub above: Vec<Record>,
    /// The names of the columns.
    pub header: Record,
    /// The rows below it, blank ones left out.
    pub rows: Vec<Record>,
}

/// Rows among which the header is looked for. A title, a remark and a merged cell or two come to a handful.
pub const HEADER_WITHIN: usize = 20;

impl Table {
    /// Parts records into what stands above the header, the header and the rows below; `None` without a record.
    ///
    /// The header is the first row that names two columns of a log; where none does, the first row, so that its
    /// faults can be told.
    pub fn new(origin: Origin, decimal_comma: bool, records: Vec<Record>) -> Option<Self> {
        let is_header = |record: &Record| columns::known_names(&record.cells) >= 2;
        let at = records
            .iter()
            .take(HEADER_WITHIN)
            .position(is_header)
            .unwrap_or(0);
        let mut records = records.into_iter();
        let above = records.by_ref().take(at).collect();
        Some(Table {
            origin,
            decimal_comma,
            above,
            header: records.next()?,
            rows: records.collect(),
        })
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
