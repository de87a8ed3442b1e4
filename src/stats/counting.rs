//! How many of the members of groups should be out of their ranges, where the members of a group share a shift.

use std::collections::BTreeMap;

use super::distributions::{normal_cdf, normal_pdf, normal_quantile};

/// How far out the points for a shift reach in standard deviations, and the least and the greatest step between them.
const REACH: f64 = 8.0;
const STEP_MIN: f64 = 0.04;
const STEP_MAX: f64 = 0.5;

/// Chance that `out` or more members are out.
///
/// * `sizes` — members of each group
/// * `chance` — of one member to be out, on both sides alike, 0 to 1
/// * `correlation` — between the places of two members of a group, 0 to 1: the shift's part of the variance
///
/// With a shift b and a part ρ, a member lies at √ρ b + √(1 − ρ) e; given b members are independent, so the number out
/// is binomial, summed over b and over groups. Derived here; at ρ = 0 it is the binomial tail.
pub fn out_at_least(out: usize, sizes: &[usize], chance: f64, correlation: f64) -> f64 {
    let rho = correlation.clamp(0.0, 1.0 - 1e-12);
    let mut groups: BTreeMap<usize, usize> = BTreeMap::new();
    for &size in sizes {
        *groups.entry(size).or_insert(0) += 1;
    }
    let largest = groups.keys().next_back().copied().unwrap_or(0);
    let shifts = shifts(step(largest, rho), chance, rho);
    let mut all = Counts::none();
    for (size, groups) in groups {
        let of_group = Counts::of_group(out, size, &shifts);
        all = all.plus(&of_group.times(groups, out), out);
    }
    all.at(out).clamp(0.0, 1.0)
}

/// Step of the trapezoid over the shift of a group of so many members.
///
/// What is summed is a normal density times up to n factors, each blurred by √((1 − ρ)/ρ), so that its Fourier transform
/// falls like exp(−s²ω²/2) with 1/s² = 1 + nρ/(1 − ρ) and a step of s/2 is exact to the last bits. Where the members
/// of a group hardly differ from each other that is finer than the least step: there an edge between two points
/// costs up to 0.002 a group.
fn step(size: usize, rho: f64) -> f64 {
    let s = 1.0 / (1.0 + size as f64 * rho / (1.0 - rho)).sqrt();
    (s / 2.0).clamp(STEP_MIN, STEP_MAX)
}

/// Weights of shifts of a group, and the chance of a member to be out there. A shift and its opposite do the same.
fn shifts(step: f64, chance: f64, rho: f64) -> Vec<(f64, f64)> {
    let limit = -normal_quantile(chance / 2.0);
    let rest = (1.0 - rho).sqrt();
    let at = |i: usize| {
        let b = i as f64 * step;
        let shift = rho.sqrt() * b;
        let outside = normal_cdf((-limit - shift) / rest) + normal_cdf((-limit + shift) / rest);
        let both = if i == 0 { 1.0 } else { 2.0 };
        (both * step * normal_pdf(b), outside.min(1.0))
    };
    (0..=(REACH / step).round() as usize).map(at).collect()
}

/// Chances of `from`, `from` + 1, … of something; what is beyond a number asked for is gathered there.
#[derive(Debug, Clone)]
struct Counts {
    from: usize,
    chances: Vec<f64>,
}

/// Chances below this are left out where they come first.
const CHANCE_MIN: f64 = 1e-280;

impl Counts {
    /// Certainly none.
    fn none() -> Self {
        Counts {
            from: 0,
            chances: vec![1.0],
        }
    }

    /// The number out of one group, all from `out` on at `out`; `shifts` with their weights and chances.
    fn of_group(out: usize, size: usize, shifts: &[(f64, f64)]) -> Self {
        let mut chances = vec![0.0; size + 1];
        let mut of_group = vec![0.0; size + 1];
        for &(weight, p) in shifts {
            binomial(&mut chances, p);
            for (sum, chance) in of_group.iter_mut().zip(&chances) {
                *sum += weight * chance;
            }
        }
        if size <= ONE_WAY {
            let mut ways = 1.0;
            for (k, sum) in of_group.iter_mut().enumerate() {
                *sum *= ways;
                ways *= (size - k) as f64 / (k + 1) as f64;
            }
        }
        let mut counts = Counts {
            from: 0,
            chances: of_group,
        };
        counts.gather(out);
        counts
    }

