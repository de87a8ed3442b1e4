//! Linear least squares. Source: NIST Statistical Reference Datasets, linear regression, certified values. The program fits by
//! its mixed model with one group and tests by sums of squares, both from cross-products about the mean, and refuses Filip;
//! the oracle works by QR. Digits asked for: at each test.

use crate::least_squares::fit;
use crate::read::{Check, Table, cases, data_of, value, values};
use haltmark::stats::Numerical;
use haltmark::stats::mixed::{Groups, Rows};
use haltmark::stats::nested::Grouped;
use nalgebra::{DMatrix, DVector};
use serde_json::Value;

/// The design a case describes: powers of x, or columns x1, x2, …; with or without an intercept.
fn design(case: &Value) -> (DMatrix<f64>, DVector<f64>) {
    let table = data_of(case);
    let model = case["model"].as_str().expect("model");
    let y = DVector::from_vec(table.numbers("y"));
    let coefficients = values(&case["expected"]["estimates"]).len();
    let intercept = usize::from(model.contains("b0"));
    let columns = coefficients - intercept;
    let covariates = covariates(&table);
    let x = DMatrix::from_fn(y.len(), coefficients, |i, j| {
        let k = j + 1 - intercept;
        match (j < intercept, covariates.len() == columns) {
            (true, _) => 1.0,
            (false, true) => covariates[k - 1][i],
            (false, false) => covariates[0][i].powi(k as i32),
        }
    });
    (x, y)
}

fn covariates(table: &Table) -> Vec<Vec<f64>> {
    let names = table.names.iter().filter(|name| *name != "y");
    names.map(|name| table.numbers(name)).collect()
}

/// Estimates, standard errors, residual sd and residual sum of squares, each to so many digits.
fn check_fit(
    check: &mut Check,
    case: &Value,
    (beta, errors): (&[f64], &[f64]),
    (rss, df): (f64, f64),
    digits: [i32; 3],
) {
    let name = case["name"].as_str().expect("name");
    let wanted = &case["expected"];
    let [of_beta, of_errors, of_rss] = digits.map(|d| 10f64.powi(-d));
    for (j, estimate) in values(&wanted["estimates_text"]).into_iter().enumerate() {
        check.relative(format!("{name} b{j}"), beta[j], estimate, of_beta);
    }
    for (j, error) in values(&wanted["standard_errors_text"])
        .into_iter()
        .enumerate()
    {
        let label = format!("{name} standard error of b{j}");
        check.relative(label, errors[j], error, of_errors);
    }
    let sd = (rss / df).sqrt();
    check.relative(
        format!("{name} residual sd"),
        sd,
        value(&wanted["residual_sd"]),
        of_rss,
    );
    check.relative(
        format!("{name} rest"),
        rss,
        value(&wanted["ss_residual"]),
        of_rss,
    );
    check.absolute(format!("{name} df"), df, value(&wanted["df_residual"]), 0.0);
}

/// Digits of estimates, standard errors and residual sum of squares.
#[test]
fn certified_fits() {
    let mut check = Check::new("NIST linear regression");
    for case in cases("linear_regression.json") {
        let digits = match case["name"].as_str().expect("name") {
            "Longley" => [10, 8, 11],
            "Wampler4" => [8, 10, 12],
            "Filip" => continue,
            _ => [13, 13, 13],
        };
        let (x, y) = design(&case);
        let group = Groups::from(vec![0; y.len()]);
        let design = Rows::new(x, y, group).design(&[], 0.0).expect("full rank");
        let fit = design.at(0.0).expect("full rank");
        let variances = fit.covariance().diagonal() * (fit.rss / fit.nu);
        let errors = variances.map(f64::sqrt);
        let estimates = (fit.beta.as_slice(), errors.as_slice());
        check_fit(&mut check, &case, estimates, (fit.rss, fit.nu), digits);
    }
    check.finish();
}

/// R² and F compare with the mean alone, or with nothing where the model has no intercept.
#[test]
fn certified_tests() {
    let mut check = Check::new("NIST linear regression, F");
    for case in cases("linear_regression.json") {
        let name = case["name"].as_str().expect("name");
        let tolerance = match name {
            "Filip" => continue,
            // What is left is 5e-9 of the whole: so many digits go in a sum of squares that the program takes only of residuals.
            "Pontius" => 1e-7,
            _ => 1e-10,
        };
        let wanted = &case["expected"];
        let (x, y) = design(&case);
        let columns: Vec<&[f64]> = (0..x.ncols())
            .map(|j| &x.as_slice()[j * y.len()..][..y.len()])
            .collect();
        let mean = usize::from(case["r_squared_is"] == "about the mean");
        let all: Vec<usize> = (0..columns.len()).collect();
        let sums = Grouped::new(&columns, y.as_slice(), &Groups::from(vec![0; y.len()]));
        let test = sums
            .more_at(0.0, &all[..mean], &all[mean..])
            .expect(name)
            .test;
        check.relative(format!("{name} F"), test.f, value(&wanted["f"]), tolerance);
        let df = (test.d1 as f64, test.d2 as f64);
        let wanted_df = (
            value(&wanted["df_regression"]),
            value(&wanted["df_residual"]),
        );
        check.holds(format!("{name} degrees of freedom {df:?}"), df == wanted_df);
        // 1 − R² = 1/(1 + F·d1/d2).
        let r_squared = 1.0 - 1.0 / (1.0 + test.f * df.0 / df.1);
        check.relative(
            format!("{name} R²"),
            r_squared,
            value(&wanted["r_squared"]),
            tolerance,
        );
    }
    check.finish();
}

/// What Filip is there to show: in double precision its normal equations cannot be solved, and that must be said.
#[test]
fn normal_equations_of_filip_are_refused() {
    let (x, y) = design(&crate::read::case("linear_regression.json", "Filip"));
    let group = Groups::from(vec![0; y.len()]);
    let refused = Rows::new(x, y, group).design(&[], 0.0).err();
    assert!(matches!(refused, Some(Numerical::RankLost { .. })));
}

/// The oracle, to 9 digits, and 7 on the two sets made to be hard.
#[test]
fn certified_fits_by_qr() {
    let mut check = Check::new("NIST linear regression by QR");
    for case in cases("linear_regression.json") {
        let name = case["name"].as_str().expect("name");
        let digits = if ["Filip", "Wampler4"].contains(&name) {
            7
        } else {
            9
        };
        let (x, y) = design(&case);
        let fit = fit(&x, &y);
        let errors: Vec<f64> = (0..x.ncols()).map(|j| fit.standard_error(j)).collect();
        let estimates = (fit.beta.as_slice(), errors.as_slice());
        check_fit(
            &mut check,
            &case,
            estimates,
            (fit.rest.sum, fit.rest.df as f64),
            [digits; 3],
        );
    }
    check.finish();
}
