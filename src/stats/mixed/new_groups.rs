//! New groups held against what is known: do their mean and their spread within groups fit?

use super::mixture::Mixture;
use super::posterior::{Posterior, dot, packed};
use crate::stats::Numerical;
use crate::stats::distributions::{f_quantile, f_sf};
use crate::stats::interval::{Interval, Level};
use crate::stats::linalg::Factor;
use nalgebra::{DMatrix, DVector};

/// Nodes lighter than this do not count for the spread.
const WEIGHT_MIN: f64 = 1e-6;

/// Rows of new groups.
#[derive(Debug, Clone, Default)]
pub struct NewGroups {
    rows: Vec<(Vec<f64>, f64)>,
    sizes: Vec<usize>,
}

/// Mean square within the new groups over the known σ², as an F statistic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadRatio {
    /// The ratio of variances.
    pub f: f64,
    /// Its degrees of freedom above: rows less groups.
    pub df_new: f64,
    /// Its degrees of freedom below: ν.
    pub df_known: f64,
}

impl SpreadRatio {
    /// The ratio of SDs with its interval, from F.
    pub fn sd_ratio(&self, level: Level) -> Interval {
        let tail = level.lower_tail();
        let end = |p: f64| (self.f / f_quantile(p, self.df_new, self.df_known)).sqrt();
        Interval::holding(self.f.sqrt(), end(1.0 - tail), end(tail))
    }

    /// The chance of a ratio as large as this where the spreads are equal.
    pub fn p_wider(&self) -> f64 {
        f_sf(self.f, self.df_new, self.df_known)
    }
}

impl NewGroups {
    /// From groups of rows (p entries each) with their responses; empty groups are passed over.
    pub fn new(groups: impl IntoIterator<Item = Vec<(Vec<f64>, f64)>>) -> Self {
        let mut new = NewGroups::default();
        for group in groups.into_iter().filter(|g| !g.is_empty()) {
            new.sizes.push(group.len());
            new.rows.extend(group);
        }
        new
    }

    /// How many rows.
    pub fn rows(&self) -> usize {
        self.rows.len()
    }

    /// Mean response, and the distribution it was to have; `None` without a row.
    pub fn mean(&self, known: &Posterior) -> Option<(f64, Mixture)> {
        let m = self.rows.len() as f64;
        let p = self.rows.first()?.0.len();
        let mut x = vec![0.0; p];
        for (row, _) in &self.rows {
            for (sum, v) in x.iter_mut().zip(row) {
                *sum += v / m;
            }
        }
        let y = self.rows.iter().fold(0.0, |sum, (_, y)| sum + y / m);
        Some((y, known.new_groups_mean_distribution(&x, &self.sizes)))
    }

