//! `fit` from a log to a calibration: published mixed-model data through the program itself, what must not matter, and
//! what cannot be answered.

mod common;

use common::Folder;
use haltmark::calibration::Rig;
use haltmark::calibration::fit::{self, Options};
use haltmark::setup::Setup;
use haltmark::simulate::{self, Truth};
use haltmark::stats::interval::{Interval, Level};
use serde_json::Value;

const DATA: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/data/");

fn number(v: &Value) -> f64 {
    v.as_f64()
        .unwrap_or_else(|| panic!("expected a number, got {v}"))
}

/// The published fits have spreads that are the same everywhere.
const EVEN: &str = "[prior]\nspread_growth = 0\n";

/// Published data on a rescaled axis; values by lme4 1.1-31 and in 50-digit arithmetic (`logs_expected.json` names data,
/// programs and tolerances).
#[test]
fn published_logs_give_the_published_fit_through_the_program() {
    let group: Value = serde_json::from_str(
        &std::fs::read_to_string(format!("{DATA}logs_expected.json"))
            .expect("the reference values"),
    )
    .expect("valid JSON");
    for case in group["cases"].as_array().expect("cases") {
        let name = case["name"].as_str().expect("a name");
        let expected = &case["expected"];
        let folder = Folder::new();
        let log = std::fs::read_to_string(format!("{DATA}logs/{name}.csv")).expect("the log");
        folder.write("season.csv", log);
        // One animal of the sleep study is set aside by default (a gross blunder by the rule of model.md §6): the
        // published fit is of all rows.
        folder.write("even.toml", EVEN);
        let ran = folder
            .run("fit season.csv --setup even.toml --keep-all --json")
            .ended_with(0);
        let rig = &ran.json()["rigs"][0];
        let travel = &rig["travel"];
        assert_eq!(rig["runs"], expected["runs"], "{name}");
        assert_eq!(rig["sessions"], expected["sessions"], "{name}");
        for key in ["distance_per_turn_cm", "overshoot_cm"] {
            let (got, want) = (
                number(&travel[key]["estimate"]),
                number(&expected[key]["estimate"]),
            );
            let se = number(&expected[key]["se"]);
            assert!(
                (got - want).abs() < 1e-4 * se,
                "{name} {key}: {got} for {want}"
            );
        }
        let sigma = number(&expected["run_to_run_cm"]);
        for key in ["run_to_run_cm", "between_sessions_cm"] {
            let (got, want) = (number(&travel[key]["estimate"]), number(&expected[key]));
            assert!(
                (got - want).abs() <= (1e-4 * want).max(1e-3 * sigma * f64::from(want == 0.0)),
                "{name} {key}: {got} for {want}"
            );
        }
        // Other interval methods are legitimate: only order and rough size are held against Satterthwaite's limits.
        let published = &expected["intervals_95"]["distance_per_turn_cm"]["satterthwaite"];
        if let Some(published) = published.as_array() {
            let interval = &travel["distance_per_turn_cm"];
            let width = number(&interval["high"]) - number(&interval["low"]);
            let want = number(&published[1]) - number(&published[0]);
            assert!(
                (width / want - 1.0).abs() < 0.15,
                "{name}: {width} for {want}"
            );
        }
    }
}

/// Inverse prediction of a published line: the exact turns for a distance lie within a small part of the Fieller
/// limits of lme4's fit, and the program's limits are of their size (`logs_expected.json`, turns_for_distance).
#[test]
fn the_turns_for_a_distance_are_those_of_the_published_line() {
    let group: Value = serde_json::from_str(
        &std::fs::read_to_string(format!("{DATA}logs_expected.json"))
            .expect("the reference values"),
    )
    .expect("valid JSON");
    for case in group["cases"].as_array().expect("cases") {
        let name = case["name"].as_str().expect("a name");
        let wanted = &case["expected"]["turns_for_distance"];
        let folder = Folder::new();
        folder.write(
            "s.csv",
            std::fs::read_to_string(format!("{DATA}logs/{name}.csv")).expect("the log"),
        );
        folder.write("even.toml", EVEN);
        folder
            .run("fit s.csv --setup even.toml --keep-all --out out")
            .ended_with(0);
        let target = number(&wanted["distance_cm"]) / 100.0;
        let ran = folder
            .run(&format!(
                "dial out/calibration.json --json --target {target}"
            ))
            .ended_with(0);
        let exact = &ran.json()["settings"][0]["turns_exact"];
        let fieller = &wanted["fieller_95"][0];
        let (low, high) = (number(&fieller["low"]), number(&fieller["high"]));
        let width = high - low;
        let off = number(&exact["estimate"]) - number(&wanted["turns"]);
        assert!(off.abs() < 0.03 * width, "{name}: off by {off} of {width}");
        let ours = number(&exact["high"]) - number(&exact["low"]);
        assert!(
            (0.9..1.3).contains(&(ours / width)),
            "{name}: {ours} for {width}"
        );
    }
}

