//! Reads one record as one run: which cells must be filled, and which values contradict each other.

use super::cell::{self, LONG_SHORT, RIGHT_LEFT, SignWords};
use super::columns::LogColumns;
use super::header::Header;
use super::kind::LogKind;
use super::record::Record;
use super::run::{Kind, Load, Run, Status};
use crate::columns::{Column, folded};
use crate::fault::{Fault, Faults, Severity};
use crate::keys::misspelt;
use crate::setup::{Dial, Setup};
use crate::units::{LengthUnit, at_most_decimals};

/// How far `rest` and `long` of one row may disagree, m.
const REST_AGREES_M: f64 = 0.01;
/// How far the taped miss may differ from the other two measurements before a warning, m.
const MISS_AGREES_M: f64 = 0.02;
/// Tolerance in comparisons of lengths that were typed in decimals, m.
const BINARY_SLACK_M: f64 = 1e-9;
/// Most turns of a run; more are a slip. The limit also keeps every later sum far from overflow.
pub const MOST_TURNS: f64 = 100_000.0;
/// Nearest target, m; a nearer one is a slip. Distances are divided by it.
pub const SHORTEST_TARGET_M: f64 = 0.01;
/// Longest run time, s: a day.
const LONGEST_RUN_S: f64 = 86_400.0;
/// Largest number in the column `run`: whole numbers beyond it are no longer exact neighbours.
const LARGEST_ORDER: f64 = 1e9;

/// How the warning of ticks without a set-up begins.
const TICKS_UNTOLD: &str = "the log has ticks and no set-up says how many make a turn";

/// Whether a warning says that the ticks of a turn are assumed: an answer with settings says so itself.
pub fn says_ticks_are_assumed(fault: &Fault) -> bool {
    fault.expected.starts_with(TICKS_UNTOLD)
}

/// The run of a row.
pub struct RowRun {
    /// The run, without file, labels and date.
    pub run: Run,
    /// Its order within the session, as written.
    pub order: Option<f64>,
    /// Where it came to rest past the target, where the row says that itself, m.
    pub long_m: Option<f64>,
}

/// One record with what it takes to find its cells and to report faults of them.
pub struct RowReader<'t> {
    /// The header of the log it stands in.
    pub header: &'t Header,
    /// The log's columns.
    pub columns: &'t LogColumns,
    /// What the log holds.
    pub kind: LogKind,
    /// Its cells.
    pub record: &'t Record,
    /// Faults found in it are added here.
    pub faults: &'t mut Faults,
}

