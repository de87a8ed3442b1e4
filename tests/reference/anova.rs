//! One-way analysis of variance. Source: NIST Statistical Reference Datasets, certified values. What a double can hold of
//! data with 7 and 13 constant leading digits sets the tolerances (SmLs04 10 digits, SmLs07 4).

use crate::read::{Check, cases, data_of, value};
use haltmark::stats::anova::{f_test, within_groups};

#[test]
fn certified_tables() {
    let mut check = Check::new("NIST analysis of variance");
    for case in cases("anova.json") {
        let name = case["name"].as_str().expect("name");
        let tolerance = match name {
            "SmLs07" => 1e-4,
            "SmLs04" => 1e-10,
            _ => 1e-12,
        };
        let wanted = &case["expected"];
        let table = data_of(&case);
        let y = table.numbers("y");
        let labels = table.text("group");
        let group: Vec<usize> = labels.iter().map(|l| l.parse().expect("label")).collect();
        let total = within_groups(&vec![0; y.len()], &y);
        let within = within_groups(&group, &y);
        let test = f_test(total, within).expect(name);
        check.relative(format!("{name} F"), test.f, value(&wanted["f"]), tolerance);
        let ss = value(&wanted["ss_within"]);
        check.relative(format!("{name} within"), within.sum, ss, tolerance);
        let df = (test.d1 as f64, test.d2 as f64);
        let wanted_df = (value(&wanted["df_between"]), value(&wanted["df_within"]));
        check.holds(format!("{name} degrees of freedom {df:?}"), df == wanted_df);
    }
    check.finish();
}
