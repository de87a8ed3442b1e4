//! `dial`: settings for announced targets, on invented seasons; what must hold whatever the season.

mod common;

use common::Folder;
use haltmark::simulate::{self, Truth};
use serde_json::Value;

fn number(v: &Value) -> f64 {
    v.as_f64()
        .unwrap_or_else(|| panic!("expected a number, got {v}"))
}

fn truth(sessions: usize) -> Truth {
    let mut truth = Truth::default();
    truth.season.sessions = sessions;
    truth.season.runs_per_session = vec![8];
    truth
}

const SETUP: &str = "[vehicle]\nwidth_cm = 16\n[event]\nshortest_m = 6\nlongest_m = 9\nstep_m = 0.5\n[obstacle]\nat = 0.5\nright_cm = 15\ndiameter_cm = 20\npass = \"left\"\n[lane]\nhalf_width_m = 1.5\n";

fn season(truth: &Truth, seed: u64, setup: &str) -> Folder {
    let folder = Folder::new();
    folder.write("s.csv", simulate::season(truth, seed).to_csv());
    folder.write("s.toml", setup);
    folder
        .run("fit s.csv --setup s.toml --out out")
        .ended_with(0);
    folder
}

fn dialled(folder: &Folder, more: &str) -> Vec<Value> {
    let ran = folder
        .run(&format!("dial out/calibration.json --json {more}"))
        .ended_with(0);
    ran.json()["settings"].as_array().expect("settings").clone()
}

#[test]
fn a_longer_target_never_needs_fewer_turns() {
    let folder = season(&truth(3), 1, SETUP);
    let targets: Vec<String> = (60..=90)
        .map(|t| format!("{:.2}", f64::from(t) / 10.0))
        .collect();
    let settings = dialled(&folder, &format!("--target {}", targets.join(",")));
    for pair in settings.windows(2) {
        assert!(number(&pair[1]["turns"]) >= number(&pair[0]["turns"]));
    }
    for s in &settings {
        let turns = number(&s["whole_turns"]) + number(&s["ticks"]) / 20.0;
        assert!((turns - number(&s["turns"])).abs() < 1e-12);
        assert!((number(&s["turns"]) - number(&s["turns_exact"]["estimate"])).abs() <= 0.0251);
        let aim = number(&s["aim_right_cm"]);
        assert!((aim - number(&s["aim_exact_right_cm"]["estimate"])).abs() <= 0.2501);
        assert!(
            (aim * 2.0 - (aim * 2.0).round()).abs() < 1e-9,
            "{aim} is no whole step of 0.5 cm"
        );
        for key in ["long_cm", "right_cm", "miss_cm", "turns_exact"] {
            let i = &s[key];
            assert!(
                number(&i["low"]) <= number(&i["estimate"])
                    && number(&i["estimate"]) <= number(&i["high"]),
                "{key} {i}"
            );
        }
        // Within half a tick and half an aim step the median run stops on the target.
        assert!(
            number(&s["long_cm"]["estimate"]).abs() < 0.8,
            "{}",
            s["long_cm"]
        );
        assert!(
            number(&s["right_cm"]["estimate"]).abs() < 0.5,
            "{}",
            s["right_cm"]
        );
    }
}

#[test]
fn a_higher_level_widens_intervals_and_moves_no_setting() {
    let folder = season(&truth(4), 2, SETUP);
    let narrow = dialled(&folder, "--target 7,8.5 --level 0.8");
    let wide = dialled(&folder, "--target 7,8.5 --level 0.99");
    for (a, b) in narrow.iter().zip(&wide) {
        for key in ["turns", "aim_right_cm", "lead_turns"] {
            assert_eq!(a[key], b[key]);
        }
        for key in ["long_cm", "right_cm", "turns_exact", "aim_exact_right_cm"] {
            assert!(number(&a[key]["low"]) > number(&b[key]["low"]), "{key}");
            assert!(number(&a[key]["high"]) < number(&b[key]["high"]), "{key}");
        }
        let gap = |s: &Value| {
            number(&s["obstacle"]["gap_cm"]["high"]) - number(&s["obstacle"]["gap_cm"]["low"])
        };
        assert!(gap(a) < gap(b));
        assert!(number(&a["miss_cm"]["high"]) < number(&b["miss_cm"]["high"]));
    }
}

