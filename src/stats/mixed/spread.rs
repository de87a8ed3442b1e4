//! What is known of the spreads σ and τ themselves: shortest intervals on their own scale.
//!
//! Given θ, σ² is RSS_θ over a χ² with ν degrees of freedom, and τ = θσ. Averaged over θ the density of u = ln σ or ln τ is
//!
//! ```text
//! p(u) = Σ_θ w_θ · 2·p_lnχ²(2·(ln g_θ − u)),     g_θ = √RSS_θ or θ·√RSS_θ.
//! ```
//!
//! The sum is as good as the integral where nodes lie no farther apart than ln σ is known, so these are nodes of their own:
//! with hundreds of rows σ is known far better than to the 0.3 between the nodes of a [`super::Posterior`], and τ would
//! climb in steps. The distribution function is added up once, at even steps of u: a shortest interval asks for it hundreds
//! of times, and a tail of χ² with hundreds of degrees of freedom takes microseconds for each node.

use super::design::Design;
use super::posterior::{QUADRATURE, Quadrature, SpreadPrior, WeightedProfile, weighted_profiles};
use crate::stats::Numerical;
use crate::stats::cubic;
use crate::stats::interval::{Interval, Level};
use crate::stats::optimise;

/// Steps between the nodes and, of the density, between its places, in SDs of ln σ and of u. *Measured* (tests below):
/// probabilities within 1e-5.
const NODE_STEP: f64 = 0.7;
const STEP: f64 = 0.1;
/// Nodes lighter than this change no end of an interval that anyone reads.
const WEIGHT_MIN: f64 = 1e-8;
/// A density that has fallen by this in its logarithm is 0.
const FALLEN: f64 = 16.0;
/// On the probability below a shortest interval.
const TAIL_WITHIN: f64 = 1e-7;

/// The posterior distributions of σ and τ.
#[derive(Debug, Clone)]
pub struct Spreads {
    nu: f64,
    /// Weight, θ and RSS_θ of each node.
    nodes: Vec<(f64, f64, f64)>,
}

impl Spreads {
    /// For the designs of one data set at each γ, with their prior probabilities, by rising γ.
    ///
    /// # Errors
    /// [`Numerical::RankLost`], or [`Numerical::Shape`] without a degree of freedom.
    pub fn averaged(designs: &[(f64, &Design)], prior: SpreadPrior) -> Result<Self, Numerical> {
        let guessed = f64::from(u8::from(prior.sigma_guess.is_some()));
        let nu = designs.first().map_or(0.0, |(_, design)| design.nu()) + guessed;
        let finer = Quadrature {
            step_max: QUADRATURE.step_max.min(NODE_STEP * ln_sigma_sd(nu)),
            ..QUADRATURE
        };
        // Rounding may lose a column at a node that lies farther out than the posterior's own, which will do then.
        let profiles = weighted_profiles(&finer, designs, prior)
            .or_else(|_| weighted_profiles(&QUADRATURE, designs, prior))?;
        let node = |p: &WeightedProfile| (p.weight, p.profile.theta, p.profile.rss);
        let mut nodes: Vec<(f64, f64, f64)> = Vec::with_capacity(profiles.len());
        for of_one_growth in profiles.chunk_by(|a, b| a.growth == b.growth) {
            let first = nodes.len();
            nodes.extend(of_one_growth.iter().map(node));
            // The first stands for all below, where the density is a constant times θ: in steps again.
            if let [(weight, theta, rss), (_, second, _), ..] = nodes[first..] {
                let fall = theta / second;
                nodes[first].0 = weight * (1.0 - fall);
                let (mut own, mut theta) = (nodes[first].0, theta);
                while own >= WEIGHT_MIN {
                    (own, theta) = (own * fall, theta * fall);
                    nodes.push((own, theta, rss));
                }
            }
        }
        nodes.retain(|(weight, ..)| *weight >= WEIGHT_MIN);
        Ok(Spreads { nu, nodes })
    }

    /// Interval of σ: the shortest, around the estimate given.
    pub fn within_interval(&self, estimate: f64, level: Level) -> Interval {
        let (low, high) = self.distribution(|_| 1.0).shortest(level);
        Interval::holding(estimate, low, high)
    }

    /// Interval of τ: the shortest, so it may start at 0, around the estimate given.
    pub fn between_interval(&self, estimate: f64, level: Level) -> Interval {
        let (low, high) = self.distribution(|theta| theta).shortest(level);
        Interval::holding(estimate, low, high)
    }

