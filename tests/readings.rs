//! Logs as spreadsheets, phones and tired parents write them: what is read of each, and what is said where it cannot be.

mod common;

use common::{Folder, errors, faults_of, read, read_err, try_read_as, warnings};
use haltmark::fault::{Fault, Faults};
use haltmark::log::run::Season;
use haltmark::log::{LogKind, ReadOptions};
use haltmark::setup::{self, Setup, TicksSource};

fn setup_of(text: &str) -> Setup {
    setup::from_toml("s.toml", text).unwrap_or_else(|faults| panic!("{faults}"))
}

fn mapped(text: &str, columns: &str) -> Result<(Season, Faults), haltmark::error::Error> {
    let setup = setup_of(&format!("[columns]\n{columns}"));
    try_read_as("runs.csv", text.as_bytes(), &setup, &ReadOptions::default())
}

fn of_a_day(text: &str) -> (Season, Faults) {
    let options = ReadOptions {
        kind: LogKind::Day,
        ..ReadOptions::default()
    };
    try_read_as("today.csv", text.as_bytes(), &Setup::default(), &options)
        .unwrap_or_else(|error| panic!("{text}\n{error}"))
}

#[test]
fn headings_are_read_as_spreadsheets_have_them() {
    let (plain, _) = read(
        "session,target_m,turns,long_cm,right_cm,lead_turns,note\nA,8.5,36,-4,2,1.5,x\nA,8.5,36,3,1,1,y\n",
    );
    for header in [
        "Session,Target [m],Turns,Long (cm),Right (cm),Lead,Notes",
        "SESSION,target (m),Turns (turns),long_cm,RIGHT CM,Lead (turns),note",
    ] {
        let (season, faults) = read(&format!(
            "{header}\nA,8.5,36,-4,2,1.5,x\nA,8.5,36,3,1,1,y\n"
        ));
        assert_eq!(season.runs, plain.runs, "{header}");
        assert_eq!(faults.0, [], "{header}");
    }
}

#[test]
fn headings_in_another_language_are_named_in_the_set_up() {
    let columns = "long_cm = \"Abweichung längs\"\ntarget = \"Ziel (m)\"\nturns = \"Umdrehungen\"\nsession = \"Tag\"\n";
    let log = "Tag;Ziel (m);Umdrehungen;Abweichung  Längs\nA;8,5;36;-4\nA;8,5;36;3\n";
    let (season, faults) = mapped(log, columns).unwrap();
    assert_eq!((season.runs.len(), faults.0.len()), (2, 0), "{faults}");
    assert!((season.runs[0].long_m().unwrap() + 0.04).abs() < 1e-12);
    // Rows copied from the card have the contract's names.
    let (season, _) = mapped("session,target_m,turns,long_cm\nA,8.5,36,-4\n", columns).unwrap();
    assert_eq!(season.runs.len(), 1);
    // The unit of a name is that of the column's numbers.
    let (season, _) = mapped(
        "a,target_m,turns,session\n-40,8,36,A\n",
        "long_mm = \"a\"\n",
    )
    .unwrap();
    assert!((season.runs[0].long_m().unwrap() + 0.04).abs() < 1e-12);
}

#[test]
fn a_mapped_heading_that_is_not_there_is_told_with_those_that_are() {
    let faults = faults_of(mapped(
        "session,target_m,turns,Abweichung,who\nA,8,36,1,me\n",
        "long_cm = \"Abweichung längs\"\ntrim = \"Gleis\"\n",
    ));
    let told = faults.to_string();
    assert!(told.contains("no heading \"Abweichung längs\""), "{told}");
    assert!(told.contains("\"Abweichung\" is there"), "{told}");
    assert!(
        told.contains("no heading \"Gleis\"") && told.contains("session, target_m"),
        "{told}"
    );
    // One fault for each, and none for the missing column's cells. A log need not have a trim.
    let columns = |of: Vec<&Fault>| -> Vec<String> {
        of.iter().filter_map(|fault| fault.column.clone()).collect()
    };
    assert_eq!(columns(errors(&faults)), ["long_cm"], "{told}");
    assert_eq!(columns(warnings(&faults)), ["trim"], "{told}");
}

