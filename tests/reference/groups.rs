//! Comparing groups, and limits of a spread. Sources: NIST/SEMATECH e-Handbook 1.3.5.9 (ceramic strength); Student 1908; Hand
//! et al. 1994 (gas before and after insulation); limits and tests from R 4.2.2 and mpmath 1.4.1. Relative 1e-7, p values 1e-5.

use crate::read::{Check, case, data_of, value, values};
use haltmark::stats::anova::{Squares, within_groups};
use haltmark::stats::distributions::{chi2_quantile, f_quantile, f_sf, t_quantile};
use haltmark::stats::mixed::{Groups, Rows};
use haltmark::stats::nested::Grouped;
use nalgebra::{DMatrix, DVector};

const GROUP: &str = "compare_groups.json";

#[test]
fn ratios_of_two_variances() {
    let mut check = Check::new("Variance ratios");
    for (name, label) in [
        ("Ceramic strength, batch 1 and 2", "batch"),
        ("Sleep, two groups", "group"),
    ] {
        let case = case(GROUP, name);
        let expected = &case["expected"];
        let table = data_of(&case);
        let (labels, y) = (table.text(label), table.numbers("y"));
        let spread = |wanted: &str| {
            let rows = labels.iter().zip(&y).filter(|(label, _)| **label == wanted);
            let values: Vec<f64> = rows.map(|(_, y)| *y).collect();
            within_groups(&vec![0; values.len()], &values)
        };
        let (a, b) = (spread("1"), spread("2"));
        let variance = |s: &Squares| s.sum / s.df as f64;
        for (group, s) in [(0, &a), (1, &b)] {
            let wanted = value(&expected["sd"][group]);
            check.relative(
                format!("{name} sd {group}"),
                variance(s).sqrt(),
                wanted,
                1e-7,
            );
        }
        let wanted = &expected["variance_ratio"];
        let (f, d1, d2) = (variance(&a) / variance(&b), a.df as f64, b.df as f64);
        check.relative(format!("{name} F"), f, value(&wanted["f"]), 1e-7);
        // Below F with d1 and d2 is above 1/F with d2 and d1.
        let below = f_sf(1.0 / f, d2, d1);
        let p = 2.0 * below.min(f_sf(f, d1, d2));
        check.relative(format!("{name} p"), p, value(&wanted["p_two_sided"]), 1e-5);
        let ends = values(&wanted["ci95"]);
        let low = f / f_quantile(0.975, d1, d2);
        let high = f / f_quantile(0.025, d1, d2);
        check.relative(format!("{name} low"), low, ends[0], 1e-7);
        check.relative(format!("{name} high"), high, ends[1], 1e-7);
        if let Some(printed) = expected.get("published") {
            let printed = value(&printed["f_cdf"]);
            check.absolute(format!("{name} printed"), below, printed, 1e-6);
        }
    }
    check.finish();
}

/// Own lines, parallel lines, one line; and the estimates of the first two with their intervals.
#[test]
fn two_straight_lines() {
    let case = case(GROUP, "Whiteside gas");
    let expected = &case["expected"];
    let table = data_of(&case);
    let (x, group) = (table.numbers("x"), table.text("group"));
    let y = table.numbers("y");
    let n = y.len();
    let after: Vec<f64> = group
        .iter()
        .map(|g| f64::from(u8::from(*g == "After")))
        .collect();
    let both: Vec<f64> = after.iter().zip(&x).map(|(after, x)| after * x).collect();
    let columns = [&vec![1.0; n][..], &x, &after, &both];
    let one_group = Groups::from(vec![0; n]);
    let sums = Grouped::new(&columns, &y, &one_group);
    let lines = |used: usize| {
        let rows = Rows::new(
            DMatrix::from_fn(n, used, |i, j| columns[j][i]),
            DVector::from_column_slice(&y),
            one_group.clone(),
        );
        let design = rows.design(&[], 0.0).expect("full rank");
        design.at(0.0).expect("full rank")
    };
    let (parallel, separate) = (lines(3), lines(4));
    let mut check = Check::new("Whiteside gas");
    for (key, smaller, more) in [
        ("equal_slopes", &[0, 1, 2][..], &[3][..]),
        ("same_intercept_given_parallel", &[0, 1], &[2]),
        ("same_line", &[0, 1], &[2, 3]),
    ] {
        let test = sums.more_at(0.0, smaller, more).expect(key).test;
        check.relative(format!("{key} F"), test.f, value(&expected[key]["f"]), 1e-7);
        check.relative(format!("{key} p"), test.p, value(&expected[key]["p"]), 1e-5);
        let df = [test.d1 as f64, test.d2 as f64];
        check.holds(
            format!("{key} {df:?}"),
            df[..] == values(&expected[key]["df"]),
        );
    }
    for (model, fitted, names) in [
        (
            "parallel",
            &parallel,
            &["intercept", "slope", "shift_b_minus_a"][..],
        ),
        (
            "separate",
            &separate,
            &[
                "intercept_a",
                "slope_a",
                "intercept_difference",
                "slope_difference",
            ],
        ),
    ] {
        let t = t_quantile(0.975, fitted.nu);
        let variances = fitted.covariance().diagonal() * (fitted.rss / fitted.nu);
        for (j, name) in names.iter().enumerate() {
            let wanted = &expected[model][name];
            let (estimate, error) = (fitted.beta[j], variances[j].sqrt());
            let ends = values(&wanted["ci95"]);
            let row = |what: &str| format!("{model} {name} {what}");
            check.relative(row("estimate"), estimate, value(&wanted["estimate"]), 1e-7);
            check.relative(row("se"), error, value(&wanted["se"]), 1e-7);
            check.relative(row("low"), estimate - t * error, ends[0], 1e-7);
            check.relative(row("high"), estimate + t * error, ends[1], 1e-7);
        }
    }
    check.finish();
}

#[test]
fn limits_of_a_standard_deviation() {
    let case = case("planning.json", "Interval of a standard deviation");
    let mut check = Check::new("Interval of a standard deviation");
    for row in case["expected"]["limits"].as_array().expect("rows") {
        let (s, df) = (value(&row["s"]), value(&row["df"]));
        let ends = values(&row["ci95"]);
        let limit = |p: f64| s * (df / chi2_quantile(p, df)).sqrt();
        check.relative(format!("{row} low"), limit(0.975), ends[0], 1e-8);
        check.relative(format!("{row} high"), limit(0.025), ends[1], 1e-8);
    }
    check.finish();
}
