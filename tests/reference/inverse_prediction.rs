//! From a line back to x. Sources: named in each case (Greenwell and Schubert Kabban 2014; Graybill and Iyer 1994; Ezekiel
//! 1930; ISO/TS 28037:2010; NIST load cell); limits in closed form from mpmath 1.4.1, checked with R 4.2.2. Relative 1e-8.

use crate::inverse::{Line, Region, inverse};
use crate::read::{Check, case, cases, data_of, value, values};
use haltmark::stats::distributions::t_quantile;
use haltmark::stats::least_squares::{Fit, fit};
use haltmark::stats::optimise::root;
use nalgebra::{DMatrix, DVector};
use serde_json::Value;

const TOLERANCE: f64 = 1e-8;

fn polynomial(x: &[f64], y: &[f64], degree: usize) -> Fit {
    let design = DMatrix::from_fn(x.len(), degree + 1, |i, j| x[i].powi(j as i32));
    fit(&design, &DVector::from_column_slice(y)).expect("a fit")
}

/// The line of a fit, its variances times `factor`.
fn line(fitted: &Fit, factor: f64) -> Line {
    Line {
        intercept: fitted.beta[0],
        slope: fitted.beta[1],
        intercept_variance: fitted.covariance[(0, 0)] * factor,
        covariance: fitted.covariance[(0, 1)] * factor,
        slope_variance: fitted.covariance[(1, 1)] * factor,
    }
}

fn check_fit(check: &mut Check, name: &str, fitted: &Fit, wanted: &Value) {
    let pairs = [
        ("intercept", fitted.beta[0]),
        ("slope", fitted.beta[1]),
        ("se_intercept", fitted.standard_error(0)),
        ("se_slope", fitted.standard_error(1)),
        ("cov", fitted.covariance[(0, 1)]),
        ("residual_sd", fitted.residual_sd()),
        ("df", fitted.rest.df as f64),
    ];
    for (key, got) in pairs {
        check.relative(format!("{name} {key}"), got, value(&wanted[key]), TOLERANCE);
    }
}

/// One expected set: its point, its kind, its ends.
fn check_region(check: &mut Check, name: &str, got: (Option<f64>, Region), wanted: &Value) {
    let estimate = got.0.unwrap_or(f64::NAN);
    check.relative(
        format!("{name} x0"),
        estimate,
        value(&wanted["x0"]),
        TOLERANCE,
    );
    let kind = wanted["kind"].as_str().expect("kind");
    match got.1 {
        Region::Interval { low, high } if kind == "interval" => {
            check.relative(format!("{name} low"), low, value(&wanted["low"]), TOLERANCE);
            check.relative(
                format!("{name} high"),
                high,
                value(&wanted["high"]),
                TOLERANCE,
            );
        }
        Region::HalfLines { below, above } if kind == "two half-lines" => {
            check.relative(
                format!("{name} below"),
                below,
                value(&wanted["below"]),
                TOLERANCE,
            );
            check.relative(
                format!("{name} above"),
                above,
                value(&wanted["above"]),
                TOLERANCE,
            );
        }
        Region::WholeLine if kind == "whole line" => check.holds(name, true),
        other => check.holds(format!("{name}: {other:?} for {wanted}"), false),
    }
}

/// The multiplier for a two-sided level, from the case's own degrees of freedom.
fn multiplier(wanted: &Value) -> f64 {
    t_quantile(0.5 + 0.5 * value(&wanted["level"]), value(&wanted["df"]))
}

#[test]
fn straight_lines() {
    let mut check = Check::new("Inverse prediction");
    for case in cases("inverse_prediction.json") {
        let name = case["name"].as_str().expect("name");
        let expected = case["expected"].as_object().expect("expected");
        if !expected.contains_key("fit") {
            continue; // ISO/TS 28037 and the quadratic have tests of their own.
        }
        let table = data_of(&case);
        let fitted = polynomial(&table.numbers("x"), &table.numbers("y"), 1);
        let variance = fitted.residual_sd().powi(2);
        check_fit(&mut check, name, &fitted, &expected["fit"]);
        for (key, wanted) in expected.iter().filter(|(_, w)| w.get("kind").is_some()) {
            let k = multiplier(wanted);
            check.relative(format!("{name} {key} t"), k, value(&wanted["t"]), 1e-10);
            let y0 = value(&wanted["y0"]);
            let got = match key.as_str() {
                "mean_line" => inverse(&line(&fitted, 1.0), y0, 0.0, k),
                "three_readings_317_309_316" => {
                    // The scatter of the readings is pooled with that about the line.
                    let readings = DVector::from_row_slice(&[3.17, 3.09, 3.16]);
                    let own = fit(&DMatrix::from_element(3, 1, 1.0), &readings).expect("a mean");
                    let df = (fitted.rest.df + own.rest.df) as f64;
                    let pooled = (fitted.rest.sum + own.rest.sum) / df;
                    inverse(&line(&fitted, pooled / variance), y0, pooled / 3.0, k)
                }
                // One new reading.
                _ => inverse(&line(&fitted, 1.0), y0, variance, k),
            };
            check_region(&mut check, &format!("{name} {key}"), got, wanted);
        }
    }
    check.finish();
}

