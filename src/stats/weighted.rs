//! Distributions known by weighted points, or by weighted normals.

use super::distributions::{normal_cdf, normal_quantile};
use super::interval::{Interval, Level};
use super::optimise;

/// Points lighter than this share of the heaviest change no probability anyone reads.
const LIGHT: f64 = 1e-7;
/// First step of the search for a quantile, in standard deviations: a mixture is nearly normal.
const FIRST_STEP: f64 = 0.1;
/// A quantile is settled within this part of the standard deviation.
const SETTLED: f64 = 1e-9;

/// Values with weights.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighted {
    /// By rising value, with the weight up to the middle of each point's own.
    points: Vec<(f64, f64)>,
}

impl Weighted {
    /// From (weight, value); weights ≥ 0 and not all 0, values finite.
    pub fn new(all: impl IntoIterator<Item = (f64, f64)>) -> Self {
        let mut points: Vec<(f64, f64)> = all
            .into_iter()
            .filter(|(w, _)| *w > 0.0)
            .map(|(w, v)| (v, w))
            .collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        let total: f64 = points.iter().map(|p| p.1).sum();
        let mut below = 0.0;
        for point in &mut points {
            let weight = point.1 / total;
            point.1 = below + 0.5 * weight;
            below += weight;
        }
        Weighted { points }
    }

    /// The value not exceeded with probability `p`, between the points along straight lines; the outermost points at
    /// the ends.
    pub fn quantile(&self, p: f64) -> f64 {
        let at = self.points.partition_point(|q| q.1 < p);
        let last = self.points.len() - 1;
        if at == 0 || at > last {
            return self.points[at.min(last)].0;
        }
        let ((v0, p0), (v1, p1)) = (self.points[at - 1], self.points[at]);
        v0 + (v1 - v0) * (p - p0) / (p1 - p0)
    }

    /// Central interval; the estimate is the median.
    pub fn central(&self, level: Level) -> Interval {
        Interval::central(level, |p| self.quantile(p))
    }
}

/// A weighted normal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normal {
    /// Mean.
    pub mean: f64,
    /// Standard deviation, > 0.
    pub sd: f64,
}

/// A mixture of normals.
#[derive(Debug, Clone, PartialEq)]
pub struct Normals {
    parts: Vec<(f64, Normal)>,
}

impl Normals {
    /// From (weight, normal); weights ≥ 0 and not all 0.
    pub fn new(all: impl IntoIterator<Item = (f64, Normal)>) -> Self {
        let mut parts: Vec<(f64, Normal)> = all.into_iter().collect();
        let heaviest = parts.iter().map(|p| p.0).fold(0.0, f64::max);
        parts.retain(|p| p.0 > LIGHT * heaviest);
        let total: f64 = parts.iter().map(|p| p.0).sum();
        for part in &mut parts {
            part.0 /= total;
        }
        Normals { parts }
    }

    /// Mean.
    pub fn mean(&self) -> f64 {
        self.parts.iter().map(|(w, n)| w * n.mean).sum()
    }

    /// Standard deviation.
    pub fn sd(&self) -> f64 {
        let mean = self.mean();
        self.parts
            .iter()
            .map(|(w, n)| w * (n.sd * n.sd + (n.mean - mean).powi(2)))
            .sum::<f64>()
            .sqrt()
    }

    /// The value not exceeded with probability `p`, 0 < p < 1.
    pub fn quantile(&self, p: f64) -> f64 {
        let sd = self.sd();
        let excess = |x: f64| {
            let below = |(w, n): &(f64, Normal)| w * normal_cdf((x - n.mean) / n.sd);
            self.parts.iter().map(below).sum::<f64>() - p
        };
        let start = self.mean() + sd * normal_quantile(p);
        let everywhere = (f64::NEG_INFINITY, f64::INFINITY);
        optimise::root_outward(excess, start, FIRST_STEP * sd, everywhere, SETTLED * sd)
            .unwrap_or(f64::NAN)
    }

    /// Mean with a central interval.
    pub fn central(&self, level: Level) -> Interval {
        let tail = level.lower_tail();
        Interval::holding(self.mean(), self.quantile(tail), self.quantile(1.0 - tail))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_of_points_lie_between_them() {
        let points = Weighted::new([(1.0, 3.0), (2.0, 1.0), (1.0, 2.0), (0.0, 99.0)]);
        // Middles of the weights: 1 at 0.25, 2 at 0.625, 3 at 0.875.
        assert_eq!(points.quantile(0.01), 1.0);
        assert!((points.quantile(0.4375) - 1.5).abs() < 1e-15);
        assert_eq!(points.quantile(0.99), 3.0);
    }

    /// Two normals far apart: half of the mixture's weight lies in each, so its quantiles are theirs.
    #[test]
    fn quantiles_of_normals_far_apart_are_their_own() {
        let normal = |mean| Normal { mean, sd: 2.0 };
        let both = Normals::new([(1.0, normal(-1e3)), (1.0, normal(1e3))]);
        let z = normal_quantile(0.95);
        assert!((both.quantile(0.475) - (-1e3 + 2.0 * z)).abs() < 1e-5);
        assert!((both.quantile(0.525) - (1e3 - 2.0 * z)).abs() < 1e-5);
        let one = Normals::new([(0.3, normal(5.0))]);
        assert!((one.quantile(0.975) - (5.0 + 2.0 * normal_quantile(0.975))).abs() < 1e-9);
    }
}
