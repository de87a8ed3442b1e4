//! Checked factorisations: the only file that factorises a matrix. Takes finite matrices, gives solutions, or says which
//! column made it impossible.
//!
//! Letters: `a` symmetric positive definite, p × p; `x` a design, n × p; `y` a response, n. Symmetric matrices are full
//! [`DMatrix`]es; the nodes of a posterior keep their lower triangle by rows, as `calibration.json` does ([`packed`]).

use super::Numerical;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// A column is aliased when the columns before it leave less than this part of its square, 1 − R². Below it the rounding
/// of the entries (2e-16 times the growth of a small matrix) is no longer small beside the Schur complement.
const ALIASED: f64 = 1e-11;

/// Index of entry (i, j) in a lower triangle kept by rows: (0, 0), (1, 0), (1, 1), (2, 0) …
pub fn packed(i: usize, j: usize) -> usize {
    let (i, j) = if i >= j { (i, j) } else { (j, i) };
    i * (i + 1) / 2 + j
}

/// The lower triangle of a symmetric matrix, [`packed`].
pub fn lower_triangle(a: &DMatrix<f64>) -> Vec<f64> {
    let rows = (0..a.nrows()).flat_map(|i| (0..=i).map(move |j| (i, j)));
    rows.map(|at| a[at]).collect()
}

/// The symmetric p × p matrix of a [`packed`] lower triangle.
pub fn symmetric(lower: &[f64], p: usize) -> DMatrix<f64> {
    DMatrix::from_fn(p, p, |i, j| lower[packed(i, j)])
}

/// x'Cx for a [`packed`] lower triangle, summed row by row.
pub fn quadratic(covariance: &[f64], x: &[f64]) -> f64 {
    let mut sum = 0.0;
    let mut entries = covariance.iter();
    for (i, a) in x.iter().enumerate() {
        for (b, c) in x[..i].iter().zip(&mut entries) {
            sum += 2.0 * a * b * c;
        }
        sum += entries.next().map_or(0.0, |c| a * a * c);
    }
    sum
}

/// Σ a_i b_i.
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).fold(0.0, |sum, (a, b)| sum + a * b)
}

/// Cholesky factor of a symmetric positive definite matrix, scaled to unit diagonal beforehand, so that the units
/// of the columns do not matter: D·A·D = L·L'.
#[derive(Debug, Clone)]
pub struct Factor {
    cholesky: Cholesky<f64, Dyn>,
    /// Diagonal of D: one over the root of A's diagonal.
    scale: DVector<f64>,
}

impl Factor {
    /// Factorises `a`.
    ///
    /// # Errors
    /// [`Numerical::Shape`] when not square; [`Numerical::NotFinite`]; [`Numerical::RankLost`] naming the first column
    /// that those before it explain but for 1e-11 of its square.
    pub fn new(a: &DMatrix<f64>) -> Result<Factor, Numerical> {
        if !a.is_square() {
            return Err(Numerical::Shape {
                what: "a matrix to factorise must be square",
            });
        }
        check_finite(a, "an entry of a matrix to factorise")?;
        let scale = a.diagonal().map(|square| 1.0 / square.sqrt());
        let unit = DMatrix::from_fn(a.nrows(), a.ncols(), |i, j| a[(i, j)] * scale[i] * scale[j]);
        match Cholesky::new(unit) {
            // With unit diagonal a squared pivot is what the columns before it leave of a column.
            Some(cholesky)
                if cholesky
                    .l_dirty()
                    .diagonal()
                    .iter()
                    .all(|l| l * l >= ALIASED) =>
            {
                Ok(Factor { cholesky, scale })
            }
            _ => {
                let left = eliminate(a, a.ncols());
                let aliased = left.iter().position(Option::is_none);
                // Where the two disagree by rounding it is the last that is nearest to its limit.
                let column = aliased.unwrap_or(a.ncols().saturating_sub(1));
                Err(Numerical::RankLost { column })
            }
        }
    }

    /// L⁻¹·D·b, whose squared length is b'A⁻¹b; [`Factor::back`] goes on from there to A⁻¹b.
    ///
    /// # Panics
    /// When `b` has another length than the matrix.
    pub fn forward(&self, b: &DVector<f64>) -> DVector<f64> {
        let mut z = b.component_mul(&self.scale);
        let solved = self.cholesky.l_dirty().solve_lower_triangular_mut(&mut z);
        assert!(solved, "a factor's pivots are above 0");
        z
    }

