//! Which of the first rows of a log is the header, and what is wrong with it.

use super::columns::{self, Column, LogColumns};
use super::record::{Origin, Record, Records};
use crate::fault::{Fault, Faults, shown};
use crate::keys;

/// Rows among which the header is looked for. A title, a remark and a merged cell or two come to a handful.
pub const HEADER_WITHIN: usize = 20;

/// What is known of a log before its runs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Header {
    /// Where it came from.
    pub origin: Origin,
    /// Whether a comma may stand for the decimal point.
    pub decimal_comma: bool,
    /// What stands above the header: a title, who keeps the log.
    pub above: Vec<Record>,
    /// The names of the columns.
    pub names: Record,
}

/// Splits rows into the header, with what stands above it, and the rows below.
///
/// The header is the first row that names two columns of a log; where none does, the first row, so that its
/// faults can be told.
///
/// # Errors
/// What makes the file unreadable within the first rows, and a file without a row.
pub fn split(
    records: Records<'_>,
) -> Result<(Header, impl Iterator<Item = Result<Record, Faults>>), Faults> {
    let mut rows = records.rows;
    let first = rows.by_ref().take(HEADER_WITHIN);
    let mut above = first.collect::<Result<Vec<Record>, Faults>>()?;
    let is_header = |record: &Record| columns::known_names(&record.cells) >= 2;
    let at = above.iter().position(is_header).unwrap_or(0);
    if above.is_empty() {
        return Err(records.nothing.into());
    }
    let below = above.split_off(at + 1);
    let names = above.remove(at);
    let header = Header {
        origin: records.origin,
        decimal_comma: records.decimal_comma,
        above,
        names,
    };
    Ok((header, below.into_iter().map(Ok).chain(rows)))
}

/// Columns without a name in the header: a fault only where a cell below is filled.
#[derive(Debug, Default)]
pub struct UnnamedColumns(Vec<UnnamedColumn>);

#[derive(Debug)]
struct UnnamedColumn {
    index: usize,
    /// Index among the faults of the header before which the fault of this column belongs.
    place: usize,
    filled: Option<Fault>,
}

impl UnnamedColumns {
    /// Takes note of unnamed columns that are filled in a row.
    pub fn look_at(&mut self, origin: &Origin, row: &Record) {
        for unnamed in self.0.iter_mut().filter(|u| u.filled.is_none()) {
            let (index, cell) = (unnamed.index, row.cell(unnamed.index));
            if !cell.is_empty() {
                let why = format!(
                    "column {} has no name in the header, so it was not read",
                    index + 1
                );
                unnamed.filled = Some(origin.warning(row.line, Some(index), why).read(cell));
            }
        }
    }

    /// Inserts the faults of columns that were filled among those of the header.
    pub fn tell(self, faults: &mut Faults) {
        for unnamed in self.0.into_iter().rev() {
            if let Some(fault) = unnamed.filled {
                faults.0.insert(unnamed.place, fault);
            }
        }
    }
}

/// The columns of a log from its header.
///
/// Faults go to `faults`: a missing column and one given twice are errors, an unknown one is a warning with
/// the nearest known name.
pub fn columns(header: &Header, faults: &mut Faults) -> (LogColumns, UnnamedColumns) {
    above_the_header(header, faults);
    let line = header.names.line;
    let mut columns = LogColumns::default();
    let mut unnamed = UnnamedColumns::default();
    let mut unknown = Vec::new();
    for (index, name) in header.names.cells.iter().enumerate() {
        if name.is_empty() {
            unnamed.0.push(UnnamedColumn {
                index,
                place: faults.0.len(),
                filled: None,
            });
            continue;
        }
        let Some((column, unit)) = columns::named(name) else {
            unknown.push(name);
            faults.push(unknown_column(header, index, name));
            continue;
        };
        match columns.index(column) {
            None => columns.put(column, index, unit),
            Some(first) => {
                let why = format!(
                    "the log has {} twice, here and as \"{}\"; expected it once",
                    column.name(),
                    header.names.cell(first)
                );
                faults.push(header.origin.error(line, Some(index), why).read(name));
            }
        }
    }
    missing_columns(header, &columns, &unknown, faults);
    (columns, unnamed)
}

/// Warns of rows above the header that fill several cells: a title stands alone, these may have been meant as runs.
fn above_the_header(header: &Header, faults: &mut Faults) {
    for record in &header.above {
        let mut filled = record.cells.iter().filter(|cell| !cell.is_empty());
        if let (Some(first), Some(_)) = (filled.next(), filled.next()) {
            let why = "stands above the header row, so it was not read";
            faults.push(header.origin.warning(record.line, None, why).read(first));
        }
    }
}

fn unknown_column(header: &Header, index: usize, name: &str) -> Fault {
    let advice = if let Some(column) = columns::named_without_unit(name) {
        format!(
            "this column does not say its unit, so it was not read; expected {}",
            column.ways()
        )
    } else {
        let near = columns::nearest(name).map(|near| format!("; the nearest known name is {near}"));
        format!(
            "no such column, so it was not read{}",
            near.unwrap_or_default()
        )
    };
    let origin = &header.origin;
    origin
        .warning(header.names.line, Some(index), advice)
        .read(name)
}

fn missing_columns(header: &Header, columns: &LogColumns, unknown: &[&str], faults: &mut Faults) {
    let mut missing = |what: &str, ways: String| {
        // What stands in the header and resembles what is missing helps more than the whole header.
        let found = keys::nearest(&ways, unknown.iter().copied()).map_or_else(
            || header.names.cells.iter().collect::<Vec<_>>().join(", "),
            str::to_string,
        );
        let why = format!(
            "no column for {what}; expected {ways}; found {}",
            shown(&found)
        );
        faults.push(header.origin.error(header.names.line, None, why));
    };
    if !columns.has(Column::Session) {
        missing("the session", Column::Session.ways());
    }
    if !columns.has(Column::Turns) {
        missing("the turns wound on", Column::Turns.ways());
    }
    if !columns.has(Column::Target) && !columns.has(Column::Kind) {
        missing("the distance to the target", Column::Target.ways());
    }
    if !columns.has(Column::Long) && !columns.has(Column::Rest) {
        missing(
            "where it came to rest along the line",
            "long_cm, long_m, long_in … or rest_m".to_string(),
        );
    }
}
