//! Penalised logistic regression. Sources: named in each case (Montgomery and Runger 2003; Heinze and Schemper 2002;
//! constructed); estimates from R package brglm2 0.9 and independently mpmath 1.4.1, profile limits from mpmath. Relative
//! 1e-6 for estimates, 1e-6 for profile limits (they carry 8 digits).

use crate::read::{Check, cases, data_of, value, values};
use haltmark::stats::interval::Level;
use haltmark::stats::logistic::Logistic;
use nalgebra::DMatrix;

const TOLERANCE: f64 = 1e-6;

#[test]
fn estimates_errors_and_profiles() {
    let mut check = Check::new("Penalised logistic regression");
    for case in cases("logistic.json") {
        let name = case["name"].as_str().expect("name");
        let expected = &case["expected"];
        let table = data_of(&case);
        // The outcome is the last column.
        let columns: Vec<Vec<f64>> = table.names.iter().map(|n| table.numbers(n)).collect();
        let (outcome, covariates) = columns.split_last().expect("an outcome");
        let events: Vec<bool> = outcome.iter().map(|y| *y == 1.0).collect();
        let x = DMatrix::from_fn(events.len(), covariates.len(), |i, j| covariates[j][i]);
        let fitted = Logistic::fit(&x, &events).expect(name);

        for (j, wanted) in values(&expected["coef"]).into_iter().enumerate() {
            let label = format!("{name} coefficient {j}");
            if wanted == 0.0 {
                check.absolute(label, fitted.beta()[j], wanted, 1e-8);
            } else {
                check.relative(label, fitted.beta()[j], wanted, TOLERANCE);
            }
            let error = fitted.covariance()[(j, j)].sqrt();
            let wanted = value(&expected["se"][j]);
            check.relative(
                format!("{name} standard error {j}"),
                error,
                wanted,
                TOLERANCE,
            );
            for (k, wanted) in values(&expected["covariance"][j]).into_iter().enumerate() {
                let label = format!("{name} covariance {j} {k}");
                check.relative(label, fitted.covariance()[(j, k)], wanted, TOLERANCE);
            }
            let interval = fitted.interval(j, Level::default()).expect(name);
            let ends = values(&expected["ci95_profile_penalised"][j]);
            check.relative(
                format!("{name} profile low {j}"),
                interval.low,
                ends[0],
                TOLERANCE,
            );
            check.relative(
                format!("{name} profile high {j}"),
                interval.high,
                ends[1],
                TOLERANCE,
            );
        }
        let top = value(&expected["penalised_log_likelihood"]);
        let got = fitted.profile(0, fitted.beta()[0]).expect(name);
        check.relative(format!("{name} top"), got, top, TOLERANCE);

        if let Some(test) = expected.get("penalised_lr_test_slope") {
            let without = fitted.profile(1, 0.0).expect(name);
            let statistic = 2.0 * (got - without);
            let wanted = value(&test["chi_squared"]);
            let label = format!("{name} test of the slope");
            check.absolute(label, statistic, wanted, 1e-9 + TOLERANCE * wanted);
        }
        for row in expected["x_at_probability"]
            .as_array()
            .into_iter()
            .flatten()
        {
            let p = value(&row["probability"]);
            let x = ((p / (1.0 - p)).ln() - fitted.beta()[0]) / fitted.beta()[1];
            check.relative(format!("{name} x at {p}"), x, value(&row["x"]), TOLERANCE);
        }
        if let Some(at) = expected.get("probability_at") {
            let x = value(&at["x"]);
            let got = fitted.chance_at(&[x], Level::default()).expect(name);
            let wanted = value(&at["probability"]);
            check.relative(
                format!("{name} chance at {x}"),
                got.estimate,
                wanted,
                TOLERANCE,
            );
        }
    }
    check.finish();
}

/// The interval of a chance where the covariate is 0 is the published profile interval of the intercept.
#[test]
fn the_chance_at_zero_is_the_intercept() {
    let case = crate::read::case("logistic.json", "Separated, 10 runs");
    let table = data_of(&case);
    let (x, y) = (table.numbers("x"), table.numbers("y"));
    let events: Vec<bool> = y.iter().map(|y| *y == 1.0).collect();
    // Counted from 1.5 on, so that asking at −1.5 has to undo it.
    let shifted = DMatrix::from_fn(x.len(), 1, |i, _| x[i] - 1.5);
    let fitted = Logistic::fit(&shifted, &events).expect("a fit");
    let got = fitted
        .chance_at(&[-1.5], Level::default())
        .expect("a chance");
    let ends = values(&case["expected"]["ci95_profile_penalised"][0]);
    let log_odds = |p: f64| (p / (1.0 - p)).ln();
    let mut check = Check::new("Chance at 0");
    check.relative("low", log_odds(got.low), ends[0], TOLERANCE);
    check.relative("high", log_odds(got.high), ends[1], TOLERANCE);
    check.finish();
}
