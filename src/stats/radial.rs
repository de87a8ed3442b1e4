//! How far from the centre two independent normal errors end up together.

use super::distributions::normal_sf;
use std::f64::consts::{FRAC_2_PI, FRAC_PI_2};

/// Points for each unit of √(larger over smaller sd): errors fall as exp(−4·points·√(a/b)), and twelve leave room
/// for the singular point that the exponential has at the same distance.
const POINTS_PER_ROOT: f64 = 12.0;
const POINTS_MORE: f64 = 4.0;
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
    let points = (POINTS_PER_ROOT / k2.sqrt() + POINTS_MORE).ceil();
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

#[cfg(test)]
mod tests {
    use super::*;

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
}
