//! The next sessions: `plan` and `sheet` agree on targets, leads and what the days gain; each session has a page that says
//! whose it is.

mod common;

use common::Folder;
use common::devtools::{PAPERS, Page};
use haltmark::simulate::{self, Truth};
use serde_json::{Value, json};

fn number(v: &Value) -> f64 {
    v.as_f64()
        .unwrap_or_else(|| panic!("expected a number, got {v}"))
}

fn list(v: &Value) -> &[Value] {
    v.as_array()
        .unwrap_or_else(|| panic!("expected a list, got {v}"))
}

fn truth(sessions: usize, change: impl FnOnce(&mut Truth)) -> Truth {
    let mut truth = Truth {
        vehicle: "Ash".to_string(),
        wheels: "foam".to_string(),
        ..Truth::default()
    };
    truth.season.sessions = sessions;
    truth.season.runs_per_session = vec![6];
    truth.season.first_date = Some("2031-10-04".parse().expect("a date"));
    change(&mut truth);
    truth
}

fn fitted(log: &str) -> Folder {
    let folder = Folder::new();
    folder.write("s.csv", log);
    folder.write("setup.toml", "[dial]\nticks_per_turn = 20\n");
    folder
        .run("fit s.csv --setup setup.toml --out out")
        .ended_with(0);
    folder
}

/// A log without some of its columns.
fn without(log: &str, columns: &[&str]) -> String {
    let mut rows = log.lines().filter(|line| !line.starts_with('#'));
    let heads: Vec<&str> = rows.next().expect("a heading").split(',').collect();
    let kept = |line: &str| {
        let cells = line.split(',').zip(&heads);
        let kept: Vec<&str> = cells
            .filter(|(_, head)| !columns.contains(head))
            .map(|(cell, _)| cell)
            .collect();
        kept.join(",") + "\n"
    };
    kept(&heads.join(",")) + &rows.map(kept).collect::<String>()
}

/// Logs of which recoil is known in every way, with whether a second lead is wanted: above the one in use, below it, or
/// not at all.
fn logs() -> Vec<(&'static str, String, Option<std::cmp::Ordering>)> {
    use std::cmp::Ordering::{Greater, Less};
    let log = |truth: &Truth| simulate::season(truth, truth.season.seed).to_csv();
    let never = |t: &mut Truth| t.recoil.half_lead_turns = 30.0;
    let watched = log(&truth(1, never));
    vec![
        // 36 runs that were watched and did not roll back: at most 1 in 10 does (Clopper & Pearson 1934).
        ("recoil fine", log(&truth(6, never)), None),
        ("recoil open, one session", watched.clone(), Some(Greater)),
        (
            "rolls back too often",
            log(&truth(3, |t| t.recoil.half_lead_turns = 1.5)),
            Some(Less),
        ),
        (
            "never watched",
            without(&log(&truth(3, never)), &["recoil_cm", "status"]),
            Some(Less),
        ),
        (
            "no lead written down",
            without(&watched, &["lead_turns"]),
            None,
        ),
    ]
}

/// (target, lead) of the runs of each session, sorted.
type Runs = Vec<Vec<(String, String)>>;

fn sorted(mut runs: Runs) -> Runs {
    runs.iter_mut().for_each(|session| session.sort());
    runs
}

/// As the JSON of `plan` and of `sheet` say them.
fn of_json(answer: &Value) -> Runs {
    let mut sessions: Runs = Vec::new();
    for run in list(&answer["runs"]) {
        let session = run["session"].as_u64().expect("a session") as usize;
        sessions.resize(session.max(sessions.len()), Vec::new());
        let target = format!("{:.2}", number(&run["target_m"]));
        let lead = run["lead_turns"].as_f64();
        sessions[session - 1].push((target, lead.map_or_else(String::new, |l| l.to_string())));
    }
    sessions
}

