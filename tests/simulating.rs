//! The simulator: its truth file, its forward model against arcs worked by hand, its spreads against the truth.

mod common;

use std::f64::consts::{FRAC_PI_2, PI};

use haltmark::log::run::{Kind, Load, Run, Season, Status};
use haltmark::simulate::{
    BuildTruth as Build, FloorTruth as Floor, LoadTruth, ObstacleTruth, PlantedRow as Row,
    RigTruth as Rig, SimulatedSeason, TimeTruth, TrimTruth as Trim, Truth, rest_point, season,
};

/// A truth in which everything happens.
fn busy_truth() -> Truth {
    let mut truth = Truth {
        vehicle: "Otter".to_string(),
        wheels: "cork".to_string(),
        build: "one".to_string(),
        trim: "gentle, first".to_string(),
        floor: "gym".to_string(),
        load: Some(LoadTruth::default()),
        time: Some(TimeTruth::default()),
        obstacle: Some(ObstacleTruth {
            gap_noted: 0.5,
            ..ObstacleTruth::default()
        }),
        ..Truth::default()
    };
    truth.season.sessions = 5;
    truth.season.runs_per_session = vec![9, 7];
    truth.season.leads_turns = vec![1.0, 1.5, 2.25];
    truth.season.first_date = Some("2031-10-04".parse().unwrap());
    truth.season.session_labels = vec!["\"first\"".to_string(), "#2".to_string()];
    truth.season.comments = vec!["two".to_string(), "lines\nand one more".to_string()];
    truth.settings.chase = 0.3;
    truth.settings.vary_turns = 1.0;
    truth.measuring.miss_noted = 0.5;
    truth.measuring.right_noted = 0.9;
    truth.wrong.void = 0.1;
    truth.hand_rolls.runs_per_session = 1;
    truth.hand_rolls.sessions = vec![1, 3];
    truth.rigs = vec![Rig {
        wheels: Some("rim".to_string()),
        distance_per_turn_m: Some(0.24),
        runs_per_session: Some(vec![4]),
        sessions: vec![1, 2, 5],
        ..Rig::default()
    }];
    truth.builds = vec![Build {
        build: "two".to_string(),
        from_session: 3,
        overshoot_m: Some(0.4),
    }];
    truth.trims = vec![Trim {
        trim: "sharp".to_string(),
        from_session: 4,
        straight_rad: Some(-0.05),
        curvature_per_m: Some(1.5 / 50.0),
    }];
    truth.floors = vec![Floor {
        floor: "hall".to_string(),
        sessions: vec![2, 5],
        long_m: 0.07,
        right_rad: -0.002,
    }];
    truth.rows = vec![
        Row {
            session: 4,
            run: 2,
            column: Some("turns".to_string()),
            add: 10.0,
            note: "a slip, \"planted\"".to_string(),
            ..Row::default()
        },
        Row {
            session: 1,
            run: 4,
            status: Some(Status::Void),
            measured: false,
            note: "dial knocked".to_string(),
            ..Row::default()
        },
        Row {
            session: 2,
            run: 1,
            status: Some(Status::Touched),
            ..Row::default()
        },
    ];
    truth
}

/// No spread, no bias, straight on: only what a test switches on happens.
fn still_truth() -> Truth {
    let mut truth = Truth::default();
    truth.travel.distance_per_turn_m = 0.25;
    truth.travel.overshoot_m = 0.5;
    truth.travel.run_to_run_m = 0.0;
    truth.travel.between_sessions_m = 0.0;
    truth.heading.straight_rad = 0.0;
    truth.heading.curvature_per_m = 0.0;
    truth.heading.run_to_run_rad = 0.0;
    truth.heading.between_sessions_rad = 0.0;
    truth.recoil.half_lead_turns = 100.0;
    truth.measuring.tape_step_m = 0.0;
    truth.settings.aim_step_m = 0.0;
    truth.season.sessions = 1;
    truth.season.runs_per_session = vec![1];
    truth.season.targets_m = vec![6.0];
    truth
}

/// The one run of a season of one.
fn only_run(truth: &Truth) -> Run {
    let simulated = season(truth, 1);
    assert_eq!(simulated.season.runs.len(), 1);
    simulated.season.runs[0].clone()
}

fn assert_near(value: f64, expected: f64, within: f64) {
    assert!(
        (value - expected).abs() <= within,
        "{value} is not within {within} of {expected}"
    );
}

// --- the truth file ------------------------------------------------------------------------------------------

#[test]
fn the_printed_truth_file_says_the_defaults() {
    let text = Truth::default().to_toml();
    assert_eq!(Truth::from_toml("truth.toml", &text), Ok(Truth::default()));
    // So does an empty one.
    assert_eq!(Truth::from_toml("truth.toml", ""), Ok(Truth::default()));
}

#[test]
fn the_examples_in_the_printed_file_are_sound() {
    // Taking away the # before what is shown but not in force must give a file that can be read.
    let text: String = Truth::default()
        .to_toml()
        .lines()
        .skip(5)
        .map(|line| line.strip_prefix("# ").unwrap_or(line).to_string() + "\n")
        .collect();
    // A blank label beside others cannot be told from "the same as above".
    let text = text
        .replace("vehicle = \"\"", "vehicle = \"Otter\"")
        .replace("wheels = \"\"", "wheels = \"cork\"")
        .replace("build = \"\"", "build = \"one\"")
        .replace("trim = \"\"", "trim = \"gentle\"")
        .replace("floor = \"\"", "floor = \"gym\"");
    let truth = Truth::from_toml("truth.toml", &text).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(truth.rigs.len(), 1);
    assert_eq!(truth.rows.len(), 1);
    assert!(truth.obstacle.is_some() && truth.load.is_some() && truth.time.is_some());
}

#[test]
fn a_truth_is_the_same_after_it_was_printed_and_read() {
    let truth = busy_truth();
    assert!(truth.faults().is_empty(), "{:?}", truth.faults());
    let text = truth.to_toml();
    let again = Truth::from_toml("truth.toml", &text).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(again, truth, "{text}");
}

