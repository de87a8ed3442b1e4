//! The chance of a miss within a distance, averaged over what is not known of the spreads and over the targets.

use super::way::{Spot, State, Way};
use crate::setup::Counts;
use crate::stats::radial;

/// The states of each direction are binned into this many by their variance; ten times as many move no chance by more
/// than 0.001 (checked below).
const BINS: usize = 12;
/// For later runs of a day, whose variance a first run's does not fix: each bin in this many by the variance after correcting.
const LEFT_BINS: usize = 4;
/// For the sum of several misses, which needs a whole distribution for each pair of states.
const BINS_OF_SUM: usize = 6;
/// Cells of that distribution for each run, up to the limit.
const CELLS: usize = 24;

/// One target as a place on both lines.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// The target.
    pub target_m: f64,
    /// On the travel line.
    pub along: Spot,
    /// On the heading line.
    pub across: Spot,
}

/// What is known in both directions, and how finely dial and aim mark can be set.
#[derive(Debug, Clone)]
pub struct Known {
    /// Along, m.
    pub along: Way,
    /// Across, rad; `None` where only the distance along counts.
    pub across: Option<Way>,
    /// Variance of the dial's rounding, m².
    pub dial_variance: f64,
    /// Variance of the aim mark's rounding, m².
    pub aim_variance: f64,
}

/// A state of the spreads that stands for many alike: its weight, and the variance of the miss of each run of a day.
#[derive(Debug, Clone)]
struct Atom {
    weight: f64,
    by_run: Vec<f64>,
}

/// The misses of the first runs of a new day at one target, run k + 1 made after k runs were corrected for.
#[derive(Debug, Clone)]
pub struct Day {
    along: Vec<Atom>,
    across: Vec<Atom>,
}

impl Known {
    /// The first `runs` runs of a new day at a place.
    pub fn day(&self, place: Place, runs: usize) -> Day {
        self.day_of(place, runs, BINS)
    }

    fn day_of(&self, place: Place, runs: usize, bins: usize) -> Day {
        let t2 = place.target_m * place.target_m;
        let exact = || {
            vec![Atom {
                weight: 1.0,
                by_run: vec![0.0; runs],
            }]
        };
        Day {
            along: atoms(
                self.along.states(place.along),
                1.0,
                self.dial_variance,
                runs,
                bins,
            ),
            across: self.across.as_ref().map_or_else(exact, |way| {
                atoms(way.states(place.across), t2, self.aim_variance, runs, bins)
            }),
        }
    }

    /// Chance that what counts of an event's runs at a place is within: the best, the last, or the mean of all
    /// (a sum of n misses counts as within n times the distance), with `correct` used between the runs.
    ///
    /// Given the spreads, what each run misses by after correcting for those before it is independent of them: these
    /// are the innovations of the day's runs.
    pub fn event_chance(&self, place: Place, runs: usize, counts: Counts, within_m: f64) -> f64 {
        match counts {
            Counts::Best => self.day(place, runs).mean(|a, c| {
                1.0 - (0..runs).fold(1.0, |all_miss, k| {
                    all_miss * (1.0 - radial::chance_within(within_m, a[k], c[k]))
                })
            }),
            Counts::Last => self.day(place, runs).chance(runs - 1, within_m),
            Counts::Sum => self.day_of(place, runs, BINS_OF_SUM).mean(|a, c| {
                let misses: Vec<(f64, f64)> = a.iter().copied().zip(c.iter().copied()).collect();
                sum_within(&misses, within_m)
            }),
        }
    }
}

impl Day {
    /// Chance that run `run` (from 0) stops within a distance.
    pub fn chance(&self, run: usize, within_m: f64) -> f64 {
        self.mean(|a, c| radial::chance_within(within_m, a[run], c[run]))
    }

    fn mean(&self, f: impl Fn(&[f64], &[f64]) -> f64) -> f64 {
        let mut sum = 0.0;
        for a in &self.along {
            for c in &self.across {
                sum += a.weight * c.weight * f(&a.by_run, &c.by_run);
            }
        }
        sum.clamp(0.0, 1.0)
    }
}

/// Gathers states by the logarithm of their first run's variance and by the part of it that is left for the last run;
/// weights and mean variances are kept. `runs` ≥ 1.
fn atoms(
    states: impl Iterator<Item = State>,
    lever2: f64,
    step_variance: f64,
    runs: usize,
    bins: usize,
) -> Vec<Atom> {
    let variance = |s: &State, k: usize| {
        let left = s.shared.after(k as f64);
        (s.sigma2 * (left + 1.0)).mul_add(lever2, step_variance)
    };
    let last = runs - 1;
    let all: Vec<(State, [f64; 2])> = states
        .map(|s| {
            let (first, left) = (variance(&s, 0).max(f64::MIN_POSITIVE), variance(&s, last));
            (s, [first.ln(), left / first])
        })
        .collect();
    let spans = [0, 1].map(|k| {
        all.iter()
            .map(|(_, at)| at[k])
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| {
                (l.min(x), h.max(x))
            })
    });
    let bin = |at: f64, (low, high): (f64, f64), bins: usize| {
        if high > low {
            (((at - low) / (high - low) * bins as f64) as usize).min(bins - 1)
        } else {
            0
        }
    };
    let mut out = vec![
        Atom {
            weight: 0.0,
            by_run: vec![0.0; runs],
        };
        bins * LEFT_BINS
    ];
    for (state, place) in &all {
        let at = bin(place[0], spans[0], bins) * LEFT_BINS + bin(place[1], spans[1], LEFT_BINS);
        out[at].weight += state.weight;
        for (k, sum) in out[at].by_run.iter_mut().enumerate() {
            *sum += state.weight * variance(state, k);
        }
    }
    out.retain(|a| a.weight > 0.0);
    for atom in &mut out {
        for v in &mut atom.by_run {
            *v /= atom.weight;
        }
    }
    out
}

