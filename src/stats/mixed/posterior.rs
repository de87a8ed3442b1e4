//! What is known after the data: weights over θ, and the fit at each.
//!
//! With p(β) flat and p(σ²) ∝ 1/σ²,
//!
//! ```text
//! p(θ | y) ∝ p(θ) · |V|^(−1/2) · |X'V⁻¹X|^(−1/2) · RSS_θ^(−ν/2),
//! ```
//!
//! and p(θ) half-t with 4 degrees of freedom. Sources: Box & Tiao 1973 ch. 5; Gelman 2006.

use super::criterion::Profile;
use super::design::Design;
use crate::stats::Numerical;
use crate::stats::distributions::half_t_ln_fall;
use crate::stats::linalg::lower_triangle;
use crate::stats::optimise;
use crate::stats::t_table::TTable;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Degrees of freedom of the half-t prior on θ.
const PRIOR_DF: f64 = 4.0;
/// Where the mode is looked for, in u = ln θ.
const LN_THETA: (f64, f64) = (-12.0, 16.0);
const LN_THETA_STEP: f64 = 1.0;
/// On the mode's place: nodes may lie anywhere about it.
const MODE_WITHIN: f64 = 1e-3;
/// A bound on the number of nodes that no real log comes near (a season has about 40).
const NODES_MAX: usize = 4000;

/// How the nodes of the trapezoid rule lie in u = ln θ.
///
/// The error of the steps falls as exp(−2πd/step), d how far from the line the integrand is bounded: π/4 where groups do
/// not differ and it ends as exp(−θ²) = exp(−e^(2u)), 7e-8 then; and for a normal as exp(−2π²/(step/SD)²), 3e-9. Held
/// against finer ones in the tests below.
#[derive(Debug, Clone, Copy)]
pub(super) struct Quadrature {
    /// A step is at most this, and at most this many SDs of u at the mode.
    pub step_max: f64,
    pub step_per_sd: f64,
    /// The log density that is left out on either side lies this far below its top.
    pub reach: f64,
    /// Towards θ = 0 the density becomes a constant times θ: the nodes end where what differs from that holds less than
    /// this, and the first of them stands for all below.
    pub lowest_within: f64,
}

pub(super) const QUADRATURE: Quadrature = Quadrature {
    step_max: 0.3,
    step_per_sd: 1.0,
    reach: 30.0,
    lowest_within: 1e-9,
};

/// The fit at one θ, with its weight.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(from = "NodeRow", into = "NodeRow")]
pub struct Node {
    /// θ = τ/σ.
    pub r: f64,
    /// Posterior probability of this node; all sum to 1.
    pub weight: f64,
    /// RSS_θ.
    pub rss: f64,
    /// Coefficients β_θ.
    pub beta: Vec<f64>,
    /// Lower triangle of C_θ by rows: c00, c10, c11, c20 …
    pub covariance: Vec<f64>,
}

/// A [`Node`] in JSON, where names would be a third of it: θ, weight, RSS, coefficients, covariance.
type NodeRow = (f64, f64, f64, Vec<f64>, Vec<f64>);

impl From<Node> for NodeRow {
    fn from(node: Node) -> Self {
        (node.r, node.weight, node.rss, node.beta, node.covariance)
    }
}

impl From<NodeRow> for Node {
    fn from((r, weight, rss, beta, covariance): NodeRow) -> Self {
        Node {
            r,
            weight,
            rss,
            beta,
            covariance,
        }
    }
}

/// All nodes, with what they share.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(try_from = "Written")]
pub struct Posterior {
    nu: f64,
    nodes: Vec<Node>,
    #[serde(skip)]
    table: Arc<TTable>,
}

/// A [`Posterior`] in JSON, which may hold anything.
#[derive(Deserialize)]
struct Written {
    nu: f64,
    nodes: Vec<Node>,
}

impl TryFrom<Written> for Posterior {
    type Error = &'static str;

    fn try_from(written: Written) -> Result<Self, Self::Error> {
        let Written { nu, nodes } = written;
        let columns = nodes.first().map_or(0, |node| node.beta.len());
        let fits = |node: &Node| {
            node.beta.len() == columns && node.covariance.len() == columns * (columns + 1) / 2
        };
        if nu >= 1.0 && columns > 0 && nodes.iter().all(fits) {
            Ok(Self::from_nodes(nu, nodes))
        } else {
            Err("the nodes of a fit do not fit together")
        }
    }
}

impl Posterior {
    /// Weights over θ for a design, with `prior_scale` (> 0) the scale of the half-t prior on θ.
    ///
    /// # Errors
    /// [`Numerical::RankLost`], or [`Numerical::Shape`] without a degree of freedom.
    pub fn new(design: &Design, prior_scale: f64) -> Result<Self, Numerical> {
        let profiles = weighted_profiles(&QUADRATURE, design, prior_scale)?;
        let node = |(weight, profile): (f64, Profile)| Node {
            r: profile.theta,
            weight,
            rss: profile.rss,
            covariance: lower_triangle(&profile.covariance()),
            beta: profile.beta.data.into(),
        };
        let nodes = profiles.into_iter().map(node).collect();
        Ok(Self::from_nodes(design.nu(), nodes))
    }

    /// Puts a posterior together from its nodes.
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

    /// The nodes, by rising θ.
    pub fn nodes(&self) -> &[Node] {
        &self.nodes
    }

    /// Number of coefficients.
    pub fn columns(&self) -> usize {
        self.nodes[0].beta.len()
    }

    /// The shared table of the t distribution with ν degrees of freedom.
    pub(super) fn table(&self) -> &Arc<TTable> {
        &self.table
    }
}

