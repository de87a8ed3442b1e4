//! How many of the members of groups should be out of their ranges, where the members of a group share a shift.

use std::collections::BTreeMap;

use super::distributions::{normal_cdf, normal_pdf, normal_quantile};

/// Points for a shift, and how far out they reach in standard deviations. The trapezoid is exact to 1e-12 but where
/// the members hardly differ from each other: there an edge between two points costs up to 0.002 a group.
const POINTS: usize = 401;
const REACH: f64 = 8.0;

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
    let limit = -normal_quantile(chance / 2.0);
    let rest = (1.0 - rho).sqrt();
    let step = 2.0 * REACH / (POINTS - 1) as f64;
    let shifts: Vec<(f64, f64)> = (0..POINTS)
        .map(|i| {
            let b = -REACH + i as f64 * step;
            let shift = rho.sqrt() * b;
            let outside = normal_cdf((-limit - shift) / rest) + normal_cdf((-limit + shift) / rest);
            (step * normal_pdf(b), outside.min(1.0))
        })
        .collect();
    // Distribution of the number out so far; what reaches `out` stays there.
    let mut counts = vec![0.0; out + 1];
    counts[0] = 1.0;
    let mut of_sizes: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    for &size in sizes {
        let of_group = of_sizes.entry(size).or_insert_with(|| {
            // What reaches `out` in one large group reaches it in all.
            let most = if size > ONE_BY_ONE { out } else { size };
            let mut of_group = vec![0.0; size.min(most) + 1];
            let mut chances = vec![0.0; size + 1];
            for &(weight, p) in &shifts {
                binomial(&mut chances, p);
                for (k, chance) in chances.iter().enumerate() {
                    of_group[k.min(most)] += weight * chance;
                }
            }
            of_group
        });
        let mut next = vec![0.0; out + 1];
        for (i, a) in counts.iter().enumerate() {
            for (j, b) in of_group.iter().enumerate() {
                next[(i + j).min(out)] += a * b;
            }
        }
        counts = next;
    }
    counts[out].clamp(0.0, 1.0)
}

/// Up to so many members one after another is added to the count; it is right to the last bits, and costs their square.
const ONE_BY_ONE: usize = 100;

/// Chances of 0 … n successes, into n + 1 places.
fn binomial(chances: &mut [f64], p: f64) {
    if chances.len() > ONE_BY_ONE + 1 {
        return from_the_likeliest(chances, p);
    }
    chances.fill(0.0);
    chances[0] = 1.0;
    for n in 1..chances.len() {
        for k in (1..=n).rev() {
            chances[k] = chances[k] * (1.0 - p) + chances[k - 1] * p;
        }
        chances[0] *= 1.0 - p;
    }
}

/// The same, from the likeliest number outwards, each chance from its neighbour's.
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
            let (mut one_by_one, mut outwards) = ([0.0; 90], [0.0; 90]);
            binomial(&mut one_by_one, p);
            from_the_likeliest(&mut outwards, p);
            for (k, (a, b)) in one_by_one.iter().zip(&outwards).enumerate() {
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
}
