//! Tails, densities and quantiles: the only file that imports statrs. Plain functions of numbers that never panic and
//! never run for ever; an argument outside its domain gives NaN.
//!
//! Letters: `df`, `d1`, `d2` degrees of freedom (any number above 0), `p` a lower-tail probability, `q` the smaller
//! tail. Only forward functions come from statrs: its quantiles lose digits, or never return, at large degrees of
//! freedom. Student's t is good throughout; the others keep 9 digits to 1e4 degrees of freedom and fewer beyond, and
//! outside 1e-100 … 1e15 F and beta may be NaN. Quantiles here solve ln tail(x) = ln q for ln x, always on the smaller
//! tail.

use super::interval::{Interval, Level};
use super::optimise;
use statrs::function::{beta::checked_beta_reg, erf::erfc_inv, gamma};
use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// ln √(2π).
const LN_ROOT_TWO_PI: f64 = 0.918_938_533_204_672_8;

/// From here on expansions in 1/df are closer to Student's t than the incomplete beta function, whose logarithms of
/// the gamma function cancel (4e-13 here, 4e-12 at 1e4; the expansions 1e-13 and better).
const MANY_DF: f64 = 2000.0;

/// ln Γ(z + ½) − ln Γ(z), without the cancellation for large z (Stirling's series; next term below 1e-16 at 30).
fn ln_gamma_half_step(z: f64) -> f64 {
    if z < 30.0 {
        return gamma::ln_gamma(z + 0.5) - gamma::ln_gamma(z);
    }
    let w = 1.0 / (z * z);
    0.5 * z.ln() - (1.0 / 8.0 - w * (1.0 / 192.0 - w * (1.0 / 640.0 - w * (17.0 / 14336.0)))) / z
}

/// Lower and upper tail of the beta distribution at `x`, given with `rest` = 1 − x so that neither is lost near an end.
fn beta_tails(a: f64, b: f64, x: f64, rest: f64) -> (f64, f64) {
    if x <= (a + 1.0) / (a + b + 2.0) {
        let lower = checked_beta_reg(a, b, x).unwrap_or(f64::NAN);
        (lower, 1.0 - lower)
    } else {
        let upper = checked_beta_reg(b, a, rest).unwrap_or(f64::NAN);
        (1.0 - upper, upper)
    }
}

/// First step of the search for a quantile, and how near it must come, in ln x.
const FIRST_STEP: f64 = 0.125;
const QUANTILE_WITHIN: f64 = 1e-15;

/// The x > 0 at which a tail probability equals `q`; 0 or +∞ where x is too small or too large for a float, NaN where the
/// tail is.
///
/// * `rises` — whether the tail grows with x
/// * `start` — where to look first
fn tail_root(q: f64, rises: bool, start: f64, tail: impl Fn(f64) -> f64) -> f64 {
    let excess = |ln_x: f64| {
        let distance = tail(ln_x.exp()).ln() - q.ln();
        let rising = if rises { distance } else { -distance };
        rising.clamp(f64::MIN, f64::MAX)
    };
    let limits = (f64::MIN_POSITIVE.ln(), f64::MAX.ln());
    let start = start.ln().clamp(limits.0, limits.1);
    optimise::root_outward(excess, start, FIRST_STEP, limits, QUANTILE_WITHIN)
        .map_or(f64::NAN, f64::exp)
}

fn is_probability(p: f64) -> bool {
    (0.0..=1.0).contains(&p)
}

fn is_df(df: f64) -> bool {
    df > 0.0 && df.is_finite()
}

// Normal

/// Probability that a standard normal is below `x`; 2e-13 relative down to −37.
pub fn normal_cdf(x: f64) -> f64 {
    0.5 * libm::erfc(-x * FRAC_1_SQRT_2)
}

/// Probability that a standard normal is above `x`.
pub fn normal_sf(x: f64) -> f64 {
    normal_cdf(-x)
}

/// Standard normal density.
pub fn normal_pdf(x: f64) -> f64 {
    (-0.5 * x * x - LN_ROOT_TWO_PI).exp()
}

