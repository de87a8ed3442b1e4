//! A mixture of Student t distributions with one number of degrees of freedom.

use crate::stats::distributions::{TTable, normal_quantile};
use crate::stats::interval::{Interval, Level};
use std::sync::Arc;

/// Parts lighter than this change no probability anyone reads.
pub(super) const WEIGHT_MIN: f64 = 1e-12;
/// Neighbours whose centre and scale agree to this part of a scale are one part.
const MERGE_WITHIN: f64 = 1e-4;
/// A quantile is settled when a step of Halley's moves it by less than this part of a scale: the next would move it by
/// about the cube of that.
const SETTLED: f64 = 1e-3;
const STEPS_MAX: usize = 200;

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
        let mut parts: Vec<Part> = Vec::with_capacity(all.size_hint().0);
        for (weight, centre, scale) in all {
            if weight < WEIGHT_MIN {
                continue;
            }
            if let Some(last) = parts.last_mut()
                && (centre - last.centre).abs() <= MERGE_WITHIN * scale
                && (scale - last.scale).abs() <= MERGE_WITHIN * scale
            {
                let sum = last.weight + weight;
                last.centre += (centre - last.centre) * (weight / sum);
                last.scale += (scale - last.scale) * (weight / sum);
                last.weight = sum;
                continue;
            }
            parts.push(Part {
                weight,
                centre,
                scale: scale.max(f64::MIN_POSITIVE),
            });
        }
        let total: f64 = parts.iter().map(|p| p.weight).sum();
        for part in &mut parts {
            part.weight /= total;
        }
        Mixture { nu, parts, table }
    }

    /// Degrees of freedom of every part.
    pub fn nu(&self) -> f64 {
        self.nu
    }

    /// P(Y ≤ y).
    pub fn cdf(&self, y: f64) -> f64 {
        self.parts
            .iter()
            .map(|p| p.weight * self.table.cdf((y - p.centre) / p.scale))
            .sum()
    }

    /// P(Y ≤ y) and the density at y.
    pub fn cdf_and_pdf(&self, y: f64) -> (f64, f64) {
        let [cdf, pdf, _] = self.cdf_and_slopes(y);
        (cdf, pdf)
    }

    /// The same with the slope of the density.
    fn cdf_and_slopes(&self, y: f64) -> [f64; 3] {
        let (mut cdf, mut pdf, mut slope) = (0.0, 0.0, 0.0);
        for p in &self.parts {
            let by = 1.0 / p.scale;
            let [below, density, rise] = self.table.cdf_and_slopes((y - p.centre) * by);
            cdf += p.weight * below;
            pdf += p.weight * density * by;
            slope += p.weight * rise * by * by;
        }
        [cdf, pdf, slope]
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
        self.parts
            .iter()
            .map(|p| p.weight * (p.scale * p.scale + (p.centre - centre).powi(2)))
            .sum::<f64>()
            .sqrt()
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
        let mut y = self.centre() + scale * normal_quantile(p);
        // Bracket by doubling, then Halley's steps kept inside it.
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        let mut reach = scale;
        for _ in 0..STEPS_MAX {
            let [cdf, density, slope] = self.cdf_and_slopes(y);
            let excess = cdf - p;
            if excess > 0.0 {
                high = y;
            } else {
                low = y;
            }
            let newton = excess / density;
            let bend = 0.5 * newton * slope / density;
            // Where the density bends much it is Newton's.
            let step = if bend.abs() < 0.5 {
                newton / (1.0 - bend)
            } else {
                newton
            };
            let mut next = y - step;
            if step.abs() <= SETTLED * scale {
                return next;
            }
            if !(next > low && next < high) {
                next = if low == f64::NEG_INFINITY {
                    reach *= 2.0;
                    high - reach
                } else if high == f64::INFINITY {
                    reach *= 2.0;
                    low + reach
                } else {
                    0.5 * (low + high)
                };
                if next == low || next == high {
                    return next;
                }
            }
            y = next;
        }
        y
    }

    /// Median and central interval.
    pub fn central(&self, level: Level) -> Interval {
        Interval::central(level, |p| self.quantile(p))
    }
}
