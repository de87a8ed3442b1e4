//! Splits text into rows of cells: byte-order mark, delimiter, comments, quotes, and the line each row stands on.

use csv::{ReaderBuilder, StringRecord};

use super::header::HEADER_WITHIN;
use super::limits;
use super::record::{Origin, Record, Records};
use crate::columns::Headings;
use crate::fault::{Fault, Faults};

/// The rows of a delimited text.
///
/// * `file` — the name that faults carry
/// * `headings` — those from which the header and the mark between cells are told
/// * `text` — with lines that end in LF or CR LF; byte-order marks at its beginning are skipped
pub fn records<'t>(file: &str, headings: &Headings, text: &'t str) -> Records<'t> {
    // Two marks stand where two programs each wrote one.
    let text = text.trim_start_matches('\u{feff}');
    let delimiter = delimiter(headings, text);
    let origin = Origin {
        file: file.to_string(),
        sheet: None,
    };
    Records {
        decimal_comma: delimiter != b',',
        nothing: Fault::error(
            file,
            "nothing in it; expected a header row such as session,target_m,turns,long_cm and one row a run",
        ),
        rows: Box::new(TextRows {
            origin: origin.clone(),
            bytes: text.as_bytes(),
            reader: ReaderBuilder::new()
                .has_headers(false)
                .flexible(true)
                .delimiter(delimiter)
                .comment(Some(b'#'))
                .from_reader(text.as_bytes()),
            cells: StringRecord::new(),
            counted: 0,
            line: 1,
            open_quote: None,
        }),
        origin,
    }
}

/// The rows that the csv crate finds in a text, each with its line. The crate's own line number is where it began to
/// look for the row, above comments and blank lines.
struct TextRows<'t> {
    origin: Origin,
    bytes: &'t [u8],
    reader: csv::Reader<&'t [u8]>,
    /// The last row, as written.
    cells: StringRecord,
    /// Byte up to which line ends are counted, and the line there.
    counted: usize,
    line: usize,
    /// The line of the last row, where a quotation mark in it seems never closed.
    open_quote: Option<usize>,
}

impl Iterator for TextRows<'_> {
    type Item = Result<Record, Faults>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            let begin = behind_blanks_and_comments(self.bytes, self.at());
            self.line += line_ends(self.bytes, self.counted, begin);
            self.counted = begin;
            if begin == self.bytes.len() {
                let line = self.open_quote.take()?;
                return Some(Err(unclosed_quote(&self.origin, line).into()));
            }
            if let Err(error) = self.reader.read_record(&mut self.cells) {
                return Some(Err(self.unreadable(&error).into()));
            }
            let record = Record {
                line: self.line,
                cells: trimmed(&self.cells),
            };
            let raw = &self.bytes[begin..self.at()];
            let is_odd = raw.iter().filter(|&&byte| byte == b'"').count() % 2 == 1;
            let has_broken_cell = record.cells.as_slice().contains(['\n', '\r']);
            self.open_quote = (is_odd && has_broken_cell).then_some(self.line);
            if record.cells.as_slice().is_empty() {
                continue;
            }
            let beyond = beyond_limits(&self.origin, self.line, &self.cells);
            return Some(beyond.map_or(Ok(record), |fault| Err(fault.into())));
        }
    }
}

impl TextRows<'_> {
    /// The byte at which the next row is looked for.
    fn at(&self) -> usize {
        self.reader.position().byte() as usize
    }

    /// The fault of a row that cannot be read. It should not occur: memory has no read errors, and parts of UTF-8 text
    /// between ASCII characters are UTF-8.
    fn unreadable(&self, error: &csv::Error) -> Fault {
        let why = format!("could not be read: {error}");
        self.origin.error(self.line, None, why)
    }
}

/// Cells without the white space around each.
fn trimmed(cells: &StringRecord) -> StringRecord {
    let mut trimmed = StringRecord::with_capacity(cells.as_slice().len(), cells.len());
    trimmed.extend(cells.iter().map(str::trim));
    trimmed
}

/// Line ends from one byte to before another: CR LF, a lone LF and a lone CR each end a line.
fn line_ends(bytes: &[u8], from: usize, to: usize) -> usize {
    (from..to)
        .filter(|&i| match bytes[i] {
            b'\n' => true,
            b'\r' => bytes.get(i + 1) != Some(&b'\n'),
            _ => false,
        })
        .count()
}

/// What is wrong with a row that is, or has a cell, beyond the limits.
fn beyond_limits(origin: &Origin, line: usize, cells: &StringRecord) -> Option<Fault> {
    if cells.len() > limits::COLUMNS {
        return Some(origin.too_many_columns(line, cells.len()));
    }
    // No cell is longer than its row, and no row has more characters than bytes.
    if cells.as_slice().len() <= limits::CELL_CHARACTERS {
        return None;
    }
    let characters = || cells.iter().map(|cell| cell.chars().count());
    let (what, most) = if characters().max() > Some(limits::CELL_CHARACTERS) {
        ("cell", limits::CELL_CHARACTERS)
    } else if characters().sum::<usize>() > limits::ROW_CHARACTERS {
        ("row", limits::ROW_CHARACTERS)
    } else {
        return None;
    };
    if cells.as_slice().contains(['\n', '\r']) {
        return Some(unclosed_quote(origin, line));
    }
    let why = format!("the {what} has more than {most} characters");
    Some(origin.error(line, None, why))
}

fn unclosed_quote(origin: &Origin, line: usize) -> Fault {
    origin.error(
        line,
        None,
        "a quotation mark is opened here and never closed, so the lines below read as one cell; close it or take \
         it out",
    )
}