/// As they stand on the pages, read by a browser: second cell and the last before the range to expect.
fn of_page(browser: &mut Page, folder: &Folder) -> Runs {
    browser.open(&folder.path().join("sheet.html"));
    let read = browser.value(
        "[...document.querySelectorAll('article')].map(page =>
            [...page.querySelectorAll('tbody tr')].map(row => {
                const cells = [...row.cells].map(cell => cell.textContent);
                const expect = [...row.cells].findIndex(cell => cell.classList.contains('expect'));
                return [cells[1], cells[expect - 1]];
            }).filter(cells => cells[0]))",
    );
    serde_json::from_value(read).expect("targets and leads")
}

#[test]
fn plan_and_sheet_agree_on_targets_and_leads() {
    let mut browser = Page::start();
    for (what, log, second) in logs() {
        let folder = fitted(&log);
        for (sessions, runs, seed) in [(1, 8, 1), (2, 10, 2), (3, 5, 3)] {
            let size = format!("--sessions {sessions} --runs {runs} --seed {seed}");
            let plan = folder.run(&format!("plan out --within 15 {size} --json"));
            let plan = plan.ended_with(0).json();
            let sheet = folder.run(&format!("sheet out {size} --out sheet.html --json"));
            let sheet = sheet.ended_with(0).json();
            let planned = of_json(&plan);
            let counts: Vec<usize> = planned.iter().map(Vec::len).collect();
            assert_eq!(counts, vec![runs; sessions], "{what}");
            let in_order = of_json(&sheet);
            if let Some(browser) = &mut browser {
                assert_eq!(of_page(browser, &folder), in_order, "{what}");
            }
            assert_eq!(sorted(in_order.clone()), sorted(planned.clone()), "{what}");
            // Mixed: no session goes from the shortest to the longest.
            assert_ne!(in_order, planned, "{what}");
            let targets: Vec<String> = list(&plan["targets_m"])
                .iter()
                .map(|t| format!("{:.2}", number(t)))
                .collect();
            let first: Vec<String> = planned[0].iter().map(|(t, _)| t.clone()).collect();
            assert_eq!(targets, first, "{what}");
            leads_are_as_wanted(what, &planned, second);
        }
        // Without a word on their size, the sheet's sessions are one of eight, as the plan's without a reason for others.
        let plan = folder.run("plan out --within 15 --chance 0.01 --json");
        let sheet = folder.run("sheet out --out sheet.html --json");
        assert_eq!(
            sorted(of_json(&plan.ended_with(0).json())),
            sorted(of_json(&sheet.ended_with(0).json())),
            "{what}"
        );
    }
}

/// A second lead, on its side of the one in use, 1.5 turns, at more than one run and at no more than half of them.
fn leads_are_as_wanted(what: &str, planned: &Runs, second: Option<std::cmp::Ordering>) {
    for session in planned {
        let others: Vec<f64> = session
            .iter()
            .filter(|(_, lead)| !lead.is_empty() && lead != "1.5")
            .map(|(_, lead)| lead.parse().expect("a number"))
            .collect();
        let Some(side) = second else {
            assert!(others.is_empty(), "{what}: {session:?}");
            continue;
        };
        assert!(
            others.len() > 1 && 2 * others.len() <= session.len(),
            "{what}: {session:?}"
        );
        for other in others {
            assert_eq!(other.total_cmp(&1.5), side, "{what}: {session:?}");
        }
    }
}

/// After such a session the lead in use is the median of its leads: it stays, where it was not to be left.
#[test]
fn trying_another_lead_does_not_change_the_one_in_use() {
    let truth = truth(1, |t| t.recoil.half_lead_turns = 30.0);
    let log = simulate::season(&truth, 1).to_csv();
    let folder = fitted(&log);
    let sheet = folder.run("sheet out --runs 7 --out sheet.html --json");
    let heads = log
        .lines()
        .find(|l| !l.starts_with('#'))
        .expect("a heading");
    let mut longer = log.clone();
    for run in list(&sheet.ended_with(0).json()["runs"]) {
        let cells: Vec<String> = heads
            .split(',')
            .map(|head| match head {
                "session" => "next".to_string(),
                "date" => "2031-12-01".to_string(),
                "turns" => run["whole_turns"].to_string(),
                "long_cm" | "right_cm" => "1".to_string(),
                "recoil_cm" => "0".to_string(),
                "vehicle" => "Ash".to_string(),
                "wheels" => "foam".to_string(),
                name => match &run[name] {
                    Value::Null => String::new(),
                    value => value.to_string(),
                },
            })
            .collect();
        longer += &(cells.join(",") + "\n");
    }
    assert!(
        longer.contains(",2.0,") || longer.contains(",2,"),
        "{longer}"
    );
    let after = fitted(&longer);
    let dial = after.run("dial out --target 8 --json").ended_with(0).json();
    assert_eq!(dial["settings"][0]["lead_turns"], 1.5);
}

