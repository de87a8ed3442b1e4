//! What is known after the data: weights over θ, and the fit at each.
//!
//! With p(β) flat and p(σ²) ∝ 1/σ²,
//!
//! ```text
//! p(θ | y) ∝ p(θ) · |V|^(−1/2) · |X'V⁻¹X|^(−1/2) · RSS_θ^(−ν/2),
//! ```
//!
//! and p(θ) half-t with 4 degrees of freedom. Where the spreads may grow with a covariate, the power γ is averaged over in the
//! same way, each γ with its own rows. Sources: Box & Tiao 1973 ch. 5; Gelman 2006.

use super::criterion::Profile;
use super::design::Design;
use super::random_intercept::RandomIntercept;
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

/// Weak priors on the spreads.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadPrior {
    /// Scale of the half-t prior on θ, above 0.
    pub theta_scale: f64,
    /// A guess of σ that is worth one row; `None`: p(σ²) ∝ 1/σ².
    pub sigma_guess: Option<f64>,
}

impl SpreadPrior {
    /// Without a guess of σ.
    pub fn without_guess(theta_scale: f64) -> Self {
        SpreadPrior {
            theta_scale,
            sigma_guess: None,
        }
    }
}

/// The fit at one θ and γ, with its weight.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(from = "NodeRow", into = "NodeRow")]
pub struct Node {
    /// θ = τ/σ.
    pub r: f64,
    /// γ, the power with which spreads grow; 0 where they are the same everywhere.
    pub growth: f64,
    /// Posterior probability of this node; all sum to 1.
    pub weight: f64,
    /// RSS_θ, with the guess of σ where there is one.
    pub rss: f64,
    /// Coefficients β_θ.
    pub beta: Vec<f64>,
    /// Lower triangle of C_θ by rows: c00, c10, c11, c20 …
    pub covariance: Vec<f64>,
}

impl Node {
    /// The variance structure.
    pub fn groups(&self) -> RandomIntercept {
        RandomIntercept::at(self.r).growing(self.growth)
    }
}

/// A [`Node`] in JSON, where names would be a third of it: θ, γ, weight, RSS, coefficients, covariance.
type NodeRow = (f64, f64, f64, f64, Vec<f64>, Vec<f64>);

impl From<Node> for NodeRow {
    fn from(node: Node) -> Self {
        (
            node.r,
            node.growth,
            node.weight,
            node.rss,
            node.beta,
            node.covariance,
        )
    }
}

impl From<NodeRow> for Node {
    fn from((r, growth, weight, rss, beta, covariance): NodeRow) -> Self {
        Node {
            r,
            growth,
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
        let can_be = |node: &Node| {
            let variance = |k: usize| node.covariance[k * (k + 3) / 2];
            node.r >= 0.0
                && node.weight >= 0.0
                && node.rss > 0.0
                && (0..columns).all(|k| variance(k) >= 0.0)
        };
        let all: f64 = nodes.iter().map(|node| node.weight).sum();
        if nu >= 1.0
            && columns > 0
            && nodes.iter().all(|node| fits(node) && can_be(node))
            && (all - 1.0).abs() < 1e-6
        {
            Ok(Self::from_nodes(nu, nodes))
        } else {
            Err("the nodes of a fit do not fit together")
        }
    }
}

impl Posterior {
    /// Weights over θ for one design.
    ///
    /// # Errors
    /// [`Numerical::RankLost`], or [`Numerical::Shape`] without a degree of freedom.
    pub fn new(design: &Design, prior: SpreadPrior) -> Result<Self, Numerical> {
        Self::averaged(&[(1.0, design)], prior)
    }

    /// Weights over θ and γ for the designs of one data set at each γ, with their prior probabilities, by rising γ.
    ///
    /// # Errors
    /// [`Numerical::RankLost`], or [`Numerical::Shape`] without a degree of freedom.
    pub fn averaged(designs: &[(f64, &Design)], prior: SpreadPrior) -> Result<Self, Numerical> {
        let nodes = weighted_profiles(&QUADRATURE, designs, prior)?;
        let nu = nodes[0].profile.nu;
        let node = |WeightedProfile {
                        weight,
                        growth,
                        profile,
                    }| Node {
            r: profile.theta,
            growth,
            weight,
            rss: profile.rss,
            covariance: lower_triangle(&profile.covariance()),
            beta: profile.beta.data.into(),
        };
        Ok(Self::from_nodes(nu, nodes.into_iter().map(node).collect()))
    }

    /// Puts a posterior together from its nodes.
    pub fn from_nodes(nu: f64, nodes: Vec<Node>) -> Self {
        Posterior {
            nu,
            nodes,
            table: TTable::shared(nu),
        }
    }

    /// Degrees of freedom ν.
    pub fn nu(&self) -> f64 {
        self.nu
    }

    /// The nodes, by rising γ and, within each, rising θ.
    pub fn nodes(&self) -> &[Node] {
        &self.nodes
    }

