//! The first evening: an empty log to fill in, and a set-up file that explains itself.

mod common;

use std::io::{Cursor, Read};

use common::Folder;
use common::packed::packed;
use haltmark::setup::{self, Setup};

/// Two days of launches: session, target, turns, ticks, aim, lead, long, right, status, recoil, load.
const ROWS: [[&str; 11]; 8] = [
    [
        "Sat 14", "6", "26", "10", "-18", "1", "-4", "2", "ok", "0", "whole",
    ],
    [
        "", "8", "35", "10", "-24", "1.5", "6.5", "3 left", "", "0", "whole",
    ],
    [
        "", "7", "31", "0", "-21", "2", "3 short", "1", "recoil", "1.5", "broken",
    ],
    ["", "9", "40", "0", "-27", "1.5", "2", "-1.5", "ok", "0", ""],
    [
        "Sun 22", "6", "26", "10", "-18", "1", "2", "0", "ok", "0", "whole",
    ],
    [
        "", "8", "35", "10", "-24", "1.5", "9", "4", "ok", "0", "whole",
    ],
    [
        "", "7", "31", "0", "-21", "1.5", "5", "-2", "ok", "0", "whole",
    ],
    ["", "9", "40", "0", "-27", "1.5", "", "", "void", "", ""],
];
const COLUMNS: [&str; 11] = [
    "session",
    "target_m",
    "turns",
    "ticks",
    "aim_right_cm",
    "lead_turns",
    "long_cm",
    "right_cm",
    "status",
    "recoil_cm",
    "load",
];

/// The headings of the empty log, from its text form.
fn headings(folder: &Folder) -> Vec<String> {
    folder.run("start headings --csv").ended_with(0);
    let text = folder.text("headings.csv");
    let last = text.lines().last().expect("a line of headings");
    last.split(',').map(str::to_string).collect()
}

/// Where each of [`COLUMNS`] stands.
fn places(headings: &[String]) -> Vec<usize> {
    let place = |name: &&str| headings.iter().position(|heading| heading == name);
    COLUMNS
        .iter()
        .map(|name| place(name).expect(name))
        .collect()
}

/// The parts of a packed file.
fn parts(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).expect("a packed file");
    (0..archive.len())
        .map(|i| {
            let mut part = archive.by_index(i).expect("a part");
            let mut content = Vec::new();
            part.read_to_end(&mut content).expect("a readable part");
            (part.name().expect("a name").into_owned(), content)
        })
        .collect()
}

fn part(bytes: &[u8], name: &str) -> String {
    let parts = parts(bytes);
    let found = parts.iter().find(|(part, _)| part == name).expect(name);
    String::from_utf8(found.1.clone()).expect("text")
}

/// The workbook with rows below the headings of its first sheet, as a spreadsheet program would save them: numbers as
/// numbers, other text as text.
fn filled(workbook: &[u8], places: &[usize]) -> Vec<u8> {
    let mut rows = String::new();
    for (i, row) in ROWS.iter().enumerate() {
        let line = i + 2;
        rows += &format!("<row r=\"{line}\">");
        let mut cells: Vec<(usize, &str)> = places.iter().copied().zip(*row).collect();
        cells.sort_unstable();
        for (at, text) in cells.into_iter().filter(|(_, text)| !text.is_empty()) {
            let cell = format!("{}{line}", char::from(b'A' + at as u8));
            rows += &match text.parse::<f64>() {
                Ok(_) => format!("<c r=\"{cell}\"><v>{text}</v></c>"),
                Err(_) => format!("<c r=\"{cell}\" t=\"inlineStr\"><is><t>{text}</t></is></c>"),
            };
        }
        rows += "</row>";
    }
    let mut parts = parts(workbook);
    let sheet = parts
        .iter_mut()
        .find(|(name, _)| name == "xl/worksheets/sheet1.xml");
    let (_, sheet) = sheet.expect("a first sheet");
    let text = String::from_utf8(std::mem::take(sheet)).expect("text");
    *sheet = text
        .replacen("</sheetData>", &format!("{rows}</sheetData>"), 1)
        .into_bytes();
    let parts: Vec<(&str, &[u8])> = parts
        .iter()
        .map(|(n, c)| (n.as_str(), c.as_slice()))
        .collect();
    packed(&parts)
}

