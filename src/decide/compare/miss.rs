//! The miss of a first run at a perfect setting, for every state of the spreads that the log leaves open.

use super::comparison::Compared;
use crate::calibration::EventRange;
use crate::setup::Setup;
use crate::stats::distributions::normal_sf;
use crate::stats::interval::Level;
use crate::stats::lattice::coordinate;
use crate::stats::mixed::pair::{self, Pair};
use crate::stats::mixed::{Mixture, Posterior};
use crate::stats::radial::mean_length;
use crate::stats::weighted::Weighted;

/// Gauss–Legendre nodes and weights on (−1, 1): an average over evenly spaced targets is that over their whole stretch, half
/// a step more at either end, to the square of a step. Source: Abramowitz & Stegun table 25.4.
const GAUSS: [(f64, f64); 5] = [
    (-0.906_179_845_938_664, 0.236_926_885_056_189),
    (-0.538_469_310_105_683, 0.478_628_670_499_366),
    (0.0, 0.568_888_888_888_889),
    (0.538_469_310_105_683, 0.478_628_670_499_366),
    (0.906_179_845_938_664, 0.236_926_885_056_189),
];

/// One of the two at one point. Lengths m.
#[derive(Debug, Clone, Copy)]
pub(super) struct FirstRun {
    /// Mean miss, averaged over the targets.
    pub miss_m: f64,
    /// SD along.
    pub along_m: f64,
}

/// Both at one point.
#[derive(Debug, Clone)]
struct Both {
    weight: f64,
    /// The point's index in the lattice.
    index: usize,
    of: [FirstRun; 2],
}

/// Every point.
pub(super) struct Misses(Vec<Both>);

/// Targets to average over, m, with weights that sum to 1.
pub(super) fn targets(range: EventRange) -> Vec<(f64, f64)> {
    let all = range.targets_m();
    if all.len() <= GAUSS.len() {
        let weight = 1.0 / all.len() as f64;
        return all.into_iter().map(|t| (t, weight)).collect();
    }
    let middle = 0.5 * (all[0] + all[all.len() - 1]);
    let half = 0.5 * all.len() as f64 * range.step_m;
    GAUSS
        .iter()
        .map(|(x, w)| (middle + half * x, 0.5 * w))
        .collect()
}

/// Misses at every point; without `across` they count along only.
pub(super) fn misses(along: &Pair, across: Option<&Pair>, range: EventRange) -> Misses {
    let targets = targets(range);
    let all = along.points.iter().enumerate().map(|(index, p)| {
        let heading: Option<&pair::SamplePoint> = across.map(|pair| &pair.points[index]);
        let of = [0, 1].map(|k| {
            let along_m = p.sigma[k].hypot(p.tau[k]);
            let heading_rad = heading.map_or(0.0, |h| h.sigma[k].hypot(h.tau[k]));
            let miss_m = targets
                .iter()
                .map(|(t, w)| w * mean_length(along_m, heading_rad * t))
                .sum();
            FirstRun { miss_m, along_m }
        });
        Both {
            weight: p.weight * heading.map_or(1.0, |h| h.weight),
            index,
            of,
        }
    });
    let mut all: Vec<Both> = all.collect();
    let total: f64 = all.iter().map(|b| b.weight).sum();
    for both in &mut all {
        both.weight /= total;
    }
    Misses(all)
}

impl Misses {
    /// Medians and central intervals of a number of each, and of the difference.
    pub fn compared(&self, of: impl Fn(&FirstRun) -> f64, level: Level) -> Compared {
        self.compared_at(|_, run| of(run), level)
    }

    fn compared_at(&self, of: impl Fn((usize, usize), &FirstRun) -> f64, level: Level) -> Compared {
        let central = |value: &dyn Fn(&Both) -> f64| {
            Weighted::new(self.0.iter().map(|b| (b.weight, value(b)))).central(level)
        };
        let at = |b: &Both, k: usize| of((b.index, k), &b.of[k]);
        Compared {
            a: central(&|b| at(b, 0)),
            b: central(&|b| at(b, 1)),
            difference: central(&|b| at(b, 1) - at(b, 0)),
        }
    }

