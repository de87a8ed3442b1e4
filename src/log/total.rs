//! Rows of sums and means that people keep below their runs: they are no runs, and would be read as such.

use super::columns::LogColumns;
use super::record::Record;
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
