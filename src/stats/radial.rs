//! How far from the centre two independent normal errors end up together.

use super::distributions::normal_sf;
use std::f64::consts::FRAC_PI_2;

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
    let points = (POINTS_PER_ROOT / k2.sqrt() + POINTS_MORE).ceil();
    let product = (small * large).sqrt();
    let half_square = 0.5 * reach * reach;
    let mut outside = 0.0;
    let mut all = 0.0;
    for i in 0..points as usize {
        let (sin, cos) = (FRAC_PI_2 * (i as f64 + 0.5) / points).sin_cos();
        let (s2, c2) = (sin * sin, cos * cos);
        let stretch = c2 + k2 * s2;
        let density = 1.0 / stretch;
        let variance = (small * c2 + product * s2) / stretch;
        outside += density * (-half_square / variance).exp();
        all += density;
    }
    1.0 - outside / all
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
}
