//! `compare`: two wheel sets, vehicles, builds, trims or floors held against each other.

mod common;

use common::Folder;
use haltmark::decide::compare::{self, By};
use haltmark::log;
use haltmark::stats::interval::Level;
use haltmark::stats::mixed::pair::{Contrast, Member, Pair};
use haltmark::stats::mixed::{Growths, Posterior, Rows, SpreadPrior};
use haltmark::stats::weighted::{Normals, Weighted};
use nalgebra::{DMatrix, DVector};
use serde_json::Value;

const DATA: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/data/");
const SEASON: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/bramble.csv");
const SETUP: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/bramble-setup.toml");

fn number(v: &Value) -> f64 {
    v.as_f64()
        .unwrap_or_else(|| panic!("expected a number, got {v}"))
}

/// A published case, and its table's columns by name.
fn case(name: &str) -> (Value, impl Fn(&str) -> Vec<String>) {
    let read = |name: &str| std::fs::read_to_string(format!("{DATA}{name}")).expect("the file");
    let group: Value = serde_json::from_str(&read("compare_groups.json")).expect("valid JSON");
    let cases = group["cases"].as_array().expect("cases");
    let case = cases.iter().find(|c| c["name"] == name).expect("the case");
    let table: Vec<Vec<String>> = read(case["data"].as_str().expect("a file"))
        .lines()
        .filter(|l| !l.starts_with('#'))
        .map(|l| l.split(',').map(|c| c.trim_matches('"').into()).collect())
        .collect();
    let column = move |wanted: &str| {
        let at = table[0].iter().position(|h| h == wanted).expect("a column");
        table[1..].iter().map(|row| row[at].clone()).collect()
    };
    (case["expected"].clone(), column)
}

/// Two sets of rows, each a group of its own, through the engine of `compare`.
fn pair(rows: [Rows; 2], contrasts: &[Contrast]) -> Pair {
    let designs = rows.each_ref().map(|r| r.design(&[], 0.0).expect("sums"));
    let known = designs
        .each_ref()
        .map(|d| Posterior::new(d, SpreadPrior::without_guess(1.0)).expect("a posterior"));
    let growths = [0, 1].map(|k| Growths::from_even(rows[k].clone(), designs[k].clone()));
    let member = |k: usize| Member {
        growths: &growths[k],
        posterior: &known[k],
    };
    Pair::new(member(0), member(1), contrasts, 0).expect("both together")
}

/// The ratio of two spreads: limits by R 4.2.2 var.test (NIST/SEMATECH e-Handbook 1.3.5.9, ceramic strength; Student
/// 1908, sleep). With flat priors on line and ln σ the two agree exactly; the fixed points leave 1 %.
#[test]
fn the_ratio_of_spreads_has_the_f_interval() {
    for (name, label) in [
        ("Ceramic strength, batch 1 and 2", "batch"),
        ("Sleep, two groups", "group"),
    ] {
        let (expected, column) = case(name);
        let (labels, y) = (column(label), column("y"));
        // The published ratio is that of group 1 over group 2.
        let rows = ["2", "1"].map(|wanted| {
            let of = labels.iter().zip(&y).filter(|(l, _)| *l == wanted);
            let y: Vec<f64> = of.map(|(_, y)| y.parse().expect("a number")).collect();
            let group = vec![if wanted == "1" { 1 } else { 2 }; y.len()];
            let x = DMatrix::from_element(y.len(), 1, 1.0);
            Rows::new(x, DVector::from_vec(y), group)
        });
        let both = pair(rows, &[]);
        assert_eq!(both.shared, 0);
        let ratios = Weighted::new(
            both.points
                .iter()
                .map(|p| (p.weight, p.sigma[1] / p.sigma[0])),
        );
        let got = ratios.central(Level::default());
        let ends = &expected["sd_ratio"]["ci95"];
        for (got, want) in [(got.low, &ends[0]), (got.high, &ends[1])] {
            assert!(
                (got / number(want) - 1.0).abs() < 0.01,
                "{name}: {got} for {want}"
            );
        }
    }
}

