//! What is known after the data: weights over the ratio of spreads, and the fit at each.
//!
//! With p(β) flat and p(σ²) ∝ 1/σ², p(r | y) ∝ p(r) Π(1 + n_j r²)^(−1/2) |X'V_r⁻¹X|^(−1/2) RSS_r^(−ν/2), and p(r)
//! half-t with 4 degrees of freedom. Sources: Box & Tiao 1973 ch. 5; Gelman 2006; `model.md` §2.

use super::design::Design;
use super::mixture::Mixture;
use super::objective::Height;
use crate::stats::Numerical;
use crate::stats::distributions::{TTable, half_t_ln_pdf};
use crate::stats::interval::{Interval, Level};
use crate::stats::linalg::packed;
use crate::stats::optimise;
use std::sync::Arc;

/// Degrees of freedom of the half-t prior on the ratio.
const PRIOR_DF: f64 = 4.0;
/// The log density that is left out on either side lies this far below its top.
const LOG_DENSITY_REACH: f64 = 35.0;
/// Where the top is looked for, in ln r.
const LN_R_FROM: f64 = -12.0;
const LN_R_TO: f64 = 16.0;
const LN_R_STEP: f64 = 0.5;
/// The trapezoid's step in ln r: at most this, and at most a part of the width of the top.
const STEP_MAX: f64 = 0.25;
const STEP_PER_SD: f64 = 0.8;
/// A bound on the number of nodes that no real log comes near (a season has about 200).
const NODES_MAX: usize = 4000;

/// The fit at one ratio, with the ratio's weight.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// τ/σ.
    pub r: f64,
    /// Posterior probability of this node; all sum to 1.
    pub weight: f64,
    /// RSS_r.
    pub rss: f64,
    /// Coefficients β_r.
    pub beta: Vec<f64>,
    /// Lower triangle of C_r by rows: c00, c10, c11, c20 …
    pub covariance: Vec<f64>,
}

/// x'Cx for a packed lower triangle, summed row by row.
pub fn quadratic(covariance: &[f64], x: &[f64]) -> f64 {
    let mut sum = 0.0;
    for i in 0..x.len() {
        for j in 0..i {
            sum += 2.0 * x[i] * x[j] * covariance[packed(i, j)];
        }
        sum += x[i] * x[i] * covariance[packed(i, i)];
    }
    sum
}

/// x'β, summed in order.
pub fn dot(x: &[f64], beta: &[f64]) -> f64 {
    x.iter().zip(beta).fold(0.0, |sum, (a, b)| sum + a * b)
}

/// All nodes, with what they share.
#[derive(Debug, Clone)]
pub struct Posterior {
    nu: f64,
    nodes: Vec<Node>,
    table: Arc<TTable>,
}

impl Posterior {
    /// Weights over the ratio for a design, with `prior_scale` (> 0) the scale of the half-t prior on r.
    ///
    /// # Errors
    /// [`Numerical::RankLost`], or [`Numerical::Shape`] without a degree of freedom.
    pub fn new(design: &Design, prior_scale: f64) -> Result<Self, Numerical> {
        let nu = design.nu();
        if nu < 1.0 {
            return Err(Numerical::Shape {
                what: "rows for a spread",
            });
        }
        let at = |u: f64| -> Result<(f64, Height), Numerical> {
            let r = u.exp();
            let height = design.height(r)?;
            let prior = half_t_ln_pdf(r, PRIOR_DF, prior_scale);
            Ok((height.ln_marginal(nu) + prior + u, height))
        };
        let minus = |u: f64| at(u).map_or(f64::INFINITY, |(d, _)| -d);

        let mut best = (LN_R_FROM, f64::INFINITY);
        let mut u = LN_R_FROM;
        while u <= LN_R_TO {
            let v = minus(u);
            if v < best.1 {
                best = (u, v);
            }
            u += LN_R_STEP;
        }
        let mode = optimise::minimum(minus, best.0 - LN_R_STEP, best.0 + LN_R_STEP, 1e-3)?;
        let h = 0.02;
        let curvature = (minus(mode.x - h) + minus(mode.x + h) - 2.0 * mode.value) / (h * h);
        let sd = if curvature > 0.0 {
            1.0 / curvature.sqrt()
        } else {
            f64::INFINITY
        };
        let step = STEP_MAX.min(STEP_PER_SD * sd);

        let top = at(mode.x)?;
        let mut below = Vec::new();
        let mut above = Vec::new();
        for (side, list) in [(-step, &mut below), (step, &mut above)] {
            for i in 1..NODES_MAX / 2 {
                let u = mode.x + side * i as f64;
                let (density, height) = at(u)?;
                list.push((density, height));
                if density < top.0 - LOG_DENSITY_REACH {
                    break;
                }
            }
        }
        below.reverse();
        let all: Vec<(f64, Height)> = below.into_iter().chain([top]).chain(above).collect();
        Ok(Self::weighted(design, all, step))
    }