    /// Distribution of σ times a factor.
    fn distribution(&self, factor: impl Fn(f64) -> f64) -> LogDistribution {
        let of =
            |&(weight, theta, rss): &(f64, f64, f64)| (weight, factor(theta).ln() + 0.5 * rss.ln());
        LogDistribution::from_scaled_inverse_chi(
            self.nu,
            &self.nodes.iter().map(of).collect::<Vec<_>>(),
        )
    }
}

/// About the standard deviation of ln σ: ln χ² has a variance of about 2/ν.
fn ln_sigma_sd(nu: f64) -> f64 {
    (0.5 / nu).sqrt()
}

/// Distribution of the logarithm of a positive number: its function and density at even steps, with cubics between.
#[derive(Debug, Clone)]
struct LogDistribution {
    ln_x: Vec<f64>,
    below: Vec<f64>,
    density: Vec<f64>,
}

impl LogDistribution {
    /// Of g/√χ²_ν mixed over (weight, ln g).
    fn from_scaled_inverse_chi(nu: f64, parts: &[(f64, f64)]) -> Self {
        let total: f64 = parts.iter().map(|p| p.0).sum();
        let mean = parts.iter().map(|(w, ln_g)| w * ln_g).sum::<f64>() / total;
        let square = |(w, ln_g): &(f64, f64)| w * (ln_g - mean).powi(2);
        let variance = parts.iter().map(square).sum::<f64>() / total;
        let mode = |ln_g: f64| ln_g - 0.5 * nu.ln();
        // Density of u and its slope, up to a constant: exp(ν/2·(d − e^d + 1)) with d = ln χ² − ln ν.
        let at = |u: f64| {
            let (mut density, mut slope) = (0.0, 0.0);
            for (weight, ln_g) in parts {
                let d = 2.0 * (ln_g - u) - nu.ln();
                // Most parts lie far off; d − e^d + 1 is below −min(d², 1)/3.
                if nu * (d * d).min(1.0) > 6.0 * FALLEN {
                    continue;
                }
                let rise = d.exp_m1();
                let part = weight * (0.5 * nu * (d - rise)).exp();
                density += part;
                slope += part * nu * rise;
            }
            (density, slope)
        };
        // With nothing at the mean the parts lie in two heaps far from each other, of which no step may pass one over.
        let (own, nothing) = (ln_sigma_sd(nu), (-FALLEN).exp());
        let middle = mode(mean);
        let step = match STEP * own.hypot(variance.sqrt()) {
            step if at(middle).0 > nothing => step,
            step => step.min(own),
        };
        let heavy = parts.iter().filter(|(weight, _)| *weight > nothing);
        let modes = heavy.map(|(_, ln_g)| mode(*ln_g));
        let (first, last) = modes.fold((middle, middle), |(a, b), m| (a.min(m), b.max(m)));
        let side = |step: f64| {
            let places = (1..).map(move |i| middle + step * f64::from(i));
            let densities = places.map(|u| (u, at(u)));
            // Between two heaps the density may fall to nothing.
            densities
                .take_while(|(u, (density, _))| *density > nothing || (first..=last).contains(u))
                .collect::<Vec<_>>()
        };
        let mut places = side(-step);
        places.reverse();
        places.push((middle, at(middle)));
        places.extend(side(step));
        // The trapezoid rule with its end correction (Euler and Maclaurin), a twelfth of the slopes.
        let mut below = vec![places[0].1.0];
        for pair in places.windows(2) {
            let ((_, (f0, s0)), (_, (f1, s1))) = (pair[0], pair[1]);
            let more = 0.5 * step * (f0 + f1) + step * step / 12.0 * (s0 - s1);
            below.push(below[below.len() - 1] + more);
        }
        let all = below[below.len() - 1];
        LogDistribution {
            ln_x: places.iter().map(|p| p.0).collect(),
            below: below.iter().map(|b| b / all).collect(),
            density: places.iter().map(|p| p.1.0 / all).collect(),
        }
    }

    /// The number not exceeded with probability `p`, 0 at 0.
    fn quantile(&self, p: f64) -> f64 {
        let last = self.ln_x.len() - 1;
        let i = self
            .below
            .partition_point(|&below| below < p)
            .clamp(1, last);
        let ends = |of: &[f64]| (of[i - 1], of[i]);
        let (from, to) = ends(&self.ln_x);
        let excess =
            |u: f64| cubic::through((from, to), ends(&self.below), ends(&self.density), u).0 - p;
        if p <= self.below[0] {
            // So far down the number falls with its probability.
            return from.exp() * p / self.below[0];
        }
        optimise::root(excess, from, to, 1e-12).unwrap_or(to).exp()
    }

