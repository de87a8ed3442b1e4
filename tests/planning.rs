//! `plan`: against published and independently computed values, closed forms, and what then happens in simulated
//! seasons.

mod common;

use common::Folder;
use haltmark::simulate::{self, Truth};
use haltmark::stats::exchange::share_out;
use haltmark::stats::linalg::Factor;
use haltmark::stats::optimise;
use haltmark::stats::radial::chance_within;
use nalgebra::{DMatrix, DVector};
use serde_json::Value;

const DATA: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/data/");

fn number(v: &Value) -> f64 {
    v.as_f64()
        .unwrap_or_else(|| panic!("expected a number, got {v}"))
}

/// Chance within 15 and quantiles of the distance of two independent normals: `planning.json`, "Radial miss" (mpmath
/// 1.4.1, checked there with Rayleigh's closed form). A plan's misses are centred, so the centred rows apply.
#[test]
fn the_chance_of_a_miss_agrees_with_independent_integration() {
    let text = std::fs::read_to_string(format!("{DATA}planning.json")).expect("the values");
    let group: Value = serde_json::from_str(&text).expect("valid JSON");
    let cases = group["cases"].as_array().expect("cases");
    let case = cases
        .iter()
        .find(|c| c["name"] == "Radial miss")
        .expect("the case");
    let mut seen = 0;
    for row in case["expected"]["rows"].as_array().expect("rows") {
        if number(&row["long_mean"]) != 0.0 || number(&row["right_mean"]) != 0.0 {
            continue;
        }
        seen += 1;
        let variance = |key: &str| number(&row[key]).powi(2);
        let (a, b) = (variance("long_sd"), variance("right_sd"));
        let p = chance_within(15.0, a, b);
        assert!(
            (p - number(&row["p_within_15"])).abs() < 1e-9,
            "{p} for {row}"
        );
        for (key, p) in [
            ("quantile_50", 0.5),
            ("quantile_90", 0.9),
            ("quantile_95", 0.95),
        ] {
            let q =
                optimise::root(|x| chance_within(x, a, b) - p, 0.0, 100.0, 1e-9).expect("a root");
            let wanted = number(&row[key]);
            assert!((q / wanted - 1.0).abs() < 1e-8, "{key}: {q} for {row}");
        }
    }
    assert_eq!(seen, 2);
}

/// The largest variance of prediction at `places` for runs shared out as `counts`, polynomial of a degree; +∞ where the
/// counts leave it open.
fn worst(places: &[f64], degree: usize, counts: &[usize]) -> f64 {
    let row = |x: f64| DVector::from_fn(degree + 1, |k, _| x.powi(k as i32));
    let mut information = DMatrix::zeros(degree + 1, degree + 1);
    for (&x, &count) in places.iter().zip(counts) {
        information += count as f64 * row(x) * row(x).transpose();
    }
    Factor::new(&information).map_or(f64::INFINITY, |f| {
        places
            .iter()
            .map(|&x| f.quadratic(&row(x)))
            .fold(0.0, f64::max)
    })
}

/// Kiefer & Wolfowitz (1960), Canad. J. Math. 12, 363–366: the design whose worst variance is least has the same worst
/// variance as the D-optimal one, number of coefficients over runs. For a straight line that is half the runs at
/// either end; for a quadratic a third at either end and at the middle.
#[test]
fn without_the_middle_rule_a_straight_line_wants_both_ends_and_a_quadratic_the_middle_too() {
    let places: Vec<f64> = (0..9).map(|i| f64::from(i) / 4.0 - 1.0).collect();
    let line = share_out(12, &[0; 9], |c| worst(&places, 1, c));
    assert_eq!(line, [6, 0, 0, 0, 0, 0, 0, 0, 6]);
    assert!((worst(&places, 1, &line) - 2.0 / 12.0).abs() < 1e-12);
    let quadratic = share_out(12, &[0; 9], |c| worst(&places, 2, c));
    assert_eq!(quadratic, [4, 0, 0, 0, 4, 0, 0, 0, 4]);
    assert!((worst(&places, 2, &quadratic) - 3.0 / 12.0).abs() < 1e-12);
    // With some held in the middle, the rest of a straight line's runs still go to the ends.
    let mut least = [0; 9];
    least[4] = 3;
    let kept = share_out(11, &least, |c| worst(&places, 1, c));
    assert_eq!(kept, [4, 0, 0, 0, 3, 0, 0, 0, 4]);
}

