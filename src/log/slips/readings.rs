//! Cells that do not fit, and would if they were read another way: long for short, right for left, the aim mark on
//! the other side, millimetres in a column of centimetres.
//!
//! Along, the rows of a rig give a line of rest on turns; across, those of a trim a line of heading (less the aim) on
//! distance. Lines go through the middle of what is there (`robust.rs`), so that slips do not bend them. A row is
//! compared with the middle of the other rows of its session, a session with the others. Something is a slip only
//! when both hold: as written it is far off, and read another way it is as near as any.

use std::collections::BTreeMap;

use super::robust::{median, median_of_sorted, median_without, slope, spread};
use super::slip::Slip;
use crate::columns::Column;
use crate::log::group::RigIndices;
use crate::log::reader::Reading;
use crate::log::run::{Label, Run};
use crate::units::{LengthUnit, at_most_decimals, decimals};

/// Residual from which on a row is far off, in robust sds within a session, when the sd is known from very many rows. A
/// normal residual exceeds 4.5 sds once in 150,000 rows; gusts and nudges do more often, but another reading then
/// seldom fits.
const FAR: f64 = 4.5;
/// With an sd from this many rows the threshold is twice [`FAR`]: the sd may be much too small by chance.
const ROWS_THAT_DOUBLE: f64 = 10.0;
/// Residual up to which a row fits, in robust sds: 99 of 100 rows without a slip do.
const NEAR: f64 = 2.5;
/// Smallest length of a single row that may be ten or a hundred times too large: divided by so much, any smaller outlier
/// would fit.
const LEAST_LARGE_M: f64 = 1.5;
/// Read another way, a row's residual must be so many times smaller.
const TIMES_NEARER: f64 = 4.0;
/// Fewest rows of a rig or trim that make a line.
const FEWEST_ROWS: usize = 6;
/// Fewest rows of a session that is compared as a whole.
const FEWEST_IN_SESSION: usize = 3;
/// Fewest other sessions that a session is compared with.
const FEWEST_OTHERS: usize = 3;
/// A session that scatters by so many robust sds within the others may be written ten times too large: then it scatters
/// by ten. Divided by ten any session would fit. Of 1,200 invented seasons without a slip 1 had such a session; of 149 with
/// a session in millimetres 90 are asked about it.
const SCATTERS_TENFOLD: f64 = 4.0;
/// A session is far off when its median residual exceeds so many times the largest of the other sessions'.
const FAR_SESSION: f64 = 2.5;

/// Every cell of a rig that fits only when it is read another way, and the runs that have one, in order.
///
/// * `skip` — runs that have another slip already, in order
pub fn slips(reading: &Reading, rig: &RigIndices, skip: &[usize]) -> (Vec<Slip>, Vec<usize>) {
    let mut found = FoundSlips::default();
    let (mut along, mut across) = (BTreeMap::new(), BTreeMap::new());
    for &i in &rig.runs {
        let run = reading.run(i);
        if !run.is_fitted() || skip.binary_search(&i).is_ok() {
            continue;
        }
        let (Some(turns), Some(rest_m)) = (run.turns, run.rest_m) else {
            continue;
        };
        let row = |x, y| Row {
            run: i,
            session: run.session,
            x,
            y,
            off: 0.0,
        };
        let of_build: &mut Vec<Row> = along.entry(run.build).or_default();
        of_build.push(row(turns, rest_m));
        if let (Some(target_m), Some(right_m), Some(aim_right_m)) =
            (run.target_m, run.right_m, run.aim_right_m)
        {
            let of_trim: &mut Vec<Row> = across.entry(run.trim).or_default();
            of_trim.push(row(rest_m, heading(rest_m, target_m, right_m, aim_right_m)));
        }
    }
    Axis::new(Direction::Along, along).slips(reading, &mut found);
    for (trim, rows) in across {
        Axis::new(Direction::Across, BTreeMap::from([(trim, rows)])).slips(reading, &mut found);
    }
    found.runs.sort_unstable();
    (found.slips, found.runs)
}

/// Slips, and the runs that they are about: of a session that is told as a whole, all.
#[derive(Default)]
struct FoundSlips {
    slips: Vec<Slip>,
    runs: Vec<usize>,
}

/// The question where no other unit explains a length.
const A_POINT: &str = "is a decimal point in the wrong place?";

