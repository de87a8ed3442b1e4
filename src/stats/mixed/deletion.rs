//! How far each row lies from what the others say, conditional on its group.

use super::design::{Design, PseudoRow};
use super::groups::Groups;
use super::objective::AtRatio;
use super::posterior::dot;
use crate::stats::Numerical;
use crate::stats::linalg::{Few, packed, quadratic};
use nalgebra::{DMatrix, DVector};
use smallvec::smallvec;

/// The rows of a fit, kept where single rows matter.
#[derive(Debug, Clone)]
pub struct Rows {
    /// n × p.
    pub x: DMatrix<f64>,
    /// n responses.
    pub y: DVector<f64>,
    /// n group labels.
    pub group: Groups,
}

/// Means over one group's rows.
#[derive(Debug, Clone)]
pub struct GroupMean {
    /// The group's label.
    pub group: usize,
    /// Mean row of the design.
    pub x: DVector<f64>,
    /// Mean response.
    pub y: f64,
    /// Number of rows.
    pub rows: f64,
}

impl Rows {
    /// Sums of these rows; see [`Design::new`].
    ///
    /// # Errors
    /// As [`Design::new`].
    pub fn design(&self, pseudo: &[PseudoRow], sd_min: f64) -> Result<Design, Numerical> {
        Design::new(&self.x, &self.y, &self.group, pseudo, sd_min)
    }

    /// The rows for which `keep` holds.
    pub fn filtered(&self, keep: impl Fn(usize) -> bool) -> Rows {
        let rows: Vec<usize> = (0..self.y.len()).filter(|&i| keep(i)).collect();
        Rows {
            x: self.x.select_rows(&rows),
            y: self.y.select_rows(&rows),
            group: rows.iter().map(|&i| self.group[i]).collect(),
        }
    }

    /// Means of each group, by rising label.
    pub fn group_means(&self) -> Vec<GroupMean> {
        let of = |members: &[usize]| {
            let rows = members.len() as f64;
            let mean = |of: &[f64]| members.iter().map(|&i| of[i]).sum::<f64>() / rows;
            let columns = self.x.column_iter().map(|column| mean(column.as_slice()));
            GroupMean {
                group: self.group[members[0]],
                x: DVector::from_iterator(self.x.ncols(), columns),
                y: mean(self.y.as_slice()),
                rows,
            }
        };
        self.group.each().map(of).collect()
    }

    /// Each row held against all others at a fixed ratio; `fit` must come from these rows.
    pub fn against_the_others<'a>(&'a self, fit: &'a AtRatio) -> Others<'a> {
        let p = self.x.ncols();
        let lower = (0..p).flat_map(|i| (0..=i).map(move |j| (i, j)));
        Others {
            rows: self,
            fit,
            covariance: lower.map(|at| fit.covariance[at]).collect(),
        }
    }
}

/// A row whose P_ii is not above this decides a coefficient alone: nothing can be held against it.
const P_II_MIN: f64 = 1e-9;

/// Rows of a fit at a fixed ratio, each to be held against all others, those of its own group included.
///
/// With P = V⁻¹ − V⁻¹X(X'V⁻¹X)⁻¹X'V⁻¹, all follows from (Py)_i and P_ii.
#[derive(Debug)]
pub struct Others<'a> {
    rows: &'a Rows,
    fit: &'a AtRatio,
    /// C, [`crate::stats::linalg::packed`].
    covariance: Few,
}

/// What V⁻¹ takes off each row of a group: the part r²n/(1 + r²n) of their mean.
struct GroupPart {
    x: Few,
    /// Of y − Xβ.
    left: f64,
    /// r²/(1 + r²n), what it takes off the row's own 1.
    own: f64,
}

