//! The report: its files, what is in the page, and how a browser shows it.

mod common;

use common::Folder;
use common::browser;
use common::devtools::{PAPERS, Page};
use haltmark::simulate::{self, Truth};

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// The example season, fitted in a folder of its own.
fn example() -> Folder {
    let folder = Folder::new();
    for name in ["bramble.csv", "bramble-setup.toml"] {
        let bytes = std::fs::read(format!("{ROOT}/data/{name}")).expect("the example data");
        folder.write(&format!("data/{name}"), bytes);
    }
    folder
        .run("fit data/bramble.csv --setup data/bramble-setup.toml")
        .ended_with(0);
    folder
}

fn files_below(path: &std::path::Path) -> Vec<String> {
    let mut names = Vec::new();
    let mut open = vec![path.to_path_buf()];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(&folder).expect("a folder") {
            let at = entry.expect("an entry").path();
            if at.is_dir() {
                open.push(at);
            } else {
                let name = at.strip_prefix(path).expect("below the folder");
                names.push(name.to_str().expect("a plain name").to_string());
            }
        }
    }
    names.sort();
    names
}

/// `reports/bramble` is what the README's first command writes: make it again with that command.
#[test]
fn the_example_report_is_what_the_program_writes_today() {
    let folder = example();
    let (ours, kept) = (
        folder.path().join("reports/bramble"),
        format!("{ROOT}/reports/bramble"),
    );
    let names = files_below(&ours);
    assert_eq!(
        names,
        files_below(std::path::Path::new(&kept)),
        "other files"
    );
    for name in names {
        let written = std::fs::read(ours.join(&name)).expect("a file");
        let committed = std::fs::read(format!("{kept}/{name}")).expect("a file");
        assert!(
            written == committed,
            "reports/bramble/{name} is not what fit writes today"
        );
    }
}

/// Rooms of the page in the order in which a reader needs them.
#[test]
fn the_page_goes_from_what_to_set_to_why() {
    let page = example().text("reports/bramble/report.html");
    let order = [
        "what to set",
        "Before every run",
        "On the day, with paper only",
        "How far from the target it stops",
        "How sure this is",
        "Why: what the log says",
        "What went wrong",
        "What to look at next",
        "The season’s story",
    ];
    let places: Vec<usize> = order
        .iter()
        .map(|w| {
            page.find(w)
                .unwrap_or_else(|| panic!("no \"{w}\" in the page"))
        })
        .collect();
    assert!(places.is_sorted(), "{places:?}");
    // Self-contained: nothing is fetched, nothing runs.
    for outside in [
        "<script", "<link", "src=", "url(", "@import", "http://", "https://",
    ] {
        let allowed = page.matches("http://www.w3.org/2000/svg").count();
        let found = page.matches(outside).count() - if outside == "http://" { allowed } else { 0 };
        assert_eq!(found, 0, "{outside} in the page");
    }
    assert!(page.contains("Roll-on is not the same as long"));
    assert!(page.contains("<a href=\"card.html\">"));
    assert!(page.contains("The largest part of a first run’s miss is"));
    assert!(page.contains("supervising adult") && page.contains("rule book"));
    assert!(
        page.contains("bramble.csv, line 95"),
        "the run that was set aside is not named"
    );
}

#[test]
fn every_target_has_a_row_of_settings() {
    let csv = example().text("reports/bramble/settings.csv");
    let mut lines = csv.lines();
    assert_eq!(
        lines.next(),
        Some(
            "rig,build,trim,target_m,whole_turns,ticks,turns,aim_right_cm,lead_turns,long_low_cm,long_high_cm,right_low_cm,right_high_cm,miss_high_cm,gap_low_cm,touch_chance,warning,aim_cm,aim_side,ticks_per_turn,units"
        )
    );
    // 6.5 to 10.5 m by 0.1 m for two rigs.
    assert_eq!(lines.count(), 2 * 41);
    let mut table = csv::Reader::from_reader(csv.as_bytes());
    for row in table.records() {
        let row = row.expect("a row as long as the header");
        // Bramble is aimed to the left at every distance; the mark stands on whole centimetres.
        let aim: f64 = row[7].parse().expect("a number");
        assert_eq!((row[17].parse(), &row[18]), (Ok(-aim), "left"), "{row:?}");
        assert_eq!(&row[19], "20");
        assert!(
            row[20].contains("cm") && row[20].contains("+ past the target"),
            "{row:?}"
        );
    }
}

