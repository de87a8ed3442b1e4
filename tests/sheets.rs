//! `sheet`: what is filled in, that it is said as `plan` and `dial` say it, that what is typed from it is read, and how it
//! prints.

mod common;

use common::Folder;
use common::devtools::{PAPERS, Page};
use haltmark::simulate::{self, Truth};
use serde_json::{Value, json};

fn number(v: &Value) -> f64 {
    v.as_f64()
        .unwrap_or_else(|| panic!("expected a number, got {v}"))
}

/// Four days of eight runs.
fn season(truth: &mut Truth) -> String {
    truth.season.sessions = 4;
    truth.season.runs_per_session = vec![8];
    simulate::season(truth, 11).to_csv()
}

/// A fitted season with the calibration in `out`.
fn fitted(log: impl AsRef<[u8]>, setup: &str) -> Folder {
    let folder = Folder::new();
    folder.write("s.csv", log);
    folder.write("setup.toml", setup);
    folder
        .run("fit s.csv --setup setup.toml --out out")
        .ended_with(0);
    folder
}

fn usual() -> Folder {
    fitted(
        season(&mut Truth::default()),
        "[event]\nshortest_m = 6\nlongest_m = 10\n",
    )
}

fn sheet(folder: &Folder, flags: &str) -> (Value, String) {
    let ran = folder
        .run(&format!("sheet {flags} --out sheet.html --json"))
        .ended_with(0);
    (ran.json(), folder.text("sheet.html"))
}

fn targets(sheet: &Value) -> Vec<f64> {
    let runs = sheet["runs"].as_array().expect("runs");
    runs.iter().map(|r| number(&r["target_m"])).collect()
}

fn sorted(mut values: Vec<f64>) -> Vec<f64> {
    values.sort_by(f64::total_cmp);
    values
}

