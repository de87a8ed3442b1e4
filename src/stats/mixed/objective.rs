//! Everything in closed form at one ratio of spreads.

use super::design::Design;
use crate::stats::Numerical;
use crate::stats::linalg::{Few, Normal, left_over_and_ln_determinant};
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
}

/// How well the data agree with a ratio: what a search asks for at each.
#[derive(Debug, Clone, Copy)]
pub(super) struct Agreement {
    /// Residual sum of squares, not below the floor of the design.
    pub rss: f64,
    /// ln |X'V_r⁻¹X| + Σ ln(1 + n_j r²).
    ln_dets: f64,
}

/// The same with what it takes to have the fit there.
pub(super) struct Height {
    /// sd between groups over sd within groups, ≥ 0.
    pub r: f64,
    /// How well the data agree with it.
    pub agreement: Agreement,
    normal: Normal,
}

impl Design {
    /// What the data say of one ratio `r` ≥ 0.
    ///
    /// # Errors
    /// [`Numerical::RankLost`] naming the column of X that the others already explain.
    pub(super) fn height(&self, r: f64) -> Result<Height, Numerical> {
        Height::of(
            r,
            self.normal_equations(r),
            self.columns(),
            self.ln_det_v(r),
            self.rss_floor(),
        )
    }

    /// The same with nothing else kept.
    pub(super) fn agreement(&self, r: f64) -> Result<Agreement, Numerical> {
        let mut sums = self.normal_equations(r);
        let (left, ln_det) = left_over_and_ln_determinant(&mut sums, self.columns())?;
        Ok(Agreement::of(
            left,
            self.rss_floor(),
            self.ln_det_v(r) + ln_det,
        ))
    }

    /// Fits at one ratio `r` ≥ 0.
    ///
    /// # Errors
    /// [`Numerical::RankLost`] naming the column of X that the others already explain.
    pub fn at(&self, r: f64) -> Result<AtRatio, Numerical> {
        Ok(self.height(r)?.fit(self))
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
        Ok(self.agreement(r)?.criterion(self.nu()))
    }
}

impl Agreement {
    /// From what is left of the response's square, the least of it that is believed, and both ln-determinants.
    fn of(left_over: f64, rss_floor: f64, ln_dets: f64) -> Self {
        Agreement {
            rss: left_over.max(rss_floor).max(f64::MIN_POSITIVE),
            ln_dets,
        }
    }

    /// The criterion of [`Design::criterion`] for a fit with `nu` degrees of freedom.
    pub fn criterion(&self, nu: f64) -> f64 {
        let circle = 2.0 * std::f64::consts::PI;
        nu * (1.0 + (circle * self.rss / nu).ln()) + self.ln_dets
    }

    /// ln p(y | r) under flat β and p(σ²) ∝ 1/σ², up to a constant (`model.md` §2).
    pub fn ln_marginal(&self, nu: f64) -> f64 {
        -0.5 * (self.ln_dets + nu * self.rss.ln())
    }
}

impl Height {
    /// From the normal equations of `p` columns at `r` with the response's square, ln |V| and the least RSS believed.
    ///
    /// # Errors
    /// As [`Normal::of_packed`].
    pub fn of(
        r: f64,
        normal_equations: Few,
        p: usize,
        ln_det_v: f64,
        rss_floor: f64,
    ) -> Result<Self, Numerical> {
        let normal = Normal::of_packed(normal_equations, p)?;
        Ok(Height {
            r,
            agreement: Agreement::of(
                normal.left_over,
                rss_floor,
                ln_det_v + normal.factor.ln_determinant(),
            ),
            normal,
        })
    }

    /// The fit there.
    pub fn fit(&self, design: &Design) -> AtRatio {
        AtRatio {
            r: self.r,
            beta: DVector::from_vec(self.beta(design)),
            covariance: self.normal.factor.inverse(),
            rss: self.agreement.rss,
        }
    }

    /// Coefficients β_r.
    pub fn beta(&self, design: &Design) -> Vec<f64> {
        let mut beta = self.normal.solution().to_vec();
        for (b, offset) in beta.iter_mut().zip(design.offset()) {
            *b += offset;
        }
        beta
    }

    /// Lower triangle of C_r, [`crate::stats::linalg::packed`].
    pub fn covariance_packed(&self) -> Vec<f64> {
        self.normal.factor.inverse_packed()
    }
}
