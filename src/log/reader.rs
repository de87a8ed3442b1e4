//! Turns the rows of logs into one season: labels that repeat the row above, runs counted within their session, faults
//! in order.

use std::collections::HashMap;

use jiff::civil::Date;

use super::cell;
use super::columns::LogColumns;
use super::header::{self, Header};
use super::kind::LogKind;
use super::limits;
use super::record::{Origin, Record, Records};
use super::row::{RowReader, RowRun};
use super::run::{Kind, Label, Run, Season, Status};
use super::shorten;
use super::total;
use crate::columns::{Column, Headings};
use crate::fault::{Fault, Faults, Severity};
use crate::setup::Setup;
use crate::units::LengthUnit;

/// The columns whose empty cells repeat the row above, but for `date`, which is no text.
const LABELS: [Column; 6] = [
    Column::Session,
    Column::Vehicle,
    Column::Wheels,
    Column::Build,
    Column::Trim,
    Column::Floor,
];

/// Reads the rows of one log after another into one season.
pub struct Reader<'a> {
    setup: &'a Setup,
    kind: LogKind,
    headings: Headings,
    /// The season read so far, without its lists of labels.
    season: Season,
    /// The labels of each column of [`LABELS`].
    labels: [LabelList; LABELS.len()],
    /// Last order given or counted, by session.
    last_order: HashMap<Label, f64>,
    logs: Vec<LogFile>,
}

/// One log of a season: what its places are called, and which columns it has.
pub struct LogFile {
    /// The file or sheet.
    pub origin: Origin,
    /// Its columns.
    pub columns: LogColumns,
    /// Whether nothing stands below its header.
    pub is_empty: bool,
}

/// A season with the places its runs were read from.
pub struct Reading {
    /// The season. Runs with a faulty cell are in it with that cell empty; the faults say so.
    pub season: Season,
    /// Its logs, in the order of [`Season::files`].
    pub logs: Vec<LogFile>,
}

impl Reading {
    /// A warning for every log without runs, where others have some: one without any at all is the caller's business.
    pub fn empty_logs(&self) -> Vec<Fault> {
        if self.season.runs.is_empty() {
            return Vec::new();
        }
        let empty = self.logs.iter().filter(|log| log.is_empty);
        empty
            .map(|log| Fault::warning(&log.origin.file, "headings and no runs below them yet"))
            .collect()
    }

    /// A run by its index.
    pub fn run(&self, i: usize) -> &Run {
        &self.season.runs[i]
    }

    /// A warning at a run's cell, or at its row where the log lacks the column.
    pub fn warning(&self, run: &Run, column: Column, why: impl Into<String>) -> Fault {
        let fault = self.fault(run, Some(column), why);
        Fault {
            severity: Severity::Warning,
            ..fault
        }
    }

    /// Where a run stands, in a sentence: `line 7`, `row 7` or `line 7 of other.csv`.
    pub fn place(&self, i: usize) -> String {
        let run = self.run(i);
        let origin = &self.logs[run.file as usize].origin;
        let row = origin.row_word();
        if self.logs.len() == 1 {
            format!("{row} {}", run.line)
        } else {
            format!("{row} {} of {}", run.line, origin.file)
        }
    }

    /// The unit of a column in the log that a run stands in; `None` where it has no such column.
    pub fn unit(&self, i: usize, column: Column) -> Option<LengthUnit> {
        self.logs[self.run(i).file as usize].columns.unit(column)
    }

    /// Whether the log a run stands in has a column.
    pub fn has(&self, run: &Run, column: Column) -> bool {
        self.logs[run.file as usize].columns.has(column)
    }

    /// An error at a run's row.
    pub fn error(&self, run: &Run, why: impl Into<String>) -> Fault {
        self.fault(run, None, why)
    }

    fn fault(&self, run: &Run, column: Option<Column>, why: impl Into<String>) -> Fault {
        let LogFile {
            origin, columns, ..
        } = &self.logs[run.file as usize];
        let index = column.and_then(|column| columns.index(column));
        let fault = origin.error(run.line as usize, index, why);
        match column {
            Some(column) if index.is_some() => fault.column(column.name()),
            _ => fault,
        }
    }
}

