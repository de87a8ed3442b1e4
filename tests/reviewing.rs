//! `review`: new runs held against a calibration.

mod common;

use common::Folder;
use haltmark::simulate::{self, Truth};
use haltmark::stats::interval::Level;
use haltmark::stats::mixed::new_groups::{KnownSpread, NewGroups};
use haltmark::stats::mixed::{Node, Posterior, Row};
use serde_json::Value;

const DATA: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/data/");

fn number(v: &Value) -> f64 {
    v.as_f64()
        .unwrap_or_else(|| panic!("expected a number, got {v}"))
}

/// The ratio of two spreads with its F interval: `compare_groups.json` (NIST/SEMATECH e-Handbook 1.3.5.9, ceramic
/// strength; Student 1908), limits by R 4.2.2 var.test. Group 2 is what is known, group 1 is new: one group about
/// its mean.
#[test]
fn the_spread_ratio_has_the_published_f_interval() {
    let read = |name: &str| std::fs::read_to_string(format!("{DATA}{name}")).expect("the file");
    let group: Value = serde_json::from_str(&read("compare_groups.json")).expect("valid JSON");
    let mut seen = 0;
    for case in group["cases"].as_array().expect("cases") {
        let expected = &case["expected"];
        let Some(wanted) = expected.get("sd_ratio") else {
            continue;
        };
        seen += 1;
        let table = read(case["data"].as_str().expect("a file"));
        let mut lines = table.lines().filter(|l| !l.starts_with('#'));
        let header: Vec<&str> = lines.next().expect("a header").split(',').collect();
        let y = header.iter().position(|h| *h == "y").expect("y");
        let label = 1 - y.min(1);
        let label = header
            .iter()
            .position(|h| ["batch", "group"].contains(h))
            .unwrap_or(label);
        let of = |wanted: &str| -> Vec<f64> {
            let rows = table.lines().filter(|l| !l.starts_with('#')).skip(1);
            rows.map(|l| l.split(',').collect::<Vec<_>>())
                .filter(|c| c[label].trim_matches('"') == wanted)
                .map(|c| c[y].parse().expect("a number"))
                .collect()
        };
        let (new, known) = (of("1"), of("2"));
        let nu = known.len() as f64 - 1.0;
        let mean = known.iter().sum::<f64>() / known.len() as f64;
        let rss: f64 = known.iter().map(|v| (v - mean).powi(2)).sum();
        let node = Node {
            r: 0.0,
            growth: 0.0,
            weight: 1.0,
            rss,
            beta: vec![mean],
            covariance: vec![1.0 / known.len() as f64],
        };
        let posterior = Posterior::from_nodes(nu, vec![node]);
        let rows = new
            .iter()
            .map(|v| (Row::of_mean_size(vec![1.0]), *v))
            .collect();
        let ratio = NewGroups::new([rows])
            .spread(
                &posterior,
                KnownSpread {
                    sd: (rss / nu).sqrt(),
                    df: nu,
                },
            )
            .expect("a covariance")
            .expect("runs");
        let interval = ratio.sd_ratio(Level::default()).expect("limits");
        for (got, want) in [
            (interval.estimate, &wanted["estimate"]),
            (interval.low, &wanted["ci95"][0]),
            (interval.high, &wanted["ci95"][1]),
        ] {
            assert!(
                (got / number(want) - 1.0).abs() < 1e-7,
                "{got} for {want} in {}",
                case["name"]
            );
        }
    }
    assert_eq!(seen, 2);
}

fn truth(sessions: usize) -> Truth {
    let mut truth = Truth::default();
    truth.season.sessions = sessions;
    truth.season.runs_per_session = vec![8];
    truth.recoil.half_lead_turns = 30.0;
    truth
}

fn season(seed: u64) -> Folder {
    let folder = Folder::new();
    folder.write("s.csv", simulate::season(&truth(5), seed).to_csv());
    folder.run("fit s.csv --out out").ended_with(0);
    folder
}