/// Which headings of the set-up a season's log must have: those of the columns that it cannot do without.
#[test]
fn only_a_mapped_heading_that_is_needed_must_be_there() {
    let cells = [
        ("session", "A"),
        ("date", "2031-10-04"),
        ("target_m", "8"),
        ("turns", "36"),
        ("long_cm", "1"),
        ("right_cm", "2"),
        ("floor", "x"),
    ];
    let of_names = |names: &[&str]| {
        let row: Vec<&str> = cells
            .iter()
            .filter(|(name, _)| names.contains(name))
            .map(|(_, cell)| *cell)
            .collect();
        format!("{}\n{}\n", names.join(","), row.join(","))
    };
    for (missing, is_error) in [
        ("target_m", true),
        ("turns", true),
        ("long_cm", true),
        ("session", true),
        // The session is there.
        ("date", false),
        ("right_cm", false),
        ("floor", false),
    ] {
        let names: Vec<&str> = cells.iter().map(|(name, _)| *name).collect();
        let there: Vec<&str> = names.into_iter().filter(|name| *name != missing).collect();
        let read = mapped(&of_names(&there), &format!("{missing} = \"Ganz anders\"\n"));
        match read {
            Ok((season, faults)) => {
                assert!(!is_error, "{missing}");
                assert_eq!(season.runs.len(), 1, "{missing}");
                let told = faults.to_string();
                let says = format!("the headings here are {}", there.join(", "));
                assert!(
                    told.contains("no heading \"Ganz anders\"") && told.contains(&says),
                    "{told}"
                );
            }
            Err(_) => assert!(is_error, "{missing}"),
        }
    }
    // Without a session the date stands for it.
    let without = of_names(&["target_m", "turns", "long_cm"]);
    assert!(mapped(&without, "date = \"Datum\"\n").is_err());
}

#[test]
fn names_that_are_no_columns_are_told_with_the_nearest() {
    for (columns, says) in [
        (
            "lon_cm = \"x\"",
            "key columns.lon_cm: the log has no column of that name; nearest is long_cm",
        ),
        ("long = \"x\"", "a length needs its unit; expected long_cm"),
        ("long_cm = 3", "expected the heading that stands in the log"),
        ("long_cm = \"x\"\nlong_in = \"y\"", "the same column"),
    ] {
        let text = format!("[columns]\n{columns}\n");
        let faults = setup::from_toml("s.toml", &text).expect_err(&text);
        assert!(faults.to_string().contains(says), "{faults}");
    }
}

#[test]
fn a_calibration_keeps_the_headings_for_the_day() {
    let folder = Folder::new();
    let rows: String = (0..12)
        .map(|i| {
            format!(
                "{},8,{},{}\n",
                i / 4,
                30 + i % 3,
                [3, 25, 47][i % 3] + i as i32 % 2 - 40
            )
        })
        .collect();
    folder.write("s.csv", format!("Tag,target_m,turns,Abweichung\n{rows}"));
    folder.write(
        "s.toml",
        "[columns]\nsession = \"Tag\"\nlong_cm = \"Abweichung\"\n",
    );
    folder
        .run("fit s.csv --setup s.toml --out out")
        .ended_with(0);
    folder.write("today.csv", "target_m,turns,Abweichung\n8,31,-6\n");
    let today = "correct out/calibration.json today.csv --target 8 --json";
    assert_eq!(folder.run(today).ended_with(0).json()["today"]["runs"], 1);
    // A set-up for the event that says nothing of columns leaves them as they were.
    folder.write("event.toml", "[event]\nruns = 1\n");
    folder
        .run(&format!("{today} --setup event.toml"))
        .ended_with(0);
    folder
        .run("review out/calibration.json today.csv")
        .ended_with(0);
}

