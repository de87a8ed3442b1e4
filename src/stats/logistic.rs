//! Chances from yes-or-no outcomes: logistic regression with Firth's penalty, which has an answer even where ordinary
//! likelihood has none (outcomes perfectly separated, or all alike). Takes covariates and outcomes, gives
//! coefficients, chances and their profile intervals.
//!
//! Letters: `x` design with a first column of ones; `beta` coefficients, p; l* the log-likelihood plus half the
//! log-determinant of the information X'WX (Jeffreys's prior).
//!
//! Sources: Firth (1993), Biometrika 80, 27–38; Heinze and Schemper (2002), Statistics in Medicine 21, 2409–2419; for intervals Venzon and
//! Moolgavkar (1988), Applied Statistics 37, 87–94.

mod along;
mod climb;
mod even;

use super::Numerical;
use super::distributions::chi2_quantile;
use super::interval::{Interval, Level};
use super::optimise::root;
use super::rows::equal_rows;
use climb::{Outcomes, Top, chance};
use nalgebra::{DMatrix, DVector};

/// Heights of l* that differ by less are one: 1e-9 of a step's worth of rounding, and far below what an end shows.
const SAME_HEIGHT: f64 = 1e-8;

/// How far l* may fall inside a profile interval.
fn drop(level: Level) -> f64 {
    0.5 * chi2_quantile(level.probability(), 1.0)
}

/// A fitted penalised logistic regression.
#[derive(Debug, Clone)]
pub struct Logistic {
    outcomes: Outcomes,
    beta: DVector<f64>,
    covariance: DMatrix<f64>,
    penalised: f64,
}

