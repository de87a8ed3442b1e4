//! Everything in closed form at one ratio of spreads.

use super::design::Design;
use crate::stats::Numerical;
use crate::stats::linalg::Factor;
use nalgebra::{DMatrix, DVector};

/// The generalised least-squares fit at one `r`.
#[derive(Debug, Clone)]
pub struct AtRatio {
    /// sd between groups over sd within groups, ≥ 0.
    pub r: f64,
    /// Coefficients.
    pub beta: DVector<f64>,
    /// C_r = (X'V_r⁻¹X)⁻¹; the covariance of `beta` over σ².
    pub covariance: DMatrix<f64>,
    /// Residual sum of squares, not below the floor of the design.
    pub rss: f64,
    /// ln |X'V_r⁻¹X|.
    pub ln_det: f64,
    /// Σ ln(1 + n_j r²).
    pub ln_det_v: f64,
}

impl Design {
    /// Fits at one ratio `r` ≥ 0.
    ///
    /// # Errors
    /// [`Numerical::RankLost`] naming the column of X that the others already explain.
    pub fn at(&self, r: f64) -> Result<AtRatio, Numerical> {
        let (a, b, c) = self.normal_equations(r);
        let factor = Factor::new(&a)?;
        let step = factor.solve(&b);
        let rss = (c - b.dot(&step))
            .max(self.rss_floor())
            .max(f64::MIN_POSITIVE);
        Ok(AtRatio {
            r,
            beta: &step + self.offset(),
            covariance: factor.inverse(),
            rss,
            ln_det: factor.ln_determinant(),
            ln_det_v: self.ln_det_v(r),
        })
    }

    /// Profiled restricted-likelihood criterion, −2 log L, with all its constants, so that it can be laid beside
    /// other programs' values (lme4's `REMLcrit`).
    ///
    /// Source: Bates, Mächler, Bolker and Walker (2015), J. Stat. Softw. 67(1), equation 41. Checked against
    /// lme4 in `tests/reference/mixed.rs`.
    ///
    /// # Errors
    /// As [`Design::at`].
    pub fn criterion(&self, r: f64) -> Result<f64, Numerical> {
        Ok(self.at(r)?.criterion(self.nu()))
    }
}

impl AtRatio {
    /// The criterion of [`Design::criterion`] for a fit with `nu` degrees of freedom.
    pub fn criterion(&self, nu: f64) -> f64 {
        let circle = 2.0 * std::f64::consts::PI;
        nu * (1.0 + (circle * self.rss / nu).ln()) + self.ln_det_v + self.ln_det
    }

    /// ln p(y | r) under flat β and p(σ²) ∝ 1/σ², up to a constant (`model.md` §2).
    pub fn ln_marginal(&self, nu: f64) -> f64 {
        -0.5 * (self.ln_det_v + self.ln_det + nu * self.rss.ln())
    }
}