/// Runs of new sessions at settings that `dial` prints, with what they missed by (cm) given by hand.
fn event(folder: &Folder, sessions: &[&[(f64, f64)]]) {
    let targets = [6.0, 7.0, 8.0, 9.0];
    let dial = folder
        .run("dial out/calibration.json --target 6,7,8,9 --json")
        .ended_with(0)
        .json();
    let mut log = "session,target_m,turns,aim_right_cm,long_cm,right_cm\n".to_string();
    for (s, runs) in sessions.iter().enumerate() {
        for (i, (long, right)) in runs.iter().enumerate() {
            let setting = &dial["settings"][i % 4];
            log += &format!(
                "event {s},{},{},{},{long},{right}\n",
                targets[i % 4],
                setting["turns"],
                setting["aim_right_cm"]
            );
        }
    }
    folder.write("event.csv", log);
}

fn review(folder: &Folder, flags: &str) -> Value {
    folder
        .run(&format!(
            "review out/calibration.json event.csv {flags} --json"
        ))
        .ended_with(0)
        .json()
}

const ORDINARY: [(f64, f64); 4] = [(4.0, 2.0), (-3.0, -4.0), (5.0, 3.0), (-6.0, -1.0)];

#[test]
fn ordinary_runs_hold_and_the_counts_are_those_of_the_log() {
    let folder = season(1);
    event(&folder, &[&ORDINARY]);
    let r = review(&folder, "");
    assert_eq!(r["verdict"], "holds", "{r}");
    assert_eq!(
        (r["runs"].as_u64(), r["inside"]["long"]["inside"].as_u64()),
        (Some(4), Some(4))
    );
    assert!((number(&r["expected"]) - 3.8).abs() < 1e-12);
    // The mean of what was written, against predictions that are centred near 0 at the printed settings.
    assert!(number(&r["shift_long_cm"]["estimate"]).abs() < 1.5, "{r}");
}

#[test]
fn a_day_far_beyond_all_others_is_a_shift_whichever_way_and_is_not_wider() {
    let folder = season(2);
    for side in [1.0, -1.0] {
        let far: Vec<(f64, f64)> = ORDINARY
            .iter()
            .map(|(l, r)| (l + side * 90.0, *r))
            .collect();
        event(&folder, &[&far]);
        let r = review(&folder, "");
        assert_eq!(r["verdict"], "shifted", "{r}");
        let shift = &r["shift_long_cm"];
        assert!(
            (number(&shift["estimate"]) - side * 90.0).abs() < 4.0,
            "{shift}"
        );
        assert!(
            number(&shift["low"]) * number(&shift["high"]) > 0.0,
            "{shift}"
        );
        assert_eq!(
            r["inside"]["long"],
            serde_json::json!({"of": 4, "inside": 0})
        );
    }
    // The same direction for all: 8 cm for each metre.
    let right: Vec<(f64, f64)> = ORDINARY
        .iter()
        .zip([6.0, 7.0, 8.0, 9.0])
        .map(|((l, r), target)| (*l, r + 8.0 * target))
        .collect();
    event(&folder, &[&right]);
    let r = review(&folder, "");
    assert_eq!(r["verdict"], "shifted", "{r}");
    // 60 cm at 6 to 9 m: about 8 cm for each metre.
    assert!(
        (number(&r["shift_right_cm_per_m"]["estimate"]) - 8.2).abs() < 1.0,
        "{r}"
    );
}

