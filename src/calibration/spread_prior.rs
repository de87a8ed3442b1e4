//! The weak priors on the spreads of a fit: a guess of σ worth one run, and the scale of the prior on θ.

use crate::stats::distributions::t_quantile;
use crate::stats::mixed::{Reml, SpreadPrior};

/// Scale of the half-t prior on θ = τ/σ, as a part of (guess of τ)/σ̂.
const THETA_PRIOR_SCALE: f64 = 0.75;
/// A guess is let go when rows contradict it so strongly that chance would do so less often than this.
const CONTRADICTED_P: f64 = 0.003;

/// σ as the rows of a fit and a guess that is worth one of them have it, pseudo-rows left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SigmaAlone {
    /// σ̂.
    pub sigma: f64,
    /// Its degrees of freedom.
    pub df: f64,
    /// The guess; `None` where the rows contradict it.
    pub guess: Option<f64>,
}

impl SigmaAlone {
    /// From the restricted-likelihood fit of the rows alone with its degrees of freedom ν, `None` where there are none.
    ///
    /// The guess s₀ leaves where s₀²/σ̂² exceeds the 0.3 % point of F(1, ν), the square of the two-sided point of t: a vehicle
    /// that repeats to a centimetre must not be widened by a guess (`model.md` §2).
    pub fn from_rows(alone: Option<(&Reml, f64)>, guess: f64) -> Self {
        let Some((reml, nu)) = alone else {
            return SigmaAlone {
                sigma: guess,
                df: 1.0,
                guess: Some(guess),
            };
        };
        if guess > two_sided_t(nu) * reml.sigma {
            return SigmaAlone {
                sigma: reml.sigma,
                df: nu,
                guess: None,
            };
        }
        let rss = nu * reml.sigma * reml.sigma;
        SigmaAlone {
            sigma: ((rss + guess * guess) / (nu + 1.0)).sqrt(),
            df: nu + 1.0,
            guess: Some(guess),
        }
    }

    /// The priors that a fit is made with, given a guess of τ.
    pub fn prior(self, guess_of_tau: f64) -> SpreadPrior {
        SpreadPrior {
            theta_scale: THETA_PRIOR_SCALE * guess_of_tau / self.sigma,
            sigma_guess: self.guess,
        }
    }

    /// Whether rows that give a coefficient as `estimate`, with the standard error `se` at [`SigmaAlone::sigma`], contradict
    /// a normal prior on it: by Student's t with the degrees of freedom of the sum of a variance that is known and one that
    /// is estimated (Welch 1947; Satterthwaite 1946).
    pub fn contradicts(self, (mean, sd): (f64, f64), (estimate, se): (f64, f64)) -> bool {
        let df = self.df * (1.0 + (sd / se).powi(2)).powi(2);
        (estimate - mean).abs() > two_sided_t(df) * sd.hypot(se)
    }
}

/// What |t| with `df` degrees of freedom exceeds with the chance at which a prior is let go.
fn two_sided_t(df: f64) -> f64 {
    t_quantile(1.0 - 0.5 * CONTRADICTED_P, df)
}

/// The prior of a fit whose τ nobody guesses: of run time.
pub fn unguessed() -> SpreadPrior {
    SpreadPrior::without_guess(THETA_PRIOR_SCALE)
}
