//! How many more runs should settle it.

use super::miss::{Misses, targets};
use super::sides::Side;
use crate::calibration::EventRange;
use crate::stats::distributions::normal_quantile;
use crate::stats::interval::Level;

/// Beyond this many runs of each, no number is given.
const RUNS_MAX: usize = 500;

/// The standard deviations within and between sessions, and how many runs they were estimated from.
struct Component {
    sigma: f64,
    tau: f64,
    runs: f64,
    sessions: f64,
    columns: f64,
    /// What its variance is multiplied by to be a variance of the miss: 1 along, the mean square target across.
    lever2: f64,
}

impl Component {
    /// Variance of the estimate of σ² + τ² after `more` runs in sessions as large as until now: that of the session means'
    /// mean square, which is σ²/m + τ², and of the mean square within (Searle, Casella & McCulloch 1992, ch. 3, balanced
    /// data). The prior on the ratio counts as about one session.
    fn open(&self, more: f64) -> f64 {
        let size = self.runs / self.sessions;
        let sessions = self.sessions + more / size;
        let within = (self.runs + more - sessions - self.columns + 1.0).max(1.0);
        let mean_square = self.tau * self.tau + self.sigma * self.sigma / size;
        let between = 2.0 * mean_square * mean_square / sessions;
        let rest = (1.0 - 1.0 / size) * self.sigma * self.sigma;
        self.lever2 * self.lever2 * (between + 2.0 * rest * rest / within)
    }
}

/// The smallest even number of further runs of each that should bring the chance past the level, if the two go on to
/// differ as they now seem to; `None` beyond 500.
///
/// The normal score of the chance is taken to grow as the uncertainty of the two misses shrinks, and that as the variance
/// of their spreads' estimates would. Days are as large as until now; half of the new runs are made on days that
/// both share, which matters for differences of distance, hardly for spreads.
pub(super) fn runs_to_settle(
    sides: &[Side; 2],
    misses: &Misses,
    chance: f64,
    level: Level,
    range: EventRange,
) -> Option<usize> {
    let score = normal_quantile(chance).abs();
    let wanted = normal_quantile(level.probability());
    let open = misses.ln_variances();
    let now: f64 = open.iter().sum();
    if !(score > 0.0 && wanted > 0.0 && now > 0.0) {
        return None;
    }
    let square_m2: f64 = targets(range).iter().map(|(t, w)| w * t * t).sum();
    let parts: Vec<Vec<Component>> = sides.iter().map(|s| components(s, square_m2)).collect();
    let sum = |of: &[Component], more: f64| of.iter().map(|c| c.open(more)).sum::<f64>();
    (1..=RUNS_MAX / 2).map(|half| 2 * half).find(|&more| {
        let then: f64 = open
            .iter()
            .zip(&parts)
            .map(|(v, of)| v * sum(of, more as f64) / sum(of, 0.0))
            .sum();
        score * (now / then).sqrt() >= wanted
    })
}

fn components(side: &Side, square_m2: f64) -> Vec<Component> {
    let fits = &side.settled.fits;
    let along = &fits.travel;
    let design = &along.likeliest().design;
    let mut parts = vec![Component {
        sigma: along.reml.sigma,
        tau: along.reml.tau,
        runs: design.rows() as f64,
        sessions: design.groups() as f64,
        columns: design.columns() as f64,
        lever2: 1.0,
    }];
    if let Some(across) = &fits.heading {
        parts.push(Component {
            sigma: across.reml.sigma,
            tau: across.reml.tau,
            runs: across.design().rows() as f64,
            sessions: across.design().groups() as f64,
            columns: across.design().columns() as f64,
            lever2: square_m2,
        });
    }
    parts
}
