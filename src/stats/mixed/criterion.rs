//! The profiled restricted-likelihood criterion at one θ, in closed form.
//!
//! With X and y bordered into one matrix of cross-products at θ,
//!
//! ```text
//! [X y]'V⁻¹[X y] = W + Σ_j n_j/(1 + n_jθ²)·z̄_j z̄_j',     W = Σ_j Σ_(i in j) (z_i − z̄_j)(z_i − z̄_j)',     z = (x, y),
//! ```
//!
//! β_θ solves X'V⁻¹X β = X'V⁻¹y, RSS_θ = y'V⁻¹y − y'V⁻¹Xβ_θ, and with β and σ profiled out
//!
//! ```text
//! −2 ln L(θ) = ν·(1 + ln(2π·RSS_θ/ν)) + ln |V| + ln |X'V⁻¹X|.
//! ```
//!
//! Where rows were divided by g (spreads that grow), 2 Σ ln g joins ln |V|: the criterion is that of the rows as observed.
//!
//! Sources: Henderson (1953); Harville (1977); Bates, Mächler, Bolker and Walker (2015), J. Stat. Softw. 67(1), equation 41.

use super::design::Design;
use super::random_intercept::RandomIntercept;
use crate::stats::Numerical;
use crate::stats::linalg::Factor;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::TAU;

/// The fit at one θ, with the factor it came from.
#[derive(Debug, Clone)]
pub struct Profile {
    /// sd between groups over sd within groups, ≥ 0.
    pub theta: f64,
    /// Coefficients β_θ.
    pub beta: DVector<f64>,
    /// Residual sum of squares RSS_θ, not below the floor of the design.
    pub rss: f64,
    /// Degrees of freedom ν.
    pub nu: f64,
    /// ln |V| + ln |X'V⁻¹X|.
    ln_det: f64,
    /// Of X'V⁻¹X.
    factor: Factor,
}

impl Design {
    /// Fits at one θ ≥ 0.
    ///
    /// # Errors
    /// [`Numerical::RankLost`] naming the column of X that those before it explain.
    pub fn at(&self, theta: f64) -> Result<Profile, Numerical> {
        let groups = RandomIntercept::at(theta);
        let cross = self.cross_products(groups);
        let p = self.columns();
        let factor = Factor::new(&cross.view((0, 0), (p, p)).into_owned())?;
        let z = factor.forward(&cross.view((0, p), (p, 1)).column(0).into_owned());
        Ok(Profile {
            theta,
            rss: (cross[(p, p)] - z.norm_squared()).max(self.rss_floor()),
            beta: self.offset() + factor.back(z),
            nu: self.nu(),
            ln_det: self.ln_det_v(groups) + factor.ln_determinant(),
            factor,
        })
    }

    /// The profiled restricted-likelihood criterion, −2 ln L, with all its constants, so that it can be laid beside other
    /// programs' values (lme4's `REMLcrit`; checked in `tests/mixed_models.rs`).
    ///
    /// # Errors
    /// [`Numerical::RankLost`] naming the column of X that those before it explain.
    pub fn criterion(&self, theta: f64) -> Result<f64, Numerical> {
        Ok(self.at(theta)?.criterion())
    }
}

impl Profile {
    /// −2 ln L(θ), β and σ profiled out.
    pub fn criterion(&self) -> f64 {
        self.nu * (1.0 + (TAU * self.rss / self.nu).ln()) + self.ln_det
    }

    /// The fit with a guess of σ worth one row, a scaled inverse χ² with one degree of freedom about `sigma`: its square
    /// joins RSS_θ, and one joins ν (Gelman et al., Bayesian Data Analysis, section 2.6).
    pub(super) fn with_guess(mut self, sigma: Option<f64>) -> Self {
        if let Some(sigma) = sigma {
            self.rss += sigma * sigma;
            self.nu += 1.0;
        }
        self
    }

    /// ln p(y | θ), up to a constant, β and σ integrated out under flat p(β) and p(σ²) ∝ 1/σ² (Box & Tiao 1973 ch. 5).
    pub fn ln_marginal(&self) -> f64 {
        -0.5 * (self.nu * self.rss.ln() + self.ln_det)
    }

    /// C_θ = (X'V⁻¹X)⁻¹, the covariance of β_θ over σ².
    pub fn covariance(&self) -> DMatrix<f64> {
        self.factor.inverse()
    }
}
