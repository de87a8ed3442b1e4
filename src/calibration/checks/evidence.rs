//! What the checks look at, brought into one form for both fits.

use crate::calibration::heading::{HeadingFit, TAPE_SD_M, estimable_columns};
use crate::calibration::rows::RigRuns;
use crate::calibration::travel::TravelFit;
use crate::calibration::{LeftOut, Story};
use crate::setup::Setup;
use crate::stats::interval::Level;
use crate::stats::mixed::Rows;
use crate::stats::nested::{MoreColumns, more_columns, more_columns_within, studentised};
use nalgebra::DMatrix;

/// What the checks look at.
pub struct Evidence<'a> {
    /// The rig's runs.
    pub runs: &'a RigRuns<'a>,
    /// Arc on turns.
    pub travel: &'a TravelFit,
    /// Heading excess on arc.
    pub heading: Option<&'a HeadingFit>,
    /// Runs and sessions with their residuals.
    pub story: &'a Story,
    /// Leave-one-session-out.
    pub left_out: &'a LeftOut,
    /// The set-up in force.
    pub setup: &'a Setup,
    /// Level of the leave-one-session-out intervals.
    pub level: Level,
    /// The middle of the targets that can be announced.
    pub middle_m: f64,
}

/// One fit as the checks take it.
pub struct Fitted {
    /// Whether it is the heading fit; else travel.
    pub across: bool,
    /// Its rows, columns that can be told apart only.
    pub rows: Rows,
    /// r̂.
    pub r: f64,
    /// Turns of each row.
    pub turns: Vec<f64>,
    /// Position in the session of each row, from 0.
    pub position: Vec<usize>,
    /// Index into the rig's launches of each row.
    pub launches: Vec<usize>,
    /// Residuals over their standard errors, sessions' shifts taken into account.
    pub studentised: Vec<f64>,
}

impl Evidence<'_> {
    /// The travel fit; `None` where every run lies on the line as near as a tape can tell.
    pub fn along(&self) -> Option<Fitted> {
        let fit = self.travel;
        let tape = fit.reml.sigma <= 1.01 * TAPE_SD_M;
        (!tape).then(|| self.fitted(false, &fit.rows, fit.reml.r, &fit.launches))?
    }

    /// The heading fit, likewise.
    pub fn across(&self) -> Option<Fitted> {
        let fit = self.heading?;
        let arc_m = self.travel.rows.y.mean();
        let tape = fit.reml.sigma * arc_m <= 1.01 * TAPE_SD_M;
        (!tape).then(|| self.fitted(true, &fit.rows, fit.reml.r, &fit.launches))?
    }

    fn fitted(&self, across: bool, rows: &Rows, r: f64, launches: &[usize]) -> Option<Fitted> {
        let rows = Rows {
            x: rows.x.select_columns(estimable_columns(&rows.x).iter()),
            y: rows.y.clone(),
            group: rows.group.clone(),
        };
        let (x, y) = rows.independent(r);
        let of = |i: &usize| &self.runs.launches[*i];
        Some(Fitted {
            across,
            studentised: studentised(&x, &y)?,
            r,
            turns: launches
                .iter()
                .map(|i| of(i).run.turns.unwrap_or(0.0))
                .collect(),
            position: launches.iter().map(|i| of(i).position).collect(),
            launches: launches.to_vec(),
            rows,
        })
    }
}

impl Fitted {
    /// Names of checks of headings say so.
    pub fn name(&self, what: &str) -> String {
        if self.across {
            format!("left and right: {what}")
        } else {
            what.to_string()
        }
    }

    /// How far `by` is, in words: cm along, or cm a metre across.
    pub fn far(&self, by: f64) -> String {
        match (self.across, by >= 0.0) {
            (false, true) => format!("{:.0} cm farther", 100.0 * by),
            (false, false) => format!("{:.0} cm less far", -100.0 * by),
            (true, true) => format!("{:.1} cm a metre more to the right", 100.0 * by),
            (true, false) => format!("{:.1} cm a metre more to the left", -100.0 * by),
        }
    }

    /// What one more column brings to the mixed model, at the ratio that suits the larger one.
    pub fn more(&self, column: Vec<f64>) -> Option<MoreColumns> {
        let p = self.rows.x.ncols();
        let mut x = self.rows.x.clone().insert_column(p, 0.0);
        x.column_mut(p).copy_from_slice(&column);
        let rows = Rows {
            x,
            y: self.rows.y.clone(),
            group: self.rows.group.clone(),
        };
        let r = rows.design(&[], 0.0).ok()?.reml().ok()?.r;
        let (x, y) = rows.independent(r);
        more_columns(
            &x.columns(0, p).into_owned(),
            &x.columns(p, 1).into_owned(),
            &y,
        )
    }

    /// What a column that differs within sessions brings, whatever the sessions' shifts are.
    pub fn more_within(&self, beside: &[Vec<f64>], column: Vec<f64>) -> Option<MoreColumns> {
        let n = self.rows.y.len();
        let p = self.rows.x.ncols();
        let x = DMatrix::from_fn(n, p + beside.len(), |i, j| {
            if j < p {
                self.rows.x[(i, j)]
            } else {
                beside[j - p][i]
            }
        });
        let more = DMatrix::from_column_slice(n, 1, &column);
        more_columns_within(&self.rows.group, &x, &more, &self.rows.y)
    }

    /// Sessions in season order, each with its rows.
    pub fn sessions(&self) -> Vec<(usize, Vec<usize>)> {
        let by_group = self.rows.group.each();
        by_group
            .map(|rows| (self.rows.group[rows[0]], rows.to_vec()))
            .collect()
    }
}
