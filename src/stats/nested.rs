//! Do more columns explain more than chance would? F tests of a smaller model inside a larger one, where rows come in
//! groups with an effect of their own.
//!
//! Two ways with the groups: at a known θ ([`Grouped::more_at`]), or with every group's mean taken out
//! ([`Grouped::more_within`]), which is exact whatever the groups do. Both come from one set of centred sums. Letters as in
//! [`super::mixed`].

mod settings;

use super::anova::{FTest, Squares, f_test};
use super::linalg::{Factor, Sequential};
use super::mixed::{Groups, RandomIntercept};
use nalgebra::{DMatrix, DVector};

/// A column whose length about the group means is below this part of its whole length is constant within groups.
const NOTHING_LEFT: f64 = 1e-9;
/// A row that is free to differ by less than this part of the spread decides a coefficient alone.
const FREE_MIN: f64 = 1e-9;

/// What columns added to a model explain.
#[derive(Debug, Clone, PartialEq)]
pub struct MoreColumns {
    /// F test against the model without them.
    pub test: FTest,
    /// Coefficient of the last of them, in the larger model.
    pub last: f64,
}

/// Columns and a response, the last column, of rows in groups: centred about the groups' means, with their cross-products,
/// and the means.
#[derive(Debug, Clone)]
pub struct Grouped {
    groups: Groups,
    /// Rows × columns, less the means of the groups.
    centred: DMatrix<f64>,
    /// Groups × columns.
    means: DMatrix<f64>,
    /// Cross-products of `centred`.
    within: DMatrix<f64>,
}

impl Grouped {
    /// Of `columns` and the response `y`, n values each, of rows in `groups`.
    ///
    /// Tests and studentised residuals are the same for y less any sum of columns that are in every model
    /// asked for: the residuals of a fit of them keep the most digits.
    pub fn new(columns: &[&[f64]], y: &[f64], groups: &Groups) -> Self {
        let all = [columns, &[y]].concat();
        let mut centred = DMatrix::from_fn(y.len(), all.len(), |i, c| all[c][i]);
        let mut means = DMatrix::zeros(groups.labels().len(), all.len());
        for (place, members) in groups.each().enumerate() {
            for c in 0..all.len() {
                let sum: f64 = members.iter().map(|&i| centred[(i, c)]).sum();
                let mean = sum / members.len() as f64;
                members.iter().for_each(|&i| centred[(i, c)] -= mean);
                means[(place, c)] = mean;
            }
        }
        Grouped {
            groups: groups.clone(),
            within: centred.tr_mul(&centred),
            centred,
            means,
        }
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.centred.nrows()
    }

    fn response(&self) -> usize {
        self.centred.ncols() - 1
    }

    fn with_response(&self, columns: &[usize]) -> Vec<usize> {
        [columns, &[self.response()]].concat()
    }

    /// [X y]'V⁻¹[X y] of some columns at one θ.
    fn cross_products(&self, groups: RandomIntercept, columns: &[usize]) -> DMatrix<f64> {
        let mut weighted = self.means.select_columns(&self.with_response(columns));
        for (mut row, n) in weighted.row_iter_mut().zip(self.groups.sizes()) {
            row *= groups.weight(n).sqrt();
        }
        self.cross_products_within(columns) + weighted.tr_mul(&weighted)
    }

    /// Cross-products of some columns and the response about the groups' means.
    fn cross_products_within(&self, columns: &[usize]) -> DMatrix<f64> {
        let columns = self.with_response(columns);
        self.within.select_columns(&columns).select_rows(&columns)
    }

    /// The columns, of those given, that are not aliased with the ones before them.
    pub fn estimable_columns(&self, columns: &[usize]) -> Vec<usize> {
        let cross = self.cross_products(RandomIntercept::at(0.0), columns);
        Sequential::from_cross_products(&cross)
            .map_or_else(|_| Vec::new(), |fit| estimable_of(columns, &fit))
    }

    /// Whether the columns `more` beside those of `x` explain more of the response, groups differing by `theta`.
    ///
    /// Aliased columns are passed over. `None` where all of `more` are, or where no degree of freedom is left.
    pub fn more_at(&self, theta: f64, x: &[usize], more: &[usize]) -> Option<MoreColumns> {
        let cross = self.cross_products(RandomIntercept::at(theta), &[x, more].concat());
        self.compare(&cross, x.len(), 0)
    }

    /// Whether the columns `more` beside those of `x` explain more, whatever the groups' effects are: means of the groups
    /// are taken out of everything (Frisch & Waugh 1933), at the price of a degree of freedom each.
    pub fn more_within(&self, x: &[usize], more: &[usize]) -> Option<MoreColumns> {
        let both = [x, more].concat();
        let all = self.cross_products(RandomIntercept::at(0.0), &both);
        let mut within = self.cross_products_within(&both);
        for i in 0..both.len() {
            if within[(i, i)] <= NOTHING_LEFT * NOTHING_LEFT * all[(i, i)] {
                within[(i, i)] = 0.0;
            }
        }
        self.compare(&within, x.len(), self.groups.labels().len())
    }