/// Two lines of their own: Whiteside's gas before and after insulation (Hand et al. 1994), estimates and limits by R 4.2.2.
/// R pools the two spreads, `compare` does not, so the limits agree roughly only: the residual SDs are 0.28 and
/// 0.35.
#[test]
fn two_lines_differ_as_published() {
    let (expected, column) = case("Whiteside gas");
    let numbers = |name: &str| -> Vec<f64> {
        let all = column(name);
        all.iter().map(|c| c.parse().expect("a number")).collect()
    };
    let (group, x, y) = (column("group"), numbers("x"), numbers("y"));
    let rows = ["Before", "After"].map(|wanted| {
        let of: Vec<usize> = (0..x.len()).filter(|&i| group[i] == wanted).collect();
        Rows::new(
            DMatrix::from_fn(of.len(), 2, |i, j| if j == 0 { 1.0 } else { x[of[i]] }),
            DVector::from_fn(of.len(), |i, _| y[of[i]]),
            vec![usize::from(wanted == "After"); of.len()],
        )
    });
    let row = |x: [f64; 2]| Contrast {
        a: x.to_vec(),
        b: x.to_vec(),
    };
    let both = pair(rows, &[row([1.0, 0.0]), row([0.0, 1.0])]);
    let separate = &expected["separate"];
    for (i, name) in ["intercept_difference", "slope_difference"]
        .iter()
        .enumerate()
    {
        let all = both
            .points
            .iter()
            .map(|p| (p.weight, p.contrasts[i].difference));
        let got = Normals::new(all).central(Level::default());
        let want = number(&separate[name]["estimate"]);
        assert!((got.estimate / want - 1.0).abs() < 1e-7, "{name}");
        // A level shift of either day stays open, so only the slopes' limits can be held against R's.
        if *name == "slope_difference" {
            let ends = &separate[name]["ci95"];
            let wide = (got.high - got.low) / (number(&ends[1]) - number(&ends[0]));
            assert!((wide - 1.0).abs() < 0.1, "{wide}");
        }
    }
}

fn compared(arguments: &[&str]) -> common::Ran {
    let mut all = vec!["compare", SEASON, "--setup", SETUP];
    all.extend(arguments);
    Folder::new().run_with(&all)
}

const WHEELS: [&str; 6] = ["--by", "wheels", "--a", "narrow", "--b", "wide"];

#[test]
fn the_demo_compares_its_wheels() {
    let found = compared(&[&WHEELS[..], &["--json"]].concat())
        .ended_with(0)
        .json();
    assert_eq!(found["sessions_shared"], 6);
    // What its truth file says: a turn carries the wide wheels 0.5 cm less far, they roll on 4 cm farther, and differ less from
    // run to run.
    let inside = |v: &Value, truth: f64| number(&v["low"]) < truth && truth < number(&v["high"]);
    assert!(inside(&found["distance_per_turn_cm"]["difference"], -0.5));
    assert!(inside(&found["overshoot_cm"]["difference"], 4.0));
    assert!(number(&found["run_to_run_cm"]["ratio"]["high"]) < 1.0);
    let chance = number(&found["chance_b_better"]);
    assert!(chance > 0.5 && chance < 0.95, "{chance}");
    assert_eq!(found["verdict"], "undecided");
    assert!(number(&found["runs_to_settle"]) > 0.0);
    for key in ["distance_per_turn_cm", "overshoot_cm", "event_miss_cm"] {
        for part in ["a", "b", "difference"] {
            let of = &found[key][part];
            let (low, at, high) = (&of["low"], &of["estimate"], &of["high"]);
            assert!(
                number(low) <= number(at) && number(at) <= number(high),
                "{key} {part}"
            );
        }
    }
    // What counts leads: the better of two misses less than a first run, and what is open of it is no more.
    let event = &found["at_event"];
    for part in ["a", "b"] {
        let (of_two, first) = (&event["miss_cm"][part], &found["event_miss_cm"][part]);
        assert!(
            number(&of_two["estimate"]) < number(&first["estimate"]),
            "{event}"
        );
    }
    let chance = number(&event["chance_b_better"]);
    assert!(chance > number(&found["chance_b_better"]), "{chance}");
    let verdict = if chance >= 0.95 { "b" } else { "undecided" };
    assert_eq!(event["verdict"], verdict);
    let at_a_lower_level = compared(&[&WHEELS[..], &["--json", "--level", "0.75"]].concat())
        .ended_with(0)
        .json();
    assert_eq!(at_a_lower_level["verdict"], "b");
    assert_eq!(at_a_lower_level["runs_to_settle"], Value::Null);
    assert_eq!(
        at_a_lower_level["chance_b_better"],
        found["chance_b_better"]
    );
}

