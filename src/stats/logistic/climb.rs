//! Climbing the penalised log-likelihood of a logistic regression, over all coefficients or with one held.
//!
//! Letters as in the parent; rows with the same covariates are one row here, with `trials` outcomes and `events` yeses.

use crate::stats::Numerical;
use crate::stats::linalg::{Factor, dot, lower_triangle, packed, quadratic, symmetric};
use nalgebra::{DMatrix, DVector};
use smallvec::{SmallVec, smallvec};

/// A lower triangle by rows, or its right-hand side, kept in place for two coefficients.
type Few = SmallVec<[f64; 15]>;

/// Steps of a search; five to ten are usual, far out on a profile some twenty.
const MOST_STEPS: usize = 200;
/// Steps of a search for a height; four to six are usual.
const FALLEN_STEPS: usize = 20;
/// In units of the log-odds of the rows; a longer step leaves where the parabola holds.
const LONGEST_STEP: f64 = 4.0;
/// A step as short as this, in the same units, is the last.
const SETTLED: f64 = 1e-9;

/// Outcomes by distinct covariates.
#[derive(Debug, Clone)]
pub struct Outcomes {
    /// A column for each combination of covariates, a one first.
    pub x: DMatrix<f64>,
    /// Outcomes at each.
    pub trials: DVector<f64>,
    /// Yeses among them.
    pub events: DVector<f64>,
}

/// l* and its slopes at one `beta`; matrices as [`packed`] triangles.
struct Climb {
    penalised: f64,
    /// Slope of l*.
    score: Few,
    /// Minus the second derivatives of l*. The information alone makes steps that swing for ever between two rows with
    /// two coefficients, and that gain 4 % a step far out on a profile.
    curvature: Few,
    /// X'W(1 + H)X, H the leverages: the penalty acts like H further outcomes. Always positive definite, for use where
    /// `curvature` is not.
    safe_curvature: Few,
}

/// A top of l*.
pub struct Top {
    /// Where.
    pub beta: DVector<f64>,
    /// l* there.
    pub penalised: f64,
}

/// What a search for a top asks for at each place: l* and the step to take from there.
pub(super) struct Here {
    pub penalised: f64,
    pub step: DVector<f64>,
}

/// 1/(1 + e^−eta), without overflow.
pub fn chance(eta: f64) -> f64 {
    if eta < 0.0 {
        let odds = eta.exp();
        odds / (1.0 + odds)
    } else {
        1.0 / (1.0 + (-eta).exp())
    }
}

/// What one row's log-odds say, from one exponential and without overflow or loss of digits near 0 and 1.
#[derive(Clone, Copy)]
pub(super) struct Odds {
    /// π.
    pub chance: f64,
    /// π(1 − π).
    pub variance: f64,
    /// ln π and ln (1 − π).
    pub ln_chance: (f64, f64),
}

impl Odds {
    pub fn of(eta: f64) -> Self {
        let smaller_odds = (-eta.abs()).exp();
        let larger = 1.0 / (1.0 + smaller_odds);
        let smaller = smaller_odds * larger;
        let ln_larger = -smaller_odds.ln_1p();
        let ln_smaller = ln_larger - eta.abs();
        Odds {
            chance: if eta < 0.0 { smaller } else { larger },
            variance: smaller * larger,
            ln_chance: if eta < 0.0 {
                (ln_smaller, ln_larger)
            } else {
                (ln_larger, ln_smaller)
            },
        }
    }
}

impl Outcomes {
    /// Each combination of covariates, a one first.
    pub(super) fn rows(&self) -> impl Iterator<Item = &[f64]> {
        self.x.as_slice().chunks_exact(self.x.nrows())
    }

    /// Log-odds of each row and what they say.
    fn odds(&self, beta: &DVector<f64>) -> Vec<Odds> {
        let of = |row| Odds::of(dot(row, beta.as_slice()));
        self.rows().map(of).collect()
    }

    /// By how much a step moves the log-odds of the row it moves most.
    fn longest(&self, step: &DVector<f64>) -> f64 {
        let moves = self.rows().map(|row| dot(row, step.as_slice()).abs());
        moves.fold(0.0, f64::max)
    }

    /// l* with the factorised information.
    fn height(&self, odds: &[Odds]) -> Result<(f64, Factor), Numerical> {
        let p = self.x.nrows();
        let mut information: Few = smallvec![0.0; p * (p + 1) / 2];
        for ((row, odds), trials) in self.rows().zip(odds).zip(&self.trials) {
            add_square(&mut information, trials * odds.variance, row);
        }
        let factor = Factor::new(&symmetric(&information, p))?;
        let outcomes = self.events.iter().zip(self.trials.iter());
        let likelihood: f64 = outcomes
            .zip(odds)
            .map(|((events, trials), odds)| {
                let (yes, no) = odds.ln_chance;
                events * yes + (trials - events) * no
            })
            .sum();
        Ok((likelihood + 0.5 * factor.ln_determinant(), factor))
    }

