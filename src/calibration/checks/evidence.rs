//! What the checks look at, brought into one form for both fits.

use crate::calibration::heading::{HeadingFit, TAPE_SD_M};
use crate::calibration::known::LeftOut;
use crate::calibration::rows::{RigRuns, span};
use crate::calibration::story::Story;
use crate::calibration::travel::TravelFit;
use crate::setup::Setup;
use crate::stats::interval::Level;
use crate::stats::mixed::{Reml, Rows};
use crate::stats::nested::{Grouped, MoreColumns};
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
pub struct Fitted<'a> {
    /// Whether it is the heading fit; else travel.
    pub across: bool,
    /// Rows of the fit, divided by how far spreads have grown.
    pub rows: &'a Rows,
    /// θ̂.
    pub theta: f64,
    /// Turns of each row.
    pub turns: Vec<f64>,
    /// Position in the session of each row, from 0.
    pub position: Vec<f64>,
    /// 1 for the first run of a session.
    pub first: Vec<f64>,
    /// Index into the rig's launches of each row.
    pub launches: &'a [usize],
    /// Residuals over their standard errors, sessions' effects taken into account.
    pub studentised: Vec<f64>,
    /// Columns of its design that are estimable.
    pub estimable: Vec<usize>,
    /// The columns of the design, then those that [`Fitted::column`] numbers; the residuals of the fit.
    with_more: Rows,
    /// Sums of those, for tests.
    pub sums: Grouped,
}

/// What may be asked for beside the columns of a design.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Beside {
    /// 1 for the first run of a session.
    First,
    /// Position in the session, from 0.
    Position,
    /// Square of the turns about the middle of those used.
    TurnsSquared,
}

impl Evidence<'_> {
    /// The travel fit; `None` where every run lies on the line as near as a tape can tell.
    pub fn along(&self) -> Option<Fitted<'_>> {
        let fit = self.travel;
        let tape = fit.reml.sigma <= 1.01 * TAPE_SD_M;
        (!tape).then(|| self.fitted(false, &fit.likeliest().rows, &fit.reml, &fit.launches))?
    }

    /// The heading fit, likewise.
    pub fn across(&self) -> Option<Fitted<'_>> {
        let fit = self.heading?;
        let arc_m = self.travel.rows.y.mean();
        let tape = fit.reml.sigma * arc_m <= 1.01 * TAPE_SD_M;
        (!tape).then(|| self.fitted(true, fit.rows(), &fit.reml, &fit.launches))?
    }

    fn fitted<'a>(
        &self,
        across: bool,
        rows: &'a Rows,
        reml: &Reml,
        launches: &'a [usize],
    ) -> Option<Fitted<'a>> {
        let of = |i: &usize| &self.runs.launches[*i];
        let turns: Vec<f64> = launches
            .iter()
            .map(|i| of(i).run.turns.unwrap_or(0.0))
            .collect();
        let position: Vec<f64> = launches.iter().map(|i| of(i).position as f64).collect();
        let first = position.iter().map(|&p| f64::from(u8::from(p == 0.0)));
        let first: Vec<f64> = first.collect();
        let (low, high) = span(turns.iter().copied());
        let middle = 0.5 * (low + high);
        let squares: Vec<f64> = turns.iter().map(|n| (n - middle).powi(2)).collect();
        let design = rows.x.as_slice().chunks(rows.y.len());
        let mut columns: Vec<&[f64]> = design.collect();
        let divided = |column: &[f64]| -> Vec<f64> {
            let each = column.iter().enumerate();
            each.map(|(i, v)| v / rows.scale.by(i)).collect()
        };
        let more = [&first, &position, &squares].map(|column| divided(column));
        // In the order of `Beside`; only lengths are asked for a bend.
        let asked = if across { 2 } else { 3 };
        columns.extend(more[..asked].iter().map(Vec::as_slice));
        let residuals = &rows.y - &rows.x * &reml.beta;
        let sums = Grouped::new(&columns, residuals.as_slice(), &rows.group);
        let design: Vec<usize> = (0..rows.x.ncols()).collect();
        let estimable = sums.estimable_columns(&design);
        Some(Fitted {
            across,
            studentised: sums.studentised(reml.r, &estimable)?,
            estimable,
            with_more: Rows::new(
                DMatrix::from_fn(rows.y.len(), columns.len(), |i, c| columns[c][i]),
                residuals,
                rows.group.clone(),
            ),
            sums,
            theta: reml.r,
            turns,
            position,
            first,
            launches,
            rows,
        })
    }
}

impl Fitted<'_> {
    /// Number of a column beside the design's.
    fn column(&self, beside: Beside) -> usize {
        self.rows.x.ncols() + beside as usize
    }

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

    /// What one more column brings to the mixed model, at θ̂ of the larger one.
    pub fn more(&self, column: Beside) -> Option<MoreColumns> {
        let more = [self.column(column)];
        let both = self
            .with_more
            .with_columns(&[&self.estimable[..], &more].concat());
        let theta = both.design(&[], 0.0).ok()?.reml().ok()?.r;
        self.sums.more_at(theta, &self.estimable, &more)
    }

    /// What a column that differs within sessions brings, whatever the sessions' effects are.
    pub fn more_within(&self, beside: &[Beside], column: Beside) -> Option<MoreColumns> {
        let beside = beside.iter().map(|&b| self.column(b));
        let x: Vec<usize> = self.estimable.iter().copied().chain(beside).collect();
        self.sums.more_within(&x, &[self.column(column)])
    }

    /// Mean studentised residual of each session, in season order.
    pub fn session_means(&self) -> Vec<f64> {
        let mean = |rows: &[usize]| {
            rows.iter().map(|&i| self.studentised[i]).sum::<f64>() / rows.len() as f64
        };
        self.rows.group.each().map(mean).collect()
    }
}