/// In whole centimetres: one is up to six in a hundred there, and the median miss is far inside. That no shorter one would
/// do is held beside the code.
#[test]
fn both_are_shown_where_the_better_is_nine_times_in_ten() {
    let setup = haltmark::setup::read(SETUP.as_ref()).expect("a sound set-up");
    let read = log::read(&[SEASON.into()], &setup, &log::ReadOptions::default());
    let (season, _) = read.expect("a sound log");
    let level = Level::new(0.95).expect("a level");
    let found = compare::compare(&season, &setup, level, By::Wheels, "narrow", "wide");
    let event = found.expect("both ran often").at_event;
    let cm = 100.0 * event.within_m;
    assert!(cm >= 1.0 && (cm - cm.round()).abs() < 1e-9, "{cm}");
    let [narrow, wide] = event.chance_within;
    assert!(
        (0.9..0.96).contains(&wide) && narrow < wide,
        "{narrow} {wide}"
    );
    assert!(event.within_m > event.miss_m.b.estimate, "{event:?}");
}

#[test]
fn asked_the_other_way_round_it_says_the_same() {
    let one = compared(&[&WHEELS[..], &["--json"]].concat())
        .ended_with(0)
        .json();
    let other = compared(&["--by", "wheels", "--a", "wide", "--b", "narrow", "--json"])
        .ended_with(0)
        .json();
    let close = |x: &Value, y: f64| (number(x) - y).abs() <= 1e-9 * (1.0 + y.abs());
    for key in ["distance_per_turn_cm", "overshoot_cm", "event_miss_cm"] {
        assert_eq!(one[key]["a"], other[key]["b"]);
        assert_eq!(one[key]["b"], other[key]["a"]);
        let (d, e) = (&one[key]["difference"], &other[key]["difference"]);
        assert!(
            close(&d["low"], -number(&e["high"])) && close(&d["estimate"], -number(&e["estimate"]))
        );
    }
    let (r, s) = (
        &one["run_to_run_cm"]["ratio"],
        &other["run_to_run_cm"]["ratio"],
    );
    assert!(close(&r["low"], 1.0 / number(&s["high"])));
    assert!(close(
        &one["chance_b_better"],
        1.0 - number(&other["chance_b_better"])
    ));
    assert_eq!(one["runs_to_settle"], other["runs_to_settle"]);
    assert_eq!(one["sessions_shared"], other["sessions_shared"]);
    let (e, f) = (&one["at_event"], &other["at_event"]);
    assert_eq!(e["miss_cm"]["a"], f["miss_cm"]["b"]);
    assert_eq!(e["runs_to_settle"], f["runs_to_settle"]);
    assert!(close(
        &e["chance_b_better"],
        1.0 - number(&f["chance_b_better"])
    ));
}

/// One run that counts is the first run of the day, and then it is said once.
#[test]
fn with_one_run_the_event_is_the_first_run() {
    let folder = Folder::new();
    let setup = std::fs::read_to_string(SETUP).expect("its set-up");
    folder.write("one.toml", setup.replace("runs = 2", "runs = 1"));
    let ask = ["compare", SEASON, "--setup", "one.toml"];
    let found = folder
        .run_with(&[&ask[..], &WHEELS[..], &["--json"]].concat())
        .ended_with(0)
        .json();
    let event = &found["at_event"];
    for key in ["chance_b_better", "verdict", "runs_to_settle"] {
        assert_eq!(event[key], found[key], "{key}");
    }
    assert_eq!(event["miss_cm"], found["event_miss_cm"]);
    let text = folder
        .run_with(&[&ask[..], &WHEELS[..]].concat())
        .ended_with(0)
        .stdout;
    assert!(
        text.starts_with("What counts here: the only run."),
        "{text}"
    );
    assert!(!text.contains("first run"), "{text}");
}

