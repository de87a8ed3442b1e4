//! Which of the first rows of a log is the header, and what is wrong with it.

use super::columns::LogColumns;
use super::kind::LogKind;
use super::record::{Origin, Record, Records};
use crate::columns::{self, Column, Headings};
use crate::fault::{Fault, Faults, shown};
use crate::keys;

/// Rows among which the header is looked for. A title, a remark and a merged cell or two come to a handful.
pub const HEADER_WITHIN: usize = 20;
/// Characters of all headings together that a message shows: some thirty headings, a few lines of a terminal.
const HEADINGS_SHOWN: usize = 300;

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
pub fn split<'t>(
    records: Records<'t>,
    headings: &Headings,
) -> Result<
    (
        Header,
        impl Iterator<Item = Result<Record, Faults>> + use<'t>,
    ),
    Faults,
> {
    let mut rows = records.rows;
    let first = rows.by_ref().take(HEADER_WITHIN);
    let mut above = first.collect::<Result<Vec<Record>, Faults>>()?;
    let is_header = |record: &Record| headings.known_names(&record.cells) >= 2;
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

    /// Adds the faults of columns that were filled to those of the header.
    pub fn tell(self, faults: &mut Faults) {
        let filled = self.0.into_iter().filter_map(|unnamed| unnamed.filled);
        faults.0.extend(filled);
    }
}

