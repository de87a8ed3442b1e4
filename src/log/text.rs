//! Text to rows of cells, as it comes: byte-order mark, delimiter, comments, quotes, and the line each row stands on.

use std::borrow::Cow;
use std::io::{Empty, Read};

use super::columns;
use super::limits;
use super::table::{HEADER_WITHIN, Origin, Row, Rows, Source, Stop};
use crate::fault::{Fault, Faults};

mod window;

use window::Window;

/// The rows of a delimited text, read while they are asked for.
pub struct Text<R> {
    origin: Origin,
    window: Window<R>,
    delimiter: u8,
    /// Where the next record is looked for, and its line.
    at: usize,
    line: usize,
    /// Cells of the last record, as parts of the window or, where a quotation mark stood in it, of `unquoted`.
    cells: Vec<(u32, u32)>,
    unquoted: Option<Box<Unquoted>>,
    /// The line of the last record that was not blank, where it looks like a quotation mark never closed.
    open_quote: Option<usize>,
    /// Whether more follows elsewhere, so that the end says nothing of it.
    is_part: bool,
}

/// Bytes that a part of a text may have, and those from which on it is worth making one.
const PART_BYTES: usize = 64 << 10;
const PART_BYTES_LEAST: usize = 16 << 10;

/// A record with quotation marks, taken out of them.
struct Unquoted {
    core: csv_core::Reader,
    bytes: Vec<u8>,
    text: String,
    ends: Vec<usize>,
}

impl Unquoted {
    fn new(delimiter: u8) -> Self {
        Unquoted {
            core: csv_core::ReaderBuilder::new()
                .comment(Some(b'#'))
                .delimiter(delimiter)
                .build(),
            bytes: vec![0; 256],
            text: String::new(),
            ends: vec![0; 32],
        }
    }
}

/// Which text the cells of a record are parts of.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Cells {
    InWindow,
    Unquoted,
}

impl<R: Read> Text<R> {
    /// Reads the beginning of a text; a byte-order mark is skipped.
    ///
    /// * `file` — the name that faults carry
    /// * `source` — UTF-8; lines end in LF or CR LF, or all of them in CR where `first` holds the whole text
    /// * `first` — what was read of it already
    ///
    /// # Errors
    /// [`Stop::NotUtf8`], and what the system says.
    pub fn new(file: &str, source: R, first: Vec<u8>) -> Result<Self, Stop> {
        let window = Window::new(source, first, file)?;
        let mut at = 0;
        // One, and a second where two programs each wrote one.
        while window.text()[at..].starts_with('\u{feff}') {
            at += '\u{feff}'.len_utf8();
        }
        let delimiter = delimiter(&window.text()[at..]);
        Ok(Text {
            origin: Origin {
                file: file.to_string(),
                source: Source::Text,
            },
            window,
            delimiter,
            at,
            line: 1,
            cells: Vec::new(),
            unquoted: None,
            open_quote: None,
            is_part: false,
        })
    }

    /// Rows that can be read without those above, as a text of their own; moves behind them. `None` where the next rows are
    /// to be read here: one is long, or few are left.
    ///
    /// # Errors
    /// As of [`Text::new`].
    pub fn part(&mut self) -> Result<Option<Text<Empty>>, Stop> {
        let left = |text: &Self| text.window.bytes().len() - text.at;
        while left(self) < PART_BYTES && self.window.more(&mut self.at)? {}
        let rest = &self.window.bytes()[self.at..];
        let end = end_of_rows(&rest[..rest.len().min(PART_BYTES)], self.delimiter);
        if end < PART_BYTES_LEAST {
            return Ok(None);
        }
        let end = self.at + end;
        let part = Text {
            origin: self.origin.clone(),
            window: Window::of(self.window.text()[self.at..end].to_string()),
            delimiter: self.delimiter,
            at: 0,
            line: self.line,
            cells: Vec::new(),
            unquoted: None,
            open_quote: None,
            is_part: true,
        };
        self.line += line_ends(part.window.bytes(), None);
        self.at = end;
        Ok(Some(part))
    }

