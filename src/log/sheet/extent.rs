//! How far an OpenDocument sheet reaches once its repeated rows and cells are unrolled.
//!
//! A few bytes may say "this cell, sixteen thousand times"; the reader of the format unrolls them before it can
//! be asked how many there are. So the tags are walked through once before.

use quick_xml::events::Event;

use crate::log::limits::{COLUMNS, SHEET_ROWS, UNPACKED_BYTES};

/// Rows of a file beside its runs: header, comments, blank lines.
const OTHER_ROWS: u64 = 1_000;
/// Cells of the smallest rectangle round everything filled; the reader makes one of each, about 60 bytes.
const CELLS: u64 = 4_000_000;

/// Refuses a `content.xml` whose filled cells reach beyond the limits; trailing empty cells and rows, which
/// programs write to the end of the sheet, do not count.
///
/// # Errors
/// Which limit is exceeded.
pub fn within_limits(content: &str) -> Result<(), String> {
    let mut row = Row::default();
    let mut rows = Extent::default();
    let mut widest = 0;
    let mut unrolled_bytes: u64 = 0;
    for (at, tag) in Tags::new(content) {
        match tag.name() {
            "table:table" => {
                rows = Extent::default();
                widest = 0;
            }
            "table:table-row" => {
                row = Row {
                    times: tag.repeated("table:number-rows-repeated"),
                    ..Row::default()
                };
                if tag.is_closed() {
                    rows.add(row.times, false);
                }
            }
            "/table:table-row" => {
                row.close_cell(at);
                rows.add(row.times, row.cells.filled > 0);
                widest = widest.max(row.cells.filled);
                unrolled_bytes =
                    unrolled_bytes.saturating_add(row.unrolled_bytes.saturating_mul(row.times));
            }
            "table:table-cell" | "table:covered-table-cell" => {
                row.close_cell(at);
                row.open_cell(at, &tag);
            }
            _ => {}
        }
        if row.cells.filled > COLUMNS as u64 {
            return Err(format!("too large: a log may have {COLUMNS} columns"));
        }
        if rows.filled > SHEET_ROWS as u64 + OTHER_ROWS {
            return Err(format!("too large: a log may have {SHEET_ROWS} runs"));
        }
        if unrolled_bytes > UNPACKED_BYTES || rows.filled * widest > CELLS {
            return Err(super::unpack::too_large());
        }
    }
    Ok(())
}

/// Refuses a `content.xml` in which something that is opened is never closed, or closed out of turn: calamine 0.38
/// looks for the end of a table beyond the end of the text, without end.
///
/// # Errors
/// A sentence that the file is damaged.
pub fn is_balanced(content: &str) -> Result<(), String> {
    let mut reader = quick_xml::Reader::from_str(content);
    let mut open: usize = 0;
    loop {
        // Ends are compared with what was opened last.
        match reader.read_event() {
            Ok(Event::Start(_)) => open += 1,
            Ok(Event::End(_)) => open = open.saturating_sub(1),
            Ok(Event::Eof) if open == 0 => return Ok(()),
            Ok(Event::Eof) | Err(_) => {
                return Err(
                    "could not be read as a spreadsheet: it is damaged or cut short".into(),
                );
            }
            Ok(_) => {}
        }
    }
}

/// One row as it is walked through.
#[derive(Default)]
struct Row {
    times: u64,
    cells: Extent,
    unrolled_bytes: u64,
    /// Where the cell being read began, and how often it is repeated, if it may be filled.
    cell: Option<(usize, u64)>,
}

impl Row {
    fn open_cell(&mut self, at: usize, tag: &Tag) {
        let times = tag.repeated("table:number-columns-repeated");
        self.cells.add(times, tag.may_be_filled());
        self.cell = tag.may_be_filled().then_some((at, times));
    }

    fn close_cell(&mut self, at: usize) {
        if let Some((start, times)) = self.cell.take() {
            let bytes = times.saturating_mul((at - start) as u64);
            self.unrolled_bytes = self.unrolled_bytes.saturating_add(bytes);
        }
    }
}

/// Number of rows or cells up to the last filled one.
#[derive(Default)]
struct Extent {
    filled: u64,
    empty_after: u64,
}

impl Extent {
    fn add(&mut self, times: u64, filled: bool) {
        self.empty_after = self.empty_after.saturating_add(times);
        if filled {
            self.filled = self.filled.saturating_add(self.empty_after);
            self.empty_after = 0;
        }
    }
}

/// The inside of one `<...>`.
struct Tag<'t>(&'t str);