#[test]
fn the_contracts_keys_are_read_in_its_units() {
    let text = r#"
        vehicle = "Otter"
        [travel]
        distance_per_turn_cm = 22.5
        overshoot_cm = 41
        run_to_run_cm = 7
        between_sessions_cm = 9
        lead_cm_per_turn = -3
        [heading]
        straight_cm_per_m = 2
        curve_cm_per_m2 = -1.5
        run_to_run_cm_per_m = 0.8
        between_sessions_cm_per_m = 0.4
        [recoil]
        half_lead_turns = 2.1
        per_turn = 3
        [season]
        sessions = 4
        runs_per_session = 5
        targets_m = [5.5, 7]
        leads_turns = [1, 2]
        seed = 12
    "#;
    let truth = Truth::from_toml("truth.toml", text).unwrap();
    assert_eq!(truth.vehicle, "Otter");
    assert_eq!(truth.travel.distance_per_turn_m, 0.225);
    assert_eq!(truth.travel.overshoot_m, 0.41);
    assert_eq!(truth.travel.lead_m_per_turn, -0.03);
    // The contract: straight is 100·δ, curve is 100·κ/2.
    assert_near(truth.heading.straight_rad, 0.02, 1e-15);
    assert_near(truth.heading.curvature_per_m, -0.03, 1e-15);
    assert_near(truth.heading.run_to_run_rad, 0.008, 1e-15);
    assert_eq!(truth.recoil.half_lead_turns, 2.1);
    assert_eq!(truth.season.targets_m, [5.5, 7.0]);
    assert_eq!(truth.season.seed, 12);
}

#[test]
fn every_fault_of_a_truth_file_is_named_with_its_line_and_the_nearest_key() {
    let text = "[travel]\novershot_cm = 3\n\n[season]\nsessions = 2.5\n[obstacle]\npass = \"over\"\n[[rows]]\nsession = 9\n";
    let faults = Truth::from_toml("truth.toml", text).unwrap_err();
    let said: Vec<String> = faults.0.iter().map(ToString::to_string).collect();
    for (fault, parts) in said.iter().zip([
        ["line 2", "travel.overshoot_cm"],
        ["line 5", "a whole number from 0"],
        ["line 7", "left, right"],
        ["line 8", "there is no session 9"],
    ]) {
        assert!(parts.iter().all(|part| fault.contains(part)), "{said:#?}");
    }
}

#[test]
fn parts_that_do_not_go_together_are_faults() {
    let refused = |text: &str, part: &str| {
        let faults = Truth::from_toml("truth.toml", text).expect_err(text);
        assert!(faults.to_string().contains(part), "{text}: {faults}");
    };
    refused("season.targets_m = []", "at least one target");
    refused("season.session_labels = [\"2\"]", "different label");
    refused("[[rigs]]\nwheels = \"rim\"", "a label for every wheels");
    refused(
        "[[rigs]]\novershoot_cm = 3",
        "another vehicle or other wheels",
    );
    refused("[[rows]]\nrun = 9", "session 1 has no run 9");
    refused("[[rows]]\ncolumn = \"lead\"", "expected one of turns");
    refused("heading.curve_cm_per_m2 = 20", "does not reach 9 m");
    refused(
        "heading = { curve_cm_per_m2 = 8, straight_cm_per_m = 60 }",
        "no aim mark at 9 m",
    );
    refused(
        "season.sessions = 2000\nseason.runs_per_session = 2000",
        "4000000 rows",
    );
    refused("season.dates = [2031-01-01]", "a date for every session");
    refused("season.first_date = 9999-12-30", "a date for every session");
    refused("travel.run_to_run_cm = nan", "a number from 0");
}

proptest::proptest! {
    #![proptest_config(proptest::test_runner::Config {
        cases: 200,
        failure_persistence: None,
        ..Default::default()
    })]

    #[test]
    fn no_text_makes_the_reader_panic(text in "([a-z_]{1,12}|\\[|\\]|=|\"|#|[0-9.e+-]{1,6}|\n| |é|,){0,60}") {
        let _ = Truth::from_toml("truth.toml", &text);
    }

    /// Any number in any key: it is refused, or it makes a log without a number that is none.
    #[test]
    fn any_truth_that_is_accepted_makes_a_log(
        changes in proptest::collection::vec((0usize..200, -1500.0f64..1500.0, -6i32..1), 1..4),
        seed in 0u64..1000,
    ) {
        let page = Truth::default().to_toml();
        let mut lines: Vec<String> = page.lines().map(str::to_string).collect();
        for (at, value, power) in changes {
            let at = at % lines.len();
            let Some((key, rest)) = lines[at].split_once(" = ") else { continue };
            if rest.starts_with(|c: char| c.is_ascii_digit() || c == '-') && !key.starts_with('#') {
                let value = value * 10f64.powi(power);
                let value = if rest.contains('.') { value } else { value.round() };
                lines[at] = format!("{key} = {value}");
            }
        }
        if let Ok(mut truth) = Truth::from_toml("truth.toml", &lines.join("\n")) {
            truth.season.sessions = truth.season.sessions.min(5);
            truth.season.runs_per_session = vec![truth.season.runs_per_session[0].min(6)];
            truth.hand_rolls.runs_per_session = truth.hand_rolls.runs_per_session.min(3);
            let log = season(&truth, seed).to_csv();
            proptest::prop_assert!(!log.contains("NaN") && !log.contains("inf"), "{log}");
        }
    }
}

// --- the log -------------------------------------------------------------------------------------------------

#[test]
fn the_same_truth_and_seed_give_the_same_bytes() {
    let truth = busy_truth();
    let log = season(&truth, 4).to_csv();
    assert_eq!(season(&truth, 4).to_csv(), log);
    assert_ne!(season(&truth, 5).to_csv(), log);
}

#[test]
fn what_is_written_is_read_back_as_it_was() {
    for (truth, seed) in [(Truth::default(), 1), (busy_truth(), 2), (busy_truth(), 3)] {
        let simulated = season(&truth, seed);
        let text = simulated.to_csv();
        let (read, _) = common::read(&text);
        assert_same_season(&simulated.season, &read, &text);
        let comments = text.lines().take_while(|line| line.starts_with("# "));
        assert!(comments.count() >= 1);
    }
}

