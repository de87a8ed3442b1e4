//! A long text, read in parts side by side and joined in order.
//!
//! A part is read as if it were a log of its own: what only the rows above it tell (labels and dates left empty, how many
//! runs its sessions had, how many faults) is put right where it is joined. Where that cannot be, its rows are read once
//! more, as they come.

use std::io::{Empty, Read};
use std::mem;

use jiff::civil::Date;
use rayon::prelude::*;

use super::{AboveLabel, Adding, LABELS, Reader, counted_on, last_of};
use crate::fault::Faults;
use crate::log::columns::{Column, Columns};
use crate::log::limits;
use crate::log::run::Label;
use crate::log::table::{Head, Rows, Stop, Table};
use crate::log::text::Text;
use crate::setup::Setup;

/// Parts that are read side by side: a megabyte of text.
const SIDE_BY_SIDE: usize = 16;

/// Stand for a label and a date that repeat the last row above the part. No log holds them: a text with a zero character is
/// refused, and a year before 0 has no place in a date that is read.
const ABOVE: &str = "\0";
const ABOVE_DATE: Date = Date::MIN;

/// What is known of a log before its parts are read.
struct Log<'a, 'h> {
    setup: &'a Setup,
    head: &'h Head,
    columns: Columns,
    file: u32,
    ticks_seen: bool,
}

impl<'a, 'h> Log<'a, 'h> {
    fn of(reader: &Reader<'a>, adding: &Adding<'h>) -> Self {
        Log {
            setup: reader.setup,
            head: adding.head,
            columns: adding.columns.clone(),
            file: adding.file,
            ticks_seen: reader.ticks_seen,
        }
    }

    /// Reads a part.
    fn part(&self, mut text: Text<Empty>) -> Part<'a, 'h> {
        let mut reader = Reader::new(self.setup);
        reader.ticks_seen = self.ticks_seen;
        let mut adding = Adding::new(self.head, self.columns.clone(), self.file);
        for (above, column) in adding.above.labels.iter_mut().zip(LABELS) {
            above.text = self.columns.has(column).then(|| ABOVE.to_string());
        }
        adding.above.date = self.columns.has(Column::Date).then_some(ABOVE_DATE);
        let line = text.line();
        let is_whole = loop {
            match text.next() {
                Ok(Some(record)) => {
                    adding.any = true;
                    adding.columns.look_at_unnamed(&self.head.origin, &record);
                    reader.run(&mut adding, record);
                }
                Ok(None) => break true,
                Err(_) => break false,
            }
            // More than are listed: they are not to fill the memory.
            if adding.faults.0.len() > limits::FAULTS {
                break false;
            }
        };
        Part {
            text,
            line,
            reader,
            adding,
            ticks_seen_above: self.ticks_seen,
            is_whole,
        }
    }
}

/// Some rows of a log, read without those above.
struct Part<'a, 'h> {
    text: Text<Empty>,
    /// The line it begins at.
    line: usize,
    reader: Reader<'a>,
    adding: Adding<'h>,
    /// What [`Reader::ticks_seen`] was taken for above it.
    ticks_seen_above: bool,
    /// Whether it was read to its end.
    is_whole: bool,
}