#[test]
fn a_heavy_penalty_for_going_long_aims_short() {
    let folder = season(&truth(4), 3, SETUP);
    let plain = dialled(&folder, "--target 8");
    folder.write(
        "p.toml",
        format!("{SETUP}[score]\nlong_limit_cm = 5\nlong_penalty = 200\n"),
    );
    let careful = dialled(&folder, "--target 8 --setup p.toml");
    assert!(number(&careful[0]["turns"]) < number(&plain[0]["turns"]));
    // It says so, with how far and what costs so much; the plain setting has nothing to say.
    let said = |s: &Value| s["warnings"].to_string();
    assert!(
        !said(&plain[0]).contains("on purpose"),
        "{}",
        said(&plain[0])
    );
    let short = -number(&careful[0]["long_cm"]["estimate"]);
    let (_, how_far) = said(&careful[0])
        .split_once("aims ")
        .map(|(a, b)| (a.to_string(), b.to_string()))
        .expect("why it aims short");
    let cm: f64 = how_far
        .split(' ')
        .next()
        .and_then(|n| n.parse().ok())
        .expect("cm");
    assert!((cm - short).abs() < 1.5, "{how_far}: {short}");
    let why = " on purpose: going more than 5 cm past the target costs 200 ";
    assert!(
        how_far.contains(" cm short") && how_far.contains(why),
        "{how_far}"
    );
    let text = folder
        .run("dial out --target 8 --setup p.toml")
        .ended_with(0)
        .stdout;
    assert!(text.contains("note: aims ") && text.contains(why), "{text}");
    let expected = |s: &Value| number(&s["score"]["estimate"]);
    // Its own score is what it keeps low: the plain setting would cost more under the same rules.
    assert!(expected(&careful[0]) < 200.0 * 0.5 + expected(&plain[0]));
    folder.write("t.toml", format!("{SETUP}[score]\ntouch_penalty = 500\n"));
    let wide = dialled(&folder, "--target 8 --setup t.toml");
    assert!(
        number(&wide[0]["obstacle"]["touch_chance"])
            <= number(&plain[0]["obstacle"]["touch_chance"])
    );
}

#[test]
fn with_a_line_measure_the_miss_is_the_size_of_long() {
    let folder = season(&truth(4), 4, SETUP);
    folder.write("l.toml", format!("{SETUP}[score]\nmeasure = \"line\"\n"));
    let line = dialled(&folder, "--target 8 --setup l.toml");
    let point = dialled(&folder, "--target 8");
    assert_eq!(line[0]["turns"], point[0]["turns"]);
    assert!(number(&line[0]["miss_cm"]["high"]) < number(&point[0]["miss_cm"]["high"]));
    let long = &line[0]["long_cm"];
    let widest = number(&long["high"]).max(-number(&long["low"]));
    // P(|long| ≤ its central interval's wider end) is at least the level.
    assert!(number(&line[0]["miss_cm"]["high"]) <= widest * 1.01);
}

/// The obstacle so near the line that aims at the target itself touch it, and a lane that an aim far aside leaves.
fn where_only_the_line_counts() -> Folder {
    let setup = SETUP
        .replace("right_cm = 15", "right_cm = 8")
        .replace("half_width_m = 1.5", "half_width_m = 0.5");
    let folder = season(&truth(6), 1, &setup);
    let score = "[score]\nmeasure = \"line\"\nlong_limit_cm = 10\nlong_penalty = 40\n";
    folder.write("line.toml", format!("{setup}{score}"));
    folder.write("touch.toml", format!("{setup}{score}touch_penalty = 50\n"));
    folder
}

