//! One of two coefficients held, the other free: nearly all the places that profiles of one covariate look at.

use super::climb::{Here, Odds, Outcomes};
use crate::stats::Numerical;
use nalgebra::DVector;

/// The information of both coefficients is lost where its determinant is below this part of the product of its diagonal.
const LEAST_LEFT: f64 = 1e-11;

impl Outcomes {
    /// l* at `beta` and the step to the top of the parabola through there, coefficient `held` kept where it is.
    ///
    /// With rows (1, x) and u the free one of the two, S_k = Σ w xᵏ and primes for derivatives by the free coefficient
    /// (a factor u each, w' = w(1 − 2π), w'' = w(1 − 6π(1 − π))), the penalty is ½ ln D, D = S₀S₂ − S₁². Where l* bends the
    /// other way twice the information stands for its curvature: the penalty acts like one more outcome at most for each.
    ///
    /// # Errors
    /// [`Numerical::RankLost`] where the chances are so near 0 or 1 that nothing tells the two apart.
    pub(super) fn look_along(&self, beta: &DVector<f64>, held: usize) -> Result<Here, Numerical> {
        let (mut s, mut s1, mut s2) = ([0.0; 3], [0.0; 3], [0.0; 3]);
        let (mut likelihood, mut score, mut information) = (0.0, 0.0, 0.0);
        let outcomes = self.events.iter().zip(self.trials.iter());
        for (row, (events, trials)) in self.rows().zip(outcomes) {
            let (x, u) = (row[1], row[1 - held]);
            let odds = Odds::of(beta[0] + beta[1] * x);
            let (yes, no) = odds.ln_chance;
            likelihood += events * yes + (trials - events) * no;
            score += (events - trials * odds.chance) * u;
            let w = trials * odds.variance;
            information += w * u * u;
            let (w1, w2) = (
                w * (1.0 - 2.0 * odds.chance) * u,
                w * (1.0 - 6.0 * odds.variance) * u * u,
            );
            let mut power = 1.0;
            for k in 0..3 {
                s[k] += w * power;
                s1[k] += w1 * power;
                s2[k] += w2 * power;
                power *= x;
            }
        }
        let d = s[0] * s[2] - s[1] * s[1];
        if d.is_nan() || d <= LEAST_LEFT * s[0] * s[2] {
            return Err(Numerical::RankLost { column: 1 });
        }
        let d1 = s1[0] * s[2] + s[0] * s1[2] - 2.0 * s[1] * s1[1];
        let d2 = s2[0] * s[2] + 2.0 * s1[0] * s1[2] + s[0] * s2[2]
            - 2.0 * (s1[1] * s1[1] + s[1] * s2[1]);
        let bent = information - 0.5 * (d2 / d - (d1 / d) * (d1 / d));
        let curvature = if bent > 0.0 { bent } else { 2.0 * information };
        let mut step = DVector::zeros(2);
        step[1 - held] = (score + 0.5 * d1 / d) / curvature;
        Ok(Here {
            penalised: likelihood + 0.5 * d.ln(),
            step,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::DMatrix;
    use proptest::prelude::*;

    proptest! {
        /// Height against the general one, step against slope and curvature by differences of heights.
        #[test]
        fn heights_and_steps_are_those_of_the_general_climb(
            rows in prop::collection::vec((0u8..8, 1u8..5, 0u8..5), 3..7),
            intercept in -3.0..3.0f64, slope in -1.5..1.5f64, held in 0usize..2,
        ) {
            let of = |f: fn(&(u8, u8, u8)) -> f64| DVector::from_iterator(rows.len(), rows.iter().map(f));
            let x = DMatrix::from_fn(2, rows.len(), |k, i| if k == 0 { 1.0 } else { 0.5 + f64::from(rows[i].0) });
            let outcomes = Outcomes {
                x,
                trials: of(|r| f64::from(r.1)),
                events: of(|r| f64::from(r.2.min(r.1))),
            };
            let beta = DVector::from_row_slice(&[intercept, slope]);
            let height = |moved: f64| {
                let mut beta = beta.clone();
                beta[1 - held] += moved;
                outcomes.penalised(&beta)
            };
            let Ok(here) = height(0.0) else { return Ok(()); };
            let got = outcomes.look_along(&beta, held).unwrap();
            prop_assert!((got.penalised - here).abs() < 1e-9, "{} {here}", got.penalised);
            prop_assert_eq!(got.step[held], 0.0);
            let h = 1e-3;
            let (low, high) = (height(-h).unwrap(), height(h).unwrap());
            let (rise, bend) = ((high - low) / (2.0 * h), (2.0 * here - low - high) / (h * h));
            let step = got.step[1 - held];
            if bend > 1e-2 {
                prop_assert!((step * bend - rise).abs() < 1e-3 * (1.0 + rise.abs()), "{step} {rise} {bend}");
            } else if rise.abs() > 1e-3 {
                prop_assert!(step * rise > 0.0, "{step} {rise} {bend}");
            }
        }
    }
}
