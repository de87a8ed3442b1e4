//! Rows in, per-group sums out: all that a fit needs to know of the data.

use super::groups::Groups;
use crate::stats::Numerical;
use crate::stats::linalg::{Few, InOrder, Normal, packed};
use nalgebra::{DMatrix, DVector};
use smallvec::smallvec;

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
    means: Few,
}

/// Sums of one group of a data set.
#[derive(Debug, Clone)]
pub struct GroupSums {
    size: f64,
    mean: Few,
    /// Cross-products about the mean; [`packed`].
    within: Few,
}

impl GroupSums {
    /// How many rows.
    pub fn rows(&self) -> f64 {
        self.size
    }

    /// Takes the group's part out of normal equations at one ratio that hold it.
    ///
    /// What is left must not be much less than what is taken: it is what subtraction leaves.
    pub(super) fn take_from(&self, normal_equations: &mut [f64], r: f64) {
        let weight = self.size / (1.0 + self.size * r * r);
        let mut at = 0;
        for (i, a) in self.mean.iter().enumerate() {
            for b in &self.mean[..=i] {
                normal_equations[at] -= self.within[at] + weight * a * b;
                at += 1;
            }
        }
    }
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
    within: Few,
    classes: Vec<SizeClass>,
    pseudo: Vec<PseudoRow>,
    offset: Vec<f64>,
    rss_floor_per_df: f64,
}

impl Design {
    /// Sums of `y` (n), `x` (n × p) and `group` (n), with pseudo-rows and the smallest residual sd that will be
    /// believed (`sd_min` ≥ 0; the rounding of the instrument).
    ///
    /// # Errors
    /// [`Numerical::Shape`] and [`Numerical::NotFinite`] for unusable arguments; [`Numerical::RankLost`] naming
    /// the column of `x` that the others already explain.
    pub fn new(
        x: &DMatrix<f64>,
        y: &DVector<f64>,
        group: &Groups,
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
        let mut about = About::means(x, y, group);
        let first = Self::of(&about, group, pseudo, vec![0.0; p]);
        let offset = Normal::of_packed(first.normal_equations(1.0), p)?
            .solution()
            .to_vec();
        about.response(y - x * DVector::from_column_slice(&offset), group);
        let mut design = Self::of(&about, group, pseudo, offset);
        design.rss_floor_per_df = sd_min * sd_min;
        Ok(design)
    }

    /// Cross-products of what is left about the group means, and the means by group size.
    fn of(about: &About, group: &Groups, pseudo: &[PseudoRow], offset: Vec<f64>) -> Self {
        let width = about.left.ncols();
        let mut within = Few::with_capacity(width * (width + 1) / 2);
        for i in 0..width {
            within.extend((0..=i).map(|j| about.left.column(i).dot(&about.left.column(j))));
        }
        Design {
            pseudo: pseudo.to_vec(),
            offset,
            ..Self::of_sums(width - 1, &within, &about.means, group)
        }
    }

    /// From sums made elsewhere, without pseudo-rows.
    ///
    /// * `p` — columns of x
    /// * `within` — cross-products of z = (x, y) about the means of its group, [`packed`]
    /// * `means` — of z in each group, one group after another
    pub fn of_sums(p: usize, within: &[f64], means: &[f64], group: &Groups) -> Self {
        let width = p + 1;
        assert_eq!(
            within.len(),
            width * (width + 1) / 2,
            "sums of as many columns"
        );
        let mut classes: Vec<SizeClass> = Vec::new();
        for (m, members) in means.chunks(width).zip(group.each()) {
            add_group(&mut classes, members.len() as f64, m);
        }
        classes.sort_by(|a, b| a.size.total_cmp(&b.size));
        Design {
            p,
            n: group.len(),
            within: Few::from_slice(within),
            classes,
            pseudo: Vec::new(),
            offset: vec![0.0; p],
            rss_floor_per_df: 0.0,
        }
    }

    /// The same rows with other pseudo-rows.
    pub fn with_pseudo(mut self, pseudo: &[PseudoRow]) -> Self {
        self.pseudo = pseudo.to_vec();
        self
    }

    /// The columns that those before them do not already explain, by what the rows alone say.
    pub fn told_apart(&self) -> Vec<usize> {
        let squares = self.clone().with_pseudo(&[]).normal_equations(0.0);
        InOrder::of_packed(squares.into_vec(), self.p)
            .map_or_else(|_| Vec::new(), |order| order.kept())
    }

