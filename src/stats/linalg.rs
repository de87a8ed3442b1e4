//! Checked factorisations: the only file that factorises a matrix. Takes finite matrices, gives solutions, or
//! says which column made it impossible.
//!
//! Letters: `a` symmetric positive definite, p × p; `x` a design, n × p; `y` a response, n.

use super::Numerical;
use nalgebra::{DMatrix, DVector};
use smallvec::SmallVec;

/// A few numbers, kept in place up to the triangle of five columns: a search over the ratio factorises hundreds of them.
pub type Few = SmallVec<[f64; 15]>;

/// Smallest pivot of a matrix scaled to unit diagonal. A pivot is 1 − R² of a column on those before it; below
/// this, rounding of the entries (2e-16 times the growth of a small matrix) is no longer small beside it.
const LEAST_PIVOT: f64 = 1e-11;

/// Smallest diagonal of R for columns of length 1: the share of a column's length that the columns before it do
/// not explain. Some hundred times the rounding of a column; the hardest published set (Filip) stays above it.
const LEAST_LENGTH: f64 = 1e-13;

/// Index of entry (i, j) in a lower triangle kept by rows: (0, 0), (1, 0), (1, 1), (2, 0) …
#[inline]
pub fn packed(i: usize, j: usize) -> usize {
    let (i, j) = if i >= j { (i, j) } else { (j, i) };
    i * (i + 1) / 2 + j
}

/// x'Cx for a packed lower triangle, summed row by row.
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

/// Cholesky factor of a symmetric positive definite matrix, scaled to unit diagonal beforehand, so that the units
/// of the columns do not matter.
#[derive(Debug, Clone)]
pub struct Factor {
    /// Lower triangle L of D·A·D = L·L', [`packed`].
    lower: Few,
    /// Diagonal of D: one over the root of A's diagonal.
    scale: Few,
}

impl Factor {
    /// Factorises `a`, of which only the lower triangle is read.
    ///
    /// # Errors
    /// [`Numerical::Shape`] when not square; otherwise as [`Factor::of_packed`].
    pub fn new(a: &DMatrix<f64>) -> Result<Factor, Numerical> {
        let p = a.nrows();
        if a.ncols() != p {
            return Err(Numerical::Shape {
                what: "a matrix to factorise must be square",
            });
        }
        let mut lower = Few::with_capacity(p * (p + 1) / 2);
        for i in 0..p {
            lower.extend((0..=i).map(|j| a[(i, j)]));
        }
        Factor::of_packed(lower, p)
    }

    /// Factorises the p × p matrix whose lower triangle is given [`packed`].
    ///
    /// # Errors
    /// [`Numerical::NotFinite`]; [`Numerical::RankLost`] naming the first column whose pivot is below 1e-11 of its
    /// diagonal.
    pub fn of_packed(lower: impl Into<Few>, p: usize) -> Result<Factor, Numerical> {
        let mut lower = lower.into();
        assert_eq!(lower.len(), p * (p + 1) / 2, "entries of a lower triangle");
        if !lower.iter().all(|entry| entry.is_finite()) {
            return Err(Numerical::NotFinite {
                what: "an entry of a matrix to factorise",
            });
        }
        let mut scale = Few::with_capacity(p);
        for j in 0..p {
            let root = lower[packed(j, j)].sqrt();
            if root.is_nan() || root < f64::MIN_POSITIVE {
                return Err(Numerical::RankLost { column: j });
            }
            scale.push(1.0 / root);
        }
        let (entries, scales) = (lower.as_mut_slice(), scale.as_slice());
        for i in 0..p {
            let row = &mut entries[packed(i, 0)..=packed(i, i)];
            for (entry, scale) in row[..i].iter_mut().zip(scales) {
                *entry = *entry * scales[i] * scale;
            }
            row[i] = 1.0;
            let pivot = eliminate(entries, i);
            if pivot.is_nan() || pivot < LEAST_PIVOT {
                return Err(Numerical::RankLost { column: i });
            }
            entries[packed(i, i)] = pivot.sqrt();
        }
        Ok(Factor { lower, scale })
    }