#[test]
fn a_missing_column_is_one_fault_with_a_proposal() {
    let faults = read_err("session,target_m,trns,long_cm\nA,8,36,1\nA,8,36,1\n");
    assert_eq!(faults.0.len(), 1, "{faults}");
    let told = faults.to_string();
    assert!(told.contains("no column for the turns wound on"), "{told}");
    assert!(told.contains("turns = \"trns\" under [columns]"), "{told}");
    assert!(
        told.contains("found session, target_m, trns, long_cm"),
        "{told}"
    );
    let faults = read_err("session,target_m,turns\nA,8,36\nA,8,36\n");
    assert_eq!(faults.0.len(), 1, "{faults}");
    assert!(
        faults
            .to_string()
            .contains("long_cm = \"its heading\" under [columns]"),
        "{faults}"
    );
    // A length without its unit is that one fault, and the column is not missing besides.
    let faults = read_err("session,target_m,turns,long\nA,8,36,1\n");
    assert_eq!(faults.0.len(), 1, "{faults}");
    assert!(
        faults
            .to_string()
            .contains("does not say its unit; expected long_cm"),
        "{faults}"
    );
    // The unit of the proposal is that of the heading.
    let faults = read_err("session,target_m,turns,lonn_mm\nA,8,36,1\n");
    assert!(faults.to_string().contains("call it long_mm"), "{faults}");
    // A target is missing from launches only; said once.
    let faults =
        read_err("session,turns,rest_m,kind\nA,36,8,\nA,36,8,launch\nA,20,4.7,hand_roll\n");
    assert_eq!(faults.0.len(), 1, "{faults}");
}

#[test]
fn faults_end_with_a_count_and_the_one_to_begin_with() {
    let folder = Folder::new();
    folder.write(
        "s.csv",
        "session,target_m,turns,long_cm,lode\nA,8,36.5.1,1,\nA,8,x,1,\n",
    );
    let ran = folder.run("check s.csv").ended_with(2);
    let lines: Vec<&str> = ran.stderr.lines().collect();
    assert_eq!(lines.len(), 4, "{ran}");
    assert!(
        lines[0].starts_with("s.csv, line 2") && lines[2].starts_with("warning: "),
        "{ran}"
    );
    assert_eq!(
        lines[3],
        "2 errors and 1 warning. Mend this one first: s.csv, line 2, column turns."
    );
}

#[test]
fn without_a_session_each_date_is_one() {
    let (season, faults) =
        read("date,target_m,turns,long_cm\n2026-03-14,8,36,1\n,8,36,-2\n21.3.2026,8,36,2\n");
    assert_eq!(season.sessions, ["2026-03-14", "2026-03-21"]);
    let sessions: Vec<u32> = season.runs.iter().map(|run| run.session).collect();
    assert_eq!(sessions, [0, 0, 1]);
    assert_eq!(warnings(&faults).len(), 1, "{faults}");
    assert!(
        faults
            .to_string()
            .contains("each date is taken for a session"),
        "{faults}"
    );
    let faults = read_err("date,target_m,turns,long_cm\n,8,36,1\n?,8,36,1\n2026-03-14,8,36,1\n");
    assert_eq!(errors(&faults).len(), 1, "{faults}");
    let faults = read_err("date,target_m,turns,long_cm\n3/4/2026,8,36,1\n,8,36,1\n");
    assert_eq!(errors(&faults).len(), 1, "{faults}");
    let faults = read_err("target_m,turns,long_cm\n8,36,1\n");
    assert!(
        faults.to_string().contains("expected session, or date"),
        "{faults}"
    );
}

#[test]
fn a_log_of_today_needs_no_session_and_says_nothing_of_the_aim() {
    let (season, faults) = of_a_day("target_m,turns,long_cm,right_cm\n8,36,1,3\n8,36,2,-1\n");
    assert_eq!((season.sessions.len(), faults.0.len()), (1, 0), "{faults}");
    assert!(season.runs.iter().all(|run| run.aim_right_m.is_none()));
    let (season, _) = of_a_day("session,target_m,turns,long_cm\n,8,36,1\n");
    assert_eq!(season.sessions, [""]);
    let (season, _) = read("session,target_m,turns,long_cm,right_cm\nA,8,36,1,3\n");
    assert!(season.aimed_at_target && season.runs[0].aim_right_m == Some(0.0));
}