    /// Takes it that a part was read, the last of those before.
    pub fn go_on_from(&mut self, part: &Text<Empty>) {
        self.open_quote = part.open_quote;
    }

    /// The line at which the next row is looked for.
    pub fn line(&self) -> usize {
        self.line
    }

    /// Makes a part begin again.
    ///
    /// * `line` — of its beginning
    pub fn back_to_its_beginning(&mut self, line: usize) {
        (self.at, self.line, self.open_quote) = (0, line, None);
    }

    /// Moves to where the next record begins; false where there is none.
    fn skip_blanks_and_comments(&mut self) -> Result<bool, Stop> {
        loop {
            let Some(&byte) = self.window.bytes().get(self.at) else {
                if self.window.more(&mut self.at)? {
                    continue;
                }
                return Ok(false);
            };
            match byte {
                b'\n' => {
                    self.at += 1;
                    self.line += 1;
                }
                b'\r' => {
                    self.line += usize::from(!self.is_before_line_feed()?);
                    self.at += 1;
                }
                b'#' => self.skip_comment()?,
                _ => return Ok(true),
            }
        }
    }

    /// To the line feed that ends a comment; a lone CR does not.
    fn skip_comment(&mut self) -> Result<(), Stop> {
        loop {
            let rest = &self.window.bytes()[self.at..];
            let end = memchr::memchr(b'\n', rest).unwrap_or(rest.len());
            let is_all = end == rest.len();
            self.line += line_ends(&rest[..end], rest.get(end).copied());
            self.at += end;
            if !is_all || !self.window.more(&mut self.at)? {
                return Ok(());
            }
        }
    }

    /// Whether a line feed comes behind the character at `at`.
    fn is_before_line_feed(&mut self) -> Result<bool, Stop> {
        if self.at + 1 == self.window.bytes().len() {
            self.window.more(&mut self.at)?;
        }
        Ok(self.window.bytes().get(self.at + 1) == Some(&b'\n'))
    }

    /// The cells of the record that begins at `at`, moving behind it.
    fn record(&mut self) -> Result<Cells, Stop> {
        let mut place = self.at;
        let mut from = self.at;
        self.cells.clear();
        loop {
            let bytes = self.window.bytes();
            while place < bytes.len() {
                let mut marks = marks(&bytes[place..], self.delimiter);
                while marks != 0 {
                    let at = place + marks.trailing_zeros() as usize / 8;
                    marks &= marks - 1;
                    let byte = bytes[at];
                    if byte == self.delimiter {
                        self.cells.push((from as u32, at as u32));
                        from = at + 1;
                    } else if byte == b'"' && at == from {
                        return self.quoted();
                    } else if byte == b'\n' || byte == b'\r' {
                        self.cells.push((from as u32, at as u32));
                        // What ends the line is counted where the next record is looked for.
                        self.at = at;
                        return Ok(Cells::InWindow);
                    }
                }
                place = bytes.len().min(place + AT_ONCE);
            }
            let before = self.at;
            let more = self.window.more(&mut self.at)?;
            // What is looked at has moved to the front of the window.
            let moved = before - self.at;
            for cell in &mut self.cells {
                *cell = (cell.0 - moved as u32, cell.1 - moved as u32);
            }
            (place, from) = (place - moved, from - moved);
            if !more {
                self.cells.push((from as u32, place as u32));
                self.at = place;
                return Ok(Cells::InWindow);
            }
        }
    }