fn fitted(text: &str) -> Rig {
    fitted_with(text, &Setup::default())
}

fn fitted_with(text: &str, setup: &Setup) -> Rig {
    let folder = Folder::new();
    let path = folder.write("s.csv", text);
    let (season, _) = haltmark::log::read(&[path], setup, &haltmark::log::ReadOptions::default())
        .expect("a sound log");
    let mut calibration = fit::fit(&season, setup, Level::default(), Options::default())
        .expect("a log that can be fitted");
    assert_eq!(calibration.rigs.len(), 1);
    calibration.rigs.remove(0)
}

/// A log of headings alone, with a set-up that says which targets can be announced.
#[test]
fn a_season_without_runs_is_refused_in_words() {
    let mut setup = Setup::default();
    (setup.event.shortest_m, setup.event.longest_m) = (Some(5.0), Some(9.0));
    let season = haltmark::log::run::Season::default();
    let refused = fit::fit(&season, &setup, Level::default(), Options::default())
        .expect_err("nothing to fit");
    assert!(refused.to_string().contains("no runs"), "{refused}");
}

/// An invented season; it proves no formula, only what must not matter.
fn invented(seed: u64) -> String {
    let mut truth = Truth::default();
    truth.season.sessions = 4;
    truth.season.runs_per_session = vec![7];
    truth.season.leads_turns = vec![1.0, 1.5];
    // Dates, so that the newest session does not depend on the order of rows.
    truth.season.first_date = Some("2031-10-04".parse().expect("a date"));
    simulate::season(&truth, seed).to_csv()
}

fn same(what: &str, a: Interval, b: Interval) {
    let scale = (a.high - a.low).abs().max(1e-9);
    for (x, y) in [(a.estimate, b.estimate), (a.low, b.low), (a.high, b.high)] {
        assert!((x - y).abs() < 2e-5 * scale, "{what}: {a:?} and {b:?}");
    }
}

fn same_rig(a: &Rig, b: &Rig) {
    let (ta, tb) = (&a.travel, &b.travel);
    same(
        "distance per turn",
        ta.distance_per_turn_m,
        tb.distance_per_turn_m,
    );
    same(
        "overshoot",
        ta.builds[ta.newest_build].overshoot_m,
        tb.builds[tb.newest_build].overshoot_m,
    );
    same("run to run", ta.run_to_run_m, tb.run_to_run_m);
    same(
        "between sessions",
        ta.between_sessions_m,
        tb.between_sessions_m,
    );
    let (ha, hb) = (
        a.heading.as_ref().expect("headings"),
        b.heading.as_ref().expect("headings"),
    );
    same(
        "straight",
        ha.trims[0].straight_rad,
        hb.trims[0].straight_rad,
    );
    same(
        "curvature",
        ha.trims[0].curvature_per_m,
        hb.trims[0].curvature_per_m,
    );
    same("heading run to run", ha.run_to_run_rad, hb.run_to_run_rad);
}

/// Comment lines, the header, the rows.
fn parts(log: &str) -> (Vec<&str>, &str, Vec<&str>) {
    let comments: Vec<&str> = log.lines().take_while(|l| l.starts_with('#')).collect();
    let mut rest = log.lines().skip(comments.len());
    let header = rest.next().expect("a header");
    (comments, header, rest.collect())
}