    /// l* at `beta`.
    pub fn penalised(&self, beta: &DVector<f64>) -> Result<f64, Numerical> {
        Ok(self.height(&self.odds(beta))?.0)
    }

    /// Inverse of the information at `beta`.
    pub fn covariance(&self, beta: &DVector<f64>) -> Result<DMatrix<f64>, Numerical> {
        Ok(self.height(&self.odds(beta))?.1.inverse())
    }

    /// l* at `beta` with the step that leads up from there, coefficient `held` kept where it is.
    fn look(&self, beta: &DVector<f64>, held: Option<usize>) -> Result<Here, Numerical> {
        if let (Some(j), 2) = (held, beta.len()) {
            return self.look_along(beta, j);
        }
        let here = self.climb(beta)?;
        Ok(Here {
            step: here.step(held)?,
            penalised: here.penalised,
        })
    }

    fn climb(&self, beta: &DVector<f64>) -> Result<Climb, Numerical> {
        let p = self.x.nrows();
        let odds = self.odds(beta);
        let (penalised, factor) = self.height(&odds)?;
        let inverse = lower_triangle(&factor.inverse());
        let zeros = |n: usize| -> Few { smallvec![0.0; n] };
        let triangle = inverse.len();
        let mut score = zeros(p);
        let (mut curvature, mut safe_curvature) = (zeros(triangle), zeros(triangle));
        // ½ ln|A|, A = X'WX, has second derivatives ½ Σ w'' x'A⁻¹x x_j x_k − ½ tr(A⁻¹B_j A⁻¹B_k) with
        // B_j = X' diag(w' x_j) X, w' = w(1 − 2π), w'' = w(1 − 6π(1 − π)): derivatives of w by eta.
        let mut b: SmallVec<[Few; 2]> = smallvec![zeros(triangle); p];
        let outcomes = self.events.iter().zip(self.trials.iter());
        for ((row, odds), (events, trials)) in self.rows().zip(&odds).zip(outcomes) {
            let (chance, variance) = (odds.chance, odds.variance);
            let weight = trials * variance;
            let leverage = weight * quadratic(&inverse, row);
            let pull = events - trials * chance + leverage * (0.5 - chance);
            for (slope, x) in score.iter_mut().zip(row) {
                *slope += pull * x;
            }
            let bent = weight - 0.5 * leverage * (1.0 - 6.0 * variance);
            add_square(&mut curvature, bent, row);
            add_square(&mut safe_curvature, weight * (1.0 + leverage), row);
            for (b, x) in b.iter_mut().zip(row) {
                add_square(b, weight * (1.0 - 2.0 * chance) * x, row);
            }
        }
        // A⁻¹B_j, by rows.
        let turned = b.iter().map(|b| -> Few {
            let entry = |at: usize| {
                let (row, column) = (at / p, at % p);
                (0..p).fold(0.0, |sum, k| {
                    sum + inverse[packed(row, k)] * b[packed(k, column)]
                })
            };
            (0..p * p).map(entry).collect()
        });
        let turned: SmallVec<[Few; 2]> = turned.collect();
        for j in 0..p {
            for k in 0..=j {
                let trace = (0..p * p).fold(0.0, |sum, at| {
                    sum + turned[j][at] * turned[k][(at % p) * p + at / p]
                });
                curvature[packed(j, k)] += 0.5 * trace;
            }
        }
        Ok(Climb {
            penalised,
            score,
            curvature,
            safe_curvature,
        })
    }

    /// Where l* has fallen to `height` on one side (`direction` −1 or 1) of coefficient `j`, the others at their best there;
    /// `None` where the search from `top` by way of `beta` leads nowhere. It may be a lesser top's place: see that no other is higher.
    pub fn fallen_to(
        &self,
        top: &DVector<f64>,
        mut beta: DVector<f64>,
        j: usize,
        direction: f64,
        height: f64,
    ) -> Option<DVector<f64>> {
        let mut before = top.clone();
        for _ in 0..FALLEN_STEPS {
            let Some(mut step) = self
                .climb(&beta)
                .ok()
                .and_then(|here| here.step_to(j, direction, height))
            else {
                // Too far, where l* bends the other way: back half of the way.
                beta = (&beta + &before) * 0.5;
                continue;
            };
            let length = self.longest(&step);
            if length > LONGEST_STEP {
                step *= LONGEST_STEP / length;
            }
            before.copy_from(&beta);
            beta += step;
            if length < SETTLED {
                return Some(beta);
            }
        }
        None
    }

