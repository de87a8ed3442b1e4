//! The distribution of τ = r·σ, smooth although the ratio is known at nodes only.
//!
//! Where ν is large σ is known far better than the nodes lie apart, and a sum over nodes would climb in steps. So the log
//! density over u = ln r is carried between nodes by cubics (probabilities within 3e-4, see the tests of
//! [`super::posterior`]), and τ = g/√χ², g = r·√RSS_r, is an integral over ln χ².

use super::posterior::Posterior;
use crate::stats::cubic;

/// Steps between two nodes.
const PER_NODE: usize = 4;
/// Steps of ln χ² for each of its standard deviations, and how far its log density falls before it is left out.
const PER_SD: f64 = 1.5;
const REACH: f64 = 16.0;

/// Distribution function of ln g at rising points.
struct Points {
    ln_g: Vec<f64>,
    /// P(ln g ≤ point), and its slope there.
    below: Vec<(f64, f64)>,
}

/// P(τ ≤ t) as a function of ln t; `None` with fewer than three nodes.
pub(super) fn distribution(posterior: &Posterior) -> Option<impl Fn(f64) -> f64> {
    let points = Points::of(posterior)?;
    let ln_chi2 = ln_chi2(posterior.nu());
    Some(move |ln_t: f64| -> f64 {
        let of = |&(v, weight): &(f64, f64)| weight * points.below(ln_t + 0.5 * v);
        ln_chi2.iter().map(of).sum()
    })
}

/// ln χ² with `df` degrees of freedom as points and weights: the trapezoid on its density, exp(df·v/2 − e^v/2).
fn ln_chi2(df: f64) -> Vec<(f64, f64)> {
    let top = df.ln();
    let step = (2.0 / df).sqrt() / PER_SD;
    let fall = |v: f64| 0.5 * df * (v - top - (v - top).exp_m1());
    let side = |towards: f64| {
        let at = move |i: i32| top + towards * step * f64::from(i);
        (1..)
            .map(at)
            .map(move |v| (v, fall(v)))
            .take_while(|(_, fall)| *fall > -REACH)
            .map(|(v, fall)| (v, fall.exp()))
    };
    let mut all: Vec<(f64, f64)> = side(-1.0).chain([(top, 1.0)]).chain(side(1.0)).collect();
    let total: f64 = all.iter().map(|p| p.1).sum();
    all.iter_mut().for_each(|p| p.1 /= total);
    all
}

impl Points {
    fn of(posterior: &Posterior) -> Option<Self> {
        let nodes = posterior.nodes();
        let [first, second, _, ..] = nodes else {
            return None;
        };
        let step = (second.r / first.r).ln();
        let mut ln_density: Vec<f64> = nodes
            .iter()
            .map(|n| n.weight.max(f64::MIN_POSITIVE).ln())
            .collect();
        // The first node stands for all below it, where the density is a constant times r.
        ln_density[0] += (-(-step).exp_m1()).ln();
        let ln_root: Vec<f64> = nodes.iter().map(|n| 0.5 * n.rss.ln()).collect();
        let h = step / PER_NODE as f64;
        let mut points = Points {
            ln_g: Vec::with_capacity(PER_NODE * nodes.len()),
            below: Vec::with_capacity(PER_NODE * nodes.len()),
        };
        let (mut sum, mut before, mut lowest) = (0.0, 0.0, 0.0);
        let places = (0..nodes.len() - 1)
            .flat_map(|k| (0..PER_NODE).map(move |i| (k, i as f64 / PER_NODE as f64)));
        for (k, t) in places.chain([(nodes.len() - 1, 0.0)]) {
            let (ln_mass, slope) = between(&ln_density, k, t);
            let (root, root_slope) = between(&ln_root, k, t);
            // The density times a step.
            let mass = ln_mass.exp() / PER_NODE as f64;
            if k == 0 && t == 0.0 {
                // Below the first node: e^u integrates to itself.
                (sum, lowest) = (mass / h, mass * h);
            } else {
                sum += 0.5 * (before + mass);
            }
            before = mass;
            // The trapezoid's end corrections (Euler and Maclaurin): a twelfth of the slopes.
            let below = sum - (mass * slope / PER_NODE as f64 - lowest) / 12.0;
            let ln_g = nodes[0].r.ln() + step * (k as f64 + t) + root;
            if points.ln_g.last().is_none_or(|&before| ln_g > before) {
                let density = mass / (h + root_slope / PER_NODE as f64);
                points.ln_g.push(ln_g);
                points.below.push((below, density));
            }
        }
        let total = points.below.last()?.0;
        for (below, slope) in &mut points.below {
            *below /= total;
            *slope /= total;
        }
        Some(points)
    }

    /// P(ln g ≤ x).
    fn below(&self, x: f64) -> f64 {
        let last = self.ln_g.len() - 1;
        if x <= self.ln_g[0] {
            return self.below[0].0 * (x - self.ln_g[0]).exp();
        }
        if x >= self.ln_g[last] {
            return 1.0;
        }
        let i = self.ln_g.partition_point(|&g| g <= x) - 1;
        let ((f0, d0), (f1, d1)) = (self.below[i], self.below[i + 1]);
        cubic::through((self.ln_g[i], self.ln_g[i + 1]), (f0, f1), (d0, d1), x).0
    }
}

/// Value and slope, a step between nodes being 1, at `t` of the way from node `k` to the next: the cubic with the slopes
/// of the parabolas through each node and its neighbours.
fn between(of_node: &[f64], k: usize, t: f64) -> (f64, f64) {
    let last = of_node.len() - 1;
    let slope = |i: usize| match i {
        0 => 2.0 * of_node[1] - 0.5 * (3.0 * of_node[0] + of_node[2]),
        i if i == last => 0.5 * (3.0 * of_node[i] + of_node[i - 2]) - 2.0 * of_node[i - 1],
        i => 0.5 * (of_node[i + 1] - of_node[i - 1]),
    };
    if t == 0.0 || k == last {
        return (of_node[k], slope(k));
    }
    let ends = (of_node[k], of_node[k + 1]);
    cubic::through((0.0, 1.0), ends, (slope(k), slope(k + 1)), t)
}
