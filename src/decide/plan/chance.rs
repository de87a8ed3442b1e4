//! The chance of a miss within a distance, averaged over what is not known of the spreads and over the targets.

use super::way::{Spot, State, Way};
use crate::decide::counted::{self, SumStates};
use crate::setup::{Counts, EventRule};
use crate::stats::radial::{PlacedVariance, chance_outside};
use std::ops::Range;

/// The states of each direction are binned into this many by their variance; ten times as many move no chance by more
/// than 0.001 (checked below).
const BINS: usize = 12;
/// For later runs of a day, whose variance a first run's does not fix: each bin in this many by the variance after correcting.
const LEFT_BINS: usize = 4;

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
    /// Which bin of the first run's variance it lies in.
    bin: usize,
    by_run: Vec<f64>,
}

/// The misses of the first runs of a new day at one target, run k + 1 made after k runs were corrected for.
///
/// Given the spreads, what each run misses by after correcting for those before it is independent of them: these are the
/// innovations of the day's runs.
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
                bin: 0,
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
}

/// Chance that what counts of an event's runs is within, a mean over days (one for each target): the best, the last, or
/// the mean of all (a sum of n misses counts as within n times the distance), with `correct` used between the runs.
///
/// * `days` — of `rule.runs` runs each; `within_m` — above 0
pub fn event_chance(days: &[Day], rule: EventRule, within_m: f64) -> f64 {
    let runs = rule.runs as usize;
    let mean = |outside: &dyn Fn(&Day) -> f64| {
        1.0 - days.iter().map(outside).sum::<f64>() / days.len() as f64
    };
    match rule.counts {
        Counts::Best => mean(&|day| day.all_outside(0..runs, within_m)),
        Counts::Last => mean(&|day| day.all_outside(runs - 1..runs, within_m)),
        Counts::Sum => {
            let mut states = SumStates::default();
            for day in days {
                day.for_each(|weight, a, c| {
                    let misses = a.by_run.iter().copied().zip(c.by_run.iter().copied());
                    states.add(weight, misses);
                });
            }
            states.chance_within(within_m)
        }
    }
}

impl Day {
    /// Chance that run `run` (from 0) stops within a distance; 0 within nothing.
    pub fn chance(&self, run: usize, within_m: f64) -> f64 {
        if within_m <= 0.0 {
            return 0.0;
        }
        1.0 - self.all_outside(run..run + 1, within_m)
    }

    /// Chance that every one of some runs stops farther off than `within_m`, above 0. The product is taken for each state,
    /// and only then averaged: what is not known of the spreads is common to the runs.
    fn all_outside(&self, runs: Range<usize>, within_m: f64) -> f64 {
        let placed = |atoms: &[Atom]| -> Vec<Vec<PlacedVariance>> {
            let of = |atom: &Atom| {
                let of_runs = atom.by_run[runs.clone()].iter();
                of_runs.map(|v| counted::placed(*v, within_m)).collect()
            };
            atoms.iter().map(of).collect()
        };
        let (along, across) = (placed(&self.along), placed(&self.across));
        let mut sum = 0.0;
        for (a, of_a) in self.along.iter().zip(&along) {
            for (c, of_c) in self.across.iter().zip(&across) {
                let pairs = of_a.iter().zip(of_c);
                let all = pairs.fold(1.0, |all, (a, c)| all * chance_outside(a, c));
                sum += a.weight * c.weight * all;
            }
        }
        sum.clamp(0.0, 1.0)
    }

    fn for_each(&self, mut f: impl FnMut(f64, &Atom, &Atom)) {
        for a in &self.along {
            for c in &self.across {
                f(a.weight * c.weight, a, c);
            }
        }
    }

    /// The day's first run alone, whose states need fewer bins.
    pub fn first_run(&self) -> Day {
        Day {
            along: first_runs(&self.along),
            across: first_runs(&self.across),
        }
    }
}