/// A mean of the last and of the sum of two, by hand from the set-up's rule: the sum is more than the last, the better less.
#[test]
fn what_counts_is_what_the_set_up_says() {
    let folder = Folder::new();
    let setup = std::fs::read_to_string(SETUP).expect("its set-up");
    let miss = |counts: &str| {
        folder.write(
            "s.toml",
            setup.replace("\"best\"", &format!("\"{counts}\"")),
        );
        let ask = ["compare", SEASON, "--setup", "s.toml", "--json"];
        let found = folder
            .run_with(&[&ask[..], &WHEELS[..]].concat())
            .ended_with(0)
            .json();
        let at = |v: &Value| number(&v["a"]["estimate"]);
        (
            at(&found["at_event"]["miss_cm"]),
            at(&found["event_miss_cm"]),
        )
    };
    let ((best, first), (last, _), (sum, _)) = (miss("best"), miss("last"), miss("sum"));
    assert!(best < last && last < first, "{best} {last} {first}");
    // The sum's mean is that of the first and the last together; its median nearly so.
    assert!(
        (sum / (first + last) - 1.0).abs() < 0.02,
        "{sum} for {first} and {last}"
    );
}

/// Two vehicles alike at the middle of their range, one of whose spreads grow with distance: what is said to land within
/// reach must follow the range that is announced, each from its own turns.
#[test]
fn spreads_that_grow_are_those_of_the_targets() {
    let folder = Folder::new();
    let mut log = "session,wheels,target_m,turns,long_cm\n".to_string();
    for day in 0..6 {
        for run in 0..12 {
            let target = 4 + 2 * (run % 4);
            // Even 6 cm for foam; for rubber 1 cm for each metre.
            let sign = f64::from((5 * run + 3 * day) % 7 - 3) / 2.0;
            let (even, grown) = (6.0 * sign, f64::from(target) * sign);
            log += &format!("{day},foam,{target},{},{even}\n", 4 * target);
            log += &format!("{day},rubber,{target},{},{grown}\n", 4 * target);
        }
    }
    folder.write("s.csv", log);
    let ratio = |setup: &str| {
        folder.write("s.toml", format!("[score]\nmeasure = \"line\"\n{setup}"));
        let found = folder
            .run("compare s.csv --setup s.toml --by wheels --a foam --b rubber --json")
            .ended_with(0)
            .json();
        let of = |side: &str| number(&found["event_miss_cm"][side]["estimate"]);
        of("b") / of("a")
    };
    let near = ratio("[event]\nshortest_m = 4\nlongest_m = 4\n");
    let far = ratio("[event]\nshortest_m = 10\nlongest_m = 10\n");
    assert!(near < 1.0 && far > 1.15 && far > 1.4 * near, "{near} {far}");
}

/// The two orders inside differ only by which axes of the points are whose: the answers may move by the points' own error.
#[test]
fn renaming_the_two_changes_nothing_that_can_be_read() {
    let text = std::fs::read_to_string(SEASON).expect("the demo");
    let folder = Folder::new();
    folder.write("s.csv", text.replace(",narrow,", ",zigzag,"));
    let setup = std::fs::read_to_string(SETUP).expect("its set-up");
    folder.write("s.toml", setup.replace("narrow", "zigzag"));
    let renamed = folder
        .run("compare s.csv --setup s.toml --by wheels --a zigzag --b wide --json")
        .ended_with(0)
        .json();
    let plain = compared(&[&WHEELS[..], &["--json"]].concat())
        .ended_with(0)
        .json();
    let off = number(&renamed["chance_b_better"]) - number(&plain["chance_b_better"]);
    assert!(off.abs() < 0.02, "{off}");
    let width = |v: &Value| number(&v["high"]) - number(&v["low"]);
    for key in ["overshoot_cm", "event_miss_cm", "distance_per_turn_cm"] {
        let (one, other) = (&renamed[key]["difference"], &plain[key]["difference"]);
        for end in ["low", "high"] {
            let off = (number(&one[end]) - number(&other[end])).abs();
            assert!(off < 0.05 * width(other), "{key} {end} {off}");
        }
    }
}

