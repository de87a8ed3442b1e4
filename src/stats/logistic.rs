//! Chances from yes-or-no outcomes: logistic regression with Firth's penalty, which has an answer even where ordinary
//! likelihood has none (outcomes perfectly separated, or all alike). Takes covariates and outcomes, gives
//! coefficients, chances and their profile intervals.
//!
//! Letters: `x` design with a first column of ones, n × p; `y` outcomes, n, 0 or 1; `beta` coefficients, p; `pi` chances;
//! l* the log-likelihood plus half the log-determinant of the information X'WX (Jeffreys's prior).
//!
//! Sources: Firth (1993), Biometrika 80, 27–38; Heinze and Schemper (2002), Statistics in Medicine 21, 2409–2419.

use super::Numerical;
use super::distributions::chi2_quantile;
use super::interval::{Interval, Level};
use super::linalg::Factor;
use super::optimise::root;
use nalgebra::{DMatrix, DVector};
use std::cell::RefCell;

/// Steps of a search; the modified scoring step gains a digit or so each time.
const MOST_STEPS: usize = 200;

/// A fitted penalised logistic regression.
#[derive(Debug, Clone)]
pub struct Logistic {
    x: DMatrix<f64>,
    y: DVector<f64>,
    beta: DVector<f64>,
    covariance: DMatrix<f64>,
    penalised: f64,
}

/// l* and what is needed to climb it, at one `beta`.
struct Climb {
    penalised: f64,
    /// Of the information X'WX.
    factor: Factor,
    /// Slope of l*.
    score: DVector<f64>,
    /// Curvature to step by: X'W(1 + H)X, H the leverages. The penalty acts like H further outcomes, and without them the
    /// steps are too long by up to a factor of two (two rows and two coefficients then never settle).
    curvature: DMatrix<f64>,
}

/// 1/(1 + e^−eta), without overflow.
fn chance(eta: f64) -> f64 {
    if eta < 0.0 {
        let odds = eta.exp();
        odds / (1.0 + odds)
    } else {
        1.0 / (1.0 + (-eta).exp())
    }
}

fn climb(x: &DMatrix<f64>, y: &DVector<f64>, beta: &DVector<f64>) -> Result<Climb, Numerical> {
    let eta = x * beta;
    let weight = eta.map(|eta| {
        let smaller_odds = (-eta.abs()).exp();
        smaller_odds / (1.0 + smaller_odds).powi(2)
    });
    let weighted = DMatrix::from_fn(x.nrows(), x.ncols(), |i, j| weight[i] * x[(i, j)]);
    let factor = Factor::new(&x.tr_mul(&weighted))?;
    let mut with_penalty = weighted;
    let mut penalised = 0.5 * factor.ln_determinant();
    let mut score = DVector::zeros(x.ncols());
    for i in 0..x.nrows() {
        // ln of the chance of what happened: −ln(1 + e^−eta) for a yes, with the sign turned for a no.
        let towards = if y[i] > 0.5 { eta[i] } else { -eta[i] };
        penalised += towards.min(0.0) - (-towards.abs()).exp().ln_1p();
        let row = x.row(i).transpose();
        let leverage = weight[i] * factor.quadratic(&row);
        let pi = chance(eta[i]);
        score.axpy(y[i] - pi + leverage * (0.5 - pi), &row, 1.0);
        with_penalty.row_mut(i).scale_mut(1.0 + leverage);
    }
    Ok(Climb {
        penalised,
        factor,
        score,
        curvature: x.tr_mul(&with_penalty),
    })
}

/// Highest l* from `beta` on, with coefficient `held` kept where it is.
fn highest(
    x: &DMatrix<f64>,
    y: &DVector<f64>,
    mut beta: DVector<f64>,
    held: Option<usize>,
) -> Result<(DVector<f64>, Climb), Numerical> {
    let mut here = climb(x, y, &beta)?;
    let mut last_change = f64::INFINITY;
    for _ in 0..MOST_STEPS {
        let mut step = match held {
            None => Factor::new(&here.curvature)?.solve(&here.score),
            Some(j) if x.ncols() > 1 => {
                let free = here.curvature.clone().remove_row(j).remove_column(j);
                let step = Factor::new(&free)?.solve(&here.score.clone().remove_row(j));
                step.insert_row(j, 0.0)
            }
            Some(_) => return Ok((beta, here)),
        };
        // In units of the log-odds of the rows; a longer step than this leaves where the quadratic holds.
        let length = (x * &step).amax();
        if length > 4.0 {
            step *= 4.0 / length;
        }
        let mut share = 1.0;
        let next = loop {
            let candidate = &beta + &step * share;
            match climb(x, y, &candidate) {
                Ok(next) if next.penalised >= here.penalised - 1e-11 => {
                    break Some((candidate, next));
                }
                // Too far: down the other side, or where all chances are 0 or 1.
                _ if share > 1e-6 => share *= 0.5,
                _ => break None,
            }
        };
        let Some((candidate, next)) = next else {
            return Err(Numerical::DidNotSettle {
                what: "the fit of a chance",
                last_change: length,
            });
        };
        last_change = length * share;
        (beta, here) = (candidate, next);
        if last_change < 1e-10 {
            return Ok((beta, here));
        }
    }
    Err(Numerical::DidNotSettle {
        what: "the fit of a chance",
        last_change,
    })
}