/// Another way to read a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Otherwise {
    /// With the other sign.
    Swapped(Column),
    /// Times ten to this power: in another unit than the column, or a decimal point in the wrong place.
    Times(Column, i32),
}

impl Otherwise {
    fn column(self) -> Column {
        match self {
            Otherwise::Swapped(column) | Otherwise::Times(column, _) => column,
        }
    }

    /// What the written length is multiplied by.
    fn factor(self) -> f64 {
        match self {
            Otherwise::Swapped(_) => -1.0,
            Otherwise::Times(_, power) => 10f64.powi(power),
        }
    }

    /// Whether the length as written would be too large.
    fn makes_smaller(self) -> bool {
        matches!(self, Otherwise::Times(_, power) if power < 0)
    }

    /// What to ask of one row; `unit` is that of the column.
    fn question(self, unit: Option<LengthUnit>) -> &'static str {
        match (self, unit) {
            (Otherwise::Swapped(Column::Long), _) => "long and short swapped?",
            (Otherwise::Swapped(Column::AimRight), _) => "is the aim mark on the wrong side?",
            (Otherwise::Swapped(_), _) => "right and left swapped?",
            (Otherwise::Times(_, -2), Some(LengthUnit::M)) => "centimetres taken for metres?",
            (Otherwise::Times(_, -1), Some(LengthUnit::Cm)) => "millimetres taken for centimetres?",
            (Otherwise::Times(_, 2), Some(LengthUnit::Cm)) => "metres taken for centimetres?",
            (Otherwise::Times(..), _) => A_POINT,
        }
    }
}

/// The length in a column that may be read otherwise, m.
fn length_m(run: &Run, column: Column) -> Option<f64> {
    match column {
        Column::Long => run.long_m(),
        Column::Right => run.right_m,
        _ => run.aim_right_m,
    }
}

/// One row: its predictor and response, and its residual once the line is known.
struct Row {
    run: usize,
    session: Label,
    x: f64,
    y: f64,
    off: f64,
}

/// Direction of the path less that of the aim: the difference of two angles from one tangent, as both lie ahead.
fn heading(rest_m: f64, target_m: f64, right_m: f64, aim_right_m: f64) -> f64 {
    (right_m * target_m - aim_right_m * rest_m).atan2(rest_m * target_m + right_m * aim_right_m)
}

/// Along: rest on turns by build. Across: heading on distance for a trim.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Direction {
    Along,
    Across,
}

impl Direction {
    /// Least sd within sessions: a smaller one is chance, or a tape read coarsely.
    fn least_spread(self) -> f64 {
        match self {
            Direction::Along => 0.02,
            Direction::Across => 0.004,
        }
    }

    /// Least residual that matters.
    fn least_off(self) -> f64 {
        match self {
            Direction::Along => 0.15,
            Direction::Across => 0.02,
        }
    }

    /// Words for an offset from the line.
    fn worded(self, off: f64) -> String {
        match self {
            Direction::Along => {
                let side = if off > 0.0 { "farther" } else { "less far" };
                format!("{} cm {side}", decimals(100.0 * off.abs(), 0))
            }
            Direction::Across => {
                let side = if off > 0.0 { "right" } else { "left" };
                format!(
                    "{} cm more to the {side} for each m ahead",
                    decimals(100.0 * off.abs(), 1)
                )
            }
        }
    }
}

/// The rows of one direction that are compared with one another.
struct Axis {
    direction: Direction,
    lines: Lines,
    sessions: Vec<Session>,
    /// Number of rows in all sessions.
    rows: usize,
}

/// A session's rows, and their residuals, sorted.
#[derive(Default)]
struct Session {
    rows: Vec<Row>,
    offs: Vec<f64>,
}

impl Session {
    /// The median residual of its rows.
    fn middle(&self) -> f64 {
        median_of_sorted(&self.offs).unwrap_or(0.0)
    }

    /// The median residual of its rows without one of them.
    fn middle_of_others(&self, row: &Row) -> f64 {
        let is_below = |off: &f64| off.total_cmp(&row.off).is_lt();
        let place = self.offs.partition_point(is_below);
        median_without(&self.offs, place).unwrap_or(0.0)
    }
}