impl Reader<'_> {
    /// As [`Reader::add_all`], for a text so long that reading it on all processors is worth the trouble.
    ///
    /// # Errors
    /// As of [`Reader::add_all`].
    pub fn add_long(
        &mut self,
        text: Text<impl Read + Send>,
        faults: &mut Faults,
    ) -> Result<(), Stop> {
        let mut table = Table::new(text)?;
        // On a thread of the pool: to hand over to one and wait costs at each step what a wake-up costs.
        rayon::scope(|_| self.add(&mut table, faults, Reader::rows_in_parts))
    }

    fn rows_in_parts(
        &mut self,
        table: &mut Table<Text<impl Read + Send>>,
        adding: &mut Adding,
    ) -> Result<(), Stop> {
        let (mut texts, mut read) = (Vec::new(), Vec::new());
        loop {
            while texts.is_empty() {
                self.join_all(adding, mem::take(&mut read), table)?;
                let Some(record) = table.next()? else {
                    return Ok(());
                };
                self.row(adding, record);
                if !table.any_waiting() {
                    texts = parts(table.rows())?;
                }
            }
            let log = Log::of(self, adding);
            let join_and_split = || {
                self.join_all(adding, read, table)?;
                parts(table.rows())
            };
            let read_all = || {
                let texts = texts.into_par_iter().with_max_len(1);
                texts.map(|text| log.part(text)).collect()
            };
            let (next, now) = rayon::join(join_and_split, read_all);
            (texts, read) = (next?, now);
        }
    }

    /// Adds parts of a table, in its order.
    fn join_all(
        &mut self,
        adding: &mut Adding,
        parts: Vec<Part>,
        table: &mut Table<Text<impl Read>>,
    ) -> Result<(), Stop> {
        for part in parts {
            let any = part.adding.any;
            let text = self.join(adding, part)?;
            if any {
                table.rows().go_on_from(&text);
            }
        }
        Ok(())
    }

    /// Adds a part, or its rows one by one; returns its text, read.
    fn join(&mut self, adding: &mut Adding, part: Part) -> Result<Text<Empty>, Stop> {
        if part.is_whole && self.can_take(adding, &part) {
            return Ok(self.take(adding, part));
        }
        let mut text = part.text;
        text.back_to_its_beginning(part.line);
        while let Some(record) = text.next()? {
            self.row(adding, record);
        }
        Ok(text)
    }

    /// Whether what only the rows above tell can be put right.
    fn can_take(&self, adding: &Adding, part: &Part) -> bool {
        let Part {
            reader: own,
            adding: of,
            ..
        } = part;
        let errors = of.faults.0.iter().filter(|fault| fault.is_error()).count();
        let within_limits = !adding.is_full
            && adding.errors + errors <= limits::FAULTS
            && self.season.runs.len() + own.season.runs.len() <= limits::ROWS
            && self.labels + own.labels <= limits::LABELS
            && self.label_bytes + own.label_bytes <= limits::LABEL_BYTES;
        // That the ticks of a turn are assumed is told once.
        let ticks_are_told = part.ticks_seen_above == self.ticks_seen || !own.ticks_seen;
        let session_above = &adding.above.labels[0];
        let any_session = session_above.text.is_some() || !own.known[0].contains_key(ABOVE);
        let last_order = |text: &String| {
            let known = self.known[0].get(text).copied();
            let label = if text == ABOVE {
                session_above.label
            } else {
                known
            };
            let last = label.and_then(|label| self.last_order.get(label as usize));
            last.copied().filter(|last| !last.is_nan()).unwrap_or(0.0)
        };
        // Orders that are counted on: ones with decimals could end in other digits.
        let orders_count_on = match of.orders_given {
            0 => {
                let mut sessions = own.season.sessions.iter();
                sessions.all(|text| last_order(text).fract() == 0.0)
            }
            given => given == own.season.runs.len(),
        };
        within_limits && ticks_are_told && any_session && orders_count_on
    }

    fn take(&mut self, adding: &mut Adding, part: Part) -> Text<Empty> {
        let Part {
            text,
            reader: mut own,
            adding: of,
            ..
        } = part;
        let above = &mut adding.above;
        let labels: [Vec<Label>; LABELS.len()] = std::array::from_fn(|kind| {
            let texts = mem::take(own.list_mut(LABELS[kind]));
            let here = |text: &String| match above.labels[kind].label {
                Some(above) if text == ABOVE => above,
                _ if text == ABOVE => self.label(kind, ""),
                _ => self.label(kind, text),
            };
            texts.iter().map(here).collect()
        });
        // Where nothing is written above, a cell left empty repeats nothing.
        let repeats_nothing: [Option<Label>; LABELS.len()] = std::array::from_fn(|kind| {
            let empty = own.known[kind].get(ABOVE).copied();
            empty.filter(|_| above.labels[kind].text.is_none())
        });
        let mut repeat_nothing = 0;
        let last_order = &mut self.last_order;
        let runs = &mut self.season.runs;
        runs.join(&own.season.runs, |shared, order, runs| {
            let mut shared = *shared;
            for (kind, label) in shared.labels().into_iter().enumerate() {
                if repeats_nothing[kind] == Some(*label) {
                    repeat_nothing += runs;
                }
                *label = labels[kind][*label as usize];
            }
            if shared.date == Some(ABOVE_DATE) {
                shared.date = above.date;
                repeat_nothing += if above.date.is_none() { runs } else { 0 };
            }
            let last = last_of(last_order, shared.session);
            let order = if of.orders_given > 0 {
                order
            } else {
                counted_on(*last)
            };
            *last = order + (runs - 1) as f64;
            (shared, order)
        });
        self.season.repeated_labels += own.season.repeated_labels - repeat_nothing;
        self.ticks_seen |= own.ticks_seen;
        for ((above, below), here) in above.labels.iter_mut().zip(of.above.labels).zip(&labels) {
            if let Some(label) = below.label
                && below.text.as_deref() != Some(ABOVE)
            {
                *above = AboveLabel {
                    text: below.text,
                    label: Some(here[label as usize]),
                };
            }
        }
        if of.above.date != Some(ABOVE_DATE) {
            above.date = of.above.date;
            above.date_text = of.above.date_text;
        }
        adding.any |= of.any;
        adding.columns.add_unnamed(of.columns);
        adding.faults = of.faults;
        adding.tell();
        text
    }
}