/// The `x` below which a standard normal falls with probability `p`; ∓∞ for 0 and 1.
pub fn normal_quantile(p: f64) -> f64 {
    if !is_probability(p) {
        return f64::NAN;
    }
    if p > 0.5 {
        return -normal_quantile(1.0 - p);
    }
    if p == 0.0 {
        return f64::NEG_INFINITY;
    }
    -std::f64::consts::SQRT_2 * erfc_inv(2.0 * p)
}

// Student's t

/// Probability that |t| is above `x` ≥ 0, halved; and that t lies between 0 and `x`.
fn t_tail_and_middle(x: f64, df: f64) -> (f64, f64) {
    if df > MANY_DF {
        let tail = normal_sf(t_as_normal(x, df));
        return (tail, 0.5 - tail);
    }
    let ratio = x / df.sqrt();
    if ratio > 1e8 {
        // First term of the series in 1/ratio², which is below rounding here; ratio² may overflow.
        let a = 0.5 * df;
        let ln_beta = 0.5 * PI.ln() - ln_gamma_half_step(a);
        let tail = 0.5 * (-df * ratio.ln() - a.ln() - ln_beta).exp();
        return (tail, 0.5 - tail);
    }
    let squared = ratio * ratio;
    let (middle, tail) = beta_tails(
        0.5,
        0.5 * df,
        squared / (1.0 + squared),
        1.0 / (1.0 + squared),
    );
    (0.5 * tail, 0.5 * middle)
}

/// The standard normal value with the same upper tail as `x` ≥ 0 for many degrees of freedom, or infinitely many.
///
/// Source: Hill (1970), Algorithm 395, Communications of the ACM 13, 617–619.
fn t_as_normal(x: f64, df: f64) -> f64 {
    if df == f64::INFINITY {
        return x;
    }
    let a = df - 0.5;
    let b = 48.0 * a * a;
    let y = a * (x * (x / df)).ln_1p();
    if y > 1e4 {
        // The tail is below the smallest float, and y² may overflow.
        return f64::INFINITY;
    }
    let correction =
        (((-0.4 * y - 3.3) * y - 24.0) * y - 85.5) / (0.8 * y * y + 100.0 + b) + y + 3.0;
    (correction / b + 1.0) * y.sqrt()
}

/// Probability that Student's t with `df` degrees of freedom (+∞: the normal) is below `x`.
pub fn t_cdf(x: f64, df: f64) -> f64 {
    t_sf(-x, df)
}

/// Probability that Student's t is above `x`.
pub fn t_sf(x: f64, df: f64) -> f64 {
    if x.is_nan() || df.is_nan() || df <= 0.0 {
        return f64::NAN;
    }
    let (tail, _) = t_tail_and_middle(x.abs(), df);
    if x < 0.0 { 1.0 - tail } else { tail }
}

/// ln of the density of Student's t at 0.
pub(super) fn t_ln_pdf_at_0(df: f64) -> f64 {
    if df == f64::INFINITY {
        -LN_ROOT_TWO_PI
    } else {
        ln_gamma_half_step(0.5 * df) - 0.5 * (df * PI).ln()
    }
}

/// ln of Student's t density over its density at 0.
pub(super) fn t_ln_relative_pdf(x: f64, df: f64) -> f64 {
    if df == f64::INFINITY {
        return -0.5 * x * x;
    }
    let ratio = x.abs() / df.sqrt();
    if ratio > 1e8 {
        -(df + 1.0) * ratio.ln()
    } else {
        -0.5 * (df + 1.0) * (ratio * ratio).ln_1p()
    }
}

/// ln of Student's t density.
pub fn t_ln_pdf(x: f64, df: f64) -> f64 {
    if df.is_nan() || df <= 0.0 {
        return f64::NAN;
    }
    t_ln_pdf_at_0(df) + t_ln_relative_pdf(x, df)
}

/// Student's t density.
pub fn t_pdf(x: f64, df: f64) -> f64 {
    t_ln_pdf(x, df).exp()
}