/// From 5.5 to 9.0 m by 0.1 m the mean of the ends, 7.25 m, cannot be announced, and 7.2 and 7.3 m are as near.
#[test]
fn figures_rows_and_advice_mean_the_same_middle_target() {
    let folder = Folder::new();
    folder.write("s.csv", simulate::season(&Truth::default(), 5).to_csv());
    folder.write(
        "setup.toml",
        "[event]\nshortest_m = 5.5\nlongest_m = 9.0\nstep_m = 0.1\n",
    );
    let ran = folder
        .run("fit s.csv --setup setup.toml --out out")
        .ended_with(0);
    assert!(ran.stdout.contains("  7.20 m: "), "{ran}");
    for figure in ["rest", "floor", "parts"] {
        let drawn = folder.text(&format!("out/figures/{figure}.svg"));
        assert!(drawn.contains("7.20 m"), "{figure}: {drawn}");
    }
    let page = folder.text("out/report.html");
    for row in ["7.20 m", "bias at 7.20 m"] {
        assert!(
            page.contains(&format!("<th scope=\"row\">{row}</th>")),
            "{row}"
        );
    }
    assert!(!page.contains("7.25 m") && !page.contains("7.30 m<"));
    let bias = folder.text("out/calibration.json");
    assert!(bias.contains("\"distance_m\": 7.2,"));
}

#[test]
fn labels_never_become_markup_or_file_names() {
    let mut truth = Truth {
        vehicle: "<script>alert(1)</script>".to_string(),
        ..Truth::default()
    };
    truth.wheels = "../../up & \"over\"".to_string();
    truth.season.sessions = 4;
    truth.season.session_labels = vec!["<img src=x>".to_string(), "=1+1".to_string()];
    let folder = Folder::new();
    folder.write("s.csv", simulate::season(&truth, 3).to_csv());
    folder.run("fit s.csv --out out").ended_with(0);
    let page = folder.text("out/report.html");
    assert!(!page.contains("<script>alert") && !page.contains("<img src"));
    assert!(page.contains("&lt;script&gt;alert"));
    let names = files_below(folder.path());
    assert!(
        names
            .iter()
            .all(|n| !n.contains("up") && !n.contains("alert")),
        "{names:?}"
    );
}

/// A short log, one session, nothing across: the page is still made.
#[test]
fn a_short_log_still_gets_its_page() {
    let folder = Folder::new();
    folder.write(
        "s.csv",
        "session,target_m,turns,long_cm\n1,8,34,10\n,7,30,-5\n,9,38,3\n",
    );
    folder.run("fit s.csv --out out").ended_with(0);
    let page = folder.text("out/report.html");
    assert!(page.contains("write right_cm") && page.contains("one session"));
    // What is not data is said to be a guess.
    assert!(page.contains("how much days differ is a guess made beforehand"));
}

/// Through Debian's Chromium: figures are named and nothing scrolls sideways on a phone.
#[test]
fn a_browser_shows_the_page_as_meant() {
    let Some(browser) = browser::find() else {
        return;
    };
    let folder = example();
    let page = folder.text("reports/bramble/report.html");
    let figures = page.matches("<figure>").count();
    assert!(figures >= 18, "{figures}");
    assert_eq!(
        page.matches("role=\"img\" aria-labelledby").count(),
        figures
    );
    // The page inside a frame as wide as a phone; a script of the test's own measures it from outside.
    let escaped = page.replace('&', "&amp;").replace('"', "&quot;");
    let outer = format!(
        "<!doctype html><body style='margin:0'><iframe id=f width=390 height=800 srcdoc=\"{escaped}\"></iframe><pre id=out></pre><script>f.onload=()=>{{const d=f.contentDocument;const wide=d.documentElement.scrollWidth-d.documentElement.clientWidth;let cut=[];for(const s of d.querySelectorAll('svg.figure')){{const b=s.getBoundingClientRect();for(const t of s.querySelectorAll('text')){{const r=t.getBoundingClientRect();if(r.left<b.left-1||r.right>b.right+1||r.top<b.top-1||r.bottom>b.bottom+1)cut.push(t.textContent)}}}};out.textContent='wide='+wide+' cut='+JSON.stringify(cut)}}</script>"
    );
    let outer = folder.write("outer.html", outer);
    let dom = browser.dump(&outer);
    let said = dom
        .split("<pre id=\"out\">")
        .nth(1)
        .and_then(|s| s.split("</pre>").next())
        .unwrap_or("");
    assert!(
        said.contains("wide=0 "),
        "sideways scrolling or no answer: {said}"
    );
    assert!(said.ends_with("cut=[]"), "text outside its figure: {said}");
    // Every figure of its own, read by the browser's own XML parser.
    let mut figures = Vec::new();
    for name in files_below(&folder.path().join("reports/bramble/figures")) {
        figures.push((
            name.clone(),
            folder.text(&format!("reports/bramble/figures/{name}")),
        ));
    }
    assert!(figures.len() >= 18, "{}", figures.len());
    let listed = serde_json::to_string(&figures).expect("text is JSON");
    let mut page = Page::start().expect("a browser was found");
    let broken = page.value(&format!(
        "{listed}.filter(([, text]) => {{ const d = new DOMParser().parseFromString(text, 'image/svg+xml'); return d.querySelector('parsererror') || d.documentElement.localName !== 'svg' || !d.querySelector('title').textContent || !d.querySelector('desc').textContent; }}).map(([name]) => name)"
    ));
    assert_eq!(broken, serde_json::json!([]), "not a drawing with a name");
    page.open(&folder.path().join("reports/bramble/report.html"));
    assert_eq!(page.said, Vec::<String>::new(), "said on the console");
}