#[test]
fn runs_of_today_without_an_aim_leave_the_direction_alone_and_say_so() {
    let folder = Folder::new();
    folder.write("s.csv", SEASON);
    folder.run("fit s.csv --out out").ended_with(0);
    let correct = |log: &str| {
        folder.write("today.csv", log);
        let ran = folder.run("correct out/calibration.json today.csv --target 8 --json");
        ran.ended_with(0).json()
    };
    let dial = folder
        .run("dial out/calibration.json --target 8 --json")
        .ended_with(0)
        .json();
    for log in [
        "target_m,turns,long_cm,right_cm\n8,34,-20,30\n",
        "target_m,turns,long_cm,right_cm,aim_right_cm\n8,34,-20,30,\n",
        "target_m,turns,long_cm,right_cm,aim_right_cm\n8,34,-20,30,?\n",
    ] {
        let after = correct(log);
        let said = after["warnings"].to_string();
        assert!(said.contains("line 2 lacks the aim mark"), "{said}");
        assert_eq!(after["today"]["share_across"], serde_json::Value::Null);
        let aim = |answer: &serde_json::Value| answer["settings"][0]["aim_right_cm"].clone();
        assert_eq!(aim(&after), aim(&dial));
    }
    let after = correct("target_m,turns,long_cm,right_cm,aim_right_cm\n8,34,-20,30,0\n");
    assert!(!after.to_string().contains("lacks the aim mark"), "{after}");
    folder.write(
        "event.csv",
        "target_m,turns,long_cm,right_cm\n8,35.5,2,30\n8,35.5,-2,30\n",
    );
    let ran = folder
        .run("review out/calibration.json event.csv")
        .ended_with(0);
    assert!(ran.stdout.contains("lines 2, 3 lack the aim mark"), "{ran}");
    // Of a season `check` says what it takes for granted.
    folder.write(
        "plain.csv",
        "session,target_m,turns,long_cm,right_cm\nA,8,36,1,3\n",
    );
    let ran = folder.run("check plain.csv").ended_with(0);
    assert!(ran.stdout.contains("aimed at the target itself"), "{ran}");
}

/// Three sessions with aim and right; ticks, and no set-up.
const SEASON: &str = "\
session,target_m,turns,ticks,long_cm,right_cm,aim_right_cm
A,6,26,0,-4,2,-18
A,8,35,10,6,-3,-24
A,7,31,0,3,1,-21
B,6,26,0,2,0,-18
B,8,35,10,9,4,-24
B,7,31,0,5,-2,-21
C,6,26,0,-3,-1,-18
C,8,35,10,-2,3,-24
C,7,31,0,-5,2,-21
";

#[test]
fn dates_with_slashes_are_answered_with_both_readings() {
    let faults = read_err("session,date,target_m,turns,long_cm\nA,3/4/2026,8,36,1\n");
    let told = faults.to_string();
    assert!(told.contains("2026-04-03 or 2026-03-04"), "{told}");
    let (season, _) = read("session,date,target_m,turns,long_cm\nA,4.3.2026,8,36,1\n");
    assert_eq!(season.runs[0].date, Some(jiff::civil::date(2026, 3, 4)));
}

#[test]
fn marks_for_not_measured_are_empty_cells() {
    let (season, faults) = read(
        "session,target_m,turns,long_cm,right_cm,recoil_cm,time_s,load,status\n\
         A,8,36,1,?,-,n/a,–,-\nA,8,36,-1,N/A,?,?,?,ok\n",
    );
    assert_eq!(faults.0, []);
    for run in &season.runs {
        assert_eq!(
            (run.right_m, run.recoil_m, run.time_s, run.load),
            (None, None, None, None)
        );
    }
    let faults = read_err("session,target_m,turns,long_cm\nA,8,?,1\n");
    assert!(
        faults
            .to_string()
            .contains("read \"?\"; not measured; expected the turns"),
        "{faults}"
    );
    // In a label the mark is a label.
    let (season, _) = read("session,wheels,target_m,turns,long_cm\nA,-,8,36,1\n");
    assert_eq!(season.wheels, ["-"]);
}

