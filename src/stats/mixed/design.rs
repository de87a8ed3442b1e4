//! Rows in, centred sums by group out: all that a fit needs to know of the data.
//!
//! θ touches a group only through its number of rows and its mean row, so cross-products about the means are pooled once.
//! Raw sums would lose the answer to subtraction (an intercept of 37.5 for 33.6 at θ = 1e6, *measured*); these are the
//! two-pass sums of Chan, Golub and LeVeque (1983).

use super::groups::Groups;
use super::random_intercept::RandomIntercept;
use crate::stats::Numerical;
use crate::stats::linalg::estimable_columns;
use nalgebra::{DMatrix, DVector};

/// The rows of a fit.
#[derive(Debug, Clone)]
pub struct Rows {
    /// n × p.
    pub x: DMatrix<f64>,
    /// n responses.
    pub y: DVector<f64>,
    /// n group labels.
    pub group: Groups,
    /// What `x` and `y` were divided by; the spreads of what is left are the same everywhere.
    pub scale: Scale,
}

/// What the rows of a fit were divided by.
#[derive(Debug, Clone)]
pub enum Scale {
    /// Nothing.
    Even,
    /// g = u^γ of each row.
    Growing {
        /// γ.
        growth: f64,
        /// g of each row.
        by: DVector<f64>,
    },
}

impl Scale {
    /// γ; 0 where spreads are the same everywhere.
    pub fn growth(&self) -> f64 {
        match self {
            Scale::Even => 0.0,
            Scale::Growing { growth, .. } => *growth,
        }
    }

    /// g of row `i`.
    pub fn by(&self, i: usize) -> f64 {
        match self {
            Scale::Even => 1.0,
            Scale::Growing { by, .. } => by[i],
        }
    }
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
    /// Rows as they were observed.
    pub fn new(x: DMatrix<f64>, y: DVector<f64>, group: impl Into<Groups>) -> Self {
        Rows {
            x,
            y,
            group: group.into(),
            scale: Scale::Even,
        }
    }

    /// These rows divided by g = u^γ, so that spreads that grow with a row's size u are the same everywhere.
    ///
    /// * `sizes` — u of each row, > 0
    pub fn divided(&self, sizes: &[f64], growth: f64) -> Rows {
        let groups = RandomIntercept::at(0.0).growing(growth);
        let by = DVector::from_iterator(sizes.len(), sizes.iter().map(|&u| groups.scale(u)));
        let mut rows = self.clone();
        for mut column in rows.x.column_iter_mut() {
            column.component_div_assign(&by);
        }
        rows.y.component_div_assign(&by);
        rows.scale = Scale::Growing { growth, by };
        rows
    }

    /// Their sums.
    ///
    /// * `pseudo` — priors on coefficients
    /// * `sd_min` — the smallest residual sd that will be believed, ≥ 0: the rounding of the instrument
    ///
    /// # Errors
    /// [`Numerical::Shape`] and [`Numerical::NotFinite`] for unusable rows; [`Numerical::RankLost`] naming the column of
    /// `x` that those before it explain.
    pub fn design(&self, pseudo: &[PseudoRow], sd_min: f64) -> Result<Design, Numerical> {
        let what = "rows of a mixed model";
        let (n, p) = self.x.shape();
        if self.y.len() != n || self.group.len() != n || p == 0 {
            return Err(Numerical::Shape { what });
        }
        if !self.x.iter().chain(self.y.iter()).all(|v| v.is_finite()) {
            return Err(Numerical::NotFinite { what });
        }
        let about = |offset: DVector<f64>| {
            let sums = |members: &[usize]| GroupSums::from_rows(self, members, &offset);
            let groups: Vec<GroupSums> = self.group.each().map(sums).collect();
            Design::from_groups(
                &groups,
                Given {
                    pseudo: pseudo.to_vec(),
                    offset,
                    rss_floor_per_df: sd_min * sd_min,
                    growth: self.scale.growth(),
                },
            )
        };
        // Any θ will do to come near the line.
        let near = about(DVector::zeros(p)).at(1.0)?.beta;
        Ok(about(near))
    }

