//! One quantity is one number wherever a person sees it: on the terminal, in the report, in `settings.csv`, in the answers of
//! other commands. Numbers are picked out of the words around them.

mod common;

use common::Folder;
use serde_json::Value;

/// Three days of a vehicle with one rig, all of it measured.
const SMALL: &str = "session,target_m,turns,ticks,long_cm,right_cm,aim_right_cm,lead_turns,recoil_cm\n\
    A,6,26,4,4,3,-20,1.5,0\nA,7,31,1,-6,-2,-28,1.5,0\nA,8,35,10,5,6,-37,1.5,0\nA,9,40,2,2,-4,-46,1.5,0\n\
    B,6,26,4,9,1,-20,1.5,0\nB,7,31,1,-2,4,-28,1.5,0\nB,8,35,10,12,-3,-37,1.5,0\nB,9,40,2,7,2,-46,1.5,0\n\
    C,6,26,4,-9,-1,-20,1.5,0\nC,7,31,1,-5,5,-28,1.5,0\nC,8,35,10,-2,3,-37,1.5,0\nC,9,40,2,-12,-6,-46,1.5,0\n";

/// A fitted season: its folder, what `fit` said on the terminal, the rigs' names.
struct Fitted {
    folder: Folder,
    said: String,
    json: Value,
}

fn data(name: &str) -> Vec<u8> {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("data");
    std::fs::read(path.join(name)).expect("a file of data/")
}

fn fitted(log: &[u8], setup: &[u8]) -> Fitted {
    let folder = Folder::new();
    folder.write("season.csv", log);
    folder.write("setup.toml", setup);
    let ran = folder
        .run("fit season.csv --setup setup.toml --out out")
        .ended_with(0);
    let json = serde_json::from_str(&folder.text("out/calibration.json")).expect("JSON");
    Fitted {
        folder,
        said: ran.stdout,
        json,
    }
}

fn both() -> [Fitted; 2] {
    [
        fitted(&data("bramble.csv"), &data("bramble-setup.toml")),
        fitted(SMALL.as_bytes(), b"[dial]\nticks_per_turn = 20\n"),
    ]
}

