//! What is known of the spreads σ and τ themselves: shortest intervals on their own scale.

use super::posterior::Posterior;
use crate::stats::distributions::chi2_sf;
use crate::stats::interval::{Interval, Level};
use crate::stats::optimise;

/// Nodes lighter than this change no end of an interval that anyone reads.
const WEIGHT_MIN: f64 = 1e-9;
/// Points at which the distribution function is tabulated, evenly in its logarithm.
const POINTS: usize = 96;

/// A distribution function of a positive number, tabulated in the number's logarithm.
struct Tabulated {
    ln_x: Vec<f64>,
    p: Vec<f64>,
}

impl Tabulated {
    /// Tabulates `cdf` between two positive numbers where it is about 0 and about 1.
    fn new(low: f64, high: f64, cdf: impl Fn(f64) -> f64) -> Self {
        let (from, to) = (low.ln(), high.ln());
        let ln_x: Vec<f64> = (0..POINTS)
            .map(|i| from + (to - from) * i as f64 / (POINTS - 1) as f64)
            .collect();
        let mut p: Vec<f64> = ln_x.iter().map(|u| cdf(u.exp())).collect();
        for i in 1..p.len() {
            p[i] = p[i].max(p[i - 1]);
        }
        Tabulated { ln_x, p }
    }

    /// The value not exceeded with probability `p`, by straight lines in ln x between the points.
    fn quantile(&self, p: f64) -> f64 {
        if p <= self.p[0] {
            return if p <= 0.0 {
                0.0
            } else {
                self.ln_x[0].exp() * p / self.p[0].max(f64::MIN_POSITIVE)
            };
        }
        let after = self.p.partition_point(|&q| q < p).min(self.p.len() - 1);
        let (p0, p1) = (self.p[after - 1], self.p[after]);
        let part = if p1 > p0 {
            ((p - p0) / (p1 - p0)).min(1.0)
        } else {
            1.0
        };
        (self.ln_x[after - 1] + part * (self.ln_x[after] - self.ln_x[after - 1])).exp()
    }

    /// The shortest interval that holds `level`.
    fn shortest(&self, level: f64) -> (f64, f64) {
        let width = |p: f64| self.quantile(p + level) - self.quantile(p);
        let p =
            optimise::minimum(width, 0.0, (1.0 - level) * (1.0 - 1e-6), 1e-7).map_or(0.0, |m| m.x);
        (self.quantile(p), self.quantile(p + level))
    }
}

impl Posterior {
    /// Distribution function of scale_r·σ, where σ²| r is RSS_r over a χ² with ν degrees of freedom.
    fn spread(&self, scale: impl Fn(f64) -> f64) -> Option<Tabulated> {
        let nodes: Vec<(f64, f64)> = self
            .nodes()
            .iter()
            .filter(|n| n.weight >= WEIGHT_MIN)
            .map(|n| (n.weight, n.rss.sqrt() * scale(n.r)))
            .filter(|&(_, root)| root > 0.0)
            .collect();
        let total: f64 = nodes.iter().map(|n| n.0).sum();
        if nodes.is_empty() {
            return None;
        }
        let cdf = |x: f64| {
            nodes
                .iter()
                .map(|&(w, root)| w * chi2_sf((root / x).powi(2), self.nu()))
                .sum::<f64>()
                / total
        };
        let centre =
            nodes.iter().map(|&(w, root)| w * root).sum::<f64>() / total / self.nu().sqrt();
        let (mut low, mut high) = (centre, centre);
        while cdf(low) > 1e-4 && low > centre * 1e-6 {
            low /= 1.5;
        }
        while cdf(high) < 1.0 - 1e-4 && high < centre * 1e6 {
            high *= 1.5;
        }
        Some(Tabulated::new(low, high, cdf))
    }

    /// Interval of σ: the shortest, around the estimate given.
    pub fn within_interval(&self, estimate: f64, level: Level) -> Interval {
        Self::around(estimate, self.spread(|_| 1.0), level)
    }

    /// Interval of τ: the shortest, so it may start at 0, around the estimate given.
    pub fn between_interval(&self, estimate: f64, level: Level) -> Interval {
        Self::around(estimate, self.spread(|r| r), level)
    }

    fn around(estimate: f64, known: Option<Tabulated>, level: Level) -> Interval {
        match known {
            None => Interval {
                estimate,
                low: estimate,
                high: estimate,
            },
            Some(known) => {
                let (low, high) = known.shortest(level.probability());
                Interval::holding(estimate, low, high)
            }
        }
    }
}
