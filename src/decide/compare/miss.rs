//! The misses of a new session's runs at a perfect setting, of the first and of what counts at the event, for every state
//! of the spreads that the log leaves open.

use super::comparison::Compared;
use crate::calibration::EventRange;
use crate::decide::counted::{self, MissVariance, SumStates};
use crate::setup::{Counts, EventRule, Setup};
use crate::stats::distributions::normal_sf;
use crate::stats::interval::Level;
use crate::stats::lattice::coordinate;
use crate::stats::mixed::pair::{self, Pair};
use crate::stats::mixed::{Mixture, Posterior, RandomIntercept};
use crate::stats::radial::mean_length;
use crate::stats::weighted::Weighted;
use rayon::prelude::*;

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
pub(super) struct PointMiss {
    /// Mean miss of the first run of a new session, averaged over the targets.
    pub first_m: f64,
    /// Mean of what counts at the event, averaged over the targets.
    pub event_m: f64,
    /// Chance that the first run comes to rest too far past the target, averaged over the targets.
    pub too_long: f64,
}

/// Both at one point.
#[derive(Debug, Clone)]
struct Both {
    weight: f64,
    /// The point's index in the lattice.
    index: usize,
    of: [PointMiss; 2],
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

/// A target as one of the two sees it.
#[derive(Debug, Clone, Copy)]
pub(super) struct SizedTarget {
    target_m: f64,
    /// Its part of the average over targets.
    weight: f64,
    /// Size of a run there, that spreads along grow with.
    size: f64,
}

/// What the two are asked at every state of the spreads.
pub(super) struct States<'a> {
    /// Spreads along, both together.
    pub along: &'a Pair,
    /// Spreads across; `None` where the miss counts along only.
    pub across: Option<&'a Pair>,
    /// The targets as each sees them.
    pub targets: [Vec<SizedTarget>; 2],
    /// What counts at the event.
    pub rule: EventRule,
    /// What is too far past the target, m.
    pub long_limit_m: f64,
}

impl States<'_> {
    /// The targets of the event's range as a side sees them.
    pub fn sized(range: EventRange, size: impl Fn(f64) -> f64) -> Vec<SizedTarget> {
        let sized = |(target_m, weight): (f64, f64)| SizedTarget {
            target_m,
            weight,
            size: size(target_m),
        };
        targets(range).into_iter().map(sized).collect()
    }

    /// Weights of all points, which sum to 1.
    fn weights(&self) -> Vec<f64> {
        let of = |(index, p): (usize, &pair::SamplePoint)| {
            p.weight * self.across.map_or(1.0, |pair| pair.points[index].weight)
        };
        let mut all: Vec<f64> = self.along.points.iter().enumerate().map(of).collect();
        let total: f64 = all.iter().sum();
        for weight in &mut all {
            *weight /= total;
        }
        all
    }

    /// The event's runs of the `k`-th at a point: with each target's weight, the variances of their misses in turn.
    fn runs(&self, index: usize, k: usize) -> impl Iterator<Item = (f64, Vec<MissVariance>)> + '_ {
        let runs = self.rule.runs;
        let point = &self.along.points[index];
        let along: Vec<f64> = counted::innovations(point.sigma[k], point.tau[k], runs).collect();
        let across: Vec<f64> = match self.across.map(|pair| &pair.points[index]) {
            Some(point) => counted::innovations(point.sigma[k], point.tau[k], runs).collect(),
            None => vec![0.0; along.len()],
        };
        let spreads = RandomIntercept::at(0.0).growing(point.growth[k]);
        self.targets[k].iter().map(move |t| {
            let (g2, t2) = (spreads.own(t.size), t.target_m * t.target_m);
            let each = along.iter().zip(&across);
            (t.weight, each.map(|(a, c)| (a * g2, c * t2)).collect())
        })
    }

    fn point(&self, index: usize, k: usize) -> PointMiss {
        let mut point = PointMiss {
            first_m: 0.0,
            event_m: 0.0,
            too_long: 0.0,
        };
        for (weight, misses) in self.runs(index, k) {
            let (along, across) = misses[0];
            point.first_m += weight * mean_length(along.sqrt(), across.sqrt());
            point.event_m += weight * counted::mean(&misses, self.rule.counts);
            point.too_long += weight * normal_sf(self.long_limit_m / along.sqrt());
        }
        point
    }

    /// Misses of both at every point.
    pub fn misses(&self) -> Misses {
        let both = |(index, weight): (usize, f64)| Both {
            weight,
            index,
            of: [0, 1].map(|k| self.point(index, k)),
        };
        let weights: Vec<(usize, f64)> = self.weights().into_iter().enumerate().collect();
        Misses(weights.into_par_iter().map(both).collect())
    }

    /// The chance that what counts at the event is within a distance (above 0) for the `k`-th, over all that is left open.
    fn event_chance(&self, k: usize) -> impl Fn(f64) -> f64 + '_ {
        let mut all = Vec::new();
        let mut sums = SumStates::default();
        for (index, point_weight) in self.weights().into_iter().enumerate() {
            for (weight, misses) in self.runs(index, k) {
                match self.rule.counts {
                    Counts::Sum => sums.add(point_weight * weight, misses.into_iter()),
                    Counts::Best => all.push((point_weight * weight, misses)),
                    Counts::Last => {
                        all.push((point_weight * weight, misses[misses.len() - 1..].to_vec()))
                    }
                }
            }
        }
        move |within_m| {
            if all.is_empty() {
                return sums.chance_within(within_m);
            }
            let outside = |(weight, misses): &(f64, Vec<MissVariance>)| {
                let each = misses.iter();
                weight * each.fold(1.0, |all, miss| all * counted::outside(*miss, within_m))
            };
            1.0 - all.iter().map(outside).sum::<f64>()
        }
    }

    /// A distance in whole centimetres within which the better of the two is nine times in ten, and the chance of each
    /// that what counts is within.
    pub fn chances_within(&self, better: usize) -> (f64, [f64; 2]) {
        let chances = [0, 1].map(|k| self.event_chance(k));
        let enough = |cm: u32| chances[better](CENTIMETRE * f64::from(cm)) >= OFTEN;
        let mut high = 1;
        while high < CM_MAX && !enough(high) {
            high *= 2;
        }
        let mut low = high / 2;
        while high - low > 1 {
            let middle = low.midpoint(high);
            match enough(middle) {
                true => high = middle,
                false => low = middle,
            }
        }
        let within_m = CENTIMETRE * f64::from(high);
        (within_m, [0, 1].map(|k| chances[k](within_m)))
    }
}

