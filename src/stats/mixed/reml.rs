//! Restricted maximum likelihood: a search for the least criterion over ln θ, with θ = 0 an allowed answer.

use super::criterion::Profile;
use super::design::Design;
use crate::stats::Numerical;
use crate::stats::optimise;
use nalgebra::{DMatrix, DVector};
use std::cell::Cell;

/// Where the search looks before it refines, in ln θ: from "groups do not differ" to "rows of a group hardly do".
const LN_THETA: (f64, f64) = (-9.0, 14.0);
const LN_THETA_STEP: f64 = 1.0;
/// On ln θ.
const TOLERANCE: f64 = 1e-9;
/// θ = 0 is kept unless another θ has a criterion that is less by more than this.
const CRITERION_TIE: f64 = 1e-9;

/// The restricted-likelihood fit.
#[derive(Debug, Clone)]
pub struct Reml {
    /// θ̂ = τ̂/σ̂, by the name it has in `calibration.json`.
    pub r: f64,
    /// Coefficients.
    pub beta: DVector<f64>,
    /// Covariance of `beta` at the estimates, σ̂²·C_θ.
    pub covariance: DMatrix<f64>,
    /// Residual sd σ̂.
    pub sigma: f64,
    /// Between-group sd τ̂.
    pub tau: f64,
    /// −2 ln L with all constants.
    pub criterion: f64,
    /// How the optimum was found.
    pub search: Search,
}

/// The search of a fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Search {
    /// Within which ln θ̂ is the least criterion's place.
    pub tolerance: f64,
    /// How often the criterion was evaluated.
    pub evaluations: usize,
    /// Why it ended.
    pub stopped: Stopped,
}

/// Why a search for θ̂ ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stopped {
    /// At the least criterion, inside the range.
    Converged,
    /// No θ is better than 0: groups were not seen to differ.
    AtZero,
    /// The criterion is the same at every θ (one group, one row in every group, one degree of freedom), so θ̂ is 0.
    NotEstimable,
}

impl Design {
    /// The restricted-likelihood estimates.
    ///
    /// # Errors
    /// [`Numerical::RankLost`], or [`Numerical::Shape`] without a degree of freedom.
    pub fn reml(&self) -> Result<Reml, Numerical> {
        self.reml_with_guess(None)
    }

    /// The restricted-likelihood estimates with a guess of σ worth one row in RSS_θ and ν.
    ///
    /// # Errors
    /// [`Numerical::RankLost`], or [`Numerical::Shape`] without a degree of freedom.
    pub fn reml_with_guess(&self, sigma: Option<f64>) -> Result<Reml, Numerical> {
        if self.nu() < 1.0 {
            return Err(Numerical::Shape {
                what: "rows for a spread",
            });
        }
        let at = |theta: f64| Ok(self.at(theta)?.with_guess(sigma));
        let at_zero: Profile = at(0.0)?;
        if !self.theta_is_estimable() {
            return Ok(Reml::from_profile(&at_zero, 1, Stopped::NotEstimable));
        }
        let evaluations = Cell::new(2);
        let criterion = |ln_theta: f64| {
            evaluations.set(evaluations.get() + 1);
            at(ln_theta.exp()).map_or(f64::INFINITY, |profile: Profile| profile.criterion())
        };
        let least = optimise::minimum_of_many(criterion, LN_THETA, LN_THETA_STEP, TOLERANCE)?;
        let at_least = at(least.x.exp())?;
        let (best, stopped) = if at_zero.criterion() <= at_least.criterion() + CRITERION_TIE {
            (at_zero, Stopped::AtZero)
        } else {
            (at_least, Stopped::Converged)
        };
        Ok(Reml::from_profile(&best, evaluations.get(), stopped))
    }
}

impl Reml {
    fn from_profile(best: &Profile, evaluations: usize, stopped: Stopped) -> Self {
        let sigma = (best.rss / best.nu).sqrt();
        Reml {
            r: best.theta,
            beta: best.beta.clone(),
            covariance: best.covariance() * (sigma * sigma),
            sigma,
            tau: best.theta * sigma,
            criterion: best.criterion(),
            search: Search {
                tolerance: TOLERANCE,
                evaluations,
                stopped,
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::design::Rows;
    use super::*;

    /// Two groups, three rows each, whose means differ by `difference`.
    fn fit(group: [usize; 6], difference: f64) -> Reml {
        let y = [
            0.0,
            1.0,
            2.0,
            difference,
            1.0 + difference,
            2.0 + difference,
        ];
        let rows = Rows::new(
            DMatrix::from_element(6, 1, 1.0),
            DVector::from_row_slice(&y),
            group.to_vec(),
        );
        rows.design(&[], 0.0).unwrap().reml().unwrap()
    }

    /// In the balanced one-way layout σ̂² is the mean square within and τ̂² = (mean square between − σ̂²)/n.
    #[test]
    fn a_fit_remembers_how_it_was_found() {
        let far = fit([0, 0, 0, 1, 1, 1], 10.0);
        assert_eq!(far.search.stopped, Stopped::Converged);
        assert!(far.search.evaluations > 20 && far.search.tolerance > 0.0);
        assert!((far.sigma - 1.0).abs() < 1e-6);
        assert!((far.tau.powi(2) - (150.0 - 1.0) / 3.0).abs() < 1e-4);
        assert_eq!(fit([0, 0, 0, 1, 1, 1], 0.1).search.stopped, Stopped::AtZero);
        let one_each = fit([0, 1, 2, 3, 4, 5], 10.0);
        assert_eq!(one_each.search.stopped, Stopped::NotEstimable);
        assert_eq!((one_each.r, one_each.search.evaluations), (0.0, 1));
    }

    /// The mean of six rows that share nothing has the variance s²/6; of a balanced one-way layout (mean square between)/6.
    #[test]
    fn the_mean_has_the_variance_of_a_mean() {
        let alike = fit([0, 1, 2, 3, 4, 5], 10.0);
        // 0, 1, 2, 10, 11, 12: s² = 154/5.
        assert!((alike.covariance[(0, 0)] - 154.0 / 5.0 / 6.0).abs() < 1e-9);
        let grouped = fit([0, 0, 0, 1, 1, 1], 10.0);
        assert!((grouped.covariance[(0, 0)] / (150.0 / 6.0) - 1.0).abs() < 1e-4);
    }

    /// With one degree of freedom the criterion is the same at every θ, to rounding: no search may pick one.
    #[test]
    fn one_degree_of_freedom_tells_no_theta() {
        let rows = Rows::new(
            DMatrix::from_fn(4, 3, |i, j| [1.0, i as f64, (i * i) as f64][j]),
            DVector::from_row_slice(&[1.0, 3.0, 2.0, 7.0]),
            vec![0, 0, 1, 1],
        );
        let design = rows.design(&[], 0.0).unwrap();
        let at = |theta: f64| design.criterion(theta).unwrap();
        assert!((at(0.0) - at(3.0)).abs() < 1e-8);
        assert_eq!(design.reml().unwrap().search.stopped, Stopped::NotEstimable);
    }
}
