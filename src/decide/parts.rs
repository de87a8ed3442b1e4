//! What the miss of a first run in a new session is made of, as standard deviations along and across.

use super::situation::Situation;
use crate::stats::linalg::{dot, quadratic};
use crate::stats::mixed::{Node, Row};

/// SDs along or across at one target, m. Independent, so their squares add up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parts {
    /// From one run to the next.
    pub run_to_run_m: f64,
    /// From one day to the next.
    pub between_sessions_m: f64,
    /// What is not known of the calibration.
    pub calibration_m: f64,
    /// Rounding of the dial or the aim mark: a step over √12.
    pub step_m: f64,
}

impl Parts {
    /// Along and across as one straight distance.
    pub fn and_across(self, across: Option<Parts>) -> Parts {
        let Some(across) = across else {
            return self;
        };
        Parts {
            run_to_run_m: self.run_to_run_m.hypot(across.run_to_run_m),
            between_sessions_m: self.between_sessions_m.hypot(across.between_sessions_m),
            calibration_m: self.calibration_m.hypot(across.calibration_m),
            step_m: self.step_m.hypot(across.step_m),
        }
    }

    /// All together.
    pub fn total_m(&self) -> f64 {
        [
            self.run_to_run_m,
            self.between_sessions_m,
            self.calibration_m,
            self.step_m,
        ]
        .iter()
        .fold(0.0, |sum: f64, s| sum + s * s)
        .sqrt()
    }
}

/// Parts along at a target, for the situation's plain setting of `turns`.
pub fn along(situation: &Situation, turns: f64) -> Parts {
    let travel = situation.known_travel();
    let row = situation.travel_row(turns);
    let m_per_turn = travel.posterior.coefficient(travel.turns_column);
    let step = m_per_turn / f64::from(situation.setup.dial.ticks_per_turn);
    at_row(
        travel.posterior.nodes(),
        travel.posterior.nu(),
        &row,
        1.0,
        step,
    )
}

/// Parts across at a target; `None` where nothing is known across.
pub fn across(situation: &Situation, target_m: f64) -> Option<Parts> {
    let (known, trim, _) = situation.known_heading()?;
    let row = known.row(trim, situation.arc_to_m(target_m));
    Some(at_row(
        known.posterior.nodes(),
        known.posterior.nu(),
        &row,
        target_m,
        situation.setup.aim.step_m,
    ))
}

/// Parts of the variance at a design row, as root mean squares over θ; E σ² at a node is RSS/(ν − 2) where it exists, else its scale RSS/ν.
fn at_row(nodes: &[Node], nu: f64, row: &Row, lever_m: f64, step_m: f64) -> Parts {
    let df = if nu > 2.0 { nu - 2.0 } else { nu };
    let mean = nodes
        .iter()
        .fold(0.0, |sum, n| sum + n.weight * dot(&row.x, &n.beta));
    let sum = |f: &dyn Fn(&Node) -> f64| nodes.iter().fold(0.0, |sum, n| sum + n.weight * f(n));
    let run = sum(&|n| n.rss / df * n.groups().own(row.size));
    let between = sum(&|n| n.rss / df * (n.groups().new_row(row.size) - n.groups().own(row.size)));
    let calibration = sum(&|n| {
        n.rss / df * quadratic(&n.covariance, &row.x) + (dot(&row.x, &n.beta) - mean).powi(2)
    });
    Parts {
        run_to_run_m: run.sqrt() * lever_m,
        between_sessions_m: between.sqrt() * lever_m,
        calibration_m: calibration.sqrt() * lever_m,
        step_m: step_m / 12f64.sqrt(),
    }
}
