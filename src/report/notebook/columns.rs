//! The columns of an empty log: what each means, and what its cells take.

use crate::columns::Column;
use crate::setup::Setup;

/// What the cells of a column take.
#[derive(Debug, Clone, Copy)]
pub(super) enum Takes {
    /// A text that is not repeated.
    Text,
    /// A day.
    Day,
    /// A name that is written again and again: those of a list are offered.
    Name,
    /// One of some words.
    Word(&'static [&'static str]),
    /// A whole number within a range.
    Whole(i32, i32),
    /// A number within a range.
    Number(f64, f64),
    /// A measurement within a range; a word may stand in place of its sign, or a mark for not measured.
    Measured(f64, f64),
}

/// A column of an empty log.
pub(super) struct LogColumn {
    pub column: Column,
    /// Whether every run needs it.
    pub is_needed: bool,
    /// Width, in characters.
    pub width: f64,
    pub takes: Takes,
    /// One line, in ASCII and without commas, semicolons and quotation marks: as a comment of a CSV file it must survive a
    /// spreadsheet program that opens and saves the file.
    pub means: String,
    pub example: &'static str,
}

/// Most ticks on a dial nobody has told of.
const TICKS_AT_MOST: i32 = 99;
/// Most turns that a cell takes: some twenty metres.
const TURNS_AT_MOST: f64 = 99.0;
/// Nearest and farthest target, m.
const TARGET_M: (f64, f64) = (0.5, 50.0);
/// Farthest from the target, along and across, cm.
const ALONG_CM: f64 = 500.0;
const ACROSS_CM: f64 = 300.0;
/// Most turns of brake lead.
const LEAD_TURNS: f64 = 20.0;
/// Longest run time, s.
const TIME_S: f64 = 60.0;

/// The columns, in the order in which a run fills them in.
pub(super) fn columns(setup: &Setup) -> Vec<LogColumn> {
    let most_ticks = match setup.dial.is_told() {
        true => i32::try_from(setup.dial.ticks_per_turn).map_or(TICKS_AT_MOST, |ticks| ticks - 1),
        false => TICKS_AT_MOST,
    };
    let mut columns = labels();
    columns.extend(settings(most_ticks));
    columns.extend(results());
    columns
}

fn column(
    column: Column,
    width: f64,
    takes: Takes,
    example: &'static str,
    means: &str,
) -> LogColumn {
    let is_needed = matches!(
        column,
        Column::Session | Column::Target | Column::Turns | Column::Long
    );
    LogColumn {
        column,
        is_needed,
        width,
        takes,
        means: means.to_string(),
        example,
    }
}

fn labels() -> Vec<LogColumn> {
    use Takes::{Day, Name, Text};
    vec![
        column(
            Column::Session,
            12.0,
            Text,
            "Sat 14",
            "which day: the runs of one day on one lane with nothing taken off or re-set. Any name. Left empty it repeats \
             the row above",
        ),
        column(
            Column::Date,
            12.0,
            Day,
            "2026-03-14",
            "the day with the year first (2026-03-14) or with dots (14.3.2026). Left empty it repeats the row above",
        ),
        column(
            Column::Vehicle,
            12.0,
            Name,
            "Thistle",
            "name of the vehicle. Left empty it repeats the row above",
        ),
        column(
            Column::Wheels,
            10.0,
            Name,
            "foam",
            "name of the wheel set that is on. Left empty it repeats the row above",
        ),
        column(
            Column::Build,
            12.0,
            Name,
            "long string",
            "a name for the state of everything but wheels and steering: mass and string and load and brake elastic. \
             Change one of them and write a new name",
        ),
        column(
            Column::Trim,
            12.0,
            Name,
            "first trim",
            "a name for the state of steering and sight and launcher. Re-trim it and write a new name",
        ),
        column(
            Column::Floor,
            10.0,
            Name,
            "gym",
            "which floor. Left empty it repeats the row above",
        ),
    ]
}

fn settings(most_ticks: i32) -> Vec<LogColumn> {
    use Takes::{Measured, Number, Whole};
    let mut columns = vec![
        column(
            Column::Target,
            10.0,
            Number(TARGET_M.0, TARGET_M.1),
            "8.35",
            "how far the target is from the start mark in m",
        ),
        column(
            Column::Turns,
            8.0,
            Number(0.0, TURNS_AT_MOST),
            "36",
            "wheel turns wound on and read just before release: whole turns with ticks beside them or decimal turns alone",
        ),
        column(Column::Ticks, 7.0, Whole(0, most_ticks), "12", ""),
        column(
            Column::AimRight,
            14.0,
            Measured(-ACROSS_CM, ACROSS_CM),
            "-23.5",
            "where the aim mark stood beside the target in cm: + right of it / - left of it / 0 at the target. Or in \
             words: 6 left",
        ),
        column(
            Column::LeadTurns,
            11.0,
            Number(0.0, LEAD_TURNS),
            "1.5",
            "brake lead: the turns by which the soft brake takes hold before the hard stop",
        ),
    ];
    columns[2].means = format!(
        "dial ticks on top of the whole turns: 0 to {most_ticks}. No fraction of a turn beside them"
    );
    columns
}

fn results() -> Vec<LogColumn> {
    use Takes::{Measured, Text, Word};
    vec![
        column(
            Column::Long,
            10.0,
            Measured(-ALONG_CM, ALONG_CM),
            "-4.5",
            "where it came to rest along the line in cm: + past the target / - before it. Or in words: 14 short",
        ),
        column(
            Column::Right,
            10.0,
            Measured(-ACROSS_CM, ACROSS_CM),
            "2",
            "where it came to rest across the line in cm as seen from the start mark: + right / - left. Or in words: 6 \
             left. Left empty: not measured",
        ),
        column(
            Column::Status,
            10.0,
            Word(&["ok", "recoil", "touched", "void"]),
            "ok",
            "ok / recoil: it rolled back / touched: it met the obstacle / void: something else went wrong and that was \
             said before measuring. Left empty it is ok",
        ),
        column(
            Column::Recoil,
            11.0,
            Measured(0.0, ACROSS_CM),
            "0",
            "how far it rolled back in cm. 0: watched and it did not. Left empty: nobody watched",
        ),
        column(
            Column::Gap,
            9.0,
            Measured(-ACROSS_CM, ACROSS_CM),
            "11",
            "how far it went past the obstacle in cm. 0 or less: it touched",
        ),
        column(
            Column::Load,
            9.0,
            Word(&["whole", "broken"]),
            "whole",
            "what became of the fragile load. Left empty: not noted",
        ),
        column(
            Column::Time,
            9.0,
            Measured(0.0, TIME_S),
            "3.8",
            "run time in seconds",
        ),
        column(
            Column::Kind,
            11.0,
            Word(&["launch", "hand_roll"]),
            "launch",
            "hand_roll: pushed slowly with the brake free to measure how far a turn goes. Left empty it is a launch",
        ),
        column(
            Column::Note,
            30.0,
            Text,
            "new string",
            "anything worth remembering",
        ),
    ]
}