/// The chances, before and after, are those of `plan`; and it is said in the same words.
#[test]
fn the_gain_on_the_sheet_is_that_of_plan() {
    let mut grew = 0;
    for (what, log, _) in logs() {
        let folder = fitted(&log);
        for (flags, size) in [
            ("--within 20", "--sessions 2 --runs 10"),
            ("", "--sessions 1 --runs 4"),
        ] {
            let sheet = folder.run(&format!("sheet out {size} {flags} --out sheet.html --json"));
            let gain = sheet.ended_with(0).json()["gain"].clone();
            let ask = format!("plan out {size} --within {}", gain["within_cm"]);
            let plan = folder.run(&format!("{ask} --json")).ended_with(0).json();
            assert_eq!(
                gain["event_chance_now"], plan["at_event"]["chance"],
                "{what}"
            );
            let option = &plan["options"][0];
            assert_eq!(gain["event_chance"], option["event_chance"], "{what}");
            let (now, then) = (
                number(&gain["event_chance_now"]),
                number(&gain["event_chance"]),
            );
            assert!(now < then, "{what}: {gain}");
            // Nobody gave a distance: the fewest whole centimetres that are kept nine times in ten.
            if flags.is_empty() {
                let at = |cm: f64| {
                    let ask = format!("plan out {size} --within {cm} --json");
                    number(&folder.run(&ask).ended_with(0).json()["at_event"]["chance"])
                };
                let cm = number(&gain["within_cm"]);
                assert_eq!(cm, cm.round());
                assert!(at(cm - 1.0) < 0.9 && 0.9 <= at(cm), "{what}: {gain}");
            }
            let said = folder.run(&ask).ended_with(0).stdout;
            let hundredths = |p: f64| format!("{:.0} in 100", 100.0 * p);
            let (verb, numbers) = match then - now < 0.01 {
                true => (
                    "hardly raise",
                    format!("{} now, {} then", hundredths(now), hundredths(then)),
                ),
                false => {
                    grew += 1;
                    (
                        "raise",
                        format!("from {} to {}", hundredths(now), hundredths(then)),
                    )
                }
            };
            let page = folder.text("sheet.html");
            for text in [&said, &page] {
                assert!(
                    text.contains(&format!(
                        "would {verb} the chance that the better of 2 runs"
                    )),
                    "{what}: {text}"
                );
                // Beyond 99.5 in 100 it is said in words.
                assert!(
                    then > 0.995 || text.contains(&numbers),
                    "{what}, {numbers}: {text}"
                );
            }
        }
    }
    assert!(grew > 1, "no log gained anything");
}