/// Along only, spreads that do not grow: ten runs in two sessions know σ with 10 − 2 coefficients − 1 = 7 degrees of freedom,
/// the guess of σ not among them; six new runs have 5. The 5 % points of F(5, 7) and F(7, 5) are 3.972 and 4.876
/// (NIST/SEMATECH e-Handbook 1.3.6.7.3; both from memory).
#[test]
fn spreads_are_compared_with_the_degrees_of_freedom_of_the_runs_alone() {
    let folder = Folder::new();
    let off_cm = [3.0, -5.0, 1.0, 6.0, -4.0, -2.0, 5.0, 2.0, -6.0, 1.0];
    let rows = off_cm.iter().enumerate().map(|(i, off)| {
        let (session, target) = (["a", "b"][i / 5], 6 + i % 5);
        format!("{session},{target},{},{off}\n", 4 * target - 2)
    });
    folder.write(
        "season.csv",
        format!(
            "session,target_m,turns,long_cm\n{}",
            rows.collect::<String>()
        ),
    );
    let new = [2.0, -4.0, 7.0, 0.0, -3.0, 5.0].iter().enumerate();
    let rows = new.map(|(i, off)| format!("event,{},{},{off}\n", 6 + i % 4, 22 + 4 * (i % 4)));
    folder.write(
        "event.csv",
        format!(
            "session,target_m,turns,long_cm\n{}",
            rows.collect::<String>()
        ),
    );
    folder.write("fixed.toml", "[prior]\nspread_growth = 0.0\n");
    folder
        .run("fit season.csv --setup fixed.toml -o fitted")
        .ended_with(0);
    let ratio = &folder
        .run("review fitted event.csv --level 0.9 --json")
        .ended_with(0)
        .json()["spread_ratio"];
    let end = |end: &str| (number(&ratio[end]) / number(&ratio["estimate"])).powi(2);
    assert!((end("low") - 1.0 / 3.972).abs() < 1e-3, "{ratio}");
    assert!((end("high") - 4.876).abs() < 1e-2, "{ratio}");
}

#[test]
fn runs_that_scatter_are_wider_and_a_wide_day_far_off_is_both() {
    let folder = season(3);
    let wide: Vec<(f64, f64)> = ORDINARY
        .iter()
        .cycle()
        .take(8)
        .map(|(l, r)| (6.0 * l, 6.0 * r))
        .collect();
    event(&folder, &[&wide]);
    let r = review(&folder, "");
    assert_eq!(r["verdict"], "wider", "{r}");
    assert!(number(&r["spread_ratio"]["low"]) > 1.0, "{r}");
    // A wide vehicle is not made narrow by setting run after run aside.
    assert!(r["set_aside"].as_array().expect("a list").len() <= 1, "{r}");
    let both: Vec<(f64, f64)> = wide.iter().map(|(l, r)| (l + 150.0, *r)).collect();
    event(&folder, &[&both]);
    assert_eq!(
        review(&folder, "")["verdict"],
        "shifted_and_wider",
        "{}",
        review(&folder, "")
    );
}

/// One slip among ordinary runs, along or across, either way, whichever run it is: named with its line, left out of verdict and
/// counts, and the verdict with it is told too.
#[test]
fn one_slip_does_not_condemn_a_vehicle() {
    let folder = season(1);
    event(&folder, &[&ORDINARY]);
    let without = review(&folder, "");
    assert_eq!(without["set_aside"], serde_json::json!([]));
    assert_eq!(without["verdict_with_all"], "holds");
    for (long, right) in [(120.0, 0.0), (-120.0, 0.0), (0.0, 80.0), (0.0, -80.0)] {
        for at in 0..6 {
            let mut runs = [ORDINARY, ORDINARY].concat();
            runs.truncate(6);
            runs[at].0 += long;
            runs[at].1 += right;
            event(&folder, &[&runs]);
            let r = review(&folder, "");
            assert_eq!(r["set_aside"][0]["line"], at + 2, "{r}");
            assert!(r["set_aside"][1].is_null(), "{r}");
            assert_eq!(r["verdict"], "holds", "{r}");
            let with_all = r["verdict_with_all"].as_str().expect("a word");
            assert!(with_all.contains("wider"), "{r}");
            assert_eq!(
                (r["runs"].as_u64(), r["inside"]["long"]["of"].as_u64()),
                (Some(5), Some(5))
            );
            assert!((number(&r["expected"]) - 4.75).abs() < 1e-12);
        }
    }
    // Named before the verdict, with its line; and the page says it too.
    let said = folder
        .run("review out/calibration.json event.csv --out page")
        .ended_with(0)
        .stdout;
    assert!(said.starts_with("Set aside: event.csv, line 7"), "{said}");
    assert!(
        said.contains("calibration holds") && said.contains("become wider"),
        "{said}"
    );
    let page = folder.text("page/review.html");
    assert!(page.contains("event.csv, line 7") && page.contains("become wider"));
}

