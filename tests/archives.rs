//! Logs much longer than a season, and many rigs in one.

mod common;

use common::{Folder, read, try_read, warnings};
use haltmark::calibration::fit::{Options, fit};
use haltmark::fault::FaultPlace;
use haltmark::log::run::Season;
use haltmark::setup::Setup;
use haltmark::simulate::{PlantedRow as Row, RigTruth as Rig, Truth, season};
use haltmark::stats::interval::Level;

/// Rows of a log of more than a megabyte: with notes over two lines, comments, blank lines.
const ROWS: usize = 26_000;

/// The log, and the line of each row.
fn long_log(end: &str) -> (String, Vec<u32>) {
    let mut text = format!("session,vehicle,target_m,turns,long_cm,note{end}");
    let (mut line, mut lines) = (2, Vec::new());
    for i in 0..ROWS {
        if i % 50 == 0 {
            text += &format!("# page \"{i}{end}{end}");
            line += 2;
        }
        let note = match i % 10 {
            3 => format!("\"it said \"\"go\"\",{end}and went\""),
            7 => "5\" nail, \u{e4}".replace(',', ";"),
            _ => "as it should".to_string(),
        };
        lines.push(line);
        line += 1 + u32::from(i % 10 == 3);
        let (session, vehicle) = (i / 20, ["Teal", "Gr\u{fc}n"][i / 10 % 2]);
        let row = format!(
            "day {session},{vehicle},{}.5,{},-{}.25,{note}{end}",
            6 + i % 3,
            30 + i % 7,
            i % 90
        );
        text += &row;
    }
    (text, lines)
}

#[test]
fn a_long_log_is_read_as_a_short_one() {
    for end in ["\n", "\r\n"] {
        let (text, lines) = long_log(end);
        assert!(text.len() > 1 << 20);
        let (season, _) = read(&text);
        assert_eq!(season.runs.len(), ROWS);
        assert_eq!(season.sessions.len(), ROWS / 20);
        assert_eq!(season.vehicles, ["Teal", "Gr\u{fc}n"]);
        for (i, run) in season.runs.iter().enumerate() {
            let target_m = (6 + i % 3) as f64 + 0.5;
            let long_m = -((i % 90) as f64 + 0.25) / 100.0;
            assert_eq!((run.line, run.session as usize), (lines[i], i / 20));
            assert_eq!(run.vehicle as usize, i / 10 % 2);
            assert_eq!(
                (run.target_m, run.turns),
                (Some(target_m), Some((30 + i % 7) as f64))
            );
            assert_eq!(run.rest_m, Some(target_m + long_m));
            assert_eq!(run.order, (i % 20 + 1) as f64);
        }
    }
}

#[test]
fn a_letter_of_an_old_computer_far_down_is_understood() {
    let (text, lines) = long_log("\n");
    // Windows-1252 has the letters of Latin 1 in one byte each.
    let at = text.len() * 3 / 4;
    let at = (at..).find(|&at| text.is_char_boundary(at)).unwrap();
    let old: Vec<u8> = text
        .chars()
        .map(|c| u8::try_from(u32::from(c)).unwrap())
        .collect();
    let (season, faults) = try_read(&old).unwrap();
    assert_eq!(season.vehicles, ["Teal", "Gr\u{fc}n"]);
    let first_odd = text.lines().position(|line| !line.is_ascii()).unwrap() + 1;
    assert!(
        warnings(&faults)
            .iter()
            .any(|fault| fault.place == FaultPlace::Line(first_odd))
    );
    assert_eq!(season.runs.last().unwrap().line, *lines.last().unwrap());

    // UTF-8 for a megabyte, and then one letter that is not.
    let mut late = text.as_bytes()[..at].to_vec();
    late.push(0xE4);
    late.extend_from_slice(&text.as_bytes()[at..]);
    let (season, faults) = try_read(&late).unwrap();
    let line = text[..at].matches('\n').count() + 1;
    assert!(
        warnings(&faults)
            .iter()
            .any(|fault| fault.place == FaultPlace::Line(line))
    );
    assert_eq!(season.runs.len(), ROWS);
}

#[test]
fn a_fault_far_down_a_long_log_is_told_with_its_line() {
    let (text, lines) = long_log("\n");
    let at = text.rfind("day ").unwrap();
    let broken = format!("{}day 1,Teal,x,30,1,\n{}", &text[..at], &text[at..]);
    let faults = common::read_err(&broken);
    let errors = common::errors(&faults);
    assert_eq!(errors.len(), 1, "{faults}");
    assert_eq!(
        errors[0].place,
        FaultPlace::Line(*lines.last().unwrap() as usize)
    );
    // A quotation mark that is never closed: the rows above are no news.
    let open = format!("{broken}day 2,Teal,7,30,1,\"oh\nday 2,Teal,7,30,1,\n");
    let faults = common::read_err(&open);
    assert_eq!(faults.0.len(), 1, "{faults}");
    assert!(faults.to_string().contains("never closed"));
}