/// Where the log does not tell left from right, or nothing is known yet, there is no gain to tell; pages there are.
#[test]
fn without_a_calibration_there_is_a_page_a_session_as_well() {
    let folder = Folder::new();
    folder.write(
        "setup.toml",
        "[vehicle]\nwheel_diameter_cm = 7.5\n[event]\nshortest_m = 6\nlongest_m = 9\n",
    );
    for (flags, runs) in [("--setup setup.toml", 10), ("", 0)] {
        let made = folder.run(&format!(
            "sheet {flags} --sessions 3 --runs 10 --out sheet.html --json"
        ));
        let made = made.ended_with(0).json();
        assert_eq!(made["gain"], Value::Null);
        assert_eq!(list(&made["runs"]).len(), 3 * runs);
        let page = folder.text("sheet.html");
        for session in 1..=3 {
            assert!(page.contains(&format!("Log sheet: session {session} of 3")));
        }
        if runs > 0 {
            // The same targets, in an order of its own.
            let sessions = of_json(&made);
            assert_ne!(sessions[0], sessions[1]);
            assert_eq!(sorted(sessions.clone())[0], sorted(sessions)[1]);
        }
    }
    let ran = folder.run("sheet --within 20 --out x.html").ended_with(2);
    assert!(ran.stderr.contains("CALIBRATION"), "{ran}");
    let log = common::along_only(&simulate::season(&Truth::default(), 4).season);
    let along = fitted(&log);
    let made = along.run("sheet out --sessions 2 --runs 3 --out sheet.html --json");
    let made = made.ended_with(0).json();
    assert_eq!(
        (&made["gain"], list(&made["runs"]).len()),
        (&Value::Null, 6)
    );
    assert!(
        along
            .text("sheet.html")
            .contains("spread over what can be announced")
    );
}

/// Through Debian's Chromium: a side a session up to twelve runs, with long labels and every sentence that there is; a longer
/// session goes on on a second side, with head and cautions on it.
#[test]
fn a_session_prints_on_a_side_and_every_sheet_says_whose_it_is() {
    let Some(mut browser) = Page::start() else {
        return;
    };
    let long = "Wwwwwwwwww Wwwwwwwwww Wwwwwwwwww Wwwwww";
    let crowded = truth(1, |t| {
        t.vehicle = format!("v{long}");
        t.wheels = format!("w{long}");
        t.recoil.half_lead_turns = 30.0;
    });
    let crowded = simulate::season(&crowded, 5).to_csv();
    let usual = simulate::season(&truth(3, |_| ()), 5).to_csv();
    // Sessions are a week apart.
    for (log, name, days) in [
        (&usual, "Ash/foam", "2031-10-04 to 2031-10-18"),
        (&crowded, "v", "2031-10-04"),
    ] {
        let folder = fitted(log);
        for (flags, sheets) in [
            ("--sessions 2", 2),
            ("--sessions 2 --runs 12", 2),
            ("--sessions 2 --runs 20", 4),
        ] {
            let said = folder.run(&format!("sheet out {flags} --out sheet.html"));
            let said = said.ended_with(0).stdout;
            assert_eq!(said.contains("takes several"), sheets > 2, "{said}");
            browser.open(&folder.path().join("sheet.html"));
            for (paper, size_in) in PAPERS {
                assert_eq!(
                    browser.printed(size_in),
                    (sheets, true),
                    "{flags} on {paper}"
                );
            }
            browser.call("Emulation.setEmulatedMedia", json!({"media": "print"}));
            let pages = browser.value(
                "[...document.querySelectorAll('article')].map(page => {
                    const of = e => page.querySelector(e), display = e => getComputedStyle(of(e)).display;
                    return [of('.running').innerText.replace(/\\s+/g, ' '), of('.cautions').innerText,
                        [display('.running'), display('.cautions'), display('.runs thead')]];
                })",
            );
            browser.call("Emulation.setEmulatedMedia", json!({"media": ""}));
            assert_eq!(list(&pages).len(), 2);
            for (page, session) in list(&pages).iter().zip(1..) {
                let head = page[0].as_str().expect("a head");
                let begins = format!("Log sheet: session {session} of 2 {name}");
                assert!(head.starts_with(&begins), "{head}");
                assert!(
                    head.ends_with(&format!("settings from s.csv, {days}")),
                    "{head}"
                );
                assert!(
                    page[1]
                        .as_str()
                        .expect("cautions")
                        .contains("Catch the mass")
                );
                let repeated = [
                    "table-header-group",
                    "table-footer-group",
                    "table-header-group",
                ];
                assert_eq!(page[2], json!(repeated));
            }
            let title = browser.value("document.title");
            let title = title.as_str().expect("a title");
            assert!(
                title.contains(name)
                    && title.contains(&format!("s.csv, {days}"))
                    && title.contains("2 sessions"),
                "{title}"
            );
        }
    }
}