    /// The shortest interval that holds `level`.
    fn shortest(&self, level: Level) -> (f64, f64) {
        let level = level.probability();
        let width = |p: f64| self.quantile(p + level) - self.quantile(p);
        let most = (1.0 - level) * (1.0 - 1e-6);
        let p = optimise::minimum(width, 0.0, most, TAIL_WITHIN).map_or(0.0, |least| least.x);
        (self.quantile(p), self.quantile(p + level))
    }
}

#[cfg(test)]
mod tests {
    use super::super::posterior::tests::invented;
    use super::*;
    use crate::stats::distributions::chi2_sf;

    /// One θ: σ is the root of RSS over χ².
    #[test]
    fn quantiles_of_one_node_are_those_of_chi_squared() {
        for nu in [1.0, 7.0, 3000.0] {
            let known = LogDistribution::from_scaled_inverse_chi(nu, &[(1.0, 0.5 * 4f64.ln())]);
            for p in [0.001, 0.02, 0.3, 0.5, 0.9, 0.97, 0.999] {
                let off = (chi2_sf(4.0 / known.quantile(p).powi(2), nu) - p).abs();
                assert!(off < 1e-5, "{nu} {p}: {off:e}");
            }
        }
    }

    /// Two heaps of τ e^8 apart, of which the mean lies between, where there is nothing: an even half of each.
    #[test]
    fn two_heaps_far_apart_are_both_there() {
        for nu in [2.0, 40.0] {
            let parts = [(0.5, 0.0), (0.5, 8.0)];
            let known = LogDistribution::from_scaled_inverse_chi(nu, &parts);
            for p in [0.01, 0.2, 0.45, 0.55, 0.8, 0.99] {
                let tail = |ln_g: f64| chi2_sf((2.0 * ln_g).exp() / known.quantile(p).powi(2), nu);
                let off = 0.5 * (tail(0.0) + tail(8.0)) - p;
                assert!(off.abs() < 1e-2, "{nu} {p}: {off:e}");
            }
            let (low, high) = known.shortest(Level::default());
            assert!(low < 1.0 && high > 100.0, "{low} {high}");
        }
    }

    /// Against a sum of exact tails over nodes so near that it is smooth by itself; and neither end of an interval can be
    /// moved without making it longer.
    #[test]
    fn intervals_hold_their_level_and_are_shortest() {
        let cases = [1, 3, 8, 60, 400].map(|groups| [0.0, 0.3, 1.0, 16.0].map(|t| (groups, t)));
        for (groups, tau) in cases.into_iter().flatten() {
            let design = invented(7, groups, tau);
            let designs = [(1.0, &design)];
            let prior = SpreadPrior::without_guess(0.9);
            let spreads = Spreads::averaged(&designs, prior).unwrap();
            let finer = Quadrature {
                step_max: 0.1 * ln_sigma_sd(design.nu()),
                step_per_sd: 0.25,
                reach: 40.0,
                lowest_within: 0.0,
            };
            let near = weighted_profiles(&finer, &designs, prior).unwrap();
            let below = |t: f64| -> f64 {
                let of = |WeightedProfile {
                              weight, profile: p, ..
                          }: &WeightedProfile| {
                    weight * chi2_sf(p.rss * (p.theta / t).powi(2), p.nu)
                };
                near.iter().map(of).sum()
            };
            for level in [0.5, 0.8, 0.95, 0.99] {
                // An estimate that widens nothing.
                let known = spreads.between_interval(f64::NAN, Level::new(level).unwrap());
                let off = (below(known.high) - below(known.low) - level).abs();
                assert!(off < 1e-5, "{groups} groups, tau {tau}, {level}: {off:e}");
                let h = 1e-3 * known.high;
                let density = |t: f64| (below(t + h) - below(t - h)) / (2.0 * h);
                if known.low > 2.0 * h {
                    let (a, b) = (density(known.low), density(known.high));
                    assert!(
                        (a / b - 1.0).abs() < 0.02,
                        "{groups}, {tau}, {level}: {a} {b}"
                    );
                }
            }
        }
    }
}