/// Settings for targets every 5 cm.
fn close_together(folder: &Folder, set_up: &str) -> Vec<Value> {
    let targets: Vec<String> = (120..=180)
        .map(|t| format!("{:.2}", f64::from(t) / 20.0))
        .collect();
    let settings = dialled(
        folder,
        &format!("--setup {set_up} --target {}", targets.join(",")),
    );
    assert_eq!(settings.len(), targets.len());
    settings
}

/// Where across does not count and touches have no price, nothing that has one is to be had by aiming aside.
#[test]
fn a_price_on_going_long_moves_no_aim_mark_where_only_the_line_counts() {
    let folder = where_only_the_line_counts();
    let plain = close_together(&folder, "s.toml");
    let line = close_together(&folder, "line.toml");
    for (plain, line) in plain.iter().zip(&line) {
        assert_eq!(line["aim_right_cm"], plain["aim_right_cm"], "{line}");
        assert_eq!(line["aim_exact_right_cm"], plain["aim_exact_right_cm"]);
        assert!(number(&line["turns"]) < number(&plain["turns"]), "{line}");
        let said = line["warnings"].to_string();
        assert!(
            said.contains("short on purpose: going more than 10 cm past the target costs 40"),
            "{said}"
        );
        assert!(
            !said.contains("to the left") && !said.contains("to the right"),
            "{said}"
        );
    }
}

/// Where across does not count an aim mark can be moved at no price as far as one likes: it is moved as far as touches ask,
/// which changes little from one target to the next, and not out of the lane.
#[test]
fn where_only_the_line_counts_aim_marks_move_smoothly_and_no_farther_than_touches_ask() {
    let folder = where_only_the_line_counts();
    let plain = close_together(&folder, "s.toml");
    let settings = close_together(&folder, "touch.toml");
    let touch = |s: &Value| number(&s["obstacle"]["touch_chance"]);
    let leave = |s: &Value| number(&s["lane"]["leave_chance"]);
    let aim = |s: &Value| number(&s["aim_right_cm"]);
    for (plain, s) in plain.iter().zip(&settings) {
        assert!(touch(s) <= touch(plain), "{s}");
        // At 50 a touch the dearest of these is worth a fifth of a point, or two millimetres of miss.
        assert!(touch(s) < 0.004, "{s}");
        assert!(leave(s) <= leave(plain).max(0.02), "{s}");
        assert!(aim(s) < aim(plain), "{s}");
        let exact = number(&s["aim_exact_right_cm"]["estimate"]);
        // A whole step where the score is good enough, and none nearer to the target: within a step of 0.5 cm.
        assert!((aim(s) - exact).abs() <= 0.5001, "{s}");
        let said = s["warnings"].to_string();
        assert!(said.contains("touching the obstacle costs 50"), "{said}");
    }
    for pair in settings.windows(2) {
        let moved = aim(&pair[1]) - aim(&pair[0]);
        // The way to an aim mark 40 to 63 cm to the left turns by less than 1 cm in 5 cm; rounding adds a step.
        assert!(moved.abs() <= 1.5, "{} {moved}", pair[1]["target_m"]);
    }
}

/// An aim mark is not moved out of the lane to save touches: no more than is accepted, or than aims at the target do.
#[test]
fn leaving_the_lane_is_not_bought_with_fewer_touches() {
    let setup = SETUP
        .replace("right_cm = 15", "right_cm = 5")
        .replace("half_width_m = 1.5", "half_width_m = 0.4");
    let folder = season(&truth(6), 1, &setup);
    for measure in ["line", "point"] {
        folder.write(
            "t.toml",
            format!("{setup}[score]\nmeasure = \"{measure}\"\ntouch_penalty = 1000\n"),
        );
        let plain = dialled(&folder, "--target 6,7,8,9");
        let settings = dialled(&folder, "--target 6,7,8,9 --setup t.toml");
        let touch = |s: &Value| number(&s["obstacle"]["touch_chance"]);
        assert!(touch(&settings[0]) < 0.9 * touch(&plain[0]), "{measure}");
        for (plain, s) in plain.iter().zip(&settings) {
            let leave = |s: &Value| number(&s["lane"]["leave_chance"]);
            assert!(touch(s) <= touch(plain), "{measure}: {s}");
            // The chance is read off at the arc that the turns give on average: within a ten-thousandth.
            let most = leave(plain).max(0.02) + 1e-4;
            assert!(leave(s) <= most, "{measure}: {s}");
        }
    }
}