/// A table of many targets, with every column, on paper: three blocks beside each other, no number beyond the edge, at the size
/// of any other.
#[test]
fn many_targets_print_uncut() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let folder = Folder::new();
    folder.write("s.csv", include_str!("../data/bramble.csv"));
    let setup = include_str!("../data/bramble-setup.toml");
    let event = setup.find("[event]").expect("its range");
    let after = setup[event + 1..]
        .find("\n[")
        .map_or(setup.len(), |at| event + 1 + at);
    let setup = format!("{}{}", &setup[..event], &setup[after..]);
    for (step_m, wanted) in [(0.05, 3), (0.02, 7)] {
        folder.write(
            "s.toml",
            format!("{setup}\n[event]\nshortest_m = 6.0\nlongest_m = 10.5\nstep_m = {step_m}\n"),
        );
        folder
            .run("fit s.csv --setup s.toml --out out")
            .ended_with(0);
        page.open(&folder.path().join("out/report.html"));
        let print = serde_json::json!({"media": "print"});
        page.call("Emulation.setEmulatedMedia", print);
        for (paper, (width_in, _)) in PAPERS {
            let width = (96.0 * (width_in - 24.0 / 25.4)).floor();
            page.call(
                "Emulation.setDeviceMetricsOverride",
                serde_json::json!({"width": width, "height": 1000, "deviceScaleFactor": 1, "mobile": false}),
            );
            let found = page.value(
                "[...document.querySelectorAll('.blocks')].map(blocks => {
                    const edge = blocks.getBoundingClientRect().right + 0.5;
                    const cut = [...blocks.querySelectorAll('th, td')].filter(cell => {
                        const words = document.createRange();
                        words.selectNodeContents(cell);
                        return words.getBoundingClientRect().right > edge;
                    });
                    return [blocks.children.length, cut.length];
                })",
            );
            assert_eq!(
                found,
                serde_json::json!([[wanted, 0], [wanted, 0]]),
                "{step_m} m on {paper}"
            );
            let wide = page.value(
                "document.documentElement.scrollWidth - document.documentElement.clientWidth",
            );
            assert_eq!(wide, 0, "{step_m} m, wider than {paper}");
        }
    }
}