#[test]
fn the_order_of_rows_and_the_names_of_sessions_do_not_matter() {
    for seed in [1, 2, 3] {
        let log = invented(seed);
        let (_, header, rows) = parts(&log);
        let plain = fitted(&log);
        let mut turned = rows.clone();
        turned.reverse();
        same_rig(
            &plain,
            &fitted(&format!("{header}\n{}\n", turned.join("\n"))),
        );
        let session = header
            .split(',')
            .position(|c| c == "session")
            .expect("a session column");
        let renamed: Vec<String> = rows
            .iter()
            .map(|row| {
                let mut cells: Vec<String> = row.split(',').map(str::to_string).collect();
                cells[session] =
                    format!("day {}", cells[session].chars().rev().collect::<String>());
                cells.join(",")
            })
            .collect();
        same_rig(
            &plain,
            &fitted(&format!("{header}\n{}\n", renamed.join("\n"))),
        );
    }
}

#[test]
fn units_and_delimiters_do_not_matter() {
    let log = invented(4);
    let plain = fitted(&log);
    let (_, header, rows) = parts(&log);
    // Every length in mm or feet, semicolons, decimal commas.
    let names: Vec<&str> = header.split(',').collect();
    let other: Vec<String> = names
        .iter()
        .map(|n| {
            n.replace("_cm", "_mm")
                .replace("target_m", "target_ft")
                .replace("rest_m", "rest_in")
        })
        .collect();
    let converted: Vec<String> = rows
        .iter()
        .map(|row| {
            row.split(',')
                .zip(&names)
                .map(|(cell, name)| {
                    let factor = match *name {
                        n if n.ends_with("_cm") => 10.0,
                        "target_m" => 1.0 / 0.3048,
                        "rest_m" => 1.0 / 0.0254,
                        _ => return cell.replace('.', ","),
                    };
                    cell.parse::<f64>().map_or(cell.to_string(), |x| {
                        format!("{}", x * factor).replace('.', ",")
                    })
                })
                .collect::<Vec<_>>()
                .join(";")
        })
        .collect();
    same_rig(
        &plain,
        &fitted(&format!(
            "{}\r\n{}\r\n",
            other.join(";"),
            converted.join("\r\n")
        )),
    );
}

#[test]
fn a_mirrored_season_gives_mirrored_headings_and_the_same_travel() {
    for seed in [5, 6] {
        let log = invented(seed);
        let (_, header, rows) = parts(&log);
        let names: Vec<&str> = header.split(',').collect();
        let mirrored: Vec<String> = rows
            .iter()
            .map(|row| {
                row.split(',')
                    .zip(&names)
                    .map(|(cell, name)| match (*name, cell.parse::<f64>()) {
                        ("right_cm" | "aim_right_cm", Ok(x)) => format!("{}", -x),
                        _ => cell.to_string(),
                    })
                    .collect::<Vec<_>>()
                    .join(",")
            })
            .collect();
        let (a, b) = (
            fitted(&log),
            fitted(&format!("{header}\n{}\n", mirrored.join("\n"))),
        );
        same(
            "distance per turn",
            a.travel.distance_per_turn_m,
            b.travel.distance_per_turn_m,
        );
        same("run to run", a.travel.run_to_run_m, b.travel.run_to_run_m);
        let trim = |r: &Rig| r.heading.as_ref().expect("headings").trims[0].clone();
        same(
            "straight",
            trim(&a).straight_rad,
            trim(&b).straight_rad.scaled(-1.0),
        );
        same(
            "curvature",
            trim(&a).curvature_per_m,
            trim(&b).curvature_per_m.scaled(-1.0),
        );
    }
}

/// Common practice, no source (`model.md` §10): wheels of this class cover 23–24 cm a turn, a tick is about a centimetre,
/// target over circumference is a first guess. On a simulated log of that class.
#[test]
fn a_vehicle_of_the_usual_class_gives_the_usual_numbers() {
    let mut truth = Truth::default();
    truth.travel.distance_per_turn_m = 0.235;
    truth.season.sessions = 6;
    let rig = fitted(&simulate::season(&truth, 9).to_csv());
    let turn = rig.travel.distance_per_turn_m;
    assert!((0.23..=0.24).contains(&turn.estimate), "{turn:?}");
    assert!(turn.low <= 0.235 && 0.235 <= turn.high, "{turn:?}");
    let tick_cm = 100.0 * turn.estimate / f64::from(Setup::default().dial.ticks_per_turn);
    assert!((0.8..=1.5).contains(&tick_cm), "{tick_cm}");
}

