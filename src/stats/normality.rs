//! Do values follow a normal distribution? Takes values, gives a statistic with its p value.

use super::distributions::normal_cdf;

/// Fewer values say nothing of a shape.
const VALUES_MIN: usize = 8;
/// From here on the p value is below 1e-23 and its formula no longer falls.
const ADJUSTED_MAX: f64 = 10.0;

/// The Anderson–Darling test with mean and spread estimated from the same values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AndersonDarling {
    /// A².
    pub statistic: f64,
    /// A² (1 + 0.75/n + 2.25/n²), which hardly depends on n.
    pub adjusted: f64,
    /// Chance of a statistic at least as large from normal values.
    pub p: f64,
}

/// Tests values for a normal distribution; `None` for fewer than eight, for values all alike, or not finite.
///
/// Source: D'Agostino and Stephens (1986), Goodness-of-Fit Techniques, section 4.8.1: A² with both parameters unknown,
/// p value by the formulas of their table 4.9. See also NIST/SEMATECH e-Handbook 1.3.5.14. Of residuals of a straight
/// line the distribution is the same but for small n (Pierce & Kopecky 1979).
pub fn anderson_darling(values: &[f64]) -> Option<AndersonDarling> {
    let n = values.len();
    if n < VALUES_MIN || !values.iter().all(|v| v.is_finite()) {
        return None;
    }
    let count = n as f64;
    let mean = values.iter().sum::<f64>() / count;
    let sd = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (count - 1.0)).sqrt();
    if sd <= f64::EPSILON * mean.abs() {
        return None;
    }
    let mut z: Vec<f64> = values.iter().map(|v| (v - mean) / sd).collect();
    z.sort_by(f64::total_cmp);
    // Σ (2i − 1)(ln Φ(z_i) + ln(1 − Φ(z_{n+1−i})))
    let ln_below = |z: f64| normal_cdf(z).max(f64::MIN_POSITIVE).ln();
    let pairs = z.iter().zip(z.iter().rev()).enumerate();
    let each =
        pairs.map(|(i, (low, high))| (2 * i + 1) as f64 * (ln_below(*low) + ln_below(-high)));
    let sum: f64 = each.sum();
    let statistic = -count - sum / count;
    let adjusted = statistic * (1.0 + 0.75 / count + 2.25 / (count * count));
    Some(AndersonDarling {
        statistic,
        adjusted,
        p: p_value(adjusted),
    })
}

/// D'Agostino and Stephens (1986), table 4.9.
fn p_value(adjusted: f64) -> f64 {
    let a = adjusted.min(ADJUSTED_MAX);
    let p = if a < 0.2 {
        1.0 - (-13.436 + 101.14 * a - 223.73 * a * a).exp()
    } else if a < 0.34 {
        1.0 - (-8.318 + 42.796 * a - 59.938 * a * a).exp()
    } else if a < 0.6 {
        (0.9177 - 4.279 * a - 1.38 * a * a).exp()
    } else {
        (1.2937 - 5.709 * a + 0.0186 * a * a).exp()
    };
    p.clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::distributions::normal_quantile;
    use crate::stats::resample::{normal, replicate, uniform};

    /// Upper critical values of the adjusted statistic, D'Agostino and Stephens (1986), table 4.7 (written down from
    /// memory; they and the formulas of table 4.9 agree to a part in a hundred, which neither shows by itself).
    #[test]
    fn p_values_are_the_levels_of_the_published_critical_values() {
        for (critical, level) in [(0.631, 0.10), (0.752, 0.05), (0.873, 0.025), (1.035, 0.01)] {
            let p = p_value(critical);
            assert!((p / level - 1.0).abs() < 0.015, "{critical}: {p}");
        }
    }

    /// Fifty two-digit numbers from a telephone book, Conover (1980), Practical Nonparametric Statistics, page 364, a set
    /// that is often taken for tests of normality. A² was computed apart from this program with a normal
    /// distribution from the C library's complementary error function.
    #[test]
    fn fifty_numbers_from_a_telephone_book_pass_for_normal() {
        let numbers = [
            23, 36, 54, 61, 73, 23, 37, 54, 61, 73, 24, 40, 56, 62, 74, 27, 42, 57, 63, 75, 29, 43,
            57, 64, 77, 31, 43, 58, 65, 81, 32, 44, 58, 66, 87, 33, 45, 58, 68, 89, 33, 48, 58, 68,
            93, 35, 48, 59, 70, 97,
        ];
        let test = anderson_darling(&numbers.map(f64::from)).unwrap();
        assert!((test.statistic - 0.333_874_225_075).abs() < 1e-9);
        // 1 + 0.75/50 + 2.25/2500.
        assert!((test.adjusted / test.statistic - 1.0159).abs() < 1e-12);
        assert!(test.p > 0.05);
    }

    /// The level is what it says: 2 000 normal samples each of 10 and 40, tested at 5 %, within four standard errors.
    #[test]
    fn normal_samples_are_called_abnormal_as_often_as_the_level_says() {
        for n in [10, 40] {
            let samples = 2000;
            let found = (0..samples)
                .filter(|&k| {
                    let mut stream = replicate(n, k);
                    let values: Vec<f64> = (0..n).map(|_| normal(&mut stream)).collect();
                    anderson_darling(&values).unwrap().p < 0.05
                })
                .count();
            let rate = found as f64 / samples as f64;
            assert!((rate - 0.05).abs() < 0.02, "{n}: {rate}");
        }
    }

    #[test]
    fn heavy_tails_are_found_and_a_perfect_sample_is_not() {
        let mut stream = replicate(3, 0);
        let wild: Vec<f64> = (0..60)
            .map(|_| (std::f64::consts::PI * (uniform(&mut stream) - 0.5)).tan())
            .collect();
        assert!(anderson_darling(&wild).unwrap().p < 1e-6);
        let perfect: Vec<f64> = (0..60)
            .map(|i| normal_quantile((f64::from(i) + 0.5) / 60.0))
            .collect();
        assert!(anderson_darling(&perfect).unwrap().p > 0.99);
    }

    #[test]
    fn nothing_is_said_of_few_values_or_of_values_all_alike() {
        assert_eq!(anderson_darling(&[1.0; 7]), None);
        assert_eq!(anderson_darling(&[1.0; 20]), None);
        assert_eq!(anderson_darling(&[f64::NAN; 20]), None);
    }
}
