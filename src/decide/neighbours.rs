//! Predictions for targets side by side, from exact ones at a few places between the first and the last.
//!
//! What a run may do changes smoothly with the turns (and its direction with the arc): the points of its table lie on
//! curves that a polynomial through Chebyshev points follows (Trefethen 2013, *Approximation Theory and Approximation
//! Practice*, chapters 2, 5 and 8).

use super::predict::{self, Hand, Prediction};
use super::shape::Shape;
use super::situation::Situation;
use std::f64::consts::PI;

/// Where twice as many places move no score by more than this, they leave errors of the order of its square. *Measured*
/// (test below): under 1e-7 of a score.
const SETTLED: f64 = 3e-5;
/// Most pieces between places; where so many are not enough, every table is made exactly.
const PIECES_MAX: usize = 8;

/// Tables of one quantity along a line of design rows.
struct Along {
    /// Chebyshev points, rising.
    places: Vec<f64>,
    shapes: Vec<Shape>,
}

impl Along {
    /// Exact tables at as few places as it takes; `None` where it would take too many.
    fn new((from, to): (f64, f64), exact: impl Fn(f64) -> Option<Shape>) -> Option<Self> {
        let place = |i: usize, pieces: usize| {
            let cos = (PI * i as f64 / pieces as f64).cos();
            0.5 * ((1.0 + cos) * from + (1.0 - cos) * to)
        };
        let places: Vec<f64> = (0..=2).map(|i| place(i, 2)).collect();
        let shapes = places.iter().map(|&at| exact(at)).collect::<Option<_>>()?;
        let mut all = Along { places, shapes };
        let mut pieces = 2;
        while pieces < PIECES_MAX {
            pieces *= 2;
            // The places there are stay; new ones lie between them.
            let mut next = Along {
                places: (0..=pieces).map(|i| place(i, pieces)).collect(),
                shapes: Vec::with_capacity(pieces + 1),
            };
            let mut off: f64 = 0.0;
            let mut known = all.shapes.iter();
            for (i, &at) in next.places.iter().enumerate() {
                if i % 2 == 0 {
                    next.shapes.extend(known.next().cloned());
                } else {
                    let shape = exact(at)?;
                    off = off.max(all.at(at).map_or(f64::INFINITY, |b| shape.off(&b)));
                    next.shapes.push(shape);
                }
            }
            all = next;
            if off < SETTLED {
                return Some(all);
            }
        }
        None
    }

    /// The table at a place, by the barycentric formula; `None` beyond the ends, or where tables lack points of others.
    fn at(&self, place: f64) -> Option<Shape> {
        let last = self.places.len() - 1;
        if !(self.places[0]..=self.places[last]).contains(&place) {
            return None;
        }
        if let Some(i) = self.places.iter().position(|&at| at == place) {
            return Some(self.shapes[i].clone());
        }
        // Signs alternate, and an end counts half.
        let mut weights: Vec<f64> = self
            .places
            .iter()
            .enumerate()
            .map(|(i, at)| {
                let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
                let part = if i == 0 || i == last { 0.5 } else { 1.0 };
                sign * part / (place - at)
            })
            .collect();
        let sum: f64 = weights.iter().sum();
        weights.iter_mut().for_each(|w| *w /= sum);
        Shape::between(&self.shapes, &weights)
    }
}

/// Predictions at settings with turns in one range.
pub struct Neighbours<'s, 'a> {
    situation: &'s Situation<'a>,
    /// Arcs by turns.
    arcs: Option<Along>,
    /// Heading excesses by mean arc.
    excesses: Option<Along>,
}

impl<'s, 'a> Neighbours<'s, 'a> {
    /// For settings from so many turns to so many.
    pub fn new(situation: &'s Situation<'a>, turns: (f64, f64)) -> Self {
        let arcs_m = (situation.arc_mean_m(turns.0), situation.arc_mean_m(turns.1));
        Neighbours {
            situation,
            arcs: Along::new(turns, |n| Some(predict::arcs(situation, n))),
            excesses: Along::new(arcs_m, |arc_m| predict::excesses(situation, arc_m)),
        }
    }

    /// As [`Prediction::new`].
    pub fn prediction(&self, hand: Hand) -> Prediction {
        let situation = self.situation;
        let arc_mean_m = situation.arc_mean_m(hand.turns);
        let arc = self.arcs.as_ref().and_then(|a| a.at(hand.turns));
        let excess = self.excesses.as_ref().and_then(|e| e.at(arc_mean_m));
        Prediction::of(
            situation,
            hand,
            arc_mean_m,
            arc.unwrap_or_else(|| predict::arcs(situation, hand.turns)),
            excess.or_else(|| predict::excesses(situation, arc_mean_m)),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::mixed::{Posterior, Rows};
    use crate::stats::resample::{normal, replicate};
    use nalgebra::{DMatrix, DVector};

    /// From hardly anything known to a lot, from targets among the runs to some far beyond: between the places no score is
    /// off by more than is said above, against the tables made exactly.
    #[test]
    fn tables_between_exact_ones_are_as_good() {
        let mut made = 0;
        for (groups, each, tau) in [
            (1, 4, 0.0),
            (1, 12, 0.0),
            (2, 3, 1.0),
            (3, 3, 0.3),
            (4, 8, 3.0),
            (12, 10, 0.5),
            (100, 20, 0.3),
        ] {
            let mut stream = replicate(41, groups as u64);
            let shifts: Vec<f64> = (0..groups).map(|_| tau * normal(&mut stream)).collect();
            let n = groups * each;
            let rows = Rows {
                x: DMatrix::from_fn(n, 2, |i, j| if j == 0 { 1.0 } else { (i % each) as f64 }),
                y: DVector::from_fn(n, |i, _| shifts[i / each] + normal(&mut stream)),
                group: (0..n).map(|i| i / each).collect(),
            };
            let design = rows.design(&[], 0.003).expect("rank 2");
            let group = Posterior::new(&design, 0.75).expect("some").group(&[]);
            let exact = |x: f64| Some(Shape::new(&group.next_distribution(&[1.0, x])));
            for (from, to) in [(1.0, 2.0), (0.0, 6.0), (-5.0, 15.0), (-100.0, 300.0)] {
                let Some(along) = Along::new((from, to), exact) else {
                    continue;
                };
                made += 1;
                for i in 0..=60 {
                    let x = from + (to - from) * f64::from(i) / 60.0;
                    let (wanted, got) = (exact(x).expect("one"), along.at(x).expect("within"));
                    let off = wanted.off(&got);
                    assert!(
                        off < 1e-7,
                        "{groups} of {each}, {from} to {to}: {off:e} at {x}"
                    );
                }
            }
        }
        // Where four runs are all, the tables of far targets have nothing in common.
        assert!(made >= 12, "{made}");
    }
}
