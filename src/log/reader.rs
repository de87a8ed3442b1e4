//! The rows of logs to one season: labels that repeat the row above, runs counted within their session, faults in order.

use std::collections::HashMap;

use jiff::civil::Date;

use super::cell;
use super::columns::{self, Column, Columns};
use super::limits;
use super::row::{Row, Width};
use super::run::{Label, Run, Season};
use super::shorten;
use super::table::{self, Head, Origin, Rows, Stop, Table};
use crate::fault::{Fault, Faults, Severity};
use crate::setup::Setup;

mod parts;

/// The columns whose empty cells repeat the row above, but for `date`, which is no text.
const LABELS: [Column; 6] = [
    Column::Session,
    Column::Vehicle,
    Column::Wheels,
    Column::Build,
    Column::Trim,
    Column::Floor,
];

/// Reads the rows of one table after another into one season.
pub struct Reader<'a> {
    setup: &'a Setup,
    season: Season,
    /// Where a label text stands in the season's list, for each of [`LABELS`].
    known: [HashMap<String, Label>; LABELS.len()],
    /// How many labels of all kinds, and their bytes.
    labels: usize,
    label_bytes: usize,
    /// Last order given or counted, by session; NaN before the first run.
    last_order: Vec<f64>,
    ticks_seen: bool,
    sources: Vec<Source>,
}

/// One log of a season: what its places are called, and which columns it has.
pub struct Source {
    /// The file or sheet.
    pub origin: Origin,
    /// Its columns.
    pub columns: Columns,
}

/// A season and where it stands written.
pub struct Reading {
    /// The season. Runs with a faulty cell are in it with that cell empty; the faults say so.
    pub season: Season,
    /// Its logs, in the order of [`Season::files`].
    pub sources: Vec<Source>,
}

impl Reading {
    /// A run by its index.
    pub fn run(&self, i: usize) -> Run {
        let run = self.season.runs.get(i);
        run.expect("indices come from the runs themselves")
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
        self.file_has(run.file, column)
    }

    /// Whether a log has a column.
    ///
    /// * `file` — see [`Run::file`]
    pub fn file_has(&self, file: u32, column: Column) -> bool {
        self.sources[file as usize].columns.has(column)
    }

    /// An error at a run's row.
    pub fn error(&self, run: &Run, why: impl Into<String>) -> Fault {
        self.fault(run, None, why)
    }