    /// The posterior of another design at the ratios of this one: for a design that lacks a few of many groups, whose
    /// weights lie on much the same ratios.
    ///
    /// * `like` — another such posterior; with the same ν the two share their table of the t distribution
    ///
    /// # Errors
    /// As [`Posterior::new`].
    pub fn at_these_ratios(
        &self,
        design: &Design,
        prior_scale: f64,
        like: Option<&Posterior>,
    ) -> Result<Self, Numerical> {
        let nu = design.nu();
        let (Some(first), Some(second)) = (self.nodes.first(), self.nodes.get(1)) else {
            return Self::new(design, prior_scale);
        };
        if nu < 1.0 {
            return Self::new(design, prior_scale);
        }
        let step = (second.r / first.r).ln();
        let at = |node: &Node| -> Result<(f64, Height), Numerical> {
            let height = design.height(node.r)?;
            let density =
                height.ln_marginal(nu) + half_t_ln_pdf(node.r, PRIOR_DF, prior_scale) + node.r.ln();
            Ok((density, height))
        };
        let all = self.nodes.iter().map(at).collect::<Result<_, _>>()?;
        let mut posterior = Self::weighted(design, all, step);
        if let Some(like) = like.filter(|like| like.nu == nu) {
            posterior.table = Arc::clone(&like.table);
        }
        Ok(posterior)
    }

    /// From the log densities in ln r at steps of `step`.
    fn weighted(design: &Design, all: Vec<(f64, Height)>, step: f64) -> Self {
        let highest = all
            .iter()
            .map(|(d, _)| *d)
            .fold(f64::NEG_INFINITY, f64::max);
        let mut weights: Vec<f64> = all
            .iter()
            .map(|(d, _)| (d - highest).exp() * step)
            .collect();
        // Below the first node the density in ln r is r itself times a constant: its mass is one density.
        weights[0] += weights[0] / step;
        let total: f64 = weights.iter().sum();
        let nodes = all
            .iter()
            .zip(&weights)
            .map(|((_, height), weight)| Node {
                r: height.r,
                weight: weight / total,
                rss: height.rss,
                beta: height.beta(design),
                covariance: height.covariance_packed(),
            })
            .collect();
        Self::from_nodes(design.nu(), nodes)
    }

    /// Puts a posterior together again from its nodes (as a calibration file keeps them).
    pub fn from_nodes(nu: f64, nodes: Vec<Node>) -> Self {
        Posterior {
            nu,
            nodes,
            table: Arc::new(TTable::new(nu)),
        }
    }

    /// Degrees of freedom ν.
    pub fn nu(&self) -> f64 {
        self.nu
    }

    /// The nodes, by rising ratio.
    pub fn nodes(&self) -> &[Node] {
        &self.nodes
    }

    /// Number of coefficients.
    pub fn columns(&self) -> usize {
        self.nodes[0].beta.len()
    }

