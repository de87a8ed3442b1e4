//! A log of many rigs: an index and a page a rig; a rig of very many runs: figures that draw what can be seen, and say so.

mod common;

use common::Folder;
use common::browser;
use common::devtools::Page;
use haltmark::simulate::{self, Truth};

/// A log of so many rigs, three sessions of six runs each.
fn log_of(rigs: usize) -> String {
    let mut log = String::new();
    for rig in 0..rigs {
        let mut truth = Truth {
            vehicle: format!("Car <{}>", rig / 2 + 1),
            wheels: format!("../w{}", rig % 2),
            ..Truth::default()
        };
        truth.season.sessions = 3;
        truth.season.runs_per_session = vec![6];
        let rows = simulate::season(&truth, 40 + rig as u64).to_csv();
        // One header for all of them.
        let skipped = if rig == 0 { 0 } else { header_lines(&rows) };
        for line in rows.lines().skip(skipped) {
            log += line;
            log += "\n";
        }
    }
    log
}

fn header_lines(csv: &str) -> usize {
    1 + csv.lines().take_while(|line| line.starts_with('#')).count()
}

fn fitted(rigs: usize) -> Folder {
    let folder = Folder::new();
    folder.write("s.csv", log_of(rigs));
    folder.run("fit s.csv --out out").ended_with(0);
    folder
}

fn names(folder: &Folder, below: &str) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder.path().join(below))
        .expect("a folder")
        .map(|entry| entry.expect("an entry").file_name())
        .map(|name| name.into_string().expect("a plain name"))
        .collect();
    names.sort();
    names
}

/// Rows of a rig: so many sessions of six runs, the setting the same all along or not.
fn plain_rows(vehicle: &str, sessions: i32, varied: bool) -> String {
    let runs = (0..sessions).flat_map(|session| (0..6).map(move |run| (session, run)));
    runs.map(|(session, run)| {
        let turns = if varied { 28 + 2 * run } else { 30 };
        let long = (7 * session + 5 * run) % 11;
        format!(
            "{session},{vehicle},7.5,{turns},{},{}\n",
            25 * (turns - 32) + long,
            run % 3
        )
    })
    .collect()
}

#[test]
fn rigs_that_cannot_be_fitted_leave_no_gap_and_every_page_says_so() {
    // One of many runs at one setting, one of too few runs; others before, between and behind.
    let head = "session,vehicle,target_m,turns,long_cm,right_cm\n";
    let refused = [
        plain_rows("Same", 8, false),
        "0,Lone,7.5,30,4,1\n".to_string(),
    ];
    let fitted = ["A", "B", "C", "D", "E", "F"].map(|name| plain_rows(name, 3, true));
    let folder = Folder::new();
    let [a, b, c, d, e, f] = &fitted;
    let [same, lone] = &refused;
    folder.write("all.csv", format!("{head}{a}{same}{b}{c}{lone}{d}{e}{f}"));
    folder.write("fitted.csv", format!("{head}{}", fitted.concat()));
    folder.run("fit all.csv --out all").ended_with(0);
    folder.run("fit fitted.csv --out fitted").ended_with(0);
    for below in ["", "figures"] {
        let of = |out: &str| names(&folder, &format!("{out}/{below}"));
        assert_eq!(of("all"), of("fitted"));
    }
    for (i, name) in ["A", "B", "C", "D", "E", "F"].iter().enumerate() {
        let page = |out: &str| folder.text(&format!("{out}/rig{}.html", i + 1));
        let (all, alone) = (page("all"), page("fitted"));
        assert!(all.contains(&format!("<h1>{name}</h1>")), "{all}");
        for what in ["Not fitted: Same&#x2f;:", "Not fitted: Lone&#x2f;:"] {
            assert!(
                all.contains(what) && !alone.contains(what),
                "{name}: {what}\n{all}"
            );
        }
        let figure = |out: &str| folder.text(&format!("{out}/figures/rig{}-travel.svg", i + 1));
        assert_eq!(figure("all"), figure("fitted"));
    }
    let json = folder.text("all/calibration.json");
    assert_eq!(json.matches("Not fitted: ").count(), 2);
}

