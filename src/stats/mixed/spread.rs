//! What is known of the spreads σ and τ themselves: shortest intervals on their own scale.

use super::between;
use super::posterior::Posterior;
use crate::stats::cubic;
use crate::stats::distributions::{chi2_pdf, chi2_quantile, chi2_sf, normal_cdf, normal_quantile};
use crate::stats::interval::{Interval, Level};
use crate::stats::optimise;

/// Nodes lighter than this change no end of an interval that anyone reads.
const WEIGHT_MIN: f64 = 1e-8;
/// Points at which the distribution function is tabulated, evenly in its logarithm.
const POINTS: usize = 128;

/// Tails of χ² beyond this are not tabulated.
const TAIL_TABULATED: f64 = 1e-9;

/// A distribution function of a positive number, tabulated as the number's logarithm against the normal score of its
/// probability: nearly a straight line, carried by cubics with slopes from the neighbours.
struct Tabulated {
    z: Vec<f64>,
    ln_x: Vec<f64>,
}

impl Tabulated {
    /// Tabulates `cdf` of a logarithm about a positive number that is somewhere in the middle; `None` where it does not rise.
    fn around(centre: f64, cdf: impl Fn(f64) -> f64) -> Option<Self> {
        let (mut low, mut high) = (centre, centre);
        while cdf(low.ln()) > 1e-4 && low > centre * 1e-6 {
            low /= 1.5;
        }
        while cdf(high.ln()) < 1.0 - 1e-4 && high < centre * 1e6 {
            high *= 1.5;
        }
        let table = Self::new(low, high, cdf);
        (table.z.len() >= 2).then_some(table)
    }

    /// Tabulates `cdf` of a logarithm between two positive numbers where it is about 0 and about 1.
    fn new(low: f64, high: f64, cdf: impl Fn(f64) -> f64) -> Self {
        let (from, to) = (low.ln(), high.ln());
        let mut table = Tabulated {
            z: Vec::with_capacity(POINTS),
            ln_x: Vec::with_capacity(POINTS),
        };
        for i in 0..POINTS {
            let ln_x = from + (to - from) * i as f64 / (POINTS - 1) as f64;
            let z = normal_quantile(cdf(ln_x));
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
        let ln_x = cubic::through(
            (self.z[i], self.z[i + 1]),
            (self.ln_x[i], self.ln_x[i + 1]),
            (self.slope(i), self.slope(i + 1)),
            z,
        );
        ln_x.0.exp()
    }

    /// The shortest interval that holds `level`.
    fn shortest(&self, level: f64) -> (f64, f64) {
        let width = |p: f64| self.quantile(p + level) - self.quantile(p);
        let p =
            optimise::minimum(width, 0.0, (1.0 - level) * (1.0 - 1e-6), 1e-7).map_or(0.0, |m| m.x);
        (self.quantile(p), self.quantile(p + level))
    }
}

/// Upper tail of χ² over the logarithm of its argument, on cubics with exact slopes: a mixture over the ratio asks for
/// it thousands of times. Within 2e-5 (tests below).
struct UpperTail {
    from: f64,
    step: f64,
    /// Tail and its slope at each point.
    points: Vec<(f64, f64)>,
}

impl UpperTail {
    fn new(df: f64) -> Self {
        let (from, to) = (
            chi2_quantile(TAIL_TABULATED, df).ln(),
            chi2_quantile(1.0 - TAIL_TABULATED, df).ln(),
        );
        let step = (to - from) / (POINTS - 1) as f64;
        let point = |i: usize| {
            let x = (from + step * i as f64).exp();
            (chi2_sf(x, df), -x * chi2_pdf(x, df) * step)
        };
        UpperTail {
            from,
            step,
            points: (0..POINTS).map(point).collect(),
        }
    }

    /// P(χ² > e^ln_x).
    fn at(&self, ln_x: f64) -> f64 {
        let place = (ln_x - self.from) / self.step;
        if place.is_nan() || place <= 0.0 {
            return 1.0;
        }
        let i = place as usize;
        let Some(&[(f0, d0), (f1, d1)]) = self.points.get(i..i + 2) else {
            return 0.0;
        };
        cubic::through((0.0, 1.0), (f0, f1), (d0, d1), place - i as f64).0
    }
}

impl Posterior {
    /// Distribution of σ, where σ²| r is RSS_r over a χ² with ν degrees of freedom: RSS_r hardly changes from node to
    /// node, so a sum over them is smooth.
    fn within(&self) -> Option<Tabulated> {
        let heavy = || self.nodes().iter().filter(|n| n.weight >= WEIGHT_MIN);
        let ln_rss: Vec<(f64, f64)> = heavy().map(|n| (n.weight, n.rss.ln())).collect();
        let total: f64 = heavy().map(|n| n.weight).sum();
        let tail = UpperTail::new(self.nu());
        Tabulated::around(self.centre(|_| 1.0), |ln_x| {
            let of = |&(w, ln_rss): &(f64, f64)| w * tail.at(ln_rss - 2.0 * ln_x);
            ln_rss.iter().map(of).sum::<f64>() / total
        })
    }

    /// About where scale_r·σ lies.
    fn centre(&self, scale: impl Fn(f64) -> f64) -> f64 {
        let heavy = self.nodes().iter().filter(|n| n.weight >= WEIGHT_MIN);
        let (sum, total) = heavy.fold((0.0, 0.0), |(sum, total), n| {
            let root = (n.rss / self.nu()).sqrt();
            (sum + n.weight * root * scale(n.r), total + n.weight)
        });
        sum / total
    }

    /// Interval of σ: the shortest, around the estimate given.
    pub fn within_interval(&self, estimate: f64, level: Level) -> Interval {
        Self::around(estimate, self.within(), level)
    }

    /// Interval of τ: the shortest, so it may start at 0, around the estimate given.
    pub fn between_interval(&self, estimate: f64, level: Level) -> Interval {
        let known =
            between::distribution(self).and_then(|cdf| Tabulated::around(self.centre(|r| r), cdf));
        Self::around(estimate, known, level)
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

    #[test]
    fn the_tabulated_tail_is_that_of_chi_squared() {
        for df in [1.0, 2.0, 7.0, 60.0, 3000.0] {
            let tail = UpperTail::new(df);
            let worst = (-600..600)
                .map(|i| df * (f64::from(i) * 0.01).exp())
                .map(|x: f64| (tail.at(x.ln()) - chi2_sf(x, df)).abs())
                .fold(0.0, f64::max);
            assert!(worst < 2e-5, "df {df}: {worst:e}");
        }
    }

    /// The table against the distribution it was made from: χ with 7 degrees of freedom, root of a χ² quantile.
    #[test]
    fn the_table_gives_the_quantiles_of_its_distribution() {
        use crate::stats::distributions::chi2_quantile;
        let table = Tabulated::new(0.3, 6.0, |ln_x| 1.0 - chi2_sf((2.0 * ln_x).exp(), 7.0));
        for p in [0.001, 0.02, 0.3, 0.5, 0.9, 0.97, 0.999] {
            let exact = chi2_quantile(p, 7.0).sqrt();
            assert!((table.quantile(p) / exact - 1.0).abs() < 1e-4, "{p}");
        }
    }
}
