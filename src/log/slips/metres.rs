//! Metres written in a column of centimetres (or millimetres): the whole column, a session, single cells.
//!
//! A whole column shows by its size: nothing stops within a centimetre of the target run after run. Beside cells in the
//! right unit it shows by how it is written: who reads a tape to half a centimetre writes 0.11 only for metres. Of 1,200
//! invented seasons none was asked about, of 149 with a session in metres all, of 149 with a run in metres 146.

use std::collections::BTreeMap;

use super::slip::Slip;
use crate::columns::Column;
use crate::log::limits;
use crate::log::reader::Reading;
use crate::log::run::{Label, Run, Status};
use crate::units::{LengthUnit, at_most_decimals};

/// Fewest lengths that are below 1 cm before a column is taken for metres: with the smallest spread that any vehicle has
/// shown (3 cm) so many are once in 200 logs, with a usual one (5 cm and more) once in 2,000.
const FEWEST_BELOW_ONE: usize = 4;
/// One length in so many may be another: a run that went far off, or a cell in the right unit.
const ONE_OTHER_IN: usize = 10;
/// Fewest lengths of a session that is asked about as a whole.
const FEWEST_OF_SESSION: usize = 3;
/// Where one in fewer of the ordinary lengths has two decimals, a tape is read so finely, or a formula gave the lengths.
const ONE_FINE_IN: usize = 20;
/// What rounding leaves of a written number.
const ROUNDING: f64 = 1e-6;

/// Every column, session and cell of a season's logs that looks like metres under another unit.
pub fn slips(reading: &Reading) -> Vec<Slip> {
    let mut rows: Vec<Vec<usize>> = vec![Vec::new(); reading.logs.len()];
    for (i, run) in reading.season.runs.iter().enumerate() {
        // Of the others some went metres off, and nobody measures them with care.
        if matches!(run.status, Status::Ok | Status::Recoil) {
            rows[run.file as usize].push(i);
        }
    }
    let mut slips = Vec::new();
    for rows in &rows {
        let long = Lengths::new(reading, rows, Column::Long, Run::long_m);
        let right = Lengths::new(reading, rows, Column::Right, |run| run.right_m);
        slips.extend(long.slips(reading));
        slips.extend(right.slips(reading));
    }
    slips.truncate(limits::FAULTS);
    slips
}

/// A length as it was written, in the unit of its column.
#[derive(Clone, Copy)]
struct Cell {
    run: usize,
    session: Label,
    written: f64,
}

impl Cell {
    fn is_small(&self) -> bool {
        self.written.abs() < 1.0
    }

    fn has_at_most(&self, decimals: i32) -> bool {
        let shifted = self.written * 10f64.powi(decimals);
        (shifted - shifted.round()).abs() < ROUNDING * shifted.abs().max(1.0)
    }

    /// Whether it has more than one decimal.
    fn is_fine(&self) -> bool {
        !self.has_at_most(1)
    }

    /// Whether it is written as people write metres: to the centimetre or millimetre.
    fn looks_like_metres(&self) -> bool {
        self.is_small() && self.is_fine() && self.has_at_most(3)
    }
}

/// The lengths of one column of a log that are not 0.
struct Lengths {
    column: Column,
    unit: LengthUnit,
    cells: Vec<Cell>,
}

impl Lengths {
    fn new(reading: &Reading, rows: &[usize], column: Column, of: fn(&Run) -> Option<f64>) -> Self {
        let unit = rows.first().and_then(|&i| reading.unit(i, column));
        let small = unit.filter(|unit| matches!(unit, LengthUnit::Cm | LengthUnit::Mm));
        let cell = |&run: &usize| {
            let length_m = of(reading.run(run)).filter(|x| x.abs() > 1e-9)?;
            Some(Cell {
                run,
                session: reading.run(run).session,
                written: small?.from_m(length_m),
            })
        };
        Lengths {
            column,
            unit: small.unwrap_or(LengthUnit::Cm),
            cells: rows.iter().filter_map(cell).collect(),
        }
    }

    fn slips(&self, reading: &Reading) -> Vec<Slip> {
        if let (true, Some(first)) = (self.is_in_metres(), self.cells.first()) {
            return vec![self.whole_column(first)];
        }
        let ordinary = || self.cells.iter().filter(|cell| !cell.is_small());
        let fine = ordinary().filter(|cell| cell.is_fine()).count();
        if fine * ONE_FINE_IN > ordinary().count() {
            return Vec::new();
        }
        let mut sessions: BTreeMap<Label, Vec<Cell>> = BTreeMap::new();
        for cell in &self.cells {
            sessions.entry(cell.session).or_default().push(*cell);
        }
        let of_session = |cells: Vec<Cell>| self.of_session(reading, &cells);
        sessions.into_values().flat_map(of_session).collect()
    }

    fn is_in_metres(&self) -> bool {
        self.cells.len() >= FEWEST_BELOW_ONE && nearly_all_small(&self.cells)
    }

    fn whole_column(&self, first: &Cell) -> Slip {
        let small = self.cells.iter().filter(|cell| cell.is_small()).count();
        let which = match (small, self.cells.len()) {
            (small, all) if small == all => format!("all {all}"),
            (small, all) => format!("{small} of {all}"),
        };
        self.slip(
            first,
            format!(
                "{which} lengths in this column are below 1 {}: were they typed in metres? Then the heading should say m",
                self.unit.suffix()
            ),
        )
    }

    /// One question for a session that is written in metres from first to last, else one for each cell.
    fn of_session(&self, reading: &Reading, cells: &[Cell]) -> Vec<Slip> {
        let metres: Vec<&Cell> = cells.iter().filter(|c| c.looks_like_metres()).collect();
        let is_whole = cells.len() >= FEWEST_OF_SESSION
            && nearly_all_small(cells)
            && 2 * metres.len() >= cells.len();
        match metres.first() {
            Some(first) if is_whole => vec![self.whole_session(reading, first)],
            _ => metres.into_iter().map(|cell| self.cell(cell)).collect(),
        }
    }

    fn whole_session(&self, reading: &Reading, first: &Cell) -> Slip {
        let unit = self.unit.suffix();
        let label = &reading.season.sessions[first.session as usize];
        self.slip(
            first,
            format!(
                "the lengths of session \"{label}\" are below 1 {unit} and written to a hundredth of it, unlike the others: \
                 were they typed in metres?"
            ),
        )
    }

    fn cell(&self, cell: &Cell) -> Slip {
        let unit = self.unit.suffix();
        self.slip(
            cell,
            format!(
                "{} {unit} is finer than a tape is read: was it typed in metres? Then it is {} {unit}",
                at_most_decimals(cell.written, 3),
                at_most_decimals(cell.written * self.unit.from_m(1.0), 1)
            ),
        )
    }

    fn slip(&self, at: &Cell, why: String) -> Slip {
        Slip {
            run: at.run,
            column: self.column,
            why,
        }
    }
}

/// Whether at most one in ten lengths is 1 or more.
fn nearly_all_small(cells: &[Cell]) -> bool {
    let others = cells.iter().filter(|cell| !cell.is_small()).count();
    others * ONE_OTHER_IN <= cells.len()
}