fn assert_same_season(written: &Season, read: &Season, text: &str) {
    assert_eq!(written.sessions, read.sessions);
    assert_eq!(written.vehicles, read.vehicles);
    assert_eq!(written.wheels, read.wheels);
    assert_eq!(written.builds, read.builds);
    assert_eq!(written.trims, read.trims);
    assert_eq!(written.floors, read.floors);
    assert_eq!(written.runs.len(), read.runs.len(), "{text}");
    for (written, read) in written.runs.iter().zip(&read.runs) {
        let lengths = |run: &Run| {
            [
                run.turns,
                run.rest_m,
                run.right_m,
                run.aim_right_m,
                run.miss_m,
                run.recoil_m,
                run.gap_m,
            ]
        };
        for (a, b) in lengths(written).into_iter().zip(lengths(read)) {
            let same = match (a, b) {
                // Centimetres and metres round differently in the last bits.
                (Some(a), Some(b)) => (a - b).abs() < 1e-12,
                (None, None) => true,
                _ => false,
            };
            assert!(same, "{written:?}\n{read:?}");
        }
        let bare = |run: &Run| Run {
            line: 0,
            turns: None,
            rest_m: None,
            right_m: None,
            aim_right_m: None,
            miss_m: None,
            recoil_m: None,
            gap_m: None,
            ..run.clone()
        };
        assert_eq!(bare(written), bare(read));
    }
}

#[test]
fn planted_rows_are_where_they_were_planted() {
    let truth = busy_truth();
    let simulated = season(&truth, 2);
    let nth = |session: u32, run: f64| {
        let is = |one: &Run| one.session == session - 1 && one.order == run;
        let index = simulated
            .season
            .runs
            .iter()
            .position(is)
            .expect("the row is there");
        (
            &simulated.season.runs[index],
            &simulated.exact[index],
            &simulated.notes[index],
        )
    };
    let (slipped, exact, note) = nth(4, 2.0);
    assert_near(slipped.turns.unwrap() - exact.turns, 10.0, 1e-9);
    assert_eq!(note, "a slip, \"planted\"");
    let (void, _, _) = nth(1, 4.0);
    assert_eq!(void.status, Status::Void);
    assert_eq!(void.rest_m, None);
    let (touched, _, _) = nth(2, 1.0);
    assert_eq!(touched.status, Status::Touched);
}

#[test]
fn a_season_of_any_size_is_written() {
    let mut truth = Truth::default();
    truth.season.sessions = 0;
    assert_eq!(season(&truth, 1).to_csv().lines().count(), 2);
    truth.season.targets_m.clear();
    truth.season.leads_turns.clear();
    truth.season.runs_per_session.clear();
    truth.season.sessions = 3;
    assert!(season(&truth, 1).season.runs.is_empty());
}

// --- the forward model, by hand --------------------------------------------------------------------------------

#[test]
fn rest_points_agree_with_the_table_of_arcs() {
    // tests/reference/data/arc_geometry.csv: closed forms at 50 digits (mpmath 1.4.1).
    let table = include_str!("reference/data/arc_geometry.csv");
    let mut rows = 0;
    for line in table.lines().skip(1) {
        let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
        let (curvature_per_m, arc_m) = (cells[0], cells[1]);
        let (ahead_m, right_m) = rest_point(arc_m, 0.0, curvature_per_m);
        for (value, expected) in [(ahead_m, cells[2]), (right_m, cells[3])] {
            let within = (1e-12 * expected.abs()).max(1e-15);
            assert!(
                (value - expected).abs() <= within,
                "{line}: {value} for {expected}"
            );
        }
        let (half_ahead_m, half_right_m) = rest_point(arc_m / 2.0, 0.0, curvature_per_m);
        assert_near(half_ahead_m, cells[8], 1e-12 * cells[8]);
        assert_near(half_right_m, cells[9], (1e-12 * cells[9].abs()).max(1e-15));
        rows += 1;
    }
    assert_eq!(rows, 40);
}

#[test]
fn the_right_setting_stops_on_the_target() {
    // (6 m − 0.5 m) / 0.25 m = 22 turns.
    let run = only_run(&still_truth());
    assert_eq!(run.turns, Some(22.0));
    assert_near(run.rest_m.unwrap(), 6.0, 1e-12);
    assert_near(run.right_m.unwrap(), 0.0, 1e-12);
    assert_eq!(run.aim_right_m, Some(0.0));
}

#[test]
fn dividing_by_the_circumference_alone_goes_long_by_the_overshoot() {
    let mut truth = still_truth();
    truth.settings.believed_overshoot_m = Some(0.0);
    let run = only_run(&truth);
    assert_eq!(run.turns, Some(24.0));
    assert_near(run.long_m().unwrap(), 0.5, 1e-12);
}

#[test]
fn a_turn_more_lead_adds_its_overshoot() {
    let mut truth = still_truth();
    truth.settings.believed_overshoot_m = Some(0.5);
    truth.travel.lead_m_per_turn = 0.04;
    truth.travel.overshoot_at_lead_turns = Some(1.0);
    truth.season.leads_turns = vec![2.5];
    assert_near(only_run(&truth).long_m().unwrap(), 0.06, 1e-12);
}

#[test]
fn a_run_goes_where_it_is_aimed() {
    // A mark 4.5 m to the right at 6 m: a 3-4-5 triangle, so 6 m of path end 4.8 m ahead and 3.6 m right.
    let mut truth = still_truth();
    truth.settings.aim_right_m = Some(4.5);
    let run = only_run(&truth);
    assert_near(run.rest_m.unwrap(), 4.8, 1e-5);
    assert_near(run.right_m.unwrap(), 3.6, 1e-5);
}

/// A path of exactly `arc_m`: one tick is wound on and the overshoot does the rest.
fn with_path(mut truth: Truth, arc_m: f64) -> Truth {
    truth.settings.believed_overshoot_m = Some(50.0);
    truth.travel.overshoot_m = arc_m - 0.25 / 20.0;
    truth.settings.aim_right_m = Some(0.0);
    truth
}

#[test]
fn a_quarter_circle_ends_a_radius_ahead_and_a_radius_across() {
    for side in [1.0, -1.0] {
        let mut truth = still_truth();
        truth.heading.curvature_per_m = side * 0.2;
        let run = only_run(&with_path(truth, 5.0 * FRAC_PI_2));
        // Written to a hundredth of a millimetre.
        assert_near(run.rest_m.unwrap(), 5.0, 1e-5);
        assert_near(run.right_m.unwrap(), side * 5.0, 1e-5);
    }
}

