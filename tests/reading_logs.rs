//! What people write down is read as they meant it, and what cannot be meant is named with its place.

mod common;

use common::{errors, read, read_err, warnings};
use haltmark::log::run::{Kind, Load, Status};

#[test]
fn a_plain_log_is_read_in_metres_and_turns() {
    let (season, faults) = read(
        "session,run,date,target_m,turns,ticks,long_cm,right_cm,aim_right_cm,lead_turns,load,time_s,kind,note\n\
         A,1,2026-03-14,8.35,36,12,-14,6,-23.5,1.5,whole,4.2,launch,\"first, of the day\"\n\
         B,1,2026-03-21,5.5,24,0,3.5,-2,-10,,,,,\n",
    );
    assert_eq!(
        warnings(&faults).len(),
        1,
        "ticks without a set-up: {faults}"
    );
    let run = &season.runs[0];
    assert_eq!(season.sessions, ["A", "B"]);
    assert_eq!(run.turns, Some(36.6));
    assert_eq!(run.target_m, Some(8.35));
    assert!((run.rest_m.unwrap() - 8.21).abs() < 1e-12);
    assert_eq!(run.right_m, Some(0.06));
    assert_eq!(run.aim_right_m, Some(-0.235));
    assert_eq!(run.lead_turns, Some(1.5));
    assert_eq!(run.load, Some(Load::Whole));
    assert_eq!(run.time_s, Some(4.2));
    assert_eq!(run.date, Some(jiff::civil::date(2026, 3, 14)));
    assert_eq!((run.line, season.runs[1].line), (2, 3));
}

#[test]
fn every_length_may_be_in_any_unit() {
    let (in_cm, _) = read("session,target_m,turns,long_cm,right_cm\nA,7.62,30,25.4,-5.08\n");
    let (in_inches, _) = read("session,target_ft,turns,long_in,right_in\nA,25,30,10,-2\n");
    let (in_mm, _) = read("session,target_mm,turns,rest_mm,right_mm\nA,7620,30,7874,-50.8\n");
    for other in [in_inches, in_mm] {
        let (a, b) = (&in_cm.runs[0], &other.runs[0]);
        assert!((a.target_m.unwrap() - b.target_m.unwrap()).abs() < 1e-12);
        assert!((a.rest_m.unwrap() - b.rest_m.unwrap()).abs() < 1e-12);
        assert!((a.right_m.unwrap() - b.right_m.unwrap()).abs() < 1e-12);
    }
}

#[test]
fn a_log_without_an_aim_column_was_aimed_at_the_target_itself() {
    let (season, _) = read("session,target_m,turns,long_cm\nA,8,36,1\n");
    assert_eq!(season.runs[0].aim_right_m, Some(0.0));
    let (season, _) = read("session,target_m,turns,long_cm,aim_right_cm\nA,8,36,1,\n");
    assert_eq!(season.runs[0].aim_right_m, None);
}

#[test]
fn empty_labels_repeat_the_row_above_and_are_counted() {
    let (season, _) = read(
        "session,date,vehicle,target_m,turns,long_cm\n\
         A,2026-03-14,Thistle,8,36,1\n\
         ,,,8,36,2\n\
         B,,,8,36,3\n",
    );
    assert_eq!(season.repeated_labels, 5);
    assert_eq!(season.runs[1].session, season.runs[0].session);
    assert_eq!(season.runs[2].vehicle, season.runs[0].vehicle);
    assert_eq!(season.runs[2].date, season.runs[0].date);
    let faults = read_err("session,target_m,turns,long_cm\n,8,36,1\n,8,36,1\n");
    assert_eq!(errors(&faults).len(), 1, "{faults}");
}