    /// All rows with some of the columns.
    pub fn with_columns(&self, columns: &[usize]) -> Rows {
        Rows {
            x: self.x.select_columns(columns),
            y: self.y.clone(),
            group: self.group.clone(),
            scale: self.scale.clone(),
        }
    }

    /// The columns that those before them do not explain.
    pub fn estimable_columns(&self) -> Vec<usize> {
        estimable_columns(&self.x.tr_mul(&self.x))
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
}

/// A weak normal prior on one coefficient as a pseudo-observation: one more row, which belongs to no group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PseudoRow {
    /// Which coefficient.
    pub column: usize,
    /// Where the prior is centred, in the coefficient's unit.
    pub mean: f64,
    /// k = σ̂/sd, the weight that makes the row say what the prior says.
    pub weight: f64,
}

/// Sums of one group's rows z = (x, y), y less what the offset explains.
#[derive(Debug, Clone)]
pub(super) struct GroupSums {
    /// Number of rows.
    n: f64,
    /// z̄.
    mean: DVector<f64>,
    /// Cross-products of z about z̄.
    within: DMatrix<f64>,
    /// Σ ln g, what the division by g takes off ln p(y).
    ln_scale: f64,
}

impl GroupSums {
    /// Of the group whose rows are `members` of `rows`.
    pub fn from_rows(rows: &Rows, members: &[usize], offset: &DVector<f64>) -> Self {
        let p = rows.x.ncols();
        let mut z = DMatrix::zeros(members.len(), p + 1);
        for (k, &i) in members.iter().enumerate() {
            let mut left = rows.y[i];
            for j in 0..p {
                z[(k, j)] = rows.x[(i, j)];
                left -= z[(k, j)] * offset[j];
            }
            z[(k, p)] = left;
        }
        let mean = DVector::from_iterator(p + 1, z.column_iter().map(|column| column.mean()));
        for (mut column, mean) in z.column_iter_mut().zip(mean.iter()) {
            column.add_scalar_mut(-mean);
        }
        GroupSums {
            n: members.len() as f64,
            mean,
            within: z.tr_mul(&z),
            ln_scale: members.iter().map(|&i| rows.scale.by(i).ln()).sum(),
        }
    }
}

/// Groups of one size share their sum: θ gives them one weight.
#[derive(Debug, Clone)]
struct SizeClass {
    /// Rows of each.
    n: f64,
    /// How many.
    groups: f64,
    /// Σ z̄z̄' over them.
    means: DMatrix<f64>,
}

impl SizeClass {
    fn empty(n: f64, p: usize) -> Self {
        SizeClass {
            n,
            groups: 0.0,
            means: DMatrix::zeros(p + 1, p + 1),
        }
    }
}

/// Sums of a data set: pooled cross-products about the group means, and the means by group size.
///
/// `y` is kept as the residuals of a first fit (`offset`), so that nothing is lost to subtraction when the rows
/// lie close to a line far from the origin.
#[derive(Debug, Clone)]
pub struct Design {
    n: usize,
    /// Cross-products of z = (x, y) about its group's mean, (p + 1) × (p + 1).
    within: DMatrix<f64>,
    /// By rising size.
    classes: Vec<SizeClass>,
    /// Σ ln g over all rows.
    ln_scale: f64,
    given: Given,
}

/// What a design does not take from its rows.
#[derive(Debug, Clone)]
struct Given {
    pseudo: Vec<PseudoRow>,
    offset: DVector<f64>,
    rss_floor_per_df: f64,
    growth: f64,
}