#[test]
fn a_third_of_a_circle_started_a_sixth_of_a_turn_left_ends_on_the_line() {
    // Radius 3 m, arc 2π, tangent–chord angle 60°, chord 2·3·sin 60° = 3√3.
    let mut truth = still_truth();
    truth.heading.curvature_per_m = 1.0 / 3.0;
    truth.heading.straight_rad = -PI / 3.0;
    let run = only_run(&with_path(truth, 2.0 * PI));
    assert_near(run.rest_m.unwrap(), 27f64.sqrt(), 1e-5);
    assert_near(run.right_m.unwrap(), 0.0, 1e-5);
}

#[test]
fn a_bent_run_is_aimed_so_that_it_comes_back_to_the_target() {
    let mut truth = still_truth();
    truth.heading.curvature_per_m = 0.03;
    truth.heading.straight_rad = 0.01;
    truth.season.targets_m = vec![9.0];
    let run = only_run(&truth);
    // Aim left of the target: −9·tan(0.01 + κs/2) with κs/2 = asin(κ·9/2).
    let expected = -9.0 * (0.01 + (0.03f64 * 4.5).asin()).tan();
    assert_near(run.aim_right_m.unwrap(), expected, 1e-5);
    // Only the rounding to whole ticks is left, half of 1.25 cm at most.
    assert_near(run.long_m().unwrap(), 0.0, 0.0063);
    // It arrives at κs/2 = 0.135 rad across the line, so 6.3 mm along are 0.9 mm across.
    assert_near(run.right_m.unwrap(), 0.0, 0.001);
}

#[test]
fn a_gap_is_what_is_left_between_two_edges() {
    let mut truth = still_truth();
    truth.obstacle = Some(ObstacleTruth {
        at: 0.5,
        right_m: 0.40,
        diameter_m: 0.20,
        width_m: 0.15,
        pass_left: true,
        gap_noted: 1.0,
    });
    // Straight on: 40 cm to the centre, less 10 and 7.5 cm.
    assert_near(only_run(&truth).gap_m.unwrap(), 0.225, 1e-5);
    // The other side of it is the wrong one, and a touch.
    truth.obstacle.as_mut().unwrap().pass_left = false;
    let run = only_run(&truth);
    assert_eq!(run.status, Status::Touched);
    assert!(run.rest_m.unwrap() < 6.0);
}

#[test]
fn a_path_aimed_left_bows_by_a_quarter_of_the_aim_offset() {
    // Common practice (no source): with sight and launcher parallel, half way the path is off the line by a
    // quarter of the aim offset.
    let mut truth = still_truth();
    truth.heading.curvature_per_m = 0.02;
    truth.season.targets_m = vec![8.0];
    let aim_m = only_run(&truth).aim_right_m.unwrap();
    let start = aim_m.atan2(8.0);
    let half = rest_point(4.0, start, 0.02);
    assert_near(half.1, aim_m / 4.0, 0.002);
}

#[test]
fn builds_trims_and_floors_change_what_they_say() {
    let mut truth = still_truth();
    truth.season.sessions = 3;
    truth.season.leads_turns = vec![1.5];
    truth.settings.believed_overshoot_m = Some(0.5);
    truth.settings.aim_right_m = Some(0.0);
    truth.builds = vec![Build {
        build: "b".to_string(),
        from_session: 2,
        overshoot_m: Some(0.6),
    }];
    truth.trims = vec![Trim {
        trim: "t".to_string(),
        from_session: 3,
        straight_rad: Some((0.03f64).atan()),
        curvature_per_m: None,
    }];
    truth.floors = vec![Floor {
        floor: "f".to_string(),
        sessions: vec![3],
        long_m: -0.1,
        right_rad: 0.0,
    }];
    let runs = season(&truth, 1).season.runs;
    let rests: Vec<f64> = runs
        .iter()
        .map(|run| run.rest_m.unwrap().hypot(run.right_m.unwrap()))
        .collect();
    for (rest, expected) in rests.into_iter().zip([6.0, 6.1, 6.0]) {
        assert_near(rest, expected, 2e-5);
    }
    assert_near(
        runs[2].right_m.unwrap() / runs[2].rest_m.unwrap(),
        0.03,
        1e-5,
    );
    assert_near(runs[1].right_m.unwrap(), 0.0, 1e-12);
}

#[test]
fn a_hand_roll_covers_more_in_a_turn_than_a_launch() {
    let mut truth = still_truth();
    truth.season.runs_per_session = vec![0];
    truth.hand_rolls.runs_per_session = 1;
    truth.hand_rolls.turns = vec![20.0];
    truth.hand_rolls.run_to_run_m = 0.0;
    let run = only_run(&truth);
    assert_eq!(run.kind, Kind::HandRoll);
    // 20 turns of 0.25 m are 98 % of it.
    assert_near(run.rest_m.unwrap() * 0.98, 5.0, 1e-5);
}

#[test]
fn chasing_moves_the_dial_by_the_whole_miss() {
    let mut truth = still_truth();
    truth.settings.believed_overshoot_m = Some(0.0);
    truth.settings.chase = 1.0;
    truth.season.runs_per_session = vec![2];
    let runs = season(&truth, 1).season.runs;
    // The first is 50 cm long, two turns; the second is right.
    assert_near(runs[0].turns.unwrap() - runs[1].turns.unwrap(), 2.0, 1e-9);
    assert_near(runs[1].long_m().unwrap(), 0.0, 1e-9);
}

#[test]
fn a_first_run_and_a_drift_are_what_they_say() {
    let mut truth = still_truth();
    truth.season.runs_per_session = vec![3];
    truth.season.sessions = 2;
    truth.effects.first_run_long_m = 0.2;
    truth.effects.drift_long_m_per_run = 0.01;
    truth.effects.drift_long_m_per_session = 0.03;
    let runs = season(&truth, 1).season.runs;
    let longs: Vec<f64> = runs.iter().map(|run| run.long_m().unwrap()).collect();
    for (long, expected) in longs.into_iter().zip([0.20, 0.01, 0.02, 0.23, 0.04, 0.05]) {
        assert_near(long, expected, 1e-9);
    }
}