#[test]
fn roll_back_and_gap_decide_what_became_of_an_ok_run() {
    let (season, faults) = read(
        "session,target_m,turns,long_cm,status,recoil_cm,gap_cm\n\
         A,8,36,1,,0.9,5\n\
         A,8,36,2,ok,1,5\n\
         A,8,36,3,,,0\n\
         A,8,36,4,,2,-1\n\
         A,8,36,5,recoil,,5\n\
         A,8,36,6,Touched,,\n\
         A,,,,void,,\n",
    );
    assert_eq!(faults.0, []);
    let statuses: Vec<Status> = season.runs.iter().map(|r| r.status).collect();
    assert_eq!(
        statuses,
        [
            Status::Ok,
            Status::Recoil,
            Status::Touched,
            Status::Touched,
            Status::Recoil,
            Status::Touched,
            Status::Void
        ]
    );
    assert!(season.runs[0].recoil_was_watched());
    assert!(!season.runs[2].recoil_was_watched());
    assert!(season.runs[4].recoil_was_watched());
}

#[test]
fn a_hand_roll_needs_turns_and_rest_but_no_target() {
    let (season, _) =
        read("session,target_m,turns,rest_m,kind\nA,,20,4.7,hand_roll\nA,,20,4.7,Hand Roll\n");
    assert!(season.runs.iter().all(|run| run.kind == Kind::HandRoll));
    let faults = read_err("session,target_m,turns,rest_m,kind\nA,,20,4.7,launch\n");
    assert_eq!(faults.0[0].column.as_deref(), Some("target_m"));
    let faults = read_err("session,target_m,turns,rest_m,kind\nA,,0,4.7,hand_roll\n");
    assert_eq!(faults.0[0].column.as_deref(), Some("turns"));
}

#[test]
fn every_fault_is_told_in_one_pass_with_its_place() {
    let faults = read_err(
        "# a comment\n\
         \n\
         session,target_m,turns,ticks,long_cm,rest_m,date,status,load\n\
         A,8,\"36,5\",,1,,2026-03-14,,\n\
         A,8,36.5,3,1,,14/3/2026,,\n\
         A,8,36,,,,,fine,\n\
         A,8,inf,,1,,,,half\n\
         A,-8,36,,14 left,,,,\n\
         A,8,36,,1,8.03,,,\n\
         A,8,36,,1\n\
         A,8,,,1,,,,\n",
    );
    let told: Vec<String> = faults
        .0
        .iter()
        .filter(|f| !f.expected.contains("no set-up"))
        .map(|f| format!("{:?} {}", f.place, f.column.as_deref().unwrap_or("-")))
        .collect();
    assert_eq!(
        told,
        [
            "Line(4) turns",
            "Line(5) date",
            "Line(5) turns",
            "Line(6) status",
            "Line(6) long_cm",
            "Line(7) load",
            "Line(7) turns",
            "Line(8) long_cm",
            "Line(8) target_m",
            "Line(9) rest_m",
            "Line(10) -",
            "Line(11) turns",
        ]
    );
}

#[test]
fn words_may_carry_the_sign_and_may_not_contradict_one() {
    let (season, _) = read(
        "session,target_m,turns,long_cm,right_cm,aim_right_cm\n\
         A,8,36,14 short,6 L,3 r\n\
         A,8,36,14 long,6 right,3 Left\n",
    );
    let sides: Vec<_> = season
        .runs
        .iter()
        .map(|run| (run.right_m, run.aim_right_m))
        .collect();
    assert_eq!(
        sides,
        [(Some(-0.06), Some(0.03)), (Some(0.06), Some(-0.03))]
    );
    assert!((season.runs[0].long_m().unwrap() + 0.14).abs() < 1e-12);
    for cell in ["+14 short", "-14 long", "14 up", "short"] {
        let log = format!("session,target_m,turns,long_cm\nA,8,36,{cell}\n");
        assert_eq!(
            read_err(&log).0[0].column.as_deref(),
            Some("long_cm"),
            "{cell}"
        );
    }
}