impl Logistic {
    /// Fits the chance of an event on `covariates` (n × number of covariates, without a column of ones).
    ///
    /// Coefficient 0 is the intercept, coefficient j covariate j − 1.
    ///
    /// # Errors
    /// [`Numerical::Shape`] for no rows or another number of events; [`Numerical::NotFinite`];
    /// [`Numerical::RankLost`] with the number of the coefficient when a covariate is constant or follows from the
    /// others; [`Numerical::DidNotSettle`].
    pub fn fit(covariates: &DMatrix<f64>, events: &[bool]) -> Result<Logistic, Numerical> {
        if events.is_empty() || events.len() != covariates.nrows() {
            return Err(Numerical::Shape {
                what: "a chance needs one outcome a row, and a row",
            });
        }
        if !covariates.iter().all(|value| value.is_finite()) {
            return Err(Numerical::NotFinite {
                what: "a covariate of a chance",
            });
        }
        let x = covariates.clone().insert_column(0, 1.0);
        let outcomes = events.iter().map(|event| f64::from(u8::from(*event)));
        let y = DVector::from_iterator(events.len(), outcomes);
        let start = DVector::zeros(x.ncols());
        let (beta, top) = highest(&x, &y, start, None)?;
        Ok(Logistic {
            x,
            y,
            beta,
            covariance: top.factor.inverse(),
            penalised: top.penalised,
        })
    }

    /// Coefficients, intercept first.
    pub fn beta(&self) -> &DVector<f64> {
        &self.beta
    }

    /// Inverse of the information X'WX at the estimate.
    pub fn covariance(&self) -> &DMatrix<f64> {
        &self.covariance
    }

    /// l* at the estimate.
    pub fn penalised_ln_likelihood(&self) -> f64 {
        self.penalised
    }

    /// Highest l* with coefficient `j` held at `value`, the penalty still that of all coefficients.
    pub fn profile(&self, j: usize, value: f64) -> Result<f64, Numerical> {
        let (_, top) = highest(&self.x, &self.y, self.moved(&self.beta, j, value), Some(j))?;
        Ok(top.penalised)
    }

    /// `from` with coefficient `j` at `value` and the others moved along as their covariance has it.
    fn moved(&self, from: &DVector<f64>, j: usize, value: f64) -> DVector<f64> {
        let along = self.covariance.column(j) / self.covariance[(j, j)];
        let mut beta = from + along * (value - from[j]);
        beta[j] = value;
        beta
    }

    /// Profile interval of coefficient `j`: where l* is within half a chi-squared quantile of its top.
    ///
    /// # Errors
    /// As [`Logistic::fit`].
    pub fn interval(&self, j: usize, level: Level) -> Result<Interval, Numerical> {
        let drop = 0.5 * chi2_quantile(level.probability(), 1.0);
        let low = self.profile_end(j, drop, -1.0)?;
        let high = self.profile_end(j, drop, 1.0)?;
        Ok(Interval::holding(self.beta[j], low, high))
    }

