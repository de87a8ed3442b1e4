//! What is known of the spreads σ and τ themselves: shortest intervals on their own scale.

use super::posterior::Posterior;
use crate::stats::distributions::{chi2_sf, normal_cdf, normal_quantile};
use crate::stats::interval::{Interval, Level};
use crate::stats::optimise;

/// Nodes lighter than this change no end of an interval that anyone reads.
const WEIGHT_MIN: f64 = 1e-8;
/// Points at which the distribution function is tabulated, evenly in its logarithm.
const POINTS: usize = 128;

/// A distribution function of a positive number, tabulated as the number's logarithm against the normal score of its
/// probability: nearly a straight line, carried by cubics with slopes from the neighbours.
struct Tabulated {
    z: Vec<f64>,
    ln_x: Vec<f64>,
}

impl Tabulated {
    /// Tabulates `cdf` between two positive numbers where it is about 0 and about 1.
    fn new(low: f64, high: f64, cdf: impl Fn(f64) -> f64) -> Self {
        let (from, to) = (low.ln(), high.ln());
        let mut table = Tabulated {
            z: Vec::with_capacity(POINTS),
            ln_x: Vec::with_capacity(POINTS),
        };
        for i in 0..POINTS {
            let ln_x = from + (to - from) * i as f64 / (POINTS - 1) as f64;
            let z = normal_quantile(cdf(ln_x.exp()));
            if z.is_finite() && table.z.last().is_none_or(|&last| z > last) {
                table.z.push(z);
                table.ln_x.push(ln_x);
            }
        }
        table
    }

    /// dln x/dz at a point: the parabola through it and its neighbours, the chord at the ends.
    fn slope(&self, i: usize) -> f64 {
        let chord = |a: usize, b: usize| (self.ln_x[b] - self.ln_x[a]) / (self.z[b] - self.z[a]);
        let last = self.z.len() - 1;
        if i == 0 {
            return chord(0, 1);
        }
        if i == last {
            return chord(last - 1, last);
        }
        let (before, after) = (self.z[i] - self.z[i - 1], self.z[i + 1] - self.z[i]);
        (chord(i - 1, i) * after + chord(i, i + 1) * before) / (before + after)
    }

    /// The value not exceeded with probability `p`; below the table its number falls with its probability.
    fn quantile(&self, p: f64) -> f64 {
        if p <= 0.0 {
            return 0.0;
        }
        let z = normal_quantile(p);
        if z <= self.z[0] {
            return self.ln_x[0].exp() * p / normal_cdf(self.z[0]);
        }
        let last = self.z.len() - 1;
        if z >= self.z[last] {
            return (self.ln_x[last] + self.slope(last) * (z - self.z[last])).exp();
        }
        let i = self.z.partition_point(|&q| q < z) - 1;
        let width = self.z[i + 1] - self.z[i];
        let t = (z - self.z[i]) / width;
        let rise = self.ln_x[i + 1] - self.ln_x[i];
        let (s0, s1) = (self.slope(i) * width, self.slope(i + 1) * width);
        let (c, d) = (3.0 * rise - 2.0 * s0 - s1, s0 + s1 - 2.0 * rise);
        (self.ln_x[i] + t * (s0 + t * (c + t * d))).exp()
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
        let table = Tabulated::new(low, high, cdf);
        (table.z.len() >= 2).then_some(table)
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

#[cfg(test)]
mod tests {
    use super::*;

    /// The table against the distribution it was made from: χ with 7 degrees of freedom, root of a χ² quantile.
    #[test]
    fn the_table_gives_the_quantiles_of_its_distribution() {
        use crate::stats::distributions::chi2_quantile;
        let table = Tabulated::new(0.3, 6.0, |x| 1.0 - chi2_sf(x * x, 7.0));
        for p in [0.001, 0.02, 0.3, 0.5, 0.9, 0.97, 0.999] {
            let exact = chi2_quantile(p, 7.0).sqrt();
            assert!((table.quantile(p) / exact - 1.0).abs() < 1e-4, "{p}");
        }
    }
}