#[test]
fn a_tape_that_disagrees_is_a_warning() {
    let (_, faults) = read(
        "session,target_m,turns,long_cm,right_cm,miss_cm\n\
         A,8,36,3,4,5\n\
         A,8,36,3,4,7\n\
         A,8,36,3,4,7.1\n\
         A,8,36,9,,5\n\
         A,8,36,3,,50\n",
    );
    let lines: Vec<_> = warnings(&faults).iter().map(|f| f.place.clone()).collect();
    use haltmark::fault::FaultPlace::Line;
    assert_eq!(lines, [Line(4), Line(5)], "{faults}");
}

#[test]
fn ticks_are_parts_of_a_turn_and_never_count_twice() {
    let log = "session,target_m,turns,ticks,long_cm\nA,8,36,12,1\nA,8,36.5,0,1\n";
    let setup = haltmark::setup::from_toml("s.toml", "[dial]\nticks_per_turn = 24\n").unwrap();
    let options = haltmark::log::ReadOptions::default();
    let (season, faults) =
        common::try_read_as("runs.csv", log.as_bytes(), &setup, &options).unwrap();
    assert_eq!(faults.0, []);
    assert_eq!(
        (season.runs[0].turns, season.runs[1].turns),
        (Some(36.5), Some(36.5))
    );
    let (_, faults) = read(log);
    assert!(faults.0[0].expected.contains("20 assumed"), "{faults}");
    let faults = read_err("session,target_m,turns,ticks,long_cm\nA,8,36.5,12,1\n");
    assert_eq!(errors(&faults)[0].column.as_deref(), Some("turns"));
    let (_, faults) = read("session,target_m,turns,ticks,long_cm\nA,8,36,20,1\n");
    assert!(
        faults
            .0
            .iter()
            .any(|f| f.expected.contains("never shows this")),
        "{faults}"
    );
}

#[test]
fn columns_given_twice_or_without_a_unit_are_told() {
    let faults = read_err("session,target_m,turns,long_cm,long_in\nA,8,36,1,1\n");
    assert!(faults.to_string().contains("twice"), "{faults}");
    let faults = read_err("session,target_m,turns,long_cm,right\nA,8,36,1,1\n");
    assert!(
        errors(&faults)[0]
            .expected
            .contains("does not say its unit"),
        "{faults}"
    );
    let (_, faults) = read("session,target_m,turns,long_cm,\"who, and why\",\nA,8,36,1,me,\n");
    assert_eq!(warnings(&faults).len(), 1, "{faults}");
}

#[test]
fn notes_may_hold_commas_quotes_and_line_breaks() {
    let (season, faults) = read(
        "session,note,target_m,turns,long_cm\r\n\
         A,\"slid, then\r\nstopped \"\"dead\"\"\",8,36,1\r\n\
         ,,,,\r\n\
         A,5\" of rain,8,36,2\r\n\
         \r\n\
         ,,,,\r\n",
    );
    assert_eq!(faults.0, []);
    let lines: Vec<u32> = season.runs.iter().map(|run| run.line).collect();
    assert_eq!(lines, [2, 5]);
}

#[test]
fn rows_of_the_wrong_length_are_told_and_not_guessed() {
    let faults = read_err("session,target_m,turns,long_cm\nA,8,36,5,1\nA,8,36\nA,8,36,1,,\n");
    assert_eq!(errors(&faults).len(), 2, "{faults}");
    assert!(
        faults.0[0].expected.contains("5 cells; expected 4"),
        "{faults}"
    );
}

#[test]
fn blank_rows_and_columns_at_the_end_and_a_title_at_the_top_do_not_matter() {
    let (season, faults) = read(
        "Our season,,,,,\n\nsession,target_m,turns,long_cm,,\nA,8,36,1\nA,8,36,2,,\nA,8,36,3,,,,\n,,,,,\n,,\n",
    );
    assert_eq!(season.runs.len(), 3);
    assert_eq!(warnings(&faults).len(), 0, "{faults}");
    // Runs above the header would be lost without a word.
    let (season, faults) = read("A,8,36,1\nsession,target_m,turns,long_cm\nA,8,36,2\n");
    assert_eq!((season.runs.len(), warnings(&faults).len()), (1, 1));
    assert!(
        faults
            .to_string()
            .contains("line 1: read \"A\"; stands above"),
        "{faults}"
    );
}