#[test]
fn a_word_may_stand_before_the_number_and_agree_with_a_sign() {
    let (season, _) = read(
        "session,target_m,turns,long_cm,right_cm\nA,8,36,S 14,L 6\nA,8,36,-14 short,-6 left\nA,8,36,14 short,left 6\n",
    );
    for run in &season.runs {
        assert!((run.long_m().unwrap() + 0.14).abs() < 1e-12);
        assert_eq!(run.right_m, Some(-0.06));
    }
    let faults = read_err("session,target_m,turns,long_cm,right_cm\nA,8,36,1,+6 left\n");
    assert!(
        faults
            .to_string()
            .contains("the sign says right, the word says left"),
        "{faults}"
    );
}

#[test]
fn a_formula_in_a_text_file_says_that_it_is_one() {
    let faults = read_err("session,target_m,turns,long_cm,status\nA,8,36,=D2*2,=X\n");
    assert_eq!(
        faults
            .to_string()
            .matches("a formula whose value is not in the file")
            .count(),
        2
    );
}

#[test]
fn a_row_that_looks_like_a_total_is_said_to() {
    let runs = "A,8,36,1,2\nA,8,36,3,-4\n,8,36,-2,1\n";
    for last in [
        "Total,24,108,2,-1",
        "mean,8,36,0.67,-0.33",
        ",Average:,,0.67,",
        ",24,,2,-1",
        ",,,2,",
    ] {
        let log = format!("session,target_m,turns,long_cm,right_cm\n{runs}{last}\n");
        let faults = read_err(&log);
        assert_eq!(faults.0.len(), 1, "{last}: {faults}");
        assert!(faults.to_string().contains("line 5: "), "{faults}");
        assert!(
            faults.to_string().contains("looks like a total"),
            "{faults}"
        );
    }
    // A remark, and a run like the one above, are none.
    let (season, faults) =
        read("session,target_m,turns,long_cm,note\nA,8,36,1,mean\n,8,36,1,total\n,8,36,2,\n");
    assert_eq!(
        (season.runs.len(), errors(&faults).len()),
        (3, 0),
        "{faults}"
    );
}

#[test]
fn targets_with_a_comma_are_asked_about_and_far_ones_refused() {
    let folder = Folder::new();
    folder.write("s.csv", SEASON);
    folder.run("fit s.csv --out out").ended_with(0);
    let dial = |target: &str| {
        folder.run(&format!(
            "dial out/calibration.json --json --target {target}"
        ))
    };
    for (target, readings) in [
        ("7,55", ["7.55 m", "7 m and 55 m"]),
        ("7,8", ["7.8 m", "7 m and 8 m"]),
    ] {
        let ran = dial(target).ended_with(2);
        assert!(
            readings.iter().all(|reading| ran.stderr.contains(reading)),
            "{ran}"
        );
    }
    for (target, count) in [("7.0,8.0", 2), ("6,7,8", 3), ("7.55", 1)] {
        let settings = dial(target).ended_with(0).json()["settings"].clone();
        assert_eq!(settings.as_array().map(Vec::len), Some(count), "{target}");
    }
    // The log has 6 to 8 m.
    for target in ["2.9", "16.1", "7.0,55.0"] {
        let ran = dial(target).ended_with(1);
        assert!(
            ran.stderr.contains("6 to 8 m") && ran.stderr.contains("3 to 16 m"),
            "{ran}"
        );
        let where_to = match target {
            "2.9" => "runs at nearer targets",
            _ => "runs at farther targets",
        };
        assert!(ran.stderr.contains(where_to), "{ran}");
    }
    folder.write("today.csv", "target_m,turns,long_cm\n8,35,1\n");
    folder
        .run("correct out/calibration.json today.csv --target 55")
        .ended_with(1);
}