    /// The columns after the first `x` against those alone, `spent` degrees of freedom having gone before.
    fn compare(&self, cross: &DMatrix<f64>, x: usize, spent: usize) -> Option<MoreColumns> {
        let fit = Sequential::from_cross_products(cross).ok()?;
        let count = |columns: &[Option<f64>]| columns.iter().flatten().count();
        let (before, after) = fit.explained.split_at(x);
        let df = self.rows().checked_sub(spent + count(before))?;
        let larger = Squares {
            sum: fit.rss,
            df: df.checked_sub(count(after))?,
        };
        let smaller = Squares {
            sum: fit.rss + after.iter().flatten().sum::<f64>(),
            df,
        };
        Some(MoreColumns {
            test: f_test(smaller, larger)?,
            last: fit.last,
        })
    }

    /// Residuals of the columns `x` at one θ, whitened, each over its own standard error; 0 for a row that alone decides a
    /// coefficient. `None` where no degree of freedom is left, or no residual.
    pub fn studentised(&self, theta: f64, x: &[usize]) -> Option<Vec<f64>> {
        let groups = RandomIntercept::at(theta);
        let x = self.estimable_columns(x);
        let (p, cross) = (x.len(), self.cross_products(groups, &x));
        let df = self.rows().checked_sub(p).filter(|df| *df > 0 && p > 0)?;
        let factor = Factor::new(&cross.view((0, 0), (p, p)).into_owned()).ok()?;
        let z = factor.forward(&cross.column(p).rows(0, p).into_owned());
        let rss = (cross[(p, p)] - z.norm_squared()).max(0.0);
        let (beta, covariance) = (factor.back(z), factor.inverse());
        let sd = (rss / df as f64).sqrt();
        if sd <= f64::MIN_POSITIVE {
            return None;
        }
        let columns = self.with_response(&x);
        let means = self.means.select_columns(&columns);
        let mut studentised = vec![0.0; self.rows()];
        for (place, members) in self.groups.each().enumerate() {
            let mean = means.row(place) * groups.whitened_mean(members.len() as f64);
            for &i in members {
                let whitened = |c: usize| self.centred[(i, columns[c])] + mean[c];
                let row = DVector::from_fn(p, |c, _| whitened(c));
                let free = 1.0 - row.dot(&(&covariance * &row));
                if free >= FREE_MIN {
                    studentised[i] = (whitened(p) - row.dot(&beta)) / (sd * free.sqrt());
                }
            }
        }
        Some(studentised)
    }
}

/// The columns, of those given, that are not aliased in a fit of them.
fn estimable_of(columns: &[usize], fit: &Sequential) -> Vec<usize> {
    fit.estimable().into_iter().map(|i| columns[i]).collect()
}

/// F test of a slope for each group against one slope for all, the intercepts being the groups' own.
///
/// * `x`, `y` — n each; groups in which `x` does not vary are passed over
/// * `None` with fewer than two groups left, or no degree of freedom
pub fn slopes_differ(groups: &Groups, x: &[f64], y: &[f64]) -> Option<FTest> {
    let (mut lines, mut n) = (0, 0);
    let (mut xx_all, mut xy_all, mut yy_all, mut explained) = (0.0, 0.0, 0.0, 0.0);
    for members in groups.each() {
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
        lines += 1;
        n += members.len();
        xx_all += xx;
        xy_all += xy;
        yy_all += yy;
        explained += xy * xy / xx;
    }
    if lines < 2 {
        return None;
    }
    let smaller = Squares {
        sum: yy_all - xy_all * xy_all / xx_all,
        df: n.checked_sub(lines + 1)?,
    };
    let larger = Squares {
        sum: yy_all - explained,
        df: n.checked_sub(2 * lines)?,
    };
    f_test(smaller, larger)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A line through two rows leaves no residual to be judged; a third row leaves one degree of freedom, with which each
    /// residual is the spread itself: 1, in absolute value, for all.
    #[test]
    fn residuals_need_a_degree_of_freedom() {
        let of = |y: &[f64]| {
            let (ones, x) = (vec![1.0; y.len()], [0.0, 1.0, 2.0]);
            let groups = Groups::from(vec![0; y.len()]);
            Grouped::new(&[&ones, &x[..y.len()]], y, &groups).studentised(0.0, &[0, 1])
        };
        assert_eq!(of(&[1.0, 4.0]), None);
        for residual in of(&[1.0, 4.0, 1.0]).unwrap() {
            assert!((residual.abs() - 1.0).abs() < 1e-9, "{residual}");
        }
    }
}
