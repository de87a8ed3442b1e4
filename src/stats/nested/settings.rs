//! Whether rows at one setting agree better with each other than with a model: pure-error lack of fit beside groups.

use super::Grouped;
use crate::stats::anova::{FTest, Squares, f_test};
use crate::stats::linalg::Sequential;
use crate::stats::mixed::RandomIntercept;
use nalgebra::{DMatrix, DVector};

impl Grouped {
    /// Whether a value of its own for every setting explains more than the columns `x`, which are alike in the rows of a
    /// setting; groups differ by `theta`.
    ///
    /// * `setting` — of each row, from 0
    /// * `None` where nothing is gained, or no degree of freedom is left
    ///
    /// The larger model is a column for every setting, so its normal equations are counts: with n_jk rows of setting k
    /// in group j, N_k δ_kl − Σ_j n_jk n_jl θ²/(1 + n_jθ²). At θ = 0 it is the test of the NIST/SEMATECH e-Handbook,
    /// section 4.6.1.
    pub fn settings_differ(&self, theta: f64, x: &[usize], setting: &[usize]) -> Option<FTest> {
        let structure = RandomIntercept::at(theta);
        let settings = setting.iter().max()? + 1;
        let y = self.centred.column(self.response());
        let means = self.means.column(self.response());
        let mut cross = DMatrix::zeros(settings + 1, settings + 1);
        cross[(settings, settings)] = self.within[(self.response(), self.response())];
        for (members, &mean) in self.groups.each().zip(means.iter()) {
            let n = members.len() as f64;
            let (weight, shared) = (structure.weight(n), structure.after(n));
            let mut counts = DVector::zeros(settings + 1);
            for &i in members {
                let k = setting[i];
                counts[k] += 1.0;
                cross[(k, k)] += 1.0;
                // V⁻¹ leaves the part weight/n of the group's mean.
                cross[(settings, k)] += y[i] + weight / n * mean;
            }
            cross.ger(-shared, &counts, &counts, 1.0);
            cross[(settings, settings)] += weight * mean * mean;
        }
        cross.fill_upper_triangle_with_lower_triangle();
        let larger = Sequential::from_cross_products(&cross).ok()?;
        let smaller = Sequential::from_cross_products(&self.cross_products(structure, x)).ok()?;
        let squares = |fit: &Sequential| {
            let df = self.rows().checked_sub(fit.estimable().len())?;
            Some(Squares { sum: fit.rss, df })
        };
        f_test(squares(&smaller)?, squares(&larger)?)
    }
}