/// The season with its runs on two floors in turn.
fn with_floors() -> String {
    let rows = SEASON.lines().enumerate();
    let each = rows.map(|(i, row)| match (i, i % 2) {
        (0, _) => format!("{row},floor\n"),
        (_, 0) => format!("{row},gym\n"),
        _ => format!("{row},hall\n"),
    });
    each.collect()
}

#[test]
fn twenty_ticks_that_nobody_counted_are_called_assumed() {
    let folder = Folder::new();
    folder.write("s.csv", SEASON);
    let fit = folder.run("fit s.csv --out out").ended_with(0);
    assert!(
        fit.stdout.contains("20 ticks to a turn are assumed"),
        "{fit}"
    );
    let json = folder
        .run("dial out/calibration.json --target 8 --json")
        .ended_with(0)
        .json();
    let setting = &json["settings"][0];
    assert_eq!(
        (&setting["ticks_assumed"], &setting["ticks_per_turn"]),
        (&true.into(), &20.into())
    );
    let ran = folder
        .run("dial out/calibration.json --target 8")
        .ended_with(0);
    assert!(
        ran.stdout.contains("20 ticks to a turn are assumed"),
        "{ran}"
    );
    let calibration: serde_json::Value =
        serde_json::from_str(&folder.text("out/calibration.json")).unwrap();
    assert!(
        calibration["warnings"][0]
            .as_str()
            .unwrap()
            .contains("assumed")
    );
    folder
        .run("sheet out/calibration.json --out sheet.html")
        .ended_with(0);
    for page in ["out/report.html", "out/card.html", "sheet.html"] {
        let text = folder.text(page);
        assert!(text.contains("20 ticks to a turn are assumed"), "{page}");
    }
    // Each answer says it once, on the terminal, in its JSON where that has warnings, and on its page.
    folder.write("e.csv", SEASON.replace("\nA,", "\nD,"));
    folder.write("two.csv", with_floors());
    let says = "20 ticks to a turn are assumed";
    for (asked, page, has_warnings) in [
        ("plan out --within 15", "plan.html", false),
        ("review out e.csv", "review.html", true),
        (
            "compare two.csv --by floor --a hall --b gym",
            "compare.html",
            true,
        ),
    ] {
        let ran = folder.run(&format!("{asked} --out said")).ended_with(0);
        assert_eq!(ran.stdout.matches(says).count(), 1, "{ran}");
        assert!(!ran.stderr.contains("ticks"), "{ran}");
        assert!(
            folder.text(&format!("said/{page}")).contains(says),
            "{page}"
        );
        let json = folder.run(&format!("{asked} --json")).ended_with(0).json();
        let warned = json["warnings"].to_string().contains(says);
        assert_eq!(warned, has_warnings, "{json}");
    }
    let ran = folder
        .run("sheet out/calibration.json --out sheet.html")
        .ended_with(0);
    assert!(ran.stdout.contains(says), "{ran}");
    // Told, it is no assumption; and another number than that of the fit needs another fit.
    folder.write("n.toml", "[dial]\nticks_per_turn = 20\n");
    let json = folder
        .run("dial out/calibration.json --target 8 --json --setup n.toml")
        .ended_with(0)
        .json();
    assert_eq!(json["settings"][0]["ticks_assumed"], false);
    for asked in [
        "plan out --within 15 --out told",
        "review out e.csv --out told",
        "sheet out --out told/sheet.html",
        "compare two.csv --by floor --a hall --b gym --out told",
    ] {
        let ran = folder.run(&format!("{asked} --setup n.toml")).ended_with(0);
        assert!(!ran.stdout.contains("assumed: no set-up"), "{ran}");
    }
    for page in ["plan", "review", "sheet", "compare"] {
        assert!(
            !folder.text(&format!("told/{page}.html")).contains(says),
            "{page}"
        );
    }
    folder.write("n.toml", "[dial]\nticks_per_turn = 16\n");
    folder
        .run("dial out/calibration.json --target 8 --setup n.toml")
        .ended_with(2);
    // Fitted with 16 ticks, nothing is assumed anywhere.
    let fit = folder
        .run("fit s.csv --setup n.toml --out told")
        .ended_with(0);
    assert!(!fit.stdout.contains("assumed"), "{fit}");
    for page in ["told/report.html", "told/card.html"] {
        assert!(!folder.text(page).contains("are assumed"), "{page}");
    }
    let json = folder
        .run("dial told/calibration.json --target 8 --json")
        .ended_with(0)
        .json();
    assert_eq!(json["settings"][0]["ticks_per_turn"], 16);
    // A set-up for the event that does not speak of the dial leaves it as it was.
    folder.write("event.toml", "[event]\nruns = 1\n");
    let json = folder
        .run("dial told/calibration.json --target 8 --json --setup event.toml")
        .ended_with(0)
        .json();
    assert_eq!(json["settings"][0]["ticks_per_turn"], 16);
}

