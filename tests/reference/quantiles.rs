//! Quantiles and upper tails. Source: mpmath 1.4.1 at 40 digits, checked with R 4.2.2 and scipy 1.17.1; the tolerances are
//! those of the table (R's own `qf` is off in the far lower tail, so it is not the reference there).

use crate::read::{Check, Table, case, data_of, number};
use haltmark::stats::distributions::{
    chi2_quantile, chi2_sf, f_quantile, f_sf, normal_quantile, normal_sf, t_quantile, t_sf,
};

/// 1e-10; 1e-8 where p itself has no more digits: 0.999999 is not exact in binary, and its distance from 1 is off by 1e-11.
fn tolerance(p: f64) -> f64 {
    if p == 0.999999 { 1e-8 } else { 1e-10 }
}

/// All rows of a table whose columns are named df_…, one number of degrees of freedom a column.
fn check_table(name: &str, quantile: impl Fn(f64, &str) -> f64) {
    let mut check = Check::new(name);
    let Table { names, rows } = data_of(&case("quantiles.json", name));
    for row in rows {
        let p = number(&row[0]);
        for (column, wanted) in names.iter().zip(&row).skip(1) {
            let wanted = number(wanted);
            let label = format!("{name}, p = {}, {column}", row[0]);
            let got = quantile(p, column.trim_start_matches("df_"));
            if wanted == 0.0 {
                check.absolute(label, got, wanted, 1e-12);
            } else {
                check.relative(label, got, wanted, tolerance(p));
            }
        }
    }
    check.finish();
}

#[test]
fn normal() {
    check_table("Quantiles: normal", |p, _| normal_quantile(p));
}

#[test]
fn student() {
    check_table("Quantiles: Student t", |p, df| t_quantile(p, number(df)));
}

#[test]
fn chi_squared() {
    check_table("Quantiles: chi-squared", |p, df| {
        chi2_quantile(p, number(df))
    });
}

#[test]
fn f() {
    check_table("Quantiles: F", |p, df| {
        let (d1, d2) = df.split_once('_').expect("two degrees of freedom");
        f_quantile(p, number(d1), number(d2))
    });
}

#[test]
fn upper_tails() {
    let mut check = Check::new("Upper tails");
    for row in data_of(&case("quantiles.json", "Upper tails")).rows {
        // "t=12 df=3", "f=30 df=1,161"
        let at: Vec<f64> = row[1]
            .split([' ', ','])
            .map(|part| number(part.split('=').next_back().expect("a number")))
            .collect();
        let got = match row[0].as_str() {
            // These two rows give z = −8 and −20 for the tail beyond 8 and 20.
            "normal" => normal_sf(at[0].abs()),
            "t" => t_sf(at[0], at[1]),
            "chi2" => chi2_sf(at[0], at[1]),
            "F" => f_sf(at[0], at[1], at[2]),
            other => panic!("unknown distribution {other}"),
        };
        check.relative(row.join(", "), got, number(&row[2]), 1e-10);
    }
    check.finish();
}
