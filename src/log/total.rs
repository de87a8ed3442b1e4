//! Rows of sums and means that people keep below their runs: they are no runs, and would be read as such.

use super::cell;
use super::columns::LogColumns;
use super::record::Record;
use super::row::RowReader;
use super::run::Run;
use crate::columns::Column;

/// Words that name such a row, where a cell holds nothing else. Names of people (Max, Min) are not among them.
const WORDS: [&str; 20] = [
    "total",
    "totals",
    "grand total",
    "subtotal",
    "sum",
    "sums",
    "mean",
    "means",
    "average",
    "averages",
    "avg",
    "median",
    "summe",
    "gesamt",
    "mittel",
    "mittelwert",
    "durchschnitt",
    "somme",
    "moyenne",
    "promedio",
];

/// How far a sum of lengths may be off, m: less than anybody writes down, more than rounding.
const SAME_M: f64 = 1e-6;
/// Fewest rows above that a sum is a sum of.
const FEWEST_SUMMED: usize = 2;
/// Fewest rows above, and fewest columns, that make a row of sums or means by its numbers alone.
const FEWEST_ABOVE: usize = 3;
const FEWEST_COLUMNS: usize = 2;
/// A run's numbers would all be the sums or means of those above in fewer than one in so many rows.
const CHANCE_MAX: f64 = 1e-5;
/// A bell curve is higher in its middle than the flat one over its range, by about this (normal, a range of 5 sd: 5/√2π).
const PEAK: f64 = 2.0;

/// The word in a row that says it holds totals, as written.
///
/// Looked for in the first filled cell and where a label, a number of a run or a target should stand; a note may say
/// "mean" of a run.
pub fn word<'r>(columns: &LogColumns, record: &'r Record) -> Option<&'r str> {
    let note = columns.index(Column::Note);
    let filled = record.cells.iter().enumerate();
    let first = filled
        .filter(|(index, cell)| Some(*index) != note && !cell.is_empty())
        .map(|(_, cell)| cell)
        .next();
    let places = [
        Column::Session,
        Column::Date,
        Column::Run,
        Column::Vehicle,
        Column::Wheels,
        Column::Target,
    ];
    let named = places
        .into_iter()
        .filter_map(|column| columns.index(column))
        .map(|index| record.cell(index));
    first.into_iter().chain(named).find(|cell| is_word(cell))
}

fn is_word(cell: &str) -> bool {
    let bare = cell.trim_end_matches([':', '.', '=', ' ']);
    WORDS.iter().any(|word| bare.eq_ignore_ascii_case(word))
}

/// The sums of the lengths of a log's rows so far, m.
#[derive(Debug, Default)]
pub struct Sums {
    rows: usize,
    target_m: f64,
    long_m: f64,
    rest_m: f64,
    right_m: f64,
}

impl Sums {
    /// Whether a row without a label of its own holds what the rows above add up to: every length that it has.
    ///
    /// * `long_m` — as written in the row, not computed from the rest
    pub fn are_in(&self, run: &Run, long_m: Option<f64>) -> bool {
        // Where long was written, the rest of the run is computed from it.
        let rest_m = run.rest_m.filter(|_| long_m.is_none());
        let pairs = [
            (run.target_m, self.target_m),
            (long_m, self.long_m),
            (rest_m, self.rest_m),
            (run.right_m, self.right_m),
        ];
        let written = pairs.iter().filter_map(|&(own, sum)| Some((own?, sum)));
        let mut any = false;
        let all = written.fold(true, |all, (own, sum)| {
            any |= own != 0.0;
            all && (own - sum).abs() <= SAME_M
        });
        all && any && self.rows >= FEWEST_SUMMED
    }

