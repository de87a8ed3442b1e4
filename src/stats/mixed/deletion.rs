//! How far each row lies from what the others say, conditional on its group.

use super::design::{Design, PseudoRow};
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
    pub group: Vec<usize>,
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
        let mut labels = self.group.clone();
        labels.sort_unstable();
        labels.dedup();
        let mut means: Vec<GroupMean> = labels
            .iter()
            .map(|&group| GroupMean {
                group,
                x: DVector::zeros(self.x.ncols()),
                y: 0.0,
                rows: 0.0,
            })
            .collect();
        for i in 0..self.y.len() {
            let j = labels.partition_point(|&l| l < self.group[i]);
            means[j].x += self.x.row(i).transpose();
            means[j].y += self.y[i];
            means[j].rows += 1.0;
        }
        for m in &mut means {
            m.x /= m.rows;
            m.y /= m.rows;
        }
        means
    }

    /// Deletion residuals at a fixed ratio: each row's distance from its prediction by all other rows (those of
    /// its own group included) over the standard error of that distance, t with ν − 1 degrees of freedom.
    ///
    /// With P = V⁻¹ − V⁻¹X(X'V⁻¹X)⁻¹X'V⁻¹: t_i = (Py)_i / √(P_ii s²), s² = (RSS − (Py)_i²/P_ii)/(ν − 1). For r = 0
    /// it is the externally studentised residual of least squares (checked on published sets in
    /// `tests/reference/`). `fit` must come from these rows; `nu` is its ν (≥ 2).
    pub fn deletion_residuals(&self, fit: &AtRatio, nu: f64) -> Vec<f64> {
        let (n, p) = self.x.shape();
        let r2 = fit.r * fit.r;
        let e = &self.y - &self.x * &fit.beta;
        let means = self.group_means();
        let mut out = Vec::with_capacity(n);
        let mut a = DVector::zeros(p);
        for i in 0..n {
            let at = means.partition_point(|m| m.group < self.group[i]);
            let GroupMean {
                x: x_mean,
                y: y_mean,
                rows: count,
                ..
            } = &means[at];
            let shrink = r2 * count / (1.0 + r2 * count);
            let e_mean = y_mean - x_mean.dot(&fit.beta);
            let py = e[i] - shrink * e_mean;
            for c in 0..p {
                a[c] = self.x[(i, c)] - shrink * x_mean[c];
            }
            let p_ii = 1.0 - shrink / count - (fit.covariance.clone() * &a).dot(&a);
            if p_ii <= 1e-9 {
                out.push(0.0); // the row alone decides a coefficient: nothing to hold it against
                continue;
            }
            let left = ((fit.rss - py * py / p_ii) / (nu - 1.0)).max(fit.rss * 1e-12);
            out.push(py / (p_ii * left).sqrt());
        }
        out
    }
}
