//! Cells that do not fit, and would if they were read another way: long for short, right for left, the aim mark on
//! the other side, metres in a column of centimetres.
//!
//! Along, the rows of a rig give a line of rest on turns; across, those of a trim a line of heading (less the aim) on
//! distance. Lines go through the middle of what is there (`robust.rs`), so that slips do not bend them. A row is
//! compared with the middle of the other rows of its session, a session with the others. Something is a slip only
//! when both hold: as written it is far off, and read another way it is as near as any.

use std::collections::BTreeMap;

use super::Slip;
use super::robust::{median, slope, spread};
use crate::log::columns::Column;
use crate::log::group;
use crate::log::row::Reading;
use crate::log::run::{Label, Run};
use crate::units::decimals;

/// A row is far off from here on, in spreads within a session, when those are known from very many rows. Chance alone
/// goes beyond 4.5 once in 150,000 rows; gusts and nudges do more often, but then seldom does another reading fit.
const FAR: f64 = 4.5;
/// A spread known from so many rows asks for twice that: it may be much too small by luck.
const ROWS_THAT_DOUBLE: f64 = 10.0;
/// And near again up to here: 99 rows in 100 without a slip are.
const NEAR: f64 = 2.5;
/// A length below this is not taken for a hundred times a smaller one: divided by a hundred, any outlier fits.
const LEAST_LARGE_M: f64 = 1.5;
/// Read another way a row must be so many times nearer.
const TIMES_NEARER: f64 = 4.0;
/// Fewest rows of a rig or trim that make a line.
const FEWEST_ROWS: usize = 6;
/// Fewest rows of a session that is compared as a whole.
const FEWEST_IN_SESSION: usize = 3;
/// Fewest other sessions it is compared with.
const FEWEST_OTHERS: usize = 3;
/// A session is far off from here on, in distances of the farthest of the others.
const FAR_SESSION: f64 = 2.5;

/// Every slip of this kind.
///
/// * `skip` — runs that have another slip already
pub fn slips(reading: &Reading, skip: &[bool]) -> Vec<Slip> {
    let mut slips = Vec::new();
    for rig in group::rigs(&reading.season) {
        let runs: Vec<usize> = rig
            .runs
            .into_iter()
            .filter(|&run| !skip[run] && reading.season.runs[run].is_fitted())
            .collect();
        along(reading, &runs).slips(reading, &mut slips);
        let mut trims: BTreeMap<Label, Vec<usize>> = BTreeMap::new();
        for &run in &runs {
            trims
                .entry(reading.season.runs[run].trim)
                .or_default()
                .push(run);
        }
        for runs in trims.values() {
            across(reading, runs).slips(reading, &mut slips);
        }
    }
    slips
}

/// Another way to read a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Otherwise {
    /// With the other sign.
    Swapped(Column),
    /// Written a hundred times too large or too small: centimetres in a column of metres, or the other way round.
    Larger(Column),
    Smaller(Column),
}

/// One row: how far it is from the line as written, and read in other ways.
struct Seen {
    run: usize,
    session: Label,
    off: f64,
    others: Vec<(Otherwise, f64)>,
}

/// Rows that can be compared, along or across.
struct Axis {
    seen: Vec<Seen>,
    /// A smaller spread is luck, or a tape read coarsely.
    least_spread: f64,
    /// What is nearer than this does no harm.
    least_off: f64,
    /// Words for an offset from the line.
    worded: fn(f64) -> String,
}