    /// Posterior mean of x'β.
    pub fn mean(&self, x: &[f64]) -> f64 {
        self.nodes
            .iter()
            .fold(0.0, |sum, n| sum + n.weight * dot(x, &n.beta))
    }

    /// Posterior mean of one coefficient.
    pub fn coefficient(&self, column: usize) -> f64 {
        self.nodes
            .iter()
            .fold(0.0, |sum, n| sum + n.weight * n.beta[column])
    }

    /// Distribution of x'β itself: what is not known about the line, nothing else.
    pub fn mean_distribution(&self, x: &[f64]) -> Mixture {
        self.mixture(x, |_| 0.0)
    }

    /// Distribution of one row at x in a new group.
    pub fn new_group_distribution(&self, x: &[f64]) -> Mixture {
        self.mixture(x, |r| r * r + 1.0)
    }

    /// Distribution of the mean of the rows of new groups of these sizes, whose mean row is x: each group has a shift of
    /// its own.
    pub fn new_groups_mean_distribution(&self, x: &[f64], sizes: &[usize]) -> Mixture {
        let m: f64 = sizes.iter().map(|&s| s as f64).sum();
        let shares = sizes.iter().map(|&s| (s as f64 / m).powi(2)).sum::<f64>();
        self.mixture(x, |r| r * r * shares + 1.0 / m)
    }

    fn mixture(&self, x: &[f64], extra: impl Fn(f64) -> f64) -> Mixture {
        Mixture::new(
            self.nu,
            Arc::clone(&self.table),
            self.nodes.iter().map(|n| {
                let variance = n.rss / self.nu * (quadratic(&n.covariance, x) + extra(n.r));
                (n.weight, dot(x, &n.beta), variance.max(0.0).sqrt())
            }),
        )
    }

    /// Central interval of x'β around a given estimate.
    pub fn interval(&self, x: &[f64], estimate: f64, level: Level) -> Interval {
        let known = self.mean_distribution(x);
        let tail = level.lower_tail();
        Interval::holding(estimate, known.quantile(tail), known.quantile(1.0 - tail))
    }

    /// The part of a coefficient's weight that came from pseudo-rows, 0 to 1: Σ w_r k² (C_r)_cc.
    pub fn prior_share(&self, design: &Design, column: usize) -> f64 {
        let on_column = design.pseudo().iter().filter(|row| row.column == column);
        let k2 = on_column.fold(0.0, |sum, row| sum + row.weight * row.weight);
        let at = packed(column, column);
        let share = self
            .nodes
            .iter()
            .fold(0.0, |sum, n| sum + n.weight * k2 * n.covariance[at]);
        share.clamp(0.0, 1.0)
    }

    /// Mean and interval of the shift of one of the fitted groups: its rows' mean row `x` and mean response `y`.
    ///
    /// Mixture over r of the conditional mean n r²/(1 + n r²)·(ȳ − x̄'β_r) (Henderson's predictor) with variance
    /// σ²·(r²/(1 + n r²) + (n r²/(1 + n r²))²·x̄'C_r x̄).
    pub fn group_shift(&self, x: &[f64], y: f64, n_rows: f64) -> Mixture {
        Mixture::new(
            self.nu,
            Arc::clone(&self.table),
            self.nodes.iter().map(|n| {
                let r2 = n.r * n.r;
                let shrink = n_rows * r2 / (1.0 + n_rows * r2);
                let factor =
                    r2 / (1.0 + n_rows * r2) + shrink * shrink * quadratic(&n.covariance, x);
                let centre = shrink * (y - dot(x, &n.beta));
                (n.weight, centre, (n.rss / self.nu * factor).sqrt())
            }),
        )
    }

    /// The shared table of the t distribution with ν degrees of freedom.
    pub(super) fn table(&self) -> &Arc<TTable> {
        &self.table
    }
}