/// What is printed has log, days and rig above every sheet and the cautions below it, and the settings of a rig with
/// what to do on paper end on the sheet that they begin on.
#[test]
fn settings_print_on_one_sheet_and_every_sheet_says_whose_it_is() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let folder = example();
    page.open(&folder.path().join("reports/bramble/report.html"));
    let print = serde_json::json!({"media": "print"});
    page.call("Emulation.setEmulatedMedia", print);
    // Paper less the margins of the style sheet (12 mm beside, 9 mm above and below), at 96 pixels an inch.
    let pixels = |inches: f64, margins_mm: f64| (96.0 * (inches - margins_mm / 25.4)).floor();
    for (paper, (width_in, height_in)) in PAPERS {
        let (width, height) = (pixels(width_in, 24.0), pixels(height_in, 18.0));
        page.call(
            "Emulation.setDeviceMetricsOverride",
            serde_json::json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false}),
        );
        // A head and a foot of a table come back on every sheet; the page's title stands above the first rig's.
        let rigs = page.value(
            "[...document.querySelectorAll('article')].map((rig, i) => {
                const all = e => rig.querySelector(e), display = e => getComputedStyle(all(e)).display;
                const from = i ? rig.getBoundingClientRect().top : -scrollY;
                return {
                    above: all('.running').textContent, below: all('.cautions').innerText,
                    repeated: [display('.running'), display('.cautions')],
                    needs: all('.paper').getBoundingClientRect().bottom - from + all('.cautions').offsetHeight};
            })",
        );
        let rigs = rigs.as_array().expect("a list");
        assert_eq!(rigs.len(), 2, "a table for each rig");
        for (rig, (name, first)) in rigs.iter().zip([
            ("Bramble/narrow", "2024-11-09"),
            ("Bramble/wide", "2024-11-30"),
        ]) {
            let above = format!("{name} – data/bramble.csv, {first} to 2025-02-22");
            assert_eq!(rig["above"], above);
            let below = rig["below"].as_str().expect("cautions");
            assert!(below.contains("Keep clear below the mass"), "{below}");
            assert_eq!(
                rig["repeated"],
                serde_json::json!(["table-header-group", "table-footer-group"])
            );
            let needs = rig["needs"].as_f64().expect("a height");
            assert!(
                needs > 300.0 && needs <= height,
                "{name} needs {needs} of {height} on {paper}"
            );
        }
        let wide = page
            .value("document.documentElement.scrollWidth - document.documentElement.clientWidth");
        assert_eq!(wide, 0, "wider than {paper}");
        // The tick of the tape down the side must not look like a minus before the target, nor a sign stand in the line above.
        let struck = page.value(
            "[...document.querySelectorAll('.settings tbody th, .paper tbody th')].filter(th => {
                const words = document.createRange();
                words.selectNodeContents(th);
                const tick = parseFloat(getComputedStyle(th).backgroundSize), box = th.getBoundingClientRect();
                const sign = th.querySelector('sup'), top = sign ? sign.getBoundingClientRect().top : box.top;
                return !(tick > 0) || words.getBoundingClientRect().left < box.left + 2 + tick || top < box.top - 1;
            }).map(th => th.textContent)",
        );
        assert_eq!(struck, serde_json::json!([]), "on {paper}");
        let rigs = page.value(
            "[...document.querySelectorAll('.rigs tbody tr')].filter(row => row.checkVisibility()).map(row => row.cells[0].textContent)",
        );
        assert_eq!(
            rigs,
            serde_json::json!(["Bramble/narrow", "Bramble/wide"]),
            "side by side on {paper}"
        );
    }
}

/// On A4 and on Letter a plan, a review and a comparison each print on one sheet, the report on three a rig and one.
#[test]
fn pages_print_on_as_few_sheets_as_they_need() {
    let Some(mut browser) = Page::start() else {
        return;
    };
    let folder = example();
    let event = std::fs::read(format!("{ROOT}/data/bramble-event.csv")).expect("the example data");
    folder.write("data/bramble-event.csv", event);
    // Three sheets a rig, none with a few lines left over, and the season's story on one to hang up.
    browser.open(&folder.path().join("reports/bramble/report.html"));
    for (paper, size_in) in PAPERS {
        assert_eq!(browser.printed(size_in).0, 7, "report on {paper}");
    }
    let calibration = "reports/bramble/calibration.json";
    for (name, command) in [
        (
            "plan",
            format!("plan {calibration} --rig Bramble/narrow --within 20"),
        ),
        (
            "review",
            format!("review {calibration} data/bramble-event.csv"),
        ),
        (
            "compare",
            "compare data/bramble.csv --setup data/bramble-setup.toml --by wheels --a narrow --b wide"
                .to_string(),
        ),
    ] {
        folder.run(&format!("{command} --out out")).ended_with(0);
        browser.open(&folder.path().join(format!("out/{name}.html")));
        for (paper, size_in) in PAPERS {
            assert_eq!(browser.printed(size_in).0, 1, "{name} on {paper}");
        }
    }
}

