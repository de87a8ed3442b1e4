//! How far from the centre two independent normal errors end up together.

use super::distributions::normal_sf;
use std::f64::consts::{FRAC_2_PI, FRAC_PI_2};
use std::sync::LazyLock;

/// Points for each unit of √(larger over smaller sd): errors fall as exp(−4·points·√(a/b)), and twelve leave room
/// for the singular point that the exponential has at the same distance.
const POINTS_PER_ROOT: f64 = 12.0;
const POINTS_MORE: f64 = 4.0;
/// For the table of [`chance_outside`], whose own error is far larger.
const POINTS_OF_TABLE: f64 = 5.0;
/// From this ratio of the sds on the smaller one moves no digit that is kept (its square is 1e-9 of the larger's).
const ONE_WAY_FROM: f64 = 3e4;

/// P(√(A² + B²) ≤ `reach`) for independent normal A, B with mean 0.
///
/// * `var_a`, `var_b` — their variances, ≥ 0; `reach` ≥ 0
///
/// In polar form the chance of ending up outside is the mean of exp(−reach²/2v(φ)) over the angle φ, with
/// v = a² cos² φ + b² sin² φ. The trapezoid of a periodic function converges faster than any power; the substitution
/// tan φ = √(a/b)·tan ψ (a ≤ b) shares out the steep place of very unequal sds. Equal sds: Rayleigh's 1 − exp(−reach²/2a²),
/// exactly; one sd 0: the normal. Both are checked below, other cases in `tests/planning.rs`.
pub fn chance_within(reach: f64, var_a: f64, var_b: f64) -> f64 {
    chance_by_points(reach, var_a, var_b, POINTS_PER_ROOT)
}

fn chance_by_points(reach: f64, var_a: f64, var_b: f64, per_root: f64) -> f64 {
    let (small, large) = (var_a.min(var_b), var_a.max(var_b));
    if large <= 0.0 {
        return 1.0;
    }
    if small * ONE_WAY_FROM * ONE_WAY_FROM <= large {
        return 1.0 - 2.0 * normal_sf(reach / large.sqrt());
    }
    // k² = a/b
    let k2 = (small / large).sqrt();
    let product = (small * large).sqrt();
    let half_square = 0.5 * reach * reach;
    let points = (per_root / k2.sqrt() + POINTS_MORE).ceil();
    let (mut outside, mut all) = (0.0, 0.0);
    for i in 0..points as usize {
        let (sin, cos) = (FRAC_PI_2 * (i as f64 + 0.5) / points).sin_cos();
        let (s2, c2) = (sin * sin, cos * cos);
        let stretch = c2 + k2 * s2;
        let precision = stretch / (small * c2 + product * s2);
        outside += (-half_square * precision).exp() / stretch;
        all += 1.0 / stretch;
    }
    1.0 - outside / all
}

/// Halvings of the arithmetic–geometric mean: each doubles the correct digits.
const MEANS_MAX: usize = 40;

/// Mean of √(A² + B²) for independent normal A, B with mean 0.
///
/// * `sd_a`, `sd_b` — their standard deviations, ≥ 0
///
/// √(2/π)·s·E(k), s the larger sd, k² = 1 − (smaller/s)² and E the complete elliptic integral of the second kind, by the
/// arithmetic–geometric mean (Abramowitz & Stegun 17.6). Equal sds: Rayleigh's s√(π/2); one sd 0: the half-normal's
/// s√(2/π).
pub fn mean_length(sd_a: f64, sd_b: f64) -> f64 {
    let (small, large) = (sd_a.min(sd_b), sd_a.max(sd_b));
    if large <= 0.0 {
        return 0.0;
    }
    let half_normal = large * FRAC_2_PI.sqrt();
    let ratio = small / large;
    let (mut a, mut g, mut power) = (1.0, ratio, 0.5);
    let mut sum = 0.5 * (1.0 - ratio * ratio);
    if ratio < 1e-9 {
        return half_normal; // E differs from 1 by about k'² ln(4/k')/2
    }
    for _ in 0..MEANS_MAX {
        let c: f64 = 0.5 * (a - g);
        (a, g) = (0.5 * (a + g), (a * g).sqrt());
        power *= 2.0;
        sum += power * c * c;
        if c.abs() < 1e-9 {
            break;
        }
    }
    half_normal * FRAC_PI_2 / a * (1.0 - sum)
}

