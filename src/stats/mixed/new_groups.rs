//! New groups held against what is known: do their mean and their spread within groups fit?

use super::mixture::Mixture;
use super::posterior::{Node, Posterior, normalised};
use super::row::Row;
use crate::stats::Numerical;
use crate::stats::distributions::{f_quantile, f_sf};
use crate::stats::interval::{Interval, Level};
use crate::stats::linalg::{Factor, dot, symmetric};
use crate::stats::optimise;
use nalgebra::{DMatrix, DVector};

/// Nodes lighter than this do not count for the spread.
const WEIGHT_MIN: f64 = 1e-6;

/// Rows of new groups.
#[derive(Debug, Clone, Default)]
pub struct NewGroups {
    /// Of each group, not empty.
    groups: Vec<Vec<(Row, f64)>>,
}

/// A variance that is known with some degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnownSpread {
    /// Root of the mean square, above 0.
    pub sd: f64,
    /// Degrees of freedom of the mean square, above 0.
    pub df: f64,
}

/// Mean square within the new groups over the known variance, of one kind of response or of several pooled.
#[derive(Debug, Clone, PartialEq)]
pub struct SpreadRatio {
    /// The ratio of variances, by degrees of freedom above.
    pub f: f64,
    /// For each response, its degrees of freedom above and below.
    df: Vec<(f64, f64)>,
}

/// Points of the integral over one response's F.
const POINTS: usize = 200;
/// A quantile of the pooled ratio is found to this part of it.
const QUANTILE_WITHIN: f64 = 1e-6;

impl SpreadRatio {
    /// Several responses as one, each ratio weighted by its degrees of freedom above; `None` of none.
    pub fn pooled(ratios: &[SpreadRatio]) -> Option<Self> {
        let above = |r: &SpreadRatio| r.df.iter().map(|d| d.0).sum::<f64>();
        let all: f64 = ratios.iter().map(above).sum();
        (all > 0.0).then(|| SpreadRatio {
            f: ratios.iter().map(|r| above(r) / all * r.f).sum(),
            df: ratios.iter().flat_map(|r| r.df.iter().copied()).collect(),
        })
    }

    /// The ratio of SDs with its interval.
    ///
    /// # Errors
    /// [`Numerical`] when a quantile is not found.
    pub fn sd_ratio(&self, level: Level) -> Result<Interval, Numerical> {
        let tail = level.lower_tail();
        let end = |upper: f64| -> Result<f64, Numerical> {
            Ok((self.f / quantile(&self.df, upper)?).sqrt())
        };
        Ok(Interval::holding(
            self.f.sqrt(),
            end(tail)?,
            end(1.0 - tail)?,
        ))
    }

    /// The chance of a ratio as large as this where the spreads are equal.
    pub fn p_wider(&self) -> f64 {
        above(&self.df, self.f)
    }
}

/// P(Σ w_i F_i > g) for independent F with these degrees of freedom, weighted by those above: F itself for one, else an
/// integral over equally likely values of the first.
fn above(df: &[(f64, f64)], g: f64) -> f64 {
    let &[(d1, d2), ref rest @ ..] = df else {
        return f64::from(u8::from(g < 0.0));
    };
    if rest.is_empty() {
        return f_sf(g, d1, d2);
    }
    let all: f64 = df.iter().map(|d| d.0).sum();
    let share = d1 / all;
    (0..POINTS)
        .map(|i| {
            let first = f_quantile((i as f64 + 0.5) / POINTS as f64, d1, d2);
            above(rest, (g - share * first) / (1.0 - share))
        })
        .sum::<f64>()
        / POINTS as f64
}

/// The g that is exceeded with a probability.
fn quantile(df: &[(f64, f64)], upper: f64) -> Result<f64, Numerical> {
    if let &[(d1, d2)] = df {
        return Ok(f_quantile(1.0 - upper, d1, d2));
    }
    // The pooled ratio lies between the smallest and largest of its parts.
    let each = |p: f64| df.iter().map(move |d| f_quantile(p, d.0, d.1));
    let part = 0.5 * upper.min(1.0 - upper) / df.len() as f64;
    let low = each(part).fold(f64::INFINITY, f64::min);
    let high = each(1.0 - part).fold(0.0, f64::max);
    optimise::root(|g| above(df, g) - upper, low, high, QUANTILE_WITHIN * low)
}

impl NewGroups {
    /// From groups of rows with their responses; empty groups are passed over.
    pub fn new(groups: impl IntoIterator<Item = Vec<(Row, f64)>>) -> Self {
        NewGroups {
            groups: groups.into_iter().filter(|g| !g.is_empty()).collect(),
        }
    }

    /// How many rows.
    pub fn rows(&self) -> usize {
        self.groups.iter().map(Vec::len).sum()
    }

    fn each_row(&self) -> impl Iterator<Item = &(Row, f64)> {
        self.groups.iter().flatten()
    }