/// 1,200 runs of one rig; the planted ones slipped far.
fn large_rig(planted: &[(usize, usize, f64)]) -> Season {
    let mut truth = Truth::default();
    truth.season.sessions = 48;
    truth.season.runs_per_session = vec![25];
    truth.recoil.half_lead_turns = 50.0;
    truth.rows = planted
        .iter()
        .map(|&(session, run, long_m)| Row {
            session,
            run,
            long_m,
            ..Row::default()
        })
        .collect();
    season(&truth, 3).season
}

#[test]
fn all_blunders_of_a_large_rig_are_set_aside_and_nothing_else() {
    // Two of one session, which one pass cannot both take; one that the other hides in part.
    let planted = [
        (2, 3, 0.9),
        (7, 11, -1.5),
        (7, 12, -0.6),
        (19, 25, 2.0),
        (30, 1, -0.8),
        (48, 25, 0.7),
    ];
    let lines: Vec<usize> = planted
        .iter()
        .map(|(session, run, _)| (session - 1) * 25 + run)
        .collect();
    let season = large_rig(&planted);
    let calibration = fit(
        &season,
        &Setup::default(),
        Level::default(),
        Options::default(),
    )
    .unwrap();
    let rig = &calibration.rigs[0];
    let mut found: Vec<usize> = rig.set_aside.iter().map(|aside| aside.line).collect();
    found.sort_unstable();
    assert_eq!(found, lines);
    assert_eq!(rig.counts.fitted, 1200 - planted.len());
    let kept = Options {
        keep_all: true,
        ..Options::default()
    };
    let kept = fit(&season, &Setup::default(), Level::default(), kept).unwrap();
    assert_eq!(
        (kept.rigs[0].set_aside.len(), kept.rigs[0].counts.fitted),
        (0, 1200)
    );
    // The rest is the log without them, fitted at once.
    let without: Season = season.with(
        season
            .runs
            .iter()
            .filter(|run| !lines.contains(&(run.line as usize)))
            .cloned()
            .collect(),
    );
    let without = fit(
        &without,
        &Setup::default(),
        Level::default(),
        Options::default(),
    )
    .unwrap();
    assert_eq!(without.rigs[0].set_aside.len(), 0);
    let (a, b) = (&rig.travel, &without.rigs[0].travel);
    assert!((a.distance_per_turn_m.estimate - b.distance_per_turn_m.estimate).abs() < 1e-9);
    assert!((a.run_to_run_m.estimate - b.run_to_run_m.estimate).abs() < 1e-9);
}

#[test]
fn the_number_of_threads_changes_no_byte() {
    let mut truth = Truth::default();
    truth.season.sessions = 4;
    truth.rigs = (0..6)
        .map(|i| Rig {
            vehicle: Some(format!("Car {i}")),
            wheels: Some("foam".to_string()),
            distance_per_turn_m: Some(0.22 + 0.005 * f64::from(i)),
            ..Rig::default()
        })
        .collect();
    let log = season(&truth, 5).to_csv();
    let files = |threads: &str| {
        let folder = Folder::new();
        folder.write("club.csv", &log);
        let output = assert_cmd::cargo::cargo_bin_cmd!("haltmark")
            .args(["fit", "club.csv", "--json"])
            .env("RAYON_NUM_THREADS", threads)
            .current_dir(folder.path())
            .output()
            .unwrap();
        let mut all = vec![
            ("".to_string(), output.stdout),
            ("".to_string(), output.stderr),
        ];
        for name in folder
            .names()
            .into_iter()
            .filter(|name| !name.ends_with('/'))
        {
            let bytes = std::fs::read(folder.path().join(&name)).unwrap();
            all.push((name, bytes));
        }
        all
    };
    let one = files("1");
    assert!(one.len() > 10);
    for threads in ["2", "5"] {
        let names = |all: &[(String, Vec<u8>)]| all.iter().map(|f| f.0.clone()).collect::<Vec<_>>();
        let other = files(threads);
        assert_eq!(names(&other), names(&one));
        for (a, b) in other.iter().zip(&one) {
            assert!(a.1 == b.1, "{} differs with {threads} threads", a.0);
        }
    }
}