    /// The same where a quotation mark opens a cell.
    fn quoted(&mut self) -> Result<Cells, Stop> {
        let Unquoted {
            core,
            bytes,
            text,
            ends,
        } = &mut **self
            .unquoted
            .get_or_insert_with(|| Box::new(Unquoted::new(self.delimiter)));
        let mut whole = false;
        loop {
            let input = &self.window.bytes()[self.at..];
            core.reset();
            let (mut result, read, mut written, mut cells) = core.read_record(input, bytes, ends);
            if whole && matches!(result, csv_core::ReadRecordResult::InputEmpty) {
                // An empty input says that this was all.
                let (last, _, more, ended) =
                    core.read_record(&[], &mut bytes[written..], &mut ends[cells..]);
                (result, written, cells) = (last, written + more, cells + ended);
            }
            match result {
                csv_core::ReadRecordResult::InputEmpty => {
                    whole = !self.window.more(&mut self.at)?
                }
                csv_core::ReadRecordResult::OutputFull => bytes.resize(2 * bytes.len(), 0),
                csv_core::ReadRecordResult::OutputEndsFull => ends.resize(2 * ends.len(), 0),
                csv_core::ReadRecordResult::Record | csv_core::ReadRecordResult::End => {
                    let input = &self.window.bytes()[self.at..self.at + read];
                    let ended = input.last().is_some_and(|&b| b == b'\n' || b == b'\r');
                    let raw = &input[..read - usize::from(ended)];
                    let odd = memchr::memchr_iter(b'"', raw).count() % 2 == 1;
                    text.clear();
                    text.push_str(
                        std::str::from_utf8(&bytes[..written])
                            .expect("marks of one byte taken out of UTF-8 leave UTF-8"),
                    );
                    self.cells.clear();
                    let mut from = 0;
                    for &end in &ends[..cells] {
                        self.cells.push((from as u32, end as u32));
                        from = end;
                    }
                    self.open_quote = odd.then_some(self.line);
                    // The line's own end is counted where the next record is looked for.
                    let behind = input.get(raw.len()).copied();
                    self.line += line_ends(raw, behind);
                    self.at += raw.len();
                    return Ok(Cells::Unquoted);
                }
            }
        }
    }
}

impl<R: Read> Text<R> {
    /// Reads the next record that is not blank: its line, and which text its cells are parts of.
    fn next_filled(&mut self) -> Result<Option<(usize, Cells)>, Stop> {
        loop {
            if !self.skip_blanks_and_comments()? {
                if let (Some(line), false) = (self.open_quote, self.is_part) {
                    return Err(Faults::from(unclosed_quote(&self.origin, line)).into());
                }
                return Ok(None);
            }
            let line = self.line;
            self.open_quote = None;
            let of = self.record()?;
            let text = match of {
                Cells::InWindow => self.window.text(),
                Cells::Unquoted => self.unquoted.as_ref().map_or("", |unquoted| &unquoted.text),
            };
            let cells = &mut self.cells;
            let is_long = cells.len() > limits::COLUMNS
                || cells.iter().map(|&(from, to)| to - from).sum::<u32>() > MOST_UNSEEN;
            let is_blank =
                |&(from, to): &(u32, u32)| text[from as usize..to as usize].trim().is_empty();
            if is_long && !cells.iter().all(is_blank) {
                refuse_endless(&self.origin, line, text, cells)?;
            }
            let mut all_blank = true;
            for cell in &mut *cells {
                *cell = trimmed(text, *cell);
                all_blank &= cell.0 == cell.1;
            }
            let broken =
                |&(from, to): &(u32, u32)| text[from as usize..to as usize].contains(['\n', '\r']);
            if self.open_quote.is_some() && !cells.iter().any(broken) {
                self.open_quote = None;
            }
            if all_blank {
                continue;
            }
            return Ok(Some((line, of)));
        }
    }
}

impl<R: Read> Rows for Text<R> {
    fn origin(&self) -> &Origin {
        &self.origin
    }

    fn decimal_comma(&self) -> bool {
        self.delimiter != b','
    }

    fn nothing(&self) -> Fault {
        Fault::error(
            &self.origin.file,
            "nothing in it; expected a header row such as session,target_m,turns,long_cm and one row a run",
        )
    }

