//! How many of the members of groups should be out of their ranges, where the members of a group share a shift.

use std::collections::BTreeMap;

use super::distributions::{normal_cdf, normal_pdf, normal_quantile};

/// How far out the trapezoid over a group's shift reaches, and its step, in standard deviations.
///
/// What is summed is a normal density times up to n factors, each blurred by √((1 − ρ)/ρ), so that its Fourier transform
/// falls like exp(−s²ω²/2) with 1/s² = 1 + nρ/(1 − ρ) and a step of s/2 is exact to the last bits: so for nρ/(1 − ρ) up to
/// 150. Where the members of a group hardly differ from each other an edge between two points costs up to 0.002 a group.
const REACH: f64 = 8.0;
const STEP: f64 = 0.04;

/// Chance that `out` or more members are out.
///
/// * `sizes` — members of each group
/// * `chance` — of one member to be out, on both sides alike, 0 to 1
/// * `correlation` — between the places of two members of a group, 0 to 1: the shift's part of the variance
///
/// With a shift b and a part ρ, a member lies at √ρ b + √(1 − ρ) e; given b members are independent, so the number out
/// is binomial, summed over b and over groups. Derived here; at ρ = 0 it is the binomial tail.
pub fn out_at_least(out: usize, sizes: &[usize], chance: f64, correlation: f64) -> f64 {
    let shifts = shifts(chance, correlation.clamp(0.0, 1.0 - 1e-12));
    let mut by_size: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    // Chances of 0, 1, … members out of the groups so far; the last of `out` or more.
    let mut total = vec![0.0; out + 1];
    total[0] = 1.0;
    for &size in sizes {
        let of_group = by_size
            .entry(size)
            .or_insert_with(|| out_of_group(out, size, &shifts));
        let mut both = vec![0.0; out + 1];
        for (i, a) in total.iter().enumerate().filter(|(_, a)| **a > 0.0) {
            for (j, b) in of_group.iter().enumerate() {
                both[(i + j).min(out)] += a * b;
            }
        }
        total = both;
    }
    total[out].clamp(0.0, 1.0)
}

/// Weights of shifts of a group, and the chance of a member to be out there. A shift and its opposite do the same.
fn shifts(chance: f64, rho: f64) -> Vec<(f64, f64)> {
    let limit = -normal_quantile(chance / 2.0);
    let rest = (1.0 - rho).sqrt();
    let at = |i: usize| {
        let b = i as f64 * STEP;
        let shift = rho.sqrt() * b;
        let outside = normal_cdf((-limit - shift) / rest) + normal_cdf((-limit + shift) / rest);
        let both = if i == 0 { 1.0 } else { 2.0 };
        (both * STEP * normal_pdf(b), outside.min(1.0))
    };
    (0..=(REACH / STEP).round() as usize).map(at).collect()
}

/// Chances of 0, 1, … members out of one group, those of `out` or more together.
fn out_of_group(out: usize, size: usize, shifts: &[(f64, f64)]) -> Vec<f64> {
    let mut chances = vec![0.0; size.min(out) + 1];
    for &(weight, p) in shifts {
        for (k, chance) in binomial(size, p).into_iter().enumerate() {
            chances[k.min(out)] += weight * chance;
        }
    }
    chances
}

/// Chances of 0 … n successes, from the likeliest number outwards, each from its neighbour's: none overflows.
fn binomial(n: usize, p: f64) -> Vec<f64> {
    let q = 1.0 - p;
    let top = (((n + 1) as f64 * p) as usize).min(n);
    let mut chances = vec![0.0; n + 1];
    chances[top] = 1.0;
    for k in top..n {
        chances[k + 1] = chances[k] * ((n - k) as f64 * p) / ((k + 1) as f64 * q);
    }
    for k in (0..top).rev() {
        chances[k] = chances[k + 1] * ((k + 1) as f64 * q) / ((n - k) as f64 * p);
    }
    let sum: f64 = chances.iter().sum();
    chances.iter_mut().for_each(|chance| *chance /= sum);
    chances
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::distributions::f_sf;

    /// P(X ≥ k) of a binomial is a tail of F with 2k and 2(n − k + 1) degrees of freedom (Abramowitz & Stegun 26.5.24,
    /// 26.6.2).
    #[test]
    fn without_correlation_it_is_the_binomial_tail() {
        let (n, p) = (20.0, 0.05);
        for k in 1..6 {
            let (a, b) = (f64::from(k), n - f64::from(k) + 1.0);
            let wanted = f_sf(a * (1.0 - p) / (b * p), 2.0 * b, 2.0 * a);
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

    /// Two groups of many thousands: member by member this would not end.
    #[test]
    fn large_groups_cost_little() {
        let got = out_at_least(10_100, &[100_000, 100_000], 0.05, 0.0);
        // 10,000 expected with a standard deviation of 97.5; half a step for counting.
        let wanted = 1.0 - normal_cdf(99.5 / 97.468);
        assert!((got - wanted).abs() < 2e-3, "{got} {wanted}");
    }

    /// By hand: of three coins and two, 4 or more fall heads in 6 of 32 throws.
    #[test]
    fn groups_add_up() {
        let got = out_at_least(4, &[3, 2], 0.5, 0.0);
        assert!((got - 6.0 / 32.0).abs() < 1e-14, "{got}");
    }
}
