//! What stands around a figure.

use crate::report::words;
use crate::stats::interval::Interval;

/// A row of a fold's table; the first cell says what it is.
pub type TableRow = Vec<String>;

/// The words and numbers that stand around one figure.
#[derive(Default)]
pub struct Below {
    /// Caption in plain words.
    pub caption: String,
    /// Heads of the columns, where there is more than one.
    pub head: Vec<&'static str>,
    /// Estimates and intervals.
    pub rows: Vec<TableRow>,
    /// Formula and sources.
    pub fold: Vec<String>,
}

/// A row of two cells.
pub fn row(what: &str, value: String) -> TableRow {
    vec![what.to_string(), value]
}

/// A row of an estimate with its interval, in another unit.
pub fn interval_row(what: &str, interval: Interval, factor: f64, unit: &str) -> TableRow {
    row(
        what,
        format!("{} {unit}", words::interval(&interval.scaled(factor))),
    )
}