/// The profiles at the nodes of a quadrature, by rising θ, each with its posterior probability.
///
/// # Errors
/// [`Numerical::RankLost`], or [`Numerical::Shape`] without a degree of freedom.
pub(super) fn weighted_profiles(
    quadrature: &Quadrature,
    design: &Design,
    prior_scale: f64,
) -> Result<Vec<(f64, Profile)>, Numerical> {
    if design.nu() < 1.0 {
        return Err(Numerical::Shape {
            what: "rows for a spread",
        });
    }
    // ln p(u | y), u = ln θ, up to a constant; the last term is the Jacobian.
    let at = |u: f64| -> Result<(f64, Profile), Numerical> {
        let profile = design.at(u.exp())?;
        let ln_prior = half_t_ln_fall(profile.theta, PRIOR_DF, prior_scale);
        Ok((profile.ln_marginal() + ln_prior + u, profile))
    };
    let minus = |u: f64| at(u).map_or(f64::INFINITY, |(ln_density, _)| -ln_density);
    let mode = optimise::minimum_of_many(minus, LN_THETA, LN_THETA_STEP, MODE_WITHIN)?;
    let h = 0.02;
    let curvature = (minus(mode.x - h) + minus(mode.x + h) - 2.0 * mode.value) / (h * h);
    let per_sd = if curvature > 0.0 {
        quadrature.step_per_sd / curvature.sqrt()
    } else {
        f64::INFINITY
    };
    let step = quadrature.step_max.min(per_sd);

    let top = at(mode.x)?;
    let mut below = Vec::new();
    let mut above = Vec::new();
    for (side, list) in [(-step, &mut below), (step, &mut above)] {
        let (mut before, mut straight) = (top.0, 0);
        for i in 1..NODES_MAX / 2 {
            let node = at(mode.x + side * i as f64)?;
            let (ln_density, fallen) = (node.0, node.0 - top.0);
            list.push(node);
            // Twice in a row: once may be where a curve passes through that slope.
            let bent = (before - ln_density - step).abs() * fallen.exp();
            straight = if bent < quadrature.lowest_within {
                straight + 1
            } else {
                0
            };
            if fallen < -quadrature.reach || (side < 0.0 && straight > 1) {
                break;
            }
            before = ln_density;
        }
    }
    let nodes: Vec<(f64, Profile)> = below.into_iter().rev().chain([top]).chain(above).collect();
    let mut ln_weights: Vec<f64> = nodes.iter().map(|(ln_density, _)| *ln_density).collect();
    // What all nodes below it would sum to, the density there being a constant times θ.
    ln_weights[0] -= (-(-step).exp_m1()).ln();
    let profiles = nodes.into_iter().map(|(_, profile)| profile);
    Ok(normalised(&ln_weights).into_iter().zip(profiles).collect())
}

/// Weights that sum to 1, from their logarithms up to a constant.
pub(super) fn normalised(ln_weights: &[f64]) -> Vec<f64> {
    let top = ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut weights: Vec<f64> = ln_weights.iter().map(|ln| (ln - top).exp()).collect();
    let total: f64 = weights.iter().sum();
    weights.iter_mut().for_each(|weight| *weight /= total);
    weights
}

#[cfg(test)]
pub(crate) mod tests {
    use super::super::design::Rows;
    use super::super::random_intercept::RandomIntercept;
    use super::*;
    use crate::stats::distributions::t_cdf;
    use crate::stats::linalg::{dot, quadratic};
    use crate::stats::resample::{normal, replicate};
    use nalgebra::{DMatrix, DVector};

    /// Groups of six rows or about, rows with a spread of 1, groups with one of `tau`.
    pub(crate) fn invented(case: u64, groups: usize, tau: f64) -> Design {
        let mut stream = replicate(11, case);
        let effects: Vec<f64> = (0..groups).map(|_| tau * normal(&mut stream)).collect();
        let n = 6 * groups;
        let group: Vec<usize> = (0..n).map(|i| (i * i + i / 3) % groups).collect();
        let rows = Rows {
            x: DMatrix::from_fn(
                n,
                2,
                |i, j| if j == 0 { 1.0 } else { 30.0 + (i % 7) as f64 },
            ),
            y: DVector::from_fn(n, |i, _| effects[group[i]] + normal(&mut stream)),
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
            let many = weighted_profiles(&finer, &design, 0.9).unwrap();
            assert!(3 * few.nodes().len() < many.len());
            for x in [[1.0, 33.0], [1.0, 20.0]] {
                let a = few.new_group_distribution(&x);
                let below = |y: f64| -> f64 {
                    let of = |(weight, profile): &(f64, Profile)| {
                        let covariance = lower_triangle(&profile.covariance());
                        let groups = RandomIntercept::at(profile.theta);
                        let variance = quadratic(&covariance, &x) + groups.new_row();
                        let scale = (profile.rss / profile.nu * variance).sqrt();
                        let centre = dot(&x, profile.beta.as_slice());
                        weight * t_cdf((y - centre) / scale, profile.nu)
                    };
                    many.iter().map(of).sum()
                };
                for z in [-6.0, -2.0, -0.5, 0.0, 1.0, 3.0] {
                    let y = a.centre() + z * a.scale();
                    let off = (a.cdf(y) - below(y)).abs();
                    assert!(off < 1e-6, "{groups} groups, tau {tau}, at {z}: {off:e}");
                }
                let mean =
                    |(weight, profile): &(f64, Profile)| weight * dot(&x, profile.beta.as_slice());
                let off = (few.mean(&x) - many.iter().map(mean).sum::<f64>()).abs() / a.scale();
                assert!(
                    off < 1e-6,
                    "{groups} groups, tau {tau}: mean off by {off:e}"
                );
            }
        }
    }
}