/// On a straight path of 6 m a heading φ ends 6·sin φ to the right.
#[test]
fn a_first_run_and_a_drift_head_where_they_say() {
    let mut truth = still_truth();
    truth.season.runs_per_session = vec![3];
    truth.season.sessions = 2;
    truth.effects.first_run_right_rad = 0.02;
    truth.effects.drift_right_rad_per_run = -0.001;
    truth.effects.drift_right_rad_per_session = 0.003;
    let runs = season(&truth, 1).season.runs;
    let expected = [0.020, -0.001, -0.002, 0.023, 0.002, 0.001];
    for (run, heading_rad) in runs.iter().zip(expected) {
        assert_near(run.right_m.unwrap(), 6.0 * f64::sin(heading_rad), 1e-5);
    }
}

#[test]
fn a_slip_by_chance_is_ten_turns_either_way_and_only_on_paper() {
    let mut truth = still_truth();
    truth.season.runs_per_session = vec![400];
    let clean = season(&truth, 1);
    truth.wrong.slip = 0.5;
    let slipped = season(&truth, 1);
    assert_eq!(slipped.exact, clean.exact);
    let mut seen = [0; 3];
    for (slip, right) in slipped.season.runs.iter().zip(&clean.season.runs) {
        let by = slip.turns.unwrap() - right.turns.unwrap();
        seen[[-10.0, 0.0, 10.0].iter().position(|b| *b == by).unwrap()] += 1;
    }
    // 100, 200 and 100 of 400, five standard errors of a count (8.7 and 10).
    assert!(
        seen.iter()
            .zip([100, 200, 100])
            .all(|(n, m): (&i32, i32)| (n - m).abs() < 50),
        "{seen:?}"
    );
}

#[test]
fn a_run_that_rolls_back_stops_short() {
    let mut truth = still_truth();
    truth.recoil.half_lead_turns = -100.0;
    let run = only_run(&truth);
    assert_eq!(run.status, Status::Recoil);
    assert!(run.recoil_m.unwrap() >= 0.01);
    // It lost what it rolled back and what it was short of the hard stop.
    assert!(run.long_m().unwrap() < -run.recoil_m.unwrap() + 0.005);
}

// --- chance --------------------------------------------------------------------------------------------------

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn sd(values: &[f64]) -> f64 {
    let centre = mean(values);
    let squares: f64 = values.iter().map(|value| (value - centre).powi(2)).sum();
    (squares / (values.len() - 1) as f64).sqrt()
}

/// 400 seasons of six sessions.
fn many(truth: &Truth) -> Vec<SimulatedSeason> {
    (0..400).map(|seed| season(truth, seed)).collect()
}

#[test]
fn spreads_over_many_seasons_are_those_of_the_truth() {
    let truth = Truth::default();
    let seasons = many(&truth);
    let (mut along, mut across) = (Vec::new(), Vec::new());
    let (mut day_along, mut day_across) = (Vec::new(), Vec::new());
    for simulated in &seasons {
        for (run, exact) in simulated.season.runs.iter().zip(&simulated.exact) {
            if run.status != Status::Ok {
                continue;
            }
            let shift = simulated
                .shifts
                .iter()
                .find(|shift| shift.session == run.session)
                .unwrap();
            // From what was written down, to the rounding of the tape.
            let chord_m = run.rest_m.unwrap().hypot(run.right_m.unwrap());
            let half = 0.009 * chord_m;
            let arc_m = chord_m * half.asin() / half;
            along.push(arc_m - 0.28 - 0.235 * run.turns.unwrap() - shift.long_m);
            let heading = run.right_m.unwrap().atan2(run.rest_m.unwrap());
            let aim = run.aim_right_m.unwrap().atan2(run.target_m.unwrap());
            across.push(heading - aim + 0.02 - 0.009 * arc_m - shift.right_rad);
            assert_near(arc_m, exact.arc_m, 0.0055);
        }
        day_along.extend(simulated.shifts.iter().map(|shift| shift.long_m));
        day_across.extend(simulated.shifts.iter().map(|shift| shift.right_rad));
    }
    assert!(along.len() > 18_000 && day_along.len() == 2400);
    // Means within 4 standard errors, SDs within 4 standard errors (SD/√(2n)), plus 2e-3 of the run-to-run spread for
    // the tape's rounding (0.5/√12 cm in squares beside 5 cm: 0.2 %).
    for (values, expected) in [
        (&along, 0.05),
        (&across, 0.006),
        (&day_along, 0.06),
        (&day_across, 0.005),
    ] {
        let n = values.len() as f64;
        assert_near(mean(values), 0.0, 4.0 * expected / n.sqrt());
        assert_near(
            sd(values),
            expected,
            4.0 * expected / (2.0 * n).sqrt() + 2e-3 * expected,
        );
    }
    // Along and across have independent causes.
    let products: Vec<f64> = along
        .iter()
        .zip(&across)
        .map(|(a, b)| a * b / (0.05 * 0.006))
        .collect();
    assert_near(mean(&products), 0.0, 4.0 / (products.len() as f64).sqrt());
}

#[test]
fn what_a_calibration_leaves_out_is_as_large_as_it_says() {
    // 22 turns of 0.25 m and 0.5 m of overshoot, on a straight line: all of the spread comes from one key.
    let base = still_truth();
    let mut stretch = base.clone();
    stretch.effects.stretch = 0.02;
    let mut grows = base.clone();
    grows.effects.spread_m_per_m = 0.01;
    let mut wild = base.clone();
    wild.travel.run_to_run_m = 0.05;
    wild.effects.wild = 0.3;
    wild.effects.wild_times = 4.0;
    let mut turns = base.clone();
    turns.settings.vary_turns = 0.8;
    let mut aim = base.clone();
    aim.settings.vary_aim_m = 0.05;
    let mut lopsided = base.clone();
    lopsided.travel.run_to_run_m = 0.05;
    lopsided.effects.lopsided = 0.4;
    for (truth, expected) in [
        // As wide as it was.
        (lopsided, 0.05),
        (stretch, 0.02 * 5.5),
        (grows, 0.01 * 6.0),
        // Variances mix: 0.7 of 1 and 0.3 of 16.
        (wild, 0.05 * 5.5f64.sqrt()),
        (turns, 0.8 * 0.25),
        // Aimed to the side by a, the same path ends short by a²/12 only: along nothing to speak of.
        (aim, 0.0),
    ] {
        let longs: Vec<f64> = (0..3000)
            .map(|seed| season(&truth, seed).season.runs[0].long_m().unwrap())
            .collect();
        // 10 standard errors of a normal sample's SD, σ/√(2n); a mixture with wild runs (kurtosis 7.7) has 1.8 times that.
        assert_near(
            sd(&longs),
            expected,
            10.0 * expected / 6000f64.sqrt() + 0.001,
        );
    }
}

