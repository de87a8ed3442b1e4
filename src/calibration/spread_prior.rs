//! The weak priors on the spreads of a fit: a guess of σ worth one run, and the scale of the prior on θ.

use crate::stats::Numerical;
use crate::stats::distributions::t_quantile;
use crate::stats::mixed::{Design, Reml, SpreadPrior};

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
    /// Whether the guess holds the reported fit out of such a corner ([`reml_beside_guess`]).
    pub guess_holds: bool,
}

impl SigmaAlone {
    /// Where no row tells: the guess itself.
    pub fn from_guess(guess: f64) -> Self {
        SigmaAlone {
            sigma: guess,
            df: 1.0,
            guess: Some(guess),
            guess_holds: false,
        }
    }

    /// The restricted-likelihood fit of a design, out of the corners that the guess rules out where it is in force; and whether it
    /// had to.
    ///
    /// # Errors
    /// Any error of [`Design::reml`].
    pub fn reml(self, design: &Design) -> Result<(Reml, Self), Numerical> {
        let reml = design.reml()?;
        let is_corner = |guess: &f64| contradicts(*guess, reml.sigma, design.nu());
        let Some(guess) = self.guess.filter(is_corner) else {
            return Ok((reml, self));
        };
        let (reml, SigmaAlone { guess_holds, .. }) = reml_beside_guess(design, guess)?;
        Ok((
            reml,
            SigmaAlone {
                guess_holds,
                ..self
            },
        ))
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

/// The restricted-likelihood fit of some rows, and σ as they and a guess of it have it.
///
/// The guess s₀ leaves where s₀²/σ̂² exceeds the 0.3 % point of F(1, ν), the square of the two-sided point of t: a vehicle
/// that repeats to a centimetre must not be widened by a guess (`model.md` §2). With few rows σ̂ may be next to nothing at a θ̂
/// out of all reason, where the line of each day goes through its rows; so σ̂ must also be that small at the θ̂ that the guess
/// allows, or the guess stays, and the fit is the one with it. While it stays, σ is that of the
/// fit with it.
///
/// # Errors
/// Any error of [`Design::reml`].
pub fn reml_beside_guess(design: &Design, guess: f64) -> Result<(Reml, SigmaAlone), Numerical> {
    let nu = design.nu();
    let (alone, with) = (design.reml()?, design.reml_with_guess(Some(guess))?);
    let rss = (nu + 1.0) * with.sigma * with.sigma - guess * guess;
    let is_corner = contradicts(guess, alone.sigma, nu);
    if is_corner && contradicts(guess, (rss / nu).max(0.0).sqrt(), nu) {
        let sigma = SigmaAlone {
            sigma: alone.sigma,
            df: nu,
            guess: None,
            guess_holds: false,
        };
        return Ok((alone, sigma));
    }
    let sigma = SigmaAlone {
        sigma: with.sigma,
        df: nu + 1.0,
        guess: Some(guess),
        guess_holds: is_corner,
    };
    Ok((if is_corner { with } else { alone }, sigma))
}

/// Whether σ̂ with `nu` degrees of freedom is too small for a guess worth one run.
fn contradicts(guess: f64, sigma: f64, nu: f64) -> bool {
    guess > two_sided_t(nu) * sigma
}

/// What |t| with `df` degrees of freedom exceeds with the chance at which a prior is let go.
fn two_sided_t(df: f64) -> f64 {
    t_quantile(1.0 - 0.5 * CONTRADICTED_P, df)
}

/// The prior of a fit whose τ nobody guesses: of run time.
pub fn unguessed() -> SpreadPrior {
    SpreadPrior::without_guess(THETA_PRIOR_SCALE)
}