/// Once in the results, on the terminal and at the head of a page of all rigs, and never among what holds for one rig.
#[test]
fn what_holds_for_the_whole_log_is_said_once() {
    let head = "session,vehicle,target_m,turns,long_cm,right_cm\n";
    let [a, b] = ["A", "B"].map(|name| plain_rows(name, 3, true));
    let folder = Folder::new();
    folder.write("s.csv", format!("{head}{a}0,Lone,7.5,30,4,1\n{b}"));
    let said = folder.run("fit s.csv --out out").ended_with(0).stdout;
    assert_eq!(said.matches("Not fitted: Lone/:").count(), 1, "{said}");
    let page = folder.text("out/report.html");
    let (at, first_rig) = (page.find("Not fitted: Lone"), page.find("<article"));
    assert!(at.is_some() && at < first_rig, "{page}");
    assert_eq!(page.matches("Not fitted: Lone").count(), 1);
    let json = folder
        .run("fit s.csv --out out --json")
        .ended_with(0)
        .stdout;
    let json: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    let warning = json["warnings"][0].as_str().expect("a sentence");
    assert!(warning.starts_with("Not fitted: Lone/:"), "{warning}");
    assert_eq!(json["warnings"].as_array().map(Vec::len), Some(1));
    for rig in json["rigs"].as_array().expect("a list") {
        assert!(!rig["warnings"].to_string().contains("Not fitted"), "{rig}");
    }
}

#[test]
fn four_rigs_stand_on_one_page_and_five_get_a_page_each() {
    let four = fitted(4);
    assert!(!names(&four, "out").contains(&"rig1.html".to_string()));
    let page = four.text("out/report.html");
    assert_eq!(page.matches("<article").count(), 4);
    assert!(page.contains("href=\"#rig4\""));

    let five = fitted(5);
    let expected = [
        "calibration.json",
        "card.html",
        "figures",
        "report.html",
        "rig1.html",
        "rig2.html",
        "rig3.html",
        "rig4.html",
        "rig5.html",
        "settings.csv",
    ];
    assert_eq!(names(&five, "out"), expected);
    let index = five.text("out/report.html");
    assert_eq!(index.matches("<article").count(), 0);
    let calibration: serde_json::Value =
        serde_json::from_str(&five.text("out/calibration.json")).expect("JSON");
    let card = five.text("out/card.html");
    for rig in 1..=5 {
        // The index, the page and the calibration name the same rig under the same number.
        let name = calibration["rigs"][rig - 1]["rig"]
            .as_str()
            .expect("a name");
        let shown = name
            .replace('<', "&lt;")
            .replace('>', "&gt;")
            .replace('/', "&#x2f;");
        assert!(
            index.contains(&format!("<a href=\"rig{rig}.html\">{shown}</a>")),
            "no way to {name}"
        );
        let page = five.text(&format!("out/rig{rig}.html"));
        assert!(page.contains(&format!("<h1>{shown}</h1>")), "{name}");
        assert!(page.contains("<a href=\"report.html\">") && page.contains("supervising adult"));
        assert_eq!(page.matches("<article").count(), 1);
        // The same figure on the page and as a file, and none of another rig.
        let figures = page.matches("<figure>").count();
        let own = format!("rig{rig}-");
        let files = names(&five, "out/figures");
        assert_eq!(
            files.iter().filter(|f| f.starts_with(&own)).count(),
            figures
        );
        // Nothing went wrong here, which is a sentence and no figure.
        assert!(figures >= 7, "{figures}");
        assert!(card.contains(&format!("{shown}: what to set")), "{name}");
    }
    let settings = five.text("out/settings.csv");
    let first: Vec<&str> = settings
        .lines()
        .skip(1)
        .filter_map(|l| l.split(',').next())
        .collect();
    assert!(
        first.is_sorted_by(|a, b| a <= b),
        "rigs in order: {first:?}"
    );
    // With one thread the same bytes.
    let text = five.text("out/rig3.html");
    assert_cmd::cargo::cargo_bin_cmd!("haltmark")
        .args(["fit", "s.csv", "--out", "out"])
        .current_dir(five.path())
        .env("RAYON_NUM_THREADS", "1")
        .assert()
        .success();
    assert_eq!(five.text("out/rig3.html"), text);
    assert_eq!(five.text("out/report.html"), index);
    assert_eq!(five.text("out/settings.csv"), settings);
    assert_eq!(five.text("out/card.html"), card);
}