/// Two runs cannot contradict each other, nor can a day of one run be told from a day that differs.
#[test]
fn too_few_runs_set_none_aside() {
    let folder = season(4);
    event(&folder, &[&[(120.0, 0.0), (2.0, 1.0)]]);
    assert_eq!(review(&folder, "")["set_aside"], serde_json::json!([]));
    event(&folder, &[&[(80.0, 0.0)], &[(82.0, 1.0)], &[(79.0, 2.0)]]);
    let r = review(&folder, "");
    assert_eq!(r["set_aside"], serde_json::json!([]));
    assert_eq!(r["verdict"], "shifted");
}

/// The season's own log: every run that was fitted is known again, and that is said first of all; new runs are not.
#[test]
fn the_calibrations_own_runs_are_known_again() {
    let folder = season(7);
    let calibration: Value =
        serde_json::from_str(&folder.text("out/calibration.json")).expect("valid JSON");
    let log = folder.text("s.csv");
    folder.write("event.csv", &log);
    let r = review(&folder, "");
    assert_eq!(r["known"], calibration["rigs"][0]["runs"], "{r}");
    let said = folder
        .run("review out/calibration.json event.csv")
        .ended_with(0)
        .stdout;
    assert!(said.contains("the calibration's own runs"), "{said}");
    // There is nothing to add to the log.
    assert!(!said.contains("add these runs"), "{said}");
    assert!(!said.contains("next:"), "{said}");
    // Under other labels, and among new ones.
    let rows: Vec<&str> = log.lines().filter(|l| !l.starts_with('#')).collect();
    let renamed = rows[1].split_once(',').expect("cells").1;
    folder.write("event.csv", format!("{}\nrenamed,{renamed}\n", rows[0]));
    assert_eq!(review(&folder, "")["known"], 1);
    event(&folder, &[&ORDINARY]);
    let r = review(&folder, "");
    assert_eq!(r["known"], 0);
    let said = folder
        .run("review out/calibration.json event.csv")
        .ended_with(0)
        .stdout;
    assert!(!said.contains("own runs"), "{said}");
}

/// A log without the column was aimed at the target; written out, the same runs are known again.
#[test]
fn runs_aimed_at_the_target_are_known_again() {
    let folder = Folder::new();
    let played = simulate::season(&truth(4), 5).season;
    let rows = |aim: &str| -> String {
        let row = |r: &haltmark::log::run::Run| {
            Some(format!(
                "{},{},{},{:.3},{:.3}{aim}\n",
                r.session, r.target_m?, r.turns?, r.rest_m?, r.right_m?
            ))
        };
        played.runs.iter().filter_map(row).collect()
    };
    let head = "session,target_m,turns,rest_m,right_m";
    folder.write("s.csv", format!("{head}\n{}", rows("")));
    folder.run("fit s.csv --out out").ended_with(0);
    let runs = rows("").lines().count();
    for (head, aim) in [
        (head.to_string(), ""),
        (format!("{head},aim_right_m"), ",0"),
    ] {
        folder.write("event.csv", format!("{head}\n{}", rows(aim)));
        let r = review(&folder, "");
        let fitted = number(&r["known"]) as usize;
        assert!(fitted + 2 >= runs && fitted > 20, "{fitted} of {runs}");
    }
}