#[test]
fn time_is_priced_only_when_it_was_measured() {
    let folder = season(&truth(3), 5, SETUP);
    folder.write("t.toml", format!("{SETUP}[score]\nper_s = 2\n"));
    let ran = folder
        .run("dial out/calibration.json --target 8 --setup t.toml")
        .ended_with(1);
    assert!(ran.stderr.contains("time_s"), "{ran}");
    let mut timed = truth(3);
    timed.time = Some(simulate::TimeTruth {
        noted: 1.0,
        ..simulate::TimeTruth::default()
    });
    let folder = season(&timed, 5, SETUP);
    assert!(number(&dialled(&folder, "--target 8")[0]["time_s"]) > 0.0);
}

#[test]
fn warnings_name_what_is_wrong_with_a_setting() {
    let folder = season(&truth(1), 6, SETUP);
    let said = |more: &str| {
        let settings = dialled(&folder, more);
        settings[0]["warnings"]
            .as_array()
            .expect("a list")
            .iter()
            .map(|w| w.as_str().expect("words").to_string())
            .collect::<Vec<_>>()
            .join("\n")
    };
    assert!(said("--target 8").contains("one session"));
    assert!(said("--target 15").contains("outside the distances run"));
    assert!(said("--target 8 --lead 7").contains("never tried"));
}

#[test]
fn a_setup_that_needs_another_fit_is_refused() {
    let mut truth = truth(2);
    truth.wheels = "foam".to_string();
    let folder = season(&truth, 7, SETUP);
    for (change, word) in [
        ("[dial]\nticks_per_turn = 24\n", "ticks_per_turn"),
        ("[prior]\ncurve_cm_per_m2 = 3\n", "prior"),
        ("[brake]\nrecoil_accept = 0.01\n", "recoil_accept"),
        ("[brake]\nrecoil_from_cm = 4\n", "recoil_from_cm"),
        ("[wheels.foam]\ndiameter_cm = 7\n", "[wheels.foam]"),
    ] {
        folder.write("n.toml", format!("{SETUP}{change}"));
        let ran = folder
            .run("dial out/calibration.json --target 8 --setup n.toml")
            .ended_with(2);
        assert!(
            ran.stderr.contains(word) && ran.stderr.contains("fit again"),
            "{ran}"
        );
    }
    for bad in [
        "--target 8 --build nosuch",
        "--target 8 --trim nosuch",
        "--target 8 --lead -1",
        "--target",
        "--target x",
    ] {
        folder
            .run(&format!("dial out/calibration.json {bad}"))
            .ended_with(2);
    }
    folder
        .run("dial out/calibration.json --target 8 --rig no/such")
        .ended_with(2);
    folder.run("dial nosuch.json --target 8").ended_with(2);
}