    /// Adds a row.
    pub fn add(&mut self, run: &Run, long_m: Option<f64>) {
        self.rows += 1;
        self.target_m += run.target_m.unwrap_or(0.0);
        self.long_m += long_m.unwrap_or(0.0);
        self.rest_m += run.rest_m.filter(|_| long_m.is_none()).unwrap_or(0.0);
        self.right_m += run.right_m.unwrap_or(0.0);
    }
}

/// The columns that people add up or average; ticks are counted with the turns.
const NUMBERS: [Column; 11] = [
    Column::Target,
    Column::Turns,
    Column::Long,
    Column::Rest,
    Column::Right,
    Column::Miss,
    Column::AimRight,
    Column::LeadTurns,
    Column::Recoil,
    Column::Gap,
    Column::Time,
];
/// The columns that a row of sums or means leaves empty.
const WORDED: [Column; 9] = [
    Column::Date,
    Column::Run,
    Column::Vehicle,
    Column::Wheels,
    Column::Build,
    Column::Trim,
    Column::Floor,
    Column::Status,
    Column::Kind,
];

/// The numbers of a log's rows so far, column by column: of all rows, and of the session's.
#[derive(Debug, Default)]
pub struct Above {
    all: [Numbers; NUMBERS.len()],
    session: [Numbers; NUMBERS.len()],
    label: String,
}

/// The numbers of one column.
#[derive(Debug, Default, Clone, Copy)]
struct Numbers {
    count: usize,
    sum: f64,
    least: f64,
    most: f64,
}

/// A number as written, and half of its last digit; both in metres, turns or seconds.
#[derive(Debug, Clone, Copy)]
struct Written {
    value: f64,
    half_digit: f64,
}

impl Numbers {
    fn add(&mut self, value: f64) {
        if self.count == 0 {
            (self.least, self.most) = (value, value);
        }
        self.count += 1;
        self.sum += value;
        self.least = self.least.min(value);
        self.most = self.most.max(value);
    }

    /// How likely a run's number is to come as near to the sum or the mean as this one does; `None` where it does not.
    ///
    /// A column without spread says nothing: there every run has the mean.
    fn chance(&self, number: Written, what: impl Fn(&Numbers) -> f64) -> Option<f64> {
        let expected = what(self);
        let room = number.half_digit.max(1e-9 * expected.abs());
        let agrees = (number.value - expected).abs() <= room * (1.0 + 1e-9);
        let range = self.most - self.least;
        agrees.then(|| (PEAK * 2.0 * room / range.max(f64::MIN_POSITIVE)).min(1.0))
    }
}

impl Above {
    /// Whether a row without a label holds the sums or the means of the columns above it: all of its numbers do, in two
    /// columns or more, and so nearly that a run hardly ever would.
    pub fn are_added_up_in(&self, row: &RowReader, ticks_per_turn: u32) -> bool {
        let empty = |&column: &Column| row.written(column).is_empty();
        if !empty(&Column::Session) || !WORDED.iter().all(empty) {
            return false;
        }
        let sum: fn(&Numbers) -> f64 = |numbers| numbers.sum;
        let mean: fn(&Numbers) -> f64 = |numbers| numbers.sum / numbers.count as f64;
        let is = |above| {
            [sum, mean]
                .into_iter()
                .any(|what| is_each(row, ticks_per_turn, above, what))
        };
        is(&self.all) || is(&self.session)
    }

    /// Adds a row.
    ///
    /// * `long_m` — as written in the row, not computed from the rest
    pub fn add(&mut self, row: &RowReader, run: &Run, long_m: Option<f64>) {
        let session = row.written(Column::Session);
        if !session.is_empty() && session != self.label {
            self.session = Default::default();
            self.label = session.to_string();
        }
        // Where rest was not written, it was computed from long.
        let rest_m = run.rest_m.filter(|_| !row.cell(Column::Rest).is_empty());
        let numbers = [
            run.target_m,
            run.turns,
            long_m,
            rest_m,
            run.right_m,
            run.miss_m,
            run.aim_right_m,
            run.lead_turns,
            run.recoil_m,
            run.gap_m,
            run.time_s,
        ];
        for (i, number) in numbers.into_iter().enumerate() {
            if let Some(number) = number {
                self.all[i].add(number);
                self.session[i].add(number);
            }
        }
    }
}