    /// D·L⁻ᵀ·z.
    pub fn back(&self, mut z: DVector<f64>) -> DVector<f64> {
        let solved = self
            .cholesky
            .l_dirty()
            .tr_solve_lower_triangular_mut(&mut z);
        assert!(solved, "a factor's pivots are above 0");
        z.component_mul(&self.scale)
    }

    /// A⁻¹b.
    ///
    /// # Panics
    /// When `b` has another length than the matrix.
    pub fn solve(&self, b: &DVector<f64>) -> DVector<f64> {
        self.back(self.forward(b))
    }

    /// b'A⁻¹b, never negative.
    ///
    /// # Panics
    /// When `b` has another length than the matrix.
    pub fn quadratic(&self, b: &DVector<f64>) -> f64 {
        self.forward(b).norm_squared()
    }

    /// A⁻¹, exactly symmetric.
    pub fn inverse(&self) -> DMatrix<f64> {
        let unit = self.cholesky.inverse();
        let scaled = |i: usize, j: usize| unit[(i, j)] * self.scale[i] * self.scale[j];
        DMatrix::from_fn(unit.nrows(), unit.ncols(), |i, j| {
            scaled(i.max(j), i.min(j))
        })
    }

    /// ln |A|.
    pub fn ln_determinant(&self) -> f64 {
        let pivots = self.cholesky.l_dirty().diagonal();
        let each = pivots.iter().zip(self.scale.iter());
        each.map(|(l, scale)| 2.0 * (l / scale).ln()).sum()
    }
}

fn check_finite(a: &DMatrix<f64>, what: &'static str) -> Result<(), Numerical> {
    let finite = a.iter().all(|entry| entry.is_finite());
    finite.then_some(()).ok_or(Numerical::NotFinite { what })
}

/// Schur complement of each of the first `columns` columns of a symmetric matrix once those before it have been eliminated
/// (in the order given, without pivoting); `None` for an aliased one, which is passed over.
fn eliminate(a: &DMatrix<f64>, columns: usize) -> Vec<Option<DVector<f64>>> {
    let mut left = a.clone();
    let one = |j: usize| {
        let column = left.column(j).into_owned();
        (column[j] > ALIASED * a[(j, j)]).then(|| {
            left.ger(-1.0 / column[j], &column, &column, 1.0);
            column
        })
    };
    (0..columns).map(one).collect()
}

/// The columns of a design that those before them do not explain, from its cross-products X'X: the estimable ones.
pub fn estimable_columns(xx: &DMatrix<f64>) -> Vec<usize> {
    let left = eliminate(xx, xx.ncols());
    (0..xx.ncols()).filter(|&j| left[j].is_some()).collect()
}

/// Least squares with columns taken one after another, from cross-products.
#[derive(Debug, Clone)]
pub struct Sequential {
    /// Sequential sum of squares of each column: what it explains beyond those before it; `None` for an aliased one.
    pub explained: Vec<Option<f64>>,
    /// Residual sum of squares of all.
    pub rss: f64,
    /// Coefficient of the last column that is not aliased, beside the others; 0 without any.
    pub last: f64,
}

impl Sequential {
    /// From the bordered matrix [X'X X'y; y'X y'y].
    ///
    /// # Errors
    /// [`Numerical::NotFinite`].
    pub fn from_cross_products(bordered: &DMatrix<f64>) -> Result<Self, Numerical> {
        check_finite(bordered, "a sum of a least-squares problem")?;
        let p = bordered.ncols() - 1;
        let left = eliminate(bordered, p);
        let explained = |(j, column): (usize, &Option<DVector<f64>>)| {
            column
                .as_ref()
                .map(|column| column[p] * column[p] / column[j])
        };
        let explained: Vec<Option<f64>> = left.iter().enumerate().map(explained).collect();
        let last = left
            .iter()
            .enumerate()
            .rev()
            .find_map(|(j, column)| column.as_ref().map(|column| column[p] / column[j]));
        let gained: f64 = explained.iter().flatten().sum();
        Ok(Sequential {
            rss: (bordered[(p, p)] - gained).max(0.0),
            last: last.unwrap_or(0.0),
            explained,
        })
    }