impl Tag<'_> {
    fn name(&self) -> &str {
        let end = self
            .0
            .find(|c: char| c.is_whitespace())
            .unwrap_or(self.0.len());
        self.0[..end].trim_end_matches('/')
    }

    fn is_closed(&self) -> bool {
        self.0.ends_with('/')
    }

    /// A cell that is closed at once and states no value is empty; any other may hold something.
    fn may_be_filled(&self) -> bool {
        !self.is_closed() || self.0.contains("value") || self.0.contains("formula")
    }

    fn repeated(&self, attribute: &str) -> u64 {
        let Some(at) = self.0.find(attribute) else {
            return 1;
        };
        let digits: String = self.0[at + attribute.len()..]
            .chars()
            .skip_while(|c| matches!(c, '=' | '"' | '\'') || c.is_whitespace())
            .take_while(char::is_ascii_digit)
            .collect();
        // Too many digits for a number are too many cells.
        digits
            .parse()
            .unwrap_or(if digits.is_empty() { 1 } else { u64::MAX })
    }
}

/// The tags of a text, one after another, each with the byte it begins at. A `>` within quotation marks does
/// not end one.
struct Tags<'t> {
    text: &'t str,
    at: usize,
}

impl<'t> Tags<'t> {
    fn new(text: &'t str) -> Self {
        Tags { text, at: 0 }
    }
}

impl<'t> Iterator for Tags<'t> {
    type Item = (usize, Tag<'t>);

    fn next(&mut self) -> Option<Self::Item> {
        let start = self.at + self.text[self.at..].find('<')?;
        let inside = &self.text[start + 1..];
        let mut quote = None;
        let end = inside.find(|c: char| {
            match (quote, c) {
                (None, '>') => return true,
                (None, '"' | '\'') => quote = Some(c),
                (Some(open), _) if open == c => quote = None,
                _ => {}
            }
            false
        })?;
        self.at = start + 1 + end + 1;
        Some((start, Tag(&inside[..end])))
    }
}

#[cfg(test)]
mod tests {
    use super::{is_balanced, within_limits};

    fn sheet(rows: &str) -> String {
        format!("<table:table table:name='a>b'>{rows}</table:table>")
    }

    #[test]
    fn the_empty_end_of_a_sheet_does_not_count() {
        let content = sheet(
            "<table:table-row><table:table-cell office:value='1'><text:p>1</text:p></table:table-cell>\
             <table:table-cell table:number-columns-repeated='16383'/></table:table-row>\
             <table:table-row table:number-rows-repeated='1048575'><table:table-cell \
             table:number-columns-repeated=\"16384\"/></table:table-row>",
        );
        assert_eq!(within_limits(&content), Ok(()));
    }

    #[test]
    fn filled_cells_without_end_are_refused() {
        let filled = "<table:table-cell table:number-columns-repeated='16384' office:value='1'/>";
        assert!(
            within_limits(&sheet(&format!(
                "<table:table-row>{filled}</table:table-row>"
            )))
            .is_err()
        );
        let gap = "<table:table-row><table:table-cell table:number-columns-repeated='9000'/>\
                   <table:table-cell><text:p>x</text:p></table:table-cell></table:table-row>";
        assert!(within_limits(&sheet(gap)).is_err());
        let one = "<table:table-cell><text:p>x</text:p></table:table-cell>";
        for times in ["300000", "99999999999999999999999"] {
            let row = format!(
                "<table:table-row table:number-rows-repeated='{times}'>{one}</table:table-row>"
            );
            assert!(within_limits(&sheet(&row)).is_err());
        }
        let long = "x".repeat(5000);
        let row = format!(
            "<table:table-row table:number-rows-repeated='90000'><table:table-cell>{long}</table:table-cell></table:table-row>"
        );
        assert!(within_limits(&sheet(&row)).is_err());
        let far = format!(
            "<table:table-row table:number-rows-repeated='1000000'/><table:table-row>{one}</table:table-row>"
        );
        assert!(within_limits(&sheet(&far)).is_err());
    }

    #[test]
    fn what_is_not_closed_is_refused() {
        let row = "<table:table-row><table:table-cell/></table:table-row>";
        assert_eq!(is_balanced(&sheet(row)), Ok(()));
        let cut = sheet(row).replace("</table:table>", "");
        let crossed = sheet(&row.replace("</table:table-row>", "</table:table>"));
        for broken in [cut.as_str(), &crossed, "<a", "<a><!-- ", "</a>"] {
            assert!(is_balanced(broken).is_err(), "{broken}");
        }
    }
}