/// Least ln(variance/reach²) of the table of [`chance_outside`], its step, and its number of places. What lies beyond is
/// taken as at the end: below, a variance is less than 4e-4 of the reach's square; above, less than 1 in 1,000 is within.
const LN_LOW: f64 = -8.0;
const LN_STEP: f64 = 0.25;
const LN_PLACES: usize = 89;

/// 1 − [`chance_within`] at every pair of places.
static OUTSIDE: LazyLock<Vec<f64>> = LazyLock::new(|| {
    let variance = |i: usize| (LN_LOW + i as f64 * LN_STEP).exp();
    let mut table = vec![0.0; LN_PLACES * LN_PLACES];
    for i in 0..LN_PLACES {
        for k in 0..=i {
            let within = chance_by_points(1.0, variance(i), variance(k), POINTS_OF_TABLE);
            let outside = 1.0 - within;
            table[i * LN_PLACES + k] = outside;
            table[k * LN_PLACES + i] = outside;
        }
    }
    table
});

/// A variance over the square of a distance, as a place in the table of [`chance_outside`].
#[derive(Debug, Clone, Copy)]
pub struct PlacedVariance {
    /// The first of the four places it lies among.
    first: usize,
    /// What each of them counts.
    weights: [f64; 4],
}

impl PlacedVariance {
    /// From ln(variance/reach²); −∞ stands for no variance.
    pub fn from_ln(ln_ratio: f64) -> Self {
        let at = ((ln_ratio - LN_LOW) / LN_STEP).clamp(0.0, (LN_PLACES - 1) as f64);
        let first = (at as usize).saturating_sub(1).min(LN_PLACES - 4);
        let t = at - first as f64;
        // Lagrange's cubic through 0, 1, 2 and 3.
        let (t1, t2, t3) = (t - 1.0, t - 2.0, t - 3.0);
        PlacedVariance {
            first,
            weights: [
                -t1 * t2 * t3 / 6.0,
                t * t2 * t3 / 2.0,
                -t * t1 * t3 / 2.0,
                t * t1 * t2 / 6.0,
            ],
        }
    }
}

/// P(√(A² + B²) > reach) from a table: where thousands are wanted.
///
/// Within 5e-4 of [`chance_within`]'s complement; where neither variance lies beyond the table, within 1e-4 (checked below).
pub fn chance_outside(a: &PlacedVariance, b: &PlacedVariance) -> f64 {
    let mut sum = 0.0;
    for (i, weight) in a.weights.iter().enumerate() {
        let row = &OUTSIDE[(a.first + i) * LN_PLACES + b.first..][..4];
        let across = (row.iter().zip(&b.weights)).fold(0.0, |sum, (p, w)| sum + p * w);
        sum += weight * across;
    }
    sum.clamp(0.0, 1.0)
}

/// Positive nodes of Gauss–Legendre quadrature with 16 points on (−1, 1), with their weights (Abramowitz & Stegun table
/// 25.4).
const GAUSS: [(f64, f64); 8] = [
    (0.095_012_509_837_637_44, 0.189_450_610_455_068_5),
    (0.281_603_550_779_258_9, 0.182_603_415_044_923_6),
    (0.458_016_777_657_227_4, 0.169_156_519_395_002_5),
    (0.617_876_244_402_643_7, 0.149_595_988_816_576_7),
    (0.755_404_408_355_003, 0.124_628_971_255_533_9),
    (0.865_631_202_387_831_7, 0.095_158_511_682_492_8),
    (0.944_575_023_073_232_6, 0.062_253_523_938_647_89),
    (0.989_400_934_991_649_9, 0.027_152_459_411_754_1),
];
/// The shortest of several lengths is looked for up to this many of its scales: exp(−reach²/2) of it lies beyond, 1e-7.
const LEAST_REACH: f64 = 5.6;
/// Where all of several lengths are longer as rarely as this, the rest of the integral is nothing.
const RARELY: f64 = 1e-9;

/// Nodes on (0, [`LEAST_REACH`]), rising: place, its logarithm, weight.
static LEAST_NODES: LazyLock<Vec<(f64, f64, f64)>> = LazyLock::new(|| {
    let left = GAUSS.iter().rev().map(|(x, w)| (-x, w));
    let node = |(x, w): (f64, &f64)| {
        let t = 0.5 * LEAST_REACH * (1.0 + x);
        (t, t.ln(), 0.5 * LEAST_REACH * w)
    };
    left.chain(GAUSS.iter().map(|(x, w)| (*x, w)))
        .map(node)
        .collect()
});