    /// Number of rows and columns.
    pub fn size(&self) -> usize {
        self.scale.len()
    }

    /// L⁻¹·D·b, whose squared length is b'A⁻¹b.
    fn half_solved(&self, b: &[f64]) -> Few {
        assert_eq!(b.len(), self.size(), "right-hand side has another length");
        let mut z = Few::from_slice(b);
        let (solved, mut rows) = (z.as_mut_slice(), self.lower.as_slice());
        for (i, scale) in self.scale.iter().enumerate() {
            let (row, below) = rows.split_at(i + 1);
            let mut entry = solved[i] * scale;
            for (a, known) in row.iter().zip(&solved[..i]) {
                entry -= a * known;
            }
            solved[i] = entry / row[i];
            rows = below;
        }
        z
    }

    /// D·L⁻ᵀ·z.
    fn other_half_solved(&self, mut z: Few) -> Few {
        let (solved, lower) = (z.as_mut_slice(), self.lower.as_slice());
        for i in (0..solved.len()).rev() {
            let row = &lower[packed(i, 0)..=packed(i, i)];
            solved[i] /= row[i];
            let known = solved[i];
            for (z, a) in solved.iter_mut().zip(&row[..i]) {
                *z -= a * known;
            }
        }
        for (x, scale) in z.iter_mut().zip(&self.scale) {
            *x *= scale;
        }
        z
    }

    /// A⁻¹b.
    ///
    /// # Panics
    /// When `b` has another length than the matrix.
    pub fn solve(&self, b: &DVector<f64>) -> DVector<f64> {
        DVector::from_column_slice(&self.other_half_solved(self.half_solved(b.as_slice())))
    }

    /// b'A⁻¹b, never negative.
    ///
    /// # Panics
    /// When `b` has another length than the matrix.
    pub fn quadratic(&self, b: &DVector<f64>) -> f64 {
        self.half_solved(b.as_slice()).iter().map(|z| z * z).sum()
    }

    /// A⁻¹, exactly symmetric.
    pub fn inverse(&self) -> DMatrix<f64> {
        let lower = self.inverse_packed();
        DMatrix::from_fn(self.size(), self.size(), |i, j| lower[packed(i, j)])
    }

    /// Lower triangle of A⁻¹, [`packed`].
    pub fn inverse_packed(&self) -> Vec<f64> {
        let p = self.size();
        let (lower, scale) = (self.lower.as_slice(), self.scale.as_slice());
        // First L⁻¹ row by row, then D·L⁻ᵀ·L⁻¹·D.
        let mut turned = Few::from_elem(0.0, lower.len());
        let turned = turned.as_mut_slice();
        for i in 0..p {
            let row = &lower[packed(i, 0)..=packed(i, i)];
            let (above, rest) = turned.split_at_mut(packed(i, 0));
            let own = &mut rest[..=i];
            own[i] = 1.0 / row[i];
            for j in 0..i {
                let mut entry = 0.0;
                for k in j..i {
                    entry -= row[k] * above[packed(k, j)];
                }
                own[j] = entry / row[i];
            }
        }
        let mut inverse = Vec::with_capacity(lower.len());
        for i in 0..p {
            for j in 0..=i {
                let mut entry = 0.0;
                for k in i..p {
                    entry += turned[packed(k, i)] * turned[packed(k, j)];
                }
                inverse.push(entry * scale[i] * scale[j]);
            }
        }
        inverse
    }

    /// ln |A|.
    pub fn ln_determinant(&self) -> f64 {
        (0..self.size())
            .map(|j| 2.0 * (self.lower[packed(j, j)] / self.scale[j]).ln())
            .sum()
    }
}