#[test]
fn a_figure_of_very_many_runs_draws_what_can_be_seen_and_says_so() {
    let season = |runs_per_session: usize| {
        let mut truth = Truth::default();
        truth.season.sessions = 20;
        truth.season.runs_per_session = vec![runs_per_session];
        let folder = Folder::new();
        folder.write("s.csv", simulate::season(&truth, 8).to_csv());
        folder.run("fit s.csv --out out").ended_with(0);
        folder
    };
    let (few, many) = (season(10), season(120));
    for name in ["travel", "bias", "left-out"] {
        let file = format!("out/figures/{name}.svg");
        let (few, many) = (few.text(&file), many.text(&file));
        assert!(!few.contains("too many to draw each"), "{name}");
        // Of a rig with more, 150 runs of the sessions left out are counted, and each of those is drawn.
        let all_drawn = name == "left-out";
        assert_eq!(many.contains("too many to draw each"), !all_drawn, "{name}");
        // A dot is a line of no length with round ends; twelve times the runs, but not of the bytes.
        let marks = many.matches("h0").count();
        assert!(
            (40..2000).contains(&marks),
            "{name}: {marks} marks for 2400 runs"
        );
        assert!(
            many.len() < 25_000,
            "{name}: {} bytes for what a screen shows",
            many.len()
        );
    }
    assert!(
        many.text("out/report.html")
            .contains("too many to draw each")
    );
}

/// Through Debian's Chromium: index and page fit a phone and a sheet of paper, links lead where they should, and what is
/// on the page is as dark as the theme asks.
#[test]
fn a_browser_finds_its_way_from_the_index_to_a_rig_and_back() {
    if browser::find().is_none() {
        return;
    }
    let folder = fitted(6);
    let mut page = Page::start().expect("a browser was found");
    for (name, links) in [("report.html", 6), ("rig5.html", 0)] {
        page.open(&folder.path().join("out").join(name));
        assert_eq!(page.said, Vec::<String>::new(), "said on the console");
        for width in [390, 700, 1200] {
            page.call(
                "Emulation.setDeviceMetricsOverride",
                serde_json::json!({"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": true}),
            );
            let wide = page.value(
                "document.documentElement.scrollWidth - document.documentElement.clientWidth",
            );
            assert_eq!(wide, 0, "{name} scrolls sideways at {width}");
        }
        let found = page.value("document.querySelectorAll('tbody a').length");
        assert_eq!(found, links, "{name}");
        // Figures come from their files, and each is said in words.
        let unseen = page.value(
            "Promise.all([...document.querySelectorAll('figure img')].map(i => i.decode().then(() => i.alt ? '' : i.src, () => i.src))).then(said => said.filter(s => s))",
        );
        assert_eq!(unseen, serde_json::json!([]), "{name}");
    }
    page.open(&folder.path().join("out/report.html"));
    let leads_to = page.value(
        "[...document.querySelectorAll('a')].map(a => new URL(a.href).pathname.split('/').pop())",
    );
    let mut files = names(&folder, "out");
    files.retain(|name| name.ends_with(".html") && name != "report.html");
    let mut leads_to: Vec<String> = serde_json::from_value(leads_to).expect("names");
    leads_to.sort();
    assert_eq!(leads_to, files);
}