/// Mean of the shortest of several lengths √(A² + B²), all A and B independent and normal with mean 0.
///
/// * `variances` — of A and B of each, ≥ 0; not empty
///
/// The integral of the chance that all are longer, by 16 Gauss–Legendre points over 5.6 times (Σ 1/v)^(−1/2), v the larger
/// variance of each; within 5e-4 of its size for up to 20 lengths (checked below). One length: [`mean_length`].
pub fn mean_shortest(variances: &[(f64, f64)]) -> f64 {
    if let [(a, b)] = variances {
        return mean_length(a.sqrt(), b.sqrt());
    }
    let precision: f64 = variances.iter().map(|(a, b)| 1.0 / a.max(*b)).sum();
    let scale = 1.0 / precision.sqrt();
    if scale <= 0.0 {
        return 0.0; // One of them is always 0.
    }
    let ln_square = -precision.ln();
    let mut mean = 0.0;
    for (_, ln_t, weight) in LEAST_NODES.iter() {
        let ln_reach2 = ln_square + 2.0 * ln_t;
        let place = |variance: f64| PlacedVariance::from_ln(variance.ln() - ln_reach2);
        let all_longer = variances.iter().fold(1.0, |product, (a, b)| {
            product * chance_outside(&place(*a), &place(*b))
        });
        if all_longer < RARELY {
            break;
        }
        mean += weight * all_longer;
    }
    scale * mean
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::resample;

    #[test]
    fn equal_spreads_follow_rayleigh() {
        for reach in [0.0, 0.3, 1.0, 2.5, 9.0f64] {
            let exact = 1.0 - (-0.5 * reach * reach / 1.7).exp();
            assert!((chance_within(reach, 1.7, 1.7) - exact).abs() < 1e-14);
        }
    }

    #[test]
    fn one_spread_alone_follows_the_normal_and_is_approached_smoothly() {
        let exact = 1.0 - 2.0 * normal_sf(1.3);
        assert!((chance_within(1.3, 0.0, 1.0) - exact).abs() < 1e-15);
        for (sd, within) in [(1e-5f64, 1e-9), (1e-4, 1e-7), (1e-3, 1e-5)] {
            let close = chance_within(1.3, sd * sd, 1.0);
            assert!((close - exact).abs() < within, "{sd}: {close} for {exact}");
        }
        assert_eq!(chance_within(1.0, 0.0, 0.0), 1.0);
    }

    /// Against the plain polar integral with a million points, which needs no substitution.
    #[test]
    fn unequal_spreads_agree_with_brute_force() {
        for (reach, a, b) in [(1.0, 1.0, 4.0), (2.0, 0.01, 1.0), (0.5, 1.0, 0.0025f64)] {
            let n = 1_000_000;
            let outside: f64 = (0..n)
                .map(|i| {
                    let (sin, cos) = (FRAC_PI_2 * (f64::from(i) + 0.5) / f64::from(n)).sin_cos();
                    (-0.5 * reach * reach / (a * cos * cos + b * sin * sin)).exp()
                })
                .sum();
            let brute = 1.0 - outside / f64::from(n);
            let ours = chance_within(reach, a, b);
            assert!((ours - brute).abs() < 1e-10, "{ours} for {brute}");
        }
    }

    /// Rayleigh and half-normal at the ends, values of E from Abramowitz & Stegun table 17.1 (m = k²) between.
    #[test]
    fn the_mean_length_follows_the_elliptic_integral() {
        assert!((mean_length(2.0, 2.0) - 2.0 * FRAC_PI_2.sqrt()).abs() < 1e-14);
        assert!((mean_length(0.0, 3.0) - 3.0 * FRAC_2_PI.sqrt()).abs() < 1e-14);
        assert_eq!(mean_length(0.0, 0.0), 0.0);
        for (m, e) in [
            (0.1, 1.530_757_637),
            (0.5, 1.350_643_881),
            (0.9, 1.104_774_733),
        ] {
            let got = mean_length(f64::sqrt(1.0 - m), 1.0) / FRAC_2_PI.sqrt();
            assert!((got - e).abs() < 2e-9, "{m}: {got} for {e}");
        }
        assert_eq!(mean_length(0.3, 1.7), mean_length(1.7, 0.3));
    }

    /// Against the chances of [`chance_within`]: the mean is the integral of the chance to lie farther out.
    #[test]
    fn the_mean_length_is_the_integral_of_the_chance_outside() {
        for (a, b) in [(1.0, 1.0), (1.0, 0.3), (0.05, 1.0f64)] {
            let step = 1e-3;
            let outside: f64 = (0..9000)
                .map(|i| 1.0 - chance_within((f64::from(i) + 0.5) * step, a * a, b * b))
                .sum();
            assert!((outside * step - mean_length(a, b)).abs() < 1e-6);
        }
    }

    #[test]
    fn the_table_of_chances_is_as_near_as_said() {
        let (mut inside, mut anywhere): (f64, f64) = (0.0, 0.0);
        for i in 0..60 {
            for k in 0..60 {
                let (a, b) = (-10.0 + 0.431 * f64::from(i), -10.0 + 0.397 * f64::from(k));
                let exact = 1.0 - chance_within(1.0, a.exp(), b.exp());
                let got = chance_outside(&PlacedVariance::from_ln(a), &PlacedVariance::from_ln(b));
                let off = (got - exact).abs();
                anywhere = anywhere.max(off);
                if (-8.0..=14.0).contains(&a) && (-8.0..=14.0).contains(&b) {
                    inside = inside.max(off);
                }
            }
            // One way only: twice the tail of the normal.
            let ln_variance = -6.0 + 0.31 * f64::from(i);
            let exact = 2.0 * normal_sf((-0.5 * ln_variance).exp());
            let none = PlacedVariance::from_ln(f64::NEG_INFINITY);
            let got = chance_outside(&PlacedVariance::from_ln(ln_variance), &none);
            anywhere = anywhere.max((got - exact).abs());
        }
        assert!(inside < 1e-4 && anywhere < 5e-4, "{inside} {anywhere}");
    }

    /// Equal Rayleigh lengths: the least of m is one with the variance over m. Two half-normals: 2(√2 − 1)/√π.
    #[test]
    fn the_mean_of_the_shortest_has_closed_forms() {
        for m in [1, 2, 5, 20] {
            let exact = 3.0 * FRAC_PI_2.sqrt() / f64::from(m).sqrt();
            let got = mean_shortest(&vec![(9.0, 9.0); m as usize]);
            assert!((got / exact - 1.0).abs() < 5e-4, "{m}: {got} for {exact}");
        }
        let exact = 2.0 * (2f64.sqrt() - 1.0) / std::f64::consts::PI.sqrt();
        let got = mean_shortest(&[(1.0, 0.0), (0.0, 1.0)]);
        assert!((got / exact - 1.0).abs() < 5e-4, "{got} for {exact}");
        assert_eq!(mean_shortest(&[(0.0, 0.0), (1.0, 2.0)]), 0.0);
    }

    /// Drawn lengths, with a fixed seed: 400,000 days, four standard errors.
    #[test]
    fn the_mean_of_the_shortest_is_that_of_drawn_lengths() {
        let unlike = [(4.0, 1.0), (1.0, 0.3), (0.7, 0.02)];
        let along = vec![(1.0, 0.0); 20];
        for (seed, variances) in [(1, &unlike[..]), (2, &unlike[..2]), (3, &along[..])] {
            let mut chance = resample::replicate(5, seed);
            let (mut sum, mut squares) = (0.0, 0.0);
            let days = 400_000;
            for _ in 0..days {
                let mut length = |(a, b): &(f64, f64)| {
                    let x = a.sqrt() * resample::normal(&mut chance);
                    x.hypot(b.sqrt() * resample::normal(&mut chance))
                };
                let least = variances
                    .iter()
                    .map(&mut length)
                    .fold(f64::INFINITY, f64::min);
                sum += least;
                squares += least * least;
            }
            let n = f64::from(days);
            let error = ((squares / n - (sum / n).powi(2)) / n).sqrt();
            let got = mean_shortest(variances);
            let off = got - sum / n;
            assert!(
                off.abs() < 4.0 * error + 5e-4 * got,
                "{variances:?}: {off} ± {error}"
            );
        }
    }
}
