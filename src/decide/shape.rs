//! A predictive distribution made quick to ask many times: tabulated once, on normal scores.
//!
//! The value belonging to a standard normal z is nearly a straight line in z, so that a few dozen points with exact
//! slopes carry it (cubic Hermite; the error is held under 1e-4 of a scale by the test below).

use crate::stats::cubic::Pieces;
use crate::stats::distributions::{normal_pdf, normal_quantile, t_quantile, tabulated_normal_cdf};
use crate::stats::mixed::Mixture;
use std::sync::OnceLock;

/// Points of the table: of few degrees of freedom, whose tails are long, and of more. *Measured* against the mixture itself:
/// probabilities within 5e-5 and 1e-5. They reach out to this tail of a single t, with room for the mixing.
const POINTS: [usize; 2] = [41, 25];
const FEW_DF: f64 = 5.0;
const REACH_TAIL: f64 = 1e-5;
const REACH_MIXED: f64 = 2.0;
/// Probabilities nearer to 0 or 1 than this are not tabulated.
const TAIL: f64 = 1e-9;

/// A mixture as a table of normal scores.
#[derive(Debug, Clone)]
pub struct Shape {
    /// Points left out below the first.
    skipped: usize,
    /// Values, rising.
    y: Vec<f64>,
    /// Their normal scores, rising.
    z: Vec<f64>,
    /// dy/dz at each.
    slope: Vec<f64>,
    /// Values by scores and the other way round, made when first asked for.
    values: OnceLock<Pieces>,
    scores: OnceLock<Pieces>,
}

impl Shape {
    /// Tabulates a mixture.
    pub fn new(mixture: &Mixture) -> Self {
        let (centre, scale) = (mixture.centre(), mixture.mean_scale());
        let reach = (REACH_MIXED * t_quantile(1.0 - REACH_TAIL, mixture.nu())).asinh();
        let points = POINTS[usize::from(mixture.nu() >= FEW_DF)];
        let mut shape = Shape::with_room_for(points);
        for i in 0..points {
            // Evenly in the middle, wider apart outside.
            let u = (2.0 * i as f64 / (points - 1) as f64 - 1.0) * reach;
            let y = centre + scale * u.sinh();
            let (p, density) = mixture.cdf_and_pdf(y);
            if !(TAIL..=1.0 - TAIL).contains(&p) {
                shape.skipped += usize::from(shape.y.is_empty());
                continue;
            }
            let z = normal_quantile(p);
            if density > 0.0 && shape.z.last().is_none_or(|&last| z > last) {
                shape.y.push(y);
                shape.z.push(z);
                shape.slope.push(normal_pdf(z) / density);
            }
        }
        shape
    }

    fn with_room_for(points: usize) -> Self {
        Shape {
            skipped: 0,
            y: Vec::with_capacity(points),
            z: Vec::with_capacity(points),
            slope: Vec::with_capacity(points),
            values: OnceLock::new(),
            scores: OnceLock::new(),
        }
    }

    fn has_points_of(&self, other: &Shape) -> bool {
        (self.skipped, self.y.len()) == (other.skipped, other.y.len())
    }

    /// A table that lies among others, its points the same sums of theirs; `None` where theirs are not the same points.
    ///
    /// * `among`, `weights` — at least one table; weights sum to 1
    pub fn between(among: &[Shape], weights: &[f64]) -> Option<Self> {
        let (first, rest) = among.split_first()?;
        if !rest.iter().all(|s| s.has_points_of(first)) {
            return None;
        }
        let points = first.y.len();
        let sums = |of: fn(&Shape) -> &[f64]| {
            let mut sums = vec![0.0; points];
            for (shape, weight) in among.iter().zip(weights) {
                for (sum, value) in sums.iter_mut().zip(of(shape)) {
                    *sum += weight * value;
                }
            }
            sums
        };
        Some(Shape {
            skipped: first.skipped,
            y: sums(|s| &s.y),
            z: sums(|s| &s.z),
            slope: sums(|s| &s.slope),
            values: OnceLock::new(),
            scores: OnceLock::new(),
        })
    }

    /// How far another table of the same points lies off this one, in normal scores; infinite for other points.
    pub fn off(&self, other: &Shape) -> f64 {
        if !self.has_points_of(other) {
            return f64::INFINITY;
        }
        // A point that moved along the curve is still on it.
        (0..self.y.len()).fold(0.0, |most: f64, i| {
            let along = (other.y[i] - self.y[i]) / self.slope[i];
            most.max((other.z[i] - self.z[i] - along).abs())
        })
    }