/// An invented season, fitted; the set-up text is given as well.
fn fitted(truth: &Truth, seed: u64, setup: &str) -> Folder {
    let folder = Folder::new();
    folder.write("s.csv", simulate::season(truth, seed).to_csv());
    folder.write("setup.toml", setup);
    folder
        .run("fit s.csv --setup setup.toml --out out")
        .ended_with(0);
    folder
}

fn plan(folder: &Folder, flags: &str) -> Value {
    folder
        .run(&format!("plan out/calibration.json {flags} --json"))
        .ended_with(0)
        .json()
}

fn plain(sessions: usize, runs: usize) -> Truth {
    let mut truth = Truth::default();
    truth.season.sessions = sessions;
    truth.season.runs_per_session = vec![runs];
    truth
}

/// With days that do not differ and hundreds of runs, nothing is left but the run-to-run spreads: the limit is the
/// distance of two independent normals, Rayleigh's 1 − exp(−w²/2σ²) where the two are equal (here: made equal at the only
/// target). The estimate of a spread from 3,000 runs is good to 1.3 %.
#[test]
fn with_no_day_to_day_spread_and_very_many_runs_the_limit_is_rayleigh() {
    let mut truth = plain(30, 100);
    truth.travel.run_to_run_m = 0.06;
    truth.travel.between_sessions_m = 0.0;
    truth.heading.run_to_run_rad = 0.06 / 8.0;
    truth.heading.between_sessions_rad = 0.0;
    let folder = fitted(
        &truth,
        3,
        "[event]\nshortest_m = 8\nlongest_m = 8\n[aim]\nstep_cm = 0.1\n[prior]\nbetween_sessions_cm = 0.1\nbetween_sessions_cm_per_m = 0.01\n",
    );
    for within in [6.0f64, 12.0] {
        let p = plan(&folder, &format!("--within {within} --chance 0.9"));
        let rayleigh = 1.0 - (-0.5 * (within / 6.0).powi(2)).exp();
        let limit = number(&p["limit"]["chance"]);
        // d(chance)/d(ln σ) = (w/σ)²·exp(−w²/2σ²) ≤ 0.74: four standard errors.
        assert!(
            (limit - rayleigh).abs() < 4.0 * 0.013 * 0.74,
            "{limit} for {rayleigh}"
        );
        // Rayleigh's quantile: σ√(−2 ln 0.1).
        let miss = number(&p["limit"]["miss_cm"]);
        let quantile = 6.0 * (-2.0 * 0.1f64.ln()).sqrt();
        assert!(
            (miss / quantile - 1.0).abs() < 4.0 * 0.013,
            "{miss} for {quantile}"
        );
        // So many runs leave little to learn.
        assert!(limit - number(&p["now"]["chance"]) < 0.02);
    }
}