/// Normal equations with what they leave: [A b; b' c], A the cross-products of the columns, b those with the response,
/// c the response's square.
#[derive(Debug, Clone)]
pub struct Normal {
    /// Of A.
    pub factor: Factor,
    /// L⁻¹·D·b.
    half_solved: Few,
    /// c − b'A⁻¹b, the residual sum of squares as far as it can be had by subtraction.
    pub left_over: f64,
}

impl Normal {
    /// From the lower triangle of the (p+1) × (p+1) matrix, [`packed`].
    ///
    /// # Errors
    /// As [`Factor::of_packed`].
    pub fn of_packed(mut bordered: Few, p: usize) -> Result<Normal, Numerical> {
        let border = Few::from_slice(&bordered[p * (p + 1) / 2..]);
        bordered.truncate(p * (p + 1) / 2);
        let factor = Factor::of_packed(bordered, p)?;
        let half_solved = factor.half_solved(&border[..p]);
        let explained: f64 = half_solved.iter().map(|z| z * z).sum();
        Ok(Normal {
            factor,
            half_solved,
            left_over: border[p] - explained,
        })
    }

    /// A⁻¹b.
    pub fn solution(&self) -> Few {
        self.factor.other_half_solved(self.half_solved.clone())
    }
}

/// What [`Normal`] leaves and ln |A|, with nothing else kept: for searches that ask for hundreds. `bordered` is used up.
///
/// # Errors
/// As [`Normal::of_packed`].
pub fn left_over_and_ln_determinant(
    bordered: &mut [f64],
    p: usize,
) -> Result<(f64, f64), Numerical> {
    let mut ln_determinant = 0.0;
    let mut left = 0.0;
    if !bordered.iter().all(|entry| entry.is_finite()) {
        return Err(Numerical::NotFinite {
            what: "an entry of a matrix to factorise",
        });
    }
    for i in 0..=p {
        left = eliminate(bordered, i);
        if i < p {
            let diagonal = &mut bordered[packed(i, i)];
            // A pivot is what the columns before it leave of a column, as a part of its own square.
            if left.is_nan() || left <= 0.0 || left < LEAST_PIVOT * *diagonal {
                return Err(Numerical::RankLost { column: i });
            }
            ln_determinant += left.ln();
            *diagonal = left.sqrt();
        }
    }
    Ok((left, ln_determinant))
}

/// Makes row `i` of a [`packed`] triangle whose rows above are factorised one of the factor; returns what that leaves of its
/// diagonal, which stays as it is.
fn eliminate(triangle: &mut [f64], i: usize) -> f64 {
    let (above, rest) = triangle.split_at_mut(packed(i, 0));
    let row = &mut rest[..=i];
    let mut left = row[i];
    for j in 0..i {
        let known = &above[packed(j, 0)..=packed(j, j)];
        let mut entry = row[j];
        for (a, b) in row[..j].iter().zip(known) {
            entry -= a * b;
        }
        row[j] = entry / known[j];
        left -= row[j] * row[j];
    }
    left
}

/// What columns taken one after another explain of a response.
#[derive(Debug, Clone)]
pub struct InOrder {
    /// Of the response's square, what each column explains beyond those before it; `None` where they leave nothing
    /// of the column itself.
    pub explained: Vec<Option<f64>>,
    /// What they all leave.
    pub left_over: f64,
    /// Coefficient of the last column that is not explained, beside the others; 0 without any.
    pub last: f64,
}

