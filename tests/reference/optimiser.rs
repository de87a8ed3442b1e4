//! The simplex search in several variables. Sources: Moré, Garbow and Hillstrom (1981), test functions; NIST Statistical
//! Reference Datasets, nonlinear regression, certified values.

use crate::read::{Check, cases, data_of, value, values};
use crate::simplex::minimum_nd;

fn test_function(name: &str, x: &[f64]) -> f64 {
    let (a, b) = (x[0], x[1]);
    match name {
        "Rosenbrock" => 100.0 * (b - a * a).powi(2) + (1.0 - a).powi(2),
        "Beale" => {
            (1.5 - a * (1.0 - b)).powi(2)
                + (2.25 - a * (1.0 - b * b)).powi(2)
                + (2.625 - a * (1.0 - b.powi(3))).powi(2)
        }
        "Powell badly scaled" => {
            (1e4 * a * b - 1.0).powi(2) + ((-a).exp() + (-b).exp() - 1.0001).powi(2)
        }
        "Brown badly scaled" => (a - 1e6).powi(2) + (b - 2e-6).powi(2) + (a * b - 2.0).powi(2),
        other => panic!("no function {other}"),
    }
}

#[test]
fn published_test_functions() {
    let mut check = Check::new("Test functions");
    for case in cases("optimiser.json") {
        let name = case["name"].as_str().expect("name");
        let f = |x: &[f64]| test_function(name, x);
        let start = values(&case["start"]);
        let at_start = value(&case["start_value"]);
        check.relative(format!("{name} at its start"), f(&start), at_start, 1e-11);
        let found = minimum_nd(f, &start, &[0.5, 0.5], 1e-20, 20_000).expect(name);
        let badly_scaled = name.ends_with("badly scaled");
        let allowed = if badly_scaled { 1e-6 } else { 1e-8 };
        check.absolute(format!("{name} value"), found.value, 0.0, allowed);
        for (x, wanted) in found.x.iter().zip(values(&case["expected"]["minimiser"])) {
            check.relative(format!("{name} place"), *x, wanted, 1e-4);
        }
    }
    check.finish();
}

fn model(name: &str, b: &[f64], x: f64) -> f64 {
    match name {
        "Misra1a" | "BoxBOD" => b[0] * (1.0 - (-b[1] * x).exp()),
        "Chwirut2" => (-b[0] * x).exp() / (b[1] + b[2] * x),
        "DanWood" => b[0] * x.powf(b[1]),
        "Thurber" => {
            (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0 + x * (b[4] + x * (b[5] + x * b[6])))
        }
        other => panic!("no model {other}"),
    }
}

/// From the nearer of NIST's two starts. Comparing values can tell a minimum's place to about the root of a float's
/// rounding only, so 6 digits are asked for, and 10 of the sum of squares.
#[test]
fn certified_nonlinear_fits() {
    let mut check = Check::new("NIST nonlinear regression");
    for case in cases("nonlinear.json") {
        let name = case["name"].as_str().expect("name");
        let table = data_of(&case);
        let (x, y) = (table.numbers("x"), table.numbers("y"));
        let start = values(&case["start_2"]);
        // In units of the start, so that every variable has the same size.
        let squares = |shares: &[f64]| {
            let b: Vec<f64> = shares.iter().zip(&start).map(|(s, b)| s * b).collect();
            let rows = x.iter().zip(&y);
            rows.map(|(x, y)| (y - model(name, &b, *x)).powi(2)).sum()
        };
        let ones = vec![1.0; start.len()];
        let steps = vec![0.05; start.len()];
        let wanted = value(&case["expected"]["rss"]);
        let found = minimum_nd(squares, &ones, &steps, 1e-13 * wanted, 50_000).expect(name);
        check.relative(format!("{name} rest"), found.value, wanted, 1e-10);
        for (j, estimate) in values(&case["expected"]["estimates"])
            .into_iter()
            .enumerate()
        {
            let label = format!("{name} b{}", j + 1);
            check.relative(label, found.x[j] * start[j], estimate, 1e-6);
        }
    }
    check.finish();
}