    /// Every γ with its posterior probability, rising.
    pub fn growths(&self) -> Vec<(f64, f64)> {
        let mut growths: Vec<(f64, f64)> = Vec::new();
        for node in &self.nodes {
            match growths.last_mut() {
                Some((growth, weight)) if *growth == node.growth => *weight += node.weight,
                _ => growths.push((node.growth, node.weight)),
            }
        }
        growths
    }

    /// The γ of largest weight; of equals the smallest.
    pub fn likeliest_growth(&self) -> f64 {
        let first_heaviest =
            |best: (f64, f64), other: (f64, f64)| if other.1 > best.1 { other } else { best };
        let growths = self.growths().into_iter();
        growths
            .reduce(first_heaviest)
            .map_or(0.0, |(growth, _)| growth)
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

/// A fit at one θ and γ with its posterior probability.
pub(super) struct WeightedProfile {
    pub weight: f64,
    pub growth: f64,
    /// With the guess of σ in it, where there is one.
    pub profile: Profile,
}

/// The profiles at the nodes of a quadrature, by rising γ and θ, each with its posterior probability.
///
/// # Errors
/// [`Numerical::RankLost`], or [`Numerical::Shape`] without a degree of freedom.
pub(super) fn weighted_profiles(
    quadrature: &Quadrature,
    designs: &[(f64, &Design)],
    prior: SpreadPrior,
) -> Result<Vec<WeightedProfile>, Numerical> {
    let mut nodes = Vec::new();
    for &(share, design) in designs {
        for (ln_weight, profile) in profiles(quadrature, design, prior)? {
            nodes.push((ln_weight + share.ln(), design.growth(), profile));
        }
    }
    let ln_weights =
        |nodes: &[(f64, f64, Profile)]| nodes.iter().map(|n| n.0).collect::<Vec<f64>>();
    // What one γ alone would reach may lie far below all of another.
    let top = ln_weights(&nodes)
        .into_iter()
        .fold(f64::NEG_INFINITY, f64::max);
    nodes.retain(|node| node.0 >= top - quadrature.reach);
    let weights = normalised(&ln_weights(&nodes));
    let weighted = |(weight, (_, growth, profile))| WeightedProfile {
        weight,
        growth,
        profile,
    };
    Ok(weights.into_iter().zip(nodes).map(weighted).collect())
}

/// The profiles of one design at the nodes of a quadrature, by rising θ, each with the logarithm of the trapezoid's weight
/// times p(θ)·p(y | θ): up to a constant that is the same for every γ.
fn profiles(
    quadrature: &Quadrature,
    design: &Design,
    prior: SpreadPrior,
) -> Result<Vec<(f64, Profile)>, Numerical> {
    if design.nu() < 1.0 {
        return Err(Numerical::Shape {
            what: "rows for a spread",
        });
    }
    // ln p(u | y), u = ln θ, up to a constant; the last term is the Jacobian.
    let at = |u: f64| -> Result<(f64, Profile), Numerical> {
        let profile = design.at(u.exp())?.with_guess(prior.sigma_guess);
        let ln_prior = half_t_ln_fall(profile.theta, PRIOR_DF, prior.theta_scale);
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
    let mut nodes: Vec<(f64, Profile)> =
        below.into_iter().rev().chain([top]).chain(above).collect();
    // What all nodes below it would sum to, the density there being a constant times θ.
    nodes[0].0 -= (-(-step).exp_m1()).ln();
    nodes
        .iter_mut()
        .for_each(|(ln_weight, _)| *ln_weight += step.ln());
    Ok(nodes)
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
    use super::super::row::Row;
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
        let rows = Rows::new(
            DMatrix::from_fn(
                n,
                2,
                |i, j| if j == 0 { 1.0 } else { 30.0 + (i % 7) as f64 },
            ),
            DVector::from_fn(n, |i, _| effects[group[i]] + normal(&mut stream)),
            group,
        );
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
            let prior = SpreadPrior::without_guess(0.9);
            let few = Posterior::new(&design, prior).unwrap();
            let many = weighted_profiles(&finer, &[(1.0, &design)], prior).unwrap();
            assert!(3 * few.nodes().len() < many.len());
            for x in [[1.0, 33.0], [1.0, 20.0]] {
                let row = Row::of_mean_size(x.to_vec());
                let a = few.new_group_distribution(&row);
                let below = |y: f64| -> f64 {
                    let of = |WeightedProfile {
                                  weight, profile, ..
                              }: &WeightedProfile| {
                        let covariance = lower_triangle(&profile.covariance());
                        let groups = RandomIntercept::at(profile.theta);
                        let variance = quadratic(&covariance, &x) + groups.new_row(1.0);
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
                let mean = |WeightedProfile {
                                weight, profile, ..
                            }: &WeightedProfile| {
                    weight * dot(&x, profile.beta.as_slice())
                };
                let off = (few.mean(&row) - many.iter().map(mean).sum::<f64>()).abs() / a.scale();
                assert!(
                    off < 1e-6,
                    "{groups} groups, tau {tau}: mean off by {off:e}"
                );
            }
        }
    }
}
