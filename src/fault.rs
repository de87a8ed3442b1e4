//! One thing wrong with an input: where, what was read, what was expected, what to do. Faults are worded here only.

use std::fmt;
use std::io;
use std::path::Path;
use std::sync::Arc;

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
pub enum FaultPlace {
    /// The file as a whole.
    File,
    /// A line of a text file, counted from 1.
    Line(usize),
    /// A place on a line of a text file, both counted from 1; for files that have no columns by name.
    Character {
        /// Line.
        line: usize,
        /// Character within the line.
        character: usize,
    },
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
    /// Where in the file.
    pub place: FaultPlace,
    /// Column or key concerned, under its name in the contract.
    pub column: Option<String>,
    /// What stood there, as written.
    pub read: Option<String>,
    /// What was expected there, and what to do, as the end of a sentence.
    pub expected: String,
    /// The system's reason, where a file could not be read.
    pub cause: Option<Cause>,
}

/// An [`io::Error`] that can be copied and compared with its fault: by its kind.
#[derive(Debug, Clone)]
pub struct Cause(Arc<io::Error>);

impl PartialEq for Cause {
    fn eq(&self, other: &Self) -> bool {
        self.0.kind() == other.0.kind()
    }
}

impl Eq for Cause {}

impl Fault {
    /// A fault that stops the command, about a file as a whole.
    pub fn error(file: impl Into<String>, expected: impl Into<String>) -> Self {
        Fault {
            severity: Severity::Error,
            file: file.into(),
            place: FaultPlace::File,
            column: None,
            read: None,
            expected: expected.into(),
            cause: None,
        }
    }

    /// A file that the system did not let us read.
    pub fn unreadable(file: impl Into<String>, cause: io::Error) -> Self {
        let why = match cause.kind() {
            io::ErrorKind::NotFound => {
                "there is no such file: look at how it is spelt, and in which folder it is"
                    .to_string()
            }
            io::ErrorKind::IsADirectory => {
                "this is a folder; name the file in it that is meant".to_string()
            }
            _ => format!("could not be read: {cause}"),
        };
        let fault = Fault::error(file, why);
        Fault {
            cause: Some(Cause(Arc::new(cause))),
            ..fault
        }
    }

    /// A fault that does not stop the command, about a file as a whole.
    pub fn warning(file: impl Into<String>, expected: impl Into<String>) -> Self {
        Fault {
            severity: Severity::Warning,
            ..Fault::error(file, expected)
        }
    }

    /// The system's reason, where a file could not be read.
    pub fn cause(&self) -> Option<&io::Error> {
        self.cause.as_ref().map(|cause| cause.0.as_ref())
    }

    /// Whether it stops the command.
    pub fn is_error(&self) -> bool {
        self.severity == Severity::Error
    }

    /// The fault with its place set.
    pub fn at(self, place: FaultPlace) -> Self {
        Fault { place, ..self }
    }

    /// The fault with its column or key set.
    pub fn column(self, column: impl Into<String>) -> Self {
        Fault {
            column: Some(column.into()),
            ..self
        }
    }

    /// The fault with what was read there.
    pub fn read(self, read: impl Into<String>) -> Self {
        Fault {
            read: Some(read.into()),
            ..self
        }
    }
}

/// Text of a user as it may be shown on a terminal: on one line, without control characters, at most 60 characters.
///
/// A cell may hold line breaks, terminal escapes or a whole swallowed file.
pub fn shown(text: &str) -> String {
    /// Long enough for any cell that was meant, short enough for one line.
    const LONGEST: usize = 60;
    let mut out = printable(&text.chars().take(LONGEST).collect::<String>());
    if text.chars().nth(LONGEST).is_some() {
        out.push('…');
    }
    out
}

/// What was read, in quotation marks; a text of a set-up file stands in its own.
fn quoted(read: &str) -> String {
    let is_quoted = read.len() > 1 && read.starts_with('"') && read.ends_with('"');
    match is_quoted {
        true => shown(read),
        false => format!("\"{}\"", shown(read)),
    }
}

/// The beginning of what another library's error says of a damaged file, since it may quote much of the file.
pub fn beginning(said: &impl fmt::Display) -> String {
    said.to_string().chars().take(200).collect()
}

/// Any text with control characters escaped, as it may be shown on a terminal: what a user wrote must neither colour
/// the terminal nor rewrite its lines.
pub fn printable(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\n' => out.push_str("\\n"),
            '\r' => out.push_str("\\r"),
            '\t' => out.push_str("\\t"),
            // Bidirectional overrides would let a cell rewrite the line it is shown on.
            c if c.is_control()
                || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}') =>
            {
                out.extend(c.escape_unicode());
            }
            c => out.push(c),
        }
    }
    out
}

impl Fault {
    /// The file, and where in it: `runs.csv, line 14, column turns`.
    fn place_words(&self) -> String {
        let mut words = printable(&self.file);
        match &self.place {
            FaultPlace::File => {}
            FaultPlace::Line(line) => words += &format!(", line {line}"),
            FaultPlace::Character { line, character } => {
                words += &format!(", line {line}, character {character}");
            }
            FaultPlace::Cell { sheet, row, letter } => {
                words += &format!(", sheet {}, row {row}", shown(sheet));
                if let Some(letter) = letter {
                    words += &format!(", column {letter}");
                }
            }
        }
        if let Some(column) = self.column.as_deref().map(printable) {
            words += &match self.place {
                FaultPlace::Cell {
                    letter: Some(_), ..
                } => format!(" ({column})"),
                // A file without lines or cells to name is a set-up.
                FaultPlace::Character { .. } | FaultPlace::File => format!(", key {column}"),
                _ => format!(", column {column}"),
            };
        }
        words
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.severity == Severity::Warning {
            write!(f, "warning: ")?;
        }
        write!(f, "{}", self.sentence())
    }
}