/// Shapes of the run-to-run parts over 4000 seasons of one run: skewness along, correlation, spread across.
#[test]
fn lopsided_linked_and_wild_runs_are_as_the_truth_says() {
    let n = 4000;
    let parts = |truth: &Truth| -> (Vec<f64>, Vec<f64>) {
        let of = |seed| {
            let run = season(truth, seed).season.runs[0].clone();
            (run.long_m().unwrap(), run.right_m.unwrap())
        };
        (0..n).map(of).unzip()
    };
    let standard = |values: &[f64]| -> Vec<f64> {
        let (m, s) = (mean(values), sd(values));
        values.iter().map(|v| (v - m) / s).collect()
    };
    let mut truth = still_truth();
    truth.travel.run_to_run_m = 0.05;
    truth.heading.run_to_run_rad = 0.01;
    truth.effects.lopsided = -0.2;
    truth.effects.long_with_right = 0.6;
    truth.effects.wild_right = 0.1;
    truth.effects.wild_times = 3.0;
    let (long, right) = parts(&truth);
    let (z_long, z_right) = (standard(&long), standard(&right));
    let cubes: Vec<f64> = z_long.iter().map(|z| z * z * z).collect();
    // (6a + 8a³)/(1 + 2a²)^1.5 by hand at a = −0.2; five standard errors (0.055 and, below, 0.011 for 4000 runs: from a
    // simulation apart from this program).
    assert_near(mean(&cubes), -1.264 / 1.08f64.powf(1.5), 0.28);
    // Linked through the normal part: 0.6/√(1 + 2a²) with the lopsided one, less by the wild runs' mixture:
    // E|spread|/√E spread² = (0.9 + 0.1·3)/√(0.9 + 0.1·9).
    let mixed = 1.2 / 1.8f64.sqrt();
    let products: Vec<f64> = z_long.iter().zip(&z_right).map(|(a, b)| a * b).collect();
    let linked = 0.6 / 1.08f64.sqrt() * mixed;
    assert_near(mean(&products), linked, 0.055);
    // Variances mix: 0.9 of 1 and 0.1 of 9; kurtosis 3·(0.9 + 8.1)/1.8² = 8.3, so √(7.3/4n) is a standard error's share.
    let expected = 6.0 * 0.01 * 1.8f64.sqrt();
    assert_near(
        sd(&right),
        expected,
        5.0 * expected * (7.3 / 16_000.0f64).sqrt(),
    );
}

#[test]
fn travel_that_bends_bends_about_the_middle_target() {
    let mut truth = still_truth();
    truth.season.targets_m = vec![6.0, 8.0];
    truth.season.runs_per_session = vec![2];
    truth.effects.bend_m_per_turn2 = 0.01;
    // The middle target, 7 m, takes 26 turns; the two take 22 and 30.
    for run in &season(&truth, 1).season.runs {
        assert_near(run.long_m().unwrap(), 0.01 * 16.0, 1e-9);
    }
}

#[test]
fn run_time_is_a_straight_line_in_the_path() {
    let mut truth = still_truth();
    truth.time = Some(TimeTruth {
        start_s: 0.7,
        s_per_m: 0.3,
        run_to_run_s: 0.0,
        ..TimeTruth::default()
    });
    assert_near(only_run(&truth).time_s.unwrap(), 2.5, 1e-12);
}

#[test]
fn a_slip_of_the_pencil_changes_what_is_written_and_not_what_happened() {
    let mut truth = still_truth();
    truth.settings.believed_overshoot_m = Some(0.3);
    truth.settings.aim_right_m = Some(0.2);
    let honest = only_run(&truth);
    let slipped = |column: &str, times: f64, add: f64| {
        let mut truth = truth.clone();
        truth.rows = vec![Row {
            column: Some(column.to_string()),
            times,
            add,
            ..Row::default()
        }];
        only_run(&truth)
    };
    // Left written for right; a tape read a decimetre wrong; two ticks too many; the mark on the other side.
    let run = slipped("right_cm", -1.0, 0.0);
    assert_eq!(run.right_m, honest.right_m.map(|right_m| -right_m));
    assert_eq!(run.rest_m, honest.rest_m);
    let run = slipped("long_cm", 1.0, 10.0);
    assert_near(run.rest_m.unwrap() - honest.rest_m.unwrap(), 0.1, 1e-9);
    let run = slipped("ticks", 1.0, 2.0);
    assert_near(run.turns.unwrap() - honest.turns.unwrap(), 0.1, 1e-9);
    let run = slipped("aim_right_cm", -1.0, 0.0);
    assert_eq!(run.aim_right_m, Some(-0.2));
    assert_eq!((run.rest_m, run.right_m), (honest.rest_m, honest.right_m));
}

#[test]
fn rigs_share_the_part_of_a_day_that_the_truth_says() {
    for shared in [0.0, 0.5, 1.0] {
        let mut truth = Truth {
            wheels: "cork".to_string(),
            ..Truth::default()
        };
        truth.season.runs_per_session = vec![1];
        truth.season.shared_shift = shared;
        truth.rigs = vec![Rig {
            wheels: Some("rim".to_string()),
            ..Rig::default()
        }];
        let (mut products, mut squares) = (Vec::new(), Vec::new());
        for simulated in many(&truth) {
            for pair in simulated.shifts.chunks(2) {
                assert_eq!(pair[0].session, pair[1].session);
                products.push(pair[0].long_m * pair[1].long_m / 0.06f64.powi(2));
                squares.push((pair[0].long_m / 0.06).powi(2));
            }
        }
        let n = products.len() as f64;
        // SD of a product of two standard normals is at most √2 (when they are one and the same).
        assert_near(mean(&products), shared, 4.0 * 2f64.sqrt() / n.sqrt());
        assert_near(mean(&squares), 1.0, 4.0 * 2f64.sqrt() / n.sqrt());
    }
}

