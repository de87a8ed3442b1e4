//! Rows in, per-group sums out: all that a fit needs to know of the data.

use crate::stats::Numerical;
use crate::stats::linalg::{Normal, packed};
use nalgebra::{DMatrix, DVector};

/// A weak normal prior on one coefficient, as one more row that belongs to no group (`model.md` §2).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PseudoRow {
    /// Which coefficient.
    pub column: usize,
    /// Where the prior is centred, in the coefficient's unit.
    pub mean: f64,
    /// k = σ̂/sd, the weight that makes the row say what the prior says.
    pub weight: f64,
}

/// Groups of one size share their sum: what the data hold depends on a group's size and means only.
#[derive(Debug, Clone)]
struct SizeClass {
    size: f64,
    groups: f64,
    /// Σ z̄ z̄' over these groups, z = (x, y); [`packed`].
    means: Vec<f64>,
}

/// Sums of one group of a data set.
#[derive(Debug, Clone)]
pub struct GroupSums {
    size: f64,
    mean: Vec<f64>,
    /// Cross-products about the mean; [`packed`].
    within: Vec<f64>,
}

/// Sums of a data set: pooled cross-products about the group means, and the means by group size.
///
/// `y` is kept as what is left over a first fit (`offset`), so that nothing is lost to subtraction when the rows
/// lie close to a line far from the origin.
#[derive(Debug, Clone)]
pub struct Design {
    p: usize,
    n: usize,
    /// Cross-products of z = (x, y) about its group's mean; [`packed`].
    within: Vec<f64>,
    classes: Vec<SizeClass>,
    pseudo: Vec<PseudoRow>,
    offset: Vec<f64>,
    rss_floor_per_df: f64,
}

impl Design {
    /// Sums of `y` (n), `x` (n × p) and `group` (n labels, any numbers), with pseudo-rows and the smallest
    /// residual sd that will be believed (`sd_min` ≥ 0; the rounding of the instrument).
    ///
    /// # Errors
    /// [`Numerical::Shape`] and [`Numerical::NotFinite`] for unusable arguments; [`Numerical::RankLost`] naming
    /// the column of `x` that the others already explain.
    pub fn new(
        x: &DMatrix<f64>,
        y: &DVector<f64>,
        group: &[usize],
        pseudo: &[PseudoRow],
        sd_min: f64,
    ) -> Result<Self, Numerical> {
        let (n, p) = x.shape();
        if y.len() != n || group.len() != n || p == 0 {
            return Err(Numerical::Shape {
                what: "rows of a mixed model",
            });
        }
        if !x.iter().chain(y.iter()).all(|v| v.is_finite()) {
            return Err(Numerical::NotFinite {
                what: "rows of a mixed model",
            });
        }
        let first = Self::sums(x, y, group, pseudo, vec![0.0; p]);
        let offset = Normal::of_packed(first.normal_equations(1.0), p)?.solution();
        let rest = y - x * DVector::from_column_slice(&offset);
        let mut design = Self::sums(x, &rest, group, pseudo, offset);
        design.rss_floor_per_df = sd_min * sd_min;
        Ok(design)
    }

    /// Per-group means and pooled cross-products about them (Chan, Golub & LeVeque 1983: two passes).
    fn sums(
        x: &DMatrix<f64>,
        y: &DVector<f64>,
        group: &[usize],
        pseudo: &[PseudoRow],
        offset: Vec<f64>,
    ) -> Self {
        let (n, p) = x.shape();
        let mut label_of: Vec<usize> = group.to_vec();
        label_of.sort_unstable();
        label_of.dedup();
        let place: Vec<usize> = group
            .iter()
            .map(|g| label_of.partition_point(|l| l < g))
            .collect();
        let width = p + 1;
        let z = |i: usize, c: usize| if c < p { x[(i, c)] } else { y[i] };
        let mut count = vec![0.0; label_of.len()];
        let mut mean = vec![0.0; label_of.len() * width];
        for (i, &j) in place.iter().enumerate() {
            count[j] += 1.0;
            for c in 0..width {
                mean[j * width + c] += z(i, c);
            }
        }
        for (m, &n) in mean.chunks_mut(width).zip(&count) {
            m.iter_mut().for_each(|m| *m /= n);
        }
        let mut within = vec![0.0; width * (width + 1) / 2];
        let mut about = vec![0.0; width];
        for (i, &j) in place.iter().enumerate() {
            for c in 0..width {
                about[c] = z(i, c) - mean[j * width + c];
            }
            add_square(&mut within, &about);
        }
        let mut classes: Vec<SizeClass> = Vec::new();
        for (m, &size) in mean.chunks(width).zip(&count) {
            let at = match classes.iter().position(|c| c.size == size) {
                Some(at) => at,
                None => {
                    classes.push(SizeClass {
                        size,
                        groups: 0.0,
                        means: vec![0.0; within.len()],
                    });
                    classes.len() - 1
                }
            };
            classes[at].groups += 1.0;
            add_square(&mut classes[at].means, m);
        }
        classes.sort_by(|a, b| a.size.total_cmp(&b.size));
        Design {
            p,
            n,
            within,
            classes,
            pseudo: pseudo.to_vec(),
            offset,
            rss_floor_per_df: 0.0,
        }
    }