/// What a set-up does not say of dial, vehicle, wheels, brake and guesses is that of the fit. A vehicle 4 cm wider passes
/// 2 cm nearer, and a wheel set that nobody fitted is nobody's affair.
#[test]
fn what_a_set_up_for_the_event_leaves_out_is_that_of_the_fit() {
    let obstacle = "[obstacle]\nat = 0.5\nright_cm = 15\ndiameter_cm = 20\npass = \"left\"\n";
    let mut truth = truth(2);
    truth.wheels = "foam".to_string();
    let folder = season(
        &truth,
        7,
        &format!(
            "[dial]\nticks_per_turn = 24\n[vehicle]\nwidth_cm = 16\nwheel_diameter_cm = 7.4\n\
             [wheels.foam]\ndiameter_cm = 7.3\n[brake]\nrecoil_accept = 0.3\n[prior]\ncurve_cm_per_m2 = 3\n{obstacle}"
        ),
    );
    let dialled_with = |setup: &str| {
        folder.write("event.toml", setup);
        dialled(&folder, "--target 8 --setup event.toml").remove(0)
    };
    let fitted = dialled(&folder, "--target 8").remove(0);
    for said in [
        String::new(),
        "[event]\nruns = 1\n".to_string(),
        "[prior]\nbetween_sessions_cm = 10\n[vehicle]\nwheel_diameter_cm = 7.4\n".to_string(),
        "[wheels.rubber]\ndiameter_cm = 9\n".to_string(),
    ] {
        assert_eq!(dialled_with(&format!("{said}{obstacle}")), fitted, "{said}");
    }
    let wider = dialled_with(&format!("[vehicle]\nwidth_cm = 20\n{obstacle}"));
    let gap = |setting: &Value| number(&setting["obstacle"]["gap_cm"]["low"]);
    assert!((gap(&fitted) - gap(&wider) - 2.0).abs() < 1e-9, "{wider}");
}

/// The vehicle stops before it comes to an obstacle beyond the target, so there is no gap and no touch to speak of.
#[test]
fn an_obstacle_stands_before_the_shortest_target_of_the_log_too() {
    let placed = |at_m: f64| {
        format!("[obstacle]\nat_m = {at_m}\nright_cm = 15\ndiameter_cm = 20\npass = \"left\"\n")
    };
    let truth = truth(2);
    let targets_m = truth.season.targets_m.iter();
    let shortest_m = targets_m.copied().fold(f64::INFINITY, f64::min);
    let folder = season(&truth, 7, &placed(shortest_m - 0.2));
    folder.write("beyond.toml", placed(shortest_m + 1.0));
    for asks in [
        "check s.csv",
        "fit s.csv --out other",
        "dial out --target 8",
        "plan out --within 15",
    ] {
        let ran = folder
            .run(&format!("{asks} --setup beyond.toml"))
            .ended_with(2);
        let says = format!(
            "obstacle.at_m: expected the obstacle before the shortest target, which is that of the log, {shortest_m} m"
        );
        assert!(ran.stderr.contains(&says), "{ran}");
    }
    // A target nearer than any of the log's, and than the obstacle.
    let nearer = dialled(&folder, &format!("--target {}", shortest_m - 0.5));
    assert_eq!(nearer[0]["obstacle"], Value::Null);
    let farther = dialled(&folder, &format!("--target {shortest_m}"));
    assert!(farther[0]["obstacle"].is_object(), "{}", farther[0]);
}

/// The tightest gap is said in whole centimetres that it surely has.
#[test]
fn the_tightest_gap_is_rounded_down() {
    let folder = season(&truth(2), 7, SETUP);
    let targets = "--target 6,6.5,7,7.5,8,8.5,9";
    let said = folder
        .run(&format!("dial out/calibration.json {targets}"))
        .ended_with(0)
        .stdout;
    let lines: Vec<&str> = said
        .lines()
        .filter(|l| l.contains("passes the obstacle"))
        .collect();
    let settings = dialled(&folder, targets);
    assert_eq!(lines.len(), settings.len(), "{said}");
    for (line, setting) in lines.iter().zip(&settings) {
        let low_cm = number(&setting["obstacle"]["gap_cm"]["low"]);
        let tightest = match low_cm >= 1.0 {
            true => format!(", {} at the tightest", low_cm.floor()),
            false => ", a touch is possible".to_string(),
        };
        assert!(line.ends_with(&tightest), "{low_cm}: {line}");
    }
}

