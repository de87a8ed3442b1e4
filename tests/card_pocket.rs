//! The card on the phones that people have: a slow one, one whose storage is full or forbidden, one whose clock is wrong, one
//! with large letters; opened twice; and on paper. The setting must not depend on any of it.

mod common;

use common::devtools::Page;
use common::{Folder, fitted};
use haltmark::decide::{Choice, Situation, dial};
use haltmark::units;
use serde_json::{Value, json};

const ASK: &str = "document.querySelector('#ask [name=target_m]')";
const RUNS: &str = "document.querySelectorAll('[data-run]').length";

fn bramble() -> Folder {
    fitted_bramble().0
}

fn fitted_bramble() -> (Folder, haltmark::calibration::Calibration) {
    let read = |name: &str| {
        let path = format!("{}/data/{name}", env!("CARGO_MANIFEST_DIR"));
        std::fs::read_to_string(path).expect("data")
    };
    fitted(&read("bramble.csv"), &read("bramble-setup.toml"))
}

fn open(page: &mut Page, folder: &Folder) {
    page.open(&folder.path().join("out/card.html"));
}

fn shown(page: &mut Page) -> Value {
    page.value(
        "Object.fromEntries([...document.querySelectorAll('[data-result]')].map(e => [e.dataset.result, e.textContent]))",
    )
}

fn run_box(run: usize, name: &str) -> String {
    format!("document.querySelectorAll('[data-run]')[{run}].querySelector('[name={name}]')")
}

/// A target, and one run that came to rest past it; what the card then says.
fn a_day(page: &mut Page) -> Value {
    page.type_into(ASK, "8.5");
    page.tap("document.querySelector('[data-add-run]')");
    page.type_into(&run_box(0, "long_cm"), "14");
    page.type_into(&run_box(0, "right_cm"), "6");
    let shown = shown(page);
    assert!(shown["share_along"] != "0.0000", "{shown}");
    shown
}

/// What a fresh phone with nothing wrong says of [`a_day`].
fn wanted(folder: &Folder) -> Option<Value> {
    let mut page = Page::start()?;
    open(&mut page, folder);
    Some(a_day(&mut page))
}

#[test]
fn a_slow_phone_says_the_same() {
    let folder = bramble();
    let Some(wanted) = wanted(&folder) else {
        return;
    };
    let mut page = Page::start().expect("it started before");
    page.call("Emulation.setCPUThrottlingRate", json!({"rate": 6}));
    open(&mut page, &folder);
    assert_eq!(a_day(&mut page), wanted);
    assert!(page.said.is_empty(), "{:?}", page.said);
}

/// Where nothing can be kept the card works until it is closed, and says so.
#[test]
fn storage_that_is_forbidden_or_full_is_said_and_the_setting_is_the_same() {
    let folder = bramble();
    let Some(wanted) = wanted(&folder) else {
        return;
    };
    let not_kept = "document.querySelector('#not-kept').checkVisibility() && document.querySelector('#not-kept').innerText";
    let forbidden = "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('denied', 'SecurityError'); } })";
    // Ever smaller pieces, until not a letter more is taken.
    let full = "for (let n = 1 << 23, i = 0; n > 0; ) try { localStorage.setItem('filler' + i++, 'x'.repeat(n)); } catch { n >>= 1; }";
    for (what, script) in [("forbidden", forbidden), ("full", full)] {
        let mut page = Page::start().expect("it started before");
        if what == "full" {
            // Filled before the card has kept anything.
            open(&mut page, &folder);
            page.value("localStorage.clear()");
        }
        page.before_each_page(script);
        open(&mut page, &folder);
        assert_eq!(a_day(&mut page), wanted, "{what}");
        let words = page.value(not_kept);
        assert!(
            words.as_str().is_some_and(|w| w.contains("keeps nothing")),
            "{what}: {words}"
        );
        // Looked at again, what was typed is still there.
        page.value("document.dispatchEvent(new Event('visibilitychange'))");
        assert_eq!(shown(&mut page), wanted, "{what}");
        assert!(page.said.is_empty(), "{what}: {:?}", page.said);
    }
}

/// With a clock set back or on the runs are those of another day: offered, not lost, and not used.
#[test]
fn a_wrong_clock_loses_no_run() {
    let folder = bramble();
    let Some(wanted) = wanted(&folder) else {
        return;
    };
    for days in [-2, 2] {
        let mut page = Page::start().expect("it started before");
        open(&mut page, &folder);
        assert_eq!(a_day(&mut page), wanted);
        page.before_each_page(&format!(
            "window.Date = class extends Date {{ constructor(...at) {{ if (at.length) super(...at); else super(Date.now() + {days} * 864e5); }} }}"
        ));
        page.reload();
        assert_eq!(page.value(RUNS), 0, "{days} days");
        page.tap("document.querySelector('#restore')");
        assert_eq!(shown(&mut page), wanted, "{days} days");
        assert!(page.said.is_empty(), "{:?}", page.said);
    }
}

