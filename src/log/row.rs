//! One record to one run: which cells must be filled, and which values contradict each other.

use std::collections::HashMap;
use std::io::Read;
use std::mem;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread;

use jiff::civil::Date;

use super::ahead::Ahead;
use super::cell::{self, LONG_SHORT, RIGHT_LEFT, SignWords};
use super::columns::{self, Column, Columns, folded};
use super::limits;
use super::run::{Kind, Label, Load, Run, Season, Status};
use super::shorten;
use super::table::{self, Head, Origin, Rows, Stop, Table};
use super::text::Text;
use crate::fault::{Fault, Faults, Severity};
use crate::setup::Setup;
use crate::units::{LengthUnit, at_most_decimals};

/// How far `rest` and `long` of one row may disagree, m.
const REST_AGREES_M: f64 = 0.01;
/// How far the taped miss may differ from the other two measurements before a warning, m.
const MISS_AGREES_M: f64 = 0.02;
/// Slack in comparisons of lengths that were typed in decimals, m.
const BINARY_SLACK_M: f64 = 1e-9;
/// More turns than this is a slip; it also keeps every later sum far from overflow.
pub const MOST_TURNS: f64 = 100_000.0;
/// A target nearer than this is a slip; distances are divided by it, m.
pub const SHORTEST_TARGET_M: f64 = 0.01;
/// A run does not last a day, s.
const LONGEST_RUN_S: f64 = 86_400.0;
/// Largest number in the column `run`: whole numbers beyond it are no longer exact neighbours.
const LARGEST_ORDER: f64 = 1e9;

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
    /// Where runs go while another thread packs them.
    aside: Option<Aside>,
    /// Where a label text stands in the season's list, for each of [`LABELS`].
    known: [HashMap<String, Label>; LABELS.len()],
    /// How many labels of all kinds, and their bytes.
    labels: usize,
    label_bytes: usize,
    /// Last order given or counted, by session; NaN before the first run.
    last_order: Vec<f64>,
    ticks_assumed: bool,
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
            aside: None,
            known: Default::default(),
            labels: 0,
            label_bytes: 0,
            last_order: Vec::new(),
            ticks_assumed: false,
            sources: Vec::new(),
        }
    }

    /// Adds a file: its header, and every row below.
    ///
    /// # Errors
    /// As of [`Reader::add`].
    pub fn add_all(&mut self, rows: impl Rows, faults: &mut Faults) -> Result<(), Stop> {
        self.add(&mut Table::new(rows)?, faults, Reader::rows)
    }

    /// The same of a text so long that threads are worth starting: one splits it, one packs the runs.
    ///
    /// # Errors
    /// As of [`Reader::add`].
    pub fn add_long(
        &mut self,
        text: Text<impl Read + Send>,
        faults: &mut Faults,
    ) -> Result<(), Stop> {
        if rayon::current_num_threads() == 1 {
            return self.add_all(text, faults);
        }
        thread::scope(|scope| {
            let mut table = Table::new(Ahead::new(scope, text))?;
            self.add(&mut table, faults, Reader::rows_packed_aside)
        })
    }

    /// Adds every row of a table, and its faults; stops at too many of either.
    ///
    /// # Errors
    /// What makes the file as a whole unreadable; the season is then as it was before.
    fn add<R: Rows>(
        &mut self,
        table: &mut Table<R>,
        faults: &mut Faults,
        rows: impl Fn(
            &mut Self,
            &mut Table<R>,
            &mut Faults,
            &mut shorten::Collected,
        ) -> Result<Columns, Stop>,
    ) -> Result<(), Stop> {
        let before = self.mark();
        let mut of_header = Faults::default();
        let mut of_rows = shorten::Collected::default();
        match rows(self, table, &mut of_header, &mut of_rows) {
            Err(stop) => {
                self.back_to(before);
                Err(stop)
            }
            Ok(columns) => {
                self.season.files.push(table.head.origin.file.clone());
                self.sources.push(Source {
                    origin: table.head.origin.clone(),
                    columns,
                });
                faults.0.extend(of_header.0);
                faults.0.extend(of_rows.into_faults().0);
                Ok(())
            }
        }
    }

    /// As [`Reader::rows`], while another thread packs the runs.
    fn rows_packed_aside<R: Rows>(
        &mut self,
        table: &mut Table<R>,
        of_header: &mut Faults,
        of_rows: &mut shorten::Collected,
    ) -> Result<Columns, Stop> {
        thread::scope(|scope| {
            let mut runs = mem::take(&mut self.season.runs);
            let (sender, batches) = sync_channel::<Vec<Run>>(BATCHES_WAITING);
            self.aside = Some(Aside {
                len: runs.len(),
                batch: Vec::with_capacity(BATCH),
                sender,
            });
            let packing = scope.spawn(move || {
                for batch in batches {
                    for run in &batch {
                        runs.push(run);
                    }
                }
                runs
            });
            let read = self.rows(table, of_header, of_rows);
            if let Some(mut aside) = self.aside.take() {
                aside.send();
            }
            let packed = packing.join();
            self.season.runs = packed.unwrap_or_else(|panic| std::panic::resume_unwind(panic));
            read
        })
    }

    /// How many runs were read.
    fn runs_read(&self) -> usize {
        let aside = self.aside.as_ref();
        aside.map_or(self.season.runs.len(), |aside| aside.len)
    }

    fn keep(&mut self, run: Run) {
        match &mut self.aside {
            Some(aside) => aside.push(run),
            None => self.season.runs.push(&run),
        }
    }

    fn rows<R: Rows>(
        &mut self,
        table: &mut Table<R>,
        of_header: &mut Faults,
        of_rows: &mut shorten::Collected,
    ) -> Result<Columns, Stop> {
        let head = table.head.clone();
        let mut columns = columns::columns(&head, of_header);
        let width = Width::of(&head);
        let file = self.season.files.len() as u32;
        let mut above = Above::default();
        let mut errors = 0;
        let mut any = false;
        let mut is_full = false;
        let mut faults = Faults::default();
        while let Some(record) = table.next()? {
            any = true;
            columns.look_at_unnamed(&head.origin, &record);
            if is_full {
                continue;
            }
            if let Some(fault) = self.full(&head.origin, record.line, errors) {
                of_rows.push(fault);
                is_full = true;
                continue;
            }
            let mut row = Row {
                head: &head,
                columns: &columns,
                record,
                faults: &mut faults,
            };
            if row.has_the_headers_length(&width) {
                let run = self.run(&mut row, file, &mut above);
                self.keep(run);
            }
            for fault in faults.0.drain(..) {
                errors += usize::from(fault.is_error());
                of_rows.push(fault);
            }
        }
        columns.tell_unnamed(of_header);
        if !any {
            of_header.push(Fault::error(
                &head.origin.file,
                "a header and no runs below it; expected one row a run",
            ));
        }
        Ok(columns)
    }

    /// Why no further row is read, if none is.
    fn full(&self, origin: &Origin, line: usize, errors: usize) -> Option<Fault> {
        let most = limits::FAULTS;
        if self.runs_read() == limits::ROWS {
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
            ticks_assumed: self.ticks_assumed,
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
        self.ticks_assumed = mark.ticks_assumed;
    }

    /// Everything read so far.
    pub fn finish(self) -> Reading {
        Reading {
            season: self.season,
            sources: self.sources,
        }
    }

    fn run(&mut self, row: &mut Row<'_, '_>, file: u32, above: &mut Above) -> Run {
        let [session, vehicle, wheels, build, trim, floor] = self.labels(row, above);
        let date = self.date(row, above);
        let kind = row.word(
            Column::Kind,
            &[("launch", Kind::Launch), ("hand_roll", Kind::HandRoll)],
        );
        let said = row.word(
            Column::Status,
            &[
                ("ok", Status::Ok),
                ("recoil", Status::Recoil),
                ("touched", Status::Touched),
                ("void", Status::Void),
            ],
        );
        let load = row.word(
            Column::Load,
            &[("whole", Load::Whole), ("broken", Load::Broken)],
        );
        let order = row.number(Column::Run, &[], -LARGEST_ORDER, LARGEST_ORDER);
        let target_m = row.length(Column::Target);
        let turns = self.turns(row);
        let long_m = row.signed_length(Column::Long, LONG_SHORT);
        let rest_m = row.length(Column::Rest);
        let right_m = row.signed_length(Column::Right, RIGHT_LEFT);
        let miss_m = row.unsigned_length(Column::Miss);
        let aim_right_m = if row.columns.has(Column::AimRight) {
            row.signed_length(Column::AimRight, RIGHT_LEFT)
        } else {
            Some(0.0)
        };
        let recoil_m = row.unsigned_length(Column::Recoil);
        let gap_m = row.length(Column::Gap);
        let lead_turns = row.number(Column::LeadTurns, &["turns", "turn"], 0.0, MOST_TURNS);
        let time_s = row.number(Column::Time, &["s", "sec"], 0.0, LONGEST_RUN_S);

        let void = said == Some(Status::Void);
        let kind = kind.unwrap_or_default();
        if let Some(target_m) = target_m
            && target_m < SHORTEST_TARGET_M
        {
            row.fault(
                Column::Target,
                "expected the distance to the target, at least 1 cm",
            );
        }
        let rest_m = row.rest_along(target_m, long_m, rest_m);
        if !void {
            row.needed(kind, target_m, rest_m);
        }
        row.compare_miss(target_m, rest_m, right_m, miss_m);
        let status = row.status(said.unwrap_or_default(), recoil_m, gap_m, self.setup);
        let order = self.order(session, order);
        Run {
            file,
            line: row.record.line as u32,
            session,
            order,
            date,
            vehicle,
            wheels,
            build,
            trim,
            floor,
            kind,
            status,
            target_m,
            turns,
            rest_m,
            right_m,
            aim_right_m,
            miss_m,
            lead_turns,
            recoil_m,
            gap_m,
            load,
            time_s,
        }
    }

    /// The order of a run: as written, else one more than the last of its session.
    fn order(&mut self, session: Label, written: Option<f64>) -> f64 {
        let session = session as usize;
        if session >= self.last_order.len() {
            self.last_order.resize(session + 1, f64::NAN);
        }
        let last = self.last_order[session];
        let next = if last.is_nan() { 1.0 } else { last + 1.0 };
        self.last_order[session] = written.unwrap_or(next);
        self.last_order[session]
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

    /// Whole turns and ticks together.
    fn turns(&mut self, row: &mut Row<'_, '_>) -> Option<f64> {
        let turns = row.number(Column::Turns, &["turns", "turn"], 0.0, MOST_TURNS);
        let ticks = row.number(Column::Ticks, &["ticks", "tick"], 0.0, MOST_TURNS);
        let dial = &self.setup.dial;
        if ticks.is_some() && !dial.given && !self.ticks_assumed {
            self.ticks_assumed = true;
            row.warn(
                Column::Ticks,
                format!(
                    "the log has ticks and no set-up says how many make a turn; {} assumed; \
                     write ticks_per_turn under [dial] in a set-up file",
                    dial.ticks_per_turn
                ),
            );
        }
        let ticks = ticks.unwrap_or(0.0);
        if ticks >= f64::from(dial.ticks_per_turn) {
            row.warn(
                Column::Ticks,
                format!(
                    "the dial has {} ticks to the turn, so it never shows this; please look again",
                    dial.ticks_per_turn
                ),
            );
        }
        let turns = turns?;
        if ticks > 0.0 && turns.fract() != 0.0 {
            row.fault(
                Column::Turns,
                format!(
                    "expected whole turns beside {} ticks: the part of a turn would count twice",
                    at_most_decimals(ticks, 3)
                ),
            );
            return None;
        }
        Some(turns + ticks / f64::from(dial.ticks_per_turn))
    }
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

/// Runs handed over at a time to be packed: 50 kB of them.
const BATCH: usize = 256;
/// Batches that may wait for it.
const BATCHES_WAITING: usize = 4;

/// Runs on their way to the thread that packs them.
struct Aside {
    /// How many there are, packed ones included.
    len: usize,
    batch: Vec<Run>,
    sender: SyncSender<Vec<Run>>,
}

impl Aside {
    fn push(&mut self, run: Run) {
        self.len += 1;
        self.batch.push(run);
        if self.batch.len() == BATCH {
            self.send();
        }
    }

    fn send(&mut self) {
        let batch = mem::replace(&mut self.batch, Vec::with_capacity(BATCH));
        // Refused only where packing panicked, which is passed on when it is joined.
        let _ = self.sender.send(batch);
    }
}

/// What reading a file changes in a [`Reader`].
struct Mark {
    runs: usize,
    labels: [usize; LABELS.len()],
    repeated_labels: usize,
    last_order: Vec<f64>,
    ticks_assumed: bool,
}

/// How many cells a row must have and may have.
struct Width {
    least: usize,
    most: usize,
}

impl Width {
    /// Blank names at the end of the header do not count.
    fn of(head: &Head) -> Self {
        let header = head.header.row();
        let last = header.cells().rposition(|name| !name.is_empty());
        Width {
            least: last.map_or(0, |last| last + 1),
            most: header.cells.len(),
        }
    }
}

/// One record with what it takes to find its cells and to report on them.
struct Row<'t, 'f> {
    head: &'t Head,
    columns: &'t Columns,
    record: table::Row<'t>,
    faults: &'f mut Faults,
}

impl<'t> Row<'t, '_> {
    /// Text of a column's cell; empty where the log lacks the column.
    fn cell(&self, column: Column) -> &'t str {
        let index = self.columns.index(column);
        index.map_or("", |index| self.record.cell(index))
    }

    fn report(&mut self, severity: Severity, column: Column, read: bool, expected: String) {
        let text = self.cell(column);
        self.faults.push(Fault {
            severity,
            column: Some(column.name().to_string()),
            read: read.then(|| text.to_string()),
            ..self
                .head
                .origin
                .error(self.record.line, self.columns.index(column), expected)
        });
    }

    fn fault(&mut self, column: Column, expected: impl Into<String>) {
        self.report(Severity::Error, column, true, expected.into());
    }

    fn empty(&mut self, column: Column, expected: &str) {
        self.report(Severity::Error, column, false, format!("empty; {expected}"));
    }

    fn warn(&mut self, column: Column, why: impl Into<String>) {
        self.report(Severity::Warning, column, true, why.into());
    }

    /// Whether the row has a cell for each column of the header; blank ones at the end of either do not count.
    fn has_the_headers_length(&mut self, width: &Width) -> bool {
        let (expected, cells) = (width.least, self.record.cells);
        let mut extra = self.record.cells().skip(width.most);
        if cells.len() >= expected && extra.all(str::is_empty) {
            return true;
        }
        let hint = if cells.len() > expected && !self.head.decimal_comma {
            "; a decimal comma, or a comma in a note, makes two cells of one: write a point, or put the cell in quotation marks"
        } else if cells.len() < expected {
            "; an empty cell still needs its mark between columns"
        } else {
            ""
        };
        self.faults.push(self.head.origin.error(
            self.record.line,
            None,
            format!(
                "{} cells; expected {expected}, as in the header{hint}",
                cells.len()
            ),
        ));
        false
    }

    /// One of a few words, without regard to case, spaces and underscores; `None` for an empty cell.
    fn word<T: Copy>(&mut self, column: Column, words: &[(&str, T)]) -> Option<T> {
        let text = self.cell(column);
        if text.is_empty() {
            return None;
        }
        if let Some((_, value)) = words.iter().find(|(word, _)| *word == text) {
            return Some(*value);
        }
        let name = folded(text);
        let found = words.iter().find(|(word, _)| folded(word) == name);
        if found.is_none() {
            let (last, rest) = words.split_last().expect("a list of words is never empty");
            let rest: Vec<&str> = rest.iter().map(|(word, _)| *word).collect();
            self.fault(
                column,
                format!("expected {} or {}, or nothing", rest.join(", "), last.0),
            );
        }
        found.map(|(_, value)| *value)
    }

    /// A number from `least` to `most`; `None` for an empty or faulty cell.
    fn number(&mut self, column: Column, units: &[&str], least: f64, most: f64) -> Option<f64> {
        let text = self.cell(column);
        if text.is_empty() {
            return None;
        }
        match cell::number(text, units, self.head.decimal_comma) {
            Ok(value) if value < least && least == 0.0 => {
                self.fault(column, "expected a number without a sign, 0 or more");
                None
            }
            Ok(value) if value < least || value > most => {
                self.fault(column, format!("expected a number up to {most}"));
                None
            }
            Ok(value) => Some(value),
            Err(expected) => {
                self.fault(column, expected);
                None
            }
        }
    }

    /// A length in metres; `None` for an empty or faulty cell.
    fn length(&mut self, column: Column) -> Option<f64> {
        self.length_by(column, cell::length_m)
    }

    /// A length in metres, 0 or more; `None` for an empty or faulty cell.
    fn unsigned_length(&mut self, column: Column) -> Option<f64> {
        self.length_by(column, |text, unit, decimal_comma| {
            let value_m = cell::length_m(text, unit, decimal_comma)?;
            if value_m < 0.0 {
                return Err("expected a length without a sign, 0 or more".to_string());
            }
            Ok(value_m)
        })
    }

    /// A length in metres whose sign may be a word; `None` for an empty or faulty cell.
    fn signed_length(&mut self, column: Column, words: SignWords) -> Option<f64> {
        self.length_by(column, |text, unit, decimal_comma| {
            cell::signed_length_m(text, unit, words, decimal_comma)
        })
    }

    fn length_by(
        &mut self,
        column: Column,
        read: impl Fn(&str, LengthUnit, bool) -> Result<f64, String>,
    ) -> Option<f64> {
        let text = self.cell(column);
        let unit = self.columns.unit(column)?;
        if text.is_empty() {
            return None;
        }
        match read(text, unit, self.head.decimal_comma) {
            Ok(value_m) => Some(value_m),
            Err(expected) => {
                self.fault(column, expected);
                None
            }
        }
    }

    /// Where it came to rest along the line from the start mark, out of the two ways to say so.
    fn rest_along(
        &mut self,
        target_m: Option<f64>,
        long_m: Option<f64>,
        rest_m: Option<f64>,
    ) -> Option<f64> {
        let from_long_m = target_m.zip(long_m).map(|(target, long)| target + long);
        if let (Some(from_long_m), Some(rest_m)) = (from_long_m, rest_m)
            && (from_long_m - rest_m).abs() > REST_AGREES_M + BINARY_SLACK_M
        {
            let long = self.cell(Column::Long).to_string();
            let target = self.cell(Column::Target).to_string();
            self.fault(
                Column::Rest,
                format!(
                    "expected {} m, which is the target {target} and long {long} together; they must agree within 1 cm",
                    at_most_decimals(from_long_m, 3)
                ),
            );
        }
        from_long_m.or(rest_m)
    }

    /// What a run that is not void must say.
    fn needed(&mut self, kind: Kind, target_m: Option<f64>, rest_m: Option<f64>) {
        if self.cell(Column::Turns).is_empty() && self.columns.has(Column::Turns) {
            self.empty(
                Column::Turns,
                "expected the turns wound on; a run that went wrong may leave it empty with status void",
            );
        }
        let target_is_empty = self.cell(Column::Target).is_empty();
        let rest_is_empty = self.cell(Column::Rest).is_empty();
        let long_is_empty = self.cell(Column::Long).is_empty();
        let target_is_needed = kind == Kind::Launch || (rest_is_empty && !long_is_empty);
        if target_is_empty && target_is_needed {
            self.empty(Column::Target, "expected the distance to the target");
        }
        if rest_is_empty && long_is_empty {
            let column = if self.columns.has(Column::Long) {
                Column::Long
            } else {
                Column::Rest
            };
            if self.columns.has(column) {
                self.empty(
                    column,
                    "expected where it came to rest along the line; a run that went wrong may leave it empty \
                     with status void",
                );
            }
        }
        // A rest at or behind the start mark has no heading, and no turns carried it there.
        if rest_m.is_some_and(|rest_m| rest_m <= 0.0) && target_m.is_none_or(|t| t > 0.0) {
            let column = if long_is_empty {
                Column::Rest
            } else {
                Column::Long
            };
            self.fault(
                column,
                "that is at the start mark or behind it; expected a run ahead of it, or status void",
            );
        }
        if kind == Kind::HandRoll && self.turns_are_zero() {
            self.fault(Column::Turns, "expected more than 0 turns for a hand roll");
        }
    }

    fn turns_are_zero(&self) -> bool {
        let comma = self.head.decimal_comma;
        let zero = |column, units: &[&str]| {
            cell::number(self.cell(column), units, comma).is_ok_and(|value| value == 0.0)
        };
        zero(Column::Turns, &["turns", "turn"])
            && (self.cell(Column::Ticks).is_empty() || zero(Column::Ticks, &["ticks", "tick"]))
    }

    /// A warning where the tape from target to rest tells another story than the two measurements.
    fn compare_miss(
        &mut self,
        target_m: Option<f64>,
        rest_m: Option<f64>,
        right_m: Option<f64>,
        miss_m: Option<f64>,
    ) {
        let (Some(target_m), Some(rest_m), Some(miss_m)) = (target_m, rest_m, miss_m) else {
            return;
        };
        let long_m = rest_m - target_m;
        let straight_m = long_m.hypot(right_m.unwrap_or(0.0));
        let differs = match right_m {
            Some(_) => (straight_m - miss_m).abs() > MISS_AGREES_M + BINARY_SLACK_M,
            // Without the second measurement the miss can only be too small.
            None => straight_m - miss_m > MISS_AGREES_M + BINARY_SLACK_M,
        };
        if differs {
            let unit = self.columns.unit(Column::Miss).unwrap_or(LengthUnit::Cm);
            let other = if right_m.is_some() {
                "long and right together make"
            } else {
                "long alone is"
            };
            self.warn(
                Column::Miss,
                format!(
                    "{other} {} {}; the tape and the measurements differ by more than 2 cm; please look again",
                    at_most_decimals(unit.from_m(straight_m), 1),
                    unit.suffix()
                ),
            );
        }
    }

    /// What became of the run, after the roll-back and the gap have had their say.
    fn status(
        &mut self,
        said: Status,
        recoil_m: Option<f64>,
        gap_m: Option<f64>,
        setup: &Setup,
    ) -> Status {
        let met_obstacle = gap_m.is_some_and(|gap_m| gap_m <= 0.0);
        let rolled_back = recoil_m.is_some_and(|r| r >= setup.brake.recoil_from_m - BINARY_SLACK_M);
        match said {
            Status::Touched if gap_m.is_some() && !met_obstacle => self.warn(
                Column::Gap,
                "the status says it touched the obstacle, the gap says it did not; touched is taken",
            ),
            Status::Recoil if recoil_m == Some(0.0) => self.warn(
                Column::Recoil,
                "the status says it rolled back, this says it did not; recoil is taken",
            ),
            _ => {}
        }
        match said {
            // Touched runs are fitted nowhere, runs that rolled back still tell their heading: touched is the
            // stronger word.
            Status::Ok | Status::Recoil if met_obstacle => Status::Touched,
            Status::Ok if rolled_back => Status::Recoil,
            _ => said,
        }
    }
}