#[test]
fn runs_without_an_aim_mark_are_reviewed_along_and_that_is_said_once() {
    let folder = season(8);
    let head = "session,target_m,turns,aim_right_cm,long_cm,right_cm\n";
    folder.write(
        "event.csv",
        format!("{head}e,8,33,,3,4\ne,8,33,,5,-2\ne,8,33,,1,7\n"),
    );
    let r = review(&folder, "");
    assert_eq!(
        r["inside"]["right"],
        serde_json::json!({"of": 0, "inside": 0})
    );
    assert_eq!(r["inside"]["long"]["of"], 3);
    let said = r["warnings"].as_array().expect("a list");
    let words = said.iter().filter_map(Value::as_str);
    let of_aim: Vec<&str> = words.filter(|w| w.contains("aim mark")).collect();
    assert_eq!(of_aim.len(), 1, "{said:?}");
    assert!(of_aim[0].contains("lines 2, 3, 4"), "{said:?}");
}

#[test]
fn two_runs_are_too_few_and_still_counted() {
    let folder = season(4);
    event(&folder, &[&[(90.0, 0.0), (91.0, 0.0)]]);
    let r = review(&folder, "");
    assert_eq!(r["verdict"], "too_few");
    assert_eq!(
        (r["runs"].as_u64(), r["inside"]["long"]["inside"].as_u64()),
        (Some(2), Some(0))
    );
}

/// Each session has a shift of its own: two sessions on either side of the season are no wider for it, and their common
/// mean is known no better than two days' shifts let it be.
#[test]
fn several_sessions_each_have_their_own_shift() {
    let folder = season(5);
    let moved = |by: f64| ORDINARY.map(|(l, r)| (l + by, r));
    event(&folder, &[&moved(15.0), &moved(-15.0)]);
    let r = review(&folder, "");
    assert_eq!(r["verdict"], "holds", "{r}");
    assert!(number(&r["spread_ratio"]["estimate"]) < 1.6, "{r}");
    event(&folder, &[&ORDINARY]);
    let one = review(&folder, "");
    let width =
        |v: &Value| number(&v["shift_long_cm"]["high"]) - number(&v["shift_long_cm"]["low"]);
    assert!(width(&r) < width(&one) && width(&r) > 0.6 * width(&one));
    let text = folder
        .run("review out/calibration.json event.csv")
        .ended_with(0);
    assert!(
        text.stdout.contains("holds") && !text.stdout.contains("pooled"),
        "{text}"
    );
}

#[test]
fn a_log_that_tells_nothing_ends_with_1_and_says_what_would() {
    let folder = season(6);
    folder.write(
        "event.csv",
        "session,target_m,turns,long_cm,right_cm,status\ne,8,33,,,void\n",
    );
    let ran = folder
        .run("review out/calibration.json event.csv")
        .ended_with(1);
    assert!(ran.stderr.contains("add runs of this rig"), "{ran}");
}

#[test]
fn the_demo_event_is_reviewed_for_the_rig_it_names() {
    let folder = Folder::new();
    for name in ["bramble.csv", "bramble-event.csv", "bramble-setup.toml"] {
        let from = format!("{}/data/{name}", env!("CARGO_MANIFEST_DIR"));
        folder.write(name, std::fs::read(from).expect("the demo"));
    }
    folder
        .run("fit bramble.csv --setup bramble-setup.toml --out out")
        .ended_with(0);
    let r = folder
        .run("review out/calibration.json bramble-event.csv --json")
        .ended_with(0)
        .json();
    assert_eq!(r["rig"], "Bramble/wide");
    assert_eq!(r["runs"], 6);
    // Made from the season's own truth: nothing has changed.
    assert_eq!(r["verdict"], "holds", "{r}");
    // The wheels it was not run on cannot be reviewed with it, which is said of the runs.
    let ran = folder
        .run("review out/calibration.json bramble-event.csv --rig Bramble/narrow")
        .ended_with(1);
    assert!(
        ran.stderr
            .contains("of Bramble/wide, not of Bramble/narrow"),
        "{ran}"
    );
    // A rig misspelt in the log is named, with the one that is meant.
    let misspelt = folder.text("bramble-event.csv").replace(",wide,", ",wied,");
    folder.write("misspelt.csv", misspelt);
    let ran = folder.run("review out misspelt.csv").ended_with(2);
    for says in [
        "misspelt.csv: read \"Bramble/wied\"",
        "did you mean Bramble/wide?",
    ] {
        assert!(ran.stderr.contains(says), "{ran}");
    }
    // Of the season's own runs those that rolled back at more lead were used for direction only, and nothing is predicted
    // along for them: they are neither among the runs nor among those known.
    let r = folder
        .run("review out bramble.csv --rig wide --json")
        .ended_with(0)
        .json();
    let count = |key: &str| r[key].as_u64().expect("a count");
    assert!(count("known") > 0 && count("known") <= count("runs"), "{r}");
}