/// The `x` below which Student's t with `df` degrees of freedom (+∞: the normal) falls with probability `p`.
pub fn t_quantile(p: f64, df: f64) -> f64 {
    if !is_probability(p) || df.is_nan() || df <= 0.0 {
        return f64::NAN;
    }
    if p > 0.5 {
        return -t_quantile(1.0 - p, df);
    }
    if p == 0.5 {
        return 0.0;
    }
    let z = -normal_quantile(p);
    if df == f64::INFINITY || p == 0.0 {
        return -z;
    }
    if df > MANY_DF {
        return -t_from_normal(z, df);
    }
    let start = if df > 10.0 { t_from_normal(z, df) } else { z };
    // Near the centre the area between 0 and x is the smaller probability.
    let x = if p > 0.25 {
        tail_root(0.5 - p, true, start, |x| t_tail_and_middle(x, df).1)
    } else {
        tail_root(p, false, start, |x| t_tail_and_middle(x, df).0)
    };
    -x
}

/// Student's t quantile from the normal quantile `z` for many degrees of freedom.
///
/// Source: Abramowitz and Stegun (1964) 26.7.5, four terms of Cornish and Fisher's expansion.
fn t_from_normal(z: f64, df: f64) -> f64 {
    let w = z * z;
    let g1 = (w + 1.0) / 4.0;
    let g2 = ((5.0 * w + 16.0) * w + 3.0) / 96.0;
    let g3 = (((3.0 * w + 19.0) * w + 17.0) * w - 15.0) / 384.0;
    let g4 = ((((79.0 * w + 776.0) * w + 1482.0) * w - 1920.0) * w - 945.0) / 92160.0;
    z * (1.0 + (g1 + (g2 + (g3 + g4 / df) / df) / df) / df)
}

/// ln of the density of |t|·`scale`, t with `df` degrees of freedom, at `x` ≥ 0, less that at 0.
///
/// Source: Gelman (2006), Bayesian Analysis 1, 515–534.
pub fn half_t_ln_fall(x: f64, df: f64, scale: f64) -> f64 {
    if x.is_nan() || x < 0.0 || scale.is_nan() || scale <= 0.0 {
        return f64::NAN;
    }
    -0.5 * (df + 1.0) * ((x / scale).powi(2) / df).ln_1p()
}

// Chi-squared

/// From here on the incomplete gamma functions take too many terms; the cube root's normal approximation (Wilson and
/// Hilferty 1931) is as close as their rounding.
const MOST_CHI2_DF: f64 = 1e7;

/// Lower and upper tail at `x` ≥ 0.
fn chi2_tails(x: f64, df: f64) -> (f64, f64) {
    if x == 0.0 {
        return (0.0, 1.0);
    }
    if x == f64::INFINITY {
        return (1.0, 0.0);
    }
    if df > MOST_CHI2_DF {
        let variance = 2.0 / (9.0 * df);
        let z = ((x / df).cbrt() - (1.0 - variance)) / variance.sqrt();
        return (normal_cdf(z), normal_sf(z));
    }
    let (a, half) = (0.5 * df, 0.5 * x);
    // Halving the smallest floats may give 0, which statrs refuses.
    let lower = gamma::checked_gamma_lr(a, half).unwrap_or(0.0);
    let upper = gamma::checked_gamma_ur(a, half).unwrap_or(1.0);
    (lower, upper)
}

/// Probability that chi-squared is above `x`.
pub fn chi2_sf(x: f64, df: f64) -> f64 {
    if x.is_nan() || !is_df(df) {
        return f64::NAN;
    }
    chi2_tails(x.max(0.0), df).1
}

