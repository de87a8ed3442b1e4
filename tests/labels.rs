//! What stands in a log never becomes markup, script, formula or a path: labels made to break out, through every file
//! that is written, looked at in a browser.

mod common;

use std::collections::BTreeSet;

use common::Folder;
use common::devtools::Page;

/// Labels that would do harm where they were not escaped. Each tries to set `window.ran`.
const HOSTILE: [&str; 12] = [
    "<script>window.ran=1;document.title='ran'</script>",
    "</script><script>window.ran=1</script>",
    "</title></style></textarea><img src=x onerror=\"window.ran=1\">",
    "\" onload=\"window.ran=1\" x='",
    "]]></text><script>window.ran=1</script>",
    "{{ 7*7 }}${7*7}<!-- &lt;script&gt; --!>",
    "=1+1",
    "+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(A1:A9)",
    "../../x\\..\\y/etc",
    "\u{202e}\u{200f}right to left \u{1f980} tab\tline\nbreak",
];

/// A cell of a log, as a program would write it.
fn quoted(label: &str) -> String {
    format!("\"{}\"", label.replace('"', "\"\""))
}

/// A season of one rig with this label in every column of labels and in the note.
fn log(label: &str) -> String {
    let mut text = "session,vehicle,wheels,build,trim,floor,target_m,turns,long_cm,right_cm,aim_right_cm,lead_turns,note\n".to_string();
    for session in 0..4 {
        for run in 0..5 {
            let cell = quoted(label);
            let target = 6.0 + 0.5 * f64::from((3 * run + session) % 5);
            let off = |k: i32| (7 * run + 5 * session + k) % 11 - 5;
            text += &format!(
                "{},{cell},{cell},{cell},{cell},{cell},{target},{},{},{},-18,{},{cell}\n",
                quoted(&format!("{label}{session}")),
                (target - 0.3) / 0.22,
                2 * off(0),
                off(3),
                1.0 + 0.5 * f64::from(run % 2),
            );
        }
    }
    text
}

/// Everything that writes a file from labels.
fn written(label: &str) -> Folder {
    let folder = Folder::new();
    folder.write("runs.csv", log(label));
    folder.run("fit runs.csv --out out").ended_with(0);
    folder
        .run("sheet out/calibration.json --out out/sheet.html")
        .ended_with(0);
    folder
        .run("review out/calibration.json runs.csv --out review")
        .ended_with(0);
    folder
        .run("plan out/calibration.json --within 15 --sessions 1 --runs 4 --out plan")
        .ended_with(0);
    folder
}

/// Kinds of elements and attributes of the open page. Code would bring others than a plain label does.
const KINDS: &str = "[...new Set([...document.querySelectorAll('*')].flatMap(e => \
                     [e.localName, ...e.getAttributeNames().map(a => e.localName + ' ' + a)]))].sort().join()";

#[test]
fn labels_stay_text_in_every_page() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let pages = [
        "out/report.html",
        "out/card.html",
        "out/sheet.html",
        "review/review.html",
        "plan/plan.html",
    ];
    let plain = written("plain");
    let kinds = |page: &mut Page, folder: &Folder, name: &str| {
        page.open(&folder.path().join(name));
        let kinds = page.value(KINDS);
        kinds.as_str().expect("a text").to_string()
    };
    let known: Vec<String> = pages
        .iter()
        .map(|name| kinds(&mut page, &plain, name))
        .collect();
    for label in HOSTILE {
        let folder = written(label);
        for (name, known) in pages.iter().zip(&known) {
            let known: BTreeSet<&str> = known.split(',').collect();
            let found = kinds(&mut page, &folder, name);
            // A long label may have a class of its own.
            let is_new = |kind: &&str| !known.contains(kind) && !kind.ends_with(" class");
            let new: Vec<&str> = found.split(',').filter(is_new).collect();
            assert!(new.is_empty(), "{name} with {label:?}: {new:?}");
            assert!(
                page.value("window.ran === undefined")
                    .as_bool()
                    .expect("an answer"),
                "{name} with {label:?}"
            );
            // The rig's name may stand in it as text; a script would have made it this one word.
            assert_ne!(page.value("document.title"), "ran");
            // It is there as text, in the form people read.
            let text = page.value("document.documentElement.textContent");
            let word = label
                .split(|c: char| !c.is_ascii_alphanumeric())
                .max_by_key(|w| w.len());
            assert!(
                text.as_str()
                    .expect("a text")
                    .contains(word.expect("a word")),
                "{name} with {label:?}"
            );
        }
        assert!(page.said.is_empty(), "{label:?}: {:?}", page.said);
    }
}