/// Three days of four runs, with other numbers in some cells: (row, column, by what it is moved).
fn short_season(seed: u64, slips: &[(usize, &str, f64)]) -> String {
    let mut truth = Truth::default();
    truth.season.sessions = 3;
    truth.season.runs_per_session = vec![4];
    truth.effects.wild = 0.0;
    truth.recoil.half_lead_turns = 20.0;
    let log = simulate::season(&truth, seed).to_csv();
    let (_, header, rows) = parts(&log);
    let mut rows: Vec<Vec<String>> = rows
        .iter()
        .map(|row| row.split(',').map(str::to_string).collect())
        .collect();
    for (row, column, by) in slips {
        let column = header.split(',').position(|name| name == *column);
        let cell = &mut rows[*row][column.expect("a column of that name")];
        *cell = format!("{}", cell.parse::<f64>().expect("a number") + by);
    }
    let rows: String = rows.iter().map(|row| row.join(",") + "\n").collect();
    format!("{header}\n{rows}")
}

/// One run of twelve may leave each fit: what headed far off hides none that went far off.
#[test]
fn a_slip_across_and_one_along_are_both_set_aside_in_a_short_log() {
    const SEASONS: u64 = 40;
    let lines = |log: &str| -> Vec<usize> {
        let mut lines: Vec<usize> = fitted(log).set_aside.iter().map(|run| run.line).collect();
        lines.sort_unstable();
        lines
    };
    let (mut both, mut clean) = (0, 0);
    for seed in 0..SEASONS {
        let slips = [(2, "turns", -20.0), (7, "right_cm", -350.0)];
        both += u64::from(lines(&short_season(seed, &slips)) == [4, 9]);
        clean += u64::from(lines(&short_season(seed, &[])).is_empty());
    }
    // With one run for both fits together the turns are never set aside.
    assert!(both >= SEASONS - 1, "{both} of {SEASONS}");
    assert!(clean >= SEASONS - 2, "{clean} of {SEASONS}");
}

#[test]
fn a_run_that_counts_though_it_is_as_far_off_as_one_set_aside_is_named() {
    let folder = Folder::new();
    let slips = [(2, "right_cm", -350.0), (9, "right_cm", 45.0)];
    folder.write("s.csv", short_season(3, &slips));
    let still = |ran: &str| {
        ran.matches("No more runs can be set aside, so this one still counts")
            .count()
    };
    let fit = folder.run("fit s.csv").ended_with(0);
    assert_eq!(still(&fit.stdout), 1, "{fit}");
    assert!(fit.stdout.contains("mend it or mark it void"), "{fit}");
    assert_eq!(still(&folder.text("reports/s/report.html")), 1);
    let rig = folder.run("fit s.csv --json").ended_with(0).json()["rigs"][0].clone();
    let aside = rig["set_aside"].as_array().expect("a list");
    assert_eq!((aside.len(), &aside[0]["line"]), (1, &4.into()));
    let warnings = rig["warnings"].to_string();
    assert!(warnings.contains("s.csv, line 11: headed"), "{warnings}");
    // Whoever keeps all is not told to take some away.
    let kept = folder.run("fit s.csv --keep-all").ended_with(0);
    assert_eq!(still(&kept.stdout), 0, "{kept}");
    // And where it is compared with the same runs without the slips.
    let labelled = |log: String, wheels: &str| -> String {
        let rows = log.lines().skip(1);
        rows.map(|row| format!("{row},{wheels}\n")).collect()
    };
    let log = short_season(3, &slips);
    let header = log.lines().next().expect("a header").to_string();
    folder.write(
        "two.csv",
        format!(
            "{header},set\n{}{}",
            labelled(log, "slipped"),
            labelled(short_season(3, &[]), "sound")
        ),
    );
    folder.write("two.toml", "[columns]\nwheels = \"set\"\n");
    let compared = folder
        .run("compare two.csv --setup two.toml --by wheels --a slipped --b sound --out two")
        .ended_with(0);
    assert_eq!(still(&compared.stdout), 1, "{compared}");
}