/// The next parts of a text; none where its next row is to be read as it comes.
fn parts(text: &mut Text<impl Read>) -> Result<Vec<Text<Empty>>, Stop> {
    let mut parts = Vec::new();
    while parts.len() < SIDE_BY_SIDE
        && let Some(part) = text.part()?
    {
        parts.push(part);
    }
    Ok(parts)
}

#[cfg(test)]
mod tests {
    use std::fmt::Write;
    use std::io::Cursor;

    use super::super::Reading;
    use super::*;

    /// What rows may have beside the usual; each is one bit of a log's kind.
    const LABELS_REPEAT: usize = 1;
    const NO_DATES: usize = 2;
    const ORDERS: usize = 4;
    const SOME_ORDERS: usize = 8;
    const QUOTED: usize = 16;
    const FAULTY: usize = 32;
    const NO_SESSION: usize = 64;
    const LATE_TICKS: usize = 128;
    const REMARKS: usize = 256;
    const KINDS: usize = 512;

    /// A log of some parts; what is odd comes far down in it too.
    fn log(kind: usize) -> String {
        let has = |bit| kind & bit != 0;
        let mut text = "session,date,vehicle,wheels,run,target_m,turns,ticks,long_cm,right_cm,status,,miss_cm\n".to_string();
        let mut at = 0.5_f64;
        let mut chance = |of: usize| {
            at = (at * 997.0 + 0.37).fract();
            (at * of as f64) as usize
        };
        for i in 0..6000 {
            let repeats = has(LABELS_REPEAT) && chance(30) != 0;
            let session = match i / 20 {
                _ if repeats || (has(NO_SESSION) && i < 2500) => String::new(),
                session => format!("s{}", session % 200),
            };
            let date = match i / 40 {
                _ if repeats || has(NO_DATES) => String::new(),
                day => format!("2026-03-{:02}", day % 28 + 1),
            };
            let vehicle = if repeats || i < 1500 {
                ""
            } else {
                ["One", "Two"][chance(2)]
            };
            let wheels = if repeats {
                ""
            } else {
                ["foam", "hård", "6\" foam", "\"6\"\" foam, hard\""]
                    [chance(if has(QUOTED) { 4 } else { 2 })]
            };
            let order = match chance(9) {
                0 if has(SOME_ORDERS) && i < 1500 => format!("0.{:03}", chance(1000)),
                _ if has(ORDERS) => (chance(50) + 1).to_string(),
                _ => String::new(),
            };
            let mut target = format!("{:.2}", 6.0 + chance(400) as f64 / 100.0);
            if has(FAULTY) && chance(200) == 0 {
                target = ["", "x", "-1", "7 m"][chance(4)].to_string();
            }
            let ticks = if has(LATE_TICKS) && i > 3000 {
                chance(20).to_string()
            } else {
                String::new()
            };
            let status = ["ok", "", "void", "Recoil"][chance(4)];
            let unnamed = if has(REMARKS) && i > 4000 && chance(500) == 0 {
                "x"
            } else {
                ""
            };
            let miss = if has(FAULTY) && chance(100) == 0 {
                "300"
            } else {
                ""
            };
            let (turns, long, right) = (chance(40), chance(300) as f64 / 10.0 - 15.0, chance(99));
            write!(
                text,
                "{session},{date},{vehicle},{wheels},{order},{target},{turns},{ticks},{long:.1},{right},{status},{unnamed},{miss}"
            )
            .unwrap();
            if has(FAULTY) && chance(400) == 0 {
                text += [",,,", ",9"][chance(2)];
            }
            text += if has(REMARKS) {
                ["\n", "\r\n", "\n\n", "\n# a remark\r\n"][chance(4)]
            } else {
                "\n"
            };
            if has(QUOTED) && (i > 3000 || i == 30) && chance(300) == 0 {
                text += "\"s\n# ,1\",\"2026-03-01\",,\"a \"\" b\",,6,27,,-1,,void,,\n";
                text += "s,2026-03-01,,\"x\ny\" 5\",,6,27,,-1,,void,,\n# never \"closed, \"\n";
            }
        }
        text
    }

    fn text(log: &str) -> Text<Cursor<Vec<u8>>> {
        let (first, rest) = log.as_bytes().split_at(1000);
        Text::new("t.csv", Cursor::new(rest.to_vec()), first.to_vec()).unwrap()
    }