#[test]
fn the_order_within_a_session_is_the_column_run_or_the_row() {
    let (season, _) =
        read("session,run,target_m,turns,long_cm\nA,3,8,36,1\nA,,8,36,1\nB,,8,36,1\nA,,8,36,1\n");
    let order: Vec<f64> = season.runs.iter().map(|run| run.order).collect();
    assert_eq!(order, [3.0, 4.0, 1.0, 5.0]);
}

#[test]
fn a_rig_with_a_label_for_each_run_has_a_note_in_the_wrong_column() {
    let rows: String = (0..51).map(|i| format!("A,build {i},8,36,1\n")).collect();
    let faults = read_err(&format!("session,build,target_m,turns,long_cm\n{rows}"));
    assert!(faults.to_string().contains("line 52"), "{faults}");
    assert_eq!(errors(&faults).len(), 1);
}

mod properties {
    use super::common::{self, try_read, try_read_as};
    use haltmark::log::{ReadOptions, run::Run, summary};
    use haltmark::setup::Setup;
    use proptest::prelude::*;

    fn config(cases: u32) -> ProptestConfig {
        ProptestConfig {
            cases,
            failure_persistence: None,
            ..ProptestConfig::default()
        }
    }

    /// One run as it might be typed.
    #[derive(Debug, Clone)]
    struct Typed {
        session: u8,
        target_cm: i32,
        ticks: i32,
        long_mm: i32,
        right_mm: Option<i32>,
    }

    prop_compose! {
        fn typed()(
            session in 0u8..5,
            target_cm in 200..1200i32,
            ticks in 0..1200i32,
            long_mm in -1500..3000i32,
            right_mm in proptest::option::of(-900..900i32),
        ) -> Typed {
            Typed { session, target_cm, ticks, long_mm, right_mm }
        }
    }

    /// A log of these runs. Numbers are written exactly, so that every form says the same.
    fn log(
        runs: &[Typed],
        delimiter: char,
        decimal: char,
        header: &[&str],
        per_mm: f64,
        end: &str,
    ) -> String {
        let join = |cells: Vec<String>| cells.join(&delimiter.to_string()) + end;
        let mut text = join(header.iter().map(|h| h.to_string()).collect());
        for run in runs {
            let number = |x: f64| format!("{x}").replace('.', &decimal.to_string());
            text += &join(vec![
                format!("S{}", run.session),
                number(f64::from(run.target_cm) / 100.0),
                number(f64::from(run.ticks) / 20.0),
                number(f64::from(run.long_mm) * per_mm),
                run.right_mm
                    .map_or(String::new(), |mm| number(f64::from(mm) * per_mm)),
            ]);
        }
        text
    }

    const HEADER: [&str; 5] = ["session", "target_m", "turns", "long_mm", "right_mm"];

    fn runs_of(text: &str) -> Vec<Run> {
        let (season, _) =
            try_read(text.as_bytes()).unwrap_or_else(|error| panic!("{text}\n{error}"));
        season.runs
    }

