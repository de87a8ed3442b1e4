//! Restricted maximum likelihood: a search over ln r, with r = 0 an allowed answer.

use super::design::Design;
use super::objective::Height;
use crate::stats::Numerical;
use crate::stats::optimise;
use nalgebra::{DMatrix, DVector};

/// Ratios looked at before the search is refined: from "groups do not differ" to "rows of a group hardly do".
const LN_R_FROM: f64 = -9.0;
const LN_R_TO: f64 = 14.0;
const LN_R_STEP: f64 = 1.0;

/// r = 0 is kept unless another ratio is better by more than this (`model.md` §2).
const CRITERION_TIE: f64 = 1e-9;

/// The restricted-likelihood fit.
#[derive(Debug, Clone)]
pub struct Reml {
    /// τ/σ.
    pub r: f64,
    /// Coefficients.
    pub beta: DVector<f64>,
    /// Covariance of `beta` at the estimates, σ²·C_r.
    pub covariance: DMatrix<f64>,
    /// sd within groups.
    pub sigma: f64,
    /// sd between groups.
    pub tau: f64,
    /// −2 log L with all constants.
    pub criterion: f64,
}

impl Design {
    /// The restricted-likelihood estimates.
    ///
    /// # Errors
    /// [`Numerical::RankLost`], or [`Numerical::Shape`] without a degree of freedom.
    pub fn reml(&self) -> Result<Reml, Numerical> {
        let nu = self.nu();
        if nu < 1.0 {
            return Err(Numerical::Shape {
                what: "rows for a spread",
            });
        }
        let at_zero = self.height(0.0)?;
        if !self.ratio_can_be_told() {
            return Ok(Reml::from(self, &at_zero));
        }
        let value = |ln_r: f64| self.criterion(ln_r.exp()).unwrap_or(f64::INFINITY);
        let found = optimise::minimum_of_many(value, (LN_R_FROM, LN_R_TO), LN_R_STEP, 1e-9)?;
        let at_best = self.height(found.x.exp())?;
        let no_worse =
            at_zero.agreement.criterion(nu) <= at_best.agreement.criterion(nu) + CRITERION_TIE;
        let best = if no_worse { at_zero } else { at_best };
        Ok(Reml::from(self, &best))
    }
}

impl Reml {
    fn from(design: &Design, height: &Height) -> Self {
        let fit = height.fit(design);
        let sigma = (fit.rss / design.nu()).sqrt();
        Reml {
            r: fit.r,
            criterion: height.agreement.criterion(design.nu()),
            covariance: fit.covariance * (sigma * sigma),
            beta: fit.beta,
            sigma,
            tau: fit.r * sigma,
        }
    }
}
