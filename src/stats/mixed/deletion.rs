//! How far each row lies from what the others say, conditional on its group.

use super::design::{Design, PseudoRow};
use super::groups::Groups;
use super::objective::AtRatio;
use crate::stats::Numerical;
use nalgebra::{DMatrix, DVector};

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

    /// Deletion residuals at a fixed ratio: each row's distance from its prediction by all other rows (those of
    /// its own group included) over the standard error of that distance, t with ν − 1 degrees of freedom.
    ///
    /// With P = V⁻¹ − V⁻¹X(X'V⁻¹X)⁻¹X'V⁻¹: t_i = (Py)_i / √(P_ii s²), s² = (RSS − (Py)_i²/P_ii)/(ν − 1). For r = 0
    /// it is the externally studentised residual of least squares (checked on published sets in
    /// `tests/reference/`). `fit` must come from these rows; `nu` is its ν (≥ 2). A row that alone decides a
    /// coefficient has 0: there is nothing to hold it against.
    pub fn deletion_residuals(&self, fit: &AtRatio, nu: f64) -> Vec<f64> {
        let residual = |row: Option<Against>| {
            row.map_or(0.0, |Against { py, p_ii, .. }| {
                let left = ((fit.rss - py * py / p_ii) / (nu - 1.0)).max(fit.rss * 1e-12);
                py / (p_ii * left).sqrt()
            })
        };
        self.against_the_others(fit)
            .into_iter()
            .map(residual)
            .collect()
    }

    /// What each row moves the coefficients by, at a fixed ratio: β with it less β without it, C·(X'V⁻¹)_i·(Py)_i/P_ii
    /// (Cook & Weisberg 1982, section 3.4, for correlated rows). `None` for a row that alone decides a coefficient.
    pub fn deletion_shifts(&self, fit: &AtRatio) -> Vec<Option<DVector<f64>>> {
        self.against_the_others(fit)
            .into_iter()
            .map(|row| row.map(|Against { ca, py, p_ii }| ca * (py / p_ii)))
            .collect()
    }

    fn against_the_others(&self, fit: &AtRatio) -> Vec<Option<Against>> {
        let (n, p) = self.x.shape();
        let r2 = fit.r * fit.r;
        let e = &self.y - &self.x * &fit.beta;
        let means = self.group_means();
        let mut a = DVector::zeros(p);
        (0..n)
            .map(|i| {
                let GroupMean {
                    x: x_mean,
                    y: y_mean,
                    rows: count,
                    ..
                } = &means[self.group.places()[i]];
                let shrink = r2 * count / (1.0 + r2 * count);
                let e_mean = y_mean - x_mean.dot(&fit.beta);
                let py = e[i] - shrink * e_mean;
                for c in 0..p {
                    a[c] = self.x[(i, c)] - shrink * x_mean[c];
                }
                let ca = &fit.covariance * &a;
                let p_ii = 1.0 - shrink / count - ca.dot(&a);
                (p_ii > 1e-9).then_some(Against { ca, py, p_ii })
            })
            .collect()
    }
}

/// One row held against all others at a fixed ratio.
struct Against {
    /// C·(X'V⁻¹)_i.
    ca: DVector<f64>,
    /// (Py)_i.
    py: f64,
    /// P_ii.
    p_ii: f64,
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
        let shifts = rows.deletion_shifts(&fit);
        for (i, shift) in shifts.iter().enumerate() {
            let others = rows.filtered(|k| k != i);
            let without = others.design(&pseudo, 0.0).unwrap().at(r).unwrap();
            let wanted = &fit.beta - without.beta;
            let got = shift.as_ref().unwrap();
            assert!((got - wanted).norm() < 1e-10, "{i}");
        }
    }
}
