//! A group that is not finished yet: what its first rows say about the next.
//!
//! The group's own shift joins the coefficients as one more, with prior variance r²σ². Each row is then one step
//! of recursive least squares (Plackett 1950), which equals the closed form of `model.md` §4 (checked in the tests
//! below). With no row this is the prediction for a new group.

use super::mixture::{Mixture, WEIGHT_MIN};
use super::posterior::{Posterior, dot};
use crate::stats::distributions::TTable;
use crate::stats::linalg::{packed, quadratic};
use std::sync::Arc;

/// One node of [`Group`]: coefficients and shift after the rows so far.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupNode {
    /// τ/σ.
    pub r: f64,
    /// Weight after the rows.
    pub weight: f64,
    /// Residual sum of squares with the rows.
    pub rss: f64,
    /// β_r, then the shift.
    pub theta: Vec<f64>,
    /// Their covariance over σ², lower triangle by rows.
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
    /// Mean of the nodes' θ.
    theta: Vec<f64>,
    table: Arc<TTable>,
}

impl Posterior {
    /// The next group after `rows` of it: pairs of a design row (p entries) and its response.
    pub fn group(&self, rows: &[(Vec<f64>, f64)]) -> Group {
        let p = self.columns();
        let nu_after = self.nu() + rows.len() as f64;
        let mut nodes = Vec::with_capacity(self.nodes().len());
        let mut ln_weights = Vec::with_capacity(self.nodes().len());
        for node in self.nodes() {
            let mut theta = node.beta.clone();
            theta.push(0.0);
            let mut covariance = node.covariance.clone();
            covariance.extend(std::iter::repeat_n(0.0, p));
            covariance.push(node.r * node.r);
            let mut response = vec![0.0; p + 1];
            let mut rss = node.rss;
            let mut ln_det = 0.0;
            for (x, y) in rows {
                let mut z = x.clone();
                z.push(1.0);
                let cz: Vec<f64> = (0..=p)
                    .map(|i| (0..=p).fold(0.0, |sum, j| sum + covariance[packed(i, j)] * z[j]))
                    .collect();
                let s = dot(&z, &cz) + 1.0;
                let e = y - dot(&z, &theta);
                let e_unit = 1.0 - dot(&z, &response);
                for i in 0..=p {
                    let gain = cz[i] / s;
                    theta[i] += gain * e;
                    response[i] += gain * e_unit;
                    for j in 0..=i {
                        covariance[packed(i, j)] -= gain * cz[j];
                    }
                }
                rss += e * e / s;
                ln_det += s.ln();
            }
            ln_weights.push(
                node.weight.ln() - 0.5 * ln_det + 0.5 * self.nu() * node.rss.ln()
                    - 0.5 * nu_after * rss.ln(),
            );
            nodes.push(GroupNode {
                r: node.r,
                weight: 0.0,
                rss,
                theta,
                covariance,
                response,
            });
        }
        let top = ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut total = 0.0;
        for (node, ln_weight) in nodes.iter_mut().zip(&ln_weights) {
            node.weight = (ln_weight - top).exp();
            total += node.weight;
        }
        let mut theta = vec![0.0; p + 1];
        for node in &mut nodes {
            node.weight /= total;
            for (mean, t) in theta.iter_mut().zip(&node.theta) {
                *mean += node.weight * t;
            }
        }
        let table = if rows.is_empty() {
            Arc::clone(self.table())
        } else {
            Arc::new(TTable::new(nu_after))
        };
        Group {
            nu: nu_after,
            rows: rows.len(),
            nodes,
            theta,
            table,
        }
    }
}

impl Posterior {
    /// The part of a common shift of some rows at x that the prediction there takes over, where the rows lie as predicted:
    /// what can be said before they are seen. For each of several numbers of `rows`.
    ///
    /// K = I + (r² + x'C_r x)·11' has a closed form: Σ_r w'_r·m·a/(1 + m·a) with a = r² + x'C_r x and
    /// w'_r ∝ w_r·(1 + m·a)^(−1/2)·RSS_r^(−m/2) (`model.md` §4 with e = 0).
    pub fn shares_at<const N: usize>(&self, x: &[f64], rows: [usize; N]) -> [f64; N] {
        let rss_0 = self.nodes()[0].rss;
        let mut sums = [(0.0, 0.0); N];
        for n in self.nodes().iter().filter(|n| n.weight >= WEIGHT_MIN) {
            let a = n.r * n.r + quadratic(&n.covariance, x);
            for ((shares, total), rows) in sums.iter_mut().zip(rows) {
                let ma = rows as f64 * a;
                let weight = n.weight * ((n.rss / rss_0).powi(-(rows as i32)) / (1.0 + ma)).sqrt();
                *shares += weight * ma / (1.0 + ma);
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

    /// The nodes, by rising ratio.
    pub fn nodes(&self) -> &[GroupNode] {
        &self.nodes
    }

    fn with_shift(x: &[f64]) -> Vec<f64> {
        let mut z = x.to_vec();
        z.push(1.0);
        z
    }

    /// Expected response of the next row at x.
    pub fn mean(&self, x: &[f64]) -> f64 {
        dot(&Self::with_shift(x), &self.theta)
    }

    /// Mean of one coefficient (the shift is the last).
    pub fn coefficient(&self, column: usize) -> f64 {
        self.theta[column]
    }

    /// The part of a common shift of the rows that the prediction at x takes over, 0 to 1.
    pub fn share(&self, x: &[f64]) -> f64 {
        let z = Self::with_shift(x);
        self.nodes
            .iter()
            .fold(0.0, |sum, n| sum + n.weight * dot(&z, &n.response))
    }

    /// Distribution of the next row at x.
    pub fn next_distribution(&self, x: &[f64]) -> Mixture {
        self.mixture(x, 1.0, 1.0)
    }

    /// Distribution of the line itself at x: without rows of the group, the line of all groups (x'β, nothing of the
    /// shift to come); with rows, the group's own line.
    pub fn line_distribution(&self, x: &[f64]) -> Mixture {
        let shift = if self.rows == 0 { 0.0 } else { 1.0 };
        self.mixture(x, shift, 0.0)
    }

    fn mixture(&self, x: &[f64], shift: f64, noise: f64) -> Mixture {
        let mut z = x.to_vec();
        z.push(shift);
        Mixture::new(
            self.nu,
            Arc::clone(&self.table),
            self.nodes.iter().map(|n| {
                let variance = n.rss / self.nu * (quadratic(&n.covariance, &z) + noise);
                (n.weight, dot(&z, &n.theta), variance.max(0.0).sqrt())
            }),
        )
    }
}
