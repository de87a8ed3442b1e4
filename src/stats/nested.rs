//! Do more columns explain more than chance would? F tests of a smaller model inside a larger one, where rows come in
//! groups with a shift of their own.
//!
//! Two ways with the groups: at a known ratio r of spreads ([`Grouped::more_at`]), or with every group's mean taken out
//! ([`Grouped::more_within`]), which is exact whatever the groups do. Both come from the same sums, made in one go over
//! the rows. Letters as in [`super::mixed`].

mod settings;

use super::least_squares::{FTest, Squares, f_test};
use super::linalg::{InOrder, Normal, packed};
use super::mixed::deletion::quadratics;
use super::mixed::{Design, Groups};
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

/// Columns and a response of rows in groups: what is left of them about the groups' means, with its cross-products,
/// and the means.
#[derive(Debug, Clone)]
pub struct Grouped {
    groups: Groups,
    /// n values of each column, the response last, less the means of the groups.
    about: Vec<DVector<f64>>,
    /// Groups × columns.
    means: DMatrix<f64>,
    /// Cross-products of `about`, [`packed`].
    within: Vec<f64>,
}

impl Grouped {
    /// Of `columns` and the response `y`, n values each, of rows in `groups`.
    ///
    /// All that is told by tests and by residuals is the same for y less any sum of columns that are in every model
    /// asked for: what a fit of them left over keeps the most digits.
    pub fn new(columns: &[&[f64]], y: &[f64], groups: &Groups) -> Self {
        let response = columns.len();
        let mut about: Vec<DVector<f64>> = Vec::with_capacity(response + 1);
        let mut means = DMatrix::zeros(groups.labels().len(), response + 1);
        let mut within = Vec::with_capacity((response + 1) * (response + 2) / 2);
        for (c, values) in columns.iter().chain([&y]).enumerate() {
            let mut left = DVector::from_column_slice(values);
            let of_groups = groups.take_out_means(left.as_mut_slice());
            about.push(left);
            means.column_mut(c).copy_from_slice(&of_groups);
            within.extend(about.iter().map(|before| about[c].dot(before)));
        }
        Grouped {
            groups: groups.clone(),
            about,
            means,
            within,
        }
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.about[0].len()
    }

    fn response(&self) -> usize {
        self.about.len() - 1
    }

    fn with_response(&self, columns: &[usize]) -> Vec<usize> {
        [columns, &[self.response()]].concat()
    }

    /// Of each group's number of rows.
    fn of_sizes(&self, value: impl Fn(f64) -> f64) -> DVector<f64> {
        let sizes = self.groups.each().map(|members| members.len() as f64);
        DVector::from_iterator(self.means.nrows(), sizes.map(value))
    }

    /// Bordered normal equations of some columns and the response about the groups' means, [`packed`].
    fn about_means(&self, columns: &[usize]) -> Vec<f64> {
        let columns = self.with_response(columns);
        let pairs = each_pair(&columns);
        pairs.map(|(a, b)| self.within[packed(a, b)]).collect()
    }

    /// Bordered normal equations of some columns and the response at one ratio r ≥ 0 of spreads, [`packed`]: W + Σ_j n_j/(1 + n_j r²) x̄_j x̄_j', without subtraction.
    fn at(&self, r: f64, columns: &[usize]) -> Vec<f64> {
        let weights = self.of_sizes(|n| n / (1.0 + n * r * r));
        let columns = self.with_response(columns);
        let mut triangle = Vec::with_capacity(columns.len() * (columns.len() + 1) / 2);
        for (i, &a) in columns.iter().enumerate() {
            let weighted = self.means.column(a).component_mul(&weights);
            triangle.extend(
                columns[..=i]
                    .iter()
                    .map(|&b| self.within[packed(a, b)] + weighted.dot(&self.means.column(b))),
            );
        }
        triangle
    }

    /// Those of some columns that the ones before them do not explain.
    pub fn told_apart(&self, columns: &[usize]) -> Vec<usize> {
        InOrder::of_packed(self.at(0.0, columns), columns.len())
            .map_or_else(|_| Vec::new(), |order| kept(columns, &order))
    }

