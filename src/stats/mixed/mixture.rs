//! A mixture of Student t distributions with one number of degrees of freedom.

use crate::stats::distributions::normal_quantile;
use crate::stats::interval::{Interval, Level};
use crate::stats::optimise;
use crate::stats::t_table::TTable;
use std::sync::Arc;

/// Parts lighter than this change no probability anyone reads.
pub(super) const WEIGHT_MIN: f64 = 1e-12;
/// A quantile is looked for from the normal one on, in steps of this part of a scale at first, and found to this part.
const FIRST_STEP: f64 = 0.1;
const QUANTILE_WITHIN: f64 = 1e-9;

#[derive(Debug, Clone, Copy)]
struct Part {
    weight: f64,
    centre: f64,
    scale: f64,
}

/// Σ w_k t_ν((y − c_k)/s_k).
#[derive(Debug, Clone)]
pub struct Mixture {
    nu: f64,
    parts: Vec<Part>,
    table: Arc<TTable>,
}

impl Mixture {
    /// From (weight, centre, scale) of each part; weights sum to 1, scales are ≥ 0 and not all 0.
    pub(super) fn new(
        nu: f64,
        table: Arc<TTable>,
        all: impl Iterator<Item = (f64, f64, f64)>,
    ) -> Self {
        let heavy = all.filter(|(weight, ..)| *weight >= WEIGHT_MIN);
        let part = |(weight, centre, scale): (f64, f64, f64)| Part {
            weight,
            centre,
            scale: scale.max(f64::MIN_POSITIVE),
        };
        let mut parts: Vec<Part> = heavy.map(part).collect();
        let total: f64 = parts.iter().map(|p| p.weight).sum();
        parts.iter_mut().for_each(|part| part.weight /= total);
        Mixture { nu, parts, table }
    }

    /// Degrees of freedom of every part.
    pub fn nu(&self) -> f64 {
        self.nu
    }

    /// P(Y ≤ y).
    pub fn cdf(&self, y: f64) -> f64 {
        let below = |p: &Part| p.weight * self.table.cdf((y - p.centre) / p.scale);
        self.parts.iter().map(below).sum()
    }

    /// Chance of a value at least as far out as y, on either side: twice the smaller tail. Each tail is summed by itself, so
    /// that a far upper one keeps its digits as a lower one does; both are a half and some rounding at the centre.
    pub fn two_sided_p(&self, y: f64) -> f64 {
        let above = |p: &Part| p.weight * self.table.cdf((p.centre - y) / p.scale);
        let above: f64 = self.parts.iter().map(above).sum();
        (2.0 * self.cdf(y).min(above)).min(1.0)
    }

    /// P(Y ≤ y) and the density at y.
    pub fn cdf_and_pdf(&self, y: f64) -> (f64, f64) {
        let (mut cdf, mut pdf) = (0.0, 0.0);
        for p in &self.parts {
            let [below, density, _] = self.table.cdf_and_slopes((y - p.centre) / p.scale);
            cdf += p.weight * below;
            pdf += p.weight * density / p.scale;
        }
        (cdf, pdf)
    }

    /// Mean of the centres: the mean wherever it exists (ν > 1).
    pub fn centre(&self) -> f64 {
        self.parts.iter().map(|p| p.weight * p.centre).sum()
    }

    /// Mean of the parts' scales.
    pub fn mean_scale(&self) -> f64 {
        self.parts.iter().map(|p| p.weight * p.scale).sum()
    }

    /// A typical scale: root mean square of the parts' scales and of their centres about the mean.
    pub fn scale(&self) -> f64 {
        let centre = self.centre();
        let square = |p: &Part| p.weight * (p.scale * p.scale + (p.centre - centre).powi(2));
        self.parts.iter().map(square).sum::<f64>().sqrt()
    }

    /// The value not exceeded with probability `p`; ±∞ at 0 and 1.
    pub fn quantile(&self, p: f64) -> f64 {
        if p <= 0.0 {
            return f64::NEG_INFINITY;
        }
        if p >= 1.0 {
            return f64::INFINITY;
        }
        let scale = self.scale();
        let start = self.centre() + scale * normal_quantile(p);
        let (step, within) = (FIRST_STEP * scale, QUANTILE_WITHIN * scale);
        let everywhere = (f64::NEG_INFINITY, f64::INFINITY);
        optimise::root_outward(|y| self.cdf(y) - p, start, step, everywhere, within)
            .unwrap_or(f64::NAN)
    }

    /// Median and central interval.
    pub fn central(&self, level: Level) -> Interval {
        Interval::central(level, |p| self.quantile(p))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::distributions::t_quantile;

    #[test]
    fn quantiles_give_their_probability_back() {
        for nu in [1.0, 4.0, 200.0] {
            let parts = [(0.2, -3.0, 0.01), (0.5, 0.0, 1.0), (0.3, 2.0, 4.0)];
            let table = TTable::shared(nu);
            let mixture = Mixture::new(nu, Arc::clone(&table), parts.into_iter());
            for p in [1e-6, 0.025, 0.2, 0.5, 0.9, 0.999_999] {
                let y = mixture.quantile(p);
                assert!((mixture.cdf(y) - p).abs() < 1e-7, "{nu} {p}");
            }
            let one = Mixture::new(nu, table, [(1.0, 5.0, 2.0)].into_iter());
            for p in [0.025, 0.5, 0.99] {
                let wanted = 5.0 + 2.0 * t_quantile(p, nu);
                assert!((one.quantile(p) - wanted).abs() < 1e-7, "{nu} {p}");
            }
        }
    }
}
