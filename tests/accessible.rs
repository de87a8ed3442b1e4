//! Every page under the rules of axe-core (WCAG 2.2 A and AA, best practices): in both themes, as wide as a desk's screen
//! and a small phone's, with its folds open; the card empty and filled.

mod common;

use common::Folder;
use common::devtools::Page;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// The rules, as npm has them.
const AXE: &str = include_str!("axe/axe.min.js");

/// What the open page violates: the rule, and the first element that does.
const VIOLATIONS: &str = "axe.run(document, {resultTypes: ['violations']}).then(found =>
    [found.passes.length, found.violations.map(v => `${v.id}: ${v.nodes.length} such, as ${v.nodes[0].html.slice(0, 160)}`)])";

const OPEN_FOLDS: &str = "document.querySelectorAll('details').forEach(fold => fold.open = true)";

/// The example, many rigs, and the answers about them.
fn every_page(folder: &Folder) -> Vec<PathBuf> {
    for name in ["bramble.csv", "bramble-setup.toml", "bramble-event.csv"] {
        let bytes = std::fs::read(format!("{ROOT}/data/{name}")).expect("the example data");
        folder.write(name, bytes);
    }
    let rows = folder.text("bramble.csv");
    let fleet: String = rows
        .lines()
        .filter(|line| !line.starts_with('#'))
        .flat_map(|line| ["Bramble", "Heron", "Teasel"].map(|name| line.replace("Bramble", name)))
        .map(|line| line + "\n")
        .collect();
    // The heading comes three times; once is right.
    let (heading, rest) = fleet.split_once('\n').expect("rows");
    let rest = rest.replace(&format!("{heading}\n"), "");
    folder.write("fleet.csv", format!("{heading}\n{rest}"));
    for command in [
        "fit bramble.csv --setup bramble-setup.toml --out one",
        "fit fleet.csv --setup bramble-setup.toml --out many",
        "plan one/calibration.json --rig Bramble/narrow --within 20 --out plan",
        "review one/calibration.json bramble-event.csv --out review",
        "compare bramble.csv --setup bramble-setup.toml --by wheels --a narrow --b wide --out compare",
        "sheet one/calibration.json --rig Bramble/narrow --sessions 2 --out sheet.html",
    ] {
        folder.run(command).ended_with(0);
    }
    [
        "one/report.html",
        "one/card.html",
        "many/report.html",
        "many/rig1.html",
        "plan/plan.html",
        "review/review.html",
        "compare/compare.html",
        "sheet.html",
    ]
    .map(|name| folder.path().join(name))
    .to_vec()
}

/// Holds the open page against the rules.
fn hold(page: &mut Page, what: &str) {
    page.value(OPEN_FOLDS);
    page.value(AXE);
    let found: Value = page.value(VIOLATIONS);
    assert!(found[0].as_u64() >= Some(10), "{what}: {found}");
    assert_eq!(found[1], json!([]), "{what}");
}

fn fill_in_the_card(page: &mut Page) {
    page.type_into("document.querySelector('#target')", "8.3");
    page.tap("document.querySelector('[data-add-run]')");
    for (name, cm) in [("long_cm", "25"), ("right_cm", "40")] {
        let element = format!("document.querySelector('[data-run] [name={name}]')");
        page.type_into(&element, cm);
    }
}

#[test]
fn no_page_violates_a_rule_of_accessibility() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let folder = Folder::new();
    let pages = every_page(&folder);
    for theme in ["light", "dark"] {
        let feature = json!({"name": "prefers-color-scheme", "value": theme});
        page.call("Emulation.setEmulatedMedia", json!({"features": [feature]}));
        for width in [1280, 360] {
            page.call(
                "Emulation.setDeviceMetricsOverride",
                json!({"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": false}),
            );
            for path in &pages {
                let what = |state: &str| format!("{}{state}, {theme}, {width} wide", name(path));
                page.open(path);
                hold(&mut page, &what(""));
                if path.ends_with("card.html") {
                    fill_in_the_card(&mut page);
                    hold(&mut page, &what(" filled in"));
                    page.value("localStorage.clear()");
                }
            }
        }
    }
}

fn name(path: &Path) -> String {
    path.file_name().expect("a file").to_string_lossy().into()
}