/// Whether every number of a row is the sum (or the mean) of those above.
///
/// * `ticks_per_turn` — of the dial in force
fn is_each(
    row: &RowReader,
    ticks_per_turn: u32,
    above: &[Numbers; NUMBERS.len()],
    what: impl Fn(&Numbers) -> f64 + Copy,
) -> bool {
    let (mut columns, mut chance) = (0, 1.0);
    for (numbers, &column) in above.iter().zip(&NUMBERS) {
        if row.written(column).is_empty() {
            continue;
        }
        let number = match column {
            Column::Turns => turns_written(row, ticks_per_turn),
            column => written(row, column),
        };
        let Some(number) = number.filter(|_| numbers.count >= FEWEST_ABOVE) else {
            return false;
        };
        match numbers.chance(number, what) {
            Some(one) => (columns, chance) = (columns + usize::from(one < 1.0), chance * one),
            None => return false,
        }
    }
    columns >= FEWEST_COLUMNS && chance < CHANCE_MAX
}

/// Turns and ticks of a row together.
fn turns_written(row: &RowReader, ticks_per_turn: u32) -> Option<Written> {
    let turns = written(row, Column::Turns)?;
    if row.written(Column::Ticks).is_empty() {
        return Some(turns);
    }
    let (ticks, per_turn) = (written(row, Column::Ticks)?, f64::from(ticks_per_turn));
    Some(Written {
        value: turns.value + ticks.value / per_turn,
        half_digit: turns.half_digit + ticks.half_digit / per_turn,
    })
}

/// The number of a cell; `None` where it has none.
fn written(row: &RowReader, column: Column) -> Option<Written> {
    let text = row.cell(column);
    let comma = row.header.decimal_comma;
    let mark = if comma { [',', '.'] } else { ['.', '.'] };
    let decimals = text.split_once(mark).map_or(0, |(_, behind)| {
        behind.bytes().take_while(u8::is_ascii_digit).count()
    });
    let half_digit = 0.5 * 10f64.powi(-(decimals.min(15) as i32));
    let Some(unit) = row.columns.unit(column) else {
        let value = cell::number(text, &[], comma).ok()?;
        return Some(Written { value, half_digit });
    };
    let words = match column {
        Column::Long => cell::LONG_SHORT,
        _ => cell::RIGHT_LEFT,
    };
    Some(Written {
        value: cell::signed_length_m(text, unit, words, comma).ok()?,
        half_digit: unit.to_m(half_digit),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_alone_names_totals_and_a_label_that_holds_it_does_not() {
        for cell in ["Total", "MEAN", "Average:", "Summe", "total ="] {
            assert!(is_word(cell), "{cell}");
        }
        for cell in ["", "Mean Street hall", "Total 3", "Max", "meant"] {
            assert!(!is_word(cell), "{cell}");
        }
    }

    #[test]
    fn a_run_that_goes_as_far_as_the_one_above_is_no_sum() {
        let run = Run {
            target_m: Some(8.0),
            ..Run::default()
        };
        let mut sums = Sums::default();
        sums.add(&run, Some(0.1));
        // One row above: its sum is itself, and the next run may well be the same.
        assert!(!sums.are_in(&run, Some(0.1)));
        sums.add(&run, Some(0.1));
        assert!(!sums.are_in(&run, Some(0.1)));
        let sum = Run {
            target_m: Some(16.0),
            ..Run::default()
        };
        assert!(sums.are_in(&sum, Some(0.2)));
        assert!(sums.are_in(&Run::default(), Some(0.2)));
        assert!(!sums.are_in(&Run::default(), Some(0.0)));
    }
}