    /// The columns that are not aliased.
    pub fn estimable(&self) -> Vec<usize> {
        let columns = 0..self.explained.len();
        columns.filter(|&j| self.explained[j].is_some()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn factors_multiply_back() {
        let a = DMatrix::from_row_slice(3, 3, &[4.0, 2.0, 1.0, 2.0, 5.0, 3.0, 1.0, 3.0, 6.0]);
        let factor = Factor::new(&a).unwrap();
        let identity = &a * factor.inverse();
        assert!((identity - DMatrix::identity(3, 3)).amax() < 1e-15);
        // 4(30 − 9) − 2(12 − 3) + 1(6 − 5) = 67, by hand.
        assert!((factor.ln_determinant() - 67f64.ln()).abs() < 1e-14);
        let b = DVector::from_row_slice(&[1.0, -2.0, 0.5]);
        assert!((&a * factor.solve(&b) - &b).amax() < 1e-15);
        assert!((factor.quadratic(&b) - b.dot(&factor.solve(&b))).abs() < 1e-14);
        assert_eq!(symmetric(&lower_triangle(&a), 3), a);
    }

    #[test]
    fn units_do_not_make_a_matrix_singular() {
        let units = DMatrix::from_diagonal(&DVector::from_row_slice(&[1e-9, 1.0, 1e9]));
        let a = DMatrix::from_row_slice(3, 3, &[4.0, 2.0, 1.0, 2.0, 5.0, 3.0, 1.0, 3.0, 6.0]);
        let factor = Factor::new(&(&units * a * &units)).unwrap();
        assert!((factor.ln_determinant() - 67f64.ln()).abs() < 1e-13);
    }

    #[test]
    fn an_explained_column_is_named() {
        let x = DMatrix::from_row_slice(4, 3, &[1., 2., 3., 1., 4., 5., 1., 6., 7., 1., 9., 10.]);
        let lost = Numerical::RankLost { column: 2 };
        let squares = x.tr_mul(&x);
        assert_eq!(Factor::new(&squares).unwrap_err(), lost);
        assert_eq!(estimable_columns(&squares), [0, 1]);
        let zero = DMatrix::from_row_slice(2, 2, &[1.0, 0.0, 0.0, 0.0]);
        let lost = Numerical::RankLost { column: 1 };
        assert_eq!(Factor::new(&zero).unwrap_err(), lost);
    }

    #[test]
    fn nan_and_infinity_are_refused() {
        for bad in [f64::NAN, f64::INFINITY] {
            let a = DMatrix::from_row_slice(2, 2, &[1.0, 0.1, 0.1, bad]);
            assert!(matches!(Factor::new(&a), Err(Numerical::NotFinite { .. })));
        }
    }

    #[test]
    fn wrong_shapes_are_refused_in_words() {
        let x = DMatrix::zeros(3, 2);
        assert!(matches!(Factor::new(&x), Err(Numerical::Shape { .. })));
    }

    /// y = (1, 3, 4) on ones, on (0, 1, 2) and on twice that: 64/3 for the mean, 9/2 for the slope, 1/6 left.
    #[test]
    fn sequential_sums_of_squares_by_hand() {
        let x = DMatrix::from_row_slice(3, 4, &[1., 0., 0., 1., 1., 1., 2., 3., 1., 2., 4., 4.]);
        let fit = Sequential::from_cross_products(&x.tr_mul(&x)).unwrap();
        assert!((fit.explained[0].unwrap() - 64. / 3.).abs() < 1e-13);
        assert!((fit.explained[1].unwrap() - 4.5).abs() < 1e-13);
        assert_eq!(fit.explained[2], None);
        assert_eq!(fit.estimable(), [0, 1]);
        assert!((fit.rss - 1. / 6.).abs() < 1e-13);
        assert!((fit.last - 1.5).abs() < 1e-13);
        let bad = DMatrix::from_row_slice(2, 2, &[1.0, f64::NAN, f64::NAN, 1.0]);
        let bad = Sequential::from_cross_products(&bad);
        assert!(matches!(bad, Err(Numerical::NotFinite { .. })));
    }
}