/// The words of a page, with single spaces.
fn words(html: &str) -> String {
    let mut text = String::new();
    let mut rest = html;
    while let Some((before, tag)) = rest.split_once('<') {
        text += before;
        text.push(' ');
        rest = tag.split_once('>').map_or("", |(_, behind)| behind);
    }
    text += rest;
    let text = text.replace("&#x27;", "'").replace("&quot;", "\"");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The number that stands right behind the first occurrence of some words.
#[track_caller]
fn behind(text: &str, words: &str) -> f64 {
    let (_, rest) = text
        .split_once(words)
        .unwrap_or_else(|| panic!("no \"{words}\" in {text}"));
    let rest = rest.trim_start();
    let end = rest.find(|c: char| !c.is_ascii_digit() && !matches!(c, '.' | '-' | '−' | '+'));
    let digits = rest[..end.unwrap_or(rest.len())].replace('−', "-");
    digits
        .trim_end_matches('.')
        .parse()
        .unwrap_or_else(|_| panic!("no number behind \"{words}\": {rest:.40}"))
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

/// Rounded as it is shown.
fn shown(x: f64, decimals: i32) -> f64 {
    let unit = 10f64.powi(decimals);
    (x * unit).round() / unit
}

/// What is said of each rig: on the terminal, in the report, in the calibration.
fn of_rigs(fitted: &Fitted) -> Vec<(String, String, &Value)> {
    let rigs = fitted.json["rigs"].as_array().expect("rigs");
    let report = fitted.folder.text("out/report.html");
    let articles: Vec<String> = report.split("<article").skip(1).map(words).collect();
    let blocks: Vec<&str> = fitted.said.split("\n\n").collect();
    assert_eq!(articles.len(), rigs.len(), "an article for each rig");
    let each = rigs.iter().enumerate();
    each.map(|(i, rig)| (blocks[i].to_string(), articles[i].clone(), rig))
        .collect()
}

/// The flag that names a rig; none where there is only one, which has no name.
fn flag(rig: &Value) -> String {
    match rig["rig"].as_str() {
        Some("") | None => String::new(),
        Some(name) => format!(" --rig {name}"),
    }
}

#[test]
fn a_turn_the_roll_on_and_the_spreads_are_the_same_on_terminal_report_and_calibration() {
    for fitted in both() {
        for (said, report, rig) in of_rigs(&fitted) {
            let travel = &rig["travel"];
            let turn = behind(&said, "a turn carries it ");
            assert_eq!(turn, behind(&report, "One turn carries it "));
            assert_eq!(
                turn,
                shown(number(&travel["distance_per_turn_cm"]["estimate"]), 1)
            );
            let roll_on = behind(&said, "roll-on after the turns are used up: ");
            assert_eq!(
                roll_on,
                behind(&report, "after the turns are used up, is about ")
            );
            assert_eq!(
                roll_on,
                shown(number(&travel["overshoot_cm"]["estimate"]), 1)
            );
            let run = behind(&said, "differs by about ");
            assert_eq!(run, shown(number(&travel["run_to_run_cm"]["estimate"]), 1));
            let day = behind(&said, "from one run to the next, and ");
            assert_eq!(
                day,
                shown(number(&travel["between_sessions_cm"]["estimate"]), 1)
            );
            let at = behind(&said, "how far it goes at ");
            assert_eq!(at, shown(number(&travel["spread_at_m"]), 1));
        }
    }
}

#[test]
fn a_setting_is_the_same_in_fit_dial_report_and_table() {
    for fitted in both() {
        let table = fitted.folder.text("out/settings.csv");
        for (said, report, rig) in of_rigs(&fitted) {
            let lines: Vec<&str> = said.lines().filter(|l| l.contains(" m: ")).collect();
            assert_eq!(lines.len(), 3, "{said}");
            for line in &lines {
                let target = behind(line, "");
                let dial = format!("dial out --target {target}{}", flag(rig));
                let dialled = fitted.folder.run(&dial).ended_with(0);
                assert!(dialled.stdout.contains(line.trim()), "{line}\n{dialled}");
                let json = fitted
                    .folder
                    .run(&format!("{dial} --json"))
                    .ended_with(0)
                    .json();
                let setting = &json["settings"][0];
                let within = behind(line, "stops within ");
                // A promise is rounded up.
                let high = number(&setting["miss_cm"]["high"]);
                assert_eq!(within, (high - 1e-9).ceil(), "{line}");
                // Rig, build, trim, target, whole turns, ticks, turns, aim, lead, ..., miss.
                let name = rig["rig"].as_str().expect("a name");
                let row = table.lines().map(|l| l.split(',').collect::<Vec<_>>());
                let mut row = row.filter(|r| r[0] == name && r[3].parse() == Ok(target));
                let row = row
                    .next()
                    .unwrap_or_else(|| panic!("no row of {target}: {table}"));
                let cell = |i: usize| row[i].parse::<f64>().expect("a number");
                assert_eq!(cell(4), number(&setting["whole_turns"]));
                assert_eq!(cell(5), number(&setting["ticks"]));
                assert_eq!(cell(7), number(&setting["aim_right_cm"]));
                assert_eq!(cell(8), number(&setting["lead_turns"]));
                assert_eq!(cell(13).ceil(), within);
                assert_eq!(behind(line, ", lead "), cell(8));
                assert_eq!(behind(&report, "Brake lead "), cell(8));
            }
            let middle = behind(lines[1], "stops within ");
            assert_eq!(
                middle,
                behind(&report, "the first run of a new day stops within ")
            );
        }
    }
}

#[test]
fn the_heads_weakest_part_next_session_and_event_are_those_of_plan() {
    for fitted in both() {
        for (_, report, rig) in of_rigs(&fitted) {
            let event = behind(&report, "the better of 2 runs is within ");
            let plan = format!("plan out --within {event}{}", flag(rig));
            let said = fitted.folder.run(&plan).ended_with(0).stdout;
            let weakest = said
                .lines()
                .find(|l| l.starts_with("The largest part of a first run"))
                .expect("the weakest part");
            assert!(report.contains(weakest), "{weakest}\n{report}");
            let json = fitted
                .folder
                .run(&format!("{plan} --json"))
                .ended_with(0)
                .json();
            // Whole centimetres: half a one more or less moves the chance by some hundredths.
            let chance = number(&json["at_event"]["chance"]);
            assert!((chance - 0.9).abs() < 0.05, "{event} cm: {chance}");
            let next = said
                .lines()
                .filter(|l| l.starts_with("For ") && l.contains("in mixed order"))
                .find_map(|l| l.split_once(": "));
            let (targets, _) = next
                .expect("where to run")
                .1
                .split_once(", in mixed")
                .expect("targets");
            // Which of them to make with another lead is for the next sheet.
            let pieces = targets
                .split(" (")
                .map(|p| p.split_once(')').map_or(p, |(_, rest)| rest));
            let targets: String = pieces.collect();
            let hardly = report.contains("More runs would hardly change these settings");
            assert!(hardly || report.contains(&targets), "{targets}\n{report}");
        }
    }
}

/// Every sentence of an answer stands on the page that it wrote into a folder.
#[track_caller]
fn stands_on_its_page(said: &str, folder: &Folder, out: &str) {
    let names = folder.names();
    let is_page = |n: &&String| n.starts_with(&format!("{out}/")) && n.ends_with(".html");
    let page = names.iter().find(is_page).expect("a page");
    let page = words(&folder.text(page));
    let is_remark = |line: &&str| ["next", "note", "Page"].iter().any(|s| line.starts_with(s));
    for line in said.lines().filter(|line| !is_remark(line)) {
        for sentence in line.split_inclusive(". ") {
            assert!(page.contains(sentence.trim()), "{sentence}\n{page}");
        }
    }
}

#[test]
fn what_compare_says_is_on_its_page_and_in_its_json() {
    let [bramble, _] = both();
    let command = "compare season.csv --setup setup.toml --by wheels --a narrow --b wide --out cmp";
    let said = bramble.folder.run(command).ended_with(0).stdout;
    stands_on_its_page(&said, &bramble.folder, "cmp");
    let json = bramble
        .folder
        .run(&format!("{command} --json"))
        .ended_with(0)
        .json();
    let chance = behind(&said, "the chance that it lands nearer on average is ");
    assert_eq!(
        chance,
        shown(100.0 * number(&json["at_event"]["chance_b_better"]), 1)
    );
    let turn = behind(&said, "A turn carries wide ");
    let differs = number(&json["distance_per_turn_cm"]["difference"]["estimate"]);
    assert_eq!(turn, shown(differs.abs(), 1));
}

#[test]
fn what_review_says_is_on_its_page_and_in_its_json() {
    let [bramble, _] = both();
    bramble.folder.write("event.csv", data("bramble-event.csv"));
    let command = "review out event.csv --rig wide --out rev";
    let said = bramble.folder.run(command).ended_with(0).stdout;
    stands_on_its_page(&said, &bramble.folder, "rev");
    let json = bramble
        .folder
        .run(&format!("{command} --json"))
        .ended_with(0)
        .json();
    let came = behind(&said, "On average it came ");
    let exact = number(&json["shift_long_cm"]["estimate"]).abs();
    assert!(
        (came - exact).abs() <= 0.25 + 1e-9,
        "to the half centimetre: {came}, {exact}"
    );
    let inside = &json["inside"];
    assert_eq!(
        behind(&said, "for the settings used: "),
        number(&inside["long"]["inside"])
    );
}