/// Every answer says in its head, in its title and above every printed sheet which log it was made from, the days of the log's
/// first and last run, and the rig.
#[test]
fn answers_say_log_days_and_rig() {
    let Some(mut browser) = Page::start() else {
        return;
    };
    let folder = example();
    let event = std::fs::read(format!("{ROOT}/data/bramble-event.csv")).expect("the example data");
    folder.write("data/bramble-event.csv", event);
    let calibration = "reports/bramble/calibration.json";
    let season = "data/bramble.csv, 2024-11-09 to 2025-02-22";
    for (page, command, said) in [
        (
            "out/plan.html",
            format!("plan {calibration} --rig narrow --within 20 --out out"),
            vec!["Bramble/narrow", season],
        ),
        (
            "out/review.html",
            format!("review {calibration} data/bramble-event.csv --out out"),
            vec!["Bramble/", "data/bramble-event.csv, 2025", "data/bramble.csv, 2024-11"],
        ),
        (
            "out/compare.html",
            "compare data/bramble.csv --setup data/bramble-setup.toml --by wheels --a narrow --b wide --out out"
                .to_string(),
            vec!["Bramble", season, "narrow or wide"],
        ),
        (
            "sheet.html",
            format!("sheet {calibration} --rig narrow --out sheet.html"),
            vec!["Bramble/narrow", season],
        ),
    ] {
        folder.run(&command).ended_with(0);
        browser.open(&folder.path().join(page));
        let head = "[...document.querySelectorAll('header, h2')].map(e => e.textContent).join(' ')";
        let places = [
            ("title", browser.value("document.title")),
            ("head", browser.value(head)),
            ("above every sheet", browser.value("document.querySelector('.running').textContent")),
        ];
        for (place, text) in places {
            let text = text.as_str().expect("a text");
            for word in &said {
                assert!(text.contains(word), "no {word} in the {place} of {page}: {text}");
            }
        }
        browser.call("Emulation.setEmulatedMedia", serde_json::json!({"media": "print"}));
        let repeated = browser.value("getComputedStyle(document.querySelector('.running')).display");
        assert_eq!(repeated, "table-header-group", "{page}");
        browser.call("Emulation.setEmulatedMedia", serde_json::json!({"media": ""}));
    }
}

/// With a pencil one must know what is corrected and off which setting, and that the phone knows better of a big miss; a sheet
/// says whose it is.
#[test]
fn paper_says_off_which_setting_a_run_is_corrected() {
    let folder = example();
    for name in ["report.html", "card.html"] {
        let page = folder.text(&format!("reports/bramble/{name}"));
        for said in [
            "a share of its own miss",
            "Count from the setting that the run was made at, not from the printed one.",
            "Of a big miss paper takes less off than card.html and haltmark correct",
            "After a run that rolled back",
        ] {
            assert_eq!(
                page.matches(said).count(),
                2,
                "{said} in {name}, for each rig"
            );
        }
    }
    let card = folder.text("reports/bramble/card.html");
    let sheet = card
        .split("<section class=\"sheet")
        .nth(1)
        .expect("a sheet");
    assert!(sheet.contains("bramble.csv, 2024-11-09 to 2025-02-22"));
    assert!(
        sheet.contains("roll back with it.") || sheet.contains("no roll-back was seen with it.")
    );
    assert!(sheet.contains("The tightest pass of the obstacle is at "));
}

/// Two days that are as alike as two days can be: what is said of them, and the bar that predictions carry.
#[test]
fn where_no_difference_between_days_was_seen_the_bar_is_explained() {
    let day = ",6,25,4,3\n,7,29,-6,-2\n,8,33,5,6\n,9,37.5,2,-4\n";
    let log = format!("session,target_m,turns,long_cm,right_cm\n1{day}2{day}");
    let (folder, calibration) = common::fitted(&log, "");
    assert_eq!(calibration.rigs[0].travel.between_sessions_m.estimate, 0.0);
    let page = folder.text("out/report.html");
    let said = "No difference between days was seen along, but up to ";
    let carried = page
        .split(said)
        .nth(1)
        .and_then(|p| p.split("predictions reckon with ").nth(1));
    let carried = carried
        .and_then(|c| c.split(" cm").next())
        .expect("a number");
    let bars = folder.text("out/figures/parts.svg");
    assert!(bars.contains(&format!(">{carried} cm<")), "{carried}");
    assert!(folder.text("out/figures/sessions.svg").contains("none was"));
}

/// Where aim marks stand beside the target because touches cost, no figure says that the aim cannot clear the obstacle, or
/// that the mark stands where the mean of a run would be on the target.
#[test]
fn figures_know_of_settings_that_aim_beside_the_target_on_purpose() {
    let folder = Folder::new();
    folder.write("s.csv", include_str!("../data/bramble.csv"));
    let setup =
        include_str!("../data/bramble-setup.toml").replace("right_cm = 17", "right_cm = 12");
    let said = |score: &str| {
        folder.write(
            "s.toml",
            format!("{setup}\n[score]\nmeasure = \"line\"\n{score}"),
        );
        folder
            .run("fit s.csv --setup s.toml --out out")
            .ended_with(0);
        folder.text("out/report.html")
    };
    let (cannot, aside) = (
        "Moving the aim mark cannot do that",
        "the settings aim beside the target on purpose to clear it",
    );
    let changed = "the settings of the table aim beside it on purpose";
    let plain = said("");
    assert!(plain.contains(cannot));
    assert!(!plain.contains(aside) && !plain.contains(changed));
    let priced = said("touch_penalty = 50\n");
    assert!(!priced.contains(cannot));
    assert!(priced.contains(aside) && priced.contains(changed));
}