    /// The mixed model of some columns, whose coefficients are those of the response as it was given.
    pub fn design(&self, columns: &[usize]) -> Design {
        let means = self.means.select_columns(&self.with_response(columns));
        Design::of_sums(
            columns.len(),
            &self.about_means(columns),
            means.transpose().as_slice(),
            &self.groups,
        )
    }

    /// Whether the columns `more` beside those of `x` explain more of the response, the groups' shifts being r times as
    /// large as what is left over.
    ///
    /// Columns that those before them explain are passed over. `None` where all of `more` are, or where no degree of
    /// freedom is left.
    pub fn more_at(&self, r: f64, x: &[usize], more: &[usize]) -> Option<MoreColumns> {
        self.compare(self.at(r, &[x, more].concat()), x.len(), more.len(), 0)
    }

    /// Whether the columns `more` beside those of `x` explain more of the response, whatever the groups' shifts are: means of the groups are taken out of everything (Frisch & Waugh 1933),
    /// at the price of a degree of freedom each.
    pub fn more_within(&self, x: &[usize], more: &[usize]) -> Option<MoreColumns> {
        let both = [x, more].concat();
        let sizes = self.of_sizes(|n| n);
        let mut triangle = self.about_means(&both);
        for (i, &c) in both.iter().enumerate() {
            let means = self.means.column(c);
            let within = self.within[packed(c, c)];
            let all = within + means.component_mul(&sizes).dot(&means);
            if within <= NOTHING_LEFT * NOTHING_LEFT * all {
                triangle[packed(i, i)] = 0.0;
            }
        }
        self.compare(triangle, x.len(), more.len(), self.groups.labels().len())
    }

    fn compare(
        &self,
        triangle: Vec<f64>,
        x: usize,
        more: usize,
        spent: usize,
    ) -> Option<MoreColumns> {
        let order = InOrder::of_packed(triangle, x + more).ok()?;
        let count = |columns: &[Option<f64>]| columns.iter().flatten().count();
        let (before, after) = order.explained.split_at(x);
        let df = self.rows().checked_sub(spent + count(before))?;
        let left = Squares {
            sum: order.left_over,
            df: df.checked_sub(count(after))?,
        };
        let gained = after.iter().flatten().sum::<f64>();
        let without = Squares {
            sum: order.left_over + gained,
            df,
        };
        Some(MoreColumns {
            test: f_test(without, left)?,
            last: order.last,
        })
    }

    /// Residuals of the columns `x` at a ratio r, made independent, each over its own standard error; 0 for a row that
    /// alone decides a coefficient. `None` where no degree of freedom is left, or nothing is left over.
    ///
    /// Rows are made independent by V_r^(−1/2), V_r = I + r² within a group: each loses the part 1 − 1/√(1 + n_j r²) of
    /// its group's mean. Source: Fuller and Battese (1973), Journal of the American Statistical Association 68, 626–632.
    pub fn studentised(&self, r: f64, x: &[usize]) -> Option<Vec<f64>> {
        let order = InOrder::of_packed(self.at(r, x), x.len()).ok()?;
        let x = kept(x, &order);
        let normal = Normal::of_packed(self.at(r, &x).into(), x.len()).ok()?;
        let (beta, c) = (normal.solution(), normal.factor.inverse_packed());
        let df = self.rows().checked_sub(x.len()).filter(|df| *df > 0)?;
        let sd = (order.left_over / df as f64).sqrt();
        if sd <= f64::MIN_POSITIVE || x.is_empty() {
            return None;
        }
        // The part of the means that stays, and rows made independent.
        let stays = self.of_sizes(|n| 1.0 / (1.0 + n * r * r).sqrt());
        let independent = |c: usize| {
            let mut column = self.about[c].clone();
            let back = self.means.column(c).component_mul(&stays);
            self.groups.put_in(column.as_mut_slice(), back.as_slice());
            column
        };
        let rows: Vec<DVector<f64>> = x.iter().map(|&c| independent(c)).collect();
        let mut left = independent(self.response());
        for (row, beta) in rows.iter().zip(&beta) {
            left.axpy(-beta, row, 1.0);
        }
        let leverage = quadratics(&c, &rows);
        let each = left.as_slice().iter().zip(&leverage).map(|(e, leverage)| {
            let free = 1.0 - leverage;
            if free < FREE_MIN {
                0.0
            } else {
                e / (sd * free.sqrt())
            }
        });
        Some(each.collect())
    }
}

