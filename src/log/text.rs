//! Text to cells: byte-order mark, delimiter, comments, quotes, and the line each row stands on.

use super::columns;
use super::limits;
use super::table::{HEADER_WITHIN, Origin, Record, Source, Table};
use crate::fault::{Fault, Faults};

/// Cells of a delimited text.
///
/// * `file` — the name that faults carry
/// * `text` — the whole file; a byte-order mark at its start is skipped
///
/// # Errors
/// A text without a header row, and a quotation mark that is never closed.
pub fn table(file: &str, text: &str) -> Result<Table, Faults> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    // Old files end their lines in a lone CR, which the csv reader does not take as the end of a comment.
    let with_line_feeds;
    let text = if text.contains('\n') {
        text
    } else {
        with_line_feeds = text.replace('\r', "\n");
        &with_line_feeds
    };
    let delimiter = delimiter(text);
    let origin = Origin {
        file: file.to_string(),
        source: Source::Text,
    };
    let mut records: Vec<Record> = Vec::new();
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    let mut lines = Lines::new(text);
    let mut cells = csv::StringRecord::new();
    let mut start = 0;
    // Only invalid UTF-8 and unequal lengths can fail here; the text is valid and lengths are free.
    while reader
        .read_record(&mut cells)
        .map_err(|e| Fault::error(file, format!("could not be read: {e}")))?
    {
        let searched_from = cells.position().map_or(0, |p| p.byte() as usize);
        start = skip_blanks_and_comments(text.as_bytes(), searched_from);
        let line = lines.of(start);
        if cells.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        refuse_endless(&origin, line, &cells)?;
        if records.len() > limits::ROWS {
            return Err(origin.too_many_rows(line).into());
        }
        let cells = cells.iter().map(|cell| cell.trim().to_string()).collect();
        records.push(Record { line, cells });
    }
    if let Some(last) = records.last() {
        let quotes = text[start..].matches('"').count();
        if last.cells.iter().any(|cell| cell.contains(['\n', '\r'])) && quotes % 2 == 1 {
            return Err(unclosed_quote(&origin, last.line).into());
        }
    }
    Table::new(origin, delimiter != b',', records).ok_or_else(|| {
        Fault::error(
            file,
            "nothing in it; expected a header row such as session,target_m,turns,long_cm and one row a run",
        )
        .into()
    })
}

/// Rows and cells beyond the limits, before they are kept.
fn refuse_endless(origin: &Origin, line: usize, cells: &csv::StringRecord) -> Result<(), Faults> {
    let columns = cells.iter().count();
    if columns > limits::COLUMNS {
        return Err(origin.too_many_columns(line, columns).into());
    }
    let longest = cells.iter().map(|cell| cell.chars().count()).max();
    let (what, most) = if longest > Some(limits::CELL_CHARACTERS) {
        ("cell", limits::CELL_CHARACTERS)
    } else if cells.as_slice().chars().count() > limits::ROW_CHARACTERS {
        ("row", limits::ROW_CHARACTERS)
    } else {
        return Ok(());
    };
    if cells.as_slice().contains(['\n', '\r']) {
        return Err(unclosed_quote(origin, line).into());
    }
    Err(origin
        .error(
            line,
            None,
            format!("the {what} has more than {most} characters"),
        )
        .into())
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
fn delimiter(text: &str) -> u8 {
    let start = skip_blanks_and_comments(text.as_bytes(), 0);
    let first_lines = || {
        let lines = text[start..].lines();
        lines
            .filter(|line| !line.trim().is_empty())
            .take(HEADER_WITHIN)
    };
    let cells = |line: &str, mark: char| -> Vec<String> {
        let cells = line.split(mark).map(|cell| cell.trim().trim_matches('"'));
        cells.take(limits::COLUMNS).map(str::to_string).collect()
    };
    let mut best = (b',', (0, 0));
    for candidate in [b',', b';', b'\t'] {
        let mark = char::from(candidate);
        let known = first_lines()
            .map(|line| columns::known_names(&cells(line, mark)))
            .max();
        let first = first_lines().next().map(|line| cells(line, mark).len());
        let found = (known.unwrap_or(0), first.unwrap_or(0));
        if found > best.1 {
            best = (candidate, found);
        }
    }
    best.0
}

/// Where the next record begins: the csv reader says where it began to look, which is before any blank and
/// comment lines.
fn skip_blanks_and_comments(bytes: &[u8], from: usize) -> usize {
    let mut at = from;
    while let Some(byte) = bytes.get(at) {
        match byte {
            b'\r' | b'\n' => at += 1,
            b'#' => {
                at += bytes[at..]
                    .iter()
                    .position(|&b| b == b'\n')
                    .unwrap_or(bytes.len() - at);
            }
            _ => break,
        }
    }
    at
}

/// Line numbers of rising byte positions, in one pass over the text.
struct Lines<'a> {
    bytes: &'a [u8],
    at: usize,
    line: usize,
}

impl<'a> Lines<'a> {
    fn new(text: &'a str) -> Self {
        Lines {
            bytes: text.as_bytes(),
            at: 0,
            line: 1,
        }
    }

    /// The line, from 1, that holds byte `position`; positions must not fall from call to call.
    /// CR LF, a lone LF and a lone CR each end a line.
    fn of(&mut self, position: usize) -> usize {
        while self.at < position.min(self.bytes.len()) {
            let ends = match self.bytes[self.at] {
                b'\n' => true,
                b'\r' => self.bytes.get(self.at + 1) != Some(&b'\n'),
                _ => false,
            };
            self.line += usize::from(ends);
            self.at += 1;
        }
        self.line
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fault::Place;

    fn lines_of(text: &str) -> Vec<(usize, String)> {
        let table = table("t.csv", text).unwrap();
        std::iter::once(&table.header)
            .chain(&table.rows)
            .map(|r| (r.line, r.cells.join("|")))
            .collect()
    }

    #[test]
    fn lines_are_exact_after_blank_comment_and_broken_lines() {
        for end in ["\n", "\r\n", "\r"] {
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
        let faults = table("t.csv", "session,note\nA,ok\nB,\"oh\nC,x\n").unwrap_err();
        assert_eq!(faults.0[0].place, Place::Line(3));
        assert!(faults.any_error());
    }

    #[test]
    fn an_inch_mark_in_the_last_row_is_no_open_quote() {
        assert_eq!(lines_of("session,note\nA,5\" nail")[1].1, "A|5\" nail");
    }

    #[test]
    fn a_title_may_stand_above_the_header() {
        let table = table(
            "t.csv",
            "Our season;;\n\nby;the;keeper\nsession;turns;long_cm\nA;1,5;2\n",
        )
        .unwrap();
        assert_eq!(
            (table.header.line, table.rows.len(), table.above.len()),
            (4, 1, 2)
        );
        assert!(table.decimal_comma);
        assert_eq!(lines_of("a,b\nA,1")[0].0, 1);
    }

    #[test]
    fn an_empty_text_has_no_header() {
        assert!(table("t.csv", "\n# only\n\n").is_err());
        assert!(table("t.csv", "").is_err());
    }
}
