//! Least squares by QR: an oracle that shares nothing with the program, whose fits come from centred cross-products. It is
//! itself held to NIST's certified values in `tests/reference/linear_regression.rs`.

use haltmark::stats::anova::Squares;
use haltmark::stats::linalg::Factor;
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;

/// A fit of y = Xβ + noise of one size, X of full rank with more rows than columns.
pub struct Fit {
    pub beta: DVector<f64>,
    /// (X'X)⁻¹.
    pub xtx_inverse: DMatrix<f64>,
    /// Residual sum of squares.
    pub rest: Squares,
    /// y − Xβ.
    pub residuals: DVector<f64>,
    /// Diagonal of X(X'X)⁻¹X'.
    pub leverage: DVector<f64>,
}

/// Columns scaled to length 1, so that units do not matter. Source: Golub and Van Loan, Matrix Computations, section 5.3.
pub fn fit(x: &DMatrix<f64>, y: &DVector<f64>) -> Fit {
    let (n, p) = x.shape();
    let scale = DVector::from_iterator(p, x.column_iter().map(|column| 1.0 / column.norm()));
    let qr = (x * DMatrix::from_diagonal(&scale)).qr();
    let (q, r) = (qr.q(), qr.r());
    let mut rotated = y.clone();
    qr.q_tr_mul(&mut rotated);
    let head = rotated.rows(0, p).into_owned();
    let inverse_r = r.solve_upper_triangular(&DMatrix::identity(p, p));
    let scaled_inverse = DMatrix::from_diagonal(&scale) * inverse_r.expect("full rank");
    // Projecting twice takes out what rounding left of the columns the first time.
    let once = y - &q * &head;
    Fit {
        beta: &scaled_inverse * head,
        xtx_inverse: &scaled_inverse * scaled_inverse.transpose(),
        rest: Squares {
            sum: rotated.rows(p, n - p).norm_squared(),
            df: n - p,
        },
        residuals: &once - &q * q.tr_mul(&once),
        leverage: DVector::from_iterator(n, q.row_iter().map(|row| row.norm_squared())),
    }
}

impl Fit {
    pub fn residual_sd(&self) -> f64 {
        (self.rest.sum / self.rest.df as f64).sqrt()
    }

    pub fn standard_error(&self, j: usize) -> f64 {
        self.residual_sd() * self.xtx_inverse[(j, j)].sqrt()
    }
}

proptest! {
    #[test]
    fn the_programs_factor_gives_the_same_inverse(entries in prop::collection::vec(-1.0..1.0f64, 40)) {
        let x = DMatrix::from_row_slice(10, 4, &entries);
        let y = DVector::from_fn(10, |i, _| entries[3 * i] + i as f64);
        if let Ok(factor) = Factor::new(&x.tr_mul(&x)) {
            let fit = fit(&x, &y);
            let size = 1.0 + fit.xtx_inverse.amax();
            prop_assert!((factor.inverse() - &fit.xtx_inverse).amax() < 1e-9 * size * size);
        }
    }
}