/// Two pages of one card do not overwrite each other's runs: what is typed into one stands in the other.
#[test]
fn opened_twice_no_run_is_lost() {
    let folder = bramble();
    let Some(wanted) = wanted(&folder) else {
        return;
    };
    let mut page = Page::start().expect("it started before");
    open(&mut page, &folder);
    let first = page.another();
    open(&mut page, &folder);
    let second = page.turn_to(first);
    assert_eq!(a_day(&mut page), wanted);
    let first = page.turn_to(second);
    page.value("new Promise(done => setTimeout(done, 200))");
    assert_eq!(page.value(RUNS), 1, "the run of the first page");
    assert_eq!(shown(&mut page), wanted);
    page.tap("document.querySelector('[data-add-run]')");
    page.type_into(&run_box(1, "long_cm"), "-3");
    let after_two = shown(&mut page);
    page.turn_to(first);
    page.value("new Promise(done => setTimeout(done, 200))");
    assert_eq!(page.value(RUNS), 2, "the run of the second page");
    assert_eq!(shown(&mut page), after_two);
    assert!(page.said.is_empty(), "{:?}", page.said);
}

/// With letters twice as large (WCAG 2.2, success criterion 1.4.4) nothing is cut, nothing covers another, and the page does not
/// scroll sideways.
#[test]
fn letters_twice_as_large_still_fit() {
    let folder = bramble();
    let Some(mut page) = Page::start() else {
        return;
    };
    page.call(
        "Emulation.setDeviceMetricsOverride",
        json!({"width": 360, "height": 740, "deviceScaleFactor": 2, "mobile": true}),
    );
    open(&mut page, &folder);
    page.value("document.documentElement.style.fontSize = '200%'");
    a_day(&mut page);
    let outside = page.value(
        "[...document.querySelectorAll('.screen *')].filter(e => e.checkVisibility() && e.getBoundingClientRect().right > 360.5).map(e => e.outerHTML.slice(0, 120))",
    );
    assert_eq!(outside, json!([]), "sideways scroll");
    // A word that is cut is wider than the box that hides the rest of it; a number must fit its input.
    let cut = page.value(
        "[...document.querySelectorAll('body *')].filter(e => e.checkVisibility() && !e.closest('.unseen') && (e.matches('input') ? e.scrollWidth > e.clientWidth + 1 : ['hidden', 'clip'].includes(getComputedStyle(e).overflowX) && e.scrollWidth > e.clientWidth + 1)).map(e => e.outerHTML.slice(0, 120))",
    );
    assert_eq!(cut, json!([]), "cut");
    assert!(page.said.is_empty(), "{:?}", page.said);
}

/// On a narrow phone the boxes of a row stand level, words of how it went are not cut, and the ring around a box covers nothing.
#[test]
fn a_narrow_phone_cuts_and_covers_nothing() {
    let folder = bramble();
    let Some(mut page) = Page::start() else {
        return;
    };
    for width in [340, 390] {
        page.call(
            "Emulation.setDeviceMetricsOverride",
            json!({"width": width, "height": 700, "deviceScaleFactor": 2, "mobile": true}),
        );
        open(&mut page, &folder);
        if width == 340 {
            a_day(&mut page);
        }
        let bottoms = page.value("new Set([...document.querySelectorAll('[data-run] .set input')].map(e => e.getBoundingClientRect().bottom)).size");
        assert_eq!(bottoms, 1, "{width}");
        let cut = page.value(
            "(select => {
                const style = getComputedStyle(select), pen = document.createElement('canvas').getContext('2d'), arrow = 20;
                pen.font = style.font;
                const room = select.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight) - arrow;
                return [...select.options].map(o => o.textContent).filter(words => pen.measureText(words).width > room);
            })(document.querySelector('[name=status]'))",
        );
        assert_eq!(cut, json!([]), "{width}");
        page.type_into(&run_box(0, "long_cm"), "14");
        let ring = page.value("(style => parseFloat(style.outlineOffset) + parseFloat(style.outlineWidth))(getComputedStyle(document.activeElement))");
        assert!(ring.as_f64().is_some_and(|beyond| beyond <= 0.0), "{ring}");
    }
}

/// What the paper shows, against the program: every printed row is the setting that `dial` gives.
#[test]
fn the_paper_says_what_dial_says() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let (folder, calibration) = fitted_bramble();
    open(&mut page, &folder);
    let sheets = page.value(
        "[...document.querySelectorAll('[data-sheet]')].map(sheet => [...sheet.querySelectorAll('tbody tr')].map(row => [...row.cells].map(cell => (cell.firstChild?.textContent ?? '').trim() + (cell.querySelector('small') ? ' ' + cell.querySelector('small').textContent : ''))).filter(cells => cells.length > 3 && cells[1] !== ''))",
    );
    let sheets: Vec<Vec<Vec<String>>> = serde_json::from_value(sheets).expect("rows of words");
    assert_eq!(sheets.len(), calibration.rigs.len());
    for (rows, rig) in sheets.iter().zip(&calibration.rigs) {
        let situation =
            Situation::from_rig(&calibration.setup, rig, &Choice::default()).expect("a situation");
        assert!(rows.len() > 10, "{rows:?}");
        for row in rows {
            let target_m: f64 = row[0].parse().expect("a target");
            let setting =
                dial::setting(&situation, target_m, calibration.level).expect("a setting");
            let aim_cm = 100.0 * setting.aim_right_m.expect("an aim");
            let side = match aim_cm {
                a if a > 0.0 => "right",
                a if a < 0.0 => "left",
                _ => "",
            };
            let wanted = [
                setting.dial.whole_turns().to_string(),
                setting.dial.ticks().to_string(),
                format!("{} {side}", units::at_most_decimals(aim_cm.abs(), 1)),
            ];
            assert_eq!(row[1..4], wanted, "at {target_m} m of {}", rig.name);
        }
    }
}