    /// Mean response, and the distribution it was to have; `None` without a row.
    pub fn mean(&self, known: &Posterior) -> Option<(f64, Mixture)> {
        let m = self.rows() as f64;
        let mut x = vec![0.0; self.each_row().next()?.0.x.len()];
        for (row, _) in self.each_row() {
            for (sum, v) in x.iter_mut().zip(&row.x) {
                *sum += v / m;
            }
        }
        let y = self.each_row().fold(0.0, |sum, (_, y)| sum + y / m);
        let sizes = |group: &Vec<(Row, f64)>| group.iter().map(|(row, _)| row.size).collect();
        let sizes: Vec<Vec<f64>> = self.groups.iter().map(sizes).collect();
        Some((y, known.new_groups_mean_distribution(&x, &sizes)))
    }

    /// Spread within the new groups against a known one; `None` without a degree of freedom.
    ///
    /// With W = X̃'X̃, b = X̃'ẽ over rows, divided by their scale g, about their group's mean, e = y − Xβ_θ, the misfit ẽ'(I + X̃C_θX̃')⁻¹ẽ =
    /// ẽ'ẽ − b'(C_θ⁻¹ + W)⁻¹b is σ²χ² with rows − groups degrees of freedom, whatever the groups' effects. Averaged over
    /// θ and γ with the weights that these have after the new rows: a day that ran far long at all distances alike is no wider
    /// because one γ would have it grow. It is the closed form of [`Posterior::group`] with the groups' effects left free.
    ///
    /// * `spread` — σ to compare with. Not RSS_θ/ν of the nodes: where groups hardly differ, the prior's larger θ put
    ///   part of the spread down to groups and leave that up to 9 % low, and up to twice as many reviews as promised cry
    ///   "wider" (*measured*, with pooling by Satterthwaite's degrees of freedom)
    ///
    /// # Errors
    /// [`Numerical::RankLost`] for a covariance without an inverse.
    pub fn spread(
        &self,
        known: &Posterior,
        spread: KnownSpread,
    ) -> Result<Option<SpreadRatio>, Numerical> {
        let df_new = (self.rows() - self.groups.len()) as f64;
        if df_new < 1.0 {
            return Ok(None);
        }
        let p = known.columns();
        let (mut misfits, mut ln_weights) = (Vec::new(), Vec::new());
        let mut about = AboutMeans::default();
        for node in known.nodes().iter().filter(|n| n.weight >= WEIGHT_MIN) {
            if about.growth != Some(node.growth) {
                about = self.about_means(p, node);
            }
            let mut b = DVector::zeros(p);
            let mut squares = 0.0;
            for (dx, dy) in &about.rows {
                let e = dy - dot(dx.as_slice(), &node.beta);
                b.axpy(e, dx, 1.0);
                squares += e * e;
            }
            let before = Factor::new(&symmetric(&node.covariance, p))?;
            let after = Factor::new(&(before.inverse() + &about.cross))?;
            let misfit = (squares - after.quadratic(&b)).max(0.0);
            let ln_det = before.ln_determinant() + after.ln_determinant();
            let (nu, rss) = (known.nu(), node.rss);
            let ln_rss = nu * rss.ln() - (nu + df_new) * (rss + misfit).ln();
            misfits.push(misfit);
            ln_weights.push(node.weight.ln() + 0.5 * (ln_rss - ln_det) - about.ln_scale);
        }
        let weights = normalised(&ln_weights);
        let misfit: f64 = misfits.iter().zip(&weights).map(|(m, w)| m * w).sum();
        Ok(Some(SpreadRatio {
            f: misfit / df_new / (spread.sd * spread.sd),
            df: vec![(df_new, spread.df)],
        }))
    }

    /// The rows, divided by their scale at a node, about the mean of their group.
    fn about_means(&self, p: usize, node: &Node) -> AboutMeans {
        let structure = node.groups();
        let mut about = AboutMeans {
            growth: Some(node.growth),
            rows: Vec::with_capacity(self.rows()),
            cross: DMatrix::zeros(p, p),
            ln_scale: 0.0,
        };
        for group in &self.groups {
            let divided = |(row, y): &(Row, f64)| {
                let entries = row.x.iter().copied().chain([*y]);
                DVector::from_iterator(p + 1, entries) / structure.scale(row.size)
            };
            let rows: Vec<DVector<f64>> = group.iter().map(divided).collect();
            let mean = rows.iter().sum::<DVector<f64>>() / rows.len() as f64;
            let scales = group.iter().map(|(row, _)| structure.scale(row.size).ln());
            about.ln_scale += scales.sum::<f64>();
            for row in rows {
                let d = row - &mean;
                let dx = d.rows(0, p).into_owned();
                about.cross.ger(1.0, &dx, &dx, 1.0);
                about.rows.push((dx, d[p]));
            }
        }
        about
    }
}