/// How often the better of the two is to be within the distance at which both are shown.
const OFTEN: f64 = 0.9;
const CENTIMETRE: f64 = 0.01;
/// No distance beyond this is shown, cm.
const CM_MAX: u32 = 1 << 17;

impl Misses {
    /// Medians and central intervals of a number of each, and of the difference.
    pub fn compared(&self, of: impl Fn(&PointMiss) -> f64, level: Level) -> Compared {
        self.compared_at(|_, run| of(run), level)
    }

    fn compared_at(
        &self,
        of: impl Fn((usize, usize), &PointMiss) -> f64,
        level: Level,
    ) -> Compared {
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

    /// Chance that a number of the second's is smaller.
    pub fn chance_second_less(&self, of: fn(&PointMiss) -> f64) -> f64 {
        let less = |b: &&Both| of(&b.of[1]) < of(&b.of[0]);
        let chance: f64 = self.0.iter().filter(less).map(|b| b.weight).sum();
        chance.clamp(0.0, 1.0)
    }

    /// Variance of the logarithm of a number of each: how much of it is open.
    pub fn ln_variances(&self, of: fn(&PointMiss) -> f64) -> [f64; 2] {
        [0, 1].map(|k| {
            let mean: f64 = self.0.iter().map(|b| b.weight * of(&b.of[k]).ln()).sum();
            let square = |b: &Both| b.weight * (of(&b.of[k]).ln() - mean).powi(2);
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
    if rules.is_plain() {
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
    let mean_score = |(index, k): (usize, usize), run: &PointMiss| {
        100.0 * rules.per_cm * run.first_m
            + rules.long_penalty * run.too_long
            + rules.per_s * times.at(index, k)
    };
    Some(misses.compared_at(mean_score, level))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One run counts, along only, misses normal with standard deviations of 6 cm and 4 cm. Φ(1.5) = 0.93319 and
    /// Φ(1.75) = 0.95994 (Abramowitz & Stegun, table 26.1): the better is within 6 cm in 0.866 and within 7 cm in 0.920 of
    /// its runs, the other within 7 cm in 0.757 (Φ(1.1667) = 0.87833, interpolated).
    #[test]
    fn shortest_distance_at_which_the_better_is_nine_times_in_ten() {
        let point = pair::SamplePoint {
            weight: 1.0,
            sigma: [0.06, 0.04],
            tau: [0.0, 0.0],
            growth: [0.0, 0.0],
            common: 0.5,
            contrasts: Vec::new(),
        };
        let target = SizedTarget {
            target_m: 8.0,
            weight: 1.0,
            size: 1.0,
        };
        let states = States {
            along: &Pair {
                points: vec![point],
                shared: 0,
            },
            across: None,
            targets: [vec![target], vec![target]],
            rule: EventRule {
                runs: 1,
                counts: Counts::Best,
                assumed: false,
            },
            long_limit_m: 0.5,
        };
        let (within_m, [other, better]) = states.chances_within(1);
        assert!((within_m - 0.07).abs() < 1e-12, "{within_m}");
        // A chance is within 5e-4.
        assert!((better - 0.91988).abs() < 6e-4, "{better}");
        assert!((other - 0.75666).abs() < 6e-4, "{other}");
        // The other alone would need 10 cm: Φ(1.6667) = 0.952, and at 9 cm Φ(1.5) = 0.933.
        let (within_m, [other, _]) = states.chances_within(0);
        assert!((within_m - 0.10).abs() < 1e-12, "{within_m}");
        assert!((other - 0.90442).abs() < 6e-4, "{other}");
    }
}