    fn next(&mut self) -> Result<Option<Row<'_>>, Stop> {
        let Some((line, of)) = self.next_filled()? else {
            return Ok(None);
        };
        let text = match of {
            Cells::InWindow => self.window.text(),
            Cells::Unquoted => self.unquoted.as_ref().map_or("", |unquoted| &unquoted.text),
        };
        Ok(Some(Row {
            line,
            text,
            cells: &self.cells,
        }))
    }
}

/// Bytes of a row that break no limit, however they are shared out.
const MOST_UNSEEN: u32 = limits::CELL_CHARACTERS as u32;

/// Bytes that are looked at in one step.
const AT_ONCE: usize = size_of::<u64>();

/// Which of the next bytes may end a cell or a line or open a quotation: the delimiter and all that come before `#`. The
/// first one's uppermost bit is 7, the next one's 15. Looking at eight at once takes a third of the time of one by one.
fn marks(bytes: &[u8], delimiter: u8) -> u64 {
    const ALL: u64 = u64::MAX / 255;
    const HIGH: u64 = 0x80 * ALL;
    const LOW: u64 = 0x7F * ALL;
    let next = bytes.first_chunk().copied().unwrap_or_else(|| {
        // Behind the end stands what is no mark.
        let mut last = [b'~'; AT_ONCE];
        last[..bytes.len()].copy_from_slice(bytes);
        last
    });
    let word = u64::from_le_bytes(next);
    // The uppermost bit is set where the seven below are not all 0; no sum carries into the next byte.
    let other = word ^ (u64::from(delimiter) * ALL);
    let is_delimiter = !(((other & LOW) + LOW) | other);
    let is_small = !(((word & LOW) + u64::from(0x80 - b'#') * ALL) | word);
    (is_delimiter | is_small) & HIGH
}

/// A cell without the white space around it.
fn trimmed(text: &str, (from, to): (u32, u32)) -> (u32, u32) {
    let bytes = &text.as_bytes()[from as usize..to as usize];
    let plain = |byte: Option<&u8>| byte.is_none_or(|byte| byte.is_ascii_graphic());
    if plain(bytes.first()) && plain(bytes.last()) {
        return (from, to);
    }
    let cell = &text[from as usize..to as usize];
    let from = to - cell.trim_start().len() as u32;
    (from, from + cell.trim().len() as u32)
}

/// Where the last row ends that stands whole in some bytes, which begin with a row; 0 where none is seen to.
///
/// A quotation mark opens a cell where the cell begins, and not in a comment; inside, two stand for one.
fn end_of_rows(bytes: &[u8], delimiter: u8) -> usize {
    let mut feeds = memchr::memchr_iter(b'\r', bytes).map(|at| bytes.get(at + 1));
    if feeds.any(|next| next.is_some_and(|&next| next != b'\n')) {
        // What a lone CR ends depends on what stands before it.
        let plain = memchr::memchr(b'"', bytes).unwrap_or(bytes.len());
        return memchr::memrchr(b'\n', &bytes[..plain]).map_or(0, |last| last + 1);
    }
    // The beginning of the row looked at, and what is outside of quotation from there on.
    let (mut row, mut outside) = (0, 0);
    loop {
        let mark = memchr::memchr(b'"', &bytes[outside..]).map(|at| outside + at);
        let plain = &bytes[outside..mark.unwrap_or(bytes.len())];
        row = memchr::memrchr(b'\n', plain).map_or(row, |last| outside + last + 1);
        let Some(mark) = mark else { return row };
        if bytes[row] == b'#' {
            let Some(end) = memchr::memchr(b'\n', &bytes[mark..]) else {
                return row;
            };
            outside = mark + end;
        } else if mark == row || bytes[mark - 1] == delimiter {
            let Some(closed) = behind_quotation(&bytes[mark + 1..]) else {
                return row;
            };
            outside = mark + 1 + closed;
        } else {
            outside = mark + 1;
        }
    }
}

