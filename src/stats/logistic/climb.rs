//! Climbing the penalised log-likelihood of a logistic regression, over all coefficients or with one held.
//!
//! Letters as in the parent; rows with the same covariates are one row here, with `trials` outcomes and `events` yeses.

use crate::stats::Numerical;
use crate::stats::linalg::{Factor, Few, packed};
use nalgebra::{DMatrix, DVector};
use smallvec::smallvec;

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
    /// Design with a first column of ones, one row for each combination of covariates.
    pub x: DMatrix<f64>,
    /// Outcomes at each.
    pub trials: DVector<f64>,
    /// Yeses among them.
    pub events: DVector<f64>,
}

/// l* and its slopes at one `beta`; matrices as [`packed`] triangles.
struct Climb {
    penalised: f64,
    /// Of the information X'WX.
    factor: Factor,
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
    /// Inverse of the information there.
    pub covariance: DMatrix<f64>,
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
struct Odds {
    /// π.
    chance: f64,
    /// π(1 − π).
    variance: f64,
    /// ln π and ln (1 − π).
    ln_chance: (f64, f64),
}

impl Odds {
    fn of(eta: f64) -> Self {
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
    /// X' diag(by row) X, [`packed`].
    fn cross(&self, by_row: impl Fn(usize) -> f64) -> Few {
        let (n, p) = self.x.shape();
        let mut out: Few = smallvec![0.0; p * (p + 1) / 2];
        for i in 0..n {
            let weight = by_row(i);
            for j in 0..p {
                for k in 0..=j {
                    out[packed(j, k)] += weight * self.x[(i, j)] * self.x[(i, k)];
                }
            }
        }
        out
    }

    /// Log-odds of each row and what they say.
    fn odds(&self, beta: &DVector<f64>) -> Vec<Odds> {
        let row = |row: usize| {
            let at = (0..beta.len()).fold(0.0, |sum, j| sum + self.x[(row, j)] * beta[j]);
            Odds::of(at)
        };
        (0..self.x.nrows()).map(row).collect()
    }

    /// l* with the factorised information.
    fn height(&self, odds: &[Odds]) -> Result<(f64, Factor), Numerical> {
        let information = self.cross(|i| self.trials[i] * odds[i].variance);
        let factor = Factor::of_packed(information, self.x.ncols())?;
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

    fn climb(&self, beta: &DVector<f64>) -> Result<Climb, Numerical> {
        let (n, p) = self.x.shape();
        let odds = self.odds(beta);
        let (penalised, factor) = self.height(&odds)?;
        let inverse = factor.inverse_packed();
        let weight = |i: usize| odds[i].variance * self.trials[i];
        let leverage: Few = (0..n)
            .map(|i| {
                let mut sum = 0.0;
                for j in 0..p {
                    for k in 0..p {
                        sum += inverse[packed(j, k)] * self.x[(i, j)] * self.x[(i, k)];
                    }
                }
                weight(i) * sum
            })
            .collect();
        let mut score: Few = smallvec![0.0; p];
        for (i, Odds { chance, .. }) in odds.iter().enumerate() {
            let pull = self.events[i] - self.trials[i] * chance + leverage[i] * (0.5 - chance);
            for (j, slope) in score.iter_mut().enumerate() {
                *slope += pull * self.x[(i, j)];
            }
        }
        // ½ ln|A|, A = X'WX, has second derivatives ½ Σ w'' x'A⁻¹x x_j x_k − ½ tr(A⁻¹B_j A⁻¹B_k) with
        // B_j = X' diag(w' x_j) X, w' = w(1 − 2π), w'' = w(1 − 6π(1 − π)): derivatives of w by eta.
        let turned: Vec<Few> = (0..p)
            .map(|j| {
                let b = self.cross(|i| weight(i) * (1.0 - 2.0 * odds[i].chance) * self.x[(i, j)]);
                let entry = |at: usize| {
                    let (row, column) = (at / p, at % p);
                    (0..p).fold(0.0, |sum, k| {
                        sum + inverse[packed(row, k)] * b[packed(k, column)]
                    })
                };
                (0..p * p).map(entry).collect()
            })
            .collect();
        let mut curvature =
            self.cross(|i| weight(i) - 0.5 * leverage[i] * (1.0 - 6.0 * odds[i].variance));
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
            factor,
            score,
            curvature,
            safe_curvature: self.cross(|i| weight(i) * (1.0 + leverage[i])),
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
            let length = (&self.x * &step).amax();
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
        let mut here = self.climb(&beta)?;
        let mut last_change = f64::INFINITY;
        for _ in 0..MOST_STEPS {
            let mut step = here.step(held)?;
            let length = (&self.x * &step).amax();
            if length > LONGEST_STEP {
                step *= LONGEST_STEP / length;
            }
            let mut share = 1.0;
            let next = loop {
                let candidate = &beta + &step * share;
                match self.climb(&candidate) {
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
                    covariance: here.factor.inverse(),
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
                Ok(Factor::of_packed(curvature.clone(), p)?.solve(&score))
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
            factor: Factor::of_packed(free, p - 1)?,
            across: DVector::from_iterator(p - 1, rest().map(|i| curvature[packed(i, held)])),
        })
    }

    fn without(&self, all: &[f64]) -> DVector<f64> {
        let kept = all.iter().enumerate().filter(|(i, _)| *i != self.held);
        DVector::from_iterator(all.len() - 1, kept.map(|(_, x)| *x))
    }
}