/// A vehicle without a name is not called by none.
#[test]
fn runs_of_another_than_a_vehicle_without_a_name_are_said_to_be() {
    let folder = season(6);
    folder.write(
        "event.csv",
        "session,vehicle,target_m,turns,long_cm,right_cm,aim_right_cm\ne,,8,33,2,2,0\ne,Zebra,8,33,1,1,0\n",
    );
    let ran = folder.run("review out event.csv").ended_with(0);
    let says = "the run of line 3 is of Zebra, not of the calibration's vehicle, which has no name, and left out";
    assert!(ran.stdout.contains(says), "{ran}");
}

#[test]
fn the_page_says_the_verdict_and_shows_every_run() {
    let folder = season(7);
    event(&folder, &[&ORDINARY]);
    folder
        .run("review out/calibration.json event.csv --out page")
        .ended_with(0);
    let page = folder.text("page/review.html");
    assert!(page.contains("The calibration holds") && page.contains("Catch the mass on padding"));
    assert!(!page.contains("<script"));
    // A bar and a mark (in a path, a line of no length with round ends) for each run, along and across.
    let figure = folder.text("page/figures/review.svg");
    assert!(
        figure.matches("h0").count() >= 2 * ORDINARY.len(),
        "{figure}"
    );
}

/// A run that rolled back at the lead in use counts where it came to rest, and is named and marked: a day may be wide by it alone.
#[test]
fn runs_that_rolled_back_are_named_and_marked() {
    let folder = season(1);
    event(&folder, &[&ORDINARY]);
    let plain = "review out/calibration.json event.csv --out";
    let ran = folder.run(&format!("{plain} plain")).ended_with(0);
    assert!(!ran.stdout.contains("rolled back"), "{ran}");
    assert!(
        !folder
            .text("plain/figures/review.svg")
            .contains("rolled back")
    );
    let log = folder.text("event.csv");
    let log = log
        .trim_end()
        .replace('\n', ",\n")
        .replacen(",\n", ",status\n", 1)
        + ",recoil\n";
    folder.write("event.csv", log);
    let ran = folder.run(&format!("{plain} rolled")).ended_with(0);
    let said = "What rolled back counts where it came to rest: line 5.";
    assert!(ran.stdout.contains(said), "{ran}");
    assert!(folder.text("rolled/review.html").contains(said));
    let figure = folder.text("rolled/figures/review.svg");
    assert!(figure.contains("○ rolled"), "{figure}");
    // Runs that differ too much: what to look at first.
    let wide = folder
        .text("event.csv")
        .replace(",4,2,", ",90,2,")
        .replace(",-3,-4,", ",-80,-4,");
    folder.write("event.csv", wide);
    let ran = folder.run(&format!("{plain} wide")).ended_with(0);
    assert!(
        ran.stdout.contains("become wider") && ran.stdout.contains("look at the brake first"),
        "{ran}"
    );
}