fn along(reading: &Reading, runs: &[usize]) -> Axis {
    let season = &reading.season;
    let mut builds: BTreeMap<Label, Vec<(usize, f64, f64)>> = BTreeMap::new();
    for &run in runs {
        let r = &season.runs[run];
        if let (Some(turns), Some(rest_m)) = (r.turns, r.rest_m) {
            builds
                .entry(r.build)
                .or_default()
                .push((run, turns, rest_m));
        }
    }
    let line = line(&builds);
    let mut seen = Vec::new();
    for (build, rows) in &builds {
        let Some(line) = line.at(*build) else {
            continue;
        };
        for &(run, turns, rest_m) in rows {
            let r = &season.runs[run];
            let off = |rest_m: f64| rest_m - line(turns);
            let mut others = Vec::new();
            if let (Some(target_m), Some(long_m), true) =
                (r.target_m, r.long_m(), reading.has(r, Column::Long))
            {
                for (otherwise, factor) in ways(Column::Long, long_m) {
                    others.push((otherwise, off(target_m + factor * long_m)));
                }
            }
            seen.push(Seen {
                run,
                session: r.session,
                off: off(rest_m),
                others,
            });
        }
    }
    Axis {
        seen,
        least_spread: 0.02,
        least_off: 0.15,
        worded: |off_m| {
            let side = if off_m > 0.0 { "farther" } else { "less far" };
            format!("{} cm {side}", decimals(100.0 * off_m.abs(), 0))
        },
    }
}

fn across(reading: &Reading, runs: &[usize]) -> Axis {
    let season = &reading.season;
    let heading = |run: &Run, right_factor: f64, aim_factor: f64| {
        let (rest_m, target_m) = (run.rest_m?, run.target_m?);
        let (right_m, aim_m) = (run.right_m? * right_factor, run.aim_right_m? * aim_factor);
        Some(right_m.atan2(rest_m) - aim_m.atan2(target_m))
    };
    let mut rows = Vec::new();
    for &run in runs {
        let r = &season.runs[run];
        if let (Some(rest_m), Some(off)) = (r.rest_m, heading(r, 1.0, 1.0)) {
            rows.push((run, rest_m, off));
        }
    }
    let one_trim = BTreeMap::from([(0, rows)]);
    let line = line(&one_trim);
    let mut seen = Vec::new();
    if let Some(line) = line.at(0) {
        for &(run, rest_m, as_written) in &one_trim[&0] {
            let r = &season.runs[run];
            let mut others = Vec::new();
            for (otherwise, factor) in ways(Column::Right, r.right_m.unwrap_or(0.0)) {
                others.extend(heading(r, factor, 1.0).map(|h| (otherwise, h - line(rest_m))));
            }
            if reading.has(r, Column::AimRight) {
                for (otherwise, factor) in ways(Column::AimRight, r.aim_right_m.unwrap_or(0.0)) {
                    others.extend(heading(r, 1.0, factor).map(|h| (otherwise, h - line(rest_m))));
                }
            }
            seen.push(Seen {
                run,
                session: r.session,
                off: as_written - line(rest_m),
                others,
            });
        }
    }
    Axis {
        seen,
        least_spread: 0.004,
        least_off: 0.02,
        worded: |off| {
            let side = if off > 0.0 { "right" } else { "left" };
            format!(
                "{} cm more to the {side} for each m ahead",
                decimals(100.0 * off.abs(), 1)
            )
        },
    }
}

/// The other ways to read a length, each with what it multiplies it by.
fn ways(column: Column, length_m: f64) -> impl Iterator<Item = (Otherwise, f64)> {
    let large = (length_m.abs() >= LEAST_LARGE_M).then_some((Otherwise::Larger(column), 0.01));
    [
        (Otherwise::Swapped(column), -1.0),
        (Otherwise::Smaller(column), 100.0),
    ]
    .into_iter()
    .chain(large)
}

/// A line for each group, with one slope for all.
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

/// No line where there are too few rows.
fn line(groups: &BTreeMap<Label, Vec<(usize, f64, f64)>>) -> Lines {
    let points: Vec<Vec<(f64, f64)>> = groups
        .values()
        .map(|rows| rows.iter().map(|&(_, x, y)| (x, y)).collect())
        .collect();
    let slope = slope(&points);
    let middle = groups.iter().filter(|(_, rows)| rows.len() >= FEWEST_ROWS);
    Lines {
        slope,
        middle: middle
            .filter_map(|(group, rows)| {
                let above = rows.iter().map(|(_, x, y)| y - slope * x).collect();
                Some((*group, median(above)?))
            })
            .collect(),
    }
}