impl<'a> Reader<'a> {
    /// A reader with an empty season.
    ///
    /// * `kind` — what the logs hold
    pub fn new(setup: &'a Setup, kind: LogKind) -> Self {
        Reader {
            setup,
            kind,
            headings: Headings::from_columns(&setup.columns),
            season: Season::default(),
            labels: Default::default(),
            last_order: HashMap::new(),
            logs: Vec::new(),
        }
    }

    /// The headings that the logs may have.
    pub fn headings(&self) -> &Headings {
        &self.headings
    }

    /// Adds a log: its header, and every row below; stops at too many rows or faults.
    ///
    /// # Errors
    /// What makes the log as a whole unreadable. Its other faults are then left out, and its runs are not kept.
    pub fn add(&mut self, records: Records, faults: &mut Faults) -> Result<(), Faults> {
        let (header, rows) = header::split(records, &self.headings)?;
        let mut of_header = Faults::default();
        let (columns, mut unnamed) =
            header::columns(&header, &self.headings, self.kind, &mut of_header);
        let (runs_before, ticks_seen_before) = (self.season.runs.len(), self.season.ticks_seen);
        let mut adding = Adding::new(&header, &columns, self.logs.len() as u32);
        for record in rows {
            let record = match record {
                Ok(record) => record,
                Err(unreadable) => {
                    self.season.runs.truncate(runs_before);
                    self.season.ticks_seen = ticks_seen_before;
                    return Err(unreadable);
                }
            };
            unnamed.look_at(&header.origin, &record);
            if !adding.is_full {
                self.row(&mut adding, &record);
            }
        }
        let Adding { of_rows, any, .. } = adding;
        unnamed.tell(&mut of_header);
        self.season.aimed_at_target |=
            self.kind == LogKind::Season && !columns.has(Column::AimRight);
        self.season.files.push(header.origin.file.clone());
        self.logs.push(LogFile {
            origin: header.origin,
            columns,
            is_empty: !any,
        });
        faults.0.extend(of_header.0);
        faults.0.extend(of_rows.into_faults().0);
        Ok(())
    }

    /// Adds a row and its faults, or says why no further row is read.
    fn row(&mut self, adding: &mut Adding, record: &Record) {
        adding.any = true;
        if let Some(fault) = self.full(&adding.header.origin, record.line, adding.errors) {
            adding.of_rows.push(fault);
            adding.is_full = true;
            return;
        }
        let mut faults = Faults::default();
        if let Some(word) = total::word(adding.columns, record) {
            faults.push(looks_like_a_total(&adding.header.origin, record.line).read(word));
        } else if let Some(index) = stands_alone(&adding.header.names, record) {
            let fault = looks_like_a_note(&adding.header.origin, record.line, index);
            faults.push(fault.read(record.cell(index)));
        } else {
            let row = RowReader {
                header: adding.header,
                columns: adding.columns,
                kind: self.kind,
                record,
                faults: &mut faults,
            };
            if let Some(run) = self.run(row, adding) {
                self.season.runs.push(run);
            }
        }
        for fault in faults.0 {
            adding.errors += usize::from(fault.is_error());
            adding.of_rows.push(fault);
        }
    }

    /// The run of a row; `None` of a row that is not as long as the header.
    fn run(&mut self, mut row: RowReader, adding: &mut Adding) -> Option<Run> {
        if !row.has_the_headers_length() {
            return None;
        }
        let ticks_per_turn = self.setup.dial.ticks_per_turn;
        if adding.above.are_added_up_in(&row, ticks_per_turn) {
            let origin = &adding.header.origin;
            row.faults.push(looks_added_up(origin, row.record.line));
            return None;
        }
        let date = self.date(&mut row, &mut adding.date_above);
        let [session, vehicle, wheels, build, trim, floor] =
            std::array::from_fn(|kind| self.label(kind, date, &mut row, adding));
        let RowRun { run, order, long_m } = row.run(self.setup, &mut self.season.ticks_seen);
        let own = [Column::Session, Column::Date, Column::Run];
        if own.iter().all(|&column| row.cell(column).is_empty()) && adding.sums.are_in(&run, long_m)
        {
            // Whatever else is wrong with it is wrong because it is no run.
            row.faults.0.clear();
            row.faults
                .push(looks_like_a_total(&adding.header.origin, run.line as usize));
            return None;
        }
        adding.sums.add(&run, long_m);
        adding.above.add(&row, &run, long_m);
        if run.kind == Kind::Launch && run.target_m.is_none() && run.status != Status::Void {
            adding.without_target(&mut row);
        }
        Some(Run {
            file: adding.file,
            session,
            order: self.order(session, order),
            date,
            vehicle,
            wheels,
            build,
            trim,
            floor,
            ..run
        })
    }