impl Fault {
    /// Where, what was read and what was expected, without saying how bad it is.
    pub fn sentence(&self) -> String {
        let read = self.read.as_ref();
        let read = read.map_or_else(String::new, |read| format!("read {}; ", quoted(read)));
        // Labels and names of the user stand in it.
        let expected = printable(&self.expected);
        format!("{}: {read}{expected}", self.place_words())
    }
}

/// The text of a file of at most `most` bytes; `what` it should be (`a set-up file`).
///
/// # Errors
/// One fault naming the file and the system's reason, or that it is too large.
pub fn read_text(path: &Path, most: u64, what: &str) -> Result<String, Faults> {
    let name = path.display().to_string();
    let unreadable = |cause| Faults::from(Fault::unreadable(&name, cause));
    if std::fs::metadata(path).map_err(unreadable)?.len() > most {
        let why = format!("could not be read: it is too large for {what}");
        return Err(Fault::error(name, why).into());
    }
    std::fs::read_to_string(path).map_err(unreadable)
}

/// All faults found in one pass over the input.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// Whether any of them stops the command.
    pub fn any_error(&self) -> bool {
        self.0.iter().any(Fault::is_error)
    }

    /// The faults with those that stop the command before the others, each in the order in which they were found.
    pub fn errors_first(mut self) -> Self {
        self.0.sort_by_key(|fault| !fault.is_error());
        self
    }

    /// How many there are, and which to mend first; `None` where a single line says it all, or nothing stops the command.
    ///
    /// The first error is the one to begin with: a fault of a file or its headings is found before those of rows, which
    /// may follow from it.
    pub fn summed_up(&self) -> Option<String> {
        let errors = self.0.iter().filter(|fault| fault.is_error()).count();
        let first = self.0.iter().find(|fault| fault.is_error())?;
        if self.0.len() < 2 {
            return None;
        }
        let counted = |n, what| match n {
            1 => format!("1 {what}"),
            n => format!("{n} {what}s"),
        };
        let mut count = counted(errors, "error");
        if self.0.len() > errors {
            count += &format!(" and {}", counted(self.0.len() - errors, "warning"));
        }
        let read = match (&first.column, &first.read) {
            (None, Some(read)) => format!(", {}", quoted(read)),
            _ => String::new(),
        };
        Some(format!(
            "{count}. Mend this one first: {}{read}.",
            first.place_words()
        ))
    }

    /// Adds one more.
    pub fn push(&mut self, fault: Fault) {
        self.0.push(fault);
    }
}

impl From<Fault> for Faults {
    fn from(fault: Fault) -> Self {
        Faults(vec![fault])
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_is_worded_place_first_then_what_was_read_then_what_to_do() {
        let fault = Fault::error("runs.csv", "expected a number like 36.5")
            .at(FaultPlace::Line(14))
            .column("turns")
            .read("36,5");
        assert_eq!(
            fault.to_string(),
            "runs.csv, line 14, column turns: read \"36,5\"; expected a number like 36.5"
        );
    }

    #[test]
    fn a_cell_of_a_sheet_is_named_by_sheet_row_and_letter() {
        let fault = Fault::warning("runs.ods", "expected a date")
            .at(FaultPlace::Cell {
                sheet: "May".into(),
                row: 7,
                letter: Some("C".into()),
            })
            .column("date")
            .read("x");
        assert_eq!(
            fault.to_string(),
            "warning: runs.ods, sheet May, row 7, column C (date): read \"x\"; expected a date"
        );
    }

    #[test]
    fn errors_come_first_and_the_first_of_them_is_to_be_mended_first() {
        let line = |fault: Fault, line| fault.at(FaultPlace::Line(line));
        let faults = Faults(vec![
            line(Fault::warning("a.csv", "w"), 2),
            line(Fault::error("a.csv", "x").column("turns"), 4),
            line(Fault::error("a.csv", "y"), 3),
        ])
        .errors_first();
        let told: Vec<&str> = faults.0.iter().map(|f| f.expected.as_str()).collect();
        assert_eq!(told, ["x", "y", "w"]);
        assert_eq!(
            faults.summed_up().as_deref(),
            Some("2 errors and 1 warning. Mend this one first: a.csv, line 4, column turns.")
        );
        let alone = Faults::from(Fault::error("a.csv", "x"));
        assert_eq!(alone.summed_up(), None);
        let only_warnings = Faults(vec![Fault::warning("a.csv", "w"); 2]);
        assert_eq!(only_warnings.summed_up(), None);
    }

    #[test]
    fn a_cell_cannot_write_on_the_terminal() {
        assert_eq!(shown("a\u{1b}[31mb\nc"), "a\\u{1b}[31mb\\nc");
        assert_eq!(shown(&"x".repeat(61)).chars().count(), 61);
        assert!(shown(&"x".repeat(61)).ends_with('…'));
    }
}
