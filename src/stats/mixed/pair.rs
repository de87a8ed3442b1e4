//! Two data sets, each with a line and spreads of its own, that met in some of their groups: there a group's effect is a
//! part common to both plus a part of each one's own.
//!
//! With b_a, b_b the effects of one group, var b_a = τ_a², var b_b = τ_b² and cov(b_a, b_b) = ρ·τ_a·τ_b, 0 ≤ ρ ≤ 1 the common
//! fraction. Only the common part cancels in a difference. With ρ = 0 the two posteriors are those of
//! [`super::posterior`]; fixed points are drawn from their product, ρ uniform, and each point is given the likelihood of both
//! together over that of the two as independent as its weight, the coefficients integrated out exactly. (Importance
//! sampling; Geweke 1989.) Given a point the coefficients are normal, so differences are mixtures of normals.

use super::design::GroupMean;
use super::growths::{AtGrowth, Growths};
use super::posterior::{Posterior, normalised};
use super::random_intercept::RandomIntercept;
use crate::stats::Numerical;
use crate::stats::distributions::{chi2_quantile, normal_cdf, normal_quantile};
use crate::stats::lattice::{POINTS, coordinate};
use crate::stats::linalg::Factor;
use crate::stats::weighted::Normal;
use nalgebra::{DMatrix, DVector};

/// Axes of the lattice that one pair uses up.
pub const AXES: usize = 5;
/// Points of a first look at the common fraction, and the cells they are counted in. Where the data tell it well, few of
/// evenly spread points would carry all the weight.
const FIRST_LOOK: usize = 512;
const CELLS: usize = 16;
/// The part of the points that stays evenly spread all the same, so that no weight can grow without bound.
const EVEN_PART: f64 = 0.25;

/// One of the two data sets.
#[derive(Clone, Copy)]
pub struct Member<'a> {
    /// Rows of the data set and their sums at every γ, with group labels that mean the same in both.
    pub growths: &'a Growths,
    /// Posterior of the data set alone.
    pub posterior: &'a Posterior,
}

impl Member<'_> {
    /// Where a γ stands among those of the data set.
    fn place_of(&self, growth: f64) -> usize {
        let at = self
            .growths
            .each()
            .iter()
            .position(|at| at.design.growth() == growth);
        at.unwrap_or(0)
    }

    fn each_design<T>(&self, of: impl Fn(&AtGrowth) -> T) -> Vec<T> {
        self.growths.each().iter().map(of).collect()
    }
}

/// What is asked of both: x_a'β_a, x_b'β_b and their difference.
#[derive(Debug, Clone)]
pub struct Contrast {
    /// Row of the first's design.
    pub a: Vec<f64>,
    /// Row of the second's.
    pub b: Vec<f64>,
}

/// A contrast at one point.
#[derive(Debug, Clone, Copy)]
pub struct Contrasted {
    /// x_a'β_a.
    pub a: Normal,
    /// x_b'β_b.
    pub b: Normal,
    /// x_b'β_b − x_a'β_a.
    pub difference: Normal,
}

/// One point of the quasi-random sample: spreads and a common fraction, with their posterior probability.
#[derive(Debug, Clone)]
pub struct SamplePoint {
    /// Posterior probability; all sum to 1.
    pub weight: f64,
    /// sd within groups, of the first and the second.
    pub sigma: [f64; 2],
    /// sd between groups, of the first and the second.
    pub tau: [f64; 2],
    /// γ, the power with which spreads grow, of the first and the second.
    pub growth: [f64; 2],
    /// Common fraction ρ of the groups' effects.
    pub common: f64,
    /// The contrasts asked for, in that order.
    pub contrasts: Vec<Contrasted>,
}

/// Joint posterior of two data sets whose groups share part of their effects.
#[derive(Debug, Clone)]
pub struct Pair {
    /// The points.
    pub points: Vec<SamplePoint>,
    /// Number of groups that both have rows in.
    pub shared: usize,
}