impl Axis {
    fn slips(&self, reading: &Reading, slips: &mut Vec<Slip>) {
        let mut sessions: BTreeMap<Label, Vec<&Seen>> = BTreeMap::new();
        for seen in &self.seen {
            sessions.entry(seen.session).or_default().push(seen);
        }
        let within = self.spread_within(&sessions);
        let whole: BTreeMap<Label, Otherwise> = sessions
            .iter()
            .filter_map(|(session, rows)| {
                let otherwise = self.whole_session(*session, &sessions, within)?;
                slips.push(self.session_slip(reading, rows, otherwise));
                Some((*session, otherwise))
            })
            .collect();
        for (session, rows) in &sessions {
            if whole.contains_key(session) {
                continue;
            }
            for (i, seen) in rows.iter().enumerate() {
                let others = rows
                    .iter()
                    .enumerate()
                    .filter(|(j, _)| *j != i)
                    .map(|(_, s)| s.off);
                let others: Vec<f64> = others.collect();
                // With a single other row there is no telling which of the two is off.
                let (about, spread) = if others.len() >= 2 {
                    (median(others).unwrap_or(0.0), within)
                } else {
                    (0.0, self.spread_of_all())
                };
                if let Some(otherwise) = self.row(seen, about, spread) {
                    slips.push(self.row_slip(reading, seen, about, otherwise));
                }
            }
        }
    }

    fn spread_within(&self, sessions: &BTreeMap<Label, Vec<&Seen>>) -> f64 {
        let offs = sessions
            .values()
            .filter(|rows| rows.len() >= FEWEST_IN_SESSION);
        let offs = offs.flat_map(|rows| {
            let middle = median(rows.iter().map(|s| s.off).collect()).unwrap_or(0.0);
            // Rows are nearer to the middle of their own few than to the true one: by √((n − 1)/n) for a mean.
            let n = rows.len() as f64;
            let wider = (n / (n - 1.0)).sqrt();
            rows.iter().map(move |s| wider * (s.off - middle))
        });
        spread(offs).map_or_else(|| self.spread_of_all(), |s| s.max(self.least_spread))
    }

    fn spread_of_all(&self) -> f64 {
        let all = spread(self.seen.iter().map(|s| s.off));
        all.unwrap_or(0.0).max(self.least_spread)
    }

    fn far(&self) -> f64 {
        FAR * (1.0 + ROWS_THAT_DOUBLE / self.seen.len() as f64)
    }

    /// How to read one row instead, if it is a slip.
    fn row(&self, seen: &Seen, about: f64, spread: f64) -> Option<Otherwise> {
        let off = (seen.off - about).abs();
        if off < self.far() * spread || off < self.least_off {
            return None;
        }
        let (otherwise, left) = seen
            .others
            .iter()
            .map(|(otherwise, off)| (*otherwise, (off - about).abs()))
            .min_by(|a, b| a.1.total_cmp(&b.1))?;
        (left < NEAR * spread && left * TIMES_NEARER < off).then_some(otherwise)
    }