    proptest! {
        #![proptest_config(config(64))]

        #[test]
        fn delimiter_and_line_ends_do_not_matter(runs in proptest::collection::vec(typed(), 1..20)) {
            let plain = runs_of(&log(&runs, ',', '.', &HEADER, 1.0, "\n"));
            for (delimiter, decimal, end) in [(';', ',', "\r\n"), ('\t', ',', "\n"), (';', '.', "\r"), ('\t', '.', "\r\n")] {
                prop_assert_eq!(&runs_of(&log(&runs, delimiter, decimal, &HEADER, 1.0, end)), &plain);
            }
            let marked = format!("\u{feff}{}", log(&runs, ',', '.', &HEADER, 1.0, "\n"));
            prop_assert_eq!(&runs_of(&marked), &plain);
        }

        #[test]
        fn the_order_of_rows_does_not_change_the_runs(
            (runs, shuffled) in proptest::collection::vec(typed(), 1..20)
                .prop_flat_map(|runs| (Just(runs.clone()), Just(runs).prop_shuffle()))
        ) {
            let mut plain = runs_of(&log(&runs, ',', '.', &HEADER, 1.0, "\n"));
            let mut other = runs_of(&log(&shuffled, ',', '.', &HEADER, 1.0, "\n"));
            // Labels are numbered as they come and rows have other lines; everything measured stays.
            for list in [&mut plain, &mut other] {
                for run in list.iter_mut() {
                    (run.session, run.line, run.order) = (0, 0, 0.0);
                }
                list.sort_by(|a, b| a.partial_cmp_measured(b));
            }
            prop_assert_eq!(plain, other);
        }

        #[test]
        fn millimetres_and_inches_say_the_same(runs in proptest::collection::vec(typed(), 1..20)) {
            let plain = runs_of(&log(&runs, ',', '.', &HEADER, 1.0, "\n"));
            let inches = ["session", "target_m", "turns", "long_in", "right_in"];
            let other = runs_of(&log(&runs, ',', '.', &inches, 1.0 / 25.4, "\n"));
            for (a, b) in plain.iter().zip(&other) {
                prop_assert!((a.rest_m.unwrap() - b.rest_m.unwrap()).abs() < 1e-12);
                prop_assert!((a.right_m.unwrap_or(9.0) - b.right_m.unwrap_or(9.0)).abs() < 1e-12);
            }
        }
    }

    trait Measured {
        fn partial_cmp_measured(&self, other: &Self) -> std::cmp::Ordering;
    }

    impl Measured for Run {
        fn partial_cmp_measured(&self, other: &Self) -> std::cmp::Ordering {
            let key = |run: &Run| {
                [run.target_m, run.turns, run.rest_m, run.right_m].map(|x| x.unwrap_or(-1e9))
            };
            key(self)
                .partial_cmp(&key(other))
                .expect("every number is finite")
        }
    }

    /// Reads and counts whatever it is given, as `check` does; a panic fails the test.
    fn survive(name: &str, bytes: &[u8]) {
        if let Ok((season, _)) =
            try_read_as(name, bytes, &Setup::default(), &ReadOptions::default())
        {
            for rig in summary::summarise(&season) {
                for run in rig.rig.runs.iter() {
                    let run = &season.runs[*run];
                    for x in [
                        run.target_m,
                        run.turns,
                        run.rest_m,
                        run.right_m,
                        run.aim_right_m,
                        run.time_s,
                    ] {
                        assert!(x.is_none_or(f64::is_finite));
                    }
                }
            }
        }
    }

    /// Pieces of which logs, and things that are nearly logs, are made.
    const PIECES: [&str; 48] = [
        "session",
        "target_m",
        "turns",
        "ticks",
        "long_cm",
        "rest_m",
        "right_cm",
        "aim_right_in",
        "miss_cm",
        "date",
        "status",
        "kind",
        "gap_cm",
        "recoil_cm",
        "time_s",
        "build",
        "trim",
        "run",
        ",",
        ",",
        ",",
        ";",
        "\t",
        "\n",
        "\n",
        "\r\n",
        "\r",
        "\"",
        "\"\"",
        "#",
        " ",
        "-",
        "−",
        "+",
        "8",
        "36",
        "36.5",
        "36,5",
        "1e308",
        "1e400",
        "NaN",
        "0",
        "2026-03-14",
        "hand_roll",
        "void",
        "14 short",
        "\u{feff}",
        "é",
    ];