    /// The same without one group; the rows taken out must be those of a group in it.
    ///
    /// What is left must not be much less than what is taken: it is what subtraction leaves.
    pub fn without(&self, group: &GroupSums) -> Design {
        let mut left = self.clone();
        left.n -= group.size as usize;
        for (sum, own) in left.within.iter_mut().zip(&group.within) {
            *sum -= own;
        }
        let mut own = vec![0.0; left.within.len()];
        add_square(&mut own, &group.mean);
        for class in left.classes.iter_mut().filter(|c| c.size == group.size) {
            class.groups -= 1.0;
            for (sum, own) in class.means.iter_mut().zip(&own) {
                *sum -= own;
            }
        }
        left.classes.retain(|class| class.groups > 0.0);
        left
    }

    /// Sums of one group's rows, as [`Design::without`] takes them.
    ///
    /// * `x`, `y` — those the design was made from; `members` — the group's rows in them
    pub fn group_sums(&self, x: &DMatrix<f64>, y: &DVector<f64>, members: &[usize]) -> GroupSums {
        let p = self.p;
        let width = p + 1;
        let mut z = vec![0.0; members.len() * width];
        for (z, &i) in z.chunks_mut(width).zip(members) {
            let mut rest = y[i];
            for c in 0..p {
                z[c] = x[(i, c)];
                rest -= z[c] * self.offset[c];
            }
            z[p] = rest;
        }
        let size = members.len() as f64;
        let mut mean = vec![0.0; width];
        for z in z.chunks(width) {
            mean.iter_mut().zip(z).for_each(|(m, z)| *m += z / size);
        }
        let mut within = vec![0.0; self.within.len()];
        for z in z.chunks_mut(width) {
            z.iter_mut().zip(&mean).for_each(|(z, m)| *z -= m);
            add_square(&mut within, z);
        }
        GroupSums { size, mean, within }
    }

    /// X'V⁻¹X, X'V⁻¹y and y'V⁻¹y at one ratio as one bordered triangle, [`packed`]; pseudo-rows included, y less the offset.
    pub(super) fn normal_equations(&self, r: f64) -> Vec<f64> {
        let p = self.p;
        let mut m = self.within.clone();
        for class in &self.classes {
            let weight = class.size / (1.0 + class.size * r * r);
            for (sum, mean) in m.iter_mut().zip(&class.means) {
                *sum += weight * mean;
            }
        }
        for row in &self.pseudo {
            let (c, k2) = (row.column, row.weight * row.weight);
            let v = row.mean - self.offset[c];
            m[packed(c, c)] += k2;
            m[packed(p, c)] += k2 * v;
            m[packed(p, p)] += k2 * v * v;
        }
        m
    }

    /// Σ ln(1 + n_j r²), the log-determinant of V up to σ.
    pub(super) fn ln_det_v(&self, r: f64) -> f64 {
        self.classes
            .iter()
            .map(|c| c.groups * (c.size * r * r).ln_1p())
            .sum()
    }

    /// What must be added to the coefficients of the kept `y` to give those of the data.
    pub(super) fn offset(&self) -> &[f64] {
        &self.offset
    }

    /// ν·σ_min², below which no residual sum of squares is believed.
    pub(super) fn rss_floor(&self) -> f64 {
        self.nu() * self.rss_floor_per_df
    }

    /// The smallest residual sd that is believed.
    pub fn sd_min(&self) -> f64 {
        self.rss_floor_per_df.sqrt()
    }

    /// Rows, without pseudo-rows.
    pub fn rows(&self) -> usize {
        self.n
    }

    /// Columns.
    pub fn columns(&self) -> usize {
        self.p
    }

    /// Number of groups.
    pub fn groups(&self) -> usize {
        self.classes.iter().map(|c| c.groups as usize).sum()
    }

    /// Pseudo-rows in force.
    pub fn pseudo(&self) -> &[PseudoRow] {
        &self.pseudo
    }

    /// ν = n + q − p.
    pub fn nu(&self) -> f64 {
        (self.n + self.pseudo.len()) as f64 - self.p as f64
    }

    /// Whether the criterion depends on the ratio at all: some group has several rows, and there are several.
    pub fn ratio_can_be_told(&self) -> bool {
        self.groups() > 1 && self.classes.iter().any(|c| c.size > 1.0)
    }
}

/// Adds zz' to a triangle, [`packed`].
fn add_square(triangle: &mut [f64], z: &[f64]) {
    let mut at = 0;
    for (i, a) in z.iter().enumerate() {
        for b in &z[..=i] {
            triangle[at] += a * b;
            at += 1;
        }
    }
}