    /// Spread within the new groups against σ; `None` without a degree of freedom.
    ///
    /// With W = X̃'X̃, b = X̃'ẽ over rows about their group's mean, e = y − Xβ_r, the misfit ẽ'(I + X̃C_rX̃')⁻¹ẽ =
    /// ẽ'ẽ − b'(C_r⁻¹ + W)⁻¹b is σ²χ² with rows − groups degrees of freedom, whatever the groups' shifts. Averaged over r.
    /// Derived from the closed form of `model.md` §4 with the groups' shifts left free.
    ///
    /// # Errors
    /// [`Numerical::RankLost`] for a covariance without an inverse.
    pub fn spread(&self, known: &Posterior) -> Result<Option<SpreadRatio>, Numerical> {
        let df_new = (self.rows.len() - self.sizes.len()) as f64;
        if df_new < 1.0 {
            return Ok(None);
        }
        let p = known.columns();
        let mut w = DMatrix::zeros(p, p);
        let mut about = Vec::with_capacity(self.rows.len());
        let mut from = 0;
        for &size in &self.sizes {
            let group = &self.rows[from..from + size];
            from += size;
            let mut mean = DVector::zeros(p + 1);
            for (x, y) in group {
                mean += DVector::from_iterator(p + 1, x.iter().copied().chain([*y])) / size as f64;
            }
            for (x, y) in group {
                let d = DVector::from_iterator(p + 1, x.iter().copied().chain([*y])) - &mean;
                let dx = d.rows(0, p).into_owned();
                w.ger(1.0, &dx, &dx, 1.0);
                about.push((dx, d[p]));
            }
        }
        let (mut sum, mut weights) = (0.0, 0.0);
        for node in known.nodes().iter().filter(|n| n.weight >= WEIGHT_MIN) {
            let covariance = DMatrix::from_fn(p, p, |i, j| node.covariance[packed(i, j)]);
            let mut b = DVector::zeros(p);
            let mut squares = 0.0;
            for (dx, dy) in &about {
                let e = dy - dot(dx.as_slice(), &node.beta);
                b.axpy(e, dx, 1.0);
                squares += e * e;
            }
            let information = Factor::new(&covariance)?.inverse() + &w;
            let misfit = (squares - Factor::new(&information)?.quadratic(&b)).max(0.0);
            sum += node.weight * (misfit / df_new) / (node.rss / known.nu());
            weights += node.weight;
        }
        Ok(Some(SpreadRatio {
            f: sum / weights,
            df_new,
            df_known: known.nu(),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::posterior::Node;
    use super::*;

    /// One node at r = 1 with a line known to C = diag(1, 4), σ² = 2.
    fn known() -> Posterior {
        Posterior::from_nodes(
            10.0,
            vec![Node {
                r: 1.0,
                weight: 1.0,
                rss: 20.0,
                beta: vec![1.0, 0.5],
                covariance: vec![1.0, 0.0, 4.0],
            }],
        )
    }

    #[test]
    fn the_spread_equals_the_full_matrix_with_the_shifts_left_free() {
        let groups = vec![
            vec![
                (vec![1.0, 2.0], 3.0),
                (vec![1.0, 3.0], 1.0),
                (vec![1.0, 5.0], 4.5),
            ],
            vec![(vec![1.0, 1.0], -2.0), (vec![1.0, 4.0], 0.5)],
        ];
        let new = NewGroups::new(groups.clone());
        let ratio = new.spread(&known()).unwrap().unwrap();
        // e'K⁻¹e with K = I + XCX' and a huge variance for each group's own shift.
        let rows: Vec<_> = groups
            .iter()
            .enumerate()
            .flat_map(|(g, rows)| rows.iter().map(move |r| (g, r.clone())))
            .collect();
        let n = rows.len();
        let k = DMatrix::from_fn(n, n, |i, j| {
            let ((gi, (xi, _)), (gj, (xj, _))) = (&rows[i], &rows[j]);
            f64::from(u8::from(i == j))
                + xi[0] * xj[0]
                + 4.0 * xi[1] * xj[1]
                + if gi == gj { 1e7 } else { 0.0 }
        });
        let e = DVector::from_fn(n, |i, _| {
            let (x, y) = &rows[i].1;
            y - x[0] - 0.5 * x[1]
        });
        let wanted = Factor::new(&k).unwrap().quadratic(&e) / 3.0 / 2.0;
        assert_eq!((ratio.df_new, ratio.df_known), (3.0, 10.0));
        assert!(
            (ratio.f / wanted - 1.0).abs() < 1e-5,
            "{} for {wanted}",
            ratio.f
        );
    }

    #[test]
    fn the_mean_is_that_of_all_rows_and_each_group_brings_its_shift() {
        let new = NewGroups::new([
            vec![(vec![1.0, 2.0], 3.0); 2],
            vec![(vec![1.0, 2.0], 6.0); 2],
            vec![],
        ]);
        let (mean, expected) = new.mean(&known()).unwrap();
        assert!((mean - 4.5).abs() < 1e-15);
        assert!((expected.centre() - 2.0).abs() < 1e-15);
        // σ²(x'Cx + r²/2 + 1/4) = 2(1 + 16 + 0.75)
        assert!((expected.mean_scale() - 35.5f64.sqrt()).abs() < 1e-12);
        assert!(NewGroups::new([]).mean(&known()).is_none());
    }

    #[test]
    fn groups_of_one_row_say_nothing_of_the_spread() {
        let new = NewGroups::new([vec![(vec![1.0, 2.0], 3.0)], vec![(vec![1.0, 3.0], 3.0)]]);
        assert_eq!(new.spread(&known()), Ok(None));
    }
}