impl Axis {
    /// Fits lines and residuals to the rows of each group that has an intercept of its own.
    fn new(direction: Direction, groups: BTreeMap<Label, Vec<Row>>) -> Self {
        let lines = line(&groups);
        let mut sessions: BTreeMap<Label, Session> = BTreeMap::new();
        for (group, rows) in groups {
            let Some(line) = lines.at(group) else {
                continue;
            };
            for mut row in rows {
                row.off = row.y - line(row.x);
                let session = sessions.entry(row.session).or_default();
                session.offs.push(row.off);
                session.rows.push(row);
            }
        }
        for session in sessions.values_mut() {
            session.offs.sort_unstable_by(f64::total_cmp);
        }
        Axis {
            direction,
            lines,
            rows: sessions.values().map(|session| session.rows.len()).sum(),
            sessions: sessions.into_values().collect(),
        }
    }

    /// Residuals of a row under its other readings.
    fn others(&self, reading: &Reading, row: &Row) -> Vec<(Otherwise, f64)> {
        let run = reading.run(row.run);
        let mut others = Vec::new();
        match self.direction {
            Direction::Along => {
                let line = self.lines.at(run.build);
                if let (Some(target_m), Some(long_m), Some(line), true) = (
                    run.target_m,
                    run.long_m(),
                    line,
                    reading.has(run, Column::Long),
                ) {
                    for otherwise in ways(reading, row, Column::Long) {
                        let rest_m = target_m + otherwise.factor() * long_m;
                        others.push((otherwise, rest_m - line(row.x)));
                    }
                }
            }
            Direction::Across => {
                let Some(line) = self.lines.at(run.trim) else {
                    return others;
                };
                let (Some(rest_m), Some(target_m), Some(right_m), Some(aim_m)) =
                    (run.rest_m, run.target_m, run.right_m, run.aim_right_m)
                else {
                    return others;
                };
                for otherwise in ways(reading, row, Column::Right) {
                    let right_m = otherwise.factor() * right_m;
                    let other = heading(rest_m, target_m, right_m, aim_m);
                    others.push((otherwise, other - line(row.x)));
                }
                if reading.has(run, Column::AimRight) {
                    for otherwise in ways(reading, row, Column::AimRight) {
                        let aim_m = otherwise.factor() * aim_m;
                        let other = heading(rest_m, target_m, right_m, aim_m);
                        others.push((otherwise, other - line(row.x)));
                    }
                }
            }
        }
        others
    }
}

/// The other readings of a length; a tenth of it only under centimetres, where millimetres are meant.
fn ways(reading: &Reading, row: &Row, column: Column) -> impl Iterator<Item = Otherwise> {
    let times = |power| Otherwise::Times(column, power);
    let tenth = (reading.unit(row.run, column) == Some(LengthUnit::Cm)).then_some(times(-1));
    let always = [Otherwise::Swapped(column), times(2), times(-2)];
    always.into_iter().chain(tenth)
}

/// A line for each group: an intercept for each and one slope for all.
struct Lines {
    slope: f64,
    middle: BTreeMap<Label, f64>,
}

impl Lines {
    fn at(&self, group: Label) -> Option<impl Fn(f64) -> f64> {
        let (slope, middle) = (self.slope, *self.middle.get(&group)?);
        Some(move |x| middle + slope * x)
    }
}

/// The lines of groups with rows enough: one slope through all rows, and the median intercept of each group.
fn line(groups: &BTreeMap<Label, Vec<Row>>) -> Lines {
    let points: Vec<Vec<(f64, f64)>> = groups
        .values()
        .map(|rows| rows.iter().map(|row| (row.x, row.y)).collect())
        .collect();
    let slope = slope(&points);
    let middle = groups.iter().filter(|(_, rows)| rows.len() >= FEWEST_ROWS);
    Lines {
        slope,
        middle: middle
            .filter_map(|(group, rows)| {
                let above = rows.iter().map(|row| row.y - slope * row.x).collect();
                Some((*group, median(above)?))
            })
            .collect(),
    }
}

/// Largest and second largest median residual of the sessions, so that the largest of the others is known for each.
struct Farthest {
    sessions: usize,
    farthest: f64,
    second: f64,
}