/// Runs needed for the mean of one line to be known to ±δ: n = (z σ/δ)² (NIST/SEMATECH e-Handbook, 7.2.2.2, two-sided,
/// σ known; from memory, the handbook was not at hand). A rig run at one target, days all alike, learns of that target
/// by this law: z = 1.96, σ = 6 cm, δ = 2 cm need 34.6, so 35 runs.
#[test]
fn what_runs_leave_unknown_of_a_mean_is_the_handbooks_sample_size() {
    let (z, sigma, delta) = (1.959_963_985f64, 6.0, 2.0);
    let needed = (z * sigma / delta).powi(2);
    let half_width = |runs: usize| {
        let mut truth = plain(1, runs);
        truth.season.targets_m = vec![8.0];
        truth.season.leads_turns = vec![1.5];
        truth.recoil.half_lead_turns = 30.0;
        truth.travel.between_sessions_m = 0.0;
        // Runs at one number of turns tell nothing of the slope: the wheel diameter does.
        let setup = "[vehicle]\nwheel_diameter_cm = 7.5\n[event]\nshortest_m = 8\nlongest_m = 8\n[score]\nmeasure = \"line\"\n[prior]\nbetween_sessions_cm = 0.01\n";
        let p = plan(&fitted(&truth, 5, setup), "--within 10");
        let parts = &p["parts_cm"];
        z * sigma * number(&parts["calibration"]) / number(&parts["run_to_run"])
    };
    let (enough, one_less) = (needed.ceil() as usize, needed.floor() as usize);
    assert_eq!((enough, one_less), (35, 34));
    let (with, without) = (half_width(enough), half_width(one_less));
    assert!(
        with <= delta && delta < without,
        "{with} and {without} around {delta}"
    );
}

#[test]
fn the_contracts_keys_are_there_and_chances_are_in_order() {
    let folder = fitted(&plain(4, 8), 7, "");
    let p = plan(&folder, "--within 15");
    for key in [
        "level",
        "within_cm",
        "chance",
        "now",
        "limit",
        "event_day",
        "event_chance",
        "at_event",
        "options",
        "parts_cm",
        "targets_m",
    ] {
        assert!(!p[key].is_null(), "{key} in {p}");
    }
    assert_eq!(p["options"].as_array().expect("options").len(), 32);
    let chance = |v: &Value| number(&v["chance"]);
    let now = chance(&p["now"]);
    assert!(now < chance(&p["limit"]));
    let day: Vec<f64> = p["event_day"]
        .as_array()
        .expect("days")
        .iter()
        .map(chance)
        .collect();
    assert!(
        (day[0] - now).abs() < 2e-3 && day[0] < day[1] && day[1] < day[2],
        "{day:?}"
    );
    assert_eq!(p["event_chance"], p["at_event"]["chance"]);
    // The best of two runs beats either.
    assert!(number(&p["event_chance"]) > day[1]);
    // More sessions of the same runs never hurt, nor do more runs, and none beats the limit.
    let options = p["options"].as_array().expect("options");
    for pair in options.windows(5) {
        assert!(chance(&pair[4]) >= chance(&pair[0]) - 1e-3, "{pair:?}");
    }
    for option in options {
        assert!(
            chance(option) > now && chance(option) < chance(&p["limit"]),
            "{option}"
        );
        assert!(number(&option["miss_cm"]) < number(&p["now"]["miss_cm"]));
    }
    // The miss not exceeded with the asked chance has that chance.
    let miss = number(&p["now"]["miss_cm"]);
    let again = plan(&folder, &format!("--within {miss}"));
    assert!((chance(&again["now"]) - 0.9).abs() < 1e-3);
    // What is asked for is what is answered.
    let asked = plan(&folder, "--within 15 --sessions 3 --runs 8");
    let options = asked["options"].as_array().expect("options");
    assert_eq!(options.len(), 1);
    assert_eq!(
        (&options[0]["sessions"], &options[0]["runs_per_session"]),
        (&3.into(), &8.into())
    );
    assert_eq!(asked["targets_m"].as_array().expect("targets").len(), 8);
}