/// The columns of a log from its header.
///
/// Faults go to `faults`: a missing column, one given twice and a length without its unit are errors, an unknown one is
/// a warning with the nearest known name.
pub fn columns(
    header: &Header,
    headings: &Headings,
    kind: LogKind,
    faults: &mut Faults,
) -> (LogColumns, UnnamedColumns) {
    above_the_header(header, faults);
    let line = header.names.line;
    let mut columns = LogColumns::default();
    let mut unnamed = UnnamedColumns::default();
    let mut unknown = Vec::new();
    for (index, name) in header.names.cells.iter().enumerate() {
        if name.is_empty() {
            let filled = None;
            unnamed.0.push(UnnamedColumn { index, filled });
            continue;
        }
        let Some((column, unit)) = headings.named(name) else {
            unknown.push((index, name));
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
    let mut missing = Missing {
        header,
        headings,
        columns: &columns,
        kind,
        unknown,
        spoken_of: Vec::new(),
        faults,
    };
    missing.without_unit();
    missing.mapped();
    missing.misspelt();
    missing.needed();
    missing.the_unknown();
    for column in missing.spoken_of {
        columns.put_misnamed(column);
    }
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

/// What a header lacks. Each heading and each missing column is spoken of once.
struct Missing<'h> {
    header: &'h Header,
    headings: &'h Headings,
    columns: &'h LogColumns,
    kind: LogKind,
    /// Headings that name no column, with their indices; those that a fault speaks of are taken out.
    unknown: Vec<(usize, &'h str)>,
    /// Columns that an error names already.
    spoken_of: Vec<Column>,
    faults: &'h mut Faults,
}

impl<'h> Missing<'h> {
    fn line(&self) -> usize {
        self.header.names.line
    }

    /// Lengths whose heading lacks the unit: an error, for what stands below would be lost without a word.
    fn without_unit(&mut self) {
        let (columns, headings) = (self.columns, self.headings);
        let lacks = |name: &str| {
            let column = columns::named_without_unit(name)?;
            let is_mapped = headings.mapped().iter().any(|m| m.column == column);
            (!columns.has(column) && !is_mapped).then_some(column)
        };
        let unknown = std::mem::take(&mut self.unknown);
        for (index, name) in unknown {
            match lacks(name) {
                None => self.unknown.push((index, name)),
                Some(column) => {
                    let why = format!(
                        "this column does not say its unit; expected {}",
                        column.ways()
                    );
                    let fault = self.header.origin.error(self.line(), Some(index), why);
                    self.faults.push(fault.read(name));
                    self.spoken_of.push(column);
                }
            }
        }
    }

    /// Headings of the set-up that the log does not have: an error for a column that is needed, else a warning, and in a log of
    /// one day not even that. Under the contract's own name the column will do too: rows copied from the card have those.
    fn mapped(&mut self) {
        for mapped in self.headings.mapped() {
            let column = mapped.column;
            let is_needed = self.is_needed(column);
            if self.columns.has(column)
                || self.is_spoken_of(column)
                || (self.kind == LogKind::Day && !is_needed)
            {
                continue;
            }
            let heading = shown(&mapped.heading);
            let found = self.nearest_unknown(&mapped.heading);
            let why = format!(
                "no heading \"{heading}\", which the set-up names for {} under [columns]; {}",
                column.name(),
                match found {
                    Some(found) => format!(
                        "\"{}\" is there: write that in the set-up, or correct it here",
                        shown(found)
                    ),
                    None => format!("the headings here are {}", self.all_headings()),
                }
            );
            let origin = &self.header.origin;
            let fault = match is_needed {
                true => origin.error(self.line(), None, why),
                false => origin.warning(self.line(), None, why),
            };
            self.faults.push(fault.column(column.name()));
            if is_needed {
                self.spoken_of.push(column);
            }
        }
    }

    /// Whether the log must have a column: in a season one of session and date, and each of the others that every log needs.
    fn is_needed(&self, column: Column) -> bool {
        match column {
            Column::Turns | Column::Target | Column::Long | Column::Rest => true,
            Column::Session => self.kind == LogKind::Season,
            Column::Date => self.kind == LogKind::Season && !self.columns.has(Column::Session),
            _ => false,
        }
    }

    /// Headings a slip away from a column that is needed where no other stands in for it: one does here, but not for the
    /// rows that have it empty, and each of them would be a fault.
    fn misspelt(&mut self) {
        for (column, instead) in [
            (Column::Long, Column::Rest),
            (Column::Rest, Column::Long),
            (Column::Session, Column::Date),
            (Column::Target, Column::Kind),
        ] {
            let is_another = column == Column::Session && self.kind == LogKind::Day;
            if self.columns.has(column) || !self.columns.has(instead) || is_another {
                continue;
            }
            let mut unknown = self.unknown.iter().enumerate();
            let slip = |name: &str| {
                name_like(name, column)
                    .filter(|own| keys::is_a_slip(&columns::folded(name), &columns::folded(own)))
            };
            let Some((at, own)) = unknown.find_map(|(at, (_, name))| Some((at, slip(name)?)))
            else {
                continue;
            };
            let (index, name) = self.unknown.remove(at);
            let why = format!(
                "no such column; expected {own}: call it that, or write {own} = {} under [columns] in a set-up file (if it \
                 is something else, give it another name)",
                keys::quoted(name)
            );
            let fault = self.header.origin.error(self.line(), Some(index), why);
            self.faults.push(fault.read(name));
            self.spoken_of.push(column);
        }
    }

    fn needed(&mut self) {
        let has = |column| self.columns.has(column);
        let (session, date) = (has(Column::Session), has(Column::Date));
        let (kind, rest) = (has(Column::Kind), has(Column::Rest) || has(Column::Long));
        if !session && !date && self.kind == LogKind::Season {
            let ways = "session, or date: each date is then a session".to_string();
            self.missing(Column::Session, "the session", ways);
        } else if !session && self.kind == LogKind::Season && !self.is_spoken_of(Column::Session) {
            let why = "no column session: each date is taken for a session of its own";
            let fault = self.header.origin.warning(self.line(), None, why);
            self.faults.push(fault);
        }
        if !has(Column::Turns) {
            let ways = Column::Turns.ways();
            self.missing(Column::Turns, "the turns wound on", ways);
        }
        if !self.columns.has(Column::Target) && !kind {
            let ways = Column::Target.ways();
            self.missing(Column::Target, "the distance to the target", ways);
        }
        if !rest {
            let ways = "long_cm, long_m, long_in … or rest_m".to_string();
            self.missing(Column::Long, "where it came to rest along the line", ways);
        }
    }

    /// Adds the fault of a missing column, with what to write where.
    fn missing(&mut self, column: Column, what: &str, ways: String) {
        let instead = if column == Column::Long {
            Column::Rest
        } else {
            column
        };
        if self.is_spoken_of(column) || self.is_spoken_of(instead) {
            return;
        }
        let near = self
            .unknown_like(column)
            .or_else(|| self.nearest_unknown(&ways));
        let found = self.all_headings();
        let advice = match near {
            Some(near) => {
                // With the unit that its heading says, where that is a unit.
                let own = name_like(near, column).unwrap_or_else(|| column.name().to_string());
                format!(
                    "if \"{}\" is it, call it {own}, or write {own} = {} under [columns] in a set-up file",
                    shown(near),
                    keys::quoted(near)
                )
            }
            None => format!(
                "if one of them is it, call it {name}, or write {name} = \"its heading\" under [columns] in a set-up file; else add the column",
                name = column.name()
            ),
        };
        let why = format!("no column for {what}; expected {ways}; found {found}; {advice}");
        let fault = self.header.origin.error(self.line(), None, why);
        self.faults.push(fault);
    }

    fn is_spoken_of(&self, column: Column) -> bool {
        self.spoken_of.contains(&column)
    }

    /// An unknown heading that is more like a column than like any other, which is then no longer unknown.
    fn unknown_like(&mut self, column: Column) -> Option<&'h str> {
        let mut names = self.unknown.iter().map(|(_, name)| *name);
        let near = names.find(|name| name_like(name, column).is_some())?;
        self.unknown.retain(|(_, name)| *name != near);
        Some(near)
    }

    /// The unknown heading most like a name, which is then no longer unknown.
    fn nearest_unknown(&mut self, name: &str) -> Option<&'h str> {
        let names = self.unknown.iter().map(|(_, name)| *name);
        let near = keys::nearest(name, names)?;
        self.unknown.retain(|(_, name)| *name != near);
        Some(near)
    }

    fn all_headings(&self) -> String {
        let names = self
            .header
            .names
            .cells
            .iter()
            .filter(|name| !name.is_empty());
        let names: Vec<String> = names.map(shown).collect();
        names.join(", ").chars().take(HEADINGS_SHOWN).collect()
    }

    fn the_unknown(&mut self) {
        for (index, name) in std::mem::take(&mut self.unknown) {
            let near =
                columns::nearest(name).map(|near| format!("; the nearest known name is {near}"));
            let why = format!(
                "no such column, so it was not read{}",
                near.unwrap_or_default()
            );
            let fault = self.header.origin.warning(self.line(), Some(index), why);
            self.faults.push(fault.read(name));
        }
    }
}

/// The known name most like a heading, where it is one of a column's.
fn name_like(heading: &str, column: Column) -> Option<String> {
    let own = columns::nearest(heading)?;
    let (named, _) = Headings::default().named(&own)?;
    (named == column).then_some(own)
}