/// Where quoted text that begins some bytes is closed; `None` where that is not among them.
fn behind_quotation(bytes: &[u8]) -> Option<usize> {
    let mut at = 0;
    loop {
        at += memchr::memchr(b'"', &bytes[at..])? + 1;
        if *bytes.get(at)? != b'"' {
            return Some(at);
        }
        at += 1;
    }
}

/// A text that ends its lines in a lone CR, as old files do, with line feeds: a comment ends in one only.
pub fn with_line_feeds(text: &str) -> Cow<'_, str> {
    if text.contains('\n') {
        Cow::Borrowed(text)
    } else {
        Cow::Owned(text.replace('\r', "\n"))
    }
}

/// Line ends in some bytes: CR LF, a lone LF and a lone CR each end a line.
///
/// * `behind` — the byte that follows them
fn line_ends(bytes: &[u8], behind: Option<u8>) -> usize {
    if memchr::memchr(b'\r', bytes).is_none() {
        return memchr::memchr_iter(b'\n', bytes).count();
    }
    let next = bytes.iter().skip(1).copied().map(Some).chain([behind]);
    let ends = bytes.iter().zip(next);
    ends.filter(|&(&byte, next)| byte == b'\n' || (byte == b'\r' && next != Some(b'\n')))
        .count()
}

/// Rows and cells beyond the limits, before they are kept.
fn refuse_endless(
    origin: &Origin,
    line: usize,
    text: &str,
    cells: &[(u32, u32)],
) -> Result<(), Faults> {
    if cells.len() > limits::COLUMNS {
        return Err(origin.too_many_columns(line, cells.len()).into());
    }
    let cells = || {
        let cells = cells.iter();
        cells.map(|&(from, to)| &text[from as usize..to as usize])
    };
    let longest = cells().map(|cell| cell.chars().count()).max();
    let (what, most) = if longest > Some(limits::CELL_CHARACTERS) {
        ("cell", limits::CELL_CHARACTERS)
    } else if cells().map(|cell| cell.chars().count()).sum::<usize>() > limits::ROW_CHARACTERS {
        ("row", limits::ROW_CHARACTERS)
    } else {
        return Ok(());
    };
    if cells().any(|cell| cell.contains(['\n', '\r'])) {
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
    let start = behind_blanks_and_comments(text.as_bytes());
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
            .map(|line| columns::known_names(cells(line, mark)))
            .max();
        let first = first_lines().next().map(|line| cells(line, mark).count());
        let found = (known.unwrap_or(0), first.unwrap_or(0));
        if found > best.1 {
            best = (candidate, found);
        }
    }
    best.0
}

/// Where the first record begins.
fn behind_blanks_and_comments(bytes: &[u8]) -> usize {
    let mut at = 0;
    while let Some(byte) = bytes.get(at) {
        match byte {
            b'\r' | b'\n' => at += 1,
            b'#' => at += memchr::memchr(b'\n', &bytes[at..]).unwrap_or(bytes.len() - at),
            _ => break,
        }
    }
    at
}

#[cfg(test)]
mod tests {
    use super::super::table::{Record, Table};
    use super::*;
    use crate::fault::Place;
    use proptest::prelude::*;
    use std::io;

    /// Header, rows and how many stood above, or what is wrong; with `first` bytes of the text coming first.
    fn in_pieces(text: &str, first: usize) -> Result<(Table<impl Rows>, Vec<Record>), Faults> {
        let with_line_feeds = with_line_feeds(text);
        let first = with_line_feeds.as_bytes()[..first.min(with_line_feeds.len())].to_vec();
        let rest = with_line_feeds.as_bytes()[first.len()..].to_vec();
        let all = || {
            let text = Text::new("t.csv", io::Cursor::new(rest), first)?;
            let mut table = Table::new(text)?;
            let mut rows = Vec::new();
            while let Some(row) = table.next()? {
                rows.push(row.to_record());
            }
            Ok((table, rows))
        };
        all().map_err(|stop| match stop {
            Stop::Faults(faults) => faults,
            Stop::NotUtf8 => panic!("{text:?} is UTF-8"),
        })
    }