    /// Quantiles of the two misses, m.
    pub fn quantiles(&self, shares: &[f64]) -> [Vec<f64>; 2] {
        [0, 1].map(|k| {
            let known = Weighted::new(self.0.iter().map(|b| (b.weight, b.of[k].miss_m)));
            shares.iter().map(|p| known.quantile(*p)).collect()
        })
    }

    /// Chance that the second's miss is smaller.
    pub fn chance_second_less(&self) -> f64 {
        let less = |b: &&Both| b.of[1].miss_m < b.of[0].miss_m;
        let chance: f64 = self.0.iter().filter(less).map(|b| b.weight).sum();
        chance.clamp(0.0, 1.0)
    }

    /// Variance of ln miss of each: how much of it is open.
    pub fn ln_variances(&self) -> [f64; 2] {
        [0, 1].map(|k| {
            let mean: f64 = self.0.iter().map(|b| b.weight * b.of[k].miss_m.ln()).sum();
            let square = |b: &Both| b.weight * (b.of[k].miss_m.ln() - mean).powi(2);
            self.0.iter().map(square).sum()
        })
    }
}

/// Levels at which a run time's distribution is tabulated.
const TIME_LEVELS: usize = 64;
/// Axes of the lattice for the two run times; the pairs use the others.
const TIME_AXIS: usize = 2 * pair::AXES;

/// Mean run times of the two to the middle target, s; nothing where one of them has no time line.
pub(super) struct RunTimes(Option<[RunTime; 2]>);

/// Mean run time of one of the two, s.
struct RunTime {
    known: Mixture,
    /// Quantiles at the middles of [`TIME_LEVELS`] equal shares.
    tabulated: Vec<f64>,
}

impl RunTimes {
    /// Run times at the middle of the event's range from the lines of run time in arc.
    pub fn from_lines(lines: [Option<Posterior>; 2], range: EventRange) -> Self {
        let time = |line: Posterior| {
            let known = line.mean_distribution(&[1.0, range.middle_m()]);
            let share = |i: usize| (i as f64 + 0.5) / TIME_LEVELS as f64;
            RunTime {
                tabulated: (0..TIME_LEVELS).map(|i| known.quantile(share(i))).collect(),
                known,
            }
        };
        match lines {
            [Some(a), Some(b)] => RunTimes(Some([time(a), time(b)])),
            _ => RunTimes(None),
        }
    }

    /// Central intervals of each and of the difference. Run times do not depend on the spreads, so each has the interval
    /// of its own distribution.
    pub fn compared(&self, level: Level) -> Option<Compared> {
        let [a, b] = self.0.as_ref()?;
        let differences =
            (a.tabulated.iter()).flat_map(|x| b.tabulated.iter().map(move |y| (1.0, y - x)));
        Some(Compared {
            a: a.known.central(level),
            b: b.known.central(level),
            difference: Weighted::new(differences).central(level),
        })
    }

    /// A run time of the `k`-th at a point of the lattice, s; 0 where there is none.
    fn at(&self, index: usize, k: usize) -> f64 {
        self.0.as_ref().map_or(0.0, |times| {
            let share = coordinate(index, TIME_AXIS + k);
            times[k].tabulated[(share * TIME_LEVELS as f64) as usize]
        })
    }
}

/// Mean score of a first run at a perfect setting; `None` where the score is just the miss, or counts a run time that is
/// missing.
pub(super) fn score(
    misses: &Misses,
    times: &RunTimes,
    setup: &Setup,
    level: Level,
    warnings: &mut Vec<String>,
) -> Option<Compared> {
    let rules = &setup.score;
    if crate::decide::score::is_plain(rules) {
        return None;
    }
    if rules.per_s > 0.0 && times.0.is_none() {
        warnings.push(
            "the score counts seconds, but one of the two has fewer than 6 timed runs: no score is compared".to_string(),
        );
        return None;
    }
    if rules.touch_penalty > 0.0 {
        warnings.push("what touching the obstacle costs is not in the score here".to_string());
    }
    let mean_score = |(index, k): (usize, usize), run: &FirstRun| {
        let too_long = normal_sf(rules.long_limit_m / run.along_m);
        100.0 * rules.per_cm * run.miss_m
            + rules.long_penalty * too_long
            + rules.per_s * times.at(index, k)
    };
    Some(misses.compared_at(mean_score, level))
}