impl Others<'_> {
    fn part(&self, members: &[usize]) -> GroupPart {
        let (r2, n) = (self.fit.r * self.fit.r, members.len() as f64);
        let own = r2 / (1.0 + r2 * n);
        let sum = |of: &[f64]| members.iter().map(|&i| of[i]).sum::<f64>();
        let columns = self.rows.x.column_iter();
        let x: Few = columns.map(|c| own * sum(c.as_slice())).collect();
        let left = own * sum(self.rows.y.as_slice()) - dot(&x, self.fit.beta.as_slice());
        GroupPart { x, left, own }
    }

    /// (Py)_i and P_ii, leaving (X'V⁻¹)_i in `a`; `None` for a row that alone decides a coefficient.
    fn row(&self, i: usize, part: &GroupPart, a: &mut [f64]) -> Option<(f64, f64)> {
        let mut py = self.rows.y[i] - part.left;
        for (c, (a, taken)) in a.iter_mut().zip(&part.x).enumerate() {
            let x = self.rows.x[(i, c)];
            py -= x * self.fit.beta[c];
            *a = x - taken;
        }
        let p_ii = 1.0 - part.own - quadratic(&self.covariance, a);
        (p_ii > P_II_MIN).then_some((py, p_ii))
    }

    /// (X'V⁻¹)_i of all rows, a column each for the columns of X; (Py)_i and P_ii.
    fn all(&self) -> (Vec<DVector<f64>>, DVector<f64>, Vec<f64>) {
        let groups = &self.rows.group;
        let r2 = self.fit.r * self.fit.r;
        let own = |members: &[usize]| r2 / (1.0 + r2 * members.len() as f64);
        let own: Vec<f64> = groups.each().map(own).collect();
        let weighted = |column: &[f64]| {
            let mut column = DVector::from_column_slice(column);
            let mut sums = groups.sums(column.as_slice());
            sums.iter_mut()
                .zip(&own)
                .for_each(|(sum, own)| *sum *= -own);
            groups.put_in(column.as_mut_slice(), &sums);
            column
        };
        let x = self.rows.x.column_iter();
        let a: Vec<DVector<f64>> = x.map(|x| weighted(x.as_slice())).collect();
        let mut py = weighted(self.rows.y.as_slice());
        for (a, beta) in a.iter().zip(self.fit.beta.iter()) {
            py.axpy(-beta, a, 1.0);
        }
        let mut p_ii = quadratics(&self.covariance, &a);
        p_ii.iter_mut().for_each(|taken| *taken = -*taken);
        let kept: Vec<f64> = own.iter().map(|own| 1.0 - own).collect();
        groups.put_in(&mut p_ii, &kept);
        (a, py, p_ii)
    }

    /// The same of one row.
    fn one<T>(&self, i: usize, told: impl Fn(f64, f64, &[f64]) -> T) -> Option<T> {
        let mut a = self.scratch();
        let part = self.part(self.rows.group.members(self.rows.group.places()[i]));
        let (py, p_ii) = self.row(i, &part, &mut a)?;
        Some(told(py, p_ii, &a))
    }

    fn scratch(&self) -> Few {
        smallvec![0.0; self.rows.x.ncols()]
    }

    /// A row's distance from its prediction by all others over the standard error of that distance, t with ν − 1
    /// degrees of freedom.
    ///
    /// t_i = (Py)_i / √(P_ii s²), s² = (RSS − (Py)_i²/P_ii)/(ν − 1). For r = 0 it is the externally studentised residual
    /// of least squares (checked on published sets in `tests/reference/`). `nu` is the fit's ν (≥ 2). A row that alone
    /// decides a coefficient has 0: there is nothing to hold it against.
    pub fn residual(&self, i: usize, nu: f64) -> f64 {
        let told = |py, p_ii, _: &[f64]| self.residual_of(py, p_ii, nu);
        self.one(i, told).unwrap_or(0.0)
    }

    /// That of each row.
    pub fn residuals(&self, nu: f64) -> Vec<f64> {
        let (_, py, p_ii) = self.all();
        let each = py.as_slice().iter().zip(&p_ii);
        each.map(|(&py, &p_ii)| {
            if p_ii > P_II_MIN {
                self.residual_of(py, p_ii, nu)
            } else {
                0.0
            }
        })
        .collect()
    }

    fn residual_of(&self, py: f64, p_ii: f64, nu: f64) -> f64 {
        let rss = self.fit.rss;
        let left = ((rss - py * py / p_ii) / (nu - 1.0)).max(rss * 1e-12);
        py / (p_ii * left).sqrt()
    }

    /// What a row moves the coefficients by: β with it less β without it, C·(X'V⁻¹)_i·(Py)_i/P_ii (Cook & Weisberg
    /// 1982, section 3.4, for correlated rows). `None` for a row that alone decides a coefficient.
    pub fn shift(&self, i: usize) -> Option<DVector<f64>> {
        self.one(i, |py, p_ii, a| {
            &self.fit.covariance * DVector::from_column_slice(a) * (py / p_ii)
        })
    }

    /// What each row moves two sums of coefficients by, c'β for each of `sums`.
    pub fn shifts_of(&self, sums: [&DVector<f64>; 2]) -> Vec<Option<[f64; 2]>> {
        let (a, py, p_ii) = self.all();
        let along = sums.map(|c| {
            let direction = &self.fit.covariance * c;
            let mut along = DVector::zeros(py.len());
            for (a, by) in a.iter().zip(direction.iter()) {
                along.axpy(*by, a, 1.0);
            }
            along
        });
        let each = (0..py.len()).map(|i| {
            let by = py[i] / p_ii[i];
            (p_ii[i] > P_II_MIN).then(|| [along[0][i] * by, along[1][i] * by])
        });
        each.collect()
    }
}