/// Rows about the mean of their group at one γ.
#[derive(Default)]
struct AboutMeans {
    /// γ; `None` of no rows.
    growth: Option<f64>,
    /// (x, y) of each.
    rows: Vec<(DVector<f64>, f64)>,
    /// X̃'X̃.
    cross: DMatrix<f64>,
    /// Σ ln g over the rows.
    ln_scale: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One node at θ = 1 with a line known to C = diag(1, 4), σ² = 2.
    fn known() -> Posterior {
        Posterior::from_nodes(
            10.0,
            vec![Node {
                r: 1.0,
                growth: 0.0,
                weight: 1.0,
                rss: 20.0,
                beta: vec![1.0, 0.5],
                covariance: vec![1.0, 0.0, 4.0],
            }],
        )
    }

    fn row(x: f64) -> Row {
        Row::of_mean_size(vec![1.0, x])
    }

    /// σ² = 2 with 10 degrees of freedom.
    const SPREAD: KnownSpread = KnownSpread {
        sd: std::f64::consts::SQRT_2,
        df: 10.0,
    };

    /// Two independent F pooled, against counting two hundred thousand simulated ones: three standard errors.
    #[test]
    fn pooled_ratios_are_exceeded_as_often_as_said() {
        use crate::stats::resample;
        let df = [(5.0, 20.0), (4.0, 15.0)];
        let draws = 200_000;
        let mut chance = resample::replicate(1, 0);
        let mut draw = || {
            let f = df.map(|(a, b)| f_quantile(resample::uniform(&mut chance), a, b));
            (5.0 * f[0] + 4.0 * f[1]) / 9.0
        };
        let mut drawn: Vec<f64> = (0..draws).map(|_| draw()).collect();
        drawn.sort_by(f64::total_cmp);
        for upper in [0.975, 0.5, 0.025] {
            let g = quantile(&df, upper).unwrap();
            let found = drawn.iter().filter(|x| **x > g).count() as f64 / f64::from(draws);
            let error = (upper * (1.0 - upper) / f64::from(draws)).sqrt();
            assert!(
                (found - upper).abs() < 3.0 * error + 2e-4,
                "{upper}: {found}"
            );
            assert!((above(&df, g) - upper).abs() < 1e-4);
        }
    }

    #[test]
    fn the_spread_equals_the_full_matrix_with_the_effects_left_free() {
        let groups = vec![
            vec![(row(2.0), 3.0), (row(3.0), 1.0), (row(5.0), 4.5)],
            vec![(row(1.0), -2.0), (row(4.0), 0.5)],
        ];
        let new = NewGroups::new(groups.clone());
        let ratio = new.spread(&known(), SPREAD).unwrap().unwrap();
        // e'K⁻¹e with K = I + XCX' and a huge variance for each group's own effect.
        let rows: Vec<_> = groups
            .iter()
            .enumerate()
            .flat_map(|(g, rows)| rows.iter().map(move |r| (g, r.clone())))
            .collect();
        let n = rows.len();
        let k = DMatrix::from_fn(n, n, |i, j| {
            let ((gi, (xi, _)), (gj, (xj, _))) = (&rows[i], &rows[j]);
            f64::from(u8::from(i == j))
                + xi.x[0] * xj.x[0]
                + 4.0 * xi.x[1] * xj.x[1]
                + if gi == gj { 1e7 } else { 0.0 }
        });
        let e = DVector::from_fn(n, |i, _| {
            let (x, y) = &rows[i].1;
            y - x.x[0] - 0.5 * x.x[1]
        });
        let wanted = Factor::new(&k).unwrap().quadratic(&e) / 3.0 / 2.0;
        assert_eq!(ratio.df, [(3.0, 10.0)]);
        assert!(
            (ratio.f / wanted - 1.0).abs() < 1e-5,
            "{} for {wanted}",
            ratio.f
        );
    }

    #[test]
    fn the_mean_is_that_of_all_rows_and_each_group_brings_its_effect() {
        let new = NewGroups::new([vec![(row(2.0), 3.0); 2], vec![(row(2.0), 6.0); 2], vec![]]);
        let (mean, expected) = new.mean(&known()).unwrap();
        assert!((mean - 4.5).abs() < 1e-15);
        assert!((expected.centre() - 2.0).abs() < 1e-15);
        // σ²(x'Cx + θ²/2 + 1/4) = 2(1 + 16 + 0.75)
        assert!((expected.mean_scale() - 35.5f64.sqrt()).abs() < 1e-12);
        assert!(NewGroups::new([]).mean(&known()).is_none());
    }

    #[test]
    fn groups_of_one_row_say_nothing_of_the_spread() {
        let new = NewGroups::new([vec![(row(2.0), 3.0)], vec![(row(3.0), 3.0)]]);
        assert_eq!(new.spread(&known(), SPREAD), Ok(None));
    }
}