    /// The same, moved by `by`.
    pub fn shifted(mut self, by: f64) -> Self {
        for y in &mut self.y {
            *y += by;
        }
        (self.values, self.scores) = Default::default();
        self
    }

    /// Values by normal scores.
    pub fn values(&self) -> &Pieces {
        self.values
            .get_or_init(|| Pieces::new(self.z.clone(), &self.y, |i| self.slope[i]))
    }

    /// Normal scores by values; of finite ones.
    pub fn scores(&self) -> &Pieces {
        self.scores
            .get_or_init(|| Pieces::new(self.y.clone(), &self.z, |i| 1.0 / self.slope[i]))
    }

    /// The value whose normal score is `z`.
    pub fn at_score(&self, z: f64) -> f64 {
        self.values().at(z)
    }

    /// The normal score of a value.
    pub fn score(&self, y: f64) -> f64 {
        if y == f64::INFINITY {
            return y;
        }
        self.scores().at(y)
    }

    /// The value not exceeded with probability `p`, 0 < p < 1.
    pub fn quantile(&self, p: f64) -> f64 {
        self.at_score(normal_quantile(p))
    }

    /// Probability of at most `y`.
    pub fn cdf(&self, y: f64) -> f64 {
        tabulated_normal_cdf(self.score(y))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::mixed::Posterior;
    use crate::stats::mixed::Rows;
    use crate::stats::resample::{normal, replicate};
    use nalgebra::{DMatrix, DVector};

    /// Probabilities of one run in sessions to come, from hardly anything known to a long season.
    #[test]
    fn probabilities_agree_with_the_mixture() {
        let cases = [
            (1, 4, 0.0, 5e-5),
            (2, 2, 1.0, 5e-5),
            (3, 3, 1.0, 1e-5),
            (2, 8, 3.0, 1e-5),
            (6, 20, 0.5, 1e-6),
            (100, 5, 0.3, 1e-6),
        ];
        for (groups, each, tau, within) in cases {
            let mut stream = replicate(99, groups as u64);
            let shifts: Vec<f64> = (0..groups).map(|_| tau * normal(&mut stream)).collect();
            let n = groups * each;
            let rows = Rows {
                x: DMatrix::from_fn(n, 2, |i, j| if j == 0 { 1.0 } else { (i % 5) as f64 }),
                y: DVector::from_fn(n, |i, _| shifts[i % groups] + normal(&mut stream)),
                group: (0..n).map(|i| i % groups).collect(),
            };
            let posterior =
                Posterior::new(&rows.design(&[], 0.003).expect("rank 2"), 0.9).expect("some");
            let mixture = posterior.new_group_distribution(&[1.0, 2.3]);
            let shape = Shape::new(&mixture);
            for p in (1..200).map(|i| f64::from(i) / 200.0) {
                let off = (shape.cdf(mixture.quantile(p)) - p).abs();
                assert!(off < within, "{groups} of {each}, {p}: {off:e}");
            }
        }
    }

    #[test]
    fn the_table_agrees_with_the_mixture_itself() {
        // Three groups of three: few enough for heavy tails.
        let y = [8.0, 8.1, 8.05, 8.3, 8.2, 8.4, 7.9, 7.8, 8.0];
        let rows = Rows {
            x: DMatrix::from_element(9, 1, 1.0),
            y: DVector::from_row_slice(&y),
            group: vec![0, 0, 0, 1, 1, 1, 2, 2, 2].into(),
        };
        let posterior =
            Posterior::new(&rows.design(&[], 0.0003).expect("rank 1"), 1.0).expect("a posterior");
        let mixture = posterior.new_group_distribution(&[1.0]);
        let shape = Shape::new(&mixture);
        let scale = mixture.scale();
        for p in [0.001, 0.01, 0.025, 0.2, 0.5, 0.77, 0.95, 0.975, 0.999] {
            let exact = mixture.quantile(p);
            assert!(
                (shape.quantile(p) - exact).abs() < 1e-4 * scale,
                "{p}: {} for {exact}",
                shape.quantile(p)
            );
            assert!((shape.cdf(exact) - p).abs() < 1e-4, "{p}");
        }
    }
}
