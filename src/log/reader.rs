//! Turns the rows of logs into one season: labels that repeat the row above, runs counted within their session, faults
//! in order.

use std::collections::HashMap;

use jiff::civil::Date;

use super::cell;
use super::columns::{Column, LogColumns};
use super::header::{self, Header};
use super::limits;
use super::record::{Origin, Record, Records};
use super::row::RowReader;
use super::run::{Label, Run, Season};
use super::shorten;
use crate::fault::{Fault, Faults, Severity};
use crate::setup::Setup;

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
    /// The season read so far, without its lists of labels.
    season: Season,
    /// The labels of each column of [`LABELS`].
    labels: [LabelList; LABELS.len()],
    /// Last order given or counted, by session.
    last_order: HashMap<Label, f64>,
    ticks_seen: bool,
    logs: Vec<LogFile>,
}

/// One log of a season: what its places are called, and which columns it has.
pub struct LogFile {
    /// The file or sheet.
    pub origin: Origin,
    /// Its columns.
    pub columns: LogColumns,
}

/// A season with the places its runs were read from.
pub struct Reading {
    /// The season. Runs with a faulty cell are in it with that cell empty; the faults say so.
    pub season: Season,
    /// Its logs, in the order of [`Season::files`].
    pub logs: Vec<LogFile>,
}

impl Reading {
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

    /// Whether the log a run stands in has a column.
    pub fn has(&self, run: &Run, column: Column) -> bool {
        self.logs[run.file as usize].columns.has(column)
    }

    /// An error at a run's row.
    pub fn error(&self, run: &Run, why: impl Into<String>) -> Fault {
        self.fault(run, None, why)
    }

    fn fault(&self, run: &Run, column: Option<Column>, why: impl Into<String>) -> Fault {
        let LogFile { origin, columns } = &self.logs[run.file as usize];
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
    pub fn new(setup: &'a Setup) -> Self {
        Reader {
            setup,
            season: Season::default(),
            labels: Default::default(),
            last_order: HashMap::new(),
            ticks_seen: false,
            logs: Vec::new(),
        }
    }

    /// Adds a log: its header, and every row below; stops at too many rows or faults.
    ///
    /// # Errors
    /// What makes the log as a whole unreadable. Its other faults are then left out, and its runs are not kept.
    pub fn add(&mut self, records: Records, faults: &mut Faults) -> Result<(), Faults> {
        let (header, rows) = header::split(records)?;
        let mut of_header = Faults::default();
        let (columns, mut unnamed) = header::columns(&header, &mut of_header);
        let (runs_before, ticks_seen_before) = (self.season.runs.len(), self.ticks_seen);
        let mut adding = Adding::new(&header, &columns, self.logs.len() as u32);
        for record in rows {
            let record = match record {
                Ok(record) => record,
                Err(unreadable) => {
                    self.season.runs.truncate(runs_before);
                    self.ticks_seen = ticks_seen_before;
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
        if !any {
            of_header.push(Fault::error(
                &header.origin.file,
                "a header and no runs below it; expected one row a run",
            ));
        }
        self.season.files.push(header.origin.file.clone());
        self.logs.push(LogFile {
            origin: header.origin,
            columns,
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
        let row = RowReader {
            header: adding.header,
            columns: adding.columns,
            record,
            faults: &mut faults,
        };
        let run = self.run(row, adding);
        self.season.runs.extend(run);
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
        let [session, vehicle, wheels, build, trim, floor] =
            std::array::from_fn(|kind| self.label(kind, &mut row, &mut adding.labels_above[kind]));
        let date = self.date(&mut row, &mut adding.date_above);
        let (run, order) = row.run(self.setup, &mut self.ticks_seen);
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
    /// * `above` — what was written last; `None` where nothing was
    fn label(&mut self, kind: usize, row: &mut RowReader, above: &mut Option<Label>) -> Label {
        let column = LABELS[kind];
        let text = row.cell(column);
        if !text.is_empty() {
            return *above.insert(self.labels[kind].label(text));
        }
        if let Some(above) = *above {
            self.season.repeated_labels += 1;
            return above;
        }
        let blank = self.labels[kind].label("");
        if column == Column::Session && row.columns.has(column) {
            row.empty(column, "expected a label; only rows further down may leave it empty, to repeat the row above");
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
            any: false,
            is_full: false,
        }
    }
}