#[test]
fn recoils_and_broken_loads_are_as_frequent_as_the_lead_makes_them() {
    let mut truth = Truth::default();
    truth.season.leads_turns = vec![1.5, 2.3, 2.8];
    truth.load = Some(LoadTruth {
        half_lead_turns: 1.5,
        per_turn: -2.0,
        noted: 1.0,
    });
    let runs: Vec<Run> = many(&truth)
        .into_iter()
        .flat_map(|one| one.season.runs)
        .collect();
    // 1/(1 + e^4), an even chance, 1/(1 + e^-2.5); and 1/2, 1/(1 + e^1.6), 1/(1 + e^2.6).
    for (lead, recoil, broken) in [
        (1.5, 0.017_986, 0.5),
        (2.3, 0.5, 0.167_982),
        (2.8, 0.924_142, 0.069_138),
    ] {
        let with_lead: Vec<&Run> = runs
            .iter()
            .filter(|run| run.lead_turns == Some(lead))
            .collect();
        let n = with_lead.len() as f64;
        let share =
            |is: &dyn Fn(&Run) -> bool| with_lead.iter().filter(|run| is(run)).count() as f64 / n;
        assert!(n > 6000.0);
        let allowed = |chance: f64| 4.0 * (chance * (1.0 - chance) / n).sqrt();
        assert_near(
            share(&|run| run.status == Status::Recoil),
            recoil,
            allowed(recoil),
        );
        assert_near(
            share(&|run| run.load == Some(Load::Broken)),
            broken,
            allowed(broken),
        );
    }
}

#[test]
fn more_sessions_leave_the_first_ones_as_they_were() {
    let mut truth = busy_truth();
    let short = season(&truth, 9).season.runs;
    truth.season.sessions = 8;
    let long = season(&truth, 9).season.runs;
    assert_eq!(short[..], long[..short.len()]);
}

// --- common practice -------------------------------------------------------------------------------------------

#[test]
fn the_default_vehicle_is_one_of_its_class() {
    // Common practice, no source (model.md §10): 23–24 cm a turn; a dial mark about every centimetre; a lead of one to
    // two turns rolls back seldom, one of three nearly always; after a recoil, less lead by a turn or two helps.
    let truth = Truth::default();
    let per_turn_cm = 100.0 * truth.travel.distance_per_turn_m;
    assert!((23.0..=24.0).contains(&per_turn_cm));
    let per_tick_cm = per_turn_cm / f64::from(truth.settings.ticks_per_turn);
    assert!((0.7..=1.4).contains(&per_tick_cm));
    let share = |lead: f64| {
        let mut truth = Truth::default();
        truth.season.leads_turns = vec![lead];
        truth.season.sessions = 50;
        let runs = season(&truth, 1).season.runs;
        let recoils = runs
            .iter()
            .filter(|run| run.status == Status::Recoil)
            .count();
        recoils as f64 / runs.len() as f64
    };
    assert!(share(1.0) < 0.02 && share(1.5) < 0.06);
    assert!(share(3.0) > 0.9);
    // First guess at the turns: target over circumference. It goes long, by the overshoot, and by little more.
    let mut habit = truth.clone();
    habit.settings.believed_overshoot_m = Some(0.0);
    let longs: Vec<f64> = season(&habit, 1)
        .season
        .runs
        .iter()
        .filter_map(|run| run.long_m().filter(|_| run.status == Status::Ok))
        .collect();
    assert_near(mean(&longs), 0.28, 0.08);
}

// --- the command -----------------------------------------------------------------------------------------------

#[test]
fn the_printed_truth_file_can_be_played() {
    let folder = common::Folder::new();
    let printed = folder.run("simulate").ended_with(0).stdout;
    assert_eq!(printed, Truth::default().to_toml());
    folder.write("truth.toml", &printed);
    let log = folder.run("simulate --truth truth.toml").ended_with(0);
    assert_eq!(log.stdout, season(&Truth::default(), 1).to_csv());
    let told = folder
        .run("simulate --truth truth.toml --out log.csv")
        .ended_with(0);
    assert_eq!(folder.text("log.csv"), log.stdout);
    assert!(
        told.stdout.contains("48 invented runs in 6 sessions"),
        "{told}"
    );
    folder.run("check log.csv").ended_with(0);
}

#[test]
fn a_seed_asked_for_wins_over_the_truth_files() {
    let folder = common::Folder::new();
    folder.write("truth.toml", "season.seed = 5");
    let log_of = |seed| season(&Truth::default(), seed).to_csv();
    let plain = folder.run("simulate --truth truth.toml").ended_with(0);
    assert_eq!(plain.stdout, log_of(5));
    let asked = folder
        .run("simulate --truth truth.toml --seed 1")
        .ended_with(0);
    assert_eq!(asked.stdout, log_of(1));
}

#[test]
fn as_json_it_tells_what_no_real_log_tells() {
    let folder = common::Folder::new();
    folder.write("truth.toml", "");
    let json = folder
        .run("simulate --truth truth.toml --json")
        .ended_with(0)
        .json();
    let simulated = season(&Truth::default(), 1);
    assert_eq!(json["log"], simulated.to_csv());
    assert_eq!(json["shifts"].as_array().unwrap().len(), 6);
    let told_cm = json["shifts"][2]["shift_long_cm"].as_f64().unwrap();
    assert_near(told_cm, 100.0 * simulated.shifts[2].long_m, 1e-12);
}

#[test]
fn a_bad_truth_file_ends_with_2_and_writes_nothing() {
    let folder = common::Folder::new();
    folder.write("truth.toml", "[travel]\nturn_cm = 3\n");
    let ran = folder
        .run("simulate --truth truth.toml --out log.csv")
        .ended_with(2);
    assert!(ran.stderr.contains("truth.toml, line 2"), "{ran}");
    assert_eq!(folder.names(), ["truth.toml"]);
    folder.run("simulate --truth none.toml").ended_with(2);
    folder.run("simulate --out log.csv").ended_with(2);
    // The truth is never written over.
    folder.write("truth.toml", "");
    folder
        .run("simulate --truth truth.toml --out truth.toml")
        .ended_with(2);
    assert_eq!(folder.text("truth.toml"), "");
}

