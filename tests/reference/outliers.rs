//! Deletion residuals, outlier tests, lack of fit. Sources: named in each case (Brownlee 1965; Ezekiel 1930; Rosner 1983; NIST
//! load cell and e-Handbook 4.6.1.5; Crampton 1947); values from mpmath 1.4.1 and R 4.2.2.

use crate::read::{Check, case, data_of, value, values};
use haltmark::stats::distributions::{t_quantile, t_sf};
use haltmark::stats::least_squares::{Fit, fit, lack_of_fit};
use nalgebra::{DMatrix, DVector};
use serde_json::Value;

const GROUP: &str = "outliers_lack_of_fit.json";

/// A fit of the last column on an intercept and the others.
fn plane(case: &Value, response: &str) -> Fit {
    let table = data_of(case);
    let covariates: Vec<Vec<f64>> = table
        .names
        .iter()
        .filter(|name| *name != response)
        .map(|name| table.numbers(name))
        .collect();
    let y = DVector::from_vec(table.numbers(response));
    let x = DMatrix::from_fn(y.len(), covariates.len() + 1, |i, j| {
        if j == 0 { 1.0 } else { covariates[j - 1][i] }
    });
    fit(&x, &y).expect("a fit")
}

fn check_deletion(name: &str, response: &str) -> (Check, Fit) {
    let case = case(GROUP, name);
    let fitted = plane(&case, response);
    let expected = &case["expected"];
    let mut check = Check::new(name);
    let deletion = fitted.deletion_residuals();
    for (i, wanted) in values(&expected["studentised_deleted"])
        .into_iter()
        .enumerate()
    {
        let got = deletion[i].expect("a residual");
        check.relative(format!("{name} row {}", i + 1), got, wanted, 1e-8);
    }
    let largest = &expected["largest"];
    let (row, t) = (0..deletion.len())
        .map(|i| (i, deletion[i].expect("a residual")))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        .expect("rows");
    check.absolute(
        "largest, row",
        (row + 1) as f64,
        value(&largest["row"]),
        0.0,
    );
    let df = (fitted.rest.df - 1) as f64;
    check.absolute("largest, df", df, value(&largest["df"]), 0.0);
    let p = 2.0 * t_sf(t.abs(), df);
    check.relative("largest, p", p, value(&largest["p_two_sided"]), 1e-6);
    let bonferroni = p * deletion.len() as f64;
    check.relative(
        "largest, all",
        bonferroni,
        value(&largest["p_bonferroni"]),
        1e-6,
    );
    (check, fitted)
}

#[test]
fn stack_loss() {
    let (mut check, fitted) = check_deletion("Stack loss", "stack_loss");
    let leverage = &case(GROUP, "Stack loss")["expected"]["leverage"];
    for (i, wanted) in values(leverage).into_iter().enumerate() {
        let label = format!("leverage, row {}", i + 1);
        check.relative(label, fitted.leverage[i], wanted, 1e-8);
    }
    check.finish();
}

#[test]
fn cars() {
    check_deletion("Cars", "y").0.finish();
}

/// Rosner's procedure from the fit of a mean: the largest residual over the residual sd, taken out one at a time.
#[test]
fn generalised_extreme_deviates() {
    let case = case(GROUP, "Generalised ESD");
    let expected = &case["expected"];
    let alpha = value(&expected["alpha"]);
    let mut left = data_of(&case).numbers("y");
    let mut check = Check::new("Generalised ESD");
    let mut outliers = 0;
    for i in 0..10 {
        let n = left.len();
        let y = DVector::from_column_slice(&left);
        let mean = fit(&DMatrix::from_element(n, 1, 1.0), &y).expect("a mean");
        let row = mean.residuals.iamax();
        let ratio = mean.residuals[row].abs() / mean.residual_sd();
        check.relative(format!("R{}", i + 1), ratio, value(&expected["r"][i]), 1e-7);
        let count = n as f64;
        let t = t_quantile(1.0 - alpha / (2.0 * count), count - 2.0);
        let critical = (count - 1.0) * t / ((count - 2.0 + t * t) * count).sqrt();
        let wanted = value(&expected["critical"][i]);
        check.relative(format!("critical {}", i + 1), critical, wanted, 1e-7);
        if ratio > critical {
            outliers = i + 1;
        }
        let removed = value(&expected["removed"][i]);
        check.relative(
            format!("removed {}", i + 1),
            left.remove(row),
            removed,
            1e-12,
        );
    }
    check.absolute(
        "outliers",
        outliers as f64,
        value(&expected["outliers"]),
        0.0,
    );
    check.finish();
}

fn check_lack_of_fit(case: &Value, label: &str, wanted: &Value, tolerance: f64, p_tolerance: f64) {
    let table = data_of(case);
    let (x, y) = (table.numbers("x"), DVector::from_vec(table.numbers("y")));
    let columns = 1 + value(&wanted["degree"]) as usize;
    let design = DMatrix::from_fn(x.len(), columns, |i, j| x[i].powi(j as i32));
    let fitted = fit(&design, &y).expect("a fit");
    let test = lack_of_fit(&design, &y, &fitted).expect("repeats");
    let mut check = Check::new(label);
    let (d1, d2) = (test.d1 as f64, test.d2 as f64);
    check.absolute(
        "df of lack of fit",
        d1,
        value(&wanted["df_lack_of_fit"]),
        0.0,
    );
    check.absolute("df of pure error", d2, value(&wanted["df_pure_error"]), 0.0);
    check.relative(
        "residual sd",
        fitted.residual_sd(),
        value(&wanted["residual_sd"]),
        1e-9,
    );
    check.relative("F", test.f, value(&wanted["f"]), tolerance);
    check.relative("p", test.p, value(&wanted["p"]), p_tolerance);
    for (j, coefficient) in values(&wanted["coefficients"]).into_iter().enumerate() {
        check.relative(format!("b{j}"), fitted.beta[j], coefficient, 1e-9);
    }
    check.finish();
}

#[test]
fn lack_of_fit_of_the_load_cell() {
    let case = case(GROUP, "Pontius lack of fit");
    for degree in ["straight", "quadratic"] {
        check_lack_of_fit(&case, degree, &case["expected"][degree], 1e-6, 1e-4);
    }
}

#[test]
fn lack_of_fit_of_tooth_growth() {
    let case = case(GROUP, "Tooth growth lack of fit");
    check_lack_of_fit(&case, "tooth growth", &case["expected"], 1e-7, 1e-6);
}