    fn at(&self, number: usize) -> f64 {
        let index = number.checked_sub(self.from);
        index.map_or(0.0, |i| self.chances.get(i).copied().unwrap_or(0.0))
    }

    /// What is beyond `out` counts as `out`.
    fn gather(&mut self, out: usize) {
        let top = out - self.from;
        if self.chances.len() > top + 1 {
            self.chances[top] = self.chances[top..].iter().sum();
            self.chances.truncate(top + 1);
        }
    }

    /// The number of both together, up to `out`.
    fn plus(&self, other: &Counts, out: usize) -> Counts {
        if self.chances.len() > other.chances.len() {
            return other.plus(self, out);
        }
        let from = (self.from + other.from).min(out);
        let top = out - from;
        let len = (self.chances.len() + other.chances.len() - 1).min(top + 1);
        let mut chances = vec![0.0; len];
        // Of the other, so many or more.
        let mut or_more = other.chances.clone();
        for i in (1..or_more.len()).rev() {
            or_more[i - 1] += or_more[i];
        }
        for (i, a) in self.chances.iter().enumerate() {
            let below = top.saturating_sub(i).min(other.chances.len());
            let places = chances[i.min(len)..].iter_mut();
            for (sum, b) in places.zip(&other.chances[..below]) {
                *sum += a * b;
            }
            if let Some(beyond) = or_more.get(below) {
                chances[top] += a * beyond;
            }
        }
        let mut sum = Counts { from, chances };
        let first = sum.chances.iter().position(|&chance| chance >= CHANCE_MIN);
        let first = first.unwrap_or(0);
        sum.from += first;
        sum.chances.drain(..first);
        sum
    }

    /// The number of so many alike together, up to `out`, by squaring.
    fn times(self, groups: usize, out: usize) -> Counts {
        let (mut sum, mut power, mut left) = (Counts::none(), self, groups);
        while left > 0 {
            if left % 2 == 1 {
                sum = sum.plus(&power, out);
            }
            left /= 2;
            if left > 0 {
                power = power.plus(&power, out);
            }
        }
        sum
    }
}

/// Up to so many members the chances of one way to each number are far from the smallest float, and the number of ways
/// from the largest.
const ONE_WAY: usize = 100;

/// Chances of 0 … n successes, into n + 1 places; up to n = [`ONE_WAY`] still to be multiplied by the ways to choose them.
fn binomial(chances: &mut [f64], p: f64) {
    let n = chances.len() - 1;
    if n > ONE_WAY {
        return from_the_likeliest(chances, p);
    }
    let q = 1.0 - p;
    // From the end of the larger chance, so that no step divides by nothing.
    if p < 0.5 {
        let mut chance = q.powi(n as i32);
        for place in chances {
            *place = chance;
            chance *= p / q;
        }
    } else {
        let mut chance = p.powi(n as i32);
        for place in chances.iter_mut().rev() {
            *place = chance;
            chance *= q / p;
        }
    }
}