impl Axis {
    fn slips(&self, reading: &Reading, found: &mut FoundSlips) {
        let of_all = self.spread_of_all();
        let within = self.spread_within().unwrap_or(of_all);
        let farthest = self.farthest();
        for session in &self.sessions {
            if let Some(otherwise) = self.whole_session(reading, session, &farthest, within) {
                let slip = self.session_slip(reading, &session.rows, otherwise);
                found.slips.push(slip);
                found.runs.extend(session.rows.iter().map(|row| row.run));
                continue;
            }
            for row in &session.rows {
                // With a single other row it cannot be known which of the two is off.
                let (about, spread) = if session.rows.len() > 2 {
                    (session.middle_of_others(row), within)
                } else {
                    (0.0, of_all)
                };
                if let Some(otherwise) = self.row(reading, row, about, spread) {
                    let slip = self.row_slip(reading, row, about, otherwise);
                    found.slips.push(slip);
                    found.runs.push(row.run);
                }
            }
        }
    }

    fn spread_within(&self) -> Option<f64> {
        let mut offs = Vec::new();
        for session in &self.sessions {
            if session.rows.len() < FEWEST_IN_SESSION {
                continue;
            }
            let middle = session.middle();
            // Residuals from a session's own middle are too small: by √((n − 1)/n) for a mean.
            let n = session.rows.len() as f64;
            let wider = (n / (n - 1.0)).sqrt();
            offs.extend(session.offs.iter().map(|off| wider * (off - middle)));
        }
        spread(offs).map(|s| s.max(self.direction.least_spread()))
    }

    fn spread_of_all(&self) -> f64 {
        let all = self.sessions.iter().flat_map(|session| &session.offs);
        let all = spread(all.copied()).unwrap_or(0.0);
        all.max(self.direction.least_spread())
    }

    /// Residual from which on a row is far off, given the sd.
    fn far_off(&self, spread: f64) -> f64 {
        let far = FAR * (1.0 + ROWS_THAT_DOUBLE / self.rows as f64);
        (far * spread).max(self.direction.least_off())
    }

    /// How to read one row instead, if it is a slip.
    fn row(&self, reading: &Reading, row: &Row, about: f64, spread: f64) -> Option<Otherwise> {
        let off = (row.off - about).abs();
        if off < self.far_off(spread) {
            return None;
        }
        let run = reading.run(row.run);
        let may_be = |otherwise: Otherwise| {
            let length_m = length_m(run, otherwise.column()).unwrap_or(0.0);
            !otherwise.makes_smaller() || length_m.abs() >= LEAST_LARGE_M
        };
        let others = self.others(reading, row).into_iter();
        let others = others.map(|(otherwise, off)| (otherwise, (off - about).abs()));
        let fits = |left: f64| left < NEAR * spread && left * TIMES_NEARER < off;
        // Of two readings that fit, one by a sign or a unit is likelier than one by a point.
        let unlikely = |otherwise: Otherwise| {
            otherwise.question(reading.unit(row.run, otherwise.column())) == A_POINT
        };
        let likelier = |a: &(Otherwise, f64), b: &(Otherwise, f64)| {
            let by_kind = unlikely(a.0).cmp(&unlikely(b.0));
            by_kind.then(a.1.total_cmp(&b.1))
        };
        others
            .filter(|&(otherwise, left)| may_be(otherwise) && fits(left))
            .min_by(likelier)
            .map(|(otherwise, _)| otherwise)
    }

    fn farthest(&self) -> Farthest {
        let mut found = Farthest {
            sessions: 0,
            farthest: 0.0,
            second: 0.0,
        };
        for session in self
            .sessions
            .iter()
            .filter(|session| session.rows.len() >= 2)
        {
            let off = session.middle().abs();
            found.sessions += 1;
            if off > found.farthest {
                found.second = found.farthest;
                found.farthest = off;
            } else if off > found.second {
                found.second = off;
            }
        }
        found
    }

