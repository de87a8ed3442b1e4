//! What is known of the spreads σ and τ themselves: shortest intervals on their own scale.

use super::between;
use super::posterior::{Node, Posterior};
use crate::stats::cubic;
use crate::stats::distributions::{chi2_pdf, chi2_quantile, normal_cdf, normal_quantile};
use crate::stats::interval::{Interval, Level};
use crate::stats::optimise;

/// Nodes lighter than this change no end of an interval that anyone reads.
const WEIGHT_MIN: f64 = 1e-8;

/// Points for each standard deviation of the logarithm at which its distribution function is tabulated, out to where less
/// than this is left or a number is this many times the middle.
const PER_SD: f64 = 6.0;
const TAIL_LEFT: f64 = 1e-4;
const FARTHEST: f64 = 1e6;

/// Points of the tail of χ²; tails beyond this are not tabulated.
const TAIL_POINTS: usize = 128;
const TAIL_TABULATED: f64 = 1e-9;

/// A distribution function of a positive number, tabulated as the number's logarithm against the normal score of its
/// probability: nearly a straight line, carried by cubics with slopes from the neighbours.
struct Tabulated {
    z: Vec<f64>,
    ln_x: Vec<f64>,
}

impl Tabulated {
    /// Tabulates `cdf` of a logarithm about one somewhere in the middle, `sd` about its standard deviation; `None` where it
    /// does not rise.
    fn around(ln_centre: f64, sd: f64, cdf: impl Fn(f64) -> f64) -> Option<Self> {
        let (step, reach) = (sd / PER_SD, FARTHEST.ln());
        let at = |i: i32| {
            let ln_x = ln_centre + f64::from(i) * step;
            (ln_x, cdf(ln_x))
        };
        let near = |i: &i32| f64::from(*i) * step < reach;
        let mut points = Vec::new();
        for i in (0..).take_while(near) {
            let point = at(-i);
            points.push(point);
            if point.1 <= TAIL_LEFT {
                break;
            }
        }
        points.reverse();
        for i in (1..).take_while(near) {
            let point = at(i);
            points.push(point);
            if point.1 >= 1.0 - TAIL_LEFT {
                break;
            }
        }
        let table = Self::of(points);
        (table.z.len() >= 2).then_some(table)
    }

    /// From logarithms and the probabilities below them, of which those that do not rise are passed over.
    fn of(points: Vec<(f64, f64)>) -> Self {
        let mut table = Tabulated {
            z: Vec::with_capacity(points.len()),
            ln_x: Vec::with_capacity(points.len()),
        };
        for (ln_x, below) in points {
            let z = normal_quantile(below);
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
        let step = (to - from) / (TAIL_POINTS - 1) as f64;
        // Density of the logarithm, its slope and curvature, by steps; the tail is their sum from above, a quintic through
        // those of both ends.
        let at = |i: usize| {
            let x = (from + step * i as f64).exp();
            let density = x * chi2_pdf(x, df) * step;
            let slope = 0.5 * (df - x) * step;
            let curvature = slope * slope - 0.5 * x * step * step;
            [density, density * slope, density * curvature]
        };
        let mut tail = TAIL_TABULATED;
        let mut above = at(TAIL_POINTS - 1);
        let mut points = vec![(tail, -above[0]); TAIL_POINTS];
        for i in (0..TAIL_POINTS - 1).rev() {
            let here = at(i);
            let [sum, fall, sum_2] = [here[0] + above[0], here[1] - above[1], here[2] + above[2]];
            tail += 0.5 * sum + 0.1 * fall + sum_2 / 120.0;
            points[i] = (tail, -here[0]);
            above = here;
        }
        UpperTail { from, step, points }
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
        let heavy = self.nodes().iter().filter(|n| n.weight >= WEIGHT_MIN);
        let ln_rss: Vec<(f64, f64)> = heavy.map(|n| (n.weight, n.rss.ln())).collect();
        let total: f64 = ln_rss.iter().map(|n| n.0).sum();
        let tail = UpperTail::new(self.nu());
        let (ln_centre, sd) = self.ln_middle(|_| 1.0)?;
        Tabulated::around(ln_centre, sd, |ln_x| {
            let of = |&(w, ln_rss): &(f64, f64)| w * tail.at(ln_rss - 2.0 * ln_x);
            ln_rss.iter().map(of).sum::<f64>() / total
        })
    }

    /// About the middle of ln(scale_r·σ), and its standard deviation.
    fn ln_middle(&self, scale: impl Fn(f64) -> f64) -> Option<(f64, f64)> {
        let heavy = || self.nodes().iter().filter(|n| n.weight >= WEIGHT_MIN);
        let total: f64 = heavy().map(|n| n.weight).sum();
        let of = |n: &Node| {
            (
                0.5 * (n.rss / self.nu()).ln() + scale(n.r).ln(),
                n.weight / total,
            )
        };
        let mean: f64 = heavy().map(of).map(|(ln, w)| w * ln).sum();
        let squares: f64 = heavy().map(of).map(|(ln, w)| w * (ln - mean).powi(2)).sum();
        // ln χ² has a variance of about 2/ν.
        let sd = (squares + 0.5 / self.nu()).sqrt();
        (mean.is_finite() && sd.is_finite()).then_some((mean, sd))
    }

    /// Interval of σ: the shortest, around the estimate given.
    pub fn within_interval(&self, estimate: f64, level: Level) -> Interval {
        Self::around(estimate, self.within(), level)
    }

    /// Interval of τ: the shortest, so it may start at 0, around the estimate given.
    pub fn between_interval(&self, estimate: f64, level: Level) -> Interval {
        let known = between::distribution(self).and_then(|cdf| {
            let (ln_centre, sd) = self.ln_middle(|r| r)?;
            Tabulated::around(ln_centre, sd, cdf)
        });
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
    use crate::stats::distributions::chi2_sf;

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
        let below = |ln_x: f64| 1.0 - chi2_sf((2.0 * ln_x).exp(), 7.0);
        let table = Tabulated::around(0.9, 0.27, below).unwrap();
        for p in [0.001, 0.02, 0.3, 0.5, 0.9, 0.97, 0.999] {
            let exact = chi2_quantile(p, 7.0).sqrt();
            assert!((table.quantile(p) / exact - 1.0).abs() < 1e-4, "{p}");
        }
    }
}
