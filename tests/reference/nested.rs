//! F tests of a smaller model in a larger one with groups, and the correlation test. Sources: Whiteside's gas (Hand et al. 1994,
//! tests from R 4.2.2 and mpmath 1.4.1); sleepstudy and petrol fitted by lme4 1.1-31 (t² of the slope is F for one column);
//! stack loss (Brownlee 1965, R 4.2.2); cars (Ezekiel 1930, straight line from mpmath 1.4.1).

use crate::read::{Check, case, data_of, value, values};
use haltmark::stats::correlation::correlation;
use haltmark::stats::mixed::Groups;
use haltmark::stats::nested::{Grouped, slopes_differ};

fn labels(text: &[&str]) -> Groups {
    let mut seen = text.to_vec();
    seen.sort_unstable();
    seen.dedup();
    let place = |label: &&str| seen.partition_point(|s| s < label);
    text.iter().map(place).collect()
}

pub fn grouped(columns: &[Vec<f64>], y: Vec<f64>, group: &Groups) -> Grouped {
    let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    Grouped::new(&columns, &y, group)
}

#[test]
fn equal_slopes_of_gas_before_and_after_insulation() {
    let mut check = Check::new("Equal slopes");
    let case = case("compare_groups.json", "Whiteside gas");
    let table = data_of(&case);
    let (x, y) = (table.numbers("x"), table.numbers("y"));
    let group = labels(&table.text("group"));
    let wanted = &case["expected"]["equal_slopes"];
    let test = slopes_differ(&group, &x, &y).expect("two groups");
    check.relative("F", test.f, value(&wanted["f"]), 1e-8);
    check.relative("p", test.p, value(&wanted["p"]), 1e-6);
    let df = vec![test.d1 as f64, test.d2 as f64];
    check.holds(format!("{df:?}"), df == values(&wanted["df"]));
    check.finish();
}

/// With two groups of several rows the slope's t of lme4 squared is F, at its ratio of spreads; where the groups are
/// balanced it is so with their means taken out, too.
#[test]
fn a_slope_beside_groups_is_as_sure_as_lme4_says() {
    let mut check = Check::new("One column beside groups");
    for (name, balanced) in [("sleepstudy", true), ("petrol", false)] {
        let case = case("mixed_model.json", name);
        let table = data_of(&case);
        let expected = &case["expected"];
        let names: Vec<&str> = table.names.iter().map(String::as_str).collect();
        let (group, x, y) = (
            labels(&table.text(names[0])),
            table.numbers(names[1]),
            table.numbers(names[2]),
        );
        let n = y.len();
        let r = value(&expected["tau"]) / value(&expected["sigma"]);
        let slope = values(&expected["fixef"])[1];
        let f = (slope / values(&expected["se"])[1]).powi(2);
        let sums = grouped(&[vec![1.0; n], x], y, &group);
        let at_ratio = sums.more_at(r, &[0], &[1]).expect(name);
        check.relative(format!("{name} F at the ratio"), at_ratio.test.f, f, 1e-5);
        check.relative(format!("{name} slope"), at_ratio.last, slope, 1e-6);
        let within = sums.more_within(&[0], &[1]).expect(name);
        if balanced {
            check.relative(format!("{name} F within"), within.test.f, f, 1e-5);
            check.relative(format!("{name} slope within"), within.last, slope, 1e-6);
            let df = values(&expected["df_satterthwaite"])[1];
            check.holds(format!("{name} df"), within.test.d2 as f64 == df);
        }
    }
    check.finish();
}

#[test]
fn correlation_is_as_sure_as_the_slope() {
    let mut check = Check::new("Correlation");
    let case = case("correlation.json", "Cars");
    let table = data_of(&case);
    let fit = &case["expected"]["fit"];
    let found = correlation(&table.numbers("x"), &table.numbers("y")).expect("they vary");
    let t = value(&fit["slope"]) / value(&fit["se_slope"]);
    check.relative("t", found.t, t, 1e-9);
    check.holds("df", found.df as f64 == value(&fit["df"]));
    // r² = t²/(t² + df).
    let r = (t * t / (t * t + value(&fit["df"]))).sqrt();
    check.relative("r", found.r, r, 1e-9);
    check.finish();
}

#[test]
fn studentised_residuals_of_stack_loss() {
    let mut check = Check::new("Studentised residuals");
    let case = case("outliers_lack_of_fit.json", "Stack loss");
    let table = data_of(&case);
    let (last, others) = table.names.split_last().expect("columns");
    let y = table.numbers(last);
    let n = y.len();
    let mut columns = vec![vec![1.0; n]];
    columns.extend(others.iter().map(|name| table.numbers(name)));
    let all: Vec<usize> = (0..columns.len()).collect();
    let sums = grouped(&columns, y, &Groups::from(vec![0; n]));
    let got = sums.studentised(0.0, &all);
    let got = got.expect("more rows than columns");
    for (i, wanted) in values(&case["expected"]["internally_studentised"])
        .into_iter()
        .enumerate()
    {
        check.relative(i + 1, got[i], wanted, 1e-8);
    }
    check.finish();
}