impl Pair {
    /// Everything about two data sets.
    ///
    /// * `first_axis` — the first of [`AXES`] axes of the lattice to use; independent pairs use different ones
    ///
    /// # Errors
    /// [`Numerical`] when a matrix cannot be factorised.
    pub fn new(
        a: Member,
        b: Member,
        contrasts: &[Contrast],
        first_axis: usize,
    ) -> Result<Self, Numerical> {
        let sides = [Side::new(a)?, Side::new(b)?];
        let shared = Shared::from_members([a, b], &sides);
        let spreads = |i: usize| [0, 1].map(|k| sides[k].spread(i, first_axis + 1 + 2 * k));
        let common = if shared.is_empty() {
            Common::even()
        } else {
            let looked = |look: usize| -> Result<(f64, f64), Numerical> {
                let i = look * (POINTS / FIRST_LOOK);
                let rho = coordinate(i, first_axis);
                let joint = Joint::new(&sides, &shared, &spreads(i), rho)?;
                Ok((rho, joint.ln_gain))
            };
            let all = (0..FIRST_LOOK).map(looked).collect::<Result<Vec<_>, _>>()?;
            let ln_gains: Vec<f64> = all.iter().map(|(_, ln_gain)| *ln_gain).collect();
            let mut mass = [0.0; CELLS];
            for ((rho, _), weight) in all.iter().zip(normalised(&ln_gains)) {
                mass[(rho * CELLS as f64) as usize] += weight;
            }
            Common::after(&mass)
        };
        let mut points = Vec::with_capacity(POINTS);
        let mut ln_weights = Vec::with_capacity(POINTS);
        for i in 0..POINTS {
            let (rho, ln_even) = common.draw(coordinate(i, first_axis));
            let spreads = spreads(i);
            let joint = Joint::new(&sides, &shared, &spreads, rho)?;
            ln_weights.push(joint.ln_gain + ln_even);
            points.push(SamplePoint {
                weight: 0.0,
                sigma: [spreads[0].sigma, spreads[1].sigma],
                tau: [spreads[0].tau(), spreads[1].tau()],
                growth: [0, 1].map(|k| sides[k].growths[spreads[k].node.growth]),
                common: rho,
                contrasts: contrasts.iter().map(|c| joint.contrast(c)).collect(),
            });
        }
        for (point, weight) in points.iter_mut().zip(normalised(&ln_weights)) {
            point.weight = weight;
        }
        Ok(Pair {
            points,
            shared: shared.len(),
        })
    }
}

/// How ρ is drawn: even over (0, 1), or more often where the first look found the data to be likely.
struct Common {
    /// Probability of each cell.
    cells: [f64; CELLS],
}

impl Common {
    fn even() -> Self {
        Common {
            cells: [1.0 / CELLS as f64; CELLS],
        }
    }

    fn after(mass: &[f64; CELLS]) -> Self {
        let total: f64 = mass.iter().sum();
        Common {
            cells: mass.map(|m| EVEN_PART / CELLS as f64 + (1.0 - EVEN_PART) * m / total),
        }
    }

    /// ρ at `u` of its distribution, and the log of the even density over the one drawn from.
    fn draw(&self, u: f64) -> (f64, f64) {
        let mut below = 0.0;
        let mut at = 0;
        while at + 1 < CELLS && u >= below + self.cells[at] {
            below += self.cells[at];
            at += 1;
        }
        let share = ((u - below) / self.cells[at]).clamp(0.0, 1.0);
        let rho = (at as f64 + share) / CELLS as f64;
        (rho, -(self.cells[at] * CELLS as f64).ln())
    }
}

/// One data set, with what its nodes need at hand.
struct Side {
    columns: usize,
    /// Weight up to and including each node.
    up_to: Vec<f64>,
    nodes: Vec<SideNode>,
    chi2: Chi2Table,
    /// Every γ, rising, and the offset of the sums at each.
    growths: Vec<f64>,
    offsets: Vec<DVector<f64>>,
}

/// Cross-products at one θ and γ, (X'V⁻¹X, X'V⁻¹y, y'V⁻¹y), without the floor of the residual sum of squares.
struct SideNode {
    theta: f64,
    /// Which γ, by rising γ.
    growth: usize,
    rss: f64,
    xx: DMatrix<f64>,
    xy: DVector<f64>,
    yy: f64,
    /// What the line leaves of `yy`.
    rest: f64,
    ln_det: f64,
}

/// A node with a σ.
#[derive(Clone, Copy)]
struct Spread<'s> {
    node: &'s SideNode,
    sigma: f64,
}

impl Spread<'_> {
    fn tau(&self) -> f64 {
        self.node.theta * self.sigma
    }
}