#[test]
fn what_it_writes_is_accepted_and_has_no_runs_yet() {
    for (arguments, log) in [
        ("start season", "season.xlsx"),
        ("start season.csv", "season.csv"),
    ] {
        let folder = Folder::new();
        let ran = folder.run(arguments).ended_with(0);
        assert_eq!(folder.names(), ["season-setup.toml", log]);
        assert!(
            ran.stdout.contains(&format!(
                "next: haltmark check {log} --setup season-setup.toml"
            )),
            "{ran}"
        );
        let ran = folder
            .run(&format!("check {log} --setup season-setup.toml"))
            .ended_with(0);
        assert_eq!(ran.stderr, "");
        assert!(
            ran.stdout.contains("No runs yet") && ran.stdout.contains("target_m"),
            "{ran}"
        );
        let json = folder
            .run(&format!("check {log} --json"))
            .ended_with(0)
            .json();
        assert_eq!(
            (&json["faults"], &json["understood"]["runs"]),
            (&serde_json::json!([]), &0.into())
        );
        // The data cannot answer: what would is said, and nothing is written.
        let ran = folder.run(&format!("fit {log} --out out")).ended_with(1);
        assert!(
            ran.stderr.contains("no runs yet") && ran.stderr.contains("launches"),
            "{ran}"
        );
        assert_eq!(folder.names().len(), 2);
    }
}

#[test]
fn filled_in_it_is_read_alike_as_workbook_and_as_text() {
    let folder = Folder::new();
    let headings = headings(&folder);
    let places = places(&headings);
    folder.run("start season").ended_with(0);
    let empty = std::fs::read(folder.path().join("season.xlsx")).expect("the workbook");
    folder.write("season.xlsx", filled(&empty, &places));
    let mut text = folder.text("headings.csv");
    for row in ROWS {
        let mut cells = vec![""; headings.len()];
        for (at, cell) in places.iter().zip(row) {
            cells[*at] = cell;
        }
        text += &(cells.join(",") + "\n");
    }
    folder.write("season.csv", text);
    let rig = |log: &str| {
        let fit = format!("fit {log} --setup season-setup.toml --out out --json");
        folder.run(&fit).ended_with(0).json()["rigs"][0].clone()
    };
    let (sheet, text) = (rig("season.xlsx"), rig("season.csv"));
    // Six that went well, and one that rolled back; the void run says nothing.
    assert_eq!((&sheet["void"], &sheet["recoiled"]), (&1.into(), &1.into()));
    assert_eq!(sheet["sessions"], 2);
    for known in ["runs", "travel", "heading", "recoil", "left_out"] {
        assert_eq!(sheet[known], text[known], "{known}");
    }
}

#[test]
fn its_bytes_are_the_same_each_time() {
    let (one, other) = (Folder::new(), Folder::new());
    for folder in [&one, &other] {
        folder.run("start season").ended_with(0);
        folder.run("start text --csv").ended_with(0);
    }
    for name in ["season.xlsx", "season-setup.toml", "text.csv"] {
        let bytes = |folder: &Folder| std::fs::read(folder.path().join(name)).expect(name);
        assert!(bytes(&one) == bytes(&other), "{name}");
    }
}

#[test]
fn nothing_is_written_over() {
    for taken in ["season.xlsx", "season-setup.toml"] {
        let folder = Folder::new();
        folder.write(taken, "mine");
        let ran = folder.run("start season").ended_with(2);
        assert!(
            ran.stderr
                .starts_with(&format!("{taken}: it is there already")),
            "{ran}"
        );
        assert_eq!(
            (folder.names(), folder.text(taken)),
            (vec![taken.to_string()], "mine".to_string())
        );
    }
    let folder = Folder::new();
    for no_name in ["start ..", "start /", "start"] {
        folder.run(no_name).ended_with(2);
    }
    assert!(folder.names().is_empty());
}

#[test]
fn a_name_may_lie_in_another_folder() {
    let folder = Folder::new();
    folder.run("start spring/season").ended_with(0);
    assert_eq!(
        folder.names(),
        ["spring/", "spring/season-setup.toml", "spring/season.xlsx"]
    );
}