/// Two rows that lost most of their turns hide each other, and contradict a wheel that was measured well.
#[test]
fn a_wheel_is_not_blamed_while_a_row_looks_wrong() {
    let folder = Folder::new();
    let slips = [(2, "turns", -20.0), (9, "turns", -14.0)];
    folder.write("s.csv", short_season(3, &slips));
    folder.write("setup.toml", "[vehicle]\nwheel_diameter_cm = 7.5\n");
    let fit = folder.run("fit s.csv --setup setup.toml").ended_with(0);
    let said = &fit.stdout;
    assert!(said.contains("no vehicle does both"), "{fit}");
    assert!(said.contains("Rows that look wrong do this too"), "{fit}");
    assert!(
        !said.contains("diameter in the set-up is probably wrong"),
        "{fit}"
    );
}

#[test]
fn a_distance_per_turn_that_no_vehicle_has_is_said_to_be_none() {
    let folder = Folder::new();
    folder.write("s.csv", short_season(3, &[(2, "turns", -26.0)]));
    let says = |ran: &str| ran.contains("no vehicle does both");
    assert!(says(
        &folder.run("fit s.csv --keep-all").ended_with(0).stdout
    ));
    assert!(!says(&folder.run("fit s.csv").ended_with(0).stdout));
}

#[test]
fn a_gross_slip_is_set_aside_with_its_line_and_can_be_kept() {
    let folder = Folder::new();
    let log = invented(7);
    let (_, header, rows) = parts(&log);
    let names: Vec<&str> = header.split(',').collect();
    let turns = names.iter().position(|n| *n == "turns").expect("turns");
    let mut slipped: Vec<String> = rows.iter().map(|r| (*r).to_string()).collect();
    let mut cells: Vec<String> = slipped[9].split(',').map(str::to_string).collect();
    let read: f64 = cells[turns].parse().expect("turns");
    cells[turns] = format!("{}", read - 10.0);
    slipped[9] = cells.join(",");
    folder.write("s.csv", format!("{header}\n{}\n", slipped.join("\n")));
    // Said as the dial shows it.
    let ticks = names.iter().position(|n| *n == "ticks").expect("ticks");
    let said = format!(
        " say for {} turns and {} ticks; chance",
        read - 10.0,
        cells[ticks]
    );
    let ran = folder.run("fit s.csv").ended_with(0);
    assert!(
        ran.stdout.contains(&said) && !ran.stdout.contains("turns fewer"),
        "{ran}"
    );
    let rig = folder.run("fit s.csv --json").ended_with(0).json()["rigs"][0].clone();
    let aside = rig["set_aside"].as_array().expect("a list");
    assert_eq!(aside.len(), 1, "{aside:?}");
    assert_eq!(aside[0]["line"], 11);
    assert!(
        aside[0]["why"].as_str().expect("words").contains("farther"),
        "{aside:?}"
    );
    let kept = folder
        .run("fit s.csv --json --keep-all")
        .ended_with(0)
        .json()["rigs"][0]
        .clone();
    assert!(kept["set_aside"].as_array().expect("a list").is_empty());
    assert_eq!(
        number(&kept["runs"]) as i64,
        number(&rig["runs"]) as i64 + 1
    );
}

#[test]
fn a_log_without_right_still_gets_its_travel_fit() {
    let folder = Folder::new();
    folder.write(
        "s.csv",
        "session,target_m,turns,long_cm\n1,8,34,10\n,7,30,-5\n,9,38,3\n2,8,34,20\n,7,30,9\n",
    );
    let ran = folder.run("fit s.csv --json").ended_with(0);
    let rig = &ran.json()["rigs"][0];
    assert!(number(&rig["travel"]["distance_per_turn_cm"]["estimate"]) > 20.0);
    assert_eq!(rig["heading"], serde_json::json!([]));
    let setting = &folder
        .run("dial reports/s/calibration.json --target 8 --json")
        .ended_with(0)
        .json()["settings"][0];
    assert!(setting["aim_right_cm"].is_null() && setting["miss_cm"].is_null());
    assert!(number(&setting["long_cm"]["high"]) > 0.0);
}