#[test]
fn a_set_up_with_another_dial_is_warned_of() {
    let folder = common::Folder::new();
    folder.write("truth.toml", "");
    folder.write("setup.toml", "dial.ticks_per_turn = 24");
    let ran = folder
        .run("simulate --truth truth.toml --setup setup.toml")
        .ended_with(0);
    assert!(ran.stderr.contains("24 in the set-up"), "{ran}");
}

// --- the example logs ------------------------------------------------------------------------------------------

/// A file of `data/`.
fn example(name: &str) -> String {
    let path = format!("{}/data/{name}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(&path).unwrap_or_else(|cause| panic!("{path}: {cause}"))
}

fn example_truth() -> Truth {
    Truth::from_toml("bramble-truth.toml", &example("bramble-truth.toml"))
        .unwrap_or_else(|faults| panic!("{faults}"))
}

#[test]
fn the_example_season_is_made_again_byte_for_byte() {
    let truth = example_truth();
    let made = season(&truth, truth.season.seed).to_csv();
    assert_eq!(made, example("bramble.csv"));
}

#[test]
fn the_example_season_has_everything_a_log_can_have() {
    let setup = haltmark::setup::from_toml("setup", &example("bramble-setup.toml")).unwrap();
    let options = haltmark::log::ReadOptions::default();
    let text = example("bramble.csv");
    let (read, faults) =
        common::try_read_as("bramble.csv", text.as_bytes(), &setup, &options).unwrap();
    // The slip that is left in on purpose, and nothing else.
    assert_eq!(faults.0.len(), 1, "{faults}");
    let slip = "line 95, column turns: 20.3 turns came to rest 240 cm farther";
    assert!(faults.to_string().contains(slip), "{faults}");
    assert_eq!(read.runs.len(), 150);
    assert_eq!(read.sessions.len(), 9);
    for labels in [&read.wheels, &read.builds, &read.trims] {
        assert_eq!(labels.len(), 2);
    }
    assert_eq!(read.floors.len(), 3);
    let count = |is: &dyn Fn(&Run) -> bool| read.runs.iter().filter(|run| is(run)).count();
    assert_eq!(count(&|run| run.status == Status::Void), 3);
    assert_eq!(count(&|run| run.status == Status::Touched), 1);
    assert_eq!(count(&|run| run.status == Status::Recoil), 6);
    assert_eq!(count(&|run| run.kind == Kind::HandRoll), 6);
    assert!(count(&|run| run.load == Some(Load::Broken)) >= 1);
    assert!(count(&|run| run.gap_m.is_some()) >= 20);
    assert!(count(&|run| run.time_s.is_some()) >= 60);
    // Where the vehicle was steered as it is now, there is room at every target for all but a wild run.
    let truth = example_truth();
    let simulated = season(&truth, truth.season.seed);
    let now = simulated
        .season
        .runs
        .iter()
        .zip(&simulated.exact)
        .filter(|(run, _)| run.trim == 1);
    assert!(
        now.map(|(_, exact)| exact.gap_m.unwrap_or(1.0))
            .all(|gap_m| gap_m > 0.0)
    );
}

#[test]
fn the_slip_planted_in_the_example_season_is_what_a_fit_sets_aside() {
    let setup = haltmark::setup::from_toml("setup", &example("bramble-setup.toml")).unwrap();
    let truth = example_truth();
    let simulated = season(&truth, truth.season.seed);
    let calibration = haltmark::calibration::fit::fit(
        &simulated.season,
        &setup,
        haltmark::stats::interval::Level::default(),
        haltmark::calibration::fit::Options::default(),
    )
    .unwrap();
    let lines: Vec<Vec<usize>> = calibration
        .rigs
        .iter()
        .map(|rig| rig.set_aside.iter().map(|run| run.line).collect())
        .collect();
    let slip = |run: &&Run| run.session == 5 && run.order == 5.0;
    let slip = simulated.season.runs.iter().find(slip).unwrap();
    assert_eq!(lines, [vec![slip.line as usize], vec![]]);
}

/// A day with the wide wheels after the season: the truth of the season, with the settings of its calibration.
fn day_after(label: &str, date: &str, runs: usize, comment: &str) -> Truth {
    let mut truth = example_truth();
    truth.season.sessions = 1;
    truth.season.runs_per_session = vec![0];
    truth.season.session_labels = vec![label.to_string()];
    truth.season.dates = vec![date.parse().unwrap()];
    truth.season.leads_turns = vec![1.5];
    truth.season.comments = vec![
        comment.to_string(),
        "Invented like the rest: made from bramble-truth.toml, this day alone, by tests/simulating.rs.".to_string(),
    ];
    truth.settings.believed_distance_per_turn_m = None;
    truth.settings.believed_overshoot_m = None;
    truth.settings.vary_turns = 0.0;
    truth.settings.chase = 0.0;
    truth.rigs[0].runs_per_session = Some(vec![runs]);
    truth.rigs[0].sessions.clear();
    truth.hand_rolls = Default::default();
    truth.builds[0].from_session = 1;
    truth.trims[0].from_session = 1;
    truth.floors = vec![Floor {
        floor: "theatre".to_string(),
        sessions: vec![1],
        ..Floor::default()
    }];
    truth.rows.clear();
    assert!(truth.faults().is_empty(), "{:?}", truth.faults());
    truth
}

#[test]
fn the_example_days_are_made_again_byte_for_byte() {
    let today = day_after(
        "1 Mar",
        "2025-03-01",
        2,
        "Two runs of a new day, for haltmark correct.",
    );
    assert_eq!(season(&today, 5).to_csv(), example("bramble-today.csv"));
    let event = day_after(
        "8 Mar",
        "2025-03-08",
        6,
        "Six runs of the event's day, for haltmark review.",
    );
    assert_eq!(season(&event, 4).to_csv(), example("bramble-event.csv"));
}
