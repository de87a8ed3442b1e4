//! What counts of an event's runs: the best, the last, or the sum of their misses.
//!
//! Each run's miss is the length of two independent normal errors with mean 0, and given the spreads the runs of a day
//! are independent once each is corrected for those before it: what is left are the day's innovations.

use crate::setup::Counts;
use crate::stats::mixed::RandomIntercept;
use crate::stats::radial::{PlacedVariance, chance_outside, mean_length, mean_shortest};
use std::collections::BTreeMap;

/// Variance of one run's miss, m²: along and across.
pub type MissVariance = (f64, f64);

/// Cells of the distribution of the mean of two misses up to the limit, for each run; of n misses √(n/2) times as many in all.
const CELLS: f64 = 24.0;
/// States whose summed variances differ by less than this, as a logarithm, may be taken together,
const LN_TOTAL_APART: f64 = 0.1;
/// where the part of it that is across, and that of the first run, differ by less than this.
const SHARE_APART: f64 = 0.1;

/// Variances of the runs of a new session in turn, about a line that is known, each corrected for those before it:
/// σ²(1 + θ²/(1 + (j − 1)θ²)) of run j.
///
/// * `sigma` — above 0
pub fn innovations(sigma: f64, tau: f64, runs: u32) -> impl Iterator<Item = f64> {
    let sessions = RandomIntercept::at(tau / sigma);
    (0..runs).map(move |before| sigma * sigma * (1.0 + sessions.after(f64::from(before))))
}

/// Mean of what counts, m; of a sum, that of the sum.
///
/// * `misses` — of the event's runs in order; not empty
pub fn mean(misses: &[MissVariance], counts: Counts) -> f64 {
    let length = |(along, across): &MissVariance| mean_length(along.sqrt(), across.sqrt());
    match counts {
        Counts::Best => mean_shortest(misses),
        Counts::Last => misses.last().map_or(0.0, length),
        Counts::Sum => misses.iter().map(length).sum(),
    }
}

/// A variance beside the square of a distance.
pub fn placed(variance: f64, within_m: f64) -> PlacedVariance {
    PlacedVariance::from_ln(variance.ln() - 2.0 * within_m.ln())
}

/// P(a run misses by more than `within_m`), within 5e-4.
///
/// * `within_m` — above 0
pub fn outside((along, across): MissVariance, within_m: f64) -> f64 {
    chance_outside(&placed(along, within_m), &placed(across, within_m))
}

/// The misses of an event's runs for many states of the spreads, gathered for the distribution of their sum.
///
/// States are alike whose misses have nearly the same variance in all, of which nearly the same parts are across and the
/// first run's; their misses are averaged run by run. The chance of a sum then moves by less than 2e-3 (checked in `plan/chance.rs`).
#[derive(Debug, Default)]
pub struct SumStates(BTreeMap<(i64, i64, i64), Alike>);

/// States that are alike: their weight, and the weighted sums of their misses.
#[derive(Debug, Default)]
struct Alike {
    weight: f64,
    misses: Vec<MissVariance>,
}

impl SumStates {
    /// Adds a state: its weight, and the misses of its runs in order.
    pub fn add(&mut self, weight: f64, misses: impl Iterator<Item = MissVariance> + Clone) {
        let (along, across) = (misses.clone()).fold((0.0, 0.0), |s, m| (s.0 + m.0, s.1 + m.1));
        let total = (along + across).max(f64::MIN_POSITIVE);
        let first = misses.clone().next().map_or(0.0, |m| m.0 + m.1);
        let cell = |x: f64, apart: f64| (x / apart).floor() as i64;
        let key = (
            cell(total.ln(), LN_TOTAL_APART),
            cell(across / total, SHARE_APART),
            cell(first / total, SHARE_APART),
        );
        let alike = self.0.entry(key).or_default();
        alike.weight += weight;
        for (k, miss) in misses.enumerate() {
            if k == alike.misses.len() {
                alike.misses.push((0.0, 0.0));
            }
            alike.misses[k].0 += weight * miss.0;
            alike.misses[k].1 += weight * miss.1;
        }
    }

    /// Chance that the sum of n misses is within n times a distance (above 0), averaged over the states.
    pub fn chance_within(&self, within_m: f64) -> f64 {
        let (mut sum, mut total) = (0.0, 0.0);
        for alike in self.0.values().filter(|alike| alike.weight > 0.0) {
            let own = |(a, c): &MissVariance| (a / alike.weight, c / alike.weight);
            let misses: Vec<MissVariance> = alike.misses.iter().map(own).collect();
            sum += alike.weight * sum_within(&misses, within_m);
            total += alike.weight;
        }
        sum / total
    }
}

/// P(mean of independent misses ≤ `within_m`), by adding up the misses' distributions on a grid of cells.
fn sum_within(misses: &[MissVariance], within_m: f64) -> f64 {
    if let [only] = misses {
        return 1.0 - outside(*only, within_m);
    }
    let n = misses.len();
    let cells = (2.0 * CELLS * (0.5 * n as f64).sqrt()).ceil() as usize;
    let width = n as f64 * within_m / cells as f64;
    let mut total = vec![1.0];
    for &miss in misses {
        let mut beyond = 1.0;
        let masses: Vec<f64> = (1..=cells)
            .map(|g| {
                let farther = outside(miss, g as f64 * width).min(beyond);
                let mass = beyond - farther;
                beyond = farther;
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
    use crate::stats::distributions::normal_cdf;
    use crate::stats::resample;

    /// Two along-only misses of sd 1: |X| + |Y| ≤ s is a square turned by 45°, so its chance is (2Φ(s/√2) − 1)².
    #[test]
    fn the_sum_of_two_misses_is_a_turned_square() {
        for within in [0.5, 1.0, 2.0f64] {
            let exact = (2.0 * normal_cdf(2.0 * within / 2f64.sqrt()) - 1.0).powi(2);
            let ours = sum_within(&[(1.0, 0.0), (1.0, 0.0)], within);
            assert!((ours - exact).abs() < 1e-3, "{ours} for {exact}");
        }
    }

    /// Misses of like and unlike runs drawn with a fixed seed: 200,000 events, four standard errors.
    #[test]
    fn sums_are_those_of_drawn_misses() {
        let unlike = [(4.0, 1.0), (1.0, 0.3), (0.7, 0.02)];
        let many = [(1.0, 0.4); 20];
        for (seed, misses, within) in [
            (1, &unlike[..], 1.3),
            (2, &unlike[..2], 2.0),
            (3, &many[..], 1.0),
        ] {
            let mut chance = resample::replicate(8, seed);
            let (events, mut inside, mut sum) = (200_000, 0, 0.0);
            for _ in 0..events {
                let mut draw = |v: f64| v.sqrt() * resample::normal(&mut chance);
                let all: f64 = misses.iter().map(|(a, c)| draw(*a).hypot(draw(*c))).sum();
                sum += all;
                inside += u32::from(all <= within * misses.len() as f64);
            }
            let events = f64::from(events);
            let (drawn, ours) = (f64::from(inside) / events, sum_within(misses, within));
            assert!(
                (ours - drawn).abs() < 4.0 * 0.5 / events.sqrt() + 1e-3,
                "{misses:?}: {ours} for {drawn}"
            );
            let (drawn, ours) = (sum / events, mean(misses, Counts::Sum));
            assert!(
                (ours / drawn - 1.0).abs() < 5e-3,
                "{misses:?}: {ours} for {drawn}"
            );
        }
    }
}