    /// The top of l* above `beta`, with coefficient `held` kept where it is.
    pub fn top(&self, mut beta: DVector<f64>, held: Option<usize>) -> Result<Top, Numerical> {
        let mut here = self.look(&beta, held)?;
        let mut last_change = f64::INFINITY;
        for _ in 0..MOST_STEPS {
            let length = self.longest(&here.step);
            if length > LONGEST_STEP {
                here.step *= LONGEST_STEP / length;
            }
            let mut share = 1.0;
            let next = loop {
                let candidate = &beta + &here.step * share;
                match self.look(&candidate, held) {
                    Ok(next) if next.penalised >= here.penalised - 1e-11 => {
                        break Some((candidate, next));
                    }
                    // Too far: down the other side, or where all chances are 0 or 1.
                    _ if share > 1e-6 => share *= 0.5,
                    _ => break None,
                }
            };
            // Far out the information is nearly singular and l* rounds coarsely; a step as short as this then hides
            // nothing when it does not climb.
            last_change = length * share;
            let settled = match next {
                Some((candidate, next)) => {
                    (beta, here) = (candidate, next);
                    last_change < SETTLED
                }
                None => length < 1e-5,
            };
            if settled {
                return Ok(Top {
                    beta,
                    penalised: here.penalised,
                });
            }
        }
        Err(Numerical::DidNotSettle {
            what: "the fit of a chance",
            last_change,
        })
    }
}

impl Climb {
    /// The step towards where l* is `height` with coefficient `j` moved in `direction` (−1 or 1) and the others at their
    /// best: on the parabola through here (Venzon & Moolgavkar 1988). `None` where it has no such place.
    fn step_to(&self, j: usize, direction: f64, height: f64) -> Option<DVector<f64>> {
        let others = Others::of(&self.curvature, self.score.len(), j).ok()?;
        let score = others.without(&self.score);
        // The others' best move is a − b·(move of j).
        let (a, b) = (
            others.factor.solve(&score),
            others.factor.solve(&others.across),
        );
        let slope = self.score[j] - score.dot(&b);
        let curvature = self.curvature[packed(j, j)] - others.across.dot(&b);
        let above = self.penalised + 0.5 * score.dot(&a) - height;
        let root = (slope * slope + 2.0 * curvature * above).sqrt();
        let move_j = (slope + direction * root) / curvature;
        (curvature > 0.0 && move_j.is_finite()).then(|| (a - b * move_j).insert_row(j, move_j))
    }

    /// The step to the top of the parabola through here, over all coefficients but `held`.
    fn step(&self, held: Option<usize>) -> Result<DVector<f64>, Numerical> {
        let p = self.score.len();
        let solve = |curvature: &Few| match held {
            None => {
                let score = DVector::from_column_slice(&self.score);
                Ok(Factor::new(&symmetric(curvature, p))?.solve(&score))
            }
            Some(j) => {
                let others = Others::of(curvature, p, j)?;
                let step = others.factor.solve(&others.without(&self.score));
                Ok(step.insert_row(j, 0.0))
            }
        };
        solve(&self.curvature).or_else(|_| solve(&self.safe_curvature))
    }
}

/// Adds a multiple of zz' to a triangle, [`packed`].
fn add_square(triangle: &mut [f64], by: f64, z: &[f64]) {
    let mut entries = triangle.iter_mut();
    for (i, a) in z.iter().enumerate() {
        for (b, entry) in z[..=i].iter().zip(&mut entries) {
            *entry += by * a * b;
        }
    }
}

/// A matrix without one coefficient.
struct Others {
    held: usize,
    factor: Factor,
    /// The held coefficient's column.
    across: DVector<f64>,
}

impl Others {
    fn of(curvature: &[f64], p: usize, held: usize) -> Result<Others, Numerical> {
        let rest = || (0..p).filter(move |&i| i != held);
        let free: Few = rest()
            .flat_map(|i| rest().take_while(move |&k| k <= i).map(move |k| (i, k)))
            .map(|(i, k)| curvature[packed(i, k)])
            .collect();
        Ok(Others {
            held,
            factor: Factor::new(&symmetric(&free, p - 1))?,
            across: DVector::from_iterator(p - 1, rest().map(|i| curvature[packed(i, held)])),
        })
    }

    fn without(&self, all: &[f64]) -> DVector<f64> {
        let kept = all.iter().enumerate().filter(|(i, _)| *i != self.held);
        DVector::from_iterator(all.len() - 1, kept.map(|(_, x)| *x))
    }
}