    proptest! {
        #![proptest_config(config(400))]

        #[test]
        fn no_bytes_make_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
            survive("runs.csv", &bytes);
        }

        #[test]
        fn no_text_makes_it_panic(pieces in proptest::collection::vec(proptest::sample::select(&PIECES[..]), 0..120)) {
            survive("runs.csv", pieces.concat().as_bytes());
        }

        #[test]
        fn no_cell_makes_it_panic(
            cells in proptest::collection::vec((0usize..14, proptest::sample::select(&PIECES[..]), "\\PC{0,6}"), 1..30)
        ) {
            let header = "session,target_m,turns,ticks,long_cm,rest_m,right_cm,aim_right_cm,miss_cm,date,gap_cm,recoil_cm,status,time_s";
            let mut text = format!("{header}\n");
            for (column, piece, junk) in cells {
                let mut row: Vec<String> = "A,8,36,,1,8.01,2,3,,2026-03-14,,,,".split(',').map(str::to_string).collect();
                row[column] = format!("\"{}{}\"", piece.replace('"', ""), junk.replace('"', ""));
                text += &(row.join(",") + "\n");
            }
            survive("runs.csv", text.as_bytes());
        }

        #[test]
        fn no_damaged_spreadsheet_makes_it_panic(
            which in 0usize..2,
            damage in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..20),
            cut in proptest::option::of(any::<prop::sample::Index>()),
        ) {
            let files: [&[u8]; 2] = [
                include_bytes!("reference/sheets/season.xlsx"),
                include_bytes!("reference/sheets/season.ods"),
            ];
            let mut bytes = files[which].to_vec();
            for (at, byte) in damage {
                let at = at.index(bytes.len());
                bytes[at] = byte;
            }
            if let Some(cut) = cut {
                bytes.truncate(cut.index(bytes.len()));
            }
            survive("runs.xlsx", &bytes);
        }

        #[test]
        fn no_damaged_sheet_makes_it_panic(
            pieces in proptest::collection::vec(proptest::sample::select(&[
                "<row r=\"1\">", "<row>", "</row>", "<c r=\"A1\">", "<c r=\"B99\" t=\"s\">", "<c t=\"inlineStr\">", "</c>",
                "<v>", "</v>", "1", "99999999999", "1e999", "<is><t>session</t></is>", "<f>A1</f>", "<c r=\"\">", "<c r=\"1A\"/>",
                "<c t=\"d\">", "2026-03-14", "<c s=\"7\">", "&amp;", "&", "<!--", "-->", "<c t=\"e\">", "#N/A",
                "<c r=\"XFD1048577\">", "<row r=\"99999999999999\">",
            ][..]), 0..40)
        ) {
            survive("runs.xlsx", &common::packed::xlsx(&pieces.concat()));
            let ods = pieces.concat()
                .replace("<row", "<table:table-row").replace("</row", "</table:table-row")
                .replace("<c", "<table:table-cell").replace("</c", "</table:table-cell")
                .replace("<v>", "<text:p>").replace("</v>", "</text:p>").replace(" t=", " office:value-type=")
                .replace(" r=", " office:value=");
            survive("runs.ods", &common::packed::ods(&ods));
        }
    }
}

/// The header's fault alone is told, not that each row lacks what stands under a heading that cannot be read.
#[test]
fn rows_do_not_lack_what_stands_under_a_heading_without_a_unit() {
    let faults = |heading: &str| {
        let log =
            format!("session,target_m,turns,{heading},rest_m\nA,8,36,3,\nA,7,31,-2,\nA,9,40,1,\n");
        read_err(&log)
    };
    let of_heading = faults("long");
    assert_eq!(errors(&of_heading).len(), 1, "{of_heading}");
    assert!(of_heading.to_string().contains("line 1"), "{of_heading}");
    let of_rows = faults("remark");
    assert_eq!(errors(&of_rows).len(), 3, "{of_rows}");
}