    /// How to read all rows of a session instead, if they share a slip: the other sign, or a day in millimetres (one in
    /// metres shows by how it is written: `metres.rs`).
    fn whole_session(
        &self,
        reading: &Reading,
        session: &Session,
        farthest: &Farthest,
        within: f64,
    ) -> Option<Otherwise> {
        let rows = &session.rows;
        if rows.len() < FEWEST_IN_SESSION || farthest.sessions - 1 < FEWEST_OTHERS {
            return None;
        }
        let least_off = self.direction.least_off();
        let of_few = within / (rows.len() as f64).sqrt();
        let judge = |offs: Vec<f64>| {
            let middle = median(offs.clone())?;
            let spread = spread(offs.into_iter().map(|off| off - middle))?;
            Some((middle.abs(), spread))
        };
        let middle = session.middle();
        let off = middle.abs();
        // Of the other sessions.
        let farthest = if off == farthest.farthest {
            farthest.second
        } else {
            farthest.farthest
        };
        let is_far = off > FAR_SESSION * farthest + 3.0 * of_few && off > least_off;
        let wide = (3.0 * within).max(least_off / 2.0);
        let scatter = spread(session.offs.iter().map(|off| off - middle));
        let scatters = rows.len() > FEWEST_IN_SESSION && scatter.is_some_and(|s| s > wide);
        if !is_far && !scatters {
            return None;
        }
        let others: Vec<Vec<(Otherwise, f64)>> =
            rows.iter().map(|row| self.others(reading, row)).collect();
        let columns = [Column::Long, Column::Right, Column::AimRight];
        let tenth = |column| Otherwise::Times(column, -1);
        let tenfold = scatters && scatter.is_some_and(|s| s > SCATTERS_TENFOLD * within);
        let tenths = columns.map(tenth).into_iter().filter(|_| tenfold);
        let swapped = columns.map(Otherwise::Swapped).into_iter();
        swapped
            .chain(tenths)
            .filter_map(|otherwise| {
                let other = |others: &Vec<(Otherwise, f64)>| {
                    let found = others.iter().find(|(o, _)| *o == otherwise);
                    found.map(|(_, off)| *off)
                };
                let (off_other, scatter_other) = judge(others.iter().filter_map(other).collect())?;
                let is_near = off_other < farthest + 2.0 * of_few && scatter_other < 2.0 * within;
                let is_tight =
                    scatter_other < 1.5 * within && off_other < 1.5 * farthest + 3.0 * of_few;
                let is_far = is_far && !otherwise.makes_smaller();
                ((is_far && is_near) || (scatters && is_tight)).then_some((otherwise, off_other))
            })
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(otherwise, _)| otherwise)
    }

    fn session_slip(&self, reading: &Reading, rows: &[Row], otherwise: Otherwise) -> Slip {
        let season = &reading.season;
        let label = &season.sessions[rows[0].session as usize];
        let (what, mended, advice) = match otherwise {
            Otherwise::Swapped(Column::Long) => (
                "long and short look swapped",
                "turned over",
                "turn the signs round if it says so (long, +, is past the target)",
            ),
            Otherwise::Swapped(Column::AimRight) => (
                "the aim mark looks to be written down on the wrong side",
                "turned over",
                "turn the signs round if it says so (right, +, is as seen from the start mark)",
            ),
            Otherwise::Swapped(_) => (
                "right and left look swapped",
                "turned over",
                "turn the signs round if it says so (right, +, is as seen from the start mark)",
            ),
            Otherwise::Times(..) => (
                "the lengths look ten times too large, as millimetres under centimetres are",
                "divided by ten",
                "write them in the unit of the heading",
            ),
        };
        let first = rows.iter().map(|row| row.run).min();
        Slip {
            run: first.unwrap_or_default(),
            column: otherwise.column(),
            why: format!(
                "in all {} runs of session \"{label}\" {what}: {mended} they agree with the other sessions, as they stand \
                 they do not; look at the sheet, and {advice}",
                rows.len()
            ),
        }
    }

    fn row_slip(&self, reading: &Reading, row: &Row, about: f64, otherwise: Otherwise) -> Slip {
        let run = reading.run(row.run);
        let off = self.direction.worded(row.off - about);
        let column = otherwise.column();
        let written_m = length_m(run, column).unwrap_or(0.0);
        let cm = |length_m: f64| {
            let cm = 100.0 * length_m;
            let word = match (column, cm < 0.0) {
                (Column::Long, false) => "long",
                (Column::Long, true) => "short",
                (_, false) => "right",
                (_, true) => "left",
            };
            let digits = if cm.abs() < 10.0 { 2 } else { 0 };
            let number = at_most_decimals(cm.abs(), digits);
            format!("{number} cm {word}")
        };
        Slip {
            run: row.run,
            column,
            why: format!(
                "{} does not fit: that is {off} than the other runs would say, and {} would fit; {}",
                cm(written_m),
                cm(otherwise.factor() * written_m),
                otherwise.question(reading.unit(row.run, column))
            ),
        }
    }
}
