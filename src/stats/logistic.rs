//! Chances from yes-or-no outcomes: logistic regression with Firth's penalty, which has an answer even where ordinary
//! likelihood has none (outcomes perfectly separated, or all alike). Takes covariates and outcomes, gives
//! coefficients, chances and their profile-likelihood intervals.
//!
//! Letters: `x` design with a first column of ones; `beta` coefficients, p; l* the log-likelihood plus half the
//! log-determinant of the information X'WX (Jeffreys's prior).
//!
//! Sources: Firth (1993), Biometrika 80, 27–38; Heinze and Schemper (2002), Statistics in Medicine 21, 2409–2419.

use super::Numerical;
use super::distributions::chi2_quantile;
use super::interval::{Interval, Level};
use super::linalg::Factor;
use super::optimise;
use nalgebra::{DMatrix, DVector};

/// Steps of a fit; ten are usual, far out on a profile some fifty.
const STEPS_MAX: usize = 500;
/// In units of the log-odds of the rows; a longer step leaves where the parabola holds.
const LONGEST_STEP: f64 = 4.0;
/// A step as short as this, in the same units, is the last.
const SETTLED: f64 = 1e-9;
/// A step is halved down to this.
const SHORTEST_HALVED: f64 = 1e-6;
/// A step that promises so small a gain of l* is the last where it does not climb; an end of an interval moves by less than
/// a millionth of a standard error.
const NOTHING_TO_GAIN: f64 = 1e-6;
/// A fall of l* by less than this is rounding.
const ROUNDING: f64 = 1e-11;
/// A profile-likelihood bound is settled within this part of the coefficient's standard error.
const BOUND_WITHIN: f64 = 1e-8;
/// l* falls without end, if only as the logarithm of the information: so many standard errors go past any log.
const FARTHEST: f64 = 1e9;

/// How far l* may fall inside a profile-likelihood interval.
fn drop(level: Level) -> f64 {
    0.5 * chi2_quantile(level.probability(), 1.0)
}

/// 1/(1 + e^−eta), without overflow.
fn chance(eta: f64) -> f64 {
    let smaller = (-eta.abs()).exp();
    if eta < 0.0 {
        smaller / (1.0 + smaller)
    } else {
        1.0 / (1.0 + smaller)
    }
}

/// Outcomes counted at each combination of covariates.
#[derive(Debug, Clone)]
struct Outcomes {
    /// A column for each combination, a one first.
    x: DMatrix<f64>,
    /// Outcomes at each.
    trials: DVector<f64>,
    /// Yeses among them.
    events: DVector<f64>,
}

/// l* at one `beta`, with what the next step needs.
struct Here {
    beta: DVector<f64>,
    penalised: f64,
    /// X'(y − nπ + h(½ − π)), h the leverages: the slope of l* (Firth 1993).
    score: DVector<f64>,
    /// Inverse of the information.
    covariance: DMatrix<f64>,
    /// Information of the outcomes with h further ones at each row, half of them yeses, whose score is that of l*.
    augmented: DMatrix<f64>,
}

impl Outcomes {
    /// # Errors
    /// [`Numerical::RankLost`] where the chances are so near 0 or 1 that the information is singular.
    fn at(&self, beta: DVector<f64>) -> Result<Here, Numerical> {
        let eta = self.x.tr_mul(&beta);
        let p = beta.len();
        let mut information = DMatrix::zeros(p, p);
        let mut likelihood = 0.0;
        for (i, x) in self.x.column_iter().enumerate() {
            let (yes, no) = (chance(eta[i]), chance(-eta[i]));
            information.ger(self.trials[i] * yes * no, &x, &x, 1.0);
            let ln = |eta: f64| eta.min(0.0) - (-eta.abs()).exp().ln_1p();
            likelihood += self.events[i] * ln(eta[i]);
            likelihood += (self.trials[i] - self.events[i]) * ln(-eta[i]);
        }
        let factor = Factor::new(&information)?;
        let covariance = factor.inverse();
        let turned = &covariance * &self.x;
        let mut score = DVector::zeros(p);
        let mut augmented = DMatrix::zeros(p, p);
        for (i, x) in self.x.column_iter().enumerate() {
            let (yes, no) = (chance(eta[i]), chance(-eta[i]));
            let leverage = self.trials[i] * yes * no * x.dot(&turned.column(i));
            let residual = self.events[i] - self.trials[i] * yes;
            score.axpy(residual + leverage * (0.5 - yes), &x, 1.0);
            augmented.ger((self.trials[i] + leverage) * yes * no, &x, &x, 1.0);
        }
        Ok(Here {
            penalised: likelihood + 0.5 * factor.ln_determinant(),
            beta,
            score,
            covariance,
            augmented,
        })
    }

