//! The season's lines with their bands, as figures show them: numbers only, so that pictures and tables agree.

use super::situation::Situation;
use crate::geometry;
use crate::stats::interval::Level;
use crate::stats::mixed::Mixture;

/// Points of a line. Where a band is twice as wide at its ends as in its middle, straight segments between so many leave it
/// by 1 % of its half-width at most (h²/8 of its second derivative): less than a line is thick.
const POINTS: usize = 13;

/// A line at one place, with the band of the line itself and that of one run on a new day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Turns, or distance in m.
    pub x: f64,
    /// The line.
    pub y: f64,
    /// Ends for the line itself.
    pub line: (f64, f64),
    /// Ends for a run on a new day.
    pub run: (f64, f64),
}

fn ends(known: &Mixture, level: Level) -> (f64, f64) {
    let tail = level.lower_tail();
    (known.quantile(tail), known.quantile(1.0 - tail))
}

fn places(from: f64, to: f64) -> impl Iterator<Item = f64> {
    (0..POINTS).map(move |i| from + (to - from) * i as f64 / (POINTS - 1) as f64)
}

/// Arc against turns for the situation's build and lead, m.
pub fn travel(situation: &Situation, turns: (f64, f64), level: Level) -> Vec<CurvePoint> {
    let posterior = &situation.known_travel().posterior;
    places(turns.0, turns.1)
        .map(|x| {
            let row = situation.travel_row(x);
            CurvePoint {
                x,
                y: posterior.mean(&row),
                line: ends(&posterior.mean_distribution(&row.x), level),
                run: ends(&posterior.new_group_distribution(&row), level),
            }
        })
        .collect()
}

/// Where a vehicle of the situation's trim, aimed at the target, lies to the right after a distance, m; `None` where
/// nothing is known across.
pub fn bias(
    situation: &Situation,
    distance_m: (f64, f64),
    level: Level,
) -> Option<Vec<CurvePoint>> {
    let (known, trim, _) = situation.known_heading()?;
    let kappa = situation.curvature_per_m();
    let points = places(distance_m.0, distance_m.1)
        .map(|d| {
            let row = known.row(trim, geometry::arc_of_chord(d, kappa));
            let right = |heading: f64| d * heading.sin();
            let (line, run) = (
                ends(&known.posterior.mean_distribution(&row.x), level),
                ends(&known.posterior.new_group_distribution(&row), level),
            );
            CurvePoint {
                x: d,
                y: right(known.posterior.mean(&row)),
                line: (right(line.0), right(line.1)),
                run: (right(run.0), right(run.1)),
            }
        })
        .collect();
    Some(points)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::file;
    use crate::decide::Choice;

    #[test]
    fn a_band_leaves_as_much_below_as_above() {
        let calibration = file::example();
        let choice = Choice::of_rig("narrow");
        let situation = Situation::new(&calibration, &choice).unwrap();
        let level = Level::new(0.9).unwrap();
        let posterior = &situation.known_travel().posterior;
        for point in travel(&situation, (20.0, 40.0), level) {
            let row = situation.travel_row(point.x);
            let line = posterior.mean_distribution(&row.x);
            let run = posterior.new_group_distribution(&row);
            for (known, (low, high)) in [(line, point.line), (run, point.run)] {
                assert!((known.cdf(low) - 0.05).abs() < 1e-6, "{point:?}");
                assert!((known.cdf(high) - 0.95).abs() < 1e-6, "{point:?}");
            }
        }
        for point in bias(&situation, (2.0, 10.0), level).unwrap() {
            let ((low, high), (least, most)) = (point.line, point.run);
            assert!(
                least < low && low < point.y && point.y < high && high < most,
                "{point:?}"
            );
        }
    }
}