    /// The fault that ends reading, where a limit is reached.
    fn full(&self, origin: &Origin, line: usize, errors: usize) -> Option<Fault> {
        let most = limits::FAULTS;
        if self.season.runs.len() == limits::ROWS {
            return Some(origin.too_many_rows(line, limits::ROWS));
        }
        let labels: usize = self.labels.iter().map(|list| list.texts.len()).sum();
        let label_bytes: usize = self.labels.iter().map(|list| list.bytes).sum();
        if labels > limits::LABELS || label_bytes > limits::LABEL_BYTES {
            return Some(origin.error(
                line,
                None,
                format!(
                    "more than {} different labels, or {} MB of them; what follows was not read",
                    limits::LABELS,
                    limits::LABEL_BYTES >> 20
                ),
            ));
        }
        (errors > most).then(|| {
            let why = format!("more than {most} errors; what follows was not read");
            origin.error(line, None, why)
        })
    }

    /// The order of a run within its session: as written, else one more than that of the session's last run.
    fn order(&mut self, session: Label, written: Option<f64>) -> f64 {
        let last = self.last_order.get(&session);
        let order = written.unwrap_or_else(|| last.map_or(1.0, |last| last + 1.0));
        self.last_order.insert(session, order);
        order
    }

    /// The label of a row in one column; an empty cell repeats the row above.
    ///
    /// * `kind` — index into [`LABELS`]
    /// * `date` — of the row; without a column `session` it is the label of its session
    fn label(
        &mut self,
        kind: usize,
        date: Option<Date>,
        row: &mut RowReader,
        adding: &mut Adding,
    ) -> Label {
        let column = LABELS[kind];
        let above = &mut adding.labels_above[kind];
        if column == Column::Session && !row.columns.has(column) {
            let label = date.map(|date| date.to_string()).unwrap_or_default();
            let label = self.labels[kind].label(&label);
            let text = row.cell(Column::Date);
            let is_blank = text.is_empty() || cell::is_not_measured(text);
            let needs_date = row.columns.has(Column::Date) && self.kind == LogKind::Season;
            if date.is_none() && needs_date && above.is_none() {
                // A date that could not be read has its fault.
                let expected = "expected a date: without a column session each date is a session";
                if text.is_empty() {
                    row.empty(Column::Date, expected);
                } else if is_blank {
                    row.fault(Column::Date, expected);
                }
                // One fault is enough, until a date is there.
                *above = Some(label);
            }
            return label;
        }
        let text = row.cell(column);
        if !text.is_empty() {
            // In a text file it is a label that begins with an equals sign.
            if let (Some(_), Some(formula)) = (&row.header.origin.sheet, cell::formula(text)) {
                row.fault(column, formula);
            }
            return *above.insert(self.labels[kind].label(text));
        }
        if let Some(above) = *above {
            self.season.repeated_labels += 1;
            return above;
        }
        let blank = self.labels[kind].label("");
        if column == Column::Session && self.kind == LogKind::Season {
            row.empty(
                column,
                "expected a label; only rows further down may leave it empty, to repeat the row above",
            );
            // One fault is enough: every row below would repeat it.
            *above = Some(blank);
        }
        blank
    }

    /// The date of a row; an empty cell repeats the row above.
    fn date(&mut self, row: &mut RowReader, above: &mut Option<Date>) -> Option<Date> {
        let text = row.cell(Column::Date);
        if text.is_empty() {
            self.season.repeated_labels += usize::from(above.is_some());
            return *above;
        }
        if cell::is_not_measured(text) {
            // Nobody knows the day of this run; the day of those below is that of the rows above it.
            return None;
        }
        *above = match cell::date(text) {
            Ok(date) => Some(date),
            Err(expected) => {
                row.fault(Column::Date, expected);
                None
            }
        };
        *above
    }