impl Side {
    fn new(member: Member) -> Result<Self, Numerical> {
        let mut up_to = Vec::new();
        let mut nodes = Vec::new();
        let mut sum = 0.0;
        for node in member.posterior.nodes() {
            let growth = member.place_of(node.growth);
            let design = &member.growths.each()[growth].design;
            let p = design.columns();
            let cross = design.cross_products(node.groups());
            let xx = cross.view((0, 0), (p, p)).into_owned();
            let xy = cross.column(p).rows(0, p).into_owned();
            let factor = Factor::new(&xx)?;
            sum += node.weight;
            up_to.push(sum);
            nodes.push(SideNode {
                theta: node.r,
                growth,
                rss: node.rss,
                rest: cross[(p, p)] - factor.quadratic(&xy),
                ln_det: factor.ln_determinant(),
                xx,
                xy,
                yy: cross[(p, p)],
            });
        }
        Ok(Side {
            columns: member.posterior.columns(),
            up_to,
            nodes,
            chi2: Chi2Table::new(member.posterior.nu()),
            growths: member.each_design(|at| at.design.growth()),
            offsets: member.each_design(|at| at.design.offset().clone()),
        })
    }

    /// The spreads at point `i` of the lattice: a node by its weight, and σ² | θ as RSS_θ over a χ².
    fn spread(&self, i: usize, axis: usize) -> Spread<'_> {
        let last = self.nodes.len() - 1;
        let total = self.up_to[last];
        let at = self
            .up_to
            .partition_point(|w| *w < coordinate(i, axis) * total)
            .min(last);
        let node = &self.nodes[at];
        let chi2 = self.chi2.quantile(coordinate(i, axis + 1));
        Spread {
            node,
            sigma: (node.rss / chi2).sqrt(),
        }
    }

    /// A group's means at one γ with y as the sums keep it.
    fn kept(&self, growth: usize, mean: &GroupMean) -> (DVector<f64>, f64) {
        (mean.x.clone(), mean.y - mean.x.dot(&self.offsets[growth]))
    }
}

/// A group that both have rows in.
struct Shared {
    rows: [f64; 2],
    /// Means (x, y) in each data set at each of its γ.
    z: [Vec<(DVector<f64>, f64)>; 2],
}

impl Shared {
    /// The groups that two data sets share, in the order of the first.
    fn from_members(members: [Member; 2], sides: &[Side; 2]) -> Vec<Self> {
        let means = members.map(|member| member.each_design(|at| at.rows.group_means()));
        let kept = |k: usize, place: usize| {
            let of =
                |(growth, means): (usize, &Vec<GroupMean>)| sides[k].kept(growth, &means[place]);
            means[k].iter().enumerate().map(of).collect()
        };
        let shared = |(i, m): (usize, &GroupMean)| {
            let j = means[1][0].iter().position(|o| o.group == m.group)?;
            Some(Shared {
                rows: [m.rows, means[1][0][j].rows],
                z: [kept(0, i), kept(1, j)],
            })
        };
        means[0][0].iter().enumerate().filter_map(shared).collect()
    }
}

/// Both together at one point.
struct Joint {
    columns: [usize; 2],
    factor: Factor,
    beta: DVector<f64>,
    /// ln of the likelihood of both together over that of both as independent.
    ln_gain: f64,
}