/// Mirror image of log and obstacle: aim and gaps mirrored, turns the same.
#[test]
fn a_mirrored_world_has_mirrored_settings() {
    let folder = season(&truth(3), 8, SETUP);
    let plain = dialled(&folder, "--target 6.5,8");
    let log = folder.text("s.csv");
    let mut names: Vec<String> = Vec::new();
    let mut mirrored = String::new();
    for line in log.lines() {
        if !line.starts_with('#') && names.is_empty() {
            names = line.split(',').map(str::to_string).collect();
        } else if !line.starts_with('#') {
            let cells: Vec<String> = line
                .split(',')
                .zip(&names)
                .map(|(cell, name)| match (name.as_str(), cell.parse::<f64>()) {
                    ("right_cm" | "aim_right_cm", Ok(x)) => format!("{}", -x),
                    _ => cell.to_string(),
                })
                .collect();
            mirrored += &format!("{}\n", cells.join(","));
            continue;
        }
        mirrored += &format!("{line}\n");
    }
    let other = Folder::new();
    other.write("s.csv", mirrored);
    other.write(
        "s.toml",
        SETUP
            .replace("right_cm = 15", "right_cm = -15")
            .replace("left", "right"),
    );
    other
        .run("fit s.csv --setup s.toml --out out")
        .ended_with(0);
    for (a, b) in plain.iter().zip(&dialled(&other, "--target 6.5,8")) {
        assert_eq!(a["turns"], b["turns"]);
        assert_eq!(number(&a["aim_right_cm"]), -number(&b["aim_right_cm"]));
        let gap = |s: &Value| number(&s["obstacle"]["gap_cm"]["estimate"]);
        assert!((gap(a) - gap(b)).abs() < 1e-4, "{} {}", gap(a), gap(b));
        let touch = |s: &Value| number(&s["obstacle"]["touch_chance"]);
        assert!((touch(a) - touch(b)).abs() < 1e-6);
    }
}

#[test]
fn a_rig_without_a_name_cannot_be_asked_for_by_one() {
    let folder = Folder::new();
    folder.write("s.csv", "session,target_m,turns,long_cm,right_cm\n1,6,26,1,1\n1,8,34,-2,3\n1,7,30,3,0\n2,6,26,2,1\n2,8,34,0,-2\n2,7,30,1,2\n");
    folder.run("fit s.csv --out out").ended_with(0);
    let ran = folder
        .run("dial out/calibration.json --target 7 --rig Thistle/foam")
        .ended_with(2);
    assert!(ran.stderr.contains("leave --rig out"), "{ran}");
    folder
        .run("dial out/calibration.json --target 7")
        .ended_with(0);
}

/// The chance of beating a miss is that of stopping nearer: 19 of 20 within the miss that 19 of 20 do not exceed, and more for
/// a longer one.
#[test]
fn the_chance_of_beating_a_miss_is_that_of_stopping_nearer() {
    let folder = season(&truth(4), 12, SETUP);
    let plain = dialled(&folder, "--target 8")[0].clone();
    assert!(
        plain["beat_cm"].is_null()
            && plain["beat_chance"].is_null()
            && plain.get("beat_cm").is_some()
    );
    let high = number(&plain["miss_cm"]["high"]);
    let beat = |cm: f64| {
        let s = dialled(&folder, &format!("--target 8 --beat {cm}"))[0].clone();
        assert_eq!(number(&s["beat_cm"]), cm);
        number(&s["beat_chance"])
    };
    assert!((beat(high) - 0.95).abs() < 1e-4, "{}", beat(high));
    let median = number(&plain["miss_cm"]["estimate"]);
    assert!((beat(median) - 0.5).abs() < 1e-4, "{}", beat(median));
    let said = folder
        .run("dial out/calibration.json --target 8 --beat 14")
        .ended_with(0)
        .stdout;
    let chance = (100.0 * beat(14.0)).round();
    assert!(
        said.contains(&format!("nearer than 14 cm: {chance} in 100")),
        "{said}"
    );
    for bad in ["0", "-3", "near", "1e9"] {
        let ran = folder.run(&format!(
            "dial out/calibration.json --target 8 --beat {bad}"
        ));
        assert!(
            ran.ended_with(2)
                .stderr
                .contains("expected a number above 0"),
            "{bad}"
        );
    }
}