#[test]
fn what_is_reached_is_reached_by_the_fewest_runs_or_not_at_all() {
    let folder = fitted(&plain(3, 6), 8, "");
    let base = plan(&folder, "--within 15");
    let (now, limit) = (
        number(&base["now"]["chance"]),
        number(&base["limit"]["chance"]),
    );
    let asked = |share: f64| {
        plan(
            &folder,
            &format!("--within 15 --chance {}", now + share * (limit - now)),
        )
    };
    let reached = asked(0.5);
    let (s, r) = (
        &reached["reach"]["sessions"],
        &reached["reach"]["runs_per_session"],
    );
    let total = s.as_u64().expect("sessions") * r.as_u64().expect("runs");
    for option in reached["options"].as_array().expect("options") {
        let runs = option["sessions"].as_u64().expect("n")
            * option["runs_per_session"].as_u64().expect("n");
        if runs < total {
            assert!(
                number(&option["chance"]) < number(&reached["chance"]),
                "{option}"
            );
        }
    }
    assert!(asked(1.1)["reach"].is_null());
    // Beyond the limit of the one run that counts nothing helps.
    folder.write("one.toml", "[event]\nruns = 1\n");
    let beyond = now + 1.1 * (limit - now);
    let ask = format!("plan out/calibration.json --within 15 --chance {beyond}");
    let text = folder.run(&format!("{ask} --setup one.toml")).ended_with(0);
    assert!(
        text.stdout.contains("None of these will get you there")
            && text
                .stdout
                .contains("Building better, not more runs, is the cure"),
        "{text}"
    );
    let there = asked(-0.1);
    assert_eq!(there["reach"]["sessions"], 0);
    // The better of two is there already: nothing is said of not getting there but of the first run, which is named.
    let text = folder.run(&ask).ended_with(0);
    assert!(
        text.stdout.contains("You are there: the better of 2 runs")
            && !text.stdout.contains("None of these"),
        "{text}"
    );
    let said = text
        .stdout
        .lines()
        .find(|l| l.contains("no number of runs would"));
    assert!(
        said.is_some_and(|l| l.starts_with("The first run of a new day alone")),
        "{text}"
    );
}

/// The least that gets what counts there, and nothing less of what is offered does.
#[test]
fn what_counts_is_reached_by_the_fewest_runs() {
    let folder = fitted(&plain(2, 6), 8, "");
    let base = plan(&folder, "--within 9")["at_event"].clone();
    assert_eq!(
        (&base["runs"], &base["counts"], &base["assumed"]),
        (&2.into(), &"best".into(), &true.into())
    );
    let (now, limit) = (number(&base["chance"]), number(&base["limit"]));
    let asked = |share: f64| {
        plan(
            &folder,
            &format!("--within 9 --chance {}", now + share * (limit - now)),
        )
    };
    let p = asked(0.5);
    let reach = &p["at_event"]["reach"];
    let product = |v: &Value| number(&v["sessions"]) * number(&v["runs_per_session"]);
    assert!(product(reach) > 0.0, "{p}");
    for option in p["options"].as_array().expect("options") {
        assert!(number(&option["event_chance"]) > now, "{option}");
        if product(option) < product(reach) {
            assert!(
                number(&option["event_chance"]) < number(&p["chance"]),
                "{option}"
            );
        }
        let same = ["sessions", "runs_per_session"]
            .iter()
            .all(|k| option[*k] == reach[*k]);
        assert!(
            !same || number(&option["event_chance"]) >= number(&p["chance"]),
            "{option}"
        );
    }
    assert_eq!(asked(-0.1)["at_event"]["reach"]["sessions"], 0);
    assert!(asked(1.01)["at_event"]["reach"].is_null());
}

/// One run that counts is the first run, however it counts; the last of two is the run after one was corrected for.
#[test]
fn what_counts_at_the_event_is_counted() {
    let chance = |counts: &str, runs: u32| {
        let setup = format!("[event]\nruns = {runs}\ncounts = \"{counts}\"\n");
        plan(&fitted(&plain(4, 8), 9, &setup), "--within 15")
    };
    for counts in ["best", "sum", "last"] {
        let one = chance(counts, 1);
        let gap = number(&one["event_chance"]) - number(&one["event_day"][0]["chance"]);
        assert!(gap.abs() < 0.01, "{counts}: {one}");
    }
    let last = chance("last", 2);
    // The same question through days of two and of three runs, whose states are gathered apart.
    let gap = number(&last["event_chance"]) - number(&last["event_day"][1]["chance"]);
    assert!(gap.abs() < 1e-3, "{last}");
    let (best, sum) = (chance("best", 2), chance("sum", 2));
    assert!(number(&best["event_chance"]) > number(&last["event_chance"]));
    assert!(number(&sum["event_chance"]) < number(&best["event_chance"]));
    // A rule that was told is not called assumed, and pages say which it is.
    let setup = "[dial]\nticks_per_turn = 20\n[event]\nruns = 3\ncounts = \"sum\"\n";
    let folder = fitted(&plain(4, 8), 9, setup);
    let p = plan(&folder, "--within 15");
    assert_eq!(
        (
            &p["at_event"]["runs"],
            &p["at_event"]["counts"],
            &p["at_event"]["assumed"]
        ),
        (&3.into(), &"sum".into(), &false.into())
    );
    let ask = "plan out/calibration.json --within 15";
    let told = folder.run(ask).ended_with(0).stdout;
    assert!(
        told.contains("the mean of all 3 runs") && !told.contains("assumed"),
        "{told}"
    );
    let page = folder.run(&format!("{ask} --out page"));
    page.ended_with(0);
    assert!(
        folder
            .text("page/plan.html")
            .contains("the mean of all 3 runs")
    );
}

