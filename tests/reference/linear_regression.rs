//! Linear least squares. Source: NIST Statistical Reference Datasets, linear regression, certified values. Asked for:
//! 9 digits of estimates and standard errors, 7 on the two sets made to be hard (`model.md` §10).

use crate::read::{Check, Table, cases, data_of, value, values};
use haltmark::stats::least_squares::{f_test, fit};
use haltmark::stats::linalg::Factor;
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

fn digits(name: &str) -> i32 {
    if ["Filip", "Wampler4"].contains(&name) {
        7
    } else {
        9
    }
}

#[test]
fn certified_fits() {
    let mut check = Check::new("NIST linear regression");
    for case in cases("linear_regression.json") {
        let name = case["name"].as_str().expect("name");
        let tolerance = 10f64.powi(-digits(name));
        let wanted = &case["expected"];
        let (x, y) = design(&case);
        let fitted = fit(&x, &y).expect(name);
        for (j, estimate) in values(&wanted["estimates_text"]).into_iter().enumerate() {
            check.relative(format!("{name} b{j}"), fitted.beta[j], estimate, tolerance);
        }
        for (j, error) in values(&wanted["standard_errors_text"])
            .into_iter()
            .enumerate()
        {
            let label = format!("{name} standard error of b{j}");
            check.relative(label, fitted.standard_error(j), error, tolerance);
        }
        let sd = value(&wanted["residual_sd"]);
        check.relative(
            format!("{name} residual sd"),
            fitted.residual_sd(),
            sd,
            tolerance,
        );
        let ss = value(&wanted["ss_residual"]);
        check.relative(format!("{name} rest"), fitted.rest.sum, ss, tolerance);

        // R² and F compare with the mean alone, or with nothing where the model has no intercept.
        let about_mean = case["r_squared_is"] == "about the mean";
        let null = DMatrix::from_element(y.len(), usize::from(about_mean), 1.0);
        let null = fit(&null, &y).expect(name);
        let test = f_test(null.rest, fitted.rest).expect(name);
        check.relative(format!("{name} F"), test.f, value(&wanted["f"]), tolerance);
        let df = (test.d1 as f64, test.d2 as f64);
        let wanted_df = (
            value(&wanted["df_regression"]),
            value(&wanted["df_residual"]),
        );
        check.holds(format!("{name} degrees of freedom {df:?}"), df == wanted_df);
        let r_squared = 1.0 - fitted.rest.sum / null.rest.sum;
        check.relative(
            format!("{name} R²"),
            r_squared,
            value(&wanted["r_squared"]),
            1e-9,
        );
    }
    check.finish();
}

/// What Filip is there to show: in double precision its normal equations cannot be solved, and that must be said.
#[test]
fn normal_equations_of_filip_are_refused() {
    let case = crate::read::case("linear_regression.json", "Filip");
    let (x, _) = design(&case);
    assert!(Factor::new(&x.tr_mul(&x)).is_err());
}
