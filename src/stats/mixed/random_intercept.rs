//! The variance structure of the model: whatever θ = τ/σ touches is here, and nowhere else.
//!
//! The n rows of one group have covariance σ²V, V = I + θ²11'; rows of different groups have none. By Sherman and Morrison
//!
//! ```text
//! V⁻¹ = I − θ²/(1 + nθ²)·11',     |V| = 1 + nθ²,
//! ```
//!
//! so a group enters X'V⁻¹X by its cross-products about its mean row x̄, in which θ cancels, and by x̄x̄' with weight
//! n/(1 + nθ²).
//!
//! Spreads may grow with a positive covariate, whose value over its mean in the fit is the *size* u of a row: both the row's
//! own deviation and what its group's effect does to it are g = u^γ times what they are at u = 1, the variance function
//! "power of a covariate" (Pinheiro and Bates 2000, section 5.2). Rows divided by g have the covariance above.
//!
//! What follows for the group's own effect b and for rows to come is Henderson's (1953) best linear unbiased
//! prediction. All variances are over σ².

/// Rows of a group share an effect of variance θ²σ².
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RandomIntercept {
    /// θ².
    variance: f64,
    /// γ.
    growth: f64,
}

impl RandomIntercept {
    /// At θ ≥ 0, the sd between groups over the sd within groups.
    pub fn at(theta: f64) -> Self {
        RandomIntercept {
            variance: theta * theta,
            growth: 0.0,
        }
    }

    /// With spreads that grow as a row's size to the power `growth`, γ.
    pub fn growing(self, growth: f64) -> Self {
        RandomIntercept { growth, ..self }
    }

    /// g = u^γ: the spreads of a row of size `size`, u, over those at size 1.
    pub fn scale(self, size: f64) -> f64 {
        size.powf(self.growth)
    }

    /// What rows at one place x in a new group share, over their scale g, when the line there is known to variance
    /// h = x'(X'V⁻¹X)⁻¹x/g² only: an effect of variance h + θ².
    pub fn with_line(self, h: f64) -> Self {
        RandomIntercept {
            variance: h + self.variance,
            ..self
        }
    }

    /// Variance of the effect of a group of which nothing is seen.
    pub fn effect(self) -> f64 {
        self.variance
    }

    /// Variance of the first row of a new group about the line, g²(θ² + 1).
    pub fn new_row(self, size: f64) -> f64 {
        self.scale(size).powi(2) * (self.variance + 1.0)
    }

    /// Variance of a row about the line and its group's effect, g².
    pub fn own(self, size: f64) -> f64 {
        self.scale(size).powi(2)
    }

    /// Variance about the line of the mean of all rows of new groups, given the size of every row of each; each group has an
    /// effect of its own: Σ_groups θ²(Σg)²/n² + Σg²/n².
    pub fn mean_of_new_groups(self, sizes: &[Vec<f64>]) -> f64 {
        let rows = sizes.iter().map(Vec::len).sum::<usize>() as f64;
        let of_group = |group: &Vec<f64>| {
            let sum: f64 = group.iter().map(|&size| self.scale(size)).sum();
            let own: f64 = group.iter().map(|&size| self.own(size)).sum();
            self.variance * sum * sum + own
        };
        sizes.iter().map(of_group).sum::<f64>() / (rows * rows)
    }

    /// Weight of the mean of a group of `n` rows in X'V⁻¹X, n/(1 + nθ²): one over the variance of that mean.
    pub fn weight(self, n: f64) -> f64 {
        n / (1.0 + n * self.variance)
    }

    /// ln |V| of a group of `n` rows.
    pub fn ln_det(self, n: f64) -> f64 {
        (n * self.variance).ln_1p()
    }

    /// Part of the mean residual of `n` rows that the group's effect is predicted to be, 0 to 1: nθ²/(1 + nθ²), the
    /// shrinkage factor.
    pub fn shrinkage(self, n: f64) -> f64 {
        self.variance * self.weight(n)
    }

    /// Variance that the group's effect keeps once `n` of its rows are seen, θ²/(1 + nθ²); also what V⁻¹ takes off each
    /// row for every row of its group.
    pub fn after(self, n: f64) -> f64 {
        self.variance / (1.0 + n * self.variance)
    }

    /// What V^(−1/2) leaves of the mean of `n` rows while it leaves deviations from it as they are, 1/√(1 + nθ²).
    ///
    /// Source: Fuller and Battese (1973), Journal of the American Statistical Association 68, 626–632.
    pub fn whitened_mean(self, n: f64) -> f64 {
        1.0 / (1.0 + n * self.variance).sqrt()
    }

    /// Correlation of two rows of one group, θ²/(1 + θ²).
    pub fn intraclass_correlation(self) -> f64 {
        self.variance / (self.variance + 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::linalg::Factor;
    use nalgebra::{DMatrix, DVector};

    /// Four rows of one group, V written out in full.
    #[test]
    fn closed_forms_are_those_of_the_full_matrix() {
        for theta in [0.0, 0.3, 1.0, 25.0] {
            let groups = RandomIntercept::at(theta);
            let ones = DVector::from_element(4, 1.0);
            let v = DMatrix::identity(4, 4) + theta * theta * &ones * ones.transpose();
            let factor = Factor::new(&v).unwrap();
            let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-10, "{theta}: {a} {b}");
            near(groups.weight(4.0), factor.quadratic(&ones));
            near(groups.ln_det(4.0), factor.ln_determinant());
            near(groups.after(4.0), -factor.inverse()[(0, 1)]);
            near(
                groups.after(4.0),
                theta * theta * (1.0 - groups.shrinkage(4.0)),
            );
            near(groups.whitened_mean(4.0).powi(2), groups.weight(4.0) / 4.0);
            near(
                groups.mean_of_new_groups(&[vec![1.0; 4]]),
                1.0 / groups.weight(4.0),
            );
            near(groups.intraclass_correlation(), v[(0, 1)] / v[(0, 0)]);
        }
    }
}
