//! A group that is not finished yet: what its first rows say about the next.
//!
//! The group's own effect b joins the coefficients as one more, with prior variance θ²σ². Each row is then one step
//! of recursive least squares (Plackett 1950; the covariance by Joseph's form, Bucy & Joseph 1968), which equals the closed form with K = G(I + θ²11')G + X₀CX₀', G the diagonal
//! of the rows' scales (checked in `tests/mixed_models.rs`). With no row this is the prediction for a new group.

use super::mixture::{Mixture, WEIGHT_MIN};
use super::posterior::{Node, Posterior, normalised};
use super::random_intercept::RandomIntercept;
use super::row::Row;
use crate::stats::linalg::{dot, lower_triangle, quadratic, symmetric};
use crate::stats::t_table::TTable;
use nalgebra::DVector;
use std::sync::Arc;

/// One node of [`Group`]: coefficients and effect after the rows so far.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupNode {
    /// θ = τ/σ.
    pub r: f64,
    /// Weight after the rows.
    pub weight: f64,
    /// γ, the power with which spreads grow.
    pub growth: f64,
    /// Residual sum of squares with the rows.
    pub rss: f64,
    /// The unknowns (β, b) of recursive least squares.
    pub theta: Vec<f64>,
    /// Their covariance over σ², [`crate::stats::linalg::packed`].
    pub covariance: Vec<f64>,
    /// What `theta` moves by for a common shift of all rows by 1.
    pub response: Vec<f64>,
}

/// A posterior together with one group in progress.
#[derive(Debug, Clone)]
pub struct Group {
    nu: f64,
    rows: usize,
    nodes: Vec<GroupNode>,
    table: Arc<TTable>,
}

impl GroupNode {
    /// A node conditioned on `rows` of a new group, and ln |K|.
    fn conditioned(node: &Node, rows: &[(Row, f64)]) -> (Self, f64) {
        let p = node.beta.len();
        let mut covariance = symmetric(&node.covariance, p).resize(p + 1, p + 1, 0.0);
        let groups = node.groups();
        covariance[(p, p)] = groups.effect();
        let mut unknowns = DVector::from_column_slice(&node.beta).push(0.0);
        let mut response = DVector::zeros(p + 1);
        let (mut rss, mut ln_det) = (node.rss, 0.0);
        for (Row { x, size }, y) in rows {
            let z = DVector::from_column_slice(x).push(groups.scale(*size));
            let cz = &covariance * &z;
            // No less than nothing: beyond θ of 10⁹ not even Joseph's form keeps a digit of what is left.
            let variance = z.dot(&cz).max(0.0) + groups.own(*size);
            let error = y - z.dot(&unknowns);
            let unit_error = 1.0 - z.dot(&response);
            unknowns.axpy(error / variance, &cz, 1.0);
            response.axpy(unit_error / variance, &cz, 1.0);
            covariance.ger(-1.0 / variance, &cz, &cz, 1.0);
            // Joseph's form: nothing is left but rounding, which is all there is where a prior variance is enormous.
            let gain = cz / variance;
            let left = &covariance * &z - groups.own(*size) * &gain;
            covariance.ger(-1.0, &left, &gain, 1.0);
            rss += error * error / variance;
            ln_det += variance.ln();
        }
        let node = GroupNode {
            r: node.r,
            growth: node.growth,
            weight: node.weight,
            rss,
            theta: unknowns.as_slice().to_vec(),
            covariance: lower_triangle(&covariance),
            response: response.as_slice().to_vec(),
        };
        (node, ln_det)
    }

    fn groups(&self) -> RandomIntercept {
        RandomIntercept::at(self.r).growing(self.growth)
    }

    /// The entries of a row beside (β, b), the effect's multiplied by `effect`: 1 for the row, 0 for the line of all groups.
    fn entries(&self, row: &Row, effect: f64) -> Vec<f64> {
        [&row.x[..], &[effect * self.groups().scale(row.size)]].concat()
    }
}

impl Posterior {
    /// The next group after `rows` of it: pairs of a row and its response.
    ///
    /// Weights become w'_θ ∝ w_θ |K|^(−1/2) RSS_θ^(ν/2) RSS'_θ^(−ν'/2), ν' = ν + m.
    pub fn group(&self, rows: &[(Row, f64)]) -> Group {
        let (nu, nu_after) = (self.nu(), self.nu() + rows.len() as f64);
        let mut nodes = Vec::with_capacity(self.nodes().len());
        let mut ln_weights = Vec::with_capacity(self.nodes().len());
        for before in self.nodes() {
            let (node, ln_det) = GroupNode::conditioned(before, rows);
            let ln_likelihood = 0.5 * (nu * before.rss.ln() - nu_after * node.rss.ln() - ln_det);
            ln_weights.push(before.weight.ln() + ln_likelihood);
            nodes.push(node);
        }
        for (node, weight) in nodes.iter_mut().zip(normalised(&ln_weights)) {
            node.weight = weight;
        }
        let table = if rows.is_empty() {
            Arc::clone(self.table())
        } else {
            TTable::shared(nu_after)
        };
        Group {
            nu: nu_after,
            rows: rows.len(),
            nodes,
            table,
        }
    }