#[test]
fn where_only_the_distance_along_counts_left_and_right_are_not_needed() {
    let folder = Folder::new();
    folder.write(
        "s.csv",
        common::along_only(&simulate::season(&plain(3, 8), 4).season),
    );
    folder.write("line.toml", "[score]\nmeasure = \"line\"\n");
    folder.run("fit s.csv --out out").ended_with(0);
    let ran = folder
        .run("plan out/calibration.json --within 15")
        .ended_with(1);
    assert!(ran.stderr.contains("right_cm"), "{ran}");
    let p = folder
        .run("plan out/calibration.json --within 15 --setup line.toml --json")
        .ended_with(0)
        .json();
    assert!(number(&p["now"]["chance"]) > 0.0);
}

#[test]
fn the_page_is_one_file_with_its_figures_and_always_the_same() {
    let folder = fitted(&plain(3, 8), 10, "");
    for out in ["a", "b"] {
        folder
            .run(&format!(
                "plan out/calibration.json --within 15 --out {out}"
            ))
            .ended_with(0);
    }
    let names = folder.names();
    for name in [
        "a/plan.html",
        "a/figures/plan.svg",
        "a/figures/plan-parts.svg",
    ] {
        assert!(names.contains(&name.to_string()), "{name} in {names:?}");
        assert_eq!(
            folder.text(name),
            folder.text(&name.replacen("a/", "b/", 1))
        );
    }
    let page = folder.text("a/plan.html");
    assert!(
        page.contains("Catch the mass on padding") && page.matches("class=\"figure\"").count() == 2
    );
    assert!(!page.contains("<script") && !page.contains("src="));
}

/// The parts of a miss add up as squares, so more runs take off less than their part: all − √(all² − part²).
#[test]
fn what_more_runs_would_take_off_is_what_it_comes_to() {
    let folder = Folder::new();
    folder.write("s.csv", simulate::season(&plain(4, 8), 3).to_csv());
    folder.run("fit s.csv --out out").ended_with(0);
    let command = "plan out/calibration.json --within 5";
    let parts = folder
        .run(&format!("{command} --json"))
        .ended_with(0)
        .json()["parts_cm"]
        .clone();
    let part = |name: &str| number(&parts[name]);
    let line = part("calibration");
    let squares =
        ["run_to_run", "between_sessions", "calibration", "steps"].map(|p| part(p).powi(2));
    let all = squares.iter().sum::<f64>().sqrt();
    let off = all - (all * all - line * line).sqrt();
    let text = folder.run(command).ended_with(0).stdout;
    let said = text
        .split("at most ")
        .nth(1)
        .and_then(|t| t.split(' ').next());
    let said: f64 = said
        .and_then(|t| t.parse().ok())
        .unwrap_or_else(|| panic!("{text}"));
    assert!((said - off).abs() < 0.06, "{said} for {off}: {text}");
}

/// A row of the table of options as it is printed: sessions, runs of each, marks.
type Row = (u64, u64, String);

