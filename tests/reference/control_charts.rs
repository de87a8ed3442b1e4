//! The moving-average chart. Sources: NIST/SEMATECH e-Handbook 6.3.2.4 (printed and recomputed in mpmath 1.4.1); average run
//! lengths from R package spc 0.6.7.

use crate::read::{Check, case, data_of, value};
use haltmark::stats::charts::ewma;
use haltmark::stats::resample::{normal, replicate};

#[test]
fn handbook_example() {
    let case = case("control_charts.json", "EWMA worked example");
    let expected = &case["expected"];
    let x = data_of(&case).numbers("x");
    let setting = |key: &str| value(&expected[key]);
    let (start, sigma) = (setting("start"), setting("sigma"));
    let chart = ewma(&x, setting("lambda"), start, sigma, setting("multiplier")).expect("a chart");
    let mut check = Check::new("EWMA worked example");
    let printed = &expected["published"];
    for i in 0..x.len() {
        let (average, half) = (chart.averages[i], chart.half_widths[i]);
        check.absolute(
            format!("average {i}"),
            average,
            value(&expected["ewma"][i]),
            1e-10,
        );
        check.absolute(
            format!("printed {i}"),
            average,
            value(&printed["ewma"][i]),
            0.005,
        );
        let wanted = value(&expected["limit_half_width_exact"][i]);
        check.relative(format!("limit {i}"), half, wanted, 1e-10);
    }
    let many = ewma(
        &[start; 200],
        setting("lambda"),
        start,
        sigma,
        setting("multiplier"),
    );
    let steady = *many.expect("a chart").half_widths.last().expect("values");
    check.relative("limit", steady, setting("limit_half_width_constant"), 1e-11);
    // The handbook rounds √(0.3/1.7) to 0.4201 first.
    check.absolute(
        "printed limit",
        start + steady,
        value(&printed["ucl"]),
        2e-4,
    );
    let inside = |i: usize| (chart.averages[i] - start).abs() <= chart.half_widths[i];
    check.holds("no signal", (0..x.len()).all(inside));
    check.finish();
}

/// How long the chart of pure noise, and of noise shifted by one sigma, stays inside its steady limits: 2,000 simulated
/// charts, within four standard errors (a run length's spread is about its mean, or less).
#[test]
fn average_run_lengths() {
    let expected = &case("control_charts.json", "Average run lengths")["expected"];
    let mut check = Check::new("Average run lengths");
    let charts = 2000u64;
    for row in expected["ewma_fixed_limits"].as_array().expect("rows") {
        let (weight, limit) = (value(&row["lambda"]), value(&row["L"]));
        let steady = limit * (weight / (2.0 - weight)).sqrt();
        for (key, shift, longest) in [("arl_0", 0.0, 4000), ("arl_1", 1.0, 200)] {
            let lengths: Vec<f64> = (0..charts)
                .map(|index| {
                    let mut draws = replicate(20, index);
                    // Charts grow until they signal; hardly one in 3,000 gets to the longest.
                    let mut values = Vec::new();
                    loop {
                        let more = if shift > 0.0 { 25 } else { 500 };
                        values.extend((0..more).map(|_| normal(&mut draws) + shift));
                        let chart = ewma(&values, weight, 0.0, 1.0, limit).expect("a chart");
                        let out = |z: &f64| z.abs() > steady;
                        let signal = chart.averages.iter().position(out);
                        if let Some(at) = signal {
                            break (at + 1) as f64;
                        }
                        if values.len() >= longest {
                            break values.len() as f64;
                        }
                    }
                })
                .collect();
            let mean = lengths.iter().sum::<f64>() / charts as f64;
            let wanted = value(&row[key]);
            let allowance = 4.0 * wanted / (charts as f64).sqrt();
            check.absolute(format!("λ {weight} {key}"), mean, wanted, allowance);
        }
    }
    check.finish();
}