impl Design {
    /// Sums of groups, added up.
    fn from_groups<'a>(groups: impl IntoIterator<Item = &'a GroupSums>, given: Given) -> Self {
        let p = given.offset.len();
        let mut ln_scale = 0.0;
        let mut n = 0.0;
        let mut within = DMatrix::zeros(p + 1, p + 1);
        let mut classes: Vec<SizeClass> = Vec::new();
        for group in groups {
            n += group.n;
            ln_scale += group.ln_scale;
            within += &group.within;
            let at = classes.partition_point(|class| class.n < group.n);
            if classes.get(at).is_none_or(|class| class.n > group.n) {
                classes.insert(at, SizeClass::empty(group.n, p));
            }
            classes[at].groups += 1.0;
            classes[at].means.ger(1.0, &group.mean, &group.mean, 1.0);
        }
        Design {
            n: n as usize,
            within,
            classes,
            ln_scale,
            given,
        }
    }

    /// This design with other groups, whose sums were made with its offset.
    pub(super) fn with_groups<'a>(&self, groups: impl Iterator<Item = &'a GroupSums>) -> Design {
        Design::from_groups(groups, self.given.clone())
    }

    /// [X y]'V⁻¹[X y], (p + 1) × (p + 1): W + Σ_j n_j/(1 + n_jθ²)·z̄_j z̄_j', and kk' for each pseudo-row; y less what the
    /// offset explains.
    pub(super) fn cross_products(&self, groups: RandomIntercept) -> DMatrix<f64> {
        let p = self.columns();
        let mut cross = self.within.clone();
        for class in &self.classes {
            let weight = groups.weight(class.n);
            cross.zip_apply(&class.means, |sum, mean| *sum += weight * mean);
        }
        for row in &self.given.pseudo {
            let (c, k2) = (row.column, row.weight * row.weight);
            let y = row.mean - self.given.offset[c];
            cross[(c, c)] += k2;
            cross[(p, c)] += k2 * y;
            cross[(c, p)] += k2 * y;
            cross[(p, p)] += k2 * y * y;
        }
        cross
    }

    /// ln |GVG|, G the diagonal of what the rows were divided by: of the rows as they were observed.
    pub(super) fn ln_det_v(&self, groups: RandomIntercept) -> f64 {
        let of_class = |class: &SizeClass| class.groups * groups.ln_det(class.n);
        self.classes.iter().map(of_class).sum::<f64>() + 2.0 * self.ln_scale
    }

    /// What must be added to the coefficients of the kept `y` to give those of the data.
    pub(super) fn offset(&self) -> &DVector<f64> {
        &self.given.offset
    }

    /// ν·σ_min², below which no residual sum of squares is believed.
    pub(super) fn rss_floor(&self) -> f64 {
        (self.nu() * self.given.rss_floor_per_df).max(f64::MIN_POSITIVE)
    }

    /// γ of the spreads that the rows were divided by; 0 where they are the same everywhere.
    pub fn growth(&self) -> f64 {
        self.given.growth
    }

    /// Rows, without pseudo-rows.
    pub fn rows(&self) -> usize {
        self.n
    }

    /// Columns.
    pub fn columns(&self) -> usize {
        self.given.offset.len()
    }

    /// Number of groups.
    pub fn groups(&self) -> usize {
        self.classes.iter().map(|c| c.groups as usize).sum()
    }

    /// Pseudo-rows in force.
    pub fn pseudo(&self) -> &[PseudoRow] {
        &self.given.pseudo
    }

    /// ν = n + q − p.
    pub fn nu(&self) -> f64 {
        (self.n + self.given.pseudo.len()) as f64 - self.columns() as f64
    }

    /// Whether the criterion depends on θ at all: there are several groups, some of several rows, and more than one degree
    /// of freedom (with one, RSS_θ falls as |V||X'V⁻¹X| grows and the criterion stays the same).
    pub fn theta_is_estimable(&self) -> bool {
        self.groups() > 1 && self.nu() > 1.0 && self.classes.iter().any(|c| c.n > 1.0)
    }
}
