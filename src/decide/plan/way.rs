//! What is known in one direction (along or across), as a straight line over the event's range, and what new runs
//! would add to it. Everything else of the fit (other builds, other trims) has been integrated out: a new run tells
//! only of this line.

use crate::stats::distributions::chi2_quantile;
use crate::stats::linalg::packed;
use crate::stats::mixed::{Posterior, RandomIntercept};

/// Nodes lighter than this are left out: all of them together move no digit that is shown.
const WEIGHT_MIN: f64 = 1e-5;
/// σ² of a node is spread over this many equally likely values: against Student's t with 5 degrees of freedom the chance
/// is off by less than 0.002 (checked in `chance.rs`).
const SIGMA_POINTS: usize = 32;

/// A symmetric 2 × 2 matrix: (0,0), (0,1), (1,1).
type Two = [f64; 3];

/// One value of θ = τ/σ.
#[derive(Debug, Clone)]
struct Node {
    weight: f64,
    /// With its γ.
    sessions: RandomIntercept,
    rss: f64,
    /// Covariance over σ² of the line's value at the middle and its slope in z.
    covariance: Two,
}

/// The line in one direction.
#[derive(Debug, Clone)]
pub struct Way {
    nodes: Vec<Node>,
    /// 1/χ² at equally likely places: σ² = RSS times each.
    inverse_chi2: Vec<f64>,
    /// ν − 2 where there is a mean of σ², else ν.
    df: f64,
}

/// Runs of new sessions, all of one pattern.
#[derive(Debug, Clone, Copy)]
pub struct NewRuns<'a> {
    /// How many sessions.
    pub sessions: usize,
    /// For each spot, how many runs of a session are made there.
    pub spots: &'a [(Spot, usize)],
}

/// A place on a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// 0 at the middle of the range, ±1 at its ends.
    pub z: f64,
    /// Size of a run there, that spreads grow with.
    pub size: f64,
}

/// One equally known state of the spreads with what is not known of the line at a place.
#[derive(Debug, Clone, Copy)]
pub struct State {
    /// Posterior weight.
    pub weight: f64,
    /// Variance of a run about the line and its day's shift, unit² of the response.
    pub sigma2: f64,
    /// What a day's runs share.
    pub shared: RandomIntercept,
}

impl Way {
    /// * `middle` — design row at z = 0; `unit` — what one unit of z adds to it
    pub fn new(posterior: &Posterior, middle: &[f64], unit: &[f64]) -> Self {
        let total: f64 = posterior
            .nodes()
            .iter()
            .map(|n| n.weight)
            .filter(|w| *w >= WEIGHT_MIN)
            .sum();
        let nodes = posterior
            .nodes()
            .iter()
            .filter(|n| n.weight >= WEIGHT_MIN)
            .map(|n| Node {
                weight: n.weight / total,
                sessions: n.groups(),
                rss: n.rss,
                covariance: [
                    bilinear(&n.covariance, middle, middle),
                    bilinear(&n.covariance, middle, unit),
                    bilinear(&n.covariance, unit, unit),
                ],
            })
            .collect();
        let nu = posterior.nu();
        Way {
            nodes,
            inverse_chi2: (0..SIGMA_POINTS)
                .map(|i| 1.0 / chi2_quantile((i as f64 + 0.5) / SIGMA_POINTS as f64, nu))
                .collect(),
            df: if nu > 2.0 { nu - 2.0 } else { nu },
        }
    }