    /// Where l* has fallen by `drop` on one side (`direction` −1 or 1) of coefficient `j`.
    fn profile_end(&self, j: usize, drop: f64, direction: f64) -> Result<f64, Numerical> {
        let standard_error = self.covariance[(j, j)].sqrt();
        // Each search starts where the last one ended; far out the covariance is a poor guide.
        let near = RefCell::new(self.beta.clone());
        let excess = |value: f64| -> Result<f64, Numerical> {
            let start = self.moved(&near.borrow(), j, value);
            let (beta, top) = highest(&self.x, &self.y, start, Some(j))?;
            *near.borrow_mut() = beta;
            Ok(self.penalised - top.penalised - drop)
        };
        let mut inner = self.beta[j];
        let mut reach = standard_error;
        // l* falls without end, if only as the logarithm of the information: 30 doublings go past any float that fits.
        for _ in 0..30 {
            let outer = inner + direction * reach;
            if excess(outer)? > 0.0 {
                let (low, high) = (inner.min(outer), inner.max(outer));
                return root(
                    |value| excess(value).unwrap_or(f64::NAN),
                    low,
                    high,
                    1e-9 * standard_error,
                );
            }
            inner = outer;
            reach *= 2.0;
        }
        Ok(direction * f64::INFINITY)
    }

    /// Chance of an event at covariates `at`, with its profile interval.
    ///
    /// The covariates are counted from `at` on, so that the intercept is the log-odds there; the fit stays the same.
    ///
    /// # Errors
    /// [`Numerical::Shape`] for another number of covariates; otherwise as [`Logistic::fit`].
    pub fn chance_at(&self, at: &[f64], level: Level) -> Result<Interval, Numerical> {
        if at.len() + 1 != self.x.ncols() || !at.iter().all(|value| value.is_finite()) {
            return Err(Numerical::Shape {
                what: "a chance is asked for at one finite value a covariate",
            });
        }
        let mut there = self.clone();
        for (k, value) in at.iter().enumerate() {
            there.x.column_mut(k + 1).add_scalar_mut(-value);
            there.beta[0] += self.beta[k + 1] * value;
        }
        let top = climb(&there.x, &there.y, &there.beta)?;
        there.covariance = top.factor.inverse();
        there.penalised = top.penalised;
        let log_odds = there.interval(0, level)?;
        Ok(Interval {
            estimate: chance(log_odds.estimate),
            low: chance(log_odds.low),
            high: chance(log_odds.high),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(values: &[f64]) -> DMatrix<f64> {
        DMatrix::from_column_slice(values.len(), 1, values)
    }

    /// With the intercept alone the penalty adds half an event and half a non-event (Firth 1993, section 3): ln of
    /// (k + ½)/(n − k + ½).
    #[test]
    fn an_intercept_alone_adds_half_an_outcome_to_each_side() {
        let events = [true, false, false, false, true, false, false];
        let fitted = Logistic::fit(&DMatrix::zeros(7, 0), &events).unwrap();
        assert!((fitted.beta()[0] - (2.5f64 / 5.5).ln()).abs() < 1e-9);
        let none = Logistic::fit(&DMatrix::zeros(3, 0), &[false; 3]).unwrap();
        assert!((none.beta()[0] - (0.5f64 / 3.5).ln()).abs() < 1e-9);
        assert!(none.interval(0, Level::default()).unwrap().low < -4.0);
    }

    #[test]
    fn a_constant_covariate_is_named() {
        let fitted = Logistic::fit(&column(&[2.0; 4]), &[true, false, true, false]);
        assert_eq!(fitted.unwrap_err(), Numerical::RankLost { column: 1 });
    }

    #[test]
    fn shapes_and_values_are_checked() {
        let wrong = Logistic::fit(&column(&[1.0, 2.0]), &[true]);
        assert!(matches!(wrong, Err(Numerical::Shape { .. })));
        let wrong = Logistic::fit(&column(&[1.0, f64::NAN]), &[true, false]);
        assert!(matches!(wrong, Err(Numerical::NotFinite { .. })));
        let fitted = Logistic::fit(&column(&[1.0, 2.0]), &[true, false]).unwrap();
        assert!(fitted.chance_at(&[1.0, 2.0], Level::default()).is_err());
    }

    #[test]
    fn units_of_a_covariate_change_no_chance() {
        let x = [0.5, 1.0, 1.0, 1.5, 2.0, 2.5];
        let events = [false, false, true, false, true, true];
        let level = Level::default();
        let here = Logistic::fit(&column(&x), &events).unwrap();
        let there = Logistic::fit(&column(&x.map(|x| 1000.0 * x + 7e4)), &events).unwrap();
        let chances = [
            here.chance_at(&[1.2], level),
            there.chance_at(&[71200.0], level),
        ];
        let [a, b] = chances.map(Result::unwrap);
        let same = |a: f64, b: f64| (a - b).abs() < 1e-7;
        assert!(same(a.estimate, b.estimate) && same(a.low, b.low) && same(a.high, b.high));
        assert!(a.low < a.estimate && a.estimate < a.high);
    }
}