#[test]
fn every_column_can_be_compared() {
    for (by, a, b) in [
        ("build", "long string", "short string"),
        ("trim", "first", "re-trimmed"),
        ("floor", "canteen", "hall"),
    ] {
        let ran = compared(&["--by", by, "--a", a, "--b", b]).ended_with(0);
        assert!(ran.stdout.contains(by), "{ran}");
        if by == "build" {
            assert!(ran.stdout.contains("never ran on the same day"), "{ran}");
        }
    }
}

#[test]
fn labels_that_are_not_there_are_named() {
    let ran = compared(&["--by", "wheels", "--a", "narow", "--b", "wide"]).ended_with(2);
    assert!(ran.stderr.contains("\"narrow\", \"wide\""), "{ran}");
    compared(&["--by", "wheels", "--a", "wide", "--b", "wide"]).ended_with(2);
    let ran = compared(&["--by", "vehicle", "--a", "Bramble", "--b", "Heron"]).ended_with(2);
    assert!(ran.stderr.contains("only \"Bramble\""), "{ran}");
}

#[test]
fn too_few_runs_say_which_and_what_would_help() {
    let folder = Folder::new();
    let mut log = "session,wheels,target_m,turns,long_cm\n".to_string();
    for i in 0..8 {
        log += &format!(
            "1,foam,{},{},{}\n",
            6 + i % 3,
            24 + 4 * (i % 3),
            (i * 5) % 7
        );
    }
    folder.write(
        "few.csv",
        format!("{log}1,rubber,7,28,3\n1,rubber,8,32,5\n"),
    );
    let ran = folder
        .run("compare few.csv --by wheels --a foam --b rubber --out out")
        .ended_with(1);
    assert!(
        ran.stderr.contains("rubber") && ran.stderr.contains("at least 3"),
        "{ran}"
    );
    assert_eq!(folder.names(), ["few.csv"]);
}

/// Days that shift both alike cancel, and only then: the same runs with the labels of one set's sessions changed.
#[test]
fn what_both_share_on_a_day_cancels() {
    let mut same = "session,wheels,target_m,turns,long_cm\n".to_string();
    let mut apart = same.clone();
    // Shifts of a day far larger than the runs' own spread.
    for (day, shift) in [-21.0, 14.0, 3.0, 25.0, -12.0, -9.0].iter().enumerate() {
        for run in 0..6 {
            let (target, turns) = (6 + run % 3, 24 + 4 * (run % 3));
            for (wheels, more) in [("foam", 0.0), ("rubber", 4.0)] {
                let chance = f64::from((7 * run + 5 * day as i32 + 3 * more as i32) % 5) - 2.0;
                let long = shift + more + chance;
                same += &format!("{day},{wheels},{target},{turns},{long}\n");
                apart += &format!("{day}{wheels},{wheels},{target},{turns},{long}\n");
            }
        }
    }
    let folder = Folder::new();
    folder.write("same.csv", same);
    folder.write("apart.csv", apart);
    let width = |log: &str| {
        let found = folder
            .run(&format!(
                "compare {log} --by wheels --a foam --b rubber --json"
            ))
            .ended_with(0)
            .json();
        let d = &found["overshoot_cm"]["difference"];
        let shared = number(&found["sessions_shared"]);
        (number(&d["high"]) - number(&d["low"]), shared)
    };
    let (together, shared) = width("same.csv");
    assert_eq!(shared, 6.0);
    let (alone, shared) = width("apart.csv");
    assert_eq!(shared, 0.0);
    assert!(together < 0.5 * alone, "{together} {alone}");
}