/// The `x` below which chi-squared falls with probability `p`.
pub fn chi2_quantile(p: f64, df: f64) -> f64 {
    if !is_probability(p) || !is_df(df) {
        return f64::NAN;
    }
    if p == 0.0 {
        return 0.0;
    }
    if p == 1.0 {
        return f64::INFINITY;
    }
    let variance = 2.0 / (9.0 * df);
    let cube_root = 1.0 - variance + variance.sqrt() * normal_quantile(p);
    let a = 0.5 * df;
    let start = if cube_root > 0.3 {
        df * cube_root.powi(3)
    } else {
        // The first term of the lower tail, x^a / (2^a Γ(a + 1)).
        2.0 * ((p.ln() + gamma::ln_gamma(a + 1.0)) / a).exp()
    };
    if p <= 0.5 {
        tail_root(p, true, start, |x| chi2_tails(x, df).0)
    } else {
        tail_root(1.0 - p, false, start, |x| chi2_tails(x, df).1)
    }
}

// F

/// Lower and upper tail at `x` ≥ 0.
fn f_tails(x: f64, d1: f64, d2: f64) -> (f64, f64) {
    let ratio = x * (d1 / d2);
    if ratio == f64::INFINITY {
        return (1.0, 0.0);
    }
    beta_tails(
        0.5 * d1,
        0.5 * d2,
        ratio / (1.0 + ratio),
        1.0 / (1.0 + ratio),
    )
}

/// Probability that F with `d1` and `d2` degrees of freedom is above `x`.
pub fn f_sf(x: f64, d1: f64, d2: f64) -> f64 {
    if x.is_nan() || !is_df(d1) || !is_df(d2) {
        return f64::NAN;
    }
    f_tails(x.max(0.0), d1, d2).1
}

/// The `x` below which F with `d1` and `d2` degrees of freedom falls with probability `p`.
pub fn f_quantile(p: f64, d1: f64, d2: f64) -> f64 {
    if !is_probability(p) || !is_df(d1) || !is_df(d2) {
        return f64::NAN;
    }
    if p == 0.0 {
        return 0.0;
    }
    if p == 1.0 {
        return f64::INFINITY;
    }
    if p <= 0.5 {
        tail_root(p, true, 1.0, |x| f_tails(x, d1, d2).0)
    } else {
        tail_root(1.0 - p, false, 1.0, |x| f_tails(x, d1, d2).1)
    }
}

// Beta and binomial

/// The `x` in [0, 1] below which a beta variate with shapes `a`, `b` falls with probability `p`.
pub fn beta_quantile(p: f64, a: f64, b: f64) -> f64 {
    if !is_probability(p) || !is_df(a) || !is_df(b) {
        return f64::NAN;
    }
    if p > 0.5 {
        return 1.0 - beta_quantile(1.0 - p, b, a);
    }
    if p == 0.0 {
        return 0.0;
    }
    // Solved for the odds x/(1 − x), which keep their digits at both ends.
    let odds = tail_root(p, true, a / b, |odds| {
        beta_tails(a, b, odds / (1.0 + odds), 1.0 / (1.0 + odds)).0
    });
    if odds == f64::INFINITY {
        1.0
    } else {
        odds / (1.0 + odds)
    }
}