/// a'Ca of each row a of some columns, with the lower triangle of C, [`crate::stats::linalg::packed`].
pub fn quadratics(c: &[f64], columns: &[DVector<f64>]) -> Vec<f64> {
    let rows = columns.first().map_or(0, DVector::len);
    let mut sums = vec![0.0; rows];
    let mut twice = vec![0.0; rows];
    for (i, own) in columns.iter().enumerate() {
        let row = &c[packed(i, 0)..=packed(i, i)];
        twice.fill(0.0);
        for (other, c) in columns[..i].iter().zip(row) {
            let each = twice.iter_mut().zip(other.as_slice());
            each.for_each(|(twice, a)| *twice += 2.0 * c * a);
        }
        for ((sum, twice), a) in sums.iter_mut().zip(&twice).zip(own.as_slice()) {
            *sum += a * (twice + row[i] * a);
        }
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Leaving a row out and fitting again is what the formula shortens, with groups and with a pseudo-row.
    #[test]
    fn deletion_shifts_are_what_leaving_out_gives() {
        let rows = Rows {
            x: DMatrix::from_fn(9, 2, |i, j| if j == 0 { 1.0 } else { (i * i) as f64 }),
            y: DVector::from_row_slice(&[1., 4., 2., 8., 5., 7., 1., 4., 2.]),
            group: vec![0, 0, 0, 1, 1, 1, 1, 2, 2].into(),
        };
        let pseudo = [PseudoRow {
            column: 1,
            mean: 0.3,
            weight: 2.0,
        }];
        let r = 0.8;
        let fit = rows.design(&pseudo, 0.0).unwrap().at(r).unwrap();
        let against = rows.against_the_others(&fit);
        let sums = [[1.0, 0.0], [2.0, -3.0]].map(|sum| DVector::from_row_slice(&sum));
        let moved = against.shifts_of([&sums[0], &sums[1]]);
        for i in 0..9 {
            let others = rows.filtered(|k| k != i);
            let without = others.design(&pseudo, 0.0).unwrap().at(r).unwrap();
            let wanted = &fit.beta - without.beta;
            assert!((against.shift(i).unwrap() - &wanted).norm() < 1e-10, "{i}");
            for (sum, moved) in sums.iter().zip(moved[i].unwrap()) {
                assert!((sum.dot(&wanted) - moved).abs() < 1e-10, "{i}");
            }
        }
    }
}
