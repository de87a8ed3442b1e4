//! Run time on arc.

use super::rows::RigRuns;
use super::spread_prior;
use super::travel::TravelFit;
use crate::stats::mixed::{Groups, Posterior, Rows};
use nalgebra::{DMatrix, DVector};

/// Fewest timed runs for a line of run time.
const TIMED_MIN: usize = 6;
/// Stop-watches are read to a hundredth of a second.
const WATCH_SD_S: f64 = 0.003;

/// Run time on arc, s = a + b·arc, from at least six timed fitted runs; the same engine without priors on the line.
pub fn line(runs: &RigRuns, travel: &TravelFit) -> Option<Posterior> {
    let timed: Vec<(f64, f64, usize)> = travel
        .launches
        .iter()
        .zip(travel.rows.y.iter())
        .filter_map(|(&i, &arc)| {
            let run = &runs.launches[i].run;
            Some((arc, run.time_s?, run.session as usize))
        })
        .collect();
    if timed.len() < TIMED_MIN {
        return None;
    }
    let rows = Rows::new(
        DMatrix::from_fn(timed.len(), 2, |i, c| if c == 0 { 1.0 } else { timed[i].0 }),
        DVector::from_iterator(timed.len(), timed.iter().map(|t| t.1)),
        timed.iter().map(|t| t.2).collect::<Groups>(),
    );
    let design = rows.design(&[], WATCH_SD_S).ok()?;
    Posterior::new(&design, spread_prior::unguessed()).ok()
}