/// Printed figures of the source papers, to their own digits.
#[test]
fn printed_figures() {
    let mut check = Check::new("Inverse prediction, printed");
    for (name, key, digit) in [("Arsenic", "one", 5e-5), ("Reaction chamber", "mean", 5e-3)] {
        let case = case("inverse_prediction.json", name);
        let table = data_of(&case);
        let fitted = polynomial(&table.numbers("x"), &table.numbers("y"), 1);
        let printed = &case["expected"]["published"];
        let k = t_quantile(0.5 + 0.5 * value(&printed["level"]), fitted.rest.df as f64);
        let extra = if key == "one" {
            fitted.residual_sd().powi(2)
        } else {
            0.0
        };
        let (_, region) = inverse(&line(&fitted, 1.0), value(&printed["y0"]), extra, k);
        let Region::Interval { low, high } = region else {
            panic!("{name}: {region:?}")
        };
        check.absolute(format!("{name} low"), low, value(&printed["low"]), digit);
        check.absolute(format!("{name} high"), high, value(&printed["high"]), digit);
    }
    check.finish();
}

#[test]
fn prediction_from_a_line() {
    let case = case("inverse_prediction.json", "Cars");
    let table = data_of(&case);
    let fitted = polynomial(&table.numbers("x"), &table.numbers("y"), 1);
    let wanted = &case["expected"]["predict"];
    let at = DVector::from_row_slice(&[1.0, value(&wanted["x"])]);
    let mean = at.dot(&fitted.beta);
    let variance = at.dot(&(&fitted.covariance * &at));
    let mut check = Check::new("Cars, prediction");
    check.relative("mean", mean, value(&wanted["mean"]), TOLERANCE);
    for (key, extra) in [("ci", 0.0), ("pi", fitted.residual_sd().powi(2))] {
        let half = t_quantile(0.975, fitted.rest.df as f64) * (variance + extra).sqrt();
        let ends = values(&wanted[key]);
        check.relative(format!("{key} low"), mean - half, ends[0], TOLERANCE);
        check.relative(format!("{key} high"), mean + half, ends[1], TOLERANCE);
    }
    check.finish();
}

/// Known errors of 0.5: the fit of y/0.5 on 1/0.5 and x/0.5 has errors of 1. The standard uncertainty of the inverse is
/// the half-width for a small multiplier, over the multiplier.
#[test]
fn weighted_line_of_iso_28037() {
    let case = case("inverse_prediction.json", "ISO/TS 28037 example 1");
    let table = data_of(&case);
    let fitted = polynomial(&table.numbers("x"), &table.numbers("y"), 1);
    let wanted = &case["expected"]["computed"];
    let known = 0.25 / fitted.residual_sd().powi(2);
    let line = line(&fitted, known);
    let mut check = Check::new("ISO/TS 28037 example 1");
    let pairs = [
        ("intercept", line.intercept),
        ("slope", line.slope),
        ("u_intercept", line.intercept_variance.sqrt()),
        ("u_slope", line.slope_variance.sqrt()),
        ("cov", line.covariance),
        ("chi_squared", fitted.rest.sum / 0.25),
    ];
    for (key, got) in pairs {
        check.relative(key, got, value(&wanted[key]), TOLERANCE);
    }
    let k = 1e-3;
    let back = &wanted["inverse"];
    let (estimate, region) = inverse(&line, value(&back["y0"]), 0.25, k);
    check.relative(
        "x0",
        estimate.expect("a slope"),
        value(&back["x0"]),
        TOLERANCE,
    );
    let Region::Interval { low, high } = region else {
        panic!("{region:?}")
    };
    // The set is wider than the linear law of propagation by a share of k²·(relative error of the slope)², 5e-9 here.
    check.relative(
        "u_x0",
        (high - low) / (2.0 * k),
        value(&back["u_x0"]),
        TOLERANCE,
    );
    check.finish();
}

/// Where the 95 % bands of a quadratic reach a value, by a bracketed root.
#[test]
fn quadratic_by_its_bands() {
    let case = case("inverse_prediction.json", "Pontius quadratic inverse");
    let table = data_of(&crate::read::case("linear_regression.json", "Pontius"));
    let load: Vec<f64> = table.numbers("x").iter().map(|x| x / 1e6).collect();
    let fitted = polynomial(&load, &table.numbers("y"), 2);
    let t = t_quantile(0.975, fitted.rest.df as f64);
    let mut check = Check::new("Pontius quadratic inverse");
    for (key, extra) in [
        ("one_reading", fitted.residual_sd().powi(2)),
        ("mean_line", 0.0),
    ] {
        let wanted = &case["expected"][key];
        let reach = |side: f64| {
            let band = |x: f64| {
                let at = DVector::from_row_slice(&[1.0, x, x * x]);
                let variance = at.dot(&(&fitted.covariance * &at)) + extra;
                at.dot(&fitted.beta) + side * t * variance.sqrt() - value(&wanted["y0"])
            };
            root(band, 0.1, 3.0, 1e-14).expect("a root")
        };
        for (end, side) in [("x0", 0.0), ("low", 1.0), ("high", -1.0)] {
            let label = format!("{key} {end}");
            check.relative(label, reach(side), value(&wanted[end]), TOLERANCE);
        }
    }
    check.finish();
}