impl Joint {
    fn new(
        sides: &[Side; 2],
        shared: &[Shared],
        spreads: &[Spread; 2],
        rho: f64,
    ) -> Result<Self, Numerical> {
        let columns = [sides[0].columns, sides[1].columns];
        let from = [0, columns[0]];
        let p = columns[0] + columns[1];
        let mut a = DMatrix::zeros(p, p);
        let mut b = DVector::zeros(p);
        let (mut c, mut ln_det_independent, mut rest_independent) = (0.0, 0.0, 0.0);
        for k in 0..2 {
            let node = spreads[k].node;
            let precision = spreads[k].sigma.powi(-2);
            a.view_mut((from[k], from[k]), (columns[k], columns[k]))
                .copy_from(&(&node.xx * precision));
            b.rows_mut(from[k], columns[k])
                .copy_from(&(&node.xy * precision));
            c += node.yy * precision;
            ln_det_independent += node.ln_det + columns[k] as f64 * precision.ln();
            rest_independent += node.rest * precision;
        }
        let tau = [spreads[0].tau(), spreads[1].tau()];
        let covariance = rho * tau[0] * tau[1];
        let mut ln_det_v = 0.0;
        for group in shared {
            // Of the mean of the group's rows in each.
            let variance = [0, 1].map(|k| {
                let groups = RandomIntercept::at(spreads[k].node.theta);
                spreads[k].sigma.powi(2) / groups.weight(group.rows[k])
            });
            let correlation2 = covariance * covariance / (variance[0] * variance[1]);
            let det = variance[0] * variance[1] * (1.0 - correlation2);
            ln_det_v += (-correlation2).ln_1p();
            for k in 0..2 {
                for l in 0..2 {
                    let weight = if k == l {
                        correlation2 / (variance[k] * (1.0 - correlation2))
                    } else {
                        -covariance / det
                    };
                    let z = |k: usize| &group.z[k][spreads[k].node.growth];
                    let ((x, y), (x2, y2)) = (z(k), z(l));
                    a.view_mut((from[k], from[l]), (columns[k], columns[l]))
                        .ger(weight, x, x2, 1.0);
                    b.rows_mut(from[k], columns[k]).axpy(weight * y2, x, 1.0);
                    c += weight * y * y2;
                }
            }
        }
        let factor = Factor::new(&a)?;
        let step = factor.solve(&b);
        let rest = c - b.dot(&step);
        let mut beta = step;
        for k in 0..2 {
            let mut own = beta.rows_mut(from[k], columns[k]);
            own += &sides[k].offsets[spreads[k].node.growth];
        }
        let ln_gain = -0.5
            * (ln_det_v + factor.ln_determinant() - ln_det_independent + rest - rest_independent);
        Ok(Joint {
            columns,
            factor,
            beta,
            ln_gain,
        })
    }

    fn contrast(&self, contrast: &Contrast) -> Contrasted {
        let [p, q] = self.columns;
        let of = |a: f64, b: f64| {
            let row = DVector::from_iterator(
                p + q,
                contrast
                    .a
                    .iter()
                    .map(|x| a * x)
                    .chain(contrast.b.iter().map(|x| b * x)),
            );
            Normal {
                mean: row.dot(&self.beta),
                sd: self.factor.quadratic(&row).sqrt().max(f64::MIN_POSITIVE),
            }
        };
        Contrasted {
            a: of(1.0, 0.0),
            b: of(0.0, 1.0),
            difference: of(-1.0, 1.0),
        }
    }
}

/// ln of the χ² quantile against the normal score of its probability, along parabolas through three neighbours: nearly a
/// straight line, and thousands of quantiles are wanted of one distribution.
struct Chi2Table {
    ln_x: Vec<f64>,
}

/// The table's reach in normal scores (no lattice point lies beyond it) and its step.
const REACH: f64 = 4.0;
const STEP: f64 = 0.1;

impl Chi2Table {
    fn new(df: f64) -> Self {
        let points = (2.0 * REACH / STEP).round() as usize + 1;
        let ln_x = (0..points)
            .map(|i| {
                chi2_quantile(normal_cdf(i as f64 * STEP - REACH), df)
                    .max(f64::MIN_POSITIVE)
                    .ln()
            })
            .collect();
        Chi2Table { ln_x }
    }

