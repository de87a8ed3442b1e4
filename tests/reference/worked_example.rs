//! The six runs of `src/model.md`, section 0: the figures printed there, through the program.

use serde_json::Value;
use std::path::Path;
use std::process::Command;

const LOG: &str = "session,target_m,turns,rest_m\n\
                   Saturday,6.0,24,5.92\n\
                   Saturday,7.4,30,7.38\n\
                   Saturday,8.8,36,8.73\n\
                   Sunday,6.0,24,6.02\n\
                   Sunday,7.4,30,7.40\n\
                   Sunday,8.8,36,8.87\n";
const TODAY: &str = "session,target_m,turns,rest_m\ntoday,7.4,30.05,7.50\n";

fn answer(folder: &Path, arguments: &str) -> Value {
    let ran = Command::new(env!("CARGO_BIN_EXE_haltmark"))
        .args(arguments.split(' '))
        .arg("--json")
        .current_dir(folder)
        .output()
        .expect("the program starts");
    let errors = String::from_utf8_lossy(&ran.stderr);
    assert!(ran.status.success(), "{arguments}: {errors}");
    serde_json::from_slice(&ran.stdout).expect("JSON")
}

/// As near as the page's last digit.
fn printed(what: &str, got: &Value, wanted: f64, last_digit: f64) {
    let got = got.as_f64().unwrap_or_else(|| panic!("{what}: {got}"));
    let near = (got - wanted).abs() <= 0.5 * last_digit;
    assert!(near, "{what}: {got}, printed {wanted}");
}

#[test]
fn six_runs_give_the_figures_of_the_page() {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, text: &str| {
        std::fs::write(folder.path().join(name), text).expect("a file");
    };
    write("six.csv", LOG);
    write("today.csv", TODAY);
    write(
        "even.toml",
        "[dial]\nticks_per_turn = 20\n[prior]\nspread_growth = 0\n",
    );
    let fit = answer(folder.path(), "fit six.csv --setup even.toml --out six");
    let travel = &fit["rigs"][0]["travel"];
    let of = |key: &str| travel[key]["estimate"].clone();
    printed(
        "distance per turn",
        &of("distance_per_turn_cm"),
        23.58,
        0.01,
    );
    printed("overshoot", &of("overshoot_cm"), 31.17, 0.01);
    printed("run to run", &of("run_to_run_cm"), 3.54, 0.01);
    printed("between sessions", &of("between_sessions_cm"), 5.78, 0.01);

    let dial = answer(folder.path(), "dial six/calibration.json --target 7.4");
    let setting = &dial["settings"][0];
    printed(
        "exact turns",
        &setting["turns_exact"]["estimate"],
        30.057,
        0.001,
    );
    assert_eq!(
        (&setting["whole_turns"], &setting["ticks"]),
        (&30.into(), &1.into())
    );
    for (end, wanted) in [("low", -28.0), ("high", 28.0)] {
        printed(end, &setting["long_cm"][end], wanted, 1.0);
    }

    let correct = answer(
        folder.path(),
        "correct six/calibration.json today.csv --target 7.4",
    );
    let (setting, today) = (&correct["settings"][0], &correct["today"]);
    printed("share", &today["share_along"], 0.71, 0.01);
    printed("shift", &today["shift_long_cm"], 7.3, 0.1);
    printed(
        "exact turns",
        &setting["turns_exact"]["estimate"],
        30.057 - 0.308,
        0.001,
    );
    assert_eq!(
        (&setting["whole_turns"], &setting["ticks"]),
        (&29.into(), &15.into())
    );
}

/// The table of section 0 by the formulas of section 2: RSS and density at each ratio, and the part of the weight below it.
#[test]
fn the_table_of_ratios_is_that_of_the_formulas() {
    // Three runs a day; the guess of σ, 5 cm, is one run more: ν = 6 − 2 + 1.
    let (nu, guess) = (5.0, 0.05f64.powi(2));
    let shrinks = |theta: f64| 1.0 + 3.0 * theta * theta;
    let rss = |theta: f64| 0.003_766_667 + 0.011_266_667 / shrinks(theta);
    let guessed = |theta: f64| rss(theta) + guess;
    // |V| |X'V⁻¹X| = 1 + 3θ², up to a constant.
    let criterion = |theta: f64| nu * guessed(theta).ln() + shrinks(theta).ln();
    let thetas = (0..100_000).map(|i| f64::from(i) * 1e-4);
    let best = thetas.min_by(|a, b| criterion(*a).total_cmp(&criterion(*b)));
    let sigma = (guessed(best.expect("some")) / nu).sqrt();
    let scale = 0.75 * 0.10 / sigma;
    let density = |theta: f64| {
        let prior = (1.0 + (theta / scale).powi(2) / 4.0).powf(-2.5);
        prior / shrinks(theta).sqrt() / guessed(theta).powf(nu / 2.0)
    };
    let step = 1e-3;
    let middles = (0..200_000).map(|i| (f64::from(i) + 0.5) * step);
    let total: f64 = middles.clone().map(density).sum::<f64>() * step;
    for (theta, squares, height, below) in [
        (0.0, 0.0150, 0.19, 0.0),
        (0.25, 0.0133, 0.23, 0.05),
        (0.5, 0.0102, 0.31, 0.12),
        (1.0, 0.0066, 0.42, 0.31),
        (2.0, 0.0046, 0.27, 0.67),
        (4.0, 0.0040, 0.05, 0.94),
        (8.0, 0.0038, 0.003, 1.00),
    ] {
        let part = middles
            .clone()
            .take_while(|t| *t < theta)
            .map(density)
            .sum::<f64>()
            * step;
        assert!((rss(theta) - squares).abs() <= 5.1e-5, "RSS at {theta}");
        assert!(
            (density(theta) / total - height).abs() <= 5.1e-3,
            "density at {theta}"
        );
        assert!(
            (part / total - below).abs() <= 5.1e-3,
            "weight below {theta}: {}",
            part / total
        );
    }
}