/// P(mean of independent misses ≤ `within_m`), by adding up the misses' distributions on a grid of cells.
fn sum_within(misses: &[(f64, f64)], within_m: f64) -> f64 {
    let n = misses.len();
    let cells = CELLS * n;
    let width = within_m / CELLS as f64;
    let mut total = vec![1.0];
    for &(a, c) in misses {
        let mut below = 0.0;
        let masses: Vec<f64> = (1..=cells)
            .map(|g| {
                let upto = radial::chance_within(g as f64 * width, a, c);
                let mass = upto - below;
                below = upto;
                mass
            })
            .collect();
        let mut next = vec![0.0; (total.len() + cells - 1).min(cells)];
        for (i, p) in total.iter().enumerate() {
            for (g, mass) in masses.iter().enumerate().take(next.len() - i) {
                next[i + g] += p * mass;
            }
        }
        total = next;
    }
    // The sum of n cell middles, in half cells, against twice the number of cells; on the limit, half counts.
    total
        .iter()
        .enumerate()
        .map(|(i, p)| match (2 * i + n).cmp(&(2 * cells)) {
            std::cmp::Ordering::Less => *p,
            std::cmp::Ordering::Equal => 0.5 * p,
            std::cmp::Ordering::Greater => 0.0,
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::mixed::{Node, Posterior, Row};

    #[test]
    fn the_sum_of_one_miss_is_the_miss() {
        for (a, c) in [(1.0, 1.0), (4.0, 0.3)] {
            let one = sum_within(&[(a, c)], 1.4);
            assert!(
                (one - radial::chance_within(1.4, a, c)).abs() < 1e-12,
                "{one}"
            );
        }
    }

    /// Two along-only misses of sd 1: |X| + |Y| ≤ s is a square turned by 45°, so its chance is (2Φ(s/√2) − 1)².
    #[test]
    fn the_sum_of_two_misses_is_a_turned_square() {
        use crate::stats::distributions::normal_cdf;
        for within in [0.5, 1.0, 2.0f64] {
            let exact = (2.0 * normal_cdf(2.0 * within / 2f64.sqrt()) - 1.0).powi(2);
            let ours = sum_within(&[(1.0, 0.0), (1.0, 0.0)], within);
            assert!((ours - exact).abs() < 1e-3, "{ours} for {exact}");
        }
    }

    /// Two states of the ratio, a line with h = 0.3 at z = 0.
    fn posterior(nu: f64) -> Posterior {
        let node = |r: f64, weight: f64, rss: f64| Node {
            r,
            growth: 0.0,
            weight,
            rss,
            beta: vec![0.0, 0.0],
            covariance: vec![0.3, 0.0, 0.5],
        };
        Posterior::from_nodes(nu, vec![node(0.2, 0.4, 1.2 * nu), node(1.3, 0.6, nu)])
    }

    /// Along alone, a miss integrated over σ² is Student's t about 0 (Box & Tiao 1973 ch. 2): the bins and the points of
    /// the quadrature against the mixture of t that predictions use.
    #[test]
    fn along_alone_the_chance_is_that_of_students_t() {
        for nu in [5.0, 20.0, 60.0] {
            let posterior = posterior(nu);
            let known = Known {
                along: Way::new(&posterior, &[1.0, 0.0], &[0.0, 1.0]),
                across: None,
                dial_variance: 0.0,
                aim_variance: 0.0,
            };
            let exact = posterior.new_group_distribution(&Row::of_mean_size(vec![1.0, 0.0]));
            let day = known.day(PLACE, 1);
            for within in [0.3, 1.0, 2.0, 4.0] {
                let wanted = exact.cdf(within) - exact.cdf(-within);
                let ours = day.chance(0, within);
                assert!(
                    (ours - wanted).abs() < 2e-3,
                    "ν {nu}, within {within}: {ours} for {wanted}"
                );
            }
        }
    }

    #[test]
    fn more_bins_change_nothing_that_is_shown() {
        let posterior = posterior(12.0);
        let way = Way::new(&posterior, &[1.0, 0.0], &[0.0, 1.0]);
        let known = Known {
            along: way.clone(),
            across: Some(way),
            dial_variance: 0.01,
            aim_variance: 0.02,
        };
        let many = known.day_of(PLACE, 2, 10 * BINS);
        for within in [0.5, 1.5, 3.0] {
            for run in [0, 1] {
                let few = known.day(PLACE, run + 1);
                let gap = few.chance(run, within) - many.chance(run, within);
                assert!(gap.abs() < 1e-3, "within {within}, run {run}: {gap}");
            }
        }
    }

    const MIDDLE: Spot = Spot { z: 0.0, size: 1.0 };

    const PLACE: Place = Place {
        target_m: 1.0,
        along: MIDDLE,
        across: MIDDLE,
    };
}