    fn quantile(&self, p: f64) -> f64 {
        let at = (normal_quantile(p) + REACH) / STEP;
        let i = (at.round() as usize).clamp(1, self.ln_x.len() - 2);
        let t = at - i as f64;
        let (below, here, above) = (self.ln_x[i - 1], self.ln_x[i], self.ln_x[i + 1]);
        let bend = below - 2.0 * here + above;
        (here + 0.5 * t * ((above - below) + t * bend)).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::super::design::Rows;
    use super::super::posterior::SpreadPrior;
    use super::*;

    #[test]
    fn the_table_gives_chi_squared_quantiles() {
        for df in [1.0, 3.0, 40.0, 5000.0] {
            let table = Chi2Table::new(df);
            for p in [1.2e-4, 0.01, 0.333, 0.5, 0.9, 0.9999] {
                let (got, exact) = (table.quantile(p), chi2_quantile(p, df));
                assert!((got / exact - 1.0).abs() < 2e-4, "{df} {p}: {got} {exact}");
            }
        }
    }

    /// The likelihood of both together over that of both as independent, and the coefficients, against the covariance matrix of all rows
    /// written out in full.
    #[test]
    fn a_point_agrees_with_the_full_covariance_matrix() {
        let rows = |n: usize, shift: f64, groups: &[usize]| {
            Rows::new(
                DMatrix::from_fn(n, 2, |i, j| if j == 0 { 1.0 } else { ((7 * i) % 5) as f64 }),
                DVector::from_fn(n, |i, _| {
                    shift + 0.3 * ((5 * i) % 7) as f64 + 0.1 * i as f64
                }),
                (0..n)
                    .map(|i| groups[i % groups.len()])
                    .collect::<Vec<usize>>(),
            )
        };
        let both = [rows(9, 1.0, &[0, 1, 2]), rows(8, -2.0, &[1, 2, 5, 6])];
        let designs = both.each_ref().map(|r| r.design(&[], 1e-3).unwrap());
        let prior = SpreadPrior::without_guess(1.0);
        let posteriors = designs
            .each_ref()
            .map(|d| Posterior::new(d, prior).unwrap());
        let growths = [0, 1].map(|k| Growths::from_even(both[k].clone(), designs[k].clone()));
        let members = [0, 1].map(|k| Member {
            growths: &growths[k],
            posterior: &posteriors[k],
        });
        let contrast = Contrast {
            a: vec![1.0, 2.0],
            b: vec![1.0, 3.0],
        };
        let pair = Pair::new(members[0], members[1], std::slice::from_ref(&contrast), 0).unwrap();
        assert_eq!(pair.shared, 2);
        // Points of equal weight that these are worth (Kish 1965).
        let squares: f64 = pair.points.iter().map(|p| p.weight * p.weight).sum();
        assert!(1.0 / squares > 1000.0);

        let n = [9, 8];
        let full = |point: &SamplePoint, rho: f64| {
            let of = |i: usize| if i < n[0] { (0, i) } else { (1, i - n[0]) };
            let total = n[0] + n[1];
            let v = DMatrix::from_fn(total, total, |i, j| {
                let ((k, i), (l, j)) = (of(i), of(j));
                let same_group = f64::from(u8::from(both[k].group[i] == both[l].group[j]));
                let same_row = f64::from(u8::from(k == l && i == j));
                let common = if k == l { 1.0 } else { rho };
                same_row * point.sigma[k].powi(2)
                    + same_group * common * point.tau[k] * point.tau[l]
            });
            let x = DMatrix::from_fn(total, 4, |i, j| {
                let (k, i) = of(i);
                if j / 2 == k {
                    both[k].x[(i, j % 2)]
                } else {
                    0.0
                }
            });
            let y = DVector::from_fn(total, |i, _| {
                let (k, i) = of(i);
                both[k].y[i]
            });
            let v = Factor::new(&v).unwrap();
            let vx = DMatrix::from_columns(
                &x.column_iter()
                    .map(|c| v.solve(&c.into_owned()))
                    .collect::<Vec<_>>(),
            );
            let information = Factor::new(&(x.transpose() * &vx)).unwrap();
            let score = vx.transpose() * &y;
            let beta = information.solve(&score);
            let ln_likelihood = -0.5
                * (v.ln_determinant() + information.ln_determinant() + v.quadratic(&y)
                    - score.dot(&beta));
            let row = DVector::from_row_slice(&[-1.0, -2.0, 1.0, 3.0]);
            (
                ln_likelihood,
                row.dot(&beta),
                information.quadratic(&row).sqrt(),
            )
        };
        // Weights hold the drawn density of ρ as well, so gains are compared through a second joint.
        let sides = members.map(|m| Side::new(m).unwrap());
        let shared = Shared::from_members(members, &sides);
        for i in [0, 17, 900, 3333] {
            let point = &pair.points[i];
            let (together, mean, sd) = full(point, point.common);
            let (independent, _, _) = full(point, 0.0);
            let got = point.contrasts[0].difference;
            assert!((got.mean - mean).abs() < 1e-8 * sd, "{} {mean}", got.mean);
            assert!((got.sd / sd - 1.0).abs() < 1e-9);
            let spreads = [sides[0].spread(i, 1), sides[1].spread(i, 3)];
            let gain = Joint::new(&sides, &shared, &spreads, point.common)
                .unwrap()
                .ln_gain;
            assert!((gain - (together - independent)).abs() < 1e-8, "{gain}");
        }
    }
}
