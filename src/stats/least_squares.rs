//! Straight fits by ordinary least squares, and the tests that go with them. Takes a design and a response, gives
//! estimates with their errors; factorises nothing itself.
//!
//! Letters: `x` design, n × p; `y` response, n; `beta` coefficients, p; `rss` residual sum of squares.

use super::Numerical;
use super::distributions::f_sf;
use super::linalg::qr_least_squares;
use super::rows::equal_rows;
use nalgebra::{DMatrix, DVector};

/// A sum of squares with its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Squares {
    /// The sum, in squared units of the response.
    pub sum: f64,
    /// Degrees of freedom.
    pub df: usize,
}

/// An F test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FTest {
    /// The ratio; +∞ when nothing at all is left over.
    pub f: f64,
    /// Degrees of freedom of the numerator.
    pub d1: usize,
    /// Degrees of freedom of the denominator.
    pub d2: usize,
    /// Chance of a ratio at least as large when the smaller model holds.
    pub p: f64,
}

/// Whether a larger model leaves over less than a smaller one by more than chance.
///
/// * `smaller`, `larger` — what each model leaves over; the larger model contains the smaller
/// * `None` when the models have equally many coefficients or the larger has none of its degrees of freedom left
pub fn f_test(smaller: Squares, larger: Squares) -> Option<FTest> {
    let d1 = smaller.df.checked_sub(larger.df).filter(|d1| *d1 > 0)?;
    if larger.df == 0 {
        return None;
    }
    let d2 = larger.df;
    // Rounding may leave the larger model a hair more than the smaller one.
    let gain = (smaller.sum - larger.sum).max(0.0) / d1 as f64;
    let f = if gain == 0.0 {
        0.0
    } else {
        gain / (larger.sum / d2 as f64)
    };
    let p = f_sf(f, d1 as f64, d2 as f64);
    Some(FTest { f, d1, d2, p })
}

/// A fitted least-squares model.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Coefficients, p.
    pub beta: DVector<f64>,
    /// Their covariance matrix, p × p.
    pub covariance: DMatrix<f64>,
    /// What the model leaves over.
    pub rest: Squares,
    /// y − Xβ, n.
    pub residuals: DVector<f64>,
    /// Pull of each row on its own fitted value, n, each in [0, 1].
    pub leverage: DVector<f64>,
}

/// Fits y = Xβ + noise of one size.
///
/// # Errors
/// [`Numerical::Shape`] when there are not more rows than coefficients (their errors cannot be told);
/// otherwise as [`qr_least_squares`].
pub fn fit(x: &DMatrix<f64>, y: &DVector<f64>) -> Result<Fit, Numerical> {
    let ls = qr_least_squares(x, y)?;
    let df = x.nrows() - x.ncols();
    if df == 0 {
        return Err(Numerical::Shape {
            what: "a fit needs more rows than coefficients",
        });
    }
    Ok(Fit {
        beta: ls.beta,
        covariance: ls.xtx_inverse * (ls.rss / df as f64),
        rest: Squares { sum: ls.rss, df },
        residuals: ls.residuals,
        leverage: ls.leverage,
    })
}

impl Fit {
    /// Estimated standard deviation of the noise.
    pub fn residual_sd(&self) -> f64 {
        (self.rest.sum / self.rest.df as f64).sqrt()
    }

    /// Standard error of coefficient `j`.
    pub fn standard_error(&self, j: usize) -> f64 {
        self.covariance[(j, j)].sqrt()
    }

    /// Each residual over its standard error in a fit without that row: Student t with one degree of freedom less
    /// than the residuals have, if the row is like the others.
    ///
    /// `None` for a row that alone decides some coefficient, and for all rows when fewer than two degrees of
    /// freedom are left; ±∞ where the others fit exactly and this row does not.
    ///
    /// Source: Cook and Weisberg (1982), Residuals and Influence in Regression, section 2.2.2.
    pub fn deletion_residuals(&self) -> Vec<Option<f64>> {
        let df = self.rest.df;
        self.residuals
            .iter()
            .zip(self.leverage.iter())
            .map(|(e, h)| {
                let free = 1.0 - h;
                // Below this the row's own residual is rounding.
                if df < 2 || free < 1e-10 {
                    return None;
                }
                if *e == 0.0 {
                    return Some(0.0);
                }
                let rest_without = (self.rest.sum - e * e / free).max(0.0) / (df - 1) as f64;
                Some(e / (free * rest_without).sqrt())
            })
            .collect()
    }
}