    fn fault(&self, run: &Run, column: Option<Column>, why: impl Into<String>) -> Fault {
        let Source { origin, columns } = &self.sources[run.file as usize];
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
            known: Default::default(),
            labels: 0,
            label_bytes: 0,
            last_order: Vec::new(),
            ticks_seen: false,
            sources: Vec::new(),
        }
    }

    /// Adds a file: its header, and every row below; stops at too many rows or faults.
    ///
    /// # Errors
    /// What makes the file as a whole unreadable; the season is then as it was before.
    pub fn add_all(&mut self, rows: impl Rows, faults: &mut Faults) -> Result<(), Stop> {
        self.add(&mut Table::new(rows)?, faults, Reader::rows)
    }

    /// Adds the rows of a table, and its faults.
    ///
    /// * `read` — reads the rows
    ///
    /// # Errors
    /// As of [`Reader::add_all`].
    fn add<R: Rows>(
        &mut self,
        table: &mut Table<R>,
        faults: &mut Faults,
        read: impl Fn(&mut Self, &mut Table<R>, &mut Adding) -> Result<(), Stop>,
    ) -> Result<(), Stop> {
        let before = self.mark();
        let head = table.head.clone();
        let mut of_header = Faults::default();
        let columns = columns::columns(&head, &mut of_header);
        let mut adding = Adding::new(&head, columns, self.season.files.len() as u32);
        if let Err(stop) = read(self, table, &mut adding) {
            self.back_to(before);
            return Err(stop);
        }
        let Adding {
            mut columns,
            of_rows,
            any,
            ..
        } = adding;
        columns.tell_unnamed(&mut of_header);
        if !any {
            of_header.push(Fault::error(
                &head.origin.file,
                "a header and no runs below it; expected one row a run",
            ));
        }
        self.season.files.push(head.origin.file.clone());
        self.sources.push(Source {
            origin: head.origin,
            columns,
        });
        faults.0.extend(of_header.0);
        faults.0.extend(of_rows.into_faults().0);
        Ok(())
    }

    fn rows<R: Rows>(&mut self, table: &mut Table<R>, adding: &mut Adding) -> Result<(), Stop> {
        while let Some(record) = table.next()? {
            self.row(adding, record);
        }
        Ok(())
    }

    /// Adds a row, and tells its faults.
    fn row(&mut self, adding: &mut Adding, record: table::Row) {
        adding.any = true;
        let origin = &adding.head.origin;
        adding.columns.look_at_unnamed(origin, &record);
        if adding.is_full {
            return;
        }
        if let Some(fault) = self.full(origin, record.line, adding.errors) {
            adding.of_rows.push(fault);
            adding.is_full = true;
            return;
        }
        self.run(adding, record);
        adding.tell();
    }

    /// Makes a run of a row and keeps it; leaves the faults to be told.
    fn run(&mut self, adding: &mut Adding, record: table::Row) {
        let mut row = Row {
            head: adding.head,
            columns: &adding.columns,
            record,
            faults: &mut adding.faults,
        };
        if !row.has_the_headers_length(&adding.width) {
            return;
        }
        let [session, vehicle, wheels, build, trim, floor] =
            self.labels(&mut row, &mut adding.above);
        let date = self.date(&mut row, &mut adding.above);
        let (run, order) = row.run(self.setup, &mut self.ticks_seen);
        adding.orders_given += usize::from(order.is_some());
        let order = self.order(session, order);
        self.season.runs.push(&Run {
            file: adding.file,
            session,
            order,
            date,
            vehicle,
            wheels,
            build,
            trim,
            floor,
            ..run
        });
    }

    /// Why no further row is read, if none is.
    fn full(&self, origin: &Origin, line: usize, errors: usize) -> Option<Fault> {
        let most = limits::FAULTS;
        if self.season.runs.len() == limits::ROWS {
            return Some(origin.too_many_rows(line, limits::ROWS));
        }
        if self.labels > limits::LABELS || self.label_bytes > limits::LABEL_BYTES {
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

    /// What a file may change, to go back to.
    fn mark(&self) -> Mark {
        Mark {
            runs: self.season.runs.len(),
            labels: LABELS.map(|column| self.list(column).len()),
            repeated_labels: self.season.repeated_labels,
            last_order: self.last_order.clone(),
            ticks_seen: self.ticks_seen,
        }
    }

    fn back_to(&mut self, mark: Mark) {
        self.season.runs.truncate(mark.runs);
        for (kind, length) in mark.labels.into_iter().enumerate() {
            self.list_mut(LABELS[kind]).truncate(length);
            self.known[kind].retain(|_, label| (*label as usize) < length);
        }
        self.labels = mark.labels.iter().sum();
        self.label_bytes = self
            .known
            .iter()
            .flat_map(|known| known.keys().map(String::len))
            .sum();
        self.season.repeated_labels = mark.repeated_labels;
        self.last_order = mark.last_order;
        self.ticks_seen = mark.ticks_seen;
    }

    /// Everything read so far.
    pub fn finish(self) -> Reading {
        Reading {
            season: self.season,
            sources: self.sources,
        }
    }

    /// The order of a run: as written, else one more than the last of its session.
    fn order(&mut self, session: Label, written: Option<f64>) -> f64 {
        let last = last_of(&mut self.last_order, session);
        *last = written.unwrap_or(counted_on(*last));
        *last
    }

    /// The six labels of a row, an empty cell repeating the row above.
    fn labels(&mut self, row: &mut Row<'_, '_>, above: &mut Above) -> [Label; LABELS.len()] {
        let mut labels = [0; LABELS.len()];
        for (i, column) in LABELS.into_iter().enumerate() {
            let text = row.cell(column);
            let known = &mut above.labels[i];
            if text.is_empty() {
                if known.text.is_some() {
                    self.season.repeated_labels += 1;
                } else if column == Column::Session && row.columns.has(column) {
                    row.empty(column, "expected a label; only rows further down may leave it empty, to repeat the row above");
                    // Said once; what follows would only repeat it.
                    known.text = Some(String::new());
                }
            } else if known.text.as_deref() != Some(text) {
                known.text = Some(text.to_string());
                known.label = None;
            }
            let text = known.text.as_deref().unwrap_or_default();
            labels[i] = *known.label.get_or_insert_with(|| self.label(i, text));
        }
        labels
    }

    fn label(&mut self, kind: usize, text: &str) -> Label {
        if let Some(&label) = self.known[kind].get(text) {
            return label;
        }
        let list = self.list_mut(LABELS[kind]);
        let label = list.len() as Label;
        list.push(text.to_string());
        self.known[kind].insert(text.to_string(), label);
        self.labels += 1;
        self.label_bytes += text.len();
        label
    }

    fn list(&self, column: Column) -> &Vec<String> {
        match column {
            Column::Session => &self.season.sessions,
            Column::Vehicle => &self.season.vehicles,
            Column::Wheels => &self.season.wheels,
            Column::Build => &self.season.builds,
            Column::Trim => &self.season.trims,
            _ => &self.season.floors,
        }
    }

    fn list_mut(&mut self, column: Column) -> &mut Vec<String> {
        match column {
            Column::Session => &mut self.season.sessions,
            Column::Vehicle => &mut self.season.vehicles,
            Column::Wheels => &mut self.season.wheels,
            Column::Build => &mut self.season.builds,
            Column::Trim => &mut self.season.trims,
            _ => &mut self.season.floors,
        }
    }

    fn date(&mut self, row: &mut Row<'_, '_>, above: &mut Above) -> Option<Date> {
        let text = row.cell(Column::Date);
        if text.is_empty() {
            self.season.repeated_labels += usize::from(above.date.is_some());
            return above.date;
        }
        if above.date.is_some() && above.date_text == text {
            return above.date;
        }
        above.date = match cell::date(text) {
            Ok(date) => Some(date),
            Err(expected) => {
                row.fault(Column::Date, expected);
                None
            }
        };
        text.clone_into(&mut above.date_text);
        above.date
    }
}

/// The last order of a session; NaN before its first run.
fn last_of(last_order: &mut Vec<f64>, session: Label) -> &mut f64 {
    let session = session as usize;
    if session >= last_order.len() {
        last_order.resize(session + 1, f64::NAN);
    }
    &mut last_order[session]
}

/// The order of a run whose own is not written.
fn counted_on(last: f64) -> f64 {
    if last.is_nan() { 1.0 } else { last + 1.0 }
}

/// The labels of the row above, within one file.
#[derive(Default)]
struct Above {
    labels: [AboveLabel; LABELS.len()],
    date: Option<Date>,
    /// What the date was read from.
    date_text: String,
}

#[derive(Default)]
struct AboveLabel {
    /// What was written last; `None` where nothing was.
    text: Option<String>,
    /// Its index.
    label: Option<Label>,
}

/// A table on its way into a season.
struct Adding<'h> {
    head: &'h Head,
    columns: Columns,
    width: Width,
    file: u32,
    above: Above,
    /// Faults of the last row, not told yet.
    faults: Faults,
    of_rows: shorten::Collected,
    errors: usize,
    /// Whether there was any row.
    any: bool,
    /// Whether no further row is read.
    is_full: bool,
    /// Runs whose order was written.
    orders_given: usize,
}

impl<'h> Adding<'h> {
    fn new(head: &'h Head, columns: Columns, file: u32) -> Self {
        Adding {
            head,
            columns,
            width: Width::of(head),
            file,
            above: Above::default(),
            faults: Faults::default(),
            of_rows: shorten::Collected::default(),
            errors: 0,
            any: false,
            is_full: false,
            orders_given: 0,
        }
    }

    /// Puts the faults of the last row among the others.
    fn tell(&mut self) {
        for fault in self.faults.0.drain(..) {
            self.errors += usize::from(fault.is_error());
            self.of_rows.push(fault);
        }
    }
}

/// What reading a file changes in a [`Reader`].
struct Mark {
    runs: usize,
    labels: [usize; LABELS.len()],
    repeated_labels: usize,
    last_order: Vec<f64>,
    ticks_seen: bool,
}