#[test]
fn the_page_stands_alone() {
    let folder = Folder::new();
    let mut all = vec!["compare", SEASON, "--setup", SETUP, "--out", "out"];
    all.extend(WHEELS);
    folder.run_with(&all).ended_with(0);
    assert_eq!(
        folder.names(),
        [
            "out/",
            "out/compare.html",
            "out/figures/",
            "out/figures/compare.svg"
        ]
    );
    let page = folder.text("out/compare.html");
    for part in [
        "narrow or wide?",
        "What counts here: the better of 2 runs",
        "<svg",
        "<title",
        "Wear eye protection",
    ] {
        assert!(page.contains(part), "{part}");
    }
    assert!(!page.contains("<script") && !page.contains("src="));
}

/// Two vehicles: Pip on foam on two early days, on rubber since; Otter on foam. What each run missed by is made up.
const DAYS: [(&str, [&str; 2]); 5] = [
    ("1", ["Pip,foam", ""]),
    ("2", ["Pip,foam", "Otter,foam"]),
    ("3", ["Pip,rubber", "Otter,foam"]),
    ("4", ["Pip,rubber", "Otter,foam"]),
    ("5", ["Pip,rubber", "Otter,foam"]),
];

fn two_vehicles() -> String {
    let mut log = "session,vehicle,wheels,target_m,turns,long_cm\n".to_string();
    for (day, (session, rigs)) in (0..).zip(DAYS) {
        for (of, rig) in (0..).zip(rigs).filter(|(_, rig)| !rig.is_empty()) {
            for run in 0..6 {
                let target = 6 + run % 3;
                let chance = f64::from((7 * run + 5 * day + 3 * of) % 5) - 2.0;
                let long = (f64::from(day) - 2.0) + chance * f64::from(2 - of) * 2.0;
                log += &format!("{session},{rig},{target},{},{long}\n", 4 * target);
            }
        }
    }
    log
}

const VEHICLES: &str = "compare two.csv --by vehicle";

/// The rigs of today are named whole; the answer is that of a log that holds nothing else, each vehicle on one wheel set.
#[test]
fn two_rigs_on_different_wheels_are_compared_as_they_are() {
    let folder = Folder::new();
    let log = two_vehicles();
    folder.write("two.csv", &log);
    let command = format!("{VEHICLES} --a pip/RUBBER --b Otter/foam");
    let found = folder
        .run(&format!("{command} --json"))
        .ended_with(0)
        .json();
    assert_eq!(
        (&found["a"], &found["b"]),
        (&"Pip/rubber".into(), &"Otter/foam".into())
    );
    assert_eq!(found["sessions_shared"], 3);
    let alone: Vec<&str> = log
        .lines()
        .filter(|line| !line.contains("Pip,foam"))
        .collect();
    let alone = alone
        .join("\n")
        .replace(",rubber,", ",x,")
        .replace(",foam,", ",x,")
        + "\n";
    folder.write("alone.csv", alone);
    let plain = folder
        .run("compare alone.csv --by vehicle --a Pip --b Otter --json")
        .ended_with(0)
        .json();
    for key in ["overshoot_cm", "event_miss_cm", "at_event", "run_to_run_cm"] {
        assert_eq!(found[key], plain[key], "{key}");
    }
    // That wheels differ as well is said in the answer, on the page and in the JSON.
    let together = "ran on different wheels, so vehicle and wheels are compared together";
    assert!(found["warnings"].to_string().contains(together), "{found}");
    let ran = folder
        .run(&format!("{command} --quiet --out out"))
        .ended_with(0);
    assert!(ran.stdout.contains(together), "{ran}");
    assert!(
        ran.stdout.contains("Otter/foam is") || ran.stdout.contains("that Otter/foam"),
        "{ran}"
    );
    let page = folder.text("out/compare.html");
    for part in [together, "Vehicle and wheels: Pip"] {
        assert!(page.contains(part), "{part}");
    }
    // By wheels, too; of one vehicle two rigs differ in wheels alone.
    let by_wheels = folder
        .run("compare two.csv --by wheels --a Pip/rubber --b Otter/foam --json")
        .ended_with(0)
        .json();
    assert_eq!(by_wheels["at_event"], found["at_event"]);
    let one = folder
        .run(&format!("{VEHICLES} --a Pip/rubber --b Pip/foam --json"))
        .ended_with(0)
        .json();
    assert!(
        !one["warnings"].to_string().contains("compared together"),
        "{one}"
    );
    folder
        .run(&format!("{VEHICLES} --a Pip/rubber --b pip/rubber"))
        .ended_with(2);
    // Who holds the wheels fixed on which one never ran is told of whole rigs.
    let ran = folder
        .run(&format!("{VEHICLES} --a Pip --b Otter --rig rubber"))
        .ended_with(2);
    let said = "--b: read \"Otter\"; has no runs with --rig rubber; two whole rigs are compared";
    assert!(ran.stderr.contains(said), "{ran}");
    let ran = folder
        .run(&format!("{VEHICLES} --a Pip/cork --b Otter"))
        .ended_with(2);
    assert!(ran.stderr.contains("or whole rigs: \"Pip/foam\""), "{ran}");
}