impl InOrder {
    /// From the lower triangle of [A b; b' c] as in [`Normal`], [`packed`], with columns passed over where
    /// [`Factor::of_packed`] would name them.
    ///
    /// # Errors
    /// [`Numerical::NotFinite`].
    pub fn of_packed(mut bordered: Vec<f64>, p: usize) -> Result<InOrder, Numerical> {
        assert_eq!(bordered.len(), (p + 1) * (p + 2) / 2, "a bordered triangle");
        if !bordered.iter().all(|entry| entry.is_finite()) {
            return Err(Numerical::NotFinite {
                what: "a sum of a least-squares problem",
            });
        }
        let border = p * (p + 1) / 2;
        let mut lengths = Vec::with_capacity(p);
        let mut order = InOrder {
            explained: vec![None; p],
            left_over: bordered[border + p],
            last: 0.0,
        };
        for i in 0..p {
            let (above, rest) = bordered.split_at_mut(i * (i + 1) / 2);
            let (row, below) = rest.split_at_mut(i + 1);
            let length = row[i].sqrt();
            lengths.push(length);
            if length.is_nan() || length < f64::MIN_POSITIVE {
                row.fill(0.0);
                continue;
            }
            let mut pivot: f64 = 1.0;
            for j in 0..i {
                if order.explained[j].is_none() {
                    row[j] = 0.0;
                    continue;
                }
                let known = &above[j * (j + 1) / 2..][..=j];
                let entry = row[j] / (length * lengths[j]) - dot(&row[..j], &known[..j]);
                row[j] = entry / known[j];
                pivot -= row[j] * row[j];
            }
            if pivot.is_nan() || pivot < LEAST_PIVOT {
                row.fill(0.0);
                continue;
            }
            // From here on the row is that of L for columns of length 1.
            row[i] = pivot.sqrt();
            let response = &mut below[border - (i + 1) * (i + 2) / 2..];
            let half = (response[i] / length - dot(&row[..i], &response[..i])) / row[i];
            response[i] = half;
            order.explained[i] = Some(half * half);
            order.left_over -= half * half;
            order.last = half / (row[i] * length);
        }
        order.left_over = order.left_over.max(0.0);
        Ok(order)
    }

    /// The columns that those before them do not explain.
    pub fn kept(&self) -> Vec<usize> {
        let told = self.explained.iter().enumerate();
        told.filter_map(|(column, explained)| explained.map(|_| column))
            .collect()
    }
}

/// Σ a_i b_i.
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// An ordinary least-squares solution.
#[derive(Debug, Clone)]
pub struct Ls {
    /// Coefficients, p.
    pub beta: DVector<f64>,
    /// Residual sum of squares.
    pub rss: f64,
    /// (X'X)⁻¹, p × p.
    pub xtx_inverse: DMatrix<f64>,
    /// y − Xβ, n; the part of `y` at right angles to the columns, so small residuals keep their digits.
    pub residuals: DVector<f64>,
    /// Diagonal of X(X'X)⁻¹X', n, each in [0, 1].
    pub leverage: DVector<f64>,
}