    /// By how much a step moves the log-odds of the row it moves most.
    fn longest(&self, step: &DVector<f64>) -> f64 {
        self.x.tr_mul(step).amax()
    }

    /// The top of l* uphill from `beta`, with coefficient `held` kept where it is: Fisher scoring of the augmented outcomes,
    /// steps halved until they climb.
    fn top(&self, beta: DVector<f64>, held: Option<usize>) -> Result<Here, Numerical> {
        let mut here = self.at(beta)?;
        let mut last_change = f64::INFINITY;
        for _ in 0..STEPS_MAX {
            let mut step = here.step(held)?;
            last_change = self.longest(&step);
            if last_change < SETTLED {
                return Ok(here);
            }
            let promised = 0.5 * here.score.dot(&step);
            let mut length = last_change.min(LONGEST_STEP);
            step *= length / last_change;
            let next = loop {
                match self.at(&here.beta + &step) {
                    Ok(next) if next.penalised >= here.penalised - ROUNDING => break Some(next),
                    // Too far: down the other side, or where all chances are 0 or 1.
                    _ if length > SHORTEST_HALVED => {
                        step *= 0.5;
                        length *= 0.5;
                    }
                    _ => break None,
                }
            };
            match next {
                Some(next) => here = next,
                // Far out, where the information is nearly singular, l* rounds coarsely.
                None if promised < NOTHING_TO_GAIN => return Ok(here),
                None => break,
            }
        }
        Err(Numerical::DidNotSettle {
            what: "the fit of a chance",
            last_change,
        })
    }
}

impl Here {
    /// The step over all coefficients but `held`.
    fn step(&self, held: Option<usize>) -> Result<DVector<f64>, Numerical> {
        let Some(j) = held else {
            return Ok(Factor::new(&self.augmented)?.solve(&self.score));
        };
        let free = self.augmented.clone().remove_row(j).remove_column(j);
        let score = self.score.clone().remove_row(j);
        Ok(Factor::new(&free)?.solve(&score).insert_row(j, 0.0))
    }
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
    /// Coefficient 0 is the intercept, coefficient j covariate j − 1.
    ///
    /// # Errors
    /// [`Numerical::Shape`] for no rows or another number of events; [`Numerical::NotFinite`];
    /// [`Numerical::RankLost`] with the number of the coefficient when a covariate is constant or follows from the
    /// others; [`Numerical::DidNotSettle`].
    pub fn fit(covariates: &DMatrix<f64>, events: &[bool]) -> Result<Logistic, Numerical> {
        let trials = DVector::from_element(events.len(), 1.0);
        let yeses = events.iter().map(|event| f64::from(u8::from(*event)));
        Logistic::fit_counts(
            covariates,
            trials,
            DVector::from_iterator(events.len(), yeses),
        )
    }

