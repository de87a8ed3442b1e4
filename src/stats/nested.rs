//! Do more columns explain more than chance would? F tests of a smaller model inside a larger one, where rows come in
//! groups with a shift of their own.
//!
//! Two ways with the groups: at a known ratio r of spreads ([`more_columns`] on rows made independent by
//! [`Rows::independent`]), or with every group's mean taken out ([`more_columns_within`]), which is exact whatever the
//! groups do. Letters as in [`super::mixed`].

use super::Numerical;
use super::least_squares::{FTest, Squares, f_test};
use super::linalg::{Ls, qr_least_squares};
use super::mixed::Rows;
use nalgebra::{DMatrix, DVector};

/// What is left of a column once group means are out counts as nothing below this part of what it was.
const NOTHING_LEFT: f64 = 1e-9;

/// What more columns brought.
#[derive(Debug, Clone, PartialEq)]
pub struct MoreColumns {
    /// Against the model without them.
    pub test: FTest,
    /// Coefficient of the last of them, in the larger model.
    pub last: f64,
}

/// Whether `more` columns (n × any) beside those of `x` (n × any) explain more of `y`.
///
/// Columns that the others already explain are passed over. `None` where all of `more` are, or where no degree of
/// freedom is left.
pub fn more_columns(
    x: &DMatrix<f64>,
    more: &DMatrix<f64>,
    y: &DVector<f64>,
) -> Option<MoreColumns> {
    compare(x, more, y, 0)
}

/// The same for rows in groups, each with a shift of its own that nothing is assumed about: means of the groups are
/// taken out of everything (Frisch & Waugh 1933), at the price of a degree of freedom each.
pub fn more_columns_within(
    group: &[usize],
    x: &DMatrix<f64>,
    more: &DMatrix<f64>,
    y: &DVector<f64>,
) -> Option<MoreColumns> {
    let mut labels = group.to_vec();
    labels.sort_unstable();
    labels.dedup();
    let out = |m: &DMatrix<f64>| means_taken_out(&labels, group, m);
    let y = out(&DMatrix::from_column_slice(y.len(), 1, y.as_slice()));
    compare(&out(x), &out(more), &y.column(0).into_owned(), labels.len())
}

/// Whether lines of one slope through several groups leave more over than lines of a slope each.
///
/// * `group`, `x`, `y` — n each; groups in which `x` does not vary are passed over
/// * `None` with fewer than two groups left, or no degree of freedom
pub fn slopes_differ(group: &[usize], x: &[f64], y: &[f64]) -> Option<FTest> {
    let mut rows: Vec<usize> = (0..group.len()).collect();
    rows.sort_by_key(|&i| group[i]);
    let (mut groups, mut n) = (0, 0);
    let (mut xx_all, mut xy_all, mut yy_all, mut explained) = (0.0, 0.0, 0.0, 0.0);
    for members in rows.chunk_by(|&i, &j| group[i] == group[j]) {
        let count = members.len() as f64;
        let mean = |v: &[f64]| members.iter().map(|&i| v[i]).sum::<f64>() / count;
        let (x_mean, y_mean) = (mean(x), mean(y));
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for &i in members {
            let (a, b) = (x[i] - x_mean, y[i] - y_mean);
            xx += a * a;
            xy += a * b;
            yy += b * b;
        }
        if xx <= count * (NOTHING_LEFT * x_mean).powi(2) {
            continue;
        }
        groups += 1;
        n += members.len();
        xx_all += xx;
        xy_all += xy;
        yy_all += yy;
        explained += xy * xy / xx;
    }
    if groups < 2 {
        return None;
    }
    let smaller = Squares {
        sum: yy_all - xy_all * xy_all / xx_all,
        df: n.checked_sub(groups + 1)?,
    };
    let larger = Squares {
        sum: yy_all - explained,
        df: n.checked_sub(2 * groups)?,
    };
    f_test(smaller, larger)
}

impl Rows {
    /// Design and response made independent with one spread: V_r^(−1/2) times each, V_r = I + r² within a group.
    ///
    /// Each row loses the part 1 − 1/√(1 + n_j r²) of its group's mean row. Source: Fuller and Battese (1973), Journal
    /// of the American Statistical Association 68, 626–632.
    pub fn independent(&self, r: f64) -> (DMatrix<f64>, DVector<f64>) {
        let means = self.group_means();
        let (mut x, mut y) = (self.x.clone(), self.y.clone());
        for (i, &place) in self.group.places().iter().enumerate() {
            let mean = &means[place];
            let part = 1.0 - 1.0 / (1.0 + mean.rows * r * r).sqrt();
            for c in 0..x.ncols() {
                x[(i, c)] -= part * mean.x[c];
            }
            y[i] -= part * mean.y;
        }
        (x, y)
    }
}

fn compare(
    x: &DMatrix<f64>,
    more: &DMatrix<f64>,
    y: &DVector<f64>,
    spent: usize,
) -> Option<MoreColumns> {
    let both = DMatrix::from_fn(x.nrows(), x.ncols() + more.ncols(), |i, j| {
        if j < x.ncols() {
            x[(i, j)]
        } else {
            more[(i, j - x.ncols())]
        }
    });
    let (smaller, _) = left_over(x, y, spent)?;
    let (larger, coefficients) = left_over(&both, y, spent)?;
    let test = f_test(smaller, larger)?;
    let last = *coefficients.last()?;
    Some(MoreColumns { test, last })
}