#[test]
fn the_dial_and_the_wheels_of_a_set_up_bound_the_cells() {
    let folder = Folder::new();
    folder.write(
        "mine.toml",
        "[dial]\nticks_per_turn = 24\n[wheels.foam]\ndiameter_cm = 7.1\n",
    );
    folder.run("start season --setup mine.toml").ended_with(0);
    assert_eq!(
        folder.names(),
        ["mine.toml", "season.xlsx"],
        "there is a set-up file already"
    );
    let book = std::fs::read(folder.path().join("season.xlsx")).expect("the workbook");
    let sheet = part(&book, "xl/worksheets/sheet1.xml");
    let headings = headings(&folder);
    let checks: Vec<&str> = sheet.split("<dataValidation ").skip(1).collect();
    let of = |name: &str| {
        let at = headings
            .iter()
            .position(|heading| heading == name)
            .expect(name);
        let first = format!("sqref=\"{}2:", char::from(b'A' + at as u8));
        *checks
            .iter()
            .find(|check| check.contains(&first))
            .expect(name)
    };
    // Without errorStyle a check stops; 120 turns, and tick 24 of a dial whose last is 23, are not let in.
    for (name, least, most) in [
        ("turns", "0", "99"),
        ("ticks", "0", "23"),
        ("target_m", "0.5", "50"),
    ] {
        let bounds = format!("<formula1>{least}</formula1><formula2>{most}</formula2>");
        assert!(
            of(name).contains(&bounds) && !of(name).contains("errorStyle"),
            "{}",
            of(name)
        );
        assert!(of(name).contains("digit too many"), "{}", of(name));
    }
    for (name, words) in [
        ("status", "ok,recoil,touched,void"),
        ("load", "whole,broken"),
        ("kind", "launch,hand_roll"),
    ] {
        assert!(of(name).contains(words), "{}", of(name));
    }
    // Names are offered, and others are let in after a question.
    assert!(of("wheels").contains("errorStyle=\"warning\"") && of("wheels").contains("lists!"));
    assert!(part(&book, "xl/sharedStrings.xml").contains("foam"));
    // Which way plus lies is said where the cell is filled in, and in words on a sheet of its own.
    assert!(of("long_cm").contains("+ past the target / - before it"));
    assert!(of("right_cm").contains("+ right / - left"));
    assert!(part(&book, "xl/sharedStrings.xml").contains("eye protection"));
    assert!(sheet.contains("state=\"frozen\""));
}

#[test]
fn the_set_up_file_changes_nothing_until_it_is_filled_in() {
    let page = setup::page();
    assert_eq!(
        setup::from_toml("page", &page).expect("a set-up"),
        Setup::default()
    );
    assert!(setup::told(&Setup::default()).is_empty());
    // What nobody but the user knows stands behind a #.
    for key in [
        "ticks_per_turn",
        "width_cm",
        "wheel_diameter_cm",
        "shortest_m",
        "runs",
        "diameter_cm",
        "half_width_m",
    ] {
        assert!(page.contains(&format!("\n# {key} = ")), "{key}");
    }
    // Every setting is explained.
    let settings = page.lines().filter(|line| line.contains(" = "));
    for line in settings {
        let words = line.trim_start_matches("# ");
        assert!(words.contains("  # "), "{line}");
    }
}

#[test]
fn what_stands_behind_a_mark_can_be_used_as_it_stands() {
    let page = setup::page();
    let taken_away: Vec<&str> = page
        .lines()
        .skip_while(|line| !line.is_empty())
        // Where the obstacle stands is told in one way.
        .filter(|line| !line.contains("at_m = "))
        .map(|line| line.strip_prefix("# ").unwrap_or(line))
        .collect();
    let setup = setup::from_toml("page", &taken_away.join("\n")).unwrap_or_else(|f| panic!("{f}"));
    for told in [
        "ticks_per_turn",
        "width_cm",
        "runs",
        "counts",
        "[obstacle]",
        "[lane]",
        "spread_growth",
    ] {
        assert!(
            setup::told(&setup).iter().any(|name| name == told),
            "{told}"
        );
    }
}

#[test]
fn an_empty_log_among_others_is_said() {
    let folder = Folder::new();
    folder.write("one.csv", "session,target_m,turns,long_cm\nA,6,26,2\n");
    folder.write("two.csv", "session,target_m,turns,long_cm\n");
    let ran = folder.run("check one.csv two.csv").ended_with(0);
    assert_eq!(
        ran.stderr,
        "warning: two.csv: headings and no runs below them yet\n"
    );
    let ran = folder
        .run("compare two.csv --by wheels --a x --b y")
        .ended_with(1);
    assert!(ran.stderr.contains("no runs yet in two.csv"), "{ran}");
}