impl Logistic {
    /// Fits the chance of an event on `covariates` (n × number of covariates, without a column of ones).
    ///
    /// Coefficient 0 is the intercept, coefficient j covariate j − 1. The order of the rows does not matter.
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
        let (distinct, trials, yeses) = grouped(covariates, events);
        Logistic::of_counts(&distinct, trials, yeses)
    }

    /// The same from outcomes counted: a row of `covariates` for each combination (finite, none twice), the `trials` made at
    /// each (above 0) and the `events` among them.
    ///
    /// # Errors
    /// [`Numerical::RankLost`] and [`Numerical::DidNotSettle`] as [`Logistic::fit`].
    pub fn of_counts(
        covariates: &DMatrix<f64>,
        trials: DVector<f64>,
        events: DVector<f64>,
    ) -> Result<Logistic, Numerical> {
        let outcomes = Outcomes {
            x: covariates.transpose().insert_row(0, 1.0),
            trials,
            events,
        };
        let start = DVector::zeros(outcomes.x.nrows());
        let top = outcomes.top(start, None)?;
        Ok(Logistic {
            covariance: outcomes.covariance(&top.beta)?,
            outcomes,
            beta: top.beta,
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
    ///
    /// # Errors
    /// As [`Logistic::fit`].
    pub fn profile(&self, j: usize, value: f64) -> Result<f64, Numerical> {
        Ok(self.profile_top(j, value, &[&self.beta])?.penalised)
    }

    /// Highest top of l* with coefficient `j` held at `value`, climbing from each of `guides` and more.
    ///
    /// Where outcomes are separated, l* has a top for each row that the even chance can settle on, so one start is not
    /// enough: with one coefficient free, the two best of those places are starts too.
    fn profile_top(
        &self,
        j: usize,
        value: f64,
        guides: &[&DVector<f64>],
    ) -> Result<Top, Numerical> {
        let mut starts: Vec<DVector<f64>> = guides
            .iter()
            .map(|from| self.moved(from, j, value))
            .collect();
        let x = &self.outcomes.x;
        if x.nrows() == 1 {
            let beta = DVector::from_element(1, value);
            return Ok(Top {
                penalised: self.outcomes.penalised(&beta)?,
                beta,
            });
        }
        if x.nrows() == 2 {
            let mut even: Vec<(f64, DVector<f64>)> = x
                .column_iter()
                .map(|row| -value * row[j] / row[1 - j])
                .filter(|free| free.is_finite())
                .filter_map(|free| {
                    let mut beta = DVector::from_element(2, free);
                    beta[j] = value;
                    Some((self.outcomes.penalised(&beta).ok()?, beta))
                })
                .collect();
            even.sort_by(|a, b| b.0.total_cmp(&a.0));
            starts.extend(even.into_iter().take(2).map(|(_, beta)| beta));
        }
        let mut best: Option<Top> = None;
        let mut failure = None;
        for start in starts {
            match self.outcomes.top(start, Some(j)) {
                Ok(top) if best.as_ref().is_none_or(|b| top.penalised > b.penalised) => {
                    best = Some(top);
                }
                Ok(_) => {}
                Err(error) => failure = Some(error),
            }
        }
        best.ok_or_else(|| failure.expect("there is always a start"))
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
        let drop = drop(level);
        let low = self.profile_end(j, drop, -1.0)?;
        let high = self.profile_end(j, drop, 1.0)?;
        Ok(Interval::holding(self.beta[j], low, high))
    }

    /// Where l* has fallen by `drop` on one side (`direction` −1 or 1) of coefficient `j`.
    fn profile_end(&self, j: usize, drop: f64, direction: f64) -> Result<f64, Numerical> {
        self.straight_end(j, drop, direction)
            .map_or_else(|| self.bracketed_end(j, drop, direction), Ok)
    }

    /// The same straight away where the profile is nearly a parabola, as it is but for separated outcomes far out.
    fn straight_end(&self, j: usize, drop: f64, direction: f64) -> Option<f64> {
        let near = (2.0 * drop * self.covariance[(j, j)]).sqrt();
        let start = self.moved(&self.beta, j, self.beta[j] + direction * near);
        let height = self.penalised - drop;
        let there = self
            .outcomes
            .fallen_to(&self.beta, start, j, direction, height)?;
        let top = self.profile_top(j, there[j], &[&self.beta, &there]).ok()?;
        let farther = direction * (there[j] - self.beta[j]) > 0.0;
        (farther && (top.penalised - height).abs() < SAME_HEIGHT).then_some(there[j])
    }

    /// The same by going out until it has fallen, and looking for the place in between.
    fn bracketed_end(&self, j: usize, drop: f64, direction: f64) -> Result<f64, Numerical> {
        let standard_error = self.covariance[(j, j)].sqrt();
        let mut inner = self.beta.clone();
        let mut reach = standard_error;
        // l* falls without end, if only as the logarithm of the information: 30 doublings go past any log.
        for _ in 0..30 {
            let at = inner[j] + direction * reach;
            let top = self.profile_top(j, at, &[&self.beta, &inner])?;
            if self.penalised - top.penalised > drop {
                // With the tops at both ends among the guides, the ends look as they did a moment ago.
                let guides = [&self.beta, &inner, &top.beta];
                let excess = |value: f64| {
                    self.profile_top(j, value, &guides)
                        .map_or(f64::NAN, |top| self.penalised - top.penalised - drop)
                };
                let (low, high) = (inner[j].min(at), inner[j].max(at));
                return root(excess, low, high, 1e-9 * standard_error);
            }
            inner = top.beta;
            reach *= 2.0;
        }
        Ok(direction * f64::INFINITY)
    }

    /// The same fit with the covariates counted from `at` on, so that the intercept is the log-odds there.
    fn counted_from(&self, at: &[f64]) -> Result<Logistic, Numerical> {
        if at.len() + 1 != self.beta.len() || !at.iter().all(|value| value.is_finite()) {
            return Err(Numerical::Shape {
                what: "a chance is asked for at one finite value a covariate",
            });
        }
        let mut outcomes = self.outcomes.clone();
        let mut beta = self.beta.clone();
        // The same top seen from elsewhere: l* keeps its height, and the intercept's covariances move along.
        let mut moves = DMatrix::identity(beta.len(), beta.len());
        for (k, value) in at.iter().enumerate() {
            outcomes.x.row_mut(k + 1).add_scalar_mut(-value);
            beta[0] += self.beta[k + 1] * value;
            moves[(0, k + 1)] = *value;
        }
        Ok(Logistic {
            outcomes,
            beta,
            covariance: &moves * &self.covariance * moves.transpose(),
            penalised: self.penalised,
        })
    }

    /// Chance of an event at covariates `at`, with its profile interval.
    ///
    /// # Errors
    /// [`Numerical::Shape`] for another number of covariates; otherwise as [`Logistic::fit`].
    pub fn chance_at(&self, at: &[f64], level: Level) -> Result<Interval, Numerical> {
        let log_odds = self.counted_from(at)?.interval(0, level)?;
        Ok(Interval {
            estimate: chance(log_odds.estimate),
            low: chance(log_odds.low),
            high: chance(log_odds.high),
        })
    }
}

/// Distinct covariates in order of their values, with the outcomes at each and the events among them.
fn grouped(
    covariates: &DMatrix<f64>,
    events: &[bool],
) -> (DMatrix<f64>, DVector<f64>, DVector<f64>) {
    let groups = equal_rows(covariates);
    let count = |chosen: &dyn Fn(usize) -> bool| {
        let counts = groups
            .iter()
            .map(|g| g.iter().filter(|i| chosen(**i)).count() as f64);
        DVector::from_iterator(groups.len(), counts)
    };
    let distinct = DMatrix::from_fn(groups.len(), covariates.ncols(), |g, k| {
        covariates[(groups[g][0], k)]
    });
    (distinct, count(&|_| true), count(&|i| events[i]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

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

    proptest! {
        /// Small logs with few distinct leads: separated, all alike, one run each; always an answer around the estimate.
        #[test]
        fn small_logs_always_have_an_answer(
            rows in prop::collection::vec((0u8..8, any::<bool>()), 2..16), at in 0.0..3.0f64,
        ) {
            let leads: Vec<f64> = rows.iter().map(|(lead, _)| 0.5 + 0.25 * f64::from(*lead)).collect();
            let events: Vec<bool> = rows.iter().map(|(_, event)| *event).collect();
            match Logistic::fit(&column(&leads), &events) {
                Err(error) => prop_assert_eq!(error, Numerical::RankLost { column: 1 }),
                Ok(fitted) => {
                    for (j, direction) in [(0, -1.0), (0, 1.0), (1, -1.0), (1, 1.0)] {
                        if let Some(straight) = fitted.straight_end(j, 1.92, direction) {
                            let bracketed = fitted.bracketed_end(j, 1.92, direction).unwrap();
                            let within = 1e-6 * fitted.covariance[(j, j)].sqrt();
                            prop_assert!((straight - bracketed).abs() < within, "{straight} {bracketed}");
                        }
                    }
                    let slope = fitted.interval(1, Level::default()).unwrap();
                    prop_assert!(slope.low < slope.estimate && slope.estimate < slope.high);
                    let there = fitted.chance_at(&[at], Level::default()).unwrap();
                    prop_assert!(there.low < there.estimate && there.estimate < there.high);
                }
            }
        }
    }
}