/// Rows of options in a text: `2 sessions of 10 runs more: asked`.
fn rows(text: &str) -> Vec<Row> {
    let row = |line: &str| {
        let (size, rest) = line.trim().split_once(" more")?;
        // A sentence goes on.
        if !(rest.is_empty() || rest.starts_with(':') || rest.starts_with("  ")) {
            return None;
        }
        let words: Vec<&str> = size.split(' ').collect();
        let [sessions, session, "of", runs, run] = words.as_slice() else {
            return None;
        };
        let named = session.starts_with("session") && run.starts_with("run");
        let marks = rest.strip_prefix(':').unwrap_or("").trim();
        let marks = marks.split("  ").next().unwrap_or("").to_string();
        named.then_some((sessions.parse().ok()?, runs.parse().ok()?, marks))
    };
    text.lines().filter_map(row).collect()
}

/// What gains a point at the event over the row before it stands in the table, with what is enough; nothing else does; and
/// days that gain less than a point each are said not to be worth it.
#[test]
fn the_table_holds_what_gains_a_point_and_what_is_enough() {
    let folder = fitted(&plain(1, 6), 3, "");
    let base = plan(&folder, "--within 12");
    let event = &base["at_event"];
    let (now, limit) = (number(&event["chance"]), number(&event["limit"]));
    let size = |v: &Value| {
        let of = |key: &str| v[key].as_u64().expect("a count");
        (of("sessions"), of("runs_per_session"))
    };
    let after = |(sessions, runs): (u64, u64)| {
        let flags = format!("--within 12 --sessions {sessions} --runs {runs}");
        number(&plan(&folder, &flags)["options"][0]["event_chance"])
    };
    let all = base["options"].as_array().expect("options");
    let chance = |option: (u64, u64)| {
        let known = all.iter().find(|o| size(o) == option);
        known.map_or_else(|| after(option), |o| number(&o["event_chance"]))
    };
    let mut seen = [false; 2];
    for share in [0.2, 0.7, 0.9] {
        let ask = format!("--within 12 --chance {}", now + share * (limit - now));
        let reach = size(&plan(&folder, &ask)["at_event"]["reach"]);
        let command = format!("plan out/calibration.json {ask} --out page");
        let said = folder.run(&command).ended_with(0).stdout;
        let table = rows(&said);
        let enough: Vec<&Row> = table.iter().filter(|r| r.2.contains("enough")).collect();
        assert_eq!(enough.len(), 1, "{said}");
        assert_eq!((enough[0].0, enough[0].1), reach, "{said}");
        // Fewest runs first, each with its gain; what is left out has none.
        let mut reached = now;
        let mut shown = table.iter().peekable();
        let mut options: Vec<(u64, u64)> = all.iter().map(size).collect();
        options.extend((!options.contains(&reach)).then_some(reach));
        options.sort_by_key(|o| (o.0 * o.1, o.0));
        for option in options {
            let gained = chance(option) - reached;
            match shown.next_if(|r| (r.0, r.1) == option) {
                Some(row) => {
                    assert!(gained >= 0.01 || !row.2.is_empty(), "{row:?}: {said}");
                    reached += gained.max(0.0);
                }
                None => assert!(gained < 0.01, "{option:?} is missing: {said}"),
            }
        }
        assert_eq!(shown.next(), None, "{said}");
        let gain = chance(reach) - now;
        let is_worth = gain >= 0.01 * reach.0 as f64;
        assert_eq!(!said.contains("not worth"), is_worth, "{gain}: {said}");
        seen[usize::from(is_worth)] = true;
        // The page has the rows, with their marks.
        let page = folder.text("page/plan.html").replace('<', "\n<");
        let page = page.replace('>', ">\n");
        assert_eq!(rows(&page), table, "{page}");
    }
    assert_eq!(seen, [true; 2]);
    // Asked for one size: that row, and what is enough.
    let ask = "plan out/calibration.json --within 12 --sessions 2 --runs 5 --chance";
    let said = folder.run(&format!("{ask} {}", now + 0.2 * (limit - now)));
    let table = rows(&said.ended_with(0).stdout);
    let marks: Vec<&str> = table.iter().map(|r| r.2.as_str()).collect();
    assert_eq!(marks, ["enough", "asked"], "{table:?}");
}