/// Exact interval of a chance from `successes` out of `n` (more than `n` count as `n`). With no trials nothing is
/// known: from 0 to 1, estimate ½.
///
/// Source: Clopper and Pearson (1934), Biometrika 26, 404–413.
pub fn binomial_interval(successes: u64, n: u64, level: Level) -> Interval {
    if n == 0 {
        return Interval {
            estimate: 0.5,
            low: 0.0,
            high: 1.0,
        };
    }
    let k = successes.min(n) as f64;
    let (n, tail) = (n as f64, level.lower_tail());
    let low = if k == 0.0 {
        0.0
    } else {
        beta_quantile(tail, k, n - k + 1.0)
    };
    let high = if k == n {
        1.0
    } else {
        1.0 - beta_quantile(tail, n - k, k + 1.0)
    };
    Interval::holding(k / n, low, high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn close(got: f64, wanted: f64, relative: f64) -> bool {
        (got - wanted).abs() <= relative * wanted.abs()
    }

    /// Closed forms: t with 1 degree of freedom is Cauchy's, with 2 it is x/√(2 + x²); F(2, 2) is x/(1 + x);
    /// chi-squared with 2 is exponential; beta(1, b) is 1 − (1 − x)^b.
    #[test]
    fn closed_forms_hold_far_into_the_tails() {
        for tail in [0.4, 0.05, 1e-4, 1e-10, 1e-40, 1e-200f64] {
            // A quantile's logarithm is good to the last bits of its own size.
            let within = 1e-13 + 1e-15 * tail.ln().abs();
            assert!(close(
                t_quantile(tail, 1.0),
                -1.0 / (PI * tail).tan(),
                within
            ));
            let two = (2.0 * tail - 1.0) * (1.0 / (2.0 * tail * (1.0 - tail))).sqrt();
            assert!(close(t_quantile(tail, 2.0), two, within), "{tail}");
            assert!(close(
                f_quantile(tail, 2.0, 2.0),
                tail / (1.0 - tail),
                within
            ));
            assert!(close(
                chi2_quantile(tail, 2.0),
                -2.0 * (-tail).ln_1p(),
                within
            ));
            let beta = -((-tail).ln_1p() / 7.0).exp_m1();
            assert!(close(beta_quantile(tail, 1.0, 7.0), beta, within));
            let x = 1.0 / tail;
            assert!(close(f_sf(x, 2.0, 2.0), 1.0 / (1.0 + x), 1e-13));
            assert!(close(t_sf(x, 1.0), tail.atan() / PI, 1e-13));
        }
    }

    #[test]
    fn arguments_out_of_domain_give_nan() {
        let nan = f64::NAN;
        for p in [nan, -0.1, 1.1, f64::INFINITY] {
            assert!(normal_quantile(p).is_nan());
            assert!(t_quantile(p, 3.0).is_nan());
            assert!(chi2_quantile(p, 3.0).is_nan());
            assert!(f_quantile(p, 3.0, 4.0).is_nan());
            assert!(beta_quantile(p, 3.0, 4.0).is_nan());
        }
        for df in [nan, 0.0, -1.0] {
            assert!(t_quantile(0.3, df).is_nan() && t_cdf(0.3, df).is_nan());
            assert!(t_pdf(0.3, df).is_nan());
            assert!(chi2_quantile(0.3, df).is_nan() && chi2_sf(0.3, df).is_nan());
            assert!(f_quantile(0.3, df, 2.0).is_nan() && f_sf(0.3, 2.0, df).is_nan());
            assert!(beta_quantile(0.3, df, 2.0).is_nan());
            assert!(half_t_ln_fall(1.0, 4.0, df).is_nan());
        }
        assert!(t_cdf(nan, 3.0).is_nan() && chi2_sf(nan, 3.0).is_nan());
        assert!(f_sf(nan, 3.0, 3.0).is_nan());
    }

    #[test]
    fn ends_have_their_limits() {
        assert_eq!(t_quantile(0.0, 3.0), f64::NEG_INFINITY);
        assert_eq!(t_quantile(1.0, 3.0), f64::INFINITY);
        assert_eq!(t_quantile(0.5, 3.0), 0.0);
        assert_eq!(normal_quantile(0.0), f64::NEG_INFINITY);
        assert_eq!(chi2_quantile(0.0, 3.0), 0.0);
        assert_eq!(f_quantile(1.0, 3.0, 3.0), f64::INFINITY);
        assert_eq!(beta_quantile(1.0, 3.0, 3.0), 1.0);
        assert_eq!(t_cdf(f64::INFINITY, 3.0), 1.0);
        assert_eq!(t_cdf(f64::NEG_INFINITY, 3000.0), 0.0);
        assert_eq!(chi2_sf(f64::INFINITY, 3.0), 0.0);
        assert_eq!(f_sf(f64::INFINITY, 3.0, 3.0), 0.0);
        assert_eq!(f_sf(-1.0, 3.0, 3.0), 1.0);
        assert_eq!(chi2_sf(-1.0, 3.0), 1.0);
    }

    /// The expansions in 1/df and the incomplete beta function share nothing and must meet where they change over.
    #[test]
    fn many_degrees_of_freedom_join_smoothly() {
        for x in [0.1, 1.0, 3.0, 7.0] {
            let squared = x * x / MANY_DF;
            let (middle, tail) = beta_tails(
                0.5,
                0.5 * MANY_DF,
                squared / (1.0 + squared),
                1.0 / (1.0 + squared),
            );
            let hill = normal_sf(t_as_normal(x, MANY_DF));
            assert!(
                close(hill, 0.5 * tail, 3e-12),
                "{x}: {hill:e} {tail:e} {middle:e}"
            );
        }
        for df in [2e3, 1e4, 1e6, 1e9] {
            for p in [1e-10, 1e-3, 0.2, 0.45] {
                assert!(close(t_cdf(t_quantile(p, df), df), p, 1e-11), "{p} {df}");
            }
        }
        assert_eq!(t_quantile(0.975, f64::INFINITY), normal_quantile(0.975));
    }

    #[test]
    fn densities_are_slopes() {
        for df in [0.7, 1.0, 4.0, 33.0, 59.0, 61.0, 1e3, 1e5, f64::INFINITY] {
            for x in [0.2, 1.0, 4.0] {
                let h = 1e-4;
                let slope = (t_sf(x - h, df) - t_sf(x + h, df)) / (2.0 * h);
                assert!(close(slope, t_pdf(x, df), 1e-6), "{x} {df}");
            }
        }
        // Cauchy's density, 1/(1 + x²), has fallen to a half at one scale.
        assert!(close(half_t_ln_fall(3.0, 1.0, 3.0), 0.5_f64.ln(), 1e-14));
        let fall = (t_pdf(1.5, 4.0) / t_pdf(0.0, 4.0)).ln();
        assert!(close(half_t_ln_fall(3.0, 4.0, 2.0), fall, 1e-13));
        assert!(half_t_ln_fall(-1.0, 4.0, 1.0).is_nan());
    }

    /// With no success the upper end solves (1 − x)^n = tail, by hand; the mirror image for all.
    #[test]
    fn exact_intervals_of_a_chance() {
        let level = Level::default();
        let none = binomial_interval(0, 10, level);
        assert_eq!((none.estimate, none.low), (0.0, 0.0));
        assert!(close(none.high, 1.0 - 0.025f64.powf(0.1), 1e-13));
        let all = binomial_interval(10, 10, level);
        assert_eq!((all.estimate, all.high), (1.0, 1.0));
        assert!(close(all.low, 0.025f64.powf(0.1), 1e-13));
        let nothing = binomial_interval(0, 0, level);
        assert_eq!((nothing.low, nothing.high), (0.0, 1.0));
    }

    proptest! {
        #[test]
        fn quantiles_invert_and_return(ln_p in -30.0..-0.7f64, ln_df in -3.0..12.0f64, ln_d2 in -3.0..12.0f64) {
            let (p, df, d2) = (ln_p.exp(), ln_df.exp(), ln_d2.exp());
            let holds = |x: f64, back: f64, tolerance: f64| {
                x == 0.0 || x.is_infinite() || close(back, p, tolerance)
            };
            let x = t_quantile(p, df);
            prop_assert!(holds(x, t_cdf(x, df), 1e-9), "t {x} {}", t_cdf(x, df));
            let x = chi2_quantile(p, df);
            prop_assert!(holds(x, chi2_tails(x, df).0, 1e-9), "chi2 {x}");
            let x = f_quantile(p, df, d2);
            prop_assert!(holds(x, f_tails(x, df, d2).0, 1e-9), "F {x}");
            let x = beta_quantile(p, df, d2);
            prop_assert!((0.0..=1.0).contains(&x), "beta {x}");
        }

        #[test]
        fn a_higher_level_never_narrows(k in 0u64..40, more in 0u64..40) {
            let at = |p| binomial_interval(k, k + more, Level::new(p).unwrap());
            let (narrow, wide) = (at(0.8), at(0.95));
            prop_assert!(wide.low <= narrow.low && narrow.high <= wide.high);
        }
    }
}
