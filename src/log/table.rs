//! The form in which text and spreadsheets meet: a header and rows of cells, each with its place.

use super::columns;
use super::limits;
use crate::fault::{Fault, Faults, Place};

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

/// One row of cells, where they stand.
#[derive(Debug, Clone, Copy)]
pub struct Row<'t> {
    /// Line or row where it begins, counted from 1.
    pub line: usize,
    /// The text that the cells are parts of.
    pub text: &'t str,
    /// First byte of each cell, and the one behind its last, without the spaces around.
    pub cells: &'t [(u32, u32)],
}

impl<'t> Row<'t> {
    /// A cell by its index; empty where the row has no such cell.
    pub fn cell(&self, index: usize) -> &'t str {
        let cell = self.cells.get(index);
        cell.map_or("", |&(from, to)| &self.text[from as usize..to as usize])
    }

    /// All cells.
    pub fn cells(&self) -> impl ExactSizeIterator<Item = &'t str> + DoubleEndedIterator + use<'t> {
        let (text, cells) = (self.text, self.cells);
        cells
            .iter()
            .map(|&(from, to)| &text[from as usize..to as usize])
    }

    /// The same, to keep.
    pub fn to_record(self) -> Record {
        Record::new(self.line, self.cells())
    }
}

/// One row of cells, to keep.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// Line or row where it begins, counted from 1.
    pub line: usize,
    text: String,
    cells: Vec<(u32, u32)>,
}

impl Record {
    /// From its cells.
    pub fn new<'c>(line: usize, cells: impl IntoIterator<Item = &'c str>) -> Self {
        let mut text = String::new();
        let place = |cell: &str| {
            let from = text.len() as u32;
            text.push_str(cell);
            (from, text.len() as u32)
        };
        let cells = cells.into_iter().map(place).collect();
        Record { line, text, cells }
    }

    /// As a row.
    pub fn row(&self) -> Row<'_> {
        Row {
            line: self.line,
            text: &self.text,
            cells: &self.cells,
        }
    }
}

/// Why a file is not read to its end.
#[derive(Debug)]
pub enum Stop {
    /// It breaks a limit, or is no log; nothing else of it is told.
    Faults(Faults),
    /// It is not UTF-8, as was thought from its beginning.
    NotUtf8,
}

impl From<Faults> for Stop {
    fn from(faults: Faults) -> Self {
        Stop::Faults(faults)
    }
}

/// Rows of a file, one after another, blank ones left out.
pub trait Rows {
    /// Where they come from.
    fn origin(&self) -> &Origin;

    /// Whether a comma may stand for the decimal point.
    fn decimal_comma(&self) -> bool;

    /// What a file without any row lacks.
    fn nothing(&self) -> Fault;

    /// The next row.
    ///
    /// # Errors
    /// See [`Stop`].
    fn next(&mut self) -> Result<Option<Row<'_>>, Stop>;
}

/// What is known of a file before its runs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Head {
    /// Where it came from.
    pub origin: Origin,
    /// Whether a comma may stand for the decimal point.
    pub decimal_comma: bool,
    /// What stands above the header: a title, who keeps the log.
    pub above: Vec<Record>,
    /// The names of the columns.
    pub header: Record,
}

/// A file as a header and rows below it.
pub struct Table<R> {
    /// What stands above the runs.
    pub head: Head,
    /// Rows that were read while the header was looked for.
    waiting: std::vec::IntoIter<Record>,
    row: Option<Record>,
    rows: R,
}

/// Rows among which the header is looked for. A title, a remark and a merged cell or two come to a handful.
pub const HEADER_WITHIN: usize = 20;

impl<R: Rows> Table<R> {
    /// Parts rows into what stands above the header, the header and the rows below.
    ///
    /// The header is the first row that names two columns of a log; where none does, the first row, so that its
    /// faults can be told.
    ///
    /// # Errors
    /// As of [`Rows::next`], and a file without a row.
    pub fn new(mut rows: R) -> Result<Self, Stop> {
        let mut first = Vec::new();
        while first.len() < HEADER_WITHIN
            && let Some(row) = rows.next()?
        {
            first.push(row.to_record());
        }
        let is_header = |record: &Record| columns::known_names(record.row().cells()) >= 2;
        let at = first.iter().position(is_header).unwrap_or(0);
        let mut waiting = first.into_iter();
        let above = waiting.by_ref().take(at).collect();
        let Some(header) = waiting.next() else {
            return Err(Faults::from(rows.nothing()).into());
        };
        Ok(Table {
            head: Head {
                origin: rows.origin().clone(),
                decimal_comma: rows.decimal_comma(),
                above,
                header,
            },
            waiting,
            row: None,
            rows,
        })
    }

    /// Whether rows below the header were read while it was looked for.
    pub fn any_waiting(&self) -> bool {
        self.waiting.len() > 0
    }

    /// The file behind those.
    pub fn rows(&mut self) -> &mut R {
        &mut self.rows
    }

    /// The next row below the header.
    ///
    /// # Errors
    /// As of [`Rows::next`].
    pub fn next(&mut self) -> Result<Option<Row<'_>>, Stop> {
        self.row = self.waiting.next();
        match &self.row {
            Some(record) => Ok(Some(record.row())),
            None => self.rows.next(),
        }
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
