//! Gross blunders: a slipped string, 120 typed for 12. Found one at a time, in a large rig all that show; set aside with
//! the reason.
//!
//! Deletion residual conditional on the session, from the fit without that run at its own r̂; t with ν − 1 degrees
//! of freedom; Bonferroni over both fits (`model.md` §6).

use super::heading::HeadingFit;
use super::travel::TravelFit;
use crate::stats::distributions::t_sf;
use crate::stats::mixed::{Design, Reml, Rows};

/// A run leaves when chance alone would do this in fewer than this part of logs.
const P_MAX: f64 = 0.01;
/// Fewest runs in a fit that can contradict one of them.
pub const RUNS_MIN: usize = 6;
/// How many of the largest residuals are looked at exactly: the fit without a run can reorder neighbours only.
const CANDIDATES: usize = 6;

/// Which fit found a run impossible.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Found {
    /// It went too far or not far enough for its turns.
    Along,
    /// It headed too far to one side for its aim.
    Across,
}

/// The run that fits worst, if it fits impossibly badly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blunder {
    /// Index into the rig's launches.
    pub launch: usize,
    /// Which fit says so.
    pub found: Found,
    /// How far from what the other runs say, m or rad, + longer or to the right.
    pub off: f64,
    /// Bonferroni-corrected p value.
    pub p: f64,
    /// What it moves the line by, where [`all`] found it along: overshoot of the newest build, m, and distance per turn.
    pub moves: (f64, f64),
}

/// The worst run of both fits, if it must go.
pub fn worst(travel: &TravelFit, heading: Option<&HeadingFit>) -> Option<Blunder> {
    let n = travel.launches.len();
    let mut found = Vec::new();
    if n >= RUNS_MIN {
        found.extend(
            worst_of(&travel.rows, &travel.design, &travel.reml).map(|(i, off, p)| Blunder {
                launch: travel.launches[i],
                found: Found::Along,
                off,
                p,
                moves: (0.0, 0.0),
            }),
        );
    }
    if let Some(h) = heading.filter(|h| h.launches.len() >= RUNS_MIN) {
        found.extend(
            worst_of(&h.rows, &h.design, &h.reml).map(|(i, off, p)| Blunder {
                launch: h.launches[i],
                found: Found::Across,
                off,
                p,
                moves: (0.0, 0.0),
            }),
        );
    }
    found
        .into_iter()
        .map(|b| Blunder {
            p: (b.p * 2.0 * n as f64).min(1.0),
            ..b
        })
        .filter(|b| b.p < P_MAX)
        .min_by(|a, b| a.p.total_cmp(&b.p))
}

/// Nearer than this no residual of a large fit has a p value of interest; most need none worked out.
const T_OF_INTEREST: f64 = 3.0;

/// Every run of a large rig that must go, at most one a session: a blunder draws its session after it, and the others
/// there look wrong until it is gone. By rising p.
///
/// In closed form at the ratio of the fit with them: one run of very many hardly moves it.
pub fn all(travel: &TravelFit, heading: Option<&HeadingFit>) -> Vec<Blunder> {
    let n = travel.launches.len();
    let mut found: Vec<(usize, Blunder)> = Vec::new();
    let along = (
        Found::Along,
        &travel.rows,
        &travel.design,
        &travel.reml,
        &travel.launches,
    );
    let across = heading.map(|h| (Found::Across, &h.rows, &h.design, &h.reml, &h.launches));
    for (kind, rows, design, reml, launches) in std::iter::once(along).chain(across) {
        let Ok(fit) = design.at(reml.r) else { continue };
        let residuals = rows.deletion_residuals(&fit, design.nu());
        if residuals.iter().all(|t| t.abs() <= T_OF_INTEREST) {
            continue;
        }
        let shifts = rows.deletion_shifts(&fit);
        for (i, t) in residuals.iter().enumerate() {
            if t.abs() <= T_OF_INTEREST {
                continue;
            }
            let p = (2.0 * t_sf(t.abs(), design.nu() - 1.0) * 2.0 * n as f64).min(1.0);
            let (true, Some(shift)) = (p < P_MAX, &shifts[i]) else {
                continue;
            };
            let without = &fit.beta - shift;
            let moves = match kind {
                Found::Along => (shift[travel.turns_column - 1], shift[travel.turns_column]),
                Found::Across => (0.0, 0.0),
            };
            let blunder = Blunder {
                launch: launches[i],
                found: kind,
                off: rows.y[i] - (rows.x.row(i) * without)[0],
                p,
                moves,
            };
            found.push((rows.group[i], blunder));
        }
    }
    let order = |a: &Blunder, b: &Blunder| a.p.total_cmp(&b.p).then(a.launch.cmp(&b.launch));
    found.sort_by(|(a, x), (b, y)| a.cmp(b).then(order(x, y)));
    found.dedup_by_key(|(session, _)| *session);
    let mut worst: Vec<Blunder> = found.into_iter().map(|(_, blunder)| blunder).collect();
    worst.sort_by(order);
    worst
}

/// Row, distance and two-sided p value of the row that lies worst.
fn worst_of(rows: &Rows, design: &Design, reml: &Reml) -> Option<(usize, f64, f64)> {
    let fit = design.at(reml.r).ok()?;
    if design.nu() < 3.0 {
        return None;
    }
    let rough = rows.deletion_residuals(&fit, design.nu());
    let mut order: Vec<usize> = (0..rough.len()).collect();
    order.sort_by(|&a, &b| rough[b].abs().total_cmp(&rough[a].abs()));
    order
        .into_iter()
        .take(CANDIDATES)
        .filter_map(|i| exact(rows, design, i).map(|(off, p)| (i, off, p)))
        .min_by(|a, b| a.2.total_cmp(&b.2))
}

/// Distance and p value of one row, with the ratio of the fit without it.
fn exact(rows: &Rows, with: &Design, i: usize) -> Option<(f64, f64)> {
    let without = rows
        .filtered(|k| k != i)
        .design(with.pseudo(), with.sd_min())
        .ok()?;
    let r = without.reml().ok()?.r;
    let fit = with.at(r).ok()?;
    let t = rows.deletion_residuals(&fit, with.nu())[i];
    let off = rows.y[i] - (rows.x.row(i) * without.at(r).ok()?.beta)[0];
    Some((off, 2.0 * t_sf(t.abs(), with.nu() - 1.0)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};

    /// Headings of forty runs of 8 m, 0.8 mm of scatter at the target, one run off by six times as much. The floor of a
    /// spread is the tape's over the arc, not the tape's: with 0.3 mrad for a floor this run passed.
    #[test]
    fn the_floor_of_headings_is_that_of_a_tape_over_the_arc() {
        let mut y = DVector::from_fn(40, |i, _| if i % 2 == 0 { 1e-4 } else { -1e-4 });
        y[20] = 6e-4;
        let rows = Rows {
            x: DMatrix::from_element(40, 1, 1.0),
            y,
            group: (0..40).map(|i| i / 8).collect(),
        };
        let design = rows.design(&[], 0.0003 / 8.0).unwrap();
        let (row, _, p) = worst_of(&rows, &design, &design.reml().unwrap()).unwrap();
        assert!(row == 20 && p * 80.0 < P_MAX, "{row} {p}");
    }
}