    /// The line after new runs: X'V⁻¹X grows by X_n'(I + r²11')⁻¹X_n for each session, rows divided by their scale. Spreads
    /// stay as they are known.
    pub fn with(&self, new: NewRuns) -> Self {
        let n: f64 = new.spots.iter().map(|p| p.1 as f64).sum();
        let sessions = new.sessions as f64;
        let mut way = self.clone();
        for node in &mut way.nodes {
            let sum = |of: &dyn Fn(f64, f64) -> f64| {
                let each = new.spots.iter();
                each.fold(0.0, |sum, (spot, count)| {
                    sum + *count as f64 * of(spot.z, node.sessions.scale(spot.size))
                })
            };
            let (s1, sz) = (sum(&|_, g| 1.0 / g), sum(&|z, g| z / g));
            let squares = [
                sum(&|_, g| 1.0 / (g * g)),
                sum(&|z, g| z / (g * g)),
                sum(&|z, g| z * z / (g * g)),
            ];
            let lost = node.sessions.after(n);
            let information = [
                sessions * (squares[0] - lost * s1 * s1),
                sessions * (squares[1] - lost * s1 * sz),
                sessions * (squares[2] - lost * sz * sz),
            ];
            node.covariance = updated(node.covariance, information);
        }
        way
    }

    /// The line if it were known perfectly.
    pub fn perfectly_known(&self) -> Self {
        let mut way = self.clone();
        for node in &mut way.nodes {
            node.covariance = [0.0; 3];
        }
        way
    }

    /// Mean over the posterior of σ²h at z: how far the line itself may be off.
    pub fn line_variance(&self, z: f64) -> f64 {
        self.nodes.iter().fold(0.0, |sum, n| {
            sum + n.weight * n.rss / self.df * variance_at(&n.covariance, z)
        })
    }

    /// Every state of the spreads, at a spot.
    pub fn states(&self, spot: Spot) -> impl Iterator<Item = State> + '_ {
        let share = 1.0 / self.inverse_chi2.len() as f64;
        self.nodes.iter().flat_map(move |n| {
            let own = n.sessions.own(spot.size);
            let shared = n
                .sessions
                .with_line(variance_at(&n.covariance, spot.z) / own);
            self.inverse_chi2.iter().map(move |q| State {
                weight: n.weight * share,
                sigma2: n.rss * q * own,
                shared,
            })
        })
    }
}

/// x'Cy for a packed lower triangle.
fn bilinear(covariance: &[f64], x: &[f64], y: &[f64]) -> f64 {
    let mut sum = 0.0;
    for (i, a) in x.iter().enumerate() {
        for (j, b) in y.iter().enumerate() {
            sum += a * b * covariance[packed(i, j)];
        }
    }
    sum
}

/// (1, z) M (1, z)', never below 0.
fn variance_at(m: &Two, z: f64) -> f64 {
    (m[0] + z * (2.0 * m[1] + z * m[2])).max(0.0)
}

/// (M⁻¹ + N)⁻¹ = M(I + NM)⁻¹, which needs no inverse of M.
fn updated(m: Two, n: Two) -> Two {
    let a = 1.0 + n[0] * m[0] + n[1] * m[1];
    let b = n[0] * m[1] + n[1] * m[2];
    let c = n[1] * m[0] + n[2] * m[1];
    let d = 1.0 + n[1] * m[1] + n[2] * m[2];
    let det = a * d - b * c;
    [
        (m[0] * d - m[1] * c) / det,
        (m[1] * a - m[0] * b) / det,
        (m[2] * a - m[1] * b) / det,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn new_information_adds_to_the_inverse() {
        // By hand: M = diag(2, 4), N = diag(1, 1/4) give 1/(1/2 + 1) and 1/(1/4 + 1/4).
        let out = updated([2.0, 0.0, 4.0], [1.0, 0.0, 0.25]);
        assert!(
            (out[0] - 2.0 / 3.0).abs() < 1e-15 && out[1] == 0.0 && (out[2] - 2.0).abs() < 1e-15
        );
        // Symmetric whichever side it is computed from: (M⁻¹ + N)⁻¹ with full matrices.
        let (m, n) = ([2.0, 0.5, 1.0], [3.0, -1.0, 2.0]);
        let det = m[0] * m[2] - m[1] * m[1];
        let total = [m[2] / det + n[0], -m[1] / det + n[1], m[0] / det + n[2]];
        let det = total[0] * total[2] - total[1] * total[1];
        let wanted = [total[2] / det, -total[1] / det, total[0] / det];
        for (got, want) in updated(m, n).iter().zip(wanted) {
            assert!((got - want).abs() < 1e-14, "{got} for {want}");
        }
    }
}