    /// The same rows with these of its columns only (rising), without pseudo-rows.
    pub fn with_columns(&self, columns: &[usize]) -> Self {
        let p = self.p;
        // What a column that leaves took out of y goes back in.
        let gone = |j: usize| !columns.contains(&j);
        let kept: Vec<usize> = columns.iter().copied().chain([p]).collect();
        let part = |all: &Few| {
            let mut all = all.clone();
            for j in (0..p).filter(|&j| gone(j)) {
                let by = self.offset[j];
                // z_p + by·z_j: its square first, which needs the products as they were.
                let (jj, pj) = (all[packed(j, j)], all[packed(p, j)]);
                all[packed(p, p)] += by * (2.0 * pj + by * jj);
                for c in 0..p {
                    let jc = all[packed(j, c)];
                    all[packed(p, c)] += by * jc;
                }
            }
            let mut part = Few::new();
            for (i, &a) in kept.iter().enumerate() {
                part.extend(kept[..=i].iter().map(|&b| all[packed(a, b)]));
            }
            part
        };
        let mut left = self.clone();
        left.p = columns.len();
        left.within = part(&self.within);
        for class in &mut left.classes {
            class.means = part(&class.means);
        }
        left.pseudo.clear();
        left.offset = columns.iter().map(|&c| self.offset[c]).collect();
        left
    }

    /// The same model of other groups: the sums of these, added up.
    pub fn of_groups<'a>(&self, groups: impl Iterator<Item = &'a GroupSums>) -> Design {
        let mut design = self.clone();
        design.n = 0;
        design.within.fill(0.0);
        design.classes.clear();
        for group in groups {
            design.n += group.size as usize;
            for (sum, own) in design.within.iter_mut().zip(&group.within) {
                *sum += own;
            }
            add_group(&mut design.classes, group.size, &group.mean);
        }
        design.classes.sort_by(|a, b| a.size.total_cmp(&b.size));
        design
    }

    /// Sums of one group's rows.
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
        let mut mean: Few = smallvec![0.0; width];
        for z in z.chunks(width) {
            mean.iter_mut().zip(z).for_each(|(m, z)| *m += z / size);
        }
        let mut within: Few = smallvec![0.0; self.within.len()];
        for z in z.chunks_mut(width) {
            z.iter_mut().zip(&mean).for_each(|(z, m)| *z -= m);
            add_square(&mut within, z);
        }
        GroupSums { size, mean, within }
    }

    /// X'V⁻¹X, X'V⁻¹y and y'V⁻¹y at one ratio as one bordered triangle, [`packed`]; pseudo-rows included, y less the offset.
    pub(super) fn normal_equations(&self, r: f64) -> Few {
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

/// Columns of z = (x, y) as means of the groups, and what is left about them (Chan, Golub & LeVeque 1983: two passes).
struct About {
    /// n × (p + 1).
    left: DMatrix<f64>,
    /// A row of p + 1 for each group.
    means: Vec<f64>,
}

impl About {
    fn means(x: &DMatrix<f64>, y: &DVector<f64>, group: &Groups) -> Self {
        let (n, p) = x.shape();
        let mut left = DMatrix::zeros(n, p + 1);
        left.columns_mut(0, p).copy_from(x);
        left.column_mut(p).copy_from(y);
        let mut about = About {
            left,
            means: vec![0.0; group.labels().len() * (p + 1)],
        };
        for column in 0..=p {
            about.take_out(column, group);
        }
        about
    }

    /// Another response beside the same columns.
    fn response(&mut self, y: DVector<f64>, group: &Groups) {
        let last = self.left.ncols() - 1;
        self.left.column_mut(last).copy_from(&y);
        self.take_out(last, group);
    }

    fn take_out(&mut self, column: usize, group: &Groups) {
        let width = self.left.ncols();
        let means = group.take_out_means(self.left.column_mut(column).as_mut_slice());
        for (place, mean) in means.into_iter().enumerate() {
            self.means[place * width + column] = mean;
        }
    }
}

/// Adds a group of so many rows with these means to its class.
fn add_group(classes: &mut Vec<SizeClass>, size: f64, mean: &[f64]) {
    let at = match classes.iter().position(|c| c.size == size) {
        Some(at) => at,
        None => {
            classes.push(SizeClass {
                size,
                groups: 0.0,
                means: smallvec![0.0; mean.len() * (mean.len() + 1) / 2],
            });
            classes.len() - 1
        }
    };
    classes[at].groups += 1.0;
    add_square(&mut classes[at].means, mean);
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