/// By plain names the two are compared on the same wheels; that one runs on others now is said, with the command.
#[test]
fn what_two_vehicles_run_on_now_is_named() {
    let folder = Folder::new();
    folder.write("two.csv", two_vehicles());
    let ran = folder
        .run(&format!("{VEHICLES} --a Otter --b Pip"))
        .ended_with(0);
    assert!(
        ran.stdout
            .contains("this one is on the same wheels: Otter/foam and Pip/foam"),
        "{ran}"
    );
    let (_, command) = ran
        .stdout
        .split_once(
            "the newest runs are those of Otter/foam and Pip/rubber; to compare these: haltmark ",
        )
        .expect("the note");
    let now = folder
        .run(command.lines().next().expect("a line"))
        .ended_with(0);
    assert!(
        now.stdout.contains("Pip/rubber") && !now.stdout.contains("the newest runs are"),
        "{now}"
    );
}

#[test]
fn a_label_with_a_slash_is_a_label() {
    let folder = Folder::new();
    let log = two_vehicles();
    let log: Vec<&str> = log
        .lines()
        .filter(|line| !line.contains("Pip,foam"))
        .collect();
    let log = log.join("\n").replace("Pip,rubber", "Otter/foam,foam") + "\n";
    folder.write("two.csv", log);
    // Both the vehicle of that label and the rig are called Otter/foam: the label is meant.
    let found = folder
        .run(&format!("{VEHICLES} --a Otter --b Otter/foam --json"))
        .ended_with(0)
        .json();
    assert_eq!(
        (&found["a"], &found["b"]),
        (&"Otter".into(), &"Otter/foam".into())
    );
    assert_eq!(found["sessions_shared"], 3);
    let whole = folder
        .run(&format!("{VEHICLES} --a Otter --b Otter/foam/foam --json"))
        .ended_with(0)
        .json();
    assert_eq!(whole["at_event"], found["at_event"]);
}

/// At 80 % the first run of a new day is settled with a chance of some 83 %, and 80 % of the difference holds 0.
#[test]
fn a_settled_answer_beside_a_range_that_holds_0_is_explained() {
    let explained =
        "leaves out only 10 % at each end; the chance that it is the other way round is 1";
    let ran = compared(&[&WHEELS[..], &["--level", "0.8"]].concat()).ended_with(0);
    assert!(
        ran.stdout.contains(explained) && ran.stdout.contains("up to 20 % counts as settled"),
        "{ran}"
    );
    let ran = compared(&WHEELS).ended_with(0);
    assert!(!ran.stdout.contains("the other way round"), "{ran}");
}

#[test]
fn the_answer_ends_with_the_next_command() {
    let next = |arguments: &[&str]| {
        let ran = compared(&[&WHEELS[..], arguments].concat()).ended_with(0);
        let last = ran.stdout.lines().last().expect("a line").to_string();
        last.replace(SEASON, "LOG").replace(SETUP, "SETUP")
    };
    assert_eq!(
        next(&[]),
        "next: haltmark fit LOG --setup SETUP, for the settings of wide"
    );
    assert_eq!(
        next(&["--level", "0.999"]),
        "next: haltmark sheet --out sheet.html --setup SETUP, to write more runs of both on"
    );
    let ran = compared(&["--by", "trim", "--a", "first", "--b", "re-trimmed"]).ended_with(0);
    assert!(ran.stdout.contains(", for the settings of both"), "{ran}");
}
