//! The rows of a fit at every power with which its spreads may grow.

use super::design::{Design, PseudoRow, Rows};
use crate::stats::Numerical;

/// Rows and their sums at each γ that is averaged over, by rising γ; one where spreads are the same everywhere.
#[derive(Debug, Clone)]
pub struct Growths(Vec<AtGrowth>);

/// Rows and their sums at one γ.
#[derive(Debug, Clone)]
pub struct AtGrowth {
    /// Prior probability of γ.
    pub share: f64,
    /// The rows divided by g = u^γ.
    pub rows: Rows,
    /// Their sums, pseudo-rows included.
    pub design: Design,
}

impl Growths {
    /// Rows whose spreads are the same everywhere, with their sums.
    pub fn from_even(rows: Rows, design: Design) -> Self {
        Growths(vec![AtGrowth {
            share: 1.0,
            rows,
            design,
        }])
    }

    /// Spreads that grow with a row's size to one of several powers.
    ///
    /// * `sizes` — u of each row, > 0
    /// * `shares` — every γ with its prior probability, by rising γ; not empty
    ///
    /// # Errors
    /// Any error of [`Rows::design`].
    pub fn new(
        rows: &Rows,
        sizes: &[f64],
        shares: &[(f64, f64)],
        pseudo: &[PseudoRow],
        sd_min: f64,
    ) -> Result<Self, Numerical> {
        let at = |&(growth, share): &(f64, f64)| {
            let rows = rows.divided(sizes, growth);
            let design = rows.design(pseudo, sd_min)?;
            Ok(AtGrowth {
                share,
                rows,
                design,
            })
        };
        shares.iter().map(at).collect::<Result<_, _>>().map(Growths)
    }

    /// By rising γ.
    pub fn each(&self) -> &[AtGrowth] {
        &self.0
    }

    /// The rows and sums at one of the γ that are averaged over; at the first where it is none of them.
    pub fn at(&self, growth: f64) -> &AtGrowth {
        let at = |alternative: &&AtGrowth| alternative.design.growth() == growth;
        self.0.iter().find(at).unwrap_or(&self.0[0])
    }

    /// The sums, each with the prior probability of its γ.
    pub fn designs(&self) -> Vec<(f64, &Design)> {
        self.0.iter().map(|at| (at.share, &at.design)).collect()
    }
}