/// Every run exactly on the line: no spread to be seen, so none below the rounding of a tape is claimed (model.md §2).
#[test]
fn a_log_with_every_run_on_the_line_is_fitted() {
    let mut log = "session,target_m,turns,long_cm,right_cm\n".to_string();
    for session in 1..=3 {
        for (target, turns) in [(7, 28), (8, 32), (9, 36)] {
            log += &format!("{session},{target},{turns},0,0\n");
        }
    }
    let rig = fitted(&log);
    assert!((rig.travel.distance_per_turn_m.estimate - 0.25).abs() < 1e-9);
    assert!(rig.travel.run_to_run_m.estimate >= 0.0003 * 0.99);
    assert!(rig.heading.is_some());
}

/// A diameter typed twice too large contradicts the runs: it is dropped with a warning, and C hardly moves.
#[test]
fn a_wrong_wheel_diameter_is_dropped_and_named() {
    let log = invented(8);
    let plain = fitted(&log);
    let c = plain.travel.distance_per_turn_m.estimate;
    let mut setup = Setup::default();
    setup.vehicle.wheel_diameter_m = Some(2.0 * c / std::f64::consts::PI);
    let wrong = fitted_with(&log, &setup);
    assert!(wrong.travel.turn_prior.is_none() && wrong.travel.prior_share == 0.0);
    assert!(
        wrong.warnings.iter().any(|w| w.contains("diameter")),
        "{:?}",
        wrong.warnings
    );
    same(
        "distance per turn",
        plain.travel.distance_per_turn_m,
        wrong.travel.distance_per_turn_m,
    );
    setup.vehicle.wheel_diameter_m = Some(1.02 * c / std::f64::consts::PI);
    let right = fitted_with(&log, &setup);
    assert!(
        right.travel.prior_share > 0.0 && right.warnings.iter().all(|w| !w.contains("diameter"))
    );
}

#[test]
fn what_cannot_be_answered_says_what_would_and_writes_nothing() {
    let head = "session,target_m,turns,long_cm,right_cm,status\n";
    for (log, words) in [
        ("1,8,34,10,3,\n1,7,30,-5,2,\n", "at least 3"),
        (
            "1,8,34,10,3,void\n1,7,30,-5,2,void\n2,9,38,1,1,void\n",
            "0 of its 3 launches",
        ),
        (
            "1,8,34,10,3,\n1,8,34,-5,2,\n2,8,34,1,1,\n2,8,34,1,1,\n",
            "all 4 fitted runs were made at 34 turns",
        ),
    ] {
        let folder = Folder::new();
        folder.write("s.csv", format!("{head}{log}"));
        let ran = folder.run("fit s.csv").ended_with(1);
        assert!(ran.stderr.contains(words), "{ran}");
        assert_eq!(folder.names(), ["s.csv"], "something was written");
    }
    // One distinct number of turns is enough with a wheel diameter.
    let folder = Folder::new();
    folder.write(
        "s.csv",
        format!("{head}1,8,34,10,3,\n1,8,34,-5,2,\n2,8,34,1,1,\n2,8,34,1,1,\n"),
    );
    folder.write("w.toml", "[vehicle]\nwheel_diameter_cm = 7.4\n");
    folder.run("fit s.csv --setup w.toml").ended_with(0);
}

#[test]
fn more_labels_than_can_be_meant_are_refused() {
    let mut log = "session,target_m,turns,long_cm,right_cm,trim\n".to_string();
    for i in 0..60 {
        log += &format!("{},8,{},3,1,note {i}\n", i / 6, 30 + i % 5);
    }
    let folder = Folder::new();
    folder.write("s.csv", log);
    let ran = folder.run("fit s.csv").ended_with(2);
    assert!(
        ran.stderr
            .contains("line 52: more than 50 different labels in the column trim"),
        "{ran}"
    );
}

#[test]
fn a_calibration_file_comes_back_as_it_was_and_an_edited_one_is_refused() {
    let folder = Folder::new();
    folder.write("s.csv", invented(11));
    folder.run("fit s.csv --out out").ended_with(0);
    let text = folder.text("out/calibration.json");
    let read = haltmark::calibration::file::read("c", &text).expect("a sound file");
    let again = haltmark::calibration::file::write(&read);
    assert_eq!(again, text, "reading and writing changed it");
    for (what, broken) in [
        ("cut short", text[..text.len() / 2].to_string()),
        ("changed", text.replacen("\"runs\": 2", "\"runs\": 3", 1)),
        (
            "format",
            text.replace("haltmark-calibration/2", "haltmark-calibration/9"),
        ),
        ("not a calibration", "{}".to_string()),
        ("not a calibration", String::from("hello")),
    ] {
        assert_ne!(broken, text, "{what}");
        folder.write("b.json", broken);
        let ran = folder.run("dial b.json --target 8").ended_with(2);
        assert!(ran.stderr.contains(what), "{what}: {ran}");
    }
}