/// What the columns that can be told apart leave over, and their coefficients.
fn left_over(x: &DMatrix<f64>, y: &DVector<f64>, spent: usize) -> Option<(Squares, Vec<f64>)> {
    let fit = told_apart(x, y)?;
    let kept = fit.as_ref().map_or(0, |f| f.beta.len());
    let df = y.len().checked_sub(spent + kept)?;
    Some(match fit {
        Some(fit) => (
            Squares { sum: fit.rss, df },
            fit.beta.iter().copied().collect(),
        ),
        None => (
            Squares {
                sum: y.norm_squared(),
                df,
            },
            Vec::new(),
        ),
    })
}

/// Least squares on the columns that those before them do not explain; `Some(None)` where no column is left.
fn told_apart(x: &DMatrix<f64>, y: &DVector<f64>) -> Option<Option<Ls>> {
    let mut kept: Vec<usize> = (0..x.ncols()).collect();
    while !kept.is_empty() {
        match qr_least_squares(&x.select_columns(kept.iter()), y) {
            Ok(fit) => return Some(Some(fit)),
            Err(Numerical::RankLost { column }) if column < kept.len() => {
                kept.remove(column);
            }
            Err(_) => return None,
        }
    }
    Some(None)
}

/// Residuals of least squares on the columns that can be told apart, each over its own standard error; 0 for a row
/// that alone decides a coefficient. `None` where no degree of freedom is left, or nothing is left over.
pub fn studentised(x: &DMatrix<f64>, y: &DVector<f64>) -> Option<Vec<f64>> {
    let fit = told_apart(x, y)??;
    let df = y.len().checked_sub(fit.beta.len()).filter(|df| *df > 0)?;
    let sd = (fit.rss / df as f64).sqrt();
    if sd <= f64::MIN_POSITIVE {
        return None;
    }
    let free = |h: f64| (1.0 - h).max(0.0);
    let each = fit.residuals.iter().zip(fit.leverage.iter());
    Some(
        each.map(|(e, &h)| {
            if free(h) < 1e-9 {
                0.0
            } else {
                e / (sd * free(h).sqrt())
            }
        })
        .collect(),
    )
}

fn means_taken_out(labels: &[usize], group: &[usize], m: &DMatrix<f64>) -> DMatrix<f64> {
    let mut out = m.clone();
    for mut column in out.column_iter_mut() {
        let before = column.norm();
        let mut sums = vec![(0.0, 0.0); labels.len()];
        for (value, g) in column.iter().zip(group) {
            let at = labels.partition_point(|l| l < g);
            sums[at].0 += value;
            sums[at].1 += 1.0;
        }
        for (value, g) in column.iter_mut().zip(group) {
            let (sum, count) = sums[labels.partition_point(|l| l < g)];
            *value -= sum / count;
        }
        if column.norm() <= NOTHING_LEFT * before {
            column.fill(0.0);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::resample::{normal, replicate};

    fn rows() -> Rows {
        let mut stream = replicate(5, 0);
        let group: Vec<usize> = (0..24).map(|i| [3, 7, 7, 9][i % 4]).collect();
        Rows {
            x: DMatrix::from_fn(24, 2, |i, j| if j == 0 { 1.0 } else { (i * i % 11) as f64 }),
            y: DVector::from_fn(24, |_, _| normal(&mut stream)),
            group: group.into(),
        }
    }

    /// Two ways to the same least squares: rows made independent by QR, sums per group by normal equations.
    #[test]
    fn independent_rows_leave_over_what_the_mixed_model_does() {
        let rows = rows();
        for r in [0.0, 0.4, 3.0] {
            let (x, y) = rows.independent(r);
            let fit = crate::stats::least_squares::fit(&x, &y).unwrap();
            let at = rows.design(&[], 0.0).unwrap().at(r).unwrap();
            assert!((fit.rest.sum - at.rss).abs() < 1e-9 * at.rss, "{r}");
            assert!((fit.beta - at.beta).norm() < 1e-9, "{r}");
        }
    }

    /// Taking means out is the same as a column of its own for every group.
    #[test]
    fn means_taken_out_are_columns_of_their_own() {
        let rows = rows();
        let more = DMatrix::from_fn(24, 1, |i, _| f64::from(u8::from(i % 5 == 0)));
        let with_groups = DMatrix::from_fn(24, 5, |i, j| match j {
            0 | 1 => rows.x[(i, j)],
            _ => f64::from(u8::from(rows.group[i] == [0, 0, 7, 9, 3][j])),
        });
        let a = more_columns_within(&rows.group, &rows.x, &more, &rows.y).unwrap();
        let b = more_columns(&with_groups, &more, &rows.y).unwrap();
        assert_eq!((a.test.d1, a.test.d2), (1, 24 - 5));
        assert_eq!((b.test.d1, b.test.d2), (1, 24 - 5));
        assert!((a.test.f - b.test.f).abs() < 1e-9 * b.test.f);
        assert!((a.last - b.last).abs() < 1e-9);
    }

    #[test]
    fn columns_that_say_nothing_new_have_no_test() {
        let rows = rows();
        let twice = rows.x.columns(1, 1).into_owned() * 2.0;
        assert_eq!(more_columns(&rows.x, &twice, &rows.y), None);
        let of_the_group = DMatrix::from_fn(24, 1, |i, _| 36.6 * rows.group[i] as f64);
        assert_eq!(
            more_columns_within(&rows.group, &rows.x, &of_the_group, &rows.y),
            None
        );
        assert_eq!(
            slopes_differ(&[0; 5], &[1., 2., 3., 4., 5.], &[0.0; 5]),
            None
        );
    }
}