/// Whether lines of one slope through several groups leave more over than lines of a slope each.
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

/// A row that is free to differ by less than this part of the spread decides a coefficient alone.
const FREE_MIN: f64 = 1e-9;

/// Pairs of columns in the order of a triangle, [`packed`].
fn each_pair(columns: &[usize]) -> impl Iterator<Item = (usize, usize)> {
    let row = |(i, &a): (usize, &usize)| columns[..=i].iter().map(move |&b| (a, b));
    columns.iter().enumerate().flat_map(row)
}

fn kept(columns: &[usize], order: &InOrder) -> Vec<usize> {
    order.kept().into_iter().map(|i| columns[i]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::least_squares::{Fit, fit};
    use crate::stats::resample::{normal, replicate, uniform};
    use rand_pcg::Pcg64;

    /// Sixty rows in groups of 1 to 9 and four columns: ones, settings that repeat, any numbers, one that hardly differs
    /// within groups. The groups' shifts are as large as the rest.
    fn columns(stream: &mut Pcg64) -> (Vec<Vec<f64>>, Vec<f64>, Groups) {
        let group: Groups = (0..60)
            .map(|i| [3, 7, 7, 9, 8, 3, 7, 1][i % 8 * i / 20 % 8])
            .collect();
        let shift: Vec<f64> = (0..10).map(|_| normal(stream)).collect();
        let mut of = |value: &dyn Fn(usize, &mut Pcg64) -> f64| -> Vec<f64> {
            (0..60).map(|i| value(i, stream)).collect()
        };
        let columns = vec![
            vec![1.0; 60],
            of(&|_, s| 30.0 + (8.0 * uniform(s)).floor()),
            of(&|_, s| 1e3 * normal(s)),
            of(&|i, s| shift[group[i]] + 1e-3 * normal(s)),
        ];
        let y = of(&|i, s| shift[group[i]] + normal(s));
        (columns, y, group)
    }

    fn grouped(columns: &[Vec<f64>], y: &[f64], group: &Groups) -> Grouped {
        let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        Grouped::new(&columns, y, group)
    }

    /// Rows made independent one by one, and least squares by QR: another way to everything here.
    fn by_qr(columns: &[&[f64]], y: &[f64], group: &Groups, r: f64) -> Fit {
        let free = |column: &[f64]| -> Vec<f64> {
            let mut free = column.to_vec();
            for members in group.each() {
                let n = members.len() as f64;
                let mean = members.iter().map(|&i| column[i]).sum::<f64>() / n;
                for &i in members {
                    free[i] -= mean * (1.0 - 1.0 / (1.0 + n * r * r).sqrt());
                }
            }
            free
        };
        let x: Vec<Vec<f64>> = columns.iter().map(|column| free(column)).collect();
        let x = DMatrix::from_fn(y.len(), x.len(), |i, j| x[j][i]);
        fit(&x, &DVector::from_vec(free(y))).unwrap()
    }

    fn close(what: &str, got: f64, wanted: f64) {
        assert!(
            (got - wanted).abs() <= 1e-8 * wanted.abs(),
            "{what}: {got} {wanted}"
        );
    }

    #[test]
    fn sums_and_qr_agree_at_a_ratio() {
        for seed in 0..20 {
            let mut stream = replicate(31, seed);
            let (columns, y, group) = columns(&mut stream);
            let sums = grouped(&columns, &y, &group);
            let all: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
            for r in [0.0, 0.4, 3.0, 100.0] {
                let (small, large) = (by_qr(&all[..2], &y, &group, r), by_qr(&all, &y, &group, r));
                let test = f_test(small.rest, large.rest).unwrap();
                let more = sums.more_at(r, &[0, 1], &[2, 3]).unwrap();
                assert_eq!((more.test.d1, more.test.d2), (2, 56));
                close("F", more.test.f, test.f);
                close("p", more.test.p, test.p);
                close("last", more.last, large.beta[3]);
                let mixed = sums.design(&[0, 1, 2, 3]).at(r).unwrap();
                close("rss", mixed.rss, large.rest.sum);
                let studentised = sums.studentised(r, &[0, 1, 2, 3]).unwrap();
                for (i, got) in studentised.into_iter().enumerate() {
                    let free = 1.0 - large.leverage[i];
                    let wanted = large.residuals[i] / (large.residual_sd() * free.sqrt());
                    assert!((got - wanted).abs() < 1e-8, "{r} {i}: {got} {wanted}");
                }
            }
        }
    }

    /// Taking means out is the same as a column of its own for every group.
    #[test]
    fn sums_and_qr_agree_within_groups() {
        for seed in 0..20 {
            let mut stream = replicate(32, seed);
            let (columns, y, group) = columns(&mut stream);
            let sums = grouped(&columns, &y, &group);
            let own = |label: &usize| -> Vec<f64> {
                group
                    .iter()
                    .map(|g| f64::from(u8::from(g == label)))
                    .collect()
            };
            let mut all: Vec<Vec<f64>> = group.labels().iter().map(own).collect();
            let groups = all.len();
            all.extend_from_slice(&columns[1..]);
            let all: Vec<&[f64]> = all.iter().map(Vec::as_slice).collect();
            let large = by_qr(&all, &y, &group, 0.0);
            let test = f_test(by_qr(&all[..groups + 2], &y, &group, 0.0).rest, large.rest).unwrap();
            let more = sums.more_within(&[0, 1, 2], &[3]).unwrap();
            assert_eq!((more.test.d1, more.test.d2), (1, 60 - groups - 3));
            close("F", more.test.f, test.f);
            close("last", more.last, large.beta[groups + 2]);
        }
    }

    /// A column for every setting, by QR.
    #[test]
    fn sums_and_qr_agree_on_settings() {
        for seed in 0..20 {
            let mut stream = replicate(33, seed);
            let (columns, y, group) = columns(&mut stream);
            let sums = grouped(&columns, &y, &group);
            let setting: Vec<usize> = columns[1]
                .iter()
                .map(|turns| *turns as usize - 30)
                .collect();
            let own = |k: usize| -> Vec<f64> {
                setting
                    .iter()
                    .map(|s| f64::from(u8::from(*s == k)))
                    .collect()
            };
            let each: Vec<Vec<f64>> = (0..8).map(own).filter(|c| c.contains(&1.0)).collect();
            let each: Vec<&[f64]> = each.iter().map(Vec::as_slice).collect();
            for r in [0.0, 0.7, 30.0] {
                let line = by_qr(&[&columns[0], &columns[1]], &y, &group, r);
                let wanted = f_test(line.rest, by_qr(&each, &y, &group, r).rest).unwrap();
                let got = sums.settings_differ(r, &[0, 1], &setting).unwrap();
                assert_eq!((got.d1, got.d2), (wanted.d1, wanted.d2));
                close("F", got.f, wanted.f);
                close("p", got.p, wanted.p);
            }
        }
    }

    #[test]
    fn columns_that_say_nothing_new_have_no_test() {
        let (mut columns, y, group) = columns(&mut replicate(34, 0));
        columns[2] = columns[1].iter().map(|turns| 2.0 * turns).collect();
        columns[3] = group.iter().map(|&label| 36.6 * label as f64).collect();
        let sums = grouped(&columns, &y, &group);
        assert_eq!(sums.more_at(0.3, &[0, 1], &[2]), None);
        assert_eq!(sums.more_within(&[0, 1], &[3]), None);
        assert_eq!(sums.told_apart(&[0, 1, 2, 3]), [0, 1, 3]);
        let with_twice = sums.more_at(0.3, &[0, 1, 2], &[3]).unwrap();
        assert_eq!(Some(with_twice), sums.more_at(0.3, &[0, 1], &[3]));
        let alone = Groups::from(vec![0; 5]);
        assert_eq!(
            slopes_differ(&alone, &[1., 2., 3., 4., 5.], &[0.0; 5]),
            None
        );
    }
}