#[test]
fn the_same_log_gives_the_same_bytes() {
    let folder = Folder::new();
    folder.write("s.csv", invented(12));
    folder.run("fit s.csv --out a").ended_with(0);
    folder.run("fit s.csv --out b").ended_with(0);
    for name in folder
        .names()
        .iter()
        .filter(|n| n.starts_with("a/") && !n.ends_with('/'))
    {
        let other = name.replacen("a/", "b/", 1);
        assert_eq!(folder.text(name), folder.text(&other), "{name}");
    }
}

#[test]
fn since_leaves_out_older_runs() {
    let mut truth = Truth::default();
    truth.season.sessions = 5;
    truth.season.first_date = Some("2031-10-04".parse().expect("a date"));
    let folder = Folder::new();
    folder.write("s.csv", simulate::season(&truth, 3).to_csv());
    let all = folder.run("fit s.csv --json").ended_with(0).json();
    let later = folder
        .run("fit s.csv --json --since 2031-10-12")
        .ended_with(0)
        .json();
    assert!(number(&later["rigs"][0]["sessions"]) < number(&all["rigs"][0]["sessions"]));
    folder.run("fit s.csv --since 2099-01-01").ended_with(1);
}

#[test]
fn of_many_rigs_that_cannot_be_fitted_the_first_are_named_and_the_rest_counted() {
    let mut log = "session,vehicle,target_m,turns,long_cm,right_cm\n".to_string();
    for i in 0..8 {
        log += &format!("{},Ash,{},{},{},1\n", i / 4, 6 + i % 4, 26 + 4 * (i % 4), i);
    }
    for i in 0..7 {
        log += &format!("1,Elm {i},8,34,1,1\n");
    }
    let folder = Folder::new();
    folder.write("s.csv", &log);
    folder.run("fit s.csv --out out").ended_with(0);
    let json: Value = serde_json::from_str(&folder.text("out/calibration.json")).unwrap();
    let warnings = json["warnings"].as_array().unwrap();
    let starting = |words: &str| {
        let with = |w: &&Value| w.as_str().unwrap().starts_with(words);
        warnings.iter().filter(with).count()
    };
    assert_eq!(
        (starting("Not fitted: Elm"), starting("Nor were 2 more.")),
        (5, 1),
        "{warnings:?}"
    );
}

/// Two days of three or four runs that lie, by luck, on two lines metres apart: the guess of σ keeps the fit from taking those for
/// the vehicle (once it said 33 cm a turn for 23.5, and "within 3 m").
#[test]
fn few_runs_on_lines_by_luck_do_not_carry_the_fit_away() {
    for (runs, run_to_run_m, seed) in [(3, 0.02, 7), (3, 0.05, 49), (4, 0.02, 5)] {
        let mut truth = Truth::default();
        truth.season.sessions = 2;
        truth.season.runs_per_session = vec![runs];
        truth.travel.run_to_run_m = run_to_run_m;
        let folder = Folder::new();
        folder.write("s.csv", simulate::season(&truth, seed).to_csv());
        let fit = folder
            .run("fit s.csv --out out --json")
            .ended_with(0)
            .json();
        let turn = &fit["rigs"][0]["travel"]["distance_per_turn_cm"];
        let turn = ["low", "estimate", "high"].map(|end| number(&turn[end]));
        assert!((21.5..25.5).contains(&turn[1]), "{turn:?}");
        assert!(turn[0] < 23.5 && 23.5 < turn[2], "{turn:?}");
        let dialled = folder
            .run("dial out --target 7.5 --json")
            .ended_with(0)
            .json();
        let within_cm = number(&dialled["settings"][0]["miss_cm"]["high"]);
        assert!(within_cm < 70.0, "{within_cm}");
    }
}
