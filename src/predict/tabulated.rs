//! The tabulated quantile function of a predictive distribution: made once, asked thousands of times.
//!
//! Against a standard normal score z the quantile is nearly a straight line, so that a few dozen points with exact slopes
//! carry it (cubic Hermite interpolation; the error is held under 1e-4 of a scale by the test below).

use crate::stats::cubic::interpolated;
use crate::stats::distributions::{normal_cdf, normal_pdf, normal_quantile, t_quantile};
use crate::stats::mixed::Mixture;

/// Points of the table: of few degrees of freedom, whose tails are long, and of more. *Measured* against the mixture itself:
/// probabilities within 5e-5 and 1e-5 where σ is 2 cm or more; where a day or two of runs repeat to millimetres, a narrow core
/// with wide tails, up to 5e-4 (σ 1 cm), 2e-3 (0.5 cm) and 2e-2 (0.14 cm), which is 0.2 mm of the median. They reach out to
/// this tail of a single t, with room for the mixing.
const POINTS: [usize; 2] = [41, 25];
const FEW_DF: f64 = 5.0;
const REACH_TAIL: f64 = 1e-5;
const REACH_MIXED: f64 = 2.0;
/// Probabilities nearer to 0 or 1 than this are not tabulated.
const TAIL: f64 = 1e-9;

/// Quantiles of a mixture of t by normal scores, at points with the slope of each.
#[derive(Debug, Clone)]
pub struct TabulatedQuantiles {
    /// Values, rising.
    y: Vec<f64>,
    /// Their normal scores, rising.
    z: Vec<f64>,
    /// dy/dz at each.
    slope: Vec<f64>,
}

impl TabulatedQuantiles {
    /// Of a mixture, every value `shift` more.
    pub fn from_mixture(mixture: &Mixture, shift: f64) -> Self {
        let (centre, scale) = (mixture.centre(), mixture.mean_scale());
        let reach = (REACH_MIXED * t_quantile(1.0 - REACH_TAIL, mixture.nu())).asinh();
        let points = POINTS[usize::from(mixture.nu() >= FEW_DF)];
        let (mut y, mut z, mut slope) = (Vec::new(), Vec::new(), Vec::new());
        for i in 0..points {
            // Evenly in the middle, wider apart outside.
            let u = (2.0 * i as f64 / (points - 1) as f64 - 1.0) * reach;
            let value = centre + scale * u.sinh();
            let (p, density) = mixture.cdf_and_pdf(value);
            if !(TAIL..=1.0 - TAIL).contains(&p) {
                continue;
            }
            let score = normal_quantile(p);
            if density > 0.0 && z.last().is_none_or(|&last| score > last) {
                y.push(value + shift);
                z.push(score);
                slope.push(normal_pdf(score) / density);
            }
        }
        if y.is_empty() {
            // Covariances that no fit gives, from a file that was made by hand: nothing but the centre is left.
            (y, z, slope) = (vec![centre + shift], vec![0.0], vec![scale]);
        }
        TabulatedQuantiles { y, z, slope }
    }

    /// The value whose normal score is `z`.
    pub fn at_score(&self, z: f64) -> f64 {
        interpolated(&self.z, &self.y, |i| self.slope[i], z)
    }

    /// The normal score of a value.
    pub fn score(&self, y: f64) -> f64 {
        interpolated(&self.y, &self.z, |i| 1.0 / self.slope[i], y)
    }

    /// The value not exceeded with probability `p`, 0 < p < 1.
    pub fn quantile(&self, p: f64) -> f64 {
        self.at_score(normal_quantile(p))
    }

    /// Probability of at most `y`.
    pub fn cdf(&self, y: f64) -> f64 {
        normal_cdf(self.score(y))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::mixed::{Posterior, Row, Rows, SpreadPrior};
    use crate::stats::resample::{normal, replicate};
    use nalgebra::{DMatrix, DVector};

    fn prior(theta_scale: f64) -> SpreadPrior {
        SpreadPrior::without_guess(theta_scale)
    }

    fn row<const N: usize>(x: [f64; N]) -> Row {
        Row::of_mean_size(x.to_vec())
    }

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
            let rows = Rows::new(
                DMatrix::from_fn(n, 2, |i, j| if j == 0 { 1.0 } else { (i % 5) as f64 }),
                DVector::from_fn(n, |i, _| shifts[i % groups] + normal(&mut stream)),
                (0..n).map(|i| i % groups).collect::<Vec<usize>>(),
            );
            let posterior = Posterior::new(&rows.design(&[], 0.003).expect("rank 2"), prior(0.9))
                .expect("some");
            let mixture = posterior.new_group_distribution(&row([1.0, 2.3]));
            let table = TabulatedQuantiles::from_mixture(&mixture, 0.0);
            assert_eq!(table.cdf(f64::NEG_INFINITY), 0.0);
            assert_eq!(table.cdf(f64::INFINITY), 1.0);
            for p in (1..200).map(|i| f64::from(i) / 200.0) {
                let off = (table.cdf(mixture.quantile(p)) - p).abs();
                assert!(off < within, "{groups} of {each}, {p}: {off:e}");
            }
        }
    }

    #[test]
    fn the_table_agrees_with_the_mixture_itself() {
        // Three groups of three: few enough for heavy tails.
        let y = [8.0, 8.1, 8.05, 8.3, 8.2, 8.4, 7.9, 7.8, 8.0];
        let rows = Rows::new(
            DMatrix::from_element(9, 1, 1.0),
            DVector::from_row_slice(&y),
            vec![0, 0, 0, 1, 1, 1, 2, 2, 2],
        );
        let posterior = Posterior::new(&rows.design(&[], 0.0003).expect("rank 1"), prior(1.0))
            .expect("a posterior");
        let mixture = posterior.new_group_distribution(&row([1.0]));
        let table = TabulatedQuantiles::from_mixture(&mixture, 0.0);
        let scale = mixture.scale();
        for p in [0.001, 0.01, 0.025, 0.2, 0.5, 0.77, 0.95, 0.975, 0.999] {
            let exact = mixture.quantile(p);
            assert!(
                (table.quantile(p) - exact).abs() < 1e-4 * scale,
                "{p}: {} for {exact}",
                table.quantile(p)
            );
            assert!((table.cdf(exact) - p).abs() < 1e-4, "{p}");
        }
    }
}