#[test]
fn a_log_without_ticks_is_answered_in_decimal_turns() {
    let folder = Folder::new();
    let log = SEASON
        .replace("turns,ticks", "turns")
        .replace("26,0,", "26,")
        .replace("31,0,", "31,")
        .replace("35,10,", "35.5,");
    folder.write("s.csv", &log);
    folder.run("fit s.csv --out out").ended_with(0);
    // Fitted again with another day, what changed is said in turns as well.
    folder.write(
        "s.csv",
        log + "D,6,26,9,2,-18\nD,8,35.5,21,1,-24\nD,7,31,15,0,-21\n",
    );
    let fit = folder.run("fit s.csv --out out").ended_with(0);
    assert!(fit.stdout.contains("turns fewer ("), "{fit}");
    assert!(!fit.stdout.contains("tick"), "{fit}");
    let json = folder
        .run("dial out/calibration.json --target 7.3 --json")
        .ended_with(0)
        .json();
    let setting = &json["settings"][0];
    for key in ["whole_turns", "ticks", "ticks_per_turn"] {
        assert_eq!(setting[key], serde_json::Value::Null, "{key}");
    }
    let turns = setting["turns"].as_f64().unwrap();
    assert!(
        (20.0 * turns - (20.0 * turns).round()).abs() < 1e-9,
        "{turns}"
    );
    let ran = folder
        .run("dial out/calibration.json --target 7.3")
        .ended_with(0);
    assert!(ran.stdout.contains(&format!("{turns:.2} turns")), "{ran}");
    assert!(!ran.stdout.contains("tick"), "{ran}");
    folder
        .run("sheet out/calibration.json --out sheet.html")
        .ended_with(0);
    for page in ["out/report.html", "sheet.html"] {
        // The style sheet has ticks of its own: those of a tape.
        let text = folder.text(page);
        let (_, read) = text.split_once("</style>").expect("a style sheet");
        assert!(!read.contains("ticks"), "{page}");
    }
    let csv = folder.text("out/settings.csv");
    let row: Vec<&str> = csv.lines().nth(1).unwrap().split(',').collect();
    assert_eq!((row[4], row[5]), ("", ""), "{csv}");
    assert!(row[6].parse::<f64>().is_ok(), "{csv}");
}

#[test]
fn how_the_ticks_are_known_survives_the_calibration() {
    for (text, source) in [
        ("", TicksSource::Unknown),
        ("[dial]\nticks_per_turn = 16\n", TicksSource::Told),
    ] {
        let setup = setup_of(text);
        assert_eq!(setup.dial.source, source);
        for setup in [setup.clone(), setup.for_log(true), setup.for_log(false)] {
            let json = serde_json::to_string(&setup).unwrap();
            assert_eq!(
                serde_json::from_str::<Setup>(&json).unwrap(),
                setup,
                "{json}"
            );
        }
    }
    assert!(setup_of("").for_log(true).dial.is_assumed());
    // It is not for people to write.
    assert!(setup::from_toml("s.toml", "[dial]\nassumed = true\n").is_err());
}