/// Least squares by QR on columns scaled to length 1, which keeps the digits that normal equations lose (Golub and
/// Van Loan, Matrix Computations, section 5.3).
///
/// # Errors
/// [`Numerical::Shape`] when `y` has not one entry a row; [`Numerical::NotFinite`]; [`Numerical::RankLost`] naming the
/// first column that those before it explain, or the first beyond the number of rows.
pub fn qr_least_squares(x: &DMatrix<f64>, y: &DVector<f64>) -> Result<Ls, Numerical> {
    let (n, p) = x.shape();
    if y.len() != n {
        return Err(Numerical::Shape {
            what: "a response must have one entry a row of the design",
        });
    }
    if !x.iter().chain(y.iter()).all(|entry| entry.is_finite()) {
        return Err(Numerical::NotFinite {
            what: "an entry of a least-squares problem",
        });
    }
    if p > n {
        return Err(Numerical::RankLost { column: n });
    }
    let mut scaled = x.clone();
    let mut scale = DVector::zeros(p);
    for j in 0..p {
        let length = scaled.column(j).norm();
        if length < f64::MIN_POSITIVE || !length.is_finite() {
            return Err(Numerical::RankLost { column: j });
        }
        scale[j] = 1.0 / length;
        scaled.column_mut(j).scale_mut(scale[j]);
    }
    let qr = scaled.qr();
    let r = qr.r();
    for j in 0..p {
        if r[(j, j)].abs() < LEAST_LENGTH {
            return Err(Numerical::RankLost { column: j });
        }
    }
    let mut rotated = y.clone();
    qr.q_tr_mul(&mut rotated);
    let head = rotated.rows(0, p).into_owned();
    let rss = rotated.rows(p, n - p).norm_squared();

    let inverse_r = r
        .solve_upper_triangular(&DMatrix::identity(p, p))
        .expect("the diagonal of R was just found to be away from 0");
    let beta = r
        .solve_upper_triangular(&head)
        .expect("the diagonal of R was just found to be away from 0")
        .component_mul(&scale);
    let scaled_inverse = DMatrix::from_diagonal(&scale) * inverse_r;
    let xtx_inverse = &scaled_inverse * scaled_inverse.transpose();

    let q = qr.q();
    let leverage = DVector::from_fn(n, |i, _| q.row(i).norm_squared().min(1.0));
    // Projecting twice takes out what rounding left of the columns the first time.
    let once = y - &q * head;
    let residuals = &once - &q * q.tr_mul(&once);
    Ok(Ls {
        beta,
        rss,
        xtx_inverse,
        residuals,
        leverage,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn factors_multiply_back() {
        let a = DMatrix::from_row_slice(3, 3, &[4.0, 2.0, 1.0, 2.0, 5.0, 3.0, 1.0, 3.0, 6.0]);
        let factor = Factor::new(&a).unwrap();
        let identity = &a * factor.inverse();
        assert!((identity - DMatrix::identity(3, 3)).amax() < 1e-15);
        // 4(30 − 9) − 2(12 − 3) + 1(6 − 5) = 67, by hand.
        assert!((factor.ln_determinant() - 67f64.ln()).abs() < 1e-14);
        // Left of 50 with b below: 50 − b'A⁻¹b.
        let mut bordered = [4.0, 2.0, 5.0, 1.0, 3.0, 6.0, 1.0, -2.0, 0.5, 50.0];
        let (left, ln_determinant) = left_over_and_ln_determinant(&mut bordered, 3).unwrap();
        assert!((ln_determinant - 67f64.ln()).abs() < 1e-14);
        let b = DVector::from_row_slice(&[1.0, -2.0, 0.5]);
        assert!((&a * factor.solve(&b) - &b).amax() < 1e-15);
        assert!((factor.quadratic(&b) - b.dot(&factor.solve(&b))).abs() < 1e-14);
        assert!((left - (50.0 - factor.quadratic(&b))).abs() < 1e-13);
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
        let mut bordered: Vec<f64> = (0..3)
            .flat_map(|i| (0..=i).map(move |j| (i, j)))
            .map(|at| squares[at])
            .chain([0.0; 4])
            .collect();
        assert_eq!(
            left_over_and_ln_determinant(&mut bordered, 3).unwrap_err(),
            lost
        );
        let y = DVector::from_row_slice(&[1., 2., 3., 4.]);
        assert_eq!(qr_least_squares(&x, &y).unwrap_err(), lost);
        let zero = DMatrix::from_row_slice(2, 2, &[1.0, 0.0, 0.0, 0.0]);
        let lost = Numerical::RankLost { column: 1 };
        assert_eq!(Factor::new(&zero).unwrap_err(), lost);
        let one_row = DMatrix::from_row_slice(1, 2, &[1.0, 3.0]);
        let lost_too = qr_least_squares(&one_row, &DVector::from_element(1, 2.0)).unwrap_err();
        assert_eq!(lost_too, lost);
    }

    #[test]
    fn nan_and_infinity_are_refused() {
        for bad in [f64::NAN, f64::INFINITY] {
            let a = DMatrix::from_row_slice(2, 2, &[1.0, 0.1, 0.1, bad]);
            let y = DVector::from_row_slice(&[1.0, 2.0]);
            assert!(matches!(Factor::new(&a), Err(Numerical::NotFinite { .. })));
            let fit = qr_least_squares(&a, &y);
            assert!(matches!(fit, Err(Numerical::NotFinite { .. })));
        }
    }

    #[test]
    fn wrong_shapes_are_refused_in_words() {
        let x = DMatrix::zeros(3, 2);
        assert!(matches!(Factor::new(&x), Err(Numerical::Shape { .. })));
        let fit = qr_least_squares(&x, &DVector::zeros(2));
        assert!(matches!(fit, Err(Numerical::Shape { .. })));
    }

    #[test]
    fn a_line_through_three_points_by_hand() {
        // Points (0, 1), (1, 3), (2, 4): slope 3/2, intercept 7/6, residuals −1/6, 1/3, −1/6.
        let x = DMatrix::from_row_slice(3, 2, &[1., 0., 1., 1., 1., 2.]);
        let fit = qr_least_squares(&x, &DVector::from_row_slice(&[1., 3., 4.])).unwrap();
        assert!((fit.beta[0] - 7. / 6.).abs() < 1e-14);
        assert!((fit.beta[1] - 1.5).abs() < 1e-14);
        assert!((fit.rss - 1. / 6.).abs() < 1e-14);
        assert!((fit.residuals[1] - 1. / 3.).abs() < 1e-14);
        assert!((fit.leverage[0] - 5. / 6.).abs() < 1e-14);
        assert!((fit.xtx_inverse[(1, 1)] - 0.5).abs() < 1e-14);
        assert!((fit.xtx_inverse[(0, 1)] + 0.5).abs() < 1e-14);
    }

    /// y = (1, 3, 4) on ones, on (0, 1, 2) and on twice that: 64/3 for the mean, 9/2 for the slope, 1/6 left.
    #[test]
    fn columns_in_order_by_hand() {
        let x = DMatrix::from_row_slice(3, 4, &[1., 0., 0., 1., 1., 1., 2., 3., 1., 2., 4., 4.]);
        let all = x.tr_mul(&x);
        let lower = (0..4).flat_map(|i| (0..=i).map(move |j| (i, j)));
        let order = InOrder::of_packed(lower.map(|at| all[at]).collect(), 3).unwrap();
        assert!((order.explained[0].unwrap() - 64. / 3.).abs() < 1e-13);
        assert!((order.explained[1].unwrap() - 4.5).abs() < 1e-13);
        assert_eq!(order.explained[2], None);
        assert!((order.left_over - 1. / 6.).abs() < 1e-13);
        assert!((order.last - 1.5).abs() < 1e-13);
        let bad = InOrder::of_packed(vec![1.0, f64::NAN, 1.0], 1);
        assert!(matches!(bad, Err(Numerical::NotFinite { .. })));
    }

    proptest! {
        #[test]
        fn both_factorisations_agree(entries in prop::collection::vec(-1.0..1.0f64, 40)) {
            let x = DMatrix::from_row_slice(10, 4, &entries);
            let y = DVector::from_fn(10, |i, _| entries[3 * i] + i as f64);
            if let (Ok(fit), Ok(factor)) = (qr_least_squares(&x, &y), Factor::new(&x.tr_mul(&x))) {
                let size = 1.0 + fit.xtx_inverse.amax();
                prop_assert!((factor.inverse() - &fit.xtx_inverse).amax() < 1e-9 * size * size);
                prop_assert!(x.tr_mul(&fit.residuals).amax() < 1e-12);
                prop_assert!((fit.residuals.norm_squared() - fit.rss).abs() < 1e-11 * (1.0 + fit.rss));
                prop_assert!((fit.leverage.sum() - 4.0).abs() < 1e-12);
            }
        }
    }
}
