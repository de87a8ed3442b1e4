//! What is known after the data: weights over the ratio of spreads, and the fit at each.
//!
//! With p(β) flat and p(σ²) ∝ 1/σ², p(r | y) ∝ p(r) Π(1 + n_j r²)^(−1/2) |X'V_r⁻¹X|^(−1/2) RSS_r^(−ν/2), and p(r)
//! half-t with 4 degrees of freedom. Sources: Box & Tiao 1973 ch. 5; Gelman 2006; `model.md` §2.

use super::design::Design;
use super::mixture::Mixture;
use super::objective::{Agreement, Height};
use crate::stats::Numerical;
use crate::stats::distributions::{TTable, half_t_ln_fall};
use crate::stats::interval::{Interval, Level};
use crate::stats::linalg::{packed, quadratic};
use crate::stats::optimise;
use std::sync::Arc;

/// Degrees of freedom of the half-t prior on the ratio.
const PRIOR_DF: f64 = 4.0;
/// Where the top is looked for, in ln r.
const LN_R_FROM: f64 = -12.0;
const LN_R_TO: f64 = 16.0;
const LN_R_STEP: f64 = 1.0;
/// How the nodes lie in ln r.
pub(super) struct Quadrature {
    /// The trapezoid's step: at most this, and at most a part of the width of the top.
    step_max: f64,
    step_per_sd: f64,
    /// The log density that is left out on either side lies this far below its top.
    reach: f64,
    /// Towards r = 0 the density becomes a constant times r: the nodes end where what differs from that holds less than
    /// this, and the first of them stands for all below.
    lowest_within: f64,
}

/// The error of the steps falls as exp(−2πd/step), d how far from the line the integrand is bounded: π/4 where groups do
/// not differ and it ends as exp(−r²) = exp(−e^(2u)), 7e-8 then; and for a normal as exp(−2π²/(step/SD)²), 3e-9. Held
/// against finer ones in the tests below.
pub(super) const QUADRATURE: Quadrature = Quadrature {
    step_max: 0.3,
    step_per_sd: 1.0,
    reach: 30.0,
    lowest_within: 1e-9,
};
/// For what is drawn and counted: probabilities within 2e-4 (tests of [`super::leaving_out`]).
pub(super) const DRAWN: Quadrature = Quadrature {
    step_max: 0.6,
    step_per_sd: 1.25,
    reach: 12.0,
    lowest_within: 1e-5,
};
/// The same of many groups, where the density is nearly normal: within 1e-4.
pub(super) const DRAWN_OF_MANY: Quadrature = Quadrature {
    step_max: 0.6,
    step_per_sd: 1.5,
    reach: 9.0,
    lowest_within: 1e-4,
};
/// A bound on the number of nodes that no real log comes near (a season has about 40).
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

/// x'β, summed in order.
pub fn dot(x: &[f64], beta: &[f64]) -> f64 {
    x.iter().zip(beta).fold(0.0, |sum, (a, b)| sum + a * b)
}

