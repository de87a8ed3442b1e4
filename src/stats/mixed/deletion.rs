//! Deletion residuals: how far each row lies from what all the others say, those of its own group included.
//!
//! By definition: fit without the row, predict it with the group's effect as its other rows predict that, and divide the
//! error by its standard error ([`Rows::deletion_residual`]). With θ held, all rows follow from one fit ([`Rows::deletions`]).

use super::criterion::Profile;
use super::design::Rows;
use super::random_intercept::RandomIntercept;
use nalgebra::DVector;

/// A row whose P_ii is not above this decides a coefficient alone: nothing can be held against it.
const P_II_MIN: f64 = 1e-9;
/// Least part of RSS that is believed to be left without a row; less is rounding.
const RSS_LEFT_MIN: f64 = 1e-12;

/// What becomes of a fit at one θ when one of its rows is left out.
#[derive(Debug, Clone)]
pub struct Deletion {
    /// The deletion residual: Student t with ν − 1 degrees of freedom if the row is like the others.
    pub residual: f64,
    /// DFBETA: β with the row less β without it.
    pub shift: DVector<f64>,
}

impl Rows {
    /// The deletion of each row from a fit of these rows (ν ≥ 2), θ held; `None` for a row that alone decides a
    /// coefficient.
    ///
    /// With P = V⁻¹ − V⁻¹X(X'V⁻¹X)⁻¹X'V⁻¹ and a_i = (V⁻¹X)_i,
    ///
    /// ```text
    /// P_ii = (V⁻¹)_ii − a_i'C a_i,   s² = (RSS − (Py)_i²/P_ii)/(ν − 1),   t_i = (Py)_i/√(P_ii s²),   β − β₍ᵢ₎ = C a_i (Py)_i/P_ii.
    /// ```
    ///
    /// For θ = 0 these are the externally studentised residuals and DFBETAs of least squares (checked on published sets in
    /// `tests/reference/`). Source: Cook and Weisberg (1982), sections 2.2.2 and 3.4, for correlated rows.
    pub fn deletions(&self, fit: &Profile) -> Vec<Option<Deletion>> {
        let groups = RandomIntercept::at(fit.theta);
        let covariance = fit.covariance();
        let mut all = vec![None; self.y.len()];
        for members in self.group.each() {
            // What V⁻¹ takes off each row of the group.
            let off = groups.after(members.len() as f64);
            let x_off = self.x_sum(members) * off;
            let left_off = self.y_sum(members) * off - x_off.dot(&fit.beta);
            for &i in members {
                let x = self.x.row(i).transpose();
                let py = self.y[i] - x.dot(&fit.beta) - left_off;
                let a = x - &x_off;
                let ca = &covariance * &a;
                let p_ii = 1.0 - off - a.dot(&ca);
                if p_ii > P_II_MIN {
                    let rss = (fit.rss - py * py / p_ii).max(fit.rss * RSS_LEFT_MIN);
                    all[i] = Some(Deletion {
                        residual: py / (p_ii * rss / (fit.nu - 1.0)).sqrt(),
                        shift: ca * (py / p_ii),
                    });
                }
            }
        }
        all
    }

    /// The deletion residual of row `i` by a fit without it: Student t with that fit's ν if the row is like the others.
    ///
    /// With m other rows in its group, whose means are x̄ and ȳ, and the shrinkage s = mθ²/(1 + mθ²), the prediction is
    /// x'β + s(ȳ − x̄'β) and the error has variance σ²(1 + θ²/(1 + mθ²) + (x − s x̄)'C(x − s x̄)).
    pub fn deletion_residual(&self, i: usize, without: &Profile) -> f64 {
        let mut others = self.group.members(self.group.places()[i]).to_vec();
        others.retain(|&k| k != i);
        let effect = RandomIntercept::at(without.theta).after(others.len() as f64);
        let x = self.x.row(i).transpose() - self.x_sum(&others) * effect;
        let y = self.y[i] - self.y_sum(&others) * effect;
        let variance = 1.0 + effect + x.dot(&(without.covariance() * &x));
        (y - x.dot(&without.beta)) / (without.rss / without.nu * variance).sqrt()
    }

    fn x_sum(&self, members: &[usize]) -> DVector<f64> {
        let sum = |column: &[f64]| members.iter().map(|&i| column[i]).sum::<f64>();
        let columns = self.x.column_iter().map(|column| sum(column.as_slice()));
        DVector::from_iterator(self.x.ncols(), columns)
    }

    fn y_sum(&self, members: &[usize]) -> f64 {
        members.iter().map(|&i| self.y[i]).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::super::design::PseudoRow;
    use super::super::leave_out::LeaveOut;
    use super::*;
    use nalgebra::DMatrix;

    fn all_but(rows: &Rows, i: usize) -> Rows {
        let group = (0..rows.y.len()).filter(|&k| k != i);
        Rows::new(
            rows.x.clone().remove_row(i),
            rows.y.clone().remove_row(i),
            group.map(|k| rows.group[k]).collect::<Vec<usize>>(),
        )
    }

    /// Leaving a row out and fitting again is what the closed form shortens, with groups and with a pseudo-row.
    #[test]
    fn deletions_are_what_leaving_out_gives() {
        let rows = Rows::new(
            DMatrix::from_fn(9, 2, |i, j| if j == 0 { 1.0 } else { (i * i) as f64 }),
            DVector::from_row_slice(&[1., 4., 2., 8., 5., 7., 1., 4., 2.]),
            vec![0, 0, 0, 1, 1, 1, 1, 2, 3],
        );
        let pseudo = [PseudoRow {
            column: 1,
            mean: 0.3,
            weight: 2.0,
        }];
        let design = rows.design(&pseudo, 0.0).unwrap();
        let leave_out = LeaveOut::from_rows(&rows, &design);
        for theta in [0.0, 0.8, 30.0] {
            let fit = design.at(theta).unwrap();
            for (i, deletion) in rows.deletions(&fit).into_iter().enumerate() {
                let deletion = deletion.unwrap();
                let others = all_but(&rows, i).design(&pseudo, 0.0).unwrap();
                let without = others.at(theta).unwrap();
                let same = leave_out.without_row(i).at(theta).unwrap();
                let wanted = &fit.beta - &without.beta;
                assert!((&deletion.shift - &wanted).norm() < 1e-9, "{theta} {i}");
                assert!((same.beta - &without.beta).norm() < 1e-9, "{theta} {i}");
                let t = rows.deletion_residual(i, &without);
                assert!((deletion.residual / t - 1.0).abs() < 1e-9, "{theta} {i}");
            }
        }
    }

    #[test]
    fn a_row_that_alone_decides_a_coefficient_has_no_deletion() {
        let rows = Rows::new(
            DMatrix::from_row_slice(5, 2, &[1., 0., 1., 0., 1., 0., 1., 0., 1., 1.]),
            DVector::from_row_slice(&[1., 2., 3., 5., 9.]),
            vec![0, 0, 1, 1, 1],
        );
        let fit = rows.design(&[], 0.0).unwrap().at(0.5).unwrap();
        let deletions = rows.deletions(&fit);
        assert!(deletions[4].is_none() && deletions[..4].iter().all(Option::is_some));
    }
}