    /// Fits the chance of an event from outcomes counted by their covariates: a row of `covariates` with the `trials`
    /// made there (above 0) and the `events` among them.
    ///
    /// # Errors
    /// [`Numerical`] where a fit on the way fails, for the reasons that [`Logistic::fit`] lists.
    pub fn fit_counts(
        covariates: &DMatrix<f64>,
        trials: DVector<f64>,
        events: DVector<f64>,
    ) -> Result<Logistic, Numerical> {
        let n = covariates.nrows();
        if n == 0 || trials.len() != n || events.len() != n {
            return Err(Numerical::Shape {
                what: "a chance needs one outcome a row, and a row",
            });
        }
        if !covariates.iter().all(|value| value.is_finite()) {
            return Err(Numerical::NotFinite {
                what: "a covariate of a chance",
            });
        }
        let outcomes = Outcomes {
            x: covariates.transpose().insert_row(0, 1.0),
            trials,
            events,
        };
        let top = outcomes.top(DVector::zeros(outcomes.x.nrows()), None)?;
        Ok(Logistic {
            outcomes,
            beta: top.beta,
            covariance: top.covariance,
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

    /// Highest l* with coefficient `j` held at `value`, the penalty still that of all coefficients.
    ///
    /// Where outcomes are separated, l* has a top for each row that the even chance can settle on, so one start is not
    /// enough. It climbs from the estimate shifted along its covariance, and from the two highest of the places where, from
    /// there, the first coefficient that is free makes the chance of a row even.
    ///
    /// # Errors
    /// [`Numerical`] where a fit on the way fails, for the reasons that [`Logistic::fit`] lists.
    pub fn profile(&self, j: usize, value: f64) -> Result<f64, Numerical> {
        let x = &self.outcomes.x;
        let along = self.covariance.column(j) / self.covariance[(j, j)];
        let mut shifted = &self.beta + along * (value - self.beta[j]);
        shifted[j] = value;
        if shifted.len() == 1 {
            return Ok(self.outcomes.at(shifted)?.penalised);
        }
        let free = usize::from(j == 0);
        let eta = x.tr_mul(&shifted);
        let even = x.column_iter().enumerate().map(|(i, row)| {
            let mut even = shifted.clone();
            even[free] -= eta[i] / row[free];
            even
        });
        let mut evens: Vec<(f64, DVector<f64>)> = even
            .filter_map(|beta| Some((self.outcomes.at(beta.clone()).ok()?.penalised, beta)))
            .collect();
        evens.sort_by(|a, b| b.0.total_cmp(&a.0));
        let highest = evens.into_iter().take(2).map(|(_, beta)| beta);
        let tops = std::iter::once(shifted)
            .chain(highest)
            .map(|beta| self.outcomes.top(beta, Some(j)));
        tops.map(|top| top.map(|top| top.penalised))
            .reduce(|a, b| match (a, b) {
                (Ok(a), Ok(b)) => Ok(a.max(b)),
                (a, b) => a.or(b),
            })
            .unwrap_or(Err(Numerical::RankLost { column: j }))
    }

    /// Profile-likelihood interval of coefficient `j`: where l* is within half a chi-squared quantile of its top.
    ///
    /// # Errors
    /// [`Numerical`] where a fit on the way fails, for the reasons that [`Logistic::fit`] lists.
    pub fn interval(&self, j: usize, level: Level) -> Result<Interval, Numerical> {
        let error = self.covariance[(j, j)].sqrt();
        let bound = |side: f64| -> Result<f64, Numerical> {
            let fall =
                |away: f64| Ok(self.penalised - self.profile(j, self.beta[j] + side * away)?);
            let limits = (error, FARTHEST * error, BOUND_WITHIN * error);
            Ok(self.beta[j] + side * profile_bound(fall, level, limits)?)
        };
        Ok(Interval::holding(self.beta[j], bound(-1.0)?, bound(1.0)?))
    }

    /// This fit with its covariates recentred at `at`, so that the intercept is the log-odds there.
    fn recentred_at(&self, at: &[f64]) -> Result<Logistic, Numerical> {
        if at.len() + 1 != self.beta.len() || !at.iter().all(|value| value.is_finite()) {
            return Err(Numerical::Shape {
                what: "a chance is asked for at one finite value a covariate",
            });
        }
        let mut recentred = self.clone();
        // A linear change of coordinates: the maximum of l* is unchanged, and the covariance is transformed with it.
        let mut moves = DMatrix::identity(self.beta.len(), self.beta.len());
        for (k, value) in at.iter().enumerate() {
            recentred.outcomes.x.row_mut(k + 1).add_scalar_mut(-value);
            moves[(0, k + 1)] = *value;
        }
        recentred.beta = &moves * &self.beta;
        recentred.covariance = &moves * &self.covariance * moves.transpose();
        Ok(recentred)
    }

    /// Chance of an event at covariates `at`, with its profile-likelihood interval.
    ///
    /// # Errors
    /// [`Numerical::Shape`] for another number of covariates; otherwise the reasons that [`Logistic::fit`] lists.
    pub fn chance_at(&self, at: &[f64], level: Level) -> Result<Interval, Numerical> {
        let log_odds = self.recentred_at(at)?.interval(0, level)?;
        Ok(Interval {
            estimate: chance(log_odds.estimate),
            low: chance(log_odds.low),
            high: chance(log_odds.high),
        })
    }

    /// ED50: the one covariate's value at which the chance is even, with its profile-likelihood interval; ±∞ for an end
    /// on whose side the farthest value that is looked at cannot be ruled out: the slope may then be 0, and what lies beyond
    /// an end be possible again.
    ///
    /// * `seen` — least and largest value of the covariate
    /// * `beyond` — how far beyond these and the ED50 ends are looked for, in the covariate's unit
    /// * `within` — how far off an end may be, likewise
    ///
    /// # Errors
    /// [`Numerical`] where a fit on the way fails, for the reasons that [`Logistic::fit`] lists.
    pub fn ed50(
        &self,
        level: Level,
        seen: (f64, f64),
        beyond: f64,
        within: f64,
    ) -> Result<Interval, Numerical> {
        let even = -self.beta[0] / self.beta[1];
        let reach = (even.min(seen.0) - beyond, even.max(seen.1) + beyond);
        let there = self.recentred_at(&[even])?;
        let error = there.covariance[(0, 0)].sqrt() / self.beta[1].abs();
        let bound = |side: f64, farthest: f64| -> Result<f64, Numerical> {
            let fall = |away: f64| {
                let there = self.recentred_at(&[even + side * away])?;
                Ok(self.penalised - there.profile(0, 0.0)?)
            };
            if fall(farthest).is_ok_and(|fallen| fallen <= drop(level)) {
                return Ok(side * f64::INFINITY);
            }
            Ok(even + side * profile_bound(fall, level, (error, farthest, within))?)
        };
        let (low, high) = (bound(-1.0, even - reach.0)?, bound(1.0, reach.1 - even)?);
        Ok(Interval::holding(even, low, high))
    }
}

/// How far from the estimate l* has fallen as far as it may; +∞ where it does not up to the farthest.
///
/// * `fall` — of l* at a distance
/// * distances: the standard error, the farthest that is looked at, the tolerance
fn profile_bound(
    fall: impl Fn(f64) -> Result<f64, Numerical>,
    level: Level,
    (error, farthest, within): (f64, f64, f64),
) -> Result<f64, Numerical> {
    let drop = drop(level);
    // Near a parabola's: from there outwards, or back.
    let start = (error * (2.0 * drop).sqrt()).min(farthest);
    // Where the information is singular, l* has fallen beyond all bounds.
    let excess = |away: f64| match fall(away) {
        Ok(fallen) => fallen - drop,
        Err(Numerical::RankLost { .. }) => f64::MAX,
        Err(_) => f64::NAN,
    };
    optimise::root_outward(excess, start, 0.25 * error, (0.0, farthest), within)
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

    /// With the log-odds just beyond the row at 2 held, l* has more tops than one, and the two starts that are highest lead to
    /// a lower one: its fall jumped where the lower end lies, and no end was found.
    #[test]
    fn a_profile_with_two_tops_has_an_end() {
        let leads = column(&[1.75, 0.5, 1.75, 2.0, 1.25]);
        let fitted = Logistic::fit(&leads, &[false, true, true, false, true]).unwrap();
        let chance = fitted
            .chance_at(&[2.015_770_706_822_446], Level::default())
            .unwrap();
        assert!(0.0 < chance.low && chance.low < chance.estimate && chance.estimate < chance.high);
    }

    proptest! {
        /// No other slope makes l* higher than its profile, looked at on a grid.
        #[test]
        fn a_profile_is_the_highest(
            rows in prop::collection::vec((0u8..8, any::<bool>()), 2..16), at in 0.0..3.0f64, away in -3.0..3.0f64,
        ) {
            let leads: Vec<f64> = rows.iter().map(|(lead, _)| 0.5 + 0.25 * f64::from(*lead)).collect();
            let events: Vec<bool> = rows.iter().map(|(_, event)| *event).collect();
            if let Ok(fitted) = Logistic::fit(&column(&leads), &events) {
                let there = fitted.recentred_at(&[at]).unwrap();
                let log_odds = there.beta[0] + away * there.covariance[(0, 0)].sqrt();
                let highest = there.profile(0, log_odds).unwrap();
                for slope in (-160..=160).map(|k| 0.25 * f64::from(k)) {
                    if let Ok(here) = there.outcomes.at(DVector::from_row_slice(&[log_odds, slope])) {
                        prop_assert!(here.penalised <= highest + 1e-6, "{} at {slope}, {highest}", here.penalised);
                    }
                }
            }
        }

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
                    let slope = fitted.interval(1, Level::default()).unwrap();
                    prop_assert!(slope.low < slope.estimate && slope.estimate < slope.high);
                    let there = fitted.chance_at(&[at], Level::default()).unwrap();
                    prop_assert!(there.low < there.estimate && there.estimate < there.high);
                }
            }
        }
    }
}