    /// Everything that is read of some logs, or where reading stopped.
    fn read(logs: &[String], in_parts: bool) -> (Result<Reading, ()>, Faults, [usize; 2]) {
        let setup = Setup::default();
        let mut reader = Reader::new(&setup);
        let mut faults = Faults::default();
        for log in logs {
            let added = if in_parts {
                reader.add_long(text(log), &mut faults)
            } else {
                reader.add_all(text(log), &mut faults)
            };
            match added {
                Ok(()) => {}
                Err(Stop::Faults(more)) => faults.0.extend(more.0),
                Err(Stop::NotUtf8) => return (Err(()), faults, [0; 2]),
            }
        }
        let labels = [reader.labels, reader.label_bytes];
        (Ok(reader.finish()), faults, labels)
    }

    fn assert_same(logs: &[String], what: &str) {
        let (one, its_faults, its_labels) = read(logs, false);
        let (parts, faults, labels) = read(logs, true);
        assert_eq!(faults, its_faults, "{what}");
        assert_eq!(labels, its_labels, "{what}");
        match (one, parts) {
            (Ok(one), Ok(parts)) => {
                assert!(parts.season == one.season, "{what}");
                for (own, other) in one.sources.iter().zip(&parts.sources) {
                    assert_eq!(own.columns, other.columns, "{what}");
                }
            }
            (one, parts) => assert_eq!(one.is_err(), parts.is_err(), "{what}"),
        }
    }

    #[test]
    fn parts_side_by_side_are_read_as_row_after_row() {
        // Every kind alone, every pair, and some of many.
        let few = (0..KINDS).filter(|kind| kind.count_ones() <= 2 || kind % 37 == 0);
        for kind in few {
            let logs = [log(kind), log(kind ^ LABELS_REPEAT)];
            assert_same(&logs, &format!("kind {kind:b}"));
        }
    }

    #[test]
    fn what_ends_the_reading_ends_it_in_parts_too() {
        let plain = log(0);
        for bad in [
            "\"never closed\n1,2\n",
            "s,2026-03-01,,\"x\ny\" 5\",,6,27,,-1,,void,,\n",
            "a,\u{0},b\n",
            &"x".repeat(limits::ROW_CHARACTERS * 2),
            &format!("{}\n", "x,".repeat(limits::COLUMNS + 1)),
            &"1,2\n".repeat(limits::FAULTS + 2),
            &"1,2\n".repeat(limits::FAULTS),
        ] {
            assert_same(
                &[plain.clone() + bad + &plain[120..], plain.clone()],
                &bad.chars().take(20).collect::<String>(),
            );
        }
        // The last row looks like a mark never closed, and nothing but remarks comes behind it.
        let last = "s,2026-03-01,,\"x\ny\" 5\",,6,27,,-1,,void,,\n";
        let logs = [plain.clone() + last + &"# nothing\n".repeat(20_000)];
        assert_same(&logs, "remarks");
        assert!(read(&logs, true).1.any_error());
        // Errors enough of two parts together, and no session anywhere above.
        let some = "1,2\n".repeat(limits::FAULTS * 2 / 3);
        assert_same(
            &[plain.clone() + &some + &log(NO_SESSION) + &some + &plain],
            "errors apart",
        );
        let (header, rows) = plain.split_at(plain.find('\n').unwrap() + 1);
        let without = rows.replace("s0,", ",").replace("s1,", ",");
        assert_same(
            &[header.to_string() + &"1,2\n".repeat(30) + &without],
            "no session",
        );
        let bytes = [plain.as_bytes(), b"\xFF\n", plain.as_bytes()].concat();
        let setup = Setup::default();
        let mut reader = Reader::new(&setup);
        let text = Text::new("t.csv", Cursor::new(bytes), Vec::new()).unwrap();
        let stop = reader.add_long(text, &mut Faults::default());
        assert!(matches!(stop, Err(Stop::NotUtf8)));
        assert!(reader.finish().season.runs.is_empty());
    }

    #[test]
    fn clean_parts_are_taken_as_they_are() {
        for kind in [0, LABELS_REPEAT, NO_DATES, ORDERS, QUOTED, FAULTY, REMARKS] {
            let setup = Setup::default();
            let mut reader = Reader::new(&setup);
            let log = log(kind);
            let read = |reader: &mut Reader, table: &mut Table<Text<_>>, adding: &mut Adding| {
                while table.any_waiting() {
                    let record = table.next()?.expect("one waits");
                    reader.row(adding, record);
                }
                for text in parts(table.rows())? {
                    let part = Log::of(reader, adding).part(text);
                    assert!(
                        part.is_whole && reader.can_take(adding, &part),
                        "kind {kind:b}"
                    );
                    reader.join(adding, part)?;
                }
                Ok(())
            };
            let mut table = Table::new(text(&log)).unwrap();
            reader
                .add(&mut table, &mut Faults::default(), read)
                .unwrap();
            let taken = reader.finish().season.runs.len();
            assert!(taken > 4000, "kind {kind:b}: {taken}");
        }
    }
}