/// Runs at a second lead count as if made at the lead in use. A fit gives them a coefficient of their own; if they taught
/// nothing at all, the chance after a session of eight, three of them so, would be less by this.
#[test]
fn runs_at_a_second_lead_are_few_enough_to_count_as_others() {
    for seed in 3..9 {
        let folder = fitted(&plain(1, 6), seed, "");
        let after = |runs: usize| {
            let flags = format!("--within 12 --sessions 1 --runs {runs}");
            number(&plan(&folder, &flags)["options"][0]["event_chance"])
        };
        let lost = after(8) - after(5);
        assert!((0.0..0.02).contains(&lost), "{lost} with seed {seed}");
    }
}

/// A chance of 89.7 in 100 is 90 in 100 to everybody: 9 times in 10 is reached, and nothing of the answer asks for more.
#[test]
fn what_is_reached_as_chances_are_said_needs_no_day() {
    let folder = fitted(&plain(2, 6), 8, "");
    let now = number(&plan(&folder, "--within 9")["at_event"]["chance"]);
    // Asked for as much more as is said in the same hundredth.
    let asked = now + 0.5 * ((100.0 * now).round() / 100.0 + 0.005 - now);
    let said = folder
        .run(&format!(
            "plan out/calibration.json --within 9 --chance {asked}"
        ))
        .ended_with(0)
        .stdout;
    assert!(
        said.contains("You are there, as near as such a chance is known"),
        "{said}"
    );
    for not in [
        "not worth",
        ": enough",
        "would get",
        "for the next session",
        "For the next session",
    ] {
        assert!(!said.contains(not), "{not}: {said}");
    }
    let last = said.lines().last().expect("a line");
    let on_lead = said.contains("For a session on the lead: ");
    let next = match on_lead {
        true => "next: haltmark sheet",
        false => "next: haltmark dial",
    };
    assert!(last.starts_with(next), "{said}");
    assert!(
        on_lead || said.contains("For one more session, if you like: "),
        "{said}"
    );
    // A point more than now is not reached.
    let more = format!(
        "plan out/calibration.json --within 9 --chance {}",
        now + 0.011
    );
    assert!(!folder.run(&more).stdout.contains("You are there"));
}

/// A distance is said as it was asked, columns stand under each other, and lines that lie on each other are one.
#[test]
fn a_distance_out_of_reach_is_said_in_a_straight_table_and_one_line() {
    let folder = fitted(&plain(3, 6), 8, "");
    let ran = folder
        .run("plan out/calibration.json --within 0.1 --out page")
        .ended_with(0);
    assert!(
        ran.stdout.contains("within 0.1 cm") && !ran.stdout.contains("within 0 cm"),
        "{ran}"
    );
    let ends: Vec<usize> = (ran.stdout.lines())
        .filter_map(|line| line.find(" 9 of 10 within"))
        .collect();
    assert!(
        ends.len() > 1 && ends.iter().all(|at| *at == ends[0]),
        "{ran}"
    );
    let page = folder.text("page/figures/plan.svg");
    assert!(
        page.contains("1 to 8 sessions") && !page.contains(">4 sessions"),
        "{page}"
    );
    assert!(
        page.contains("9 times in 10") && !page.contains("asked for"),
        "{page}"
    );
    // Where much is to be gained each number of sessions has its own.
    let folder = fitted(&plain(1, 6), 3, "");
    let event = plan(&folder, "--within 12")["at_event"].clone();
    assert!(
        number(&event["limit"]) - number(&event["chance"]) > 0.05,
        "{event}"
    );
    folder
        .run("plan out/calibration.json --within 12 --out more")
        .ended_with(0);
    let figure = folder.text("more/figures/plan.svg");
    assert!(
        figure.contains(">4 sessions") && !figure.contains("1 to 8 sessions"),
        "{figure}"
    );
}
