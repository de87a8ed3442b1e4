//! Do two columns of numbers go together? The product-moment correlation with its t test.

use super::distributions::t_sf;

/// A correlation with the chance of one as strong between columns that have nothing to do with each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Correlation {
    /// −1 to 1.
    pub r: f64,
    /// r √(df/(1 − r²)); ±∞ where the points lie on a line.
    pub t: f64,
    /// Degrees of freedom, n − 2.
    pub df: usize,
    /// Two-sided.
    pub p: f64,
}

/// Correlation of pairs; `None` for fewer than four, a column that does not vary, or numbers that are not finite.
///
/// Source: Fisher (1915), Biometrika 10, 507–521; the t test is that of a straight line's slope.
pub fn correlation(x: &[f64], y: &[f64]) -> Option<Correlation> {
    let n = x.len();
    if n < 4 || y.len() != n || !x.iter().chain(y).all(|v| v.is_finite()) {
        return None;
    }
    let count = n as f64;
    let mean = |v: &[f64]| v.iter().sum::<f64>() / count;
    let (x_mean, y_mean) = (mean(x), mean(y));
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (a, b) in x.iter().zip(y) {
        let (a, b) = (a - x_mean, b - y_mean);
        xx += a * a;
        xy += a * b;
        yy += b * b;
    }
    let varies = |squares: f64, mean: f64| squares > count * (1e-12 * mean).powi(2);
    if !varies(xx, x_mean) || !varies(yy, y_mean) {
        return None;
    }
    let r = (xy / (xx.sqrt() * yy.sqrt())).clamp(-1.0, 1.0);
    let df = n - 2;
    let t = r * (df as f64 / ((1.0 - r) * (1.0 + r))).sqrt();
    Some(Correlation {
        r,
        t,
        df,
        p: (2.0 * t_sf(t.abs(), df as f64)).min(1.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Points (1, 1), (2, 3), (3, 2), (4, 4), by hand: r = 4/5, t = 0.8 √2/0.6, and with 2 degrees of freedom
    /// P(|T| > t) = 1 − t/√(2 + t²) = 1 − r.
    #[test]
    fn four_points_by_hand() {
        let c = correlation(&[1., 2., 3., 4.], &[1., 3., 2., 4.]).unwrap();
        assert!((c.r - 0.8).abs() < 1e-15 && c.df == 2);
        assert!((c.t - 0.8 * 2f64.sqrt() / 0.6).abs() < 1e-14);
        assert!((c.p - 0.2).abs() < 1e-13);
    }

    #[test]
    fn a_column_that_stands_still_says_nothing() {
        assert_eq!(correlation(&[1.0; 5], &[1., 2., 3., 4., 5.]), None);
        assert_eq!(correlation(&[1., 2., 3.], &[1., 2., 3.]), None);
        let c = correlation(&[1., 2., 3., 4.], &[-2., -4., -6., -8.]).unwrap();
        assert!((c.r + 1.0).abs() < 1e-15 && c.t < -1e6 && c.p < 1e-12);
    }
}