impl<'t> RowReader<'t> {
    /// Text of a column's cell; empty where the log lacks the column, and where a mark in it says that nothing was
    /// measured.
    pub fn cell(&self, column: Column) -> &'t str {
        let text = self.written(column);
        let is_measured = !column.repeats_above() && column != Column::Note;
        if is_measured && cell::is_not_measured(text) {
            ""
        } else {
            text
        }
    }

    /// Text of a column's cell as it stands there.
    pub fn written(&self, column: Column) -> &'t str {
        let index = self.columns.index(column);
        index.map_or("", |index| self.record.cell(index))
    }

    fn report(&mut self, severity: Severity, column: Column, read: bool, expected: String) {
        let text = self.written(column);
        self.faults.push(Fault {
            severity,
            column: Some(column.name().to_string()),
            read: read.then(|| text.to_string()),
            ..self
                .header
                .origin
                .error(self.record.line, self.columns.index(column), expected)
        });
    }

    /// Adds the fault of a cell that holds something else than what is expected.
    pub fn fault(&mut self, column: Column, expected: impl Into<String>) {
        self.report(Severity::Error, column, true, expected.into());
    }

    /// Adds the fault of an empty cell that must be filled.
    pub fn empty(&mut self, column: Column, expected: &str) {
        let mark = self.written(column);
        if mark.is_empty() {
            self.report(Severity::Error, column, false, format!("empty; {expected}"));
        } else {
            self.report(
                Severity::Error,
                column,
                true,
                format!("not measured; {expected}"),
            );
        }
    }

    fn warn(&mut self, column: Column, why: impl Into<String>) {
        self.report(Severity::Warning, column, true, why.into());
    }

    /// Whether the row has a cell for each column of the header; blank ones at the end of either do not count.
    pub fn has_the_headers_length(&mut self) -> bool {
        let (names, cells) = (&self.header.names.cells, &self.record.cells);
        let last_named = (0..names.len()).rev().find(|&i| !names[i].is_empty());
        let expected = last_named.map_or(0, |last| last + 1);
        let mut extra = cells.iter().skip(names.len());
        if cells.len() >= expected && extra.all(str::is_empty) {
            return true;
        }
        let hint = if cells.len() > expected && !self.header.decimal_comma {
            "; a decimal comma, or a comma in a note, makes two cells of one: write a point, or put the cell in quotation marks"
        } else if cells.len() < expected {
            "; an empty cell still needs its mark between columns"
        } else {
            ""
        };
        let why = format!(
            "{} cells; expected {expected}, as in the header{hint}",
            cells.len()
        );
        let origin = &self.header.origin;
        self.faults.push(origin.error(self.record.line, None, why));
        false
    }

    /// The run of a row, without file, labels and date, which depend on the rows above.
    ///
    /// * `ticks_seen` — whether a cell of ticks was filled so far
    pub fn run(&mut self, setup: &Setup, ticks_seen: &mut bool) -> RowRun {
        let kind = self.word(
            Column::Kind,
            &[("launch", Kind::Launch), ("hand_roll", Kind::HandRoll)],
        );
        let said = self.word(
            Column::Status,
            &[
                ("ok", Status::Ok),
                ("recoil", Status::Recoil),
                ("touched", Status::Touched),
                ("void", Status::Void),
            ],
        );
        let load = self.word(
            Column::Load,
            &[("whole", Load::Whole), ("broken", Load::Broken)],
        );
        let order = self.number(Column::Run, &[], -LARGEST_ORDER, LARGEST_ORDER);
        let target_m = self.length(Column::Target);
        let turns = self.turns(&setup.dial, ticks_seen);
        let long_m = self.signed_length(Column::Long, LONG_SHORT);
        let rest_m = self.length(Column::Rest);
        let right_m = self.signed_length(Column::Right, RIGHT_LEFT);
        let miss_m = self.unsigned_length(Column::Miss);
        let aim_right_m = match self.kind {
            LogKind::Season if !self.columns.has(Column::AimRight) => Some(0.0),
            _ => self.signed_length(Column::AimRight, RIGHT_LEFT),
        };
        let recoil_m = self.unsigned_length(Column::Recoil);
        let gap_m = self.length(Column::Gap);
        let lead_turns = self.number(Column::LeadTurns, &["turns", "turn"], 0.0, MOST_TURNS);
        let time_s = self.number(Column::Time, &["s", "sec"], 0.0, LONGEST_RUN_S);

        let void = said == Some(Status::Void);
        let kind = kind.unwrap_or_default();
        if let Some(target_m) = target_m
            && target_m < SHORTEST_TARGET_M
        {
            self.fault(
                Column::Target,
                "expected the distance to the target, at least 1 cm",
            );
        }
        let rest_m = self.rest_along(target_m, long_m, rest_m);
        if !void {
            self.needed(kind, target_m, rest_m);
        }
        self.compare_miss(target_m, rest_m, right_m, miss_m);
        let status = self.status(said.unwrap_or_default(), recoil_m, gap_m, setup);
        let run = Run {
            line: self.record.line as u32,
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
            ..Run::default()
        };
        RowRun { run, order, long_m }
    }

    /// Turns wound on: whole turns and ticks together.
    fn turns(&mut self, dial: &Dial, ticks_seen: &mut bool) -> Option<f64> {
        let turns = self.number(Column::Turns, &["turns", "turn"], 0.0, MOST_TURNS);
        let ticks = self.number(Column::Ticks, &["ticks", "tick"], 0.0, MOST_TURNS);
        if ticks.is_some() && !dial.is_told() && !*ticks_seen {
            self.warn(
                Column::Ticks,
                format!(
                    "{TICKS_UNTOLD}; {} assumed; write ticks_per_turn under [dial] in a set-up file",
                    dial.ticks_per_turn
                ),
            );
        }
        *ticks_seen |= ticks.is_some();
        let ticks = ticks.unwrap_or(0.0);
        if ticks >= f64::from(dial.ticks_per_turn) {
            self.warn(
                Column::Ticks,
                format!(
                    "the dial has {} ticks to the turn, so it never shows this; please look again",
                    dial.ticks_per_turn
                ),
            );
        }
        let turns = turns?;
        if ticks > 0.0 && turns.fract() != 0.0 {
            self.fault(
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

    /// One of a few words, without regard to case, spaces and underscores; `None` for an empty cell.
    fn word<T: Copy>(&mut self, column: Column, words: &[(&str, T)]) -> Option<T> {
        let text = self.cell(column);
        if text.is_empty() {
            return None;
        }
        let name = folded(text);
        let found = words.iter().find(|(word, _)| folded(word) == name);
        if let (None, Some(formula)) = (found, cell::formula(text)) {
            self.fault(column, formula);
        } else if found.is_none() {
            let (last, rest) = words.split_last().expect("a list of words is never empty");
            let rest: Vec<&str> = rest.iter().map(|(word, _)| *word).collect();
            let near = meant(column, &name)
                .map(|word| format!("; write {word}"))
                .or_else(|| {
                    let near = misspelt(text, words.iter().map(|(word, _)| *word))?;
                    Some(format!("; the nearest is {near}"))
                })
                .unwrap_or_default();
            self.fault(
                column,
                format!(
                    "expected {} or {}, or nothing{near}",
                    rest.join(", "),
                    last.0
                ),
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
        match cell::number(text, units, self.header.decimal_comma) {
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
        match read(text, unit, self.header.decimal_comma) {
            Ok(value_m) => Some(value_m),
            Err(expected) => {
                self.fault(column, expected);
                None
            }
        }
    }

    /// Where it came to rest along the line from the start mark, from `rest` or from target and `long`.
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

    /// Adds faults where a run that is not void lacks what it must say.
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
        if target_is_empty && target_is_needed && self.columns.has(Column::Target) {
            self.empty(Column::Target, "expected the distance to the target");
        }
        let is_misnamed = [Column::Long, Column::Rest]
            .into_iter()
            .any(|column| self.columns.is_misnamed(column));
        if rest_is_empty && long_is_empty && !is_misnamed {
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
        let comma = self.header.decimal_comma;
        let zero = |column, units: &[&str]| {
            cell::number(self.cell(column), units, comma).is_ok_and(|value| value == 0.0)
        };
        zero(Column::Turns, &["turns", "turn"])
            && (self.cell(Column::Ticks).is_empty() || zero(Column::Ticks, &["ticks", "tick"]))
    }

    /// Adds a warning where the taped miss disagrees with the miss computed from long and right.
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

    /// The status of the run, from its own column, the roll-back and the gap.
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

/// The word of a column for what people write in other words.
///
/// * `name` — what stands in the cell, folded
fn meant(column: Column, name: &str) -> Option<&'static str> {
    match column {
        Column::Status if name.starts_with("roll") => Some("recoil"),
        Column::Status if name.starts_with("hit") => Some("touched"),
        Column::Kind if name.starts_with("roll") || name.starts_with("push") => Some("hand_roll"),
        _ => None,
    }
}
