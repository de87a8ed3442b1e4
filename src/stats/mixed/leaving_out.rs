//! Many groups, each in turn left out: what the others say.

use super::design::{Design, GroupSums};
use super::objective::Height;
use super::posterior::{COARSE, Posterior};
use crate::stats::Numerical;
use crate::stats::linalg::Few;

/// The posterior of all groups less any one, on the ratios of all: one of many moves the weights by a small part of their
/// width, and the line hardly at all.
///
/// Coarse on purpose, for predictions that are drawn and counted: nodes 1¼ widths apart (probabilities within 1e-3), and
/// the t of all groups' ν, which is nearly that of the others'.
pub struct LeavingOut<'d> {
    design: &'d Design,
    prior_scale: f64,
    all: Posterior,
    /// Normal equations and ln |V| of all groups at each node of theirs.
    at_nodes: Vec<(Few, f64)>,
}

impl<'d> LeavingOut<'d> {
    /// For a design of many groups and the scale of the half-t prior on r.
    ///
    /// # Errors
    /// As [`Posterior::new`].
    pub fn of(design: &'d Design, prior_scale: f64) -> Result<Self, Numerical> {
        let all = Posterior::by(&COARSE, design, prior_scale)?;
        let of_node = |r: f64| (design.normal_equations(r), design.ln_det_v(r));
        Ok(LeavingOut {
            design,
            prior_scale,
            at_nodes: all.nodes().iter().map(|n| of_node(n.r)).collect(),
            all,
        })
    }

    /// What all but `own` say; `own` must be one of the design's groups.
    ///
    /// # Errors
    /// [`Numerical::RankLost`] where they do not tell a coefficient; [`Numerical::Shape`] without a degree of freedom.
    pub fn without(&self, own: &GroupSums) -> Result<Posterior, Numerical> {
        let nu = self.design.nu() - own.rows();
        if nu < 1.0 {
            return Err(Numerical::Shape {
                what: "rows for a spread",
            });
        }
        let floor = self.design.rss_floor() / self.design.nu() * nu;
        let at = |(node, (all, ln_det_v)): (&super::Node, &(Few, f64))| {
            let mut left = all.clone();
            own.take_from(&mut left, node.r);
            let ln_det_v = ln_det_v - (own.rows() * node.r * node.r).ln_1p();
            Height::of(node.r, left, self.design.columns(), ln_det_v, floor)
        };
        let heights = self
            .all
            .nodes()
            .iter()
            .zip(&self.at_nodes)
            .map(at)
            .collect::<Result<Vec<Height>, _>>()?;
        Ok(self.all.again(self.design, nu, self.prior_scale, heights))
    }
}

#[cfg(test)]
mod tests {
    use super::super::deletion::Rows;
    use super::*;
    use crate::stats::resample::{normal, replicate};
    use nalgebra::{DMatrix, DVector};

    /// Against the others' rows fitted by themselves, on nodes of their own.
    #[test]
    fn taking_a_group_out_is_fitting_the_others() {
        for (case, tau) in [(0, 0.0), (1, 0.5), (2, 3.0)] {
            let mut stream = replicate(23, case);
            let shifts: Vec<f64> = (0..40).map(|_| tau * normal(&mut stream)).collect();
            let group: Vec<usize> = (0..200).map(|i| (i * i + i / 3) % 40).collect();
            let rows = Rows {
                x: DMatrix::from_fn(200, 2, |i, j| [1.0, 30.0 + (i % 9) as f64][j]),
                y: DVector::from_fn(200, |i, _| shifts[group[i]] + normal(&mut stream)),
                group: group.into(),
            };
            let design = rows.design(&[], 0.003).unwrap();
            let others = LeavingOut::of(&design, 0.9).unwrap();
            for label in [0, 7, 39] {
                let members: Vec<usize> = (0..200).filter(|&i| rows.group[i] == label).collect();
                if members.is_empty() {
                    continue;
                }
                let got = others
                    .without(&design.group_sums(&rows.x, &rows.y, &members))
                    .unwrap();
                let left = rows.filtered(|i| rows.group[i] != label);
                let wanted = Posterior::new(&left.design(&[], 0.003).unwrap(), 0.9).unwrap();
                let x = [1.0, 36.0];
                let (a, b) = (
                    got.new_group_distribution(&x),
                    wanted.new_group_distribution(&x),
                );
                for z in [-3.0, -1.0, 0.0, 2.0] {
                    let y = b.centre() + z * b.scale();
                    let off = (a.cdf(y) - b.cdf(y)).abs();
                    assert!(off < 1e-3, "tau {tau}, group {label}, at {z}: {off:e}");
                }
            }
        }
    }
}
