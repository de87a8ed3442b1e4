//! Deletion residuals, outlier tests, lack of fit. Sources: named in each case (Brownlee 1965; Ezekiel 1930; Rosner 1983; NIST
//! load cell and e-Handbook 4.6.1.5; Crampton 1947); values from mpmath 1.4.1 and R 4.2.2.

use crate::read::{Check, case, data_of, value, values};
use haltmark::stats::distributions::{t_quantile, t_sf};
use haltmark::stats::mixed::{Groups, Profile, Rows};
use haltmark::stats::nested::Grouped;
use nalgebra::{DMatrix, DVector};
use serde_json::Value;

const GROUP: &str = "outliers_lack_of_fit.json";

/// Rows of an intercept, the other columns, and the response, all in one group.
fn plane(case: &Value, response: &str) -> Rows {
    let table = data_of(case);
    let names = table.names.iter().filter(|name| *name != response);
    let covariates: Vec<Vec<f64>> = names.map(|name| table.numbers(name)).collect();
    let y = DVector::from_vec(table.numbers(response));
    let x = DMatrix::from_fn(y.len(), covariates.len() + 1, |i, j| {
        if j == 0 { 1.0 } else { covariates[j - 1][i] }
    });
    let group = Groups::from(vec![0; y.len()]);
    Rows::new(x, y, group)
}

fn check_deletion(name: &str, response: &str) -> (Check, Rows, Profile) {
    let case = case(GROUP, name);
    let rows = plane(&case, response);
    let fit = rows.design(&[], 0.0).and_then(|design| design.at(0.0));
    let fit = fit.expect("full rank");
    let expected = &case["expected"];
    let mut check = Check::new(name);
    let deletions = rows.deletions(&fit).into_iter();
    let deletion: Vec<f64> = deletions
        .map(|d| d.expect("others as well").residual)
        .collect();
    for (i, wanted) in values(&expected["studentised_deleted"])
        .into_iter()
        .enumerate()
    {
        check.relative(format!("{name} row {}", i + 1), deletion[i], wanted, 1e-8);
    }
    let largest = &expected["largest"];
    let (row, t) = (0..deletion.len())
        .map(|i| (i, deletion[i]))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        .expect("rows");
    check.absolute(
        "largest, row",
        (row + 1) as f64,
        value(&largest["row"]),
        0.0,
    );
    let df = fit.nu - 1.0;
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
    (check, rows, fit)
}

#[test]
fn stack_loss() {
    let (mut check, rows, fit) = check_deletion("Stack loss", "stack_loss");
    let covariance = fit.covariance();
    let leverage = &case(GROUP, "Stack loss")["expected"]["leverage"];
    for (i, wanted) in values(leverage).into_iter().enumerate() {
        let label = format!("leverage, row {}", i + 1);
        let x = rows.x.row(i).transpose();
        check.relative(label, x.dot(&(&covariance * &x)), wanted, 1e-8);
    }
    check.finish();
}

#[test]
fn cars() {
    check_deletion("Cars", "y").0.finish();
}

/// Rosner's procedure from the studentised residuals about a mean, taken out one at a time; his are over the sd alone.
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
        let sums = Grouped::new(&[&vec![1.0; n]], &left, &Groups::from(vec![0; n]));
        let studentised = sums.studentised(0.0, &[0]).expect("a mean");
        let row = DVector::from_vec(studentised.clone()).iamax();
        let ratio = studentised[row].abs() * (1.0 - 1.0 / n as f64).sqrt();
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
    let (x, y) = (table.numbers("x"), table.numbers("y"));
    let terms = 1 + value(&wanted["degree"]) as i32;
    let powers = |j: i32| x.iter().map(|x| x.powi(j)).collect();
    let powers: Vec<Vec<f64>> = (0..terms).map(powers).collect();
    let columns: Vec<&[f64]> = powers.iter().map(Vec::as_slice).collect();
    let mut settings = x.clone();
    settings.sort_by(f64::total_cmp);
    settings.dedup();
    let setting = x.iter().map(|x| settings.partition_point(|s| s < x));
    let setting: Vec<usize> = setting.collect();
    let group = Groups::from(vec![0; y.len()]);
    let design = DMatrix::from_fn(x.len(), powers.len(), |i, j| powers[j][i]);
    let rows = Rows::new(design, DVector::from_column_slice(&y), group.clone());
    let fit = rows.design(&[], 0.0).and_then(|design| design.at(0.0));
    let fit = fit.expect("full rank");
    // As the program asks: of the residuals of a fit of the columns.
    let residuals = &rows.y - &rows.x * &fit.beta;
    let sums = Grouped::new(&columns, residuals.as_slice(), &group);
    let all: Vec<usize> = (0..columns.len()).collect();
    let test = sums.settings_differ(0.0, &all, &setting).expect("repeats");
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
        (fit.rss / fit.nu).sqrt(),
        value(&wanted["residual_sd"]),
        1e-9,
    );
    check.relative("F", test.f, value(&wanted["f"]), tolerance);
    check.relative("p", test.p, value(&wanted["p"]), p_tolerance);
    for (j, coefficient) in values(&wanted["coefficients"]).into_iter().enumerate() {
        check.relative(format!("b{j}"), fit.beta[j], coefficient, 1e-9);
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