#[test]
fn labels_stay_text_in_tables_figures_and_names_of_files() {
    let names: BTreeSet<String> = written("plain").names().into_iter().collect();
    for label in HOSTILE {
        let folder = written(label);
        let here: BTreeSet<String> = folder.names().into_iter().collect();
        assert_eq!(here, names, "{label:?}");
        assert!(!folder.path().parent().expect("a folder").join("x").exists());
        for name in here.iter().filter(|name| name.ends_with(".svg")) {
            let figure = folder.text(name);
            let mut reader = quick_xml::Reader::from_str(&figure);
            loop {
                use quick_xml::events::Event;
                match reader.read_event() {
                    Ok(Event::Start(e) | Event::Empty(e)) => {
                        let tag: &[u8] = e.name().into_inner().as_ref();
                        assert!(
                            !matches!(tag, b"script" | b"foreignObject" | b"img" | b"a"),
                            "{name} with {label:?}"
                        );
                        for attribute in e.attributes() {
                            let attribute = attribute.expect("an attribute");
                            let key: &[u8] = attribute.key.into_inner().as_ref();
                            assert!(!key.starts_with(b"on"), "{name} with {label:?}");
                        }
                    }
                    Ok(Event::Eof) => break,
                    Ok(_) => {}
                    Err(error) => panic!("{name} with {label:?}: {error}"),
                }
            }
        }
        let mut table =
            csv::Reader::from_path(folder.path().join("out/settings.csv")).expect("a table");
        let mut rows = 0;
        for row in table.records() {
            let row = row.expect("a row as long as the header");
            rows += 1;
            for cell in row.iter() {
                let is_number = cell.parse::<f64>().is_ok();
                assert!(
                    is_number || !cell.trim_start().starts_with(['=', '+', '-', '@']),
                    "{cell:?} with {label:?}"
                );
            }
        }
        assert!(rows > 10, "{rows}");
        let file: serde_json::Value =
            serde_json::from_str(&folder.text("out/calibration.json")).expect("JSON");
        let kept = file["rigs"][0]["vehicle"].as_str().expect("a label");
        assert_eq!(kept, label.trim());
    }
}

#[test]
fn a_log_with_a_zero_byte_is_no_text() {
    let folder = Folder::new();
    folder.write("runs.csv", log("a\u{0}b"));
    let ran = folder.run("fit runs.csv --out out").ended_with(2);
    assert!(ran.stderr.contains("not a text file"), "{ran}");
}

/// What a terminal would obey is not printed to it, whatever the command.
#[test]
fn labels_do_not_write_on_the_terminal() {
    let folder = Folder::new();
    let label = "\u{1b}[31m\u{7}\u{9b}31m\u{202e}x";
    folder.write("runs.csv", log(label));
    for command in [
        "check runs.csv",
        "fit runs.csv --out out",
        "dial out/calibration.json --target 8 --rig none",
        "dial out/calibration.json --target 8",
        "review out/calibration.json runs.csv",
        "compare runs.csv --by wheels --a none --b other",
    ] {
        let ran = folder.run(command);
        for said in [&ran.stdout, &ran.stderr] {
            assert!(
                !said.contains(|c: char| (c.is_control() && c != '\n') || c == '\u{202e}'),
                "{command}: {said:?}"
            );
        }
    }
}