    /// The part of a common shift of some rows at one place that the prediction there takes over, where they lie as predicted:
    /// what can be said before they are seen. For each of several numbers of `rows`.
    ///
    /// Σ_θ w'_θ·m·a/(1 + m·a) with a = θ² + x'C_θx/g², the variance that the rows share, and
    /// w'_θ ∝ w_θ·(1 + m·a)^(−1/2)·RSS_θ^(−m/2): the closed form of [`Posterior::group`] without errors.
    pub fn shares_at<const N: usize>(&self, row: &Row, rows: [usize; N]) -> [f64; N] {
        let rss_0 = self.nodes()[0].rss;
        let mut sums = [(0.0, 0.0); N];
        for n in self.nodes().iter().filter(|n| n.weight >= WEIGHT_MIN) {
            let groups = n.groups();
            let h = quadratic(&n.covariance, &row.x) / groups.own(row.size);
            let shared = groups.with_line(h);
            for ((shares, total), rows) in sums.iter_mut().zip(rows) {
                let m = rows as f64;
                let ln_likelihood = -0.5 * (shared.ln_det(m) + m * (n.rss / rss_0).ln());
                let weight = n.weight * ln_likelihood.exp();
                *shares += weight * shared.shrinkage(m);
                *total += weight;
            }
        }
        sums.map(|(shares, total)| shares / total)
    }
}

impl Group {
    /// How many rows of the group are known.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// The nodes, by rising γ and θ.
    pub fn nodes(&self) -> &[GroupNode] {
        &self.nodes
    }

    fn average(&self, of: impl Fn(&GroupNode) -> f64) -> f64 {
        self.nodes.iter().map(|n| n.weight * of(n)).sum()
    }

    /// Expected response of the next row.
    pub fn mean(&self, row: &Row) -> f64 {
        self.average(|n| dot(&n.entries(row, 1.0), &n.theta))
    }

    /// Mean of one coefficient (the effect on a row of mean size is the last).
    pub fn coefficient(&self, column: usize) -> f64 {
        self.average(|n| n.theta[column])
    }

    /// The part of a common shift of the rows that the prediction of the next takes over: 0 to 1
    /// for a row no larger than those, and up to as much more as it is larger.
    pub fn share(&self, row: &Row) -> f64 {
        self.average(|n| dot(&n.entries(row, 1.0), &n.response))
    }

    /// Posterior predictive distribution of the next row.
    pub fn next_distribution(&self, row: &Row) -> Mixture {
        self.mixture(row, 1.0, |groups| groups.own(row.size))
    }

    /// Distribution of the line itself at a row: without rows of the group, the line of all groups (x'β, nothing of the
    /// effect to come); with rows, the group's own line.
    pub fn line_distribution(&self, row: &Row) -> Mixture {
        let effect = if self.rows == 0 { 0.0 } else { 1.0 };
        self.mixture(row, effect, |_| 0.0)
    }

    fn mixture(&self, row: &Row, effect: f64, own: impl Fn(RandomIntercept) -> f64) -> Mixture {
        let part = |n: &GroupNode| {
            let z = n.entries(row, effect);
            let variance = n.rss / self.nu * (quadratic(&n.covariance, &z) + own(n.groups()));
            (n.weight, dot(&z, &n.theta), variance.max(0.0).sqrt())
        };
        let table = Arc::clone(&self.table);
        Mixture::new(self.nu, table, self.nodes.iter().map(part))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where nothing is known of the group beforehand, m rows give its level with the variance of their mean, σ²/m, and a
    /// common shift is taken over whole.
    #[test]
    fn a_group_of_which_nothing_was_known_is_where_its_rows_are() {
        let node = Node {
            r: 1e8,
            growth: 0.0,
            weight: 1.0,
            rss: 1.0,
            beta: vec![0.5],
            covariance: vec![1e-4],
        };
        let row = Row {
            x: vec![1.0],
            size: 1.0,
        };
        let rows = [3.0, 5.0, 4.0, 8.0].map(|y| (row.clone(), y));
        for (m, mean) in [(1, 3.0), (2, 4.0), (3, 4.0), (4, 5.0)] {
            let (node, _) = GroupNode::conditioned(&node, &rows[..m]);
            let z = node.entries(&row, 1.0);
            let variance = quadratic(&node.covariance, &z);
            assert!(
                (variance * m as f64 - 1.0).abs() < 1e-9,
                "{m} rows: {variance}"
            );
            assert!((dot(&z, &node.theta) - mean).abs() < 1e-9);
            assert!((dot(&z, &node.response) - 1.0).abs() < 1e-9);
        }
    }
}
