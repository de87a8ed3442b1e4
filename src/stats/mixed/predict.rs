//! What the nodes say of a line, of rows to come and of a group's effect: mixtures of Student t over θ.
//!
//! Given θ, x'β is t with ν degrees of freedom about x'β_θ with variance RSS_θ/ν·x'C_θx; a row of a new group adds what
//! [`RandomIntercept`] says. Source: Box & Tiao 1973 ch. 5.

use super::design::{Design, GroupMean};
use super::mixture::Mixture;
use super::posterior::{Node, Posterior};
use super::random_intercept::RandomIntercept;
use super::row::Row;
use crate::stats::interval::{Interval, Level};
use crate::stats::linalg::{dot, packed, quadratic};
use std::sync::Arc;

impl Posterior {
    fn average(&self, of: impl Fn(&Node) -> f64) -> f64 {
        let nodes = self.nodes().iter();
        nodes.fold(0.0, |sum, n| sum + n.weight * of(n))
    }

    /// Posterior mean of x'β.
    pub fn mean(&self, row: &Row) -> f64 {
        self.average(|n| dot(&row.x, &n.beta))
    }

    /// Posterior mean of one coefficient.
    pub fn coefficient(&self, column: usize) -> f64 {
        self.average(|n| n.beta[column])
    }

    /// Posterior mean of every coefficient.
    pub fn coefficients(&self) -> Vec<f64> {
        (0..self.columns()).map(|c| self.coefficient(c)).collect()
    }

    /// Distribution of x'β itself: what is not known about the line, nothing else.
    pub fn mean_distribution(&self, x: &[f64]) -> Mixture {
        self.about_line(x, |_| 0.0)
    }

    /// Posterior predictive distribution of one row in a new group.
    pub fn new_group_distribution(&self, row: &Row) -> Mixture {
        self.about_line(&row.x, |groups| groups.new_row(row.size))
    }

    /// Posterior predictive distribution of the mean of the rows of new groups, whose mean row is `x`, given the size of every
    /// row of each.
    pub fn new_groups_mean_distribution(&self, x: &[f64], sizes: &[Vec<f64>]) -> Mixture {
        self.about_line(x, |groups| groups.mean_of_new_groups(sizes))
    }

    /// Around the line at x, with a variance of its own beside that of the line, both over σ².
    fn about_line(&self, x: &[f64], own: impl Fn(RandomIntercept) -> f64) -> Mixture {
        self.mixture(|n| {
            let variance = quadratic(&n.covariance, x) + own(n.groups());
            (dot(x, &n.beta), variance)
        })
    }

    /// From the centre and the variance over σ² at each node.
    fn mixture(&self, of: impl Fn(&Node) -> (f64, f64)) -> Mixture {
        let part = |n: &Node| {
            let (centre, variance) = of(n);
            let square = n.rss / self.nu() * variance;
            (n.weight, centre, square.max(0.0).sqrt())
        };
        let table = Arc::clone(self.table());
        Mixture::new(self.nu(), table, self.nodes().iter().map(part))
    }

    /// Central interval of x'β around a given estimate.
    pub fn interval(&self, x: &[f64], estimate: f64, level: Level) -> Interval {
        let known = self.mean_distribution(x);
        let tail = level.lower_tail();
        Interval::holding(estimate, known.quantile(tail), known.quantile(1.0 - tail))
    }

    /// The part of a coefficient's weight that came from pseudo-rows, 0 to 1: Σ_θ w_θ k² (C_θ)_cc.
    pub fn prior_share(&self, design: &Design, column: usize) -> f64 {
        let on_column = design.pseudo().iter().filter(|row| row.column == column);
        let k2 = on_column.fold(0.0, |sum, row| sum + row.weight * row.weight);
        let share = self.average(|n| k2 * n.covariance[packed(column, column)]);
        share.clamp(0.0, 1.0)
    }

    /// The effect of one of the fitted groups on a row of mean size: a mixture about the conditional modes (BLUPs; Henderson
    /// 1953) s(ȳ − x̄'β_θ), s the shrinkage factor, with variance σ²(θ²/(1 + nθ²) + s²x̄'C_θx̄).
    ///
    /// * `mean` — mean of the group's rows, divided by g at each γ
    pub fn group_effect<'m>(&self, mean: impl Fn(f64) -> &'m GroupMean) -> Mixture {
        self.mixture(|n| {
            let mean = mean(n.growth);
            let (groups, x) = (n.groups(), mean.x.as_slice());
            let s = groups.shrinkage(mean.rows);
            let variance = groups.after(mean.rows) + s * s * quadratic(&n.covariance, x);
            (s * (mean.y - dot(x, &n.beta)), variance)
        })
    }
}
