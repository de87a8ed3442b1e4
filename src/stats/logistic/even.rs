//! Where the chance is even: the covariate at which log-odds are 0, with its interval.

use super::{Logistic, drop};
use crate::stats::Numerical;
use crate::stats::interval::{Interval, Level};
use crate::stats::optimise::root;

/// Steps of the search along nearly a straight line; three or four are usual.
const STEPS_MAX: usize = 12;

impl Logistic {
    /// The one covariate's value at which the chance is even, with those at which an even chance lies inside the level's
    /// profile interval; ±∞ for an end that does not lie within `reach` (from, to).
    ///
    /// * `slope` — the profile interval of coefficient 1 at the same level; where it holds 0 an end may not exist
    /// * `within` — how far off an end may be, in the covariate's unit
    pub fn even_at(
        &self,
        level: Level,
        slope: Interval,
        reach: (f64, f64),
        within: f64,
    ) -> Interval {
        let half = -self.beta[0] / self.beta[1];
        let drop = drop(level);
        let end = |to: f64, nowhere: f64| {
            (slope.low > 0.0 || slope.high < 0.0)
                .then(|| self.straight_even_end(half, to, drop, within))
                .flatten()
                .or_else(|| self.bracketed_even_end(half, to, drop, within).ok())
                .unwrap_or(nowhere)
        };
        Interval::holding(
            half,
            end(reach.0, f64::NEG_INFINITY),
            end(reach.1, f64::INFINITY),
        )
    }

    /// How far l* falls where log-odds are held at 0 at a value of the covariate.
    fn fallen_at(&self, value: f64) -> Result<f64, Numerical> {
        let there = self.counted_from(&[value])?;
        Ok(there.penalised - there.profile(0, 0.0)?)
    }

    /// The end towards `to` by secants: the root of how far l* falls goes nearly as the distance from `half`. `None` where it
    /// does not, or beyond `to`.
    fn straight_even_end(&self, half: f64, to: f64, drop: f64, within: f64) -> Option<f64> {
        let direction = (to - half).signum();
        let there = self.counted_from(&[half]).ok()?;
        let near = (2.0 * drop * there.covariance[(0, 0)]).sqrt() / self.beta[1].abs();
        let wanted = drop.sqrt();
        let (mut before, mut before_root) = (half, 0.0);
        let mut at = half + direction * near;
        for _ in 0..STEPS_MAX {
            if direction * (to - at) < 0.0 {
                return None;
            }
            let root = self.fallen_at(at).ok()?.max(0.0).sqrt();
            let next = at + (at - before) * (wanted - root) / (root - before_root);
            if !(direction * (next - half) > 0.0 && next.is_finite()) {
                return None;
            }
            // The step after this one would be far shorter.
            if (next - at).abs() < within {
                return (direction * (to - next) >= 0.0).then_some(next);
            }
            (before, before_root) = (at, root);
            at = next;
        }
        None
    }

    /// The same by looking for it all the way to `to`.
    fn bracketed_even_end(
        &self,
        half: f64,
        to: f64,
        drop: f64,
        within: f64,
    ) -> Result<f64, Numerical> {
        let room = |value: f64| {
            self.fallen_at(value)
                .map_or(f64::NAN, |fallen| drop - fallen)
        };
        root(room, half.min(to), half.max(to), within)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::DMatrix;
    use proptest::prelude::*;

    proptest! {
        /// Two ways to the same ends, and there log-odds of 0 are an end of the interval of the chance.
        #[test]
        fn both_ways_lead_to_the_ends(
            rows in prop::collection::vec((0u8..8, 0u8..8).prop_map(|(lead, cut)| (lead, lead > cut)), 6..40),
        ) {
            let leads: Vec<f64> = rows.iter().map(|(lead, _)| 0.5 + 0.25 * f64::from(*lead)).collect();
            let events: Vec<bool> = rows.iter().map(|(_, event)| *event).collect();
            let column = DMatrix::from_column_slice(leads.len(), 1, &leads);
            let Ok(fit) = Logistic::fit(&column, &events) else { return Ok(()); };
            let level = Level::default();
            if fit.interval(1, level).unwrap().low <= 0.0 { return Ok(()); }
            let half = -fit.beta[0] / fit.beta[1];
            let drop = drop(level);
            for to in [half.min(0.5) - 20.0, half.max(2.25) + 20.0] {
                let straight = fit.straight_even_end(half, to, drop, 1e-3);
                let bracketed = fit.bracketed_even_end(half, to, drop, 1e-4).ok();
                if let Some(end) = straight {
                    let fallen = fit.fallen_at(end).unwrap();
                    let slope = (fit.fallen_at(end + 1e-3).unwrap() - fallen).abs() / 1e-3;
                    prop_assert!((fallen - drop).abs() < 2e-3 * slope + 1e-6, "{end}: {fallen} {drop}");
                    let other = bracketed.unwrap();
                    let chance = fit.chance_at(&[other], level).unwrap();
                    let nearest = (chance.low - 0.5).abs().min((chance.high - 0.5).abs());
                    prop_assert!(nearest < 1e-3, "{other}: {chance:?}");
                }
            }
        }
    }
}
