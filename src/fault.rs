//! One thing wrong with an input: where, what was read, what was expected, what to do. Worded here only.

use std::fmt;

/// How bad a fault is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The command goes on; the reader should look.
    Warning,
    /// The command stops with exit status 2 and writes nothing.
    Error,
}

/// Where in the file a fault stands.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// The file as a whole.
    File,
    /// A line of a text file, counted from 1.
    Line(usize),
    /// A cell of a spreadsheet.
    Cell {
        /// Name of the sheet.
        sheet: String,
        /// Row, counted from 1.
        row: usize,
        /// Column letter, where one cell is meant.
        letter: Option<String>,
    },
}

/// One fault, as data; [`fmt::Display`] words it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Error or warning.
    pub severity: Severity,
    /// The file's name as given on the command line.
    pub file: String,
    /// Where in it.
    pub place: Place,
    /// Column or key concerned, under its name in the contract.
    pub column: Option<String>,
    /// What stood there, as written.
    pub read: Option<String>,
    /// What was expected there, and what to do.
    pub expected: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.severity == Severity::Warning {
            write!(f, "warning: ")?;
        }
        write!(f, "{}", self.file)?;
        match &self.place {
            Place::File => {}
            Place::Line(line) => write!(f, ", line {line}")?,
            Place::Cell { sheet, row, letter } => {
                write!(f, ", sheet {sheet}, row {row}")?;
                if let Some(letter) = letter {
                    write!(f, ", column {letter}")?;
                }
            }
        }
        if let Some(column) = &self.column {
            match self.place {
                Place::Cell { .. } => write!(f, " ({column})")?,
                _ => write!(f, ", column {column}")?,
            }
        }
        write!(f, ": ")?;
        if let Some(read) = &self.read {
            write!(f, "read \"{read}\"; ")?;
        }
        write!(f, "{}", self.expected)
    }
}

/// All faults found in one pass over the input.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// Whether any of them stops the command.
    pub fn any_error(&self) -> bool {
        self.0.iter().any(|f| f.severity == Severity::Error)
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, fault) in self.0.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            write!(f, "{fault}")?;
        }
        Ok(())
    }
}