    /// The season with everything that was read.
    pub fn finish(self) -> Reading {
        let [sessions, vehicles, wheels, builds, trims, floors] =
            self.labels.map(|list| list.texts);
        Reading {
            season: Season {
                sessions,
                vehicles,
                wheels,
                builds,
                trims,
                floors,
                ..self.season
            },
            logs: self.logs,
        }
    }
}

/// The different labels of a column, in order of first appearance.
#[derive(Default)]
struct LabelList {
    texts: Vec<String>,
    by_text: HashMap<String, Label>,
    /// Bytes of all texts together.
    bytes: usize,
}

impl LabelList {
    /// The label of a text, a new one where it was not seen before.
    fn label(&mut self, text: &str) -> Label {
        if let Some(&label) = self.by_text.get(text) {
            return label;
        }
        let label = self.texts.len() as Label;
        self.texts.push(text.to_string());
        self.by_text.insert(text.to_string(), label);
        self.bytes += text.len();
        label
    }
}

/// The state of reading one log into a season.
struct Adding<'h> {
    header: &'h Header,
    columns: &'h LogColumns,
    /// Index of the log among those of the season.
    file: u32,
    /// What was written last in the columns of [`LABELS`], and the date.
    labels_above: [Option<Label>; LABELS.len()],
    date_above: Option<Date>,
    of_rows: shorten::Collected,
    errors: usize,
    /// What the rows so far add up to.
    sums: total::Sums,
    /// The numbers of the rows so far.
    above: total::Above,
    /// Whether it was said that launches need a target, which the log has no column for.
    target_is_asked_for: bool,
    /// Whether there was any row.
    any: bool,
    /// Whether no further row is read.
    is_full: bool,
}

impl<'h> Adding<'h> {
    fn new(header: &'h Header, columns: &'h LogColumns, file: u32) -> Self {
        Adding {
            header,
            columns,
            file,
            labels_above: [None; LABELS.len()],
            date_above: None,
            of_rows: shorten::Collected::default(),
            errors: 0,
            sums: total::Sums::default(),
            above: total::Above::default(),
            target_is_asked_for: false,
            any: false,
            is_full: false,
        }
    }

    /// Says, once, that a launch needs a target where the log has no column for it: only hand rolls go without.
    fn without_target(&mut self, row: &mut RowReader) {
        if self.columns.has(Column::Target)
            || self.columns.is_misnamed(Column::Target)
            || !self.columns.has(Column::Kind)
            || self.target_is_asked_for
        {
            return;
        }
        self.target_is_asked_for = true;
        let why = "a launch, and the log has no column for the distance to the target; expected target_m, or kind \
                   hand_roll";
        let fault = self.header.origin.error(row.record.line, None, why);
        row.faults.push(fault);
    }
}

/// The fault of a row whose numbers alone say that it holds no run.
fn looks_added_up(origin: &Origin, line: usize) -> Fault {
    let why = "every number here is the sum or the mean of those above, so this is no run; take the row out of the log, or \
               put # before it (if it is a run, write its session in front)";
    origin.error(line, None, why)
}

/// The only filled cell of a row, by its index; `None` where another is filled, where a run might fill one only, and of a
/// number alone, which may be a sum.
fn stands_alone(names: &Record, record: &Record) -> Option<usize> {
    let filled = |record: &Record| -> Vec<usize> {
        let cells = record.cells.iter().enumerate();
        cells
            .filter(|(_, cell)| !cell.is_empty())
            .map(|(i, _)| i)
            .collect()
    };
    match filled(record).as_slice() {
        [only] if filled(names).len() > 1 && record.cell(*only).contains(char::is_alphabetic) => {
            Some(*only)
        }
        _ => None,
    }
}

/// The fault of a row that has one cell only: a remark, or a label ahead of its runs.
fn looks_like_a_note(origin: &Origin, line: usize, index: usize) -> Fault {
    let why = "nothing else stands in this row, so it is no run; put # before it, or take it out of the log (if it is a run, \
               fill in the rest of it)";
    origin.error(line, Some(index), why)
}

/// The fault of a row that holds no run.
fn looks_like_a_total(origin: &Origin, line: usize) -> Fault {
    let why = "this row looks like a total or a mean and not like a run; take it out of the log, or put # before it (a \
               label of that name: call it otherwise)";
    origin.error(line, None, why)
}
