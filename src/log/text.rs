//! Text to cells: byte-order mark, delimiter, comments, quotes, and the line each row stands on.

use super::columns;
use super::table::{Record, Source, Table};
use crate::fault::{Fault, Faults, Place};

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
    let mut records = Vec::new();
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    let mut lines = Lines::new(text);
    let mut last_start = 0;
    for record in reader.records() {
        // Only invalid UTF-8 and unequal lengths can fail here; the text is valid and lengths are free.
        let record = record.map_err(|e| Fault::error(file, format!("could not be read: {e}")))?;
        let searched_from = record.position().map_or(0, |p| p.byte() as usize);
        last_start = skip_blanks_and_comments(text.as_bytes(), searched_from);
        let cells = record.iter().map(|cell| cell.trim().to_string()).collect();
        records.push(Record {
            line: lines.of(last_start),
            cells,
        });
    }
    if let Some(last) = records.last() {
        let raw = &text.as_bytes()[last_start..];
        let breaks = last.cells.iter().any(|cell| cell.contains(['\n', '\r']));
        if breaks && raw.iter().filter(|&&b| b == b'"').count() % 2 == 1 {
            return Err(Fault::error(
                file,
                "a quotation mark is opened here and never closed, so the rest of the file reads as one cell; \
                 close it or take it out",
            )
            .at(Place::Line(last.line))
            .into());
        }
    }
    records.retain(|record| !record.is_blank());
    if records.is_empty() {
        return Err(Fault::error(
            file,
            "nothing in it; expected a header row such as session,target_m,turns,long_cm and one row a run",
        )
        .into());
    }
    let header = records.remove(0);
    Ok(Table {
        file: file.to_string(),
        source: Source::Text,
        decimal_comma: delimiter != b',',
        header,
        rows: records,
    })
}

/// The delimiter that splits the header into the most columns with a known name; else into the most columns.
fn delimiter(text: &str) -> u8 {
    let start = skip_blanks_and_comments(text.as_bytes(), 0);
    let header = text[start..].lines().next().unwrap_or("");
    let mut best = (b',', (0, 0));
    for candidate in [b',', b';', b'\t'] {
        let cells: Vec<&str> = header
            .split(char::from(candidate))
            .map(|cell| cell.trim().trim_matches('"'))
            .collect();
        let known = cells.iter().filter(|cell| columns::is_known(cell)).count();
        if (known, cells.len()) > best.1 {
            best = (candidate, (known, cells.len()));
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
    fn an_empty_text_has_no_header() {
        assert!(table("t.csv", "\n# only\n\n").is_err());
        assert!(table("t.csv", "").is_err());
    }
}