    fn table(text: &str) -> Result<(Table<impl Rows>, Vec<Record>), Faults> {
        in_pieces(text, text.len())
    }

    fn lines_of(text: &str) -> Vec<(usize, String)> {
        let worded = |record: &Record| {
            let cells: Vec<&str> = record.row().cells().collect();
            (record.line, cells.join("|"))
        };
        let lines = |step| {
            let (table, rows) = in_pieces(text, step).unwrap();
            let all = std::iter::once(&table.head.header).chain(&rows);
            all.map(worded).collect::<Vec<_>>()
        };
        // The header must be in the first piece, as it is when a file is read.
        for step in text.len() / 2 + 10..text.len() {
            assert_eq!(lines(step), lines(text.len()), "in pieces of {step}");
        }
        lines(text.len())
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

    /// Rows of a text as parts of it would be read, and the line of a quotation mark never closed.
    fn rows(bytes: &str, is_part: bool) -> (Vec<String>, Option<usize>) {
        let mut text = Text {
            window: Window::of(bytes.to_string()),
            is_part,
            ..Text::new("t.csv", io::empty(), b"a,b\n".to_vec()).unwrap_or_else(|_| unreachable!())
        };
        text.at = 0;
        let mut rows = Vec::new();
        loop {
            match text.next() {
                Ok(Some(row)) => rows.push(row.cells().collect::<Vec<_>>().join("|")),
                Ok(None) => return (rows, None),
                Err(_) => return (rows, text.open_quote),
            }
        }
    }

    proptest! {
        /// Texts of the characters that matter, cut where rows are said to end, have the same rows.
        #[test]
        fn rows_end_where_a_text_is_cut(text in "[a,\"\n#\r ]{0,40}", plain in "[a,\"\n# ]{0,40}") {
            for text in [text, plain] {
                let end = end_of_rows(text.as_bytes(), b',');
                let (first, rest) = text.split_at(end);
                let (mut cut, _) = rows(first, true);
                let (others, never_closed) = rows(rest, false);
                cut.extend(others);
                let (whole, of_whole) = rows(&text, false);
                prop_assert_eq!(cut, whole, "{:?} cut at {}", text, end);
                // Where the last row stands in the first part it is told by that.
                prop_assert!(of_whole.is_some() || never_closed.is_none());
            }
        }
    }

    #[test]
    fn rows_end_behind_what_is_quoted() {
        for (text, end) in [
            ("a,b\nc", 4),
            ("a,\"b\nc\"\nd", 8),
            ("a,\"b\nc", 0),
            ("a\n5\" b\nc", 7),
            ("# \",\"\na\nb", 8),
            ("a,\"\"\"\n\"\nb", 8),
        ] {
            assert_eq!(end_of_rows(text.as_bytes(), b','), end, "{text:?}");
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
        assert_eq!(faults.0[0].place, Place::Line(3));
        assert!(faults.any_error());
    }

    #[test]
    fn an_inch_mark_in_the_last_row_is_no_open_quote() {
        assert_eq!(lines_of("session,note\nA,5\" nail")[1].1, "A|5\" nail");
    }

    #[test]
    fn a_title_may_stand_above_the_header() {
        let (table, rows) =
            table("Our season;;\n\nby;the;keeper\nsession;turns;long_cm\nA;1,5;2\n").unwrap();
        assert_eq!(
            (table.head.header.line, rows.len(), table.head.above.len()),
            (4, 1, 2)
        );
        assert!(table.head.decimal_comma);
        assert_eq!(lines_of("a,b\nA,1")[0].0, 1);
    }

    #[test]
    fn an_empty_text_has_no_header() {
        assert!(table("\n# only\n\n").is_err());
        assert!(table("").is_err());
    }
}