/// The same with the ways in them, from the likeliest number outwards, each chance from its neighbour's.
fn from_the_likeliest(chances: &mut [f64], p: f64) {
    let n = chances.len() - 1;
    let q = 1.0 - p;
    let top = (((n + 1) as f64 * p) as usize).min(n);
    chances[top] = 1.0;
    for k in top..n {
        chances[k + 1] = chances[k] * ((n - k) as f64 * p) / ((k + 1) as f64 * q);
    }
    for k in (0..top).rev() {
        chances[k] = chances[k + 1] * ((k + 1) as f64 * q) / ((n - k) as f64 * p);
    }
    let sum: f64 = chances.iter().sum();
    chances.iter_mut().for_each(|chance| *chance /= sum);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::distributions::f_cdf;

    /// P(X ≥ k) of a binomial is a tail of F with 2k and 2(n − k + 1) degrees of freedom (Abramowitz & Stegun 26.5.24,
    /// 26.6.2).
    #[test]
    fn without_correlation_it_is_the_binomial_tail() {
        let (n, p) = (20.0, 0.05);
        for k in 1..6 {
            let (a, b) = (f64::from(k), n - f64::from(k) + 1.0);
            let wanted = f_cdf(b * p / (a * (1.0 - p)), 2.0 * a, 2.0 * b);
            let got = out_at_least(k as usize, &[8, 8, 4], p, 0.0);
            assert!((got - wanted).abs() < 1e-11, "{k}: {got} {wanted}");
        }
        assert!((out_at_least(0, &[8, 8], 0.05, 0.5) - 1.0).abs() < 1e-12);
    }

    /// Members that move together are in or out together: groups count, members do not.
    #[test]
    fn with_full_correlation_groups_count_once() {
        let got = out_at_least(1, &[8, 8, 4], 0.05, 1.0);
        assert!((got - (1.0 - 0.95f64.powi(3))).abs() < 0.01, "{got}");
    }

    /// The mean number out is chance × members; a mean is the sum of the chances of k or more.
    #[test]
    fn the_mean_number_out_does_not_depend_on_the_correlation() {
        for rho in [0.0, 0.3, 0.9] {
            let sizes = [5, 2];
            let mean: f64 = (1..=7).map(|k| out_at_least(k, &sizes, 0.1, rho)).sum();
            assert!((mean - 0.7).abs() < 1e-9, "{rho}: {mean}");
        }
    }

    #[test]
    fn both_ways_to_a_binomial_agree() {
        for p in [0.0, 1e-9, 0.03, 0.5, 0.97, 1.0] {
            let one_way = Counts::of_group(89, 89, &[(1.0, p)]).chances;
            let mut outwards = [0.0; 90];
            from_the_likeliest(&mut outwards, p);
            for (k, (a, b)) in one_way.iter().zip(&outwards).enumerate() {
                assert!((a - b).abs() < 1e-13, "{k} of 89 at {p}: {a} {b}");
            }
        }
    }

    /// Two groups of many thousands: member by member this would not end.
    #[test]
    fn large_groups_cost_little() {
        let got = out_at_least(10_100, &[100_000, 100_000], 0.05, 0.0);
        // 10,000 expected with a standard deviation of 97.5; half a step for counting.
        let wanted = 1.0 - normal_cdf(99.5 / 97.468);
        assert!((got - wanted).abs() < 2e-3, "{got} {wanted}");
    }

    /// The step that suffices against one four times as fine as the least.
    #[test]
    fn wider_steps_cost_no_digits() {
        for size in [1, 4, 25, 90] {
            for rho in [0.0, 0.02, 0.2, 0.5, 0.8] {
                let of_group = |step| Counts::of_group(size, size, &shifts(step, 0.05, rho));
                let (fine, got) = (of_group(STEP_MIN / 4.0), of_group(step(size, rho)));
                for (k, (a, b)) in got.chances.iter().zip(&fine.chances).enumerate() {
                    assert!(
                        (a - b).abs() < 1e-12 * b + 1e-14,
                        "{k} of {size} at {rho}: {a} {b}"
                    );
                }
            }
        }
    }

    /// Groups one after another and by squaring, and their chances by hand: of three coins and two 1 or more fall 31 of 32 times.
    #[test]
    fn groups_add_up_in_any_order() {
        let coin = Counts {
            from: 0,
            chances: vec![0.5, 0.5],
        };
        assert_eq!(coin.clone().times(5, 1).at(1), 31.0 / 32.0);
        assert_eq!(coin.clone().times(5, 3).at(3), 16.0 / 32.0);
        let (three, two) = (coin.clone().times(3, 4), coin.times(2, 4));
        assert_eq!(three.plus(&two, 4).chances, two.plus(&three, 4).chances);
        let sizes = [3, 8, 8, 1, 8, 25, 3, 8];
        let one_by_one = sizes.iter().fold(Counts::none(), |sum, &size| {
            sum.plus(&Counts::of_group(9, size, &shifts(STEP_MIN, 0.05, 0.4)), 9)
        });
        let got = out_at_least(9, &sizes, 0.05, 0.4);
        assert!((got / one_by_one.at(9) - 1.0).abs() < 1e-13);
    }
}