    /// How to read all rows of a session instead, if they share a slip: a swapped sign only, for nobody changes the
    /// unit for a day.
    fn whole_session(
        &self,
        session: Label,
        sessions: &BTreeMap<Label, Vec<&Seen>>,
        within: f64,
    ) -> Option<Otherwise> {
        let rows = &sessions[&session];
        let middle = |offs: &dyn Fn(&Seen) -> Option<f64>, rows: &[&Seen]| {
            median(rows.iter().filter_map(|s| offs(s)).collect())
        };
        let as_written = |s: &Seen| Some(s.off);
        let others: Vec<f64> = sessions
            .iter()
            .filter(|(other, rows)| **other != session && rows.len() >= 2)
            .filter_map(|(_, rows)| middle(&as_written, rows))
            .map(f64::abs)
            .collect();
        if rows.len() < FEWEST_IN_SESSION || others.len() < FEWEST_OTHERS {
            return None;
        }
        let farthest = others.iter().copied().fold(0.0, f64::max);
        let of_few = within / (rows.len() as f64).sqrt();
        let judge = |offs: &dyn Fn(&Seen) -> Option<f64>| {
            let middle = middle(offs, rows)?;
            let spread = spread(rows.iter().filter_map(|s| Some(offs(s)? - middle)))?;
            Some((middle.abs(), spread))
        };
        let (off, scatter) = judge(&as_written)?;
        let candidates = [Column::Long, Column::Right, Column::AimRight].map(Otherwise::Swapped);
        candidates
            .into_iter()
            .filter_map(|otherwise| {
                let other = |s: &Seen| s.others.iter().find(|(o, _)| *o == otherwise).map(|o| o.1);
                let (off_other, scatter_other) = judge(&other)?;
                let is_far = off > FAR_SESSION * farthest + 3.0 * of_few && off > self.least_off;
                let is_near = off_other < farthest + 2.0 * of_few && scatter_other < 2.0 * within;
                let scatters = rows.len() > FEWEST_IN_SESSION
                    && scatter > 3.0 * within
                    && scatter > self.least_off / 2.0;
                let is_tight =
                    scatter_other < 1.5 * within && off_other < 1.5 * farthest + 3.0 * of_few;
                ((is_far && is_near) || (scatters && is_tight)).then_some((otherwise, off_other))
            })
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(otherwise, _)| otherwise)
    }

    fn session_slip(&self, reading: &Reading, rows: &[&Seen], otherwise: Otherwise) -> Slip {
        let season = &reading.season;
        let label = &season.sessions[rows[0].session as usize];
        let (column, what, advice) = match otherwise {
            Otherwise::Swapped(Column::Long) => (
                Column::Long,
                "long and short look swapped",
                "the target is passed on the far side of the start mark",
            ),
            Otherwise::Swapped(Column::AimRight) => (
                Column::AimRight,
                "the aim mark looks to be written down on the wrong side",
                "right is as seen from the start mark",
            ),
            Otherwise::Swapped(column) | Otherwise::Larger(column) | Otherwise::Smaller(column) => {
                (
                    column,
                    "right and left look swapped",
                    "right is as seen from the start mark, looking at the target",
                )
            }
        };
        Slip {
            run: rows[0].run,
            column,
            why: format!(
                "in all {} runs of session \"{label}\" {what}: as written it does not agree with the other sessions, \
                 turned over it does ({advice})",
                rows.len()
            ),
        }
    }

    fn row_slip(&self, reading: &Reading, seen: &Seen, about: f64, otherwise: Otherwise) -> Slip {
        let run = &reading.season.runs[seen.run];
        let off = (self.worded)(seen.off - about);
        let length = |column| match column {
            Column::Long => run.long_m(),
            Column::Right => run.right_m,
            _ => run.aim_right_m,
        };
        let cm = |column, factor: f64| {
            let cm = 100.0 * factor * length(column).unwrap_or(0.0);
            let word = match (column, cm < 0.0) {
                (Column::Long, false) => "long",
                (Column::Long, true) => "short",
                (_, false) => "right",
                (_, true) => "left",
            };
            let digits = if cm.abs() < 10.0 { 2 } else { 0 };
            let number = crate::units::at_most_decimals(cm.abs(), digits);
            format!("{number} cm {word}")
        };
        let (column, factor, question) = match otherwise {
            Otherwise::Swapped(Column::Long) => (Column::Long, -1.0, "long and short swapped?"),
            Otherwise::Swapped(Column::AimRight) => {
                (Column::AimRight, -1.0, "is the aim mark on the wrong side?")
            }
            Otherwise::Swapped(column) => (column, -1.0, "right and left swapped?"),
            Otherwise::Larger(column) => (column, 0.01, "centimetres taken for metres?"),
            Otherwise::Smaller(column) => (column, 100.0, "metres taken for centimetres?"),
        };
        Slip {
            run: seen.run,
            column,
            why: format!(
                "{} does not fit: that is {off} than the other runs would say, and {} would fit; {question}",
                cm(column, 1.0),
                cm(column, factor)
            ),
        }
    }
}