/// The delimiter that splits one of the first lines into the most columns with a known name; where there is none,
/// the first line into the most columns.
fn delimiter(headings: &Headings, text: &str) -> u8 {
    let start = behind_blanks_and_comments(text.as_bytes(), 0);
    let first_lines = || {
        let lines = text[start..].lines();
        lines
            .filter(|line| !line.trim().is_empty())
            .take(HEADER_WITHIN)
    };
    fn cells(line: &str, mark: char) -> impl Iterator<Item = &str> {
        let cells = line.split(mark).map(|cell| cell.trim().trim_matches('"'));
        cells.take(limits::COLUMNS)
    }
    let mut best = (b',', (0, 0));
    for candidate in [b',', b';', b'\t'] {
        let mark = char::from(candidate);
        let known = first_lines()
            .map(|line| headings.known_names(cells(line, mark)))
            .max();
        let first = first_lines().next().map(|line| cells(line, mark).count());
        let found = (known.unwrap_or(0), first.unwrap_or(0));
        if found > best.1 {
            best = (candidate, found);
        }
    }
    best.0
}

/// The byte at which the next record begins, from byte `at` on.
fn behind_blanks_and_comments(bytes: &[u8], mut at: usize) -> usize {
    while let Some(byte) = bytes.get(at) {
        match byte {
            b'\r' | b'\n' => at += 1,
            b'#' => {
                let rest = &bytes[at..];
                at += rest.iter().position(|&b| b == b'\n').unwrap_or(rest.len());
            }
            _ => break,
        }
    }
    at
}

#[cfg(test)]
mod tests {
    use super::super::header::{self, Header};
    use super::*;
    use crate::fault::FaultPlace;
    use proptest::prelude::*;

    /// Header and rows below it, or what is wrong.
    fn table(text: &str) -> Result<(Header, Vec<Record>), Faults> {
        let headings = Headings::default();
        let (header, rows) = header::split(records("t.csv", &headings, text), &headings)?;
        Ok((header, rows.collect::<Result<_, _>>()?))
    }

    fn lines_of(text: &str) -> Vec<(usize, String)> {
        let (header, rows) = table(text).unwrap();
        let worded = |record: &Record| {
            let cells: Vec<&str> = record.cells.iter().collect();
            (record.line, cells.join("|"))
        };
        std::iter::once(&header.names)
            .chain(&rows)
            .map(worded)
            .collect()
    }

    #[test]
    fn lines_are_exact_after_blank_comment_and_broken_lines() {
        for end in ["\n", "\r\n"] {
            let text = [
                "# one",
                "",
                "session,turns,note",
                "# four",
                "",
                "A,1,x",
                "B,2,\"a",
                "# inside",
                "b\"",
                "",
                "C,3,y",
            ]
            .join(end);
            let lines: Vec<usize> = lines_of(&text).iter().map(|l| l.0).collect();
            assert_eq!(lines, [3, 6, 7, 11], "line end {end:?}");
        }
    }

    proptest! {
        /// Rows are said to begin where the csv crate sees them begin, whatever stands between them.
        #[test]
        fn a_row_begins_where_it_is_said_to(text in "[a,\"\n#\r ]{0,40}") {
            let rows = |text: &str| {
                let mut reader = ReaderBuilder::new()
                    .has_headers(false)
                    .flexible(true)
                    .comment(Some(b'#'))
                    .from_reader(text.as_bytes());
                let mut rows = Vec::new();
                let mut cells = StringRecord::new();
                loop {
                    let begin = behind_blanks_and_comments(text.as_bytes(), reader.position().byte() as usize);
                    if begin == text.len() {
                        return rows;
                    }
                    assert!(reader.read_record(&mut cells).unwrap());
                    rows.push((begin, cells.iter().map(str::to_string).collect::<Vec<_>>()));
                }
            };
            for (begin, cells) in rows(&text) {
                prop_assert!(!matches!(text.as_bytes()[begin], b'\n' | b'\r' | b'#'));
                let from_there = rows(&text[begin..]);
                prop_assert_eq!(&from_there[0], &(0, cells));
            }
        }
    }

    #[test]
    fn the_delimiter_is_told_from_the_header() {
        for (text, cells) in [
            ("session;turns;note\nA;1,5;b,c\n", "A|1,5|b,c"),
            ("session\tturns\nA\t1,5\n", "A|1,5"),
            ("session,turns\nA,1.5\n", "A|1.5"),
            ("\u{feff}session;turns\nA;1\n", "A|1"),
            ("\"session\";\"turns\"\nA;1\n", "A|1"),
        ] {
            assert_eq!(lines_of(text)[1].1, cells);
        }
    }

    #[test]
    fn a_quote_never_closed_is_named_at_its_row() {
        let faults = table("session,note\nA,ok\nB,\"oh\nC,x\n").err().unwrap();
        assert_eq!(faults.0[0].place, FaultPlace::Line(3));
        assert!(faults.any_error());
    }

    #[test]
    fn an_inch_mark_in_the_last_row_is_no_open_quote() {
        assert_eq!(lines_of("session,note\nA,5\" nail")[1].1, "A|5\" nail");
    }

    #[test]
    fn a_title_may_stand_above_the_header() {
        let (header, rows) =
            table("Our season;;\n\nby;the;keeper\nsession;turns;long_cm\nA;1,5;2\n").unwrap();
        assert_eq!(
            (header.names.line, rows.len(), header.above.len()),
            (4, 1, 2)
        );
        assert!(header.decimal_comma);
        assert_eq!(lines_of("a,b\nA,1")[0].0, 1);
    }

    #[test]
    fn an_empty_text_has_no_header() {
        assert!(table("\n# only\n\n").is_err());
        assert!(table("").is_err());
    }
}
