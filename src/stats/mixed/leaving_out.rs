//! Groups, each in turn left out: what the others say.

use super::design::{Design, GroupSums};
use super::objective::Height;
use super::posterior::{DRAWN, DRAWN_OF_MANY, Posterior};
use crate::stats::Numerical;
use crate::stats::linalg::{Few, packed};

/// A column of which a group holds all but this part is the group's alone: what is left is rounding.
const LEFT_LEAST: f64 = 1e-9;

/// The posterior of all groups less any one, on the ratios of all: they reach far beyond where leaving one out moves it.
pub struct LeavingOut<'d> {
    design: &'d Design,
    prior_scale: f64,
    many: bool,
    all: Posterior,
    /// Normal equations and ln |V| of all groups at each node of theirs.
    at_nodes: Vec<(Few, f64)>,
}

impl<'d> LeavingOut<'d> {
    /// For a design of four groups or more and the scale of the half-t prior on r; for predictions that are drawn and
    /// counted: probabilities within 2e-4.
    ///
    /// * `many` — coarser still, and the t of all groups' ν, which is nearly that of the others'
    ///
    /// # Errors
    /// As [`Posterior::new`].
    pub fn of(design: &'d Design, prior_scale: f64, many: bool) -> Result<Self, Numerical> {
        let quadrature = if many { &DRAWN_OF_MANY } else { &DRAWN };
        let all = Posterior::by(quadrature, design, prior_scale)?;
        let of_node = |r: f64| (design.normal_equations(r), design.ln_det_v(r));
        Ok(LeavingOut {
            design,
            prior_scale,
            many,
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
        let p = self.design.columns();
        let floor = self.design.rss_floor() / self.design.nu() * nu;
        let at = |k: usize| {
            let (r, (all, ln_det_v)) = (self.all.nodes()[k].r, &self.at_nodes[k]);
            let mut left = all.clone();
            own.take_from(&mut left, r);
            let on = |column: usize| packed(column, column);
            if let Some(column) = (0..p).find(|&c| left[on(c)] <= LEFT_LEAST * all[on(c)]) {
                return Err(Numerical::RankLost { column });
            }
            let ln_det_v = ln_det_v - (own.rows() * r * r).ln_1p();
            Height::of(r, left, p, ln_det_v, floor)
        };
        let others = self.all.again(self.design, nu, self.prior_scale, at)?;
        Ok(if self.many {
            others.with_table_of(&self.all)
        } else {
            others
        })
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
        let within = [(4, false, 2e-4), (7, false, 2e-4), (40, true, 1e-4)];
        for (case, tau) in [(0, 0.0), (1, 0.5), (2, 3.0)] {
            for (groups, many, within) in within {
                let mut stream = replicate(23, case);
                let shifts: Vec<f64> = (0..groups).map(|_| tau * normal(&mut stream)).collect();
                let n = 5 * groups;
                let group: Vec<usize> = (0..n).map(|i| (i + i / 9) % groups).collect();
                let rows = Rows {
                    x: DMatrix::from_fn(n, 2, |i, j| [1.0, 30.0 + (i % 9) as f64][j]),
                    y: DVector::from_fn(n, |i, _| shifts[group[i]] + normal(&mut stream)),
                    group: group.into(),
                };
                let design = rows.design(&[], 0.003).unwrap();
                let others = LeavingOut::of(&design, 0.9, many).unwrap();
                for place in [0, groups / 2, rows.group.labels().len() - 1] {
                    let own = design.group_sums(&rows.x, &rows.y, rows.group.members(place));
                    let got = others.without(&own).unwrap();
                    let left = rows.filtered(|i| rows.group.places()[i] != place);
                    let wanted = Posterior::new(&left.design(&[], 0.003).unwrap(), 0.9).unwrap();
                    let x = [1.0, 36.0];
                    let (a, b) = (
                        got.new_group_distribution(&x),
                        wanted.new_group_distribution(&x),
                    );
                    for z in [-3.0, -1.0, 0.0, 2.0] {
                        let y = b.centre() + z * b.scale();
                        let off = (a.cdf(y) - b.cdf(y)).abs();
                        assert!(off < within, "{groups}, tau {tau}, {place}, {z}: {off:e}");
                    }
                }
            }
        }
    }

    /// A column that one row of one group holds is lost with the group, though subtraction leaves a rest of it.
    #[test]
    fn what_a_group_alone_tells_is_lost_with_it() {
        let rows = Rows {
            x: DMatrix::from_fn(60, 3, |i, j| match j {
                0 => 1.0,
                1 => 30.1 + (i % 7) as f64 / 3.0,
                _ => f64::from(u8::from(i == 13)) / 7.0,
            }),
            y: DVector::from_fn(60, |i, _| ((7 * i) % 11) as f64 / 3.0),
            group: (0..60).map(|i| i / 5).collect(),
        };
        let design = rows.design(&[], 0.0).unwrap();
        for many in [false, true] {
            let others = LeavingOut::of(&design, 0.9, many).unwrap();
            let sums = |label| design.group_sums(&rows.x, &rows.y, rows.group.members(label));
            let lost = others.without(&sums(2)).unwrap_err();
            assert_eq!(lost, Numerical::RankLost { column: 2 });
            assert!(others.without(&sums(3)).is_ok());
        }
    }
}