/// What a page says, without its tags.
fn plain(html: &str) -> String {
    let html = html.split("<body>").last().expect("some text");
    let mut out = String::new();
    let mut tag = false;
    for c in html.chars() {
        match c {
            '<' => tag = true,
            '>' if tag => {
                tag = false;
                out.push(' ');
            }
            _ if !tag => out.push(c),
            _ => {}
        }
    }
    out.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What stands in each line of the table: one text a cell.
fn lines(page: &str) -> Vec<Vec<String>> {
    let body = page.split("<tbody>").nth(1).expect("a table");
    let body = body.split("</tbody>").next().expect("its end");
    body.split("<tr>")
        .skip(1)
        .map(|line| {
            line.split("</t")
                .filter_map(|cell| cell.split_once("<t").map(|(_, c)| c))
                .map(|cell| plain(&format!("<{cell}")))
                .collect()
        })
        .collect()
}

/// Column names as the page says them: those of the fields at the top, then those of the table.
fn names(page: &str) -> Vec<String> {
    page.split("<code")
        .skip(1)
        .map(|rest| {
            let (_, rest) = rest.split_once('>').expect("a tag ends");
            rest.split('<').next().expect("text").to_string()
        })
        .collect()
}

#[test]
fn the_order_is_a_shuffle_of_the_plans_targets() {
    let folder = usual();
    let plan = folder
        .run("plan out/calibration.json --within 20 --sessions 1 --runs 8 --json")
        .ended_with(0)
        .json();
    let planned: Vec<f64> = plan["targets_m"]
        .as_array()
        .expect("targets")
        .iter()
        .map(number)
        .collect();
    let mut orders = Vec::new();
    for seed in 1..=6 {
        let (made, page) = sheet(&folder, &format!("out/calibration.json --seed {seed}"));
        let order = targets(&made);
        assert_eq!(sorted(order.clone()), sorted(planned.clone()));
        let again = sheet(&folder, &format!("out/calibration.json --seed {seed}"));
        assert_eq!(again, (made, page), "the same seed, other bytes");
        orders.push(order);
    }
    // Some runs at neither end, so that a bend can be seen.
    assert!(planned.iter().any(|t| *t > 6.0 && *t < 10.0), "{planned:?}");
    assert!(orders.iter().any(|o| *o != orders[0]), "{orders:?}");
    assert_ne!(orders[0], sorted(orders[0].clone()));
    let page = folder.text("sheet.html");
    assert!(plain(&page).contains("in mixed order, so that a floor that gets dusty"));
}

#[test]
fn settings_and_ranges_are_those_of_dial() {
    let folder = usual();
    for level in ["0.95", "0.8"] {
        let (made, page) = sheet(&folder, &format!("out/calibration.json --level {level}"));
        let rows = lines(&page);
        let runs = made["runs"].as_array().expect("runs");
        assert_eq!((runs.len(), rows.len()), (8, 12));
        for (run, row) in runs.iter().zip(&rows) {
            let target = number(&run["target_m"]);
            let dialled = folder
                .run(&format!(
                    "dial out/calibration.json --target {target} --level {level} --json"
                ))
                .ended_with(0)
                .json();
            let setting = &dialled["settings"][0];
            for key in [
                "target_m",
                "turns",
                "whole_turns",
                "ticks",
                "aim_right_cm",
                "lead_turns",
                "long_cm",
                "right_cm",
            ] {
                assert_eq!(run[key], setting[key], "{key} at {target}");
            }
            // The same on paper: run, target, turns, ticks, aim, lead, expect.
            let read = |cell: &str| -> f64 {
                let cell = cell.replace('−', "-");
                cell.parse().unwrap_or_else(|_| panic!("{cell}: {row:?}"))
            };
            assert_eq!(read(&row[1]), target);
            assert_eq!(read(&row[2]), number(&setting["whole_turns"]));
            assert_eq!(read(&row[3]), number(&setting["ticks"]));
            assert_eq!(read(&row[4]), number(&setting["aim_right_cm"]));
            assert_eq!(read(&row[5]), number(&setting["lead_turns"]));
            let side = |range: &Value, end: &str, minus: &str, plus: &str| {
                let cm = number(&range[end]);
                match cm.abs().round() {
                    0.0 => "0".to_string(),
                    size => format!("{size} {}", if cm < 0.0 { minus } else { plus }),
                }
            };
            let range = |key: &str, minus, plus| {
                let r = &setting[key];
                format!(
                    "{} to {}",
                    side(r, "low", minus, plus),
                    side(r, "high", minus, plus)
                )
            };
            let expected = format!(
                "{} {}",
                range("long_cm", "short", "long"),
                range("right_cm", "left", "right")
            );
            assert_eq!(row[6], expected);
        }
        // Room for more runs than are filled in, and for what is measured.
        assert!(
            rows[8..]
                .iter()
                .all(|r| r[1..].iter().all(String::is_empty))
        );
        assert!(
            rows[..8]
                .iter()
                .all(|r| r[7..].iter().all(String::is_empty))
        );
        // Two ranges a run, each with its box, and one before each of the nine checks.
        assert_eq!(page.matches("class=\"box\"").count(), 2 * 8 + 9);
    }
    assert!(plain(&folder.text("sheet.html")).contains("holds 4 of 5 runs of a new day"));
}

/// π × 7.5 cm = 23.5619 cm a turn: 9 m are 38.1972 turns, 38 and 3.94 of 20 ticks; 25 ticks a turn make it 4.93.
#[test]
fn a_first_guess_is_target_over_circumference() {
    let folder = Folder::new();
    for (ticks, expected) in [(20, 4), (25, 5)] {
        folder.write(
            "setup.toml",
            format!("[dial]\nticks_per_turn = {ticks}\n[vehicle]\nwheel_diameter_cm = 7.5\n[event]\nshortest_m = 9\nlongest_m = 9\n"),
        );
        let (made, page) = sheet(&folder, "--setup setup.toml");
        for (run, row) in made["runs"]
            .as_array()
            .expect("runs")
            .iter()
            .zip(lines(&page))
        {
            assert_eq!(
                (&run["whole_turns"], &run["ticks"]),
                (&38.into(), &expected.into())
            );
            assert_eq!(row[1..4], ["9.00", "38", &expected.to_string()]);
            assert!(run["long_cm"].is_null());
        }
        assert!(plain(&page).contains("carries it 23.6 cm a turn, so 4.24 turns for each metre"));
    }
}

#[test]
fn a_first_session_is_spread_over_the_range_and_mixed() {
    let folder = Folder::new();
    folder.write(
        "setup.toml",
        "[vehicle]\nwheel_diameter_cm = 7.5\n[wheels.wide]\ndiameter_cm = 8\n[event]\nshortest_m = 6\nlongest_m = 9.5\n",
    );
    let (made, page) = sheet(&folder, "--setup setup.toml");
    let order = targets(&made);
    assert_eq!(
        sorted(order.clone()),
        [6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0, 9.5]
    );
    assert_ne!(order, sorted(order.clone()));
    assert!(plain(&page).contains("For other wheels: a “wide” wheel 8 cm across"));
    // π × 8 cm = 25.1327 cm a turn: 6 m are 23.873 turns; nobody knows of ticks, so they are decimal, to a twentieth.
    let (wide, page) = sheet(&folder, "--setup setup.toml --rig Ash/wide");
    let six = wide["runs"].as_array().expect("runs").iter();
    let six = six.clone().find(|r| r["target_m"] == 6.0).expect("6 m");
    assert_eq!(six["turns"], 23.85);
    assert_eq!(
        (&six["whole_turns"], &six["ticks"]),
        (&Value::Null, &Value::Null)
    );
    let row = lines(&page)
        .into_iter()
        .find(|r| r[1] == "6.00")
        .expect("6 m");
    assert_eq!(row[2..4], ["23.85", ""]);
    assert!(page.contains("<b>Ash</b>") && page.contains("<b>wide</b>"));
    assert_eq!(wide["rig"], "Ash/wide");
}

#[test]
fn without_a_wheel_the_lines_are_empty() {
    let folder = Folder::new();
    let (made, page) = sheet(&folder, "");
    assert_eq!(made["runs"], json!([]));
    let rows = lines(&page);
    assert_eq!(rows.len(), 12);
    assert!(rows.iter().all(|r| r[1..].iter().all(String::is_empty)));
    let said = folder.run("sheet --out b.html").ended_with(0);
    assert!(
        said.stdout.contains("b.html") && said.stdout.contains("print"),
        "{said}"
    );
    let quiet = folder.run("sheet --out b.html --quiet").ended_with(0);
    assert_eq!(quiet.stdout, "");
}

/// Roles, checks and cautions are there, and void comes before measuring.
#[test]
fn the_sheet_says_who_does_what_and_what_to_beware_of() {
    let page = plain(&sheet(&Folder::new(), "").1);
    let order = [
        "session",
        "Who does what",
        "Winds",
        "Reads back",
        "Sights",
        "Releases",
        "Two measure",
        "Writes",
        "Before each run",
        "Dial read again in the launcher",
        "Void? Say it before anybody measures",
        "stand at the start, look at the target",
        "target_m",
        "status",
        "long_cm",
        "hand_roll under kind",
        "Catch the mass on padding",
        "supervising adult",
    ];
    let places: Vec<usize> = order
        .iter()
        .map(|w| {
            page.find(w)
                .unwrap_or_else(|| panic!("no \"{w}\" on the sheet"))
        })
        .collect();
    assert!(places.is_sorted(), "{places:?}");
}

/// A log typed with the sheet's own names for columns: a launch, one that was void, one that rolled back, a hand roll.
#[test]
fn what_is_typed_from_the_sheet_is_read_without_a_warning() {
    let folder = usual();
    folder.write("dial.toml", "[dial]\nticks_per_turn = 20\n");
    folder.write("line.toml", "[score]\nmeasure = \"line\"\n");
    folder.write("point.toml", "[vehicle]\nwheel_diameter_cm = 7.5\n");
    for (flags, across) in [
        ("out/calibration.json", true),
        ("", true),
        ("--setup point.toml", true),
        ("--setup line.toml", false),
    ] {
        let (_, page) = sheet(&folder, flags);
        let names = names(&page);
        assert_eq!(names.contains(&"right_cm".to_string()), across, "{names:?}");
        for needed in [
            "session", "date", "target_m", "turns", "long_cm", "status", "kind",
        ] {
            assert!(names.contains(&needed.to_string()), "{needed}: {names:?}");
        }
        let runs: [&[(&str, &str)]; 4] = [
            &[
                ("session", "4"),
                ("date", "2031-05-17"),
                ("floor", "hall"),
                ("vehicle", "Ash"),
                ("wheels", "foam"),
                ("build", "a"),
                ("trim", "b"),
                ("run", "1"),
                ("target_m", "8.00"),
                ("turns", "33"),
                ("ticks", "7"),
                ("aim_right_cm", "20 left"),
                ("lead_turns", "1.5"),
                ("status", "ok"),
                ("long_cm", "3 short"),
                ("right_cm", "4 right"),
                ("miss_cm", "5"),
                ("recoil_cm", "0"),
                ("gap_cm", "9"),
                ("load", "whole"),
                ("time_s", "6.1"),
                ("note", "first"),
            ],
            &[
                ("run", "2"),
                ("target_m", "7.10"),
                ("turns", "29"),
                ("ticks", "0"),
                ("aim_right_cm", "-12"),
                ("lead_turns", "1.5"),
                ("status", "void"),
                ("note", "string tangled"),
            ],
            &[
                ("run", "3"),
                ("target_m", "9.00"),
                ("turns", "37"),
                ("ticks", "11"),
                ("aim_right_cm", "-25"),
                ("lead_turns", "1.5"),
                ("status", "recoil"),
                ("long_cm", "-6"),
                ("right_cm", "0"),
                ("miss_cm", "6"),
                ("recoil_cm", "5"),
            ],
            &[
                ("run", "4"),
                ("kind", "hand_roll"),
                ("target_m", "5.00"),
                ("turns", "22"),
                ("long_cm", "18"),
            ],
        ];
        let mut log = names.join(",") + "\n";
        for run in runs {
            let cell = |name: &String| run.iter().find(|(n, _)| n == name).map_or("", |(_, v)| *v);
            log += &(names.iter().map(cell).collect::<Vec<_>>().join(",") + "\n");
        }
        folder.write("typed.csv", &log);
        let ran = folder
            .run("check typed.csv --setup dial.toml")
            .ended_with(0);
        assert_eq!(ran.stderr, "", "{flags}\n{log}\n{ran}");
        assert!(
            ran.stdout
                .contains("3 launches and 1 hand roll: 1 ok, 1 rolled back, 1 void"),
            "{ran}"
        );
    }
}

#[test]
fn where_only_the_distance_along_counts_nothing_across_is_asked_for() {
    let log = common::along_only(&simulate::season(&Truth::default(), 4).season);
    let line = fitted(&log, "[score]\nmeasure = \"line\"\n");
    let (made, page) = sheet(&line, "out/calibration.json");
    assert!(made["runs"][0]["aim_right_cm"].is_null() && !made["runs"][0]["long_cm"].is_null());
    assert!(!page.contains("aim_right_cm") && !page.contains("miss_cm"));
    // Where left and right count but were never written down: evenly spread targets, and columns to write them into.
    let point = fitted(&log, "");
    let (made, page) = sheet(&point, "out/calibration.json");
    assert!(page.contains("aim_right_cm") && page.contains("does not tell left from right"));
    let places = sorted(targets(&made));
    assert!(places.windows(2).all(|p| p[0] < p[1]), "{places:?}");
}

#[test]
fn labels_never_become_markup() {
    let mut truth = Truth {
        vehicle: "<script>alert(1)</script>".to_string(),
        wheels: "\"><img src=x onerror=alert(2)>".to_string(),
        ..Truth::default()
    };
    let folder = fitted(
        season(&mut truth),
        "[wheels.\"<b>x</b>\"]\ndiameter_cm = 7\n",
    );
    let (_, page) = sheet(&folder, "out/calibration.json");
    assert!(!page.contains("<script") && !page.contains("<img"));
    assert!(page.contains("&lt;script&gt;alert"));
    let ran = folder.run_with(&[
        "sheet",
        "--rig",
        "<i>v</i>/<u>w</u>",
        "--setup",
        "setup.toml",
        "--out",
        "b.html",
    ]);
    ran.ended_with(0);
    let page = folder.text("b.html");
    assert!(!page.contains("<i>v") && !page.contains("<u>w") && page.contains("&lt;i&gt;v"));
    folder
        .run("sheet --setup setup.toml --out b.html")
        .ended_with(0);
    let page = folder.text("b.html");
    assert!(!page.contains("<b>x") && page.contains("&lt;b&gt;x"));
    for outside in ["src=", "url(", "@import", "https://", "<link"] {
        assert!(!page.contains(outside), "{outside}");
    }
}

#[test]
fn what_is_wrong_is_said_and_nothing_is_written() {
    let folder = usual();
    std::fs::create_dir_all(folder.path().join("full/sheet.html")).expect("a folder");
    let before = folder.names();
    for (arguments, status, said) in [
        ("sheet out/calibration.json", 2, "--out"),
        ("sheet --out full", 2, "a folder of that name is in the way"),
        (
            "sheet --out s.csv/x.html",
            2,
            "a file of that name is in the way",
        ),
        (
            "sheet out/calibration.json --out out/calibration.json",
            2,
            "never written to",
        ),
        ("sheet gone.json --out x.html", 2, "gone.json"),
        ("sheet s.csv --out x.html", 2, "s.csv"),
        (
            "sheet out/calibration.json --rig No/such --out x.html",
            2,
            "No/such",
        ),
        ("sheet --rig nothing --out x.html", 2, "VEHICLE/WHEELS"),
        ("sheet --trim b --out x.html", 2, "without a calibration"),
    ] {
        let ran = folder.run(arguments).ended_with(status);
        assert!(ran.stderr.contains(said), "{ran}");
        assert_eq!(ran.stdout, "");
        assert_eq!(folder.names(), before, "{ran}");
    }
}

#[test]
fn with_several_rigs_one_has_to_be_named() {
    let (mut ash, mut elm) = (Truth::default(), Truth::default());
    ash.vehicle = "Ash".to_string();
    elm.vehicle = "Elm".to_string();
    elm.travel.distance_per_turn_m = 0.26;
    let folder = fitted(season(&mut ash), "");
    folder.write("t.csv", season(&mut elm));
    folder.run("fit s.csv t.csv --out out").ended_with(0);
    let ran = folder
        .run("sheet out/calibration.json --out x.html")
        .ended_with(2);
    assert!(
        ran.stderr.contains("--rig") && ran.stderr.contains("Ash"),
        "{ran}"
    );
    let name = |vehicle: &str| format!("{vehicle}/{}", Truth::default().wheels);
    let turns = |vehicle| {
        let flags = format!("out/calibration.json --rig {}", name(vehicle));
        let (made, page) = sheet(&folder, &flags);
        assert_eq!(made["rig"], name(vehicle));
        assert!(page.contains(&format!("<b>{vehicle}</b>")));
        number(&made["runs"][0]["turns"]) / number(&made["runs"][0]["target_m"])
    };
    assert!(turns("Ash") > turns("Elm"));
}

/// Through Debian's Chromium: one side of A4 or Letter on its long edge, with the cautions; nothing scrolls sideways on a
/// phone but the table in its own frame; no text leaves its box.
#[test]
fn it_prints_on_one_side_and_can_be_read_on_a_phone() {
    let Some(mut browser) = Page::start() else {
        return;
    };
    let long = "Wwwwwwwwww Wwwwwwwwww Wwwwwwwwww Wwwwwwwwww Wwwwww";
    // Many warnings together: one session, far targets, a narrow lane, an obstacle in the way, no width.
    let mut truth = Truth {
        vehicle: format!("v{long}"),
        wheels: format!("w{long}"),
        build: format!("b{long}"),
        trim: format!("t{long}"),
        ..Truth::default()
    };
    truth.season.sessions = 1;
    truth.season.runs_per_session = vec![8];
    truth.season.targets_m = vec![6.0, 7.0];
    let crowded = fitted(
        simulate::season(&truth, 5).to_csv(),
        "[event]\nshortest_m = 6\nlongest_m = 12\n[lane]\nhalf_width_m = 0.2\n[obstacle]\nat = 0.5\nright_cm = 0\ndiameter_cm = 30\npass = \"left\"\n[dial]\nticks_per_turn = 100\n",
    );
    let wheels = Folder::new();
    wheels.write(
        "setup.toml",
        format!("[vehicle]\nwheel_diameter_cm = 7.5\n[wheels.\"a{long}\"]\ndiameter_cm = 7\n[wheels.\"b{long}\"]\ndiameter_cm = 8\n[wheels.c]\ndiameter_cm = 9\n"),
    );
    let usual = usual();
    for (what, folder, flags) in [
        ("usual", &usual, "out/calibration.json"),
        ("crowded", &crowded, "out/calibration.json"),
        ("wheels", &wheels, "--setup setup.toml"),
        ("empty", &wheels, ""),
    ] {
        sheet(folder, flags);
        browser.call("Emulation.setEmulatedMedia", json!({"media": ""}));
        browser.open(&folder.path().join("sheet.html"));
        let wide = browser
            .value("document.documentElement.scrollWidth - document.documentElement.clientWidth");
        assert_eq!(wide, 0, "{what}: sideways scrolling");
        // A sketch with a name, a table that the keyboard can scroll, and no text outside its drawing.
        let named = browser.value("document.querySelector('svg[role=img] title').textContent && document.querySelector('.scroll').tabIndex");
        assert_eq!(named, 0);
        let cut = browser.value("(() => { const b = document.querySelector('svg').getBoundingClientRect(); return [...document.querySelectorAll('svg text')].filter(t => { const r = t.getBoundingClientRect(); return r.left < b.left || r.right > b.right || r.top < b.top || r.bottom > b.bottom; }).map(t => t.textContent); })()");
        assert_eq!(cut, json!([]), "{what}: text outside the sketch");
        for (paper, size_in) in PAPERS {
            assert_eq!(browser.printed(size_in), (1, true), "{what} on {paper}");
            // As wide as the paper less its margins (9 mm), no column may run over its neighbour.
            let pixels = ((size_in.1 * 25.4 - 18.0) * 96.0 / 25.4_f64).floor();
            browser.call("Emulation.setEmulatedMedia", json!({"media": "print"}));
            browser.call(
                "Emulation.setDeviceMetricsOverride",
                json!({"width": pixels, "height": 700, "deviceScaleFactor": 1, "mobile": false}),
            );
            let over = browser.value("[...document.querySelectorAll('.runs th, .runs td')].filter(c => c.scrollWidth > c.clientWidth + 1).map(c => c.textContent)");
            assert_eq!(over, json!([]), "{what} on {paper}");
            browser.call("Emulation.setEmulatedMedia", json!({"media": ""}));
            browser.call(
                "Emulation.setDeviceMetricsOverride",
                json!({"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": true}),
            );
        }
        assert_eq!(
            browser.said,
            Vec::<String>::new(),
            "{what}: said on the console"
        );
    }
}