/// ln of the density in u = ln r, up to a constant.
fn ln_density(of_r: Agreement, nu: f64, prior_scale: f64, u: f64) -> f64 {
    of_r.ln_marginal(nu) + half_t_ln_fall(u.exp(), PRIOR_DF, prior_scale) + u
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
        Self::by(&QUADRATURE, design, prior_scale)
    }

    pub(super) fn by(
        quadrature: &Quadrature,
        design: &Design,
        prior_scale: f64,
    ) -> Result<Self, Numerical> {
        let nu = design.nu();
        if nu < 1.0 {
            return Err(Numerical::Shape {
                what: "rows for a spread",
            });
        }
        let at = |u: f64| -> Result<(f64, Height), Numerical> {
            let height = design.height(u.exp())?;
            Ok((ln_density(height.agreement, nu, prior_scale, u), height))
        };
        let minus = |u: f64| {
            let of_r = design.agreement(u.exp());
            of_r.map_or(f64::INFINITY, |a| -ln_density(a, nu, prior_scale, u))
        };

        let mode = optimise::minimum_of_many(minus, (LN_R_FROM, LN_R_TO), LN_R_STEP, 1e-3)?;
        let h = 0.02;
        let curvature = (minus(mode.x - h) + minus(mode.x + h) - 2.0 * mode.value) / (h * h);
        let sd = if curvature > 0.0 {
            1.0 / curvature.sqrt()
        } else {
            f64::INFINITY
        };
        let step = quadrature.step_max.min(quadrature.step_per_sd * sd);

        let top = at(mode.x)?;
        let mut below = Vec::new();
        let mut above = Vec::new();
        for (side, list) in [(-step, &mut below), (step, &mut above)] {
            let (mut before, mut straight) = (top.0, 0);
            for i in 1..NODES_MAX / 2 {
                let u = mode.x + side * i as f64;
                let (density, height) = at(u)?;
                list.push((density, height));
                let under = density - top.0;
                // Twice in a row: once may be where a curve passes through that slope.
                let bent = (before - density - step).abs() * under.exp();
                straight = match bent < quadrature.lowest_within {
                    true => straight + 1,
                    false => 0,
                };
                if under < -quadrature.reach || (side < 0.0 && straight > 1) {
                    break;
                }
                before = density;
            }
        }
        below.reverse();
        let all: Vec<(f64, Height)> = below.into_iter().chain([top]).chain(above).collect();
        Ok(Self::from_nodes(nu, Self::weighted(design, all, step)))
    }

    /// With other heights at the ratios of this one, for a design of the same columns with `nu` degrees of freedom.
    ///
    /// * `height` — at the node of a number
    ///
    /// # Errors
    /// Those of `height`.
    pub(super) fn again(
        &self,
        design: &Design,
        nu: f64,
        prior_scale: f64,
        height: impl Fn(usize) -> Result<Height, Numerical>,
    ) -> Result<Self, Numerical> {
        let mut all = Vec::with_capacity(self.nodes.len());
        for (k, node) in self.nodes.iter().enumerate() {
            let height = height(k)?;
            let density = ln_density(height.agreement, nu, prior_scale, node.r.ln());
            all.push((density, height));
        }
        let step = match self.nodes.as_slice() {
            [first, second, ..] => (second.r / first.r).ln(),
            _ => QUADRATURE.step_max,
        };
        Ok(Self::from_nodes(nu, Self::weighted(design, all, step)))
    }

    /// The same with another's table of the t distribution.
    pub(super) fn with_table_of(mut self, other: &Posterior) -> Self {
        self.table = Arc::clone(&other.table);
        self
    }

    /// From the log densities in ln r at steps of `step`.
    fn weighted(design: &Design, all: Vec<(f64, Height)>, step: f64) -> Vec<Node> {
        let highest = all
            .iter()
            .map(|(d, _)| *d)
            .fold(f64::NEG_INFINITY, f64::max);
        let mut weights: Vec<f64> = all
            .iter()
            .map(|(d, _)| (d - highest).exp() * step)
            .collect();
        // What all nodes below it would sum to, the density there being a constant times r.
        weights[0] /= -(-step).exp_m1();
        let total: f64 = weights.iter().sum();
        all.iter()
            .zip(&weights)
            .map(|((_, height), weight)| Node {
                r: height.r,
                weight: weight / total,
                rss: height.agreement.rss,
                beta: height.beta(design),
                covariance: height.covariance_packed(),
            })
            .collect()
    }

    /// Puts a posterior together again from its nodes (as a calibration file keeps them).
    pub fn from_nodes(nu: f64, nodes: Vec<Node>) -> Self {
        Posterior {
            nu,
            nodes,
            table: Arc::new(TTable::new(nu)),
        }
    }

    /// The same with the table of the t distribution taken from one of `known` that has as many degrees of freedom, where
    /// there is one: to make a table costs more than to ask it a few hundred times.
    pub fn sharing<'p>(self, mut known: impl Iterator<Item = &'p Posterior>) -> Self {
        match known.find(|like| like.nu == self.nu) {
            Some(like) => self.with_table_of(like),
            None => self,
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

    /// Posterior mean of every coefficient.
    pub fn coefficients(&self) -> Vec<f64> {
        (0..self.columns()).map(|c| self.coefficient(c)).collect()
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

#[cfg(test)]
mod tests {
    use super::super::between;
    use super::super::deletion::Rows;
    use super::*;
    use crate::stats::distributions::{chi2_sf, t_cdf};
    use crate::stats::resample::{normal, replicate};
    use nalgebra::{DMatrix, DVector};

    /// Groups of six rows or about, rows with a spread of 1, groups with one of `tau`.
    fn invented(case: u64, groups: usize, tau: f64) -> Design {
        let mut stream = replicate(11, case);
        let shifts: Vec<f64> = (0..groups).map(|_| tau * normal(&mut stream)).collect();
        let n = 6 * groups;
        let group: Vec<usize> = (0..n).map(|i| (i * i + i / 3) % groups).collect();
        let rows = Rows {
            x: DMatrix::from_fn(
                n,
                2,
                |i, j| if j == 0 { 1.0 } else { 30.0 + (i % 7) as f64 },
            ),
            y: DVector::from_fn(n, |i, _| shifts[group[i]] + normal(&mut stream)),
            group: group.into(),
        };
        rows.design(&[], 0.003).unwrap()
    }

    /// Few and many groups, of equal and unequal sizes, that differ not at all, as much as rows do, and very much.
    #[test]
    fn finer_nodes_give_the_same_distributions() {
        let finer = Quadrature {
            step_max: 0.1,
            step_per_sd: 0.25,
            reach: 40.0,
            lowest_within: 0.0,
        };
        for (case, groups, tau) in (0..)
            .zip([1, 2, 3, 5, 12, 100])
            .flat_map(|(i, groups)| [0.0, 0.3, 1.0, 16.0].map(|tau| (i, groups, tau)))
        {
            let design = invented(case, groups, tau);
            let few = Posterior::new(&design, 0.9).unwrap();
            let many = Posterior::by(&finer, &design, 0.9).unwrap();
            assert!(3 * few.nodes.len() < many.nodes.len());
            for x in [[1.0, 33.0], [1.0, 20.0]] {
                let b = many.new_group_distribution(&x);
                // Node by node: a mixture joins parts that are nearly one.
                let below = |p: &Posterior, y: f64| -> f64 {
                    let of_node = |n: &Node| {
                        let variance =
                            n.rss / p.nu * (quadratic(&n.covariance, &x) + n.r * n.r + 1.0);
                        n.weight * t_cdf((y - dot(&x, &n.beta)) / variance.sqrt(), p.nu)
                    };
                    p.nodes.iter().map(of_node).sum()
                };
                for z in [-6.0, -2.0, -0.5, 0.0, 1.0, 3.0] {
                    let y = b.centre() + z * b.scale();
                    let off = (below(&few, y) - below(&many, y)).abs();
                    assert!(off < 1e-6, "{groups} groups, tau {tau}, at {z}: {off:e}");
                }
                let off = (few.mean(&x) - many.mean(&x)).abs() / b.scale();
                assert!(
                    off < 1e-6,
                    "{groups} groups, tau {tau}: mean off by {off:e}"
                );
            }
        }
    }
    /// Between nodes τ's distribution is carried by cubics: against a sum over nodes so near that it is smooth by itself.
    #[test]
    fn the_spread_between_groups_is_smooth_between_nodes() {
        let near = Quadrature {
            step_max: 0.01,
            step_per_sd: 0.05,
            reach: 30.0,
            lowest_within: 0.0,
        };
        for (case, groups, tau) in [
            (0, 1, 1.0),
            (1, 3, 0.3),
            (2, 3, 16.0),
            (3, 8, 1.0),
            (4, 60, 0.5),
        ] {
            let design = invented(case, groups, tau);
            let many = Posterior::by(&near, &design, 0.9).unwrap();
            let few = Posterior::new(&design, 0.9).unwrap();
            let below = between::distribution(&few).unwrap();
            for t in (-30..30).map(|i| tau * (0.15 * f64::from(i)).exp()) {
                let of_node = |n: &Node| n.weight * chi2_sf(n.r * n.r * n.rss / (t * t), many.nu);
                let wanted: f64 = many.nodes.iter().map(of_node).sum();
                let off = (below(t.ln()) - wanted).abs();
                assert!(off < 3e-4, "{groups} groups, tau {tau}, below {t}: {off:e}");
            }
        }
    }

    /// The few points at which τ's distribution is tabulated: its shortest intervals hold what they are meant to.
    #[test]
    fn intervals_of_the_spread_between_groups_hold_their_level() {
        let cases = [1, 3, 8, 60, 400].map(|groups| [0.0, 0.3, 1.0, 16.0].map(|t| (groups, t)));
        for (groups, tau) in cases.into_iter().flatten() {
            let posterior = Posterior::new(&invented(7, groups, tau), 0.9).unwrap();
            let below = between::distribution(&posterior).unwrap();
            for level in [0.5, 0.8, 0.95, 0.99] {
                // An estimate that widens nothing.
                let known = posterior.between_interval(f64::NAN, Level::new(level).unwrap());
                let holds = below(known.high.ln()) - below(known.low.ln());
                let off = (holds - level).abs();
                assert!(off < 4e-4, "{groups} groups, tau {tau}, {level}: {off:e}");
            }
        }
    }
}
