//! The straight distance of two independent normal errors about 0. Source: numerical integration in mpmath 1.4.1, to 9 digits.

use crate::read::{Check, case, value};
use haltmark::stats::radial::chance_within;

#[test]
fn chances_of_a_miss() {
    let mut check = Check::new("Radial miss");
    let case = case("planning.json", "Radial miss");
    let rows = case["expected"]["rows"].as_array().expect("rows");
    for row in rows.iter() {
        let of = |key: &str| value(&row[key]);
        if (of("long_mean"), of("right_mean")) != (0.0, 0.0) {
            continue;
        }
        let (a, b) = (of("long_sd").powi(2), of("right_sd").powi(2));
        check.absolute(row, chance_within(15.0, a, b), of("p_within_15"), 1e-9);
        for (key, p) in [
            ("quantile_50", 0.5),
            ("quantile_90", 0.9),
            ("quantile_95", 0.95),
        ] {
            check.absolute(
                format!("{row} {key}"),
                chance_within(of(key), a, b),
                p,
                1e-8,
            );
        }
    }
    check.finish();
}