/// Squares about the mean of each group, without the loss of digits that subtracting sums of squares brings.
///
/// * `group` — a label a row, any numbers; `y` — as many values
///
/// Source: the two-pass formula with its correction, Chan, Golub and LeVeque (1983), American Statistician 37.
pub fn within_groups(group: &[usize], y: &[f64]) -> Squares {
    let mut rows: Vec<usize> = (0..y.len().min(group.len())).collect();
    rows.sort_by_key(|i| group[*i]);
    let mut squares = Squares { sum: 0.0, df: 0 };
    for members in rows.chunk_by(|i, j| group[*i] == group[*j]) {
        let n = members.len() as f64;
        // Values are taken from the first one on, so that a large common part costs no digits of the mean.
        let origin = y[members[0]];
        let mean = members.iter().map(|i| y[*i] - origin).sum::<f64>() / n;
        let deviations = members.iter().map(|i| (y[*i] - origin) - mean);
        let (sum, squared) = deviations.fold((0.0, 0.0), |(s, q), d| (s + d, q + d * d));
        squares.sum += squared - sum * sum / n;
        squares.df += members.len() - 1;
    }
    squares
}

/// Whether the model misses something that repeats of the same settings show: what is left over beyond the scatter
/// of rows with the same design.
///
/// `None` when no row repeats another or the model has as many coefficients as there are settings.
///
/// Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 4.6.1.
pub fn lack_of_fit(x: &DMatrix<f64>, y: &DVector<f64>, fitted: &Fit) -> Option<FTest> {
    let mut group = vec![0; x.nrows()];
    for (label, members) in equal_rows(x).iter().enumerate() {
        for i in members {
            group[*i] = label;
        }
    }
    f_test(fitted.rest, within_groups(&group, y.as_slice()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Points (0, 1), (1, 3), (2, 4), by hand: slope 3/2, residual sum of squares 1/6 on 1 degree of freedom.
    #[test]
    fn a_line_through_three_points_by_hand() {
        let x = DMatrix::from_row_slice(3, 2, &[1., 0., 1., 1., 1., 2.]);
        let fitted = fit(&x, &DVector::from_row_slice(&[1., 3., 4.])).unwrap();
        assert!((fitted.residual_sd() - (1f64 / 6.).sqrt()).abs() < 1e-14);
        assert!((fitted.standard_error(1) - (1f64 / 12.).sqrt()).abs() < 1e-14);
        assert!(fitted.deletion_residuals().iter().all(Option::is_none));
    }

    #[test]
    fn as_many_coefficients_as_rows_is_refused() {
        let x = DMatrix::from_row_slice(2, 2, &[1., 0., 1., 1.]);
        let fitted = fit(&x, &DVector::from_row_slice(&[1., 3.]));
        assert!(matches!(fitted, Err(Numerical::Shape { .. })));
    }

    #[test]
    fn a_row_that_alone_decides_a_coefficient_has_no_deletion_residual() {
        let x = DMatrix::from_row_slice(5, 2, &[1., 0., 1., 0., 1., 0., 1., 0., 1., 1.]);
        let fitted = fit(&x, &DVector::from_row_slice(&[1., 2., 3., 5., 9.])).unwrap();
        let deletion = fitted.deletion_residuals();
        assert!(deletion[4].is_none() && deletion[..4].iter().all(Option::is_some));
    }

    /// Leaving the row out and predicting it is what the formula shortens.
    #[test]
    fn deletion_residuals_are_what_leaving_out_gives() {
        let x = DMatrix::from_fn(8, 2, |i, j| (i as f64).powi(j as i32));
        let y = DVector::from_row_slice(&[1.0, 2.1, 2.8, 4.3, 4.9, 9.0, 7.1, 7.8]);
        let deletion = fit(&x, &y).unwrap().deletion_residuals();
        let row = 5;
        let without = fit(&x.clone().remove_row(row), &y.clone().remove_row(row)).unwrap();
        let at = x.row(row).transpose();
        let error = y[row] - at.dot(&without.beta);
        let variance = without.residual_sd().powi(2) + at.dot(&(&without.covariance * &at));
        assert!((deletion[row].unwrap() - error / variance.sqrt()).abs() < 1e-10);
    }

    #[test]
    fn no_repeats_means_no_lack_of_fit_test() {
        let x = DMatrix::from_fn(5, 2, |i, j| (i as f64).powi(j as i32));
        let y = DVector::from_row_slice(&[1.0, 2.0, 2.5, 4.0, 6.0]);
        let fitted = fit(&x, &y).unwrap();
        assert_eq!(lack_of_fit(&x, &y, &fitted), None);
    }

    #[test]
    fn nothing_left_over_is_certain() {
        let some = Squares { sum: 2.0, df: 5 };
        let none = Squares { sum: 0.0, df: 3 };
        let test = f_test(some, none).unwrap();
        assert_eq!((test.f, test.p), (f64::INFINITY, 0.0));
        let test = f_test(Squares { sum: 0.0, df: 5 }, none).unwrap();
        assert_eq!((test.f, test.p), (0.0, 1.0));
        assert_eq!(f_test(none, some), None);
    }
}