/// Atoms of one bin of the first run's variance as one, with that run alone.
fn first_runs(atoms: &[Atom]) -> Vec<Atom> {
    let of_bin = |same: &[Atom]| {
        let weight: f64 = same.iter().map(|a| a.weight).sum();
        let sum: f64 = same.iter().map(|a| a.weight * a.by_run[0]).sum();
        Atom {
            weight,
            bin: same[0].bin,
            by_run: vec![sum / weight],
        }
    };
    atoms.chunk_by(|a, b| a.bin == b.bin).map(of_bin).collect()
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
    let mut out: Vec<Atom> = (0..bins * LEFT_BINS)
        .map(|at| Atom {
            weight: 0.0,
            bin: at / LEFT_BINS,
            by_run: vec![0.0; runs],
        })
        .collect();
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::mixed::{Node, Posterior, Row};

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

    fn rule(runs: u32, counts: Counts) -> EventRule {
        EventRule {
            runs,
            counts,
            assumed: false,
        }
    }

    /// One state of the spreads, σ² known, with r and h given: what is left is the chance of the runs alone.
    fn one_state(sigma2: f64, r: f64, h: f64) -> Known {
        let nu = 1e7;
        let node = Node {
            r,
            growth: 0.0,
            weight: 1.0,
            rss: sigma2 * nu,
            beta: vec![0.0, 0.0],
            covariance: vec![h, 0.0, 0.0],
        };
        let way = Way::new(
            &Posterior::from_nodes(nu, vec![node]),
            &[1.0, 0.0],
            &[0.0, 1.0],
        );
        Known {
            along: way.clone(),
            across: Some(way),
            dial_variance: 0.0,
            aim_variance: 0.0,
        }
    }

    /// h = r = 0: runs are independent and alike, their misses Rayleigh's. The best of m is one with σ²/m, the last is any.
    #[test]
    fn independent_runs_count_as_rayleigh_says() {
        let known = one_state(1.0, 0.0, 0.0);
        for m in [1, 2, 3, 8] {
            let days = [known.day(PLACE, m as usize)];
            for within in [0.4f64, 1.0, 2.0] {
                let outside = |runs: f64| (-0.5 * runs * within * within).exp();
                let best = event_chance(&days, rule(m, Counts::Best), within);
                assert!(
                    (best - (1.0 - outside(f64::from(m)))).abs() < 1e-3,
                    "{m}: {best}"
                );
                let last = event_chance(&days, rule(m, Counts::Last), within);
                assert!((last - (1.0 - outside(1.0))).abs() < 1e-3, "{m}: {last}");
            }
        }
    }

    /// Along alone, h = r = 0: a miss is a half-normal's, the best of m outside when all are; the mean of two a turned square.
    #[test]
    fn along_alone_independent_runs_count_as_the_normal_says() {
        use crate::stats::distributions::normal_cdf;
        let known = Known {
            across: None,
            ..one_state(1.0, 0.0, 0.0)
        };
        let days = [known.day(PLACE, 2)];
        for within in [0.4, 1.0, 2.0f64] {
            let inside = 2.0 * normal_cdf(within) - 1.0;
            let best = event_chance(&days, rule(2, Counts::Best), within);
            assert!(
                (best - (1.0 - (1.0 - inside).powi(2))).abs() < 1e-3,
                "{best}"
            );
            let square = (2.0 * normal_cdf(2f64.sqrt() * within) - 1.0).powi(2);
            let sum = event_chance(&days, rule(2, Counts::Sum), within);
            assert!((sum - square).abs() < 2e-3, "{sum} for {square}");
        }
    }

    /// A day is drawn (its shift, what is wrong with the line, its runs), each run is corrected by the posterior mean of
    /// those before it (their mean times n·v/(1 + n·v), v = h + r²), and what counts is counted: 60,000 days with a fixed
    /// seed, four standard errors.
    #[test]
    fn what_counts_is_what_drawn_days_come_to() {
        let (r, h, within) = (1.2, 0.5, 1.3);
        let v: f64 = h + r * r;
        let days = 60_000;
        let all = [(3, Counts::Best), (3, Counts::Last), (3, Counts::Sum)];
        let mut inside = [0u32; 3];
        let mut chance = crate::stats::resample::replicate(14, 1);
        let mut normal = || crate::stats::resample::normal(&mut chance);
        for _ in 0..days {
            let shift = [0, 1].map(|_| v.sqrt() * normal());
            let mut sums = [0.0; 2];
            let mut misses = Vec::new();
            for n in 0..3 {
                let n = f64::from(n);
                let mut miss = [0.0f64; 2];
                for k in 0..2 {
                    let corrected = if n > 0.0 {
                        sums[k] / n * (n * v / (1.0 + n * v))
                    } else {
                        0.0
                    };
                    let as_season = shift[k] + normal();
                    sums[k] += as_season;
                    miss[k] = as_season - corrected;
                }
                misses.push(miss[0].hypot(miss[1]));
            }
            let best = misses.iter().copied().fold(f64::INFINITY, f64::min);
            let counted = [best, misses[2], misses.iter().sum::<f64>() / 3.0];
            for (count, miss) in inside.iter_mut().zip(counted) {
                *count += u32::from(miss <= within);
            }
        }
        let known = one_state(1.0, r, h);
        for ((runs, counts), inside) in all.into_iter().zip(inside) {
            let drawn = f64::from(inside) / f64::from(days);
            let ours = event_chance(&[known.day(PLACE, 3)], rule(runs, counts), within);
            let error = (drawn * (1.0 - drawn) / f64::from(days)).sqrt();
            assert!(
                (ours - drawn).abs() < 4.0 * error + 1e-3,
                "{counts:?}: {ours} for {drawn}"
            );
        }
    }

    /// A sum of two states apart in every way, whose like states are averaged, against each pair of states by itself.
    #[test]
    fn gathering_states_moves_no_sum() {
        let posterior = posterior(12.0);
        let way = Way::new(&posterior, &[1.0, 0.0], &[0.0, 1.0]);
        let known = Known {
            along: way.clone(),
            across: Some(way),
            dial_variance: 0.01,
            aim_variance: 0.02,
        };
        let each_by_itself = |day: &Day, within: f64| {
            let mut sum = 0.0;
            day.for_each(|weight, a, c| {
                let mut alone = SumStates::default();
                alone.add(1.0, a.by_run.iter().copied().zip(c.by_run.iter().copied()));
                sum += weight * alone.chance_within(within);
            });
            sum
        };
        let few = known.day(PLACE, 2);
        let many = known.day_of(PLACE, 2, 3 * BINS);
        for within in [0.5, 1.5, 3.0] {
            let ours = event_chance(std::slice::from_ref(&few), rule(2, Counts::Sum), within);
            let (gathered, binned) = (each_by_itself(&few, within), each_by_itself(&many, within));
            assert!(
                (ours - gathered).abs() < 2e-3,
                "{within}: {ours} for {gathered}"
            );
            assert!(
                (ours - binned).abs() < 3e-3,
                "{within}: {ours} for {binned}"
            );
        }
    }

    const MIDDLE: Spot = Spot { z: 0.0, size: 1.0 };

    const PLACE: Place = Place {
        target_m: 1.0,
        along: MIDDLE,
        across: MIDDLE,
    };
}
