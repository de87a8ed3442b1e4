//! The event-day card in Debian's Chromium, at a phone's size and with typed keys: the same settings as `dial` and
//! `correct`, to the tick and the aim step, and everything a pocket does to it.

mod common;

use common::devtools::{PAPERS, Page};
use common::{Folder, fitted};
use haltmark::calibration::Calibration;
use haltmark::decide::correct::{AlmostImpossible, DoubtedRun, correct};
use haltmark::decide::dial::Warning;
use haltmark::decide::{Choice, Setting, Situation, dial};
use haltmark::log;
use haltmark::simulate::{self, Truth};
use haltmark::stats::interval::Level;
use haltmark::stats::resample::replicate;
use rand::RngExt;
use serde_json::{Value, json};

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

fn bramble(more_setup: &str) -> (Folder, Calibration) {
    let read = |name: &str| std::fs::read_to_string(format!("{ROOT}/data/{name}")).expect("data");
    fitted(
        &read("bramble.csv"),
        &format!("{}\n{more_setup}", read("bramble-setup.toml")),
    )
}

fn simulated(seed: u64, setup: &str) -> (Folder, Calibration) {
    let truth = Truth::default();
    fitted(&simulate::season(&truth, seed).to_csv(), setup)
}

const ASK: &str = "document.querySelector('#ask [name=target_m]')";

fn run_box(run: usize, name: &str) -> String {
    format!("document.querySelectorAll('[data-run]')[{run}].querySelector('[name={name}]')")
}

/// What stands on the card.
fn shown(page: &mut Page) -> Value {
    page.value(
        "Object.fromEntries([...document.querySelectorAll('[data-result]')].map(e => [e.dataset.result, e.textContent]))",
    )
}

fn number(shown: &Value, name: &str) -> Option<f64> {
    shown[name].as_str().and_then(|t| t.parse().ok())
}

/// The card against a setting: equal turns, ticks and aim; the same miss to a millimetre.
#[track_caller]
fn same(shown: &Value, wanted: &Setting, about: &str) {
    let all = format!("{about}\ncard {shown}\nprogram {wanted:?}");
    let turns = number(shown, "turns").unwrap_or(f64::NAN);
    assert!((turns - wanted.dial.turns()).abs() < 1e-6, "{all}");
    // Blank where neither log nor set-up knows of ticks.
    let parts = ["whole_turns", "ticks"].map(|name| number(shown, name));
    let wanted_parts = [wanted.dial.whole_turns(), wanted.dial.ticks()].map(|n| Some(n as f64));
    assert!(
        parts == wanted_parts || shown["whole_turns"] == "" && shown["ticks"] == "",
        "{all}"
    );
    let close = |name: &str, wanted: Option<f64>, within: f64| match (number(shown, name), wanted) {
        (None, None) => {}
        (Some(a), Some(b)) => assert!((a - b).abs() < within, "{name}: {all}"),
        _ => panic!("{name}: {all}"),
    };
    close("aim_right_cm", wanted.aim_right_m.map(|a| 100.0 * a), 1e-6);
    close("lead_turns", wanted.lead_turns, 1e-4);
    close("miss_high_cm", wanted.miss_m.map(|m| 100.0 * m.high), 0.1);
}

/// How far the card's gap may be off, m; it shows whole centimetres.
const GAP_WITHIN_M: f64 = 1e-4;
/// How far the card's chances of a touch and of leaving the lane may be off; it shows whole parts of a hundred.
const CHANCE_WITHIN: f64 = 1e-5;

/// The way past the obstacle and along the lane, the chance of a recoil, and every warning, as the card's script has
/// them for the setting that it shows.
#[track_caller]
fn same_way(page: &mut Page, way: &str, wanted: &Setting, about: &str) {
    let got = page.value(&format!("last.found.{way}"));
    let all = format!("{about}\ncard {got}\nprogram {wanted:?}");
    let close =
        |name: &str, got: &Value, wanted: Option<f64>, within: f64| match (got.as_f64(), wanted) {
            (None, None) => {}
            (Some(a), Some(b)) => assert!((a - b).abs() <= within, "{name}: {all}"),
            _ => panic!("{name}: {all}"),
        };
    let gap = wanted.gap_m;
    let ends = [
        ("estimate", gap.map(|g| g.estimate)),
        ("low", gap.map(|g| g.low)),
    ];
    for (name, wanted) in ends {
        close(name, &got["gap_m"][name], wanted, GAP_WITHIN_M);
    }
    for (name, wanted) in [
        ("touch_chance", wanted.touch_chance),
        ("leave_chance", wanted.leave_chance),
        ("recoil_chance", wanted.recoil_chance),
    ] {
        close(name, &got[name], wanted, CHANCE_WITHIN);
    }
    // Numbers that change from target to target stay out of the card's words.
    let mut words: Vec<String> = wanted
        .warnings
        .iter()
        .map(|warning| match warning {
            Warning::Extrapolated { .. }
            | Warning::TooNear
            | Warning::FlatCalibration
            | Warning::Touch { .. }
            | Warning::LeavesLane { .. } => warning.kind().to_string(),
            other => other.to_string(),
        })
        .collect();
    let mut shown: Vec<String> =
        serde_json::from_value(got["warnings"].clone()).expect("a list of words");
    words.sort();
    shown.sort();
    assert_eq!(shown, words, "{all}");
}

/// A setting as `dial` prints it.
fn dialled(situation: &Situation, target_m: f64, level: Level) -> Setting {
    let mut setting = dial::setting(situation, target_m, level).expect("a setting");
    let turns = dial::exact(situation, target_m, level).expect("one").turns;
    if !(turns.low.is_finite() && turns.high.is_finite()) {
        setting.warnings.push(Warning::FlatCalibration);
    }
    setting
}

/// Picks the rig, build and trim in the card's lists.
fn pick(page: &mut Page, name: &str, index: usize) {
    page.value(&format!(
        "(() => {{ const s = document.querySelector('[name={name}]'); s.value = '{index}'; s.dispatchEvent(new Event('change')); }})()"
    ));
}

/// Every target in the range, for every rig.
fn every_target(page: &mut Page, calibration: &Calibration) -> usize {
    let mut compared = 0;
    for (i, rig) in calibration.rigs.iter().enumerate() {
        pick(page, "rig", i);
        let situation = Situation::from_rig(&calibration.setup, rig, &Choice::default()).unwrap();
        for target in calibration.range().unwrap().targets_m() {
            page.type_into(ASK, &target.to_string());
            let wanted = dialled(&situation, target, calibration.level);
            let about = format!("{} {target}", rig.name);
            same(&shown(page), &wanted, &about);
            same_way(page, "setting", &wanted, &about);
            compared += 1;
        }
    }
    compared
}

/// A day of 0 to 4 runs typed into the card and written as a log, compared at one more target.
fn random_day(page: &mut Page, calibration: &Calibration, folder: &Folder, day: u64) {
    let mut chance = replicate(77, day);
    let mut below = |n: usize| chance.random_range(0..n);
    let rig_index = below(calibration.rigs.len());
    let rig = &calibration.rigs[rig_index];
    let build = below(rig.travel.builds.len());
    let trim = rig.heading.as_ref().map(|h| below(h.trims.len()));
    page.value("document.querySelector('#clear').hidden || (document.querySelector('#clear').click(), document.querySelector('#clear').click())");
    pick(page, "rig", rig_index);
    pick(page, "build", build);
    if let Some(trim) = trim {
        pick(page, "trim", trim);
    }
    let labels = |build: usize, trim: Option<usize>| {
        let trim = trim.map_or("", |t| &rig.heading.as_ref().unwrap().trims[t].label);
        (rig.travel.builds[build].label.clone(), trim.to_string())
    };
    let range = calibration.range().unwrap();
    let targets = range.targets_m();
    let mut csv = "session,vehicle,wheels,build,trim,target_m,turns,ticks,aim_right_cm,lead_turns,long_cm,right_cm,status\n".to_string();
    let runs = below(5);
    for run in 0..runs {
        let target = targets[below(targets.len())];
        page.type_into(ASK, &target.to_string());
        page.value("document.querySelector('[data-add-run]').click()");
        let miss = |below: &mut dyn FnMut(usize) -> usize, most: usize| {
            format!("{}", (below(4 * most + 1) as f64 - 2.0 * most as f64) / 2.0)
        };
        page.type_into(&run_box(run, "long_cm"), &miss(&mut below, 40));
        if below(8) > 0 {
            page.type_into(&run_box(run, "right_cm"), &miss(&mut below, 20));
        }
        // Sometimes the setting was another than the card's.
        if below(4) == 0 && calibration.setup.dial.ticks().is_some() {
            page.type_into(&run_box(run, "ticks"), &below(20).to_string());
        }
        if below(6) == 0 {
            page.type_into(&run_box(run, "aim_right_cm"), &miss(&mut below, 30));
        }
        if below(6) == 0 {
            page.type_into(
                &run_box(run, "lead_turns"),
                ["", "1", "1.25", "2"][below(4)],
            );
        }
        let status = ["ok", "ok", "ok", "ok", "ok", "recoil", "touched", "void"][below(8)];
        page.value(&format!(
            "(() => {{ const s = {}; s.value = '{status}'; s.dispatchEvent(new Event('change')); }})()",
            run_box(run, "status")
        ));
        let cells = page.value(&format!(
            "['target_m','turns','ticks','aim_right_cm','lead_turns','long_cm','right_cm','status'].map(n => document.querySelectorAll('[data-run]')[{run}].querySelector('[name='+n+']').value).map(v => v === '–' ? '' : v).join(',')"
        ));
        let (build, trim) = labels(build, trim);
        csv += &format!(
            "today,{},{},{build},{trim},{}\n",
            rig.vehicle,
            rig.wheels,
            cells.as_str().unwrap()
        );
    }
    let target = targets[below(targets.len())];
    page.type_into(ASK, &target.to_string());
    let (build, trim_label) = labels(build, trim);
    let choice = Choice {
        rig: Some(rig.name.clone()),
        build: Some(build),
        trim: trim.map(|_| trim_label),
        lead_turns: None,
    };
    let about = format!("day {day}, {} at {target}\n{csv}", rig.name);
    if runs == 0 {
        let seen = shown(page);
        let situation = Situation::from_rig(&calibration.setup, rig, &choice).unwrap();
        let wanted = dialled(&situation, target, calibration.level);
        same(&seen, &wanted, &about);
        same_way(page, "setting", &wanted, &about);
        return;
    }
    let path = folder.write("today.csv", &csv);
    let (today, _) = log::read(&[path], &calibration.setup, &log::ReadOptions::default())
        .unwrap_or_else(|e| panic!("{about}{e}"));
    let believes = below(4) == 0;
    let almost_impossible = match believes {
        true => AlmostImpossible::Believed,
        false => AlmostImpossible::LeftOut,
    };
    let corrected = correct(calibration, &today, &choice, almost_impossible).unwrap();
    same_doubts(page, &corrected.doubted, believes, &about);
    let seen = shown(page);
    let wanted = dialled(&corrected.situation, target, calibration.level);
    same(&seen, &wanted, &about);
    same_way(page, "setting", &wanted, &about);
    same_other_way(
        page,
        corrected.less_lead.as_ref(),
        target,
        calibration.level,
        &about,
    );
    let differs = corrected.today(target).unwrap();
    let share = |x: Option<f64>| x.unwrap_or(0.0);
    for (name, wanted) in [
        ("share_along", share(differs.map(|t| t.share_along))),
        ("share_across", share(differs.and_then(|t| t.share_across))),
    ] {
        let got = number(&seen, name).unwrap();
        assert!(
            (got - wanted).abs() < 1e-3,
            "{name} {got} {wanted}\n{about}"
        );
    }
}

/// The runs that are named and left out; where they are believed, their buttons are tapped until none is left.
#[track_caller]
fn same_doubts(page: &mut Page, wanted: &[DoubtedRun], believes: bool, about: &str) {
    let button = "[...document.querySelectorAll('[data-believe]')].find(b => !b.hidden)";
    while believes && page.value(&format!("!!({button})")) == true {
        page.value(&format!("{button}.click()"));
    }
    let numbers = page.value(
        "[...document.querySelectorAll('[data-run]')].flatMap((r, i) => r.querySelector('[data-believe]').hidden ? [] : [i])",
    );
    // Under one line of headings, row i of the card is line i + 2.
    let mut lines: Vec<usize> = wanted.iter().map(|run| run.line - 2).collect();
    lines.sort_unstable();
    assert_eq!(numbers, json!(lines), "{about}\n{wanted:?}");
    let hidden = page.value("document.querySelector('#doubt').hidden");
    assert_eq!(hidden, wanted.is_empty(), "{about}");
}

/// The other way on after a run that rolled back: the block is there when it should be, with the program's setting.
#[track_caller]
fn same_other_way(
    page: &mut Page,
    wanted: Option<&Situation>,
    target_m: f64,
    level: Level,
    about: &str,
) {
    let hidden = page.value("document.querySelector('#less-lead').hidden");
    assert_eq!(hidden, wanted.is_none(), "{about}");
    let Some(situation) = wanted else {
        return;
    };
    let setting = dialled(situation, target_m, level);
    same_way(page, "less_lead", &setting, about);
    let block = page.value(
        "Object.fromEntries([...document.querySelectorAll('[data-less]')].map(e => [e.dataset.less, e.textContent]))",
    );
    let all = format!("{about}\n{block}\n{setting:?}");
    let number = |name: &str| -> f64 {
        let shown = block[name].as_str().expect("text");
        shown.parse().unwrap_or_else(|_| panic!("{name}: {all}"))
    };
    let turns = number("turns");
    assert!((turns - setting.dial.turns()).abs() < 1e-6, "{all}");
    assert_eq!(Some(number("lead_turns")), setting.lead_turns, "{all}");
    if let Some(aim) = setting.aim_right_m {
        assert!((number("aim") - 100.0 * aim.abs()).abs() < 1e-6, "{all}");
        let side = if aim > 0.0 { "right" } else { "left" };
        let shown = block["aim_side"].as_str().expect("text");
        assert!(aim == 0.0 || shown.ends_with(side), "{all}");
    }
}

fn compare(season: (Folder, Calibration), first_day: u64, days: u64) {
    let Some(mut page) = Page::start() else {
        return;
    };
    let (folder, calibration) = season;
    page.open(&folder.path().join("out/card.html"));
    let targets = every_target(&mut page, &calibration);
    assert!(targets > 0);
    for day in first_day..first_day + days {
        random_day(&mut page, &calibration, &folder, day);
    }
    assert!(page.said.is_empty(), "{:?}", page.said);
}

#[test]
fn the_card_says_what_the_program_says_with_rigs_builds_and_trims() {
    compare(bramble(""), 0, 100);
}

#[test]
fn the_card_says_what_the_program_says_for_one_rig_and_no_obstacle() {
    compare(simulated(5, ""), 1000, 80);
}

#[test]
fn the_card_says_what_the_program_says_when_only_the_line_counts() {
    compare(
        simulated(
            6,
            "[score]\nmeasure = \"line\"\n[dial]\nticks_per_turn = 24\n",
        ),
        2000,
        80,
    );
}

/// Penalties and priced seconds: the setting is searched for, not solved for.
#[test]
fn the_card_says_what_the_program_says_with_penalties() {
    compare(
        bramble(
            "[score]\nlong_penalty = 60.0\nlong_limit_cm = 10.0\ntouch_penalty = 80.0\nper_s = 2.0\n",
        ),
        3000,
        12,
    );
}

#[test]
fn the_card_says_what_the_program_says_when_long_costs_on_a_line() {
    compare(
        simulated(
            7,
            "[score]\nmeasure = \"line\"\nlong_penalty = 40.0\nlong_limit_cm = 5.0\n[aim]\nstep_cm = 2.0\n",
        ),
        4000,
        20,
    );
}

/// Touches priced where only the distance along counts: the aim mark is chosen by touches alone.
#[test]
fn the_card_says_what_the_program_says_when_touches_cost_on_a_line() {
    compare(
        bramble(
            "[score]\nmeasure = \"line\"\nlong_penalty = 40.0\nlong_limit_cm = 5.0\ntouch_penalty = 1000.0\n",
        ),
        5000,
        12,
    );
}

#[test]
fn the_card_speaks_of_ticks_as_they_are_known() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let visible = "document.querySelector('.screen').innerText";
    let text = |page: &mut Page| page.value(visible).as_str().unwrap_or_default().to_string();
    // Ticks in the log, and no set-up.
    let (folder, _) = simulated(5, "");
    page.open(&folder.path().join("out/card.html"));
    page.type_into(ASK, "8");
    assert!(text(&mut page).contains("20 ticks to a turn are assumed"));
    // The set-up says how many.
    let (folder, _) = simulated(5, "[dial]\nticks_per_turn = 20\n");
    page.open(&folder.path().join("out/card.html"));
    page.type_into(ASK, "8");
    let told = text(&mut page);
    assert!(
        told.contains("ticks") && !told.contains("assumed"),
        "{told}"
    );
    // Nobody knows of ticks: decimal turns, and no box for ticks.
    let log = "session,target_m,turns,long_cm\n1,8,34,10\n,7,30,-5\n,9,38,3\n";
    let (folder, _) = fitted(log, "");
    page.open(&folder.path().join("out/card.html"));
    page.type_into(ASK, "8");
    page.value("document.querySelector('[data-add-run]').click()");
    let seen = shown(&mut page);
    let turns = seen["turns"].as_str().unwrap_or_default().to_string();
    assert_eq!(turns.split('.').nth(1).map(str::len), Some(2), "{seen}");
    assert_eq!(
        (&seen["whole_turns"], &seen["ticks"]),
        (&"".into(), &"".into())
    );
    let boxed = page.value(&format!("{}.value", run_box(0, "turns")));
    assert_eq!(boxed, Value::from(turns));
    assert!(!text(&mut page).contains("tick"), "{}", text(&mut page));
    let wide = page.value("document.documentElement.scrollWidth <= innerWidth");
    assert_eq!(wide, Value::from(true));
    assert!(page.said.is_empty(), "{:?}", page.said);
}

#[test]
fn the_card_says_what_the_program_says_of_three_runs() {
    compare(
        fitted(
            "session,target_m,turns,long_cm\n1,8,34,10\n,7,30,-5\n,9,38,3\n",
            "",
        ),
        5000,
        15,
    );
}

/// So narrow that some runs leave it.
const LANE: &str = "[lane]\nhalf_width_m = 0.25\n";

#[test]
fn the_card_says_what_the_program_says_of_a_lane() {
    compare(simulated(9, LANE), 6000, 30);
}

/// Four runs, a dial of one stop a turn, and targets so near that the mean arc may lie behind the start mark.
#[test]
fn the_card_says_what_the_program_says_where_nearly_nothing_is_known() {
    let log = "session,target_m,turns,long_cm,right_cm,aim_right_cm\n\
        1,4,20,-3,3,-20\n,3,16,-1,-2,-9\n,2,12,-4,1,-5\n,1,8,-1,2,0\n";
    let setup = "[vehicle]\nwidth_cm = 12.0\n[dial]\nticks_per_turn = 1\n\
        [obstacle]\nat = 0.5\nright_cm = 20.0\ndiameter_cm = 10.0\npass = \"left\"\n\
        [event]\nshortest_m = 0.1\nlongest_m = 1.5\nstep_m = 0.05\n";
    let (folder, calibration) = fitted(log, &format!("{setup}{LANE}"));
    let situation = Situation::new(&calibration, &Choice::default()).expect("one rig");
    let nearest = dialled(&situation, 0.1, calibration.level);
    assert!(situation.arc_mean_m(nearest.dial.turns()) < 0.0);
    // No days: their runs are typed for a dial of many ticks.
    compare((folder, calibration), 7000, 0);
}

/// Labels of a log never become markup, script or the end of the data block; the rows to copy hold them as they are.
#[test]
fn labels_stay_labels() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let hostile = "</script><img src=x onerror=\"console.log(1)\">&amp;";
    let mut truth = Truth {
        vehicle: hostile.to_string(),
        ..Truth::default()
    };
    truth.wheels = "=1+1, \"wide\"".to_string();
    let (folder, calibration) = fitted(&simulate::season(&truth, 3).to_csv(), "");
    page.open(&folder.path().join("out/card.html"));
    page.type_into(ASK, "8");
    page.value("document.querySelector('[data-add-run]').click()");
    page.type_into(&run_box(0, "long_cm"), "9");
    page.value("document.querySelector('#copy').click()");
    let rows = page.value("document.querySelector('#rows').value");
    let path = folder.write("rows.csv", rows.as_str().unwrap());
    let (today, _) = log::read(&[path], &calibration.setup, &log::ReadOptions::default())
        .expect("rows of a log");
    assert_eq!(
        (&today.vehicles[0], &today.wheels[0]),
        (&truth.vehicle, &truth.wheels)
    );
    assert_eq!(page.value("document.images.length"), 0);
    // What the policy forbids does not run, wherever it may come from.
    let title = page.value("document.title");
    page.value("document.body.append(Object.assign(document.createElement('script'), {textContent: 'document.title = 1'}))");
    assert_eq!(page.value("document.title"), title);
    assert_ne!(title, 1);
    let said = std::mem::take(&mut page.said);
    assert!(
        said.len() == 1 && said[0].contains("Content Security Policy"),
        "{said:?}"
    );
}

/// The card's own distributions against mpmath's and R's values (tests/reference/data, quantiles.json).
#[test]
fn the_cards_distributions_hold_against_the_table() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let (folder, _) = simulated(5, "");
    page.open(&folder.path().join("out/card.html"));
    let table = std::fs::read_to_string(format!("{ROOT}/tests/reference/data/data/quantile_t.csv"))
        .expect("the table");
    let mut lines = table.lines().map(|l| l.split(',').map(str::trim));
    let names: Vec<&str> = lines.next().expect("a header").collect();
    let mut checked = 0;
    for cells in lines {
        let row: Vec<f64> = cells.map(|c| c.parse().expect("a number")).collect();
        for (name, &t) in names.iter().zip(&row).skip(1) {
            let Ok(df) = name.trim_start_matches("df_").parse::<f64>() else {
                continue; // infinitely many: no calibration has them
            };
            // As a mixture asks for it.
            let p = page
                .value(&format!("studentT({df}).cdf({t})"))
                .as_f64()
                .unwrap();
            assert!(
                (p - row[0]).abs() < 1e-10,
                "t = {t}, df = {df}: {p} for {}",
                row[0]
            );
            checked += 1;
        }
    }
    assert!(checked > 50, "{checked}");
    // Abramowitz and Stegun (1964) table 26.1: P(1) = 0.841344746068543, P(3) = 0.998650101968370.
    for (x, p) in [(1.0, 0.841_344_746_068_543), (3.0, 0.998_650_101_968_370)] {
        let got = page.value(&format!("normalCdf({x})")).as_f64().unwrap();
        assert!((got - p).abs() < 1e-14, "{x}: {got}");
        let back = page
            .value(&format!("normalQuantile({p})"))
            .as_f64()
            .unwrap();
        assert!((back - x).abs() < 1e-12, "{x}: {back}");
    }
}

/// What stands in an element, and whether it can be seen.
fn words(page: &mut Page, selector: &str) -> String {
    let text = page.value(&format!(
        "(() => {{ const e = document.querySelector('{selector}'); return e.checkVisibility() ? e.innerText : ''; }})()"
    ));
    text.as_str().unwrap().to_string()
}

#[test]
fn a_pocket_does_not_lose_what_was_entered() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let (folder, _) = bramble("");
    page.open(&folder.path().join("out/card.html"));
    assert_eq!(
        words(&mut page, "#answer .digits"),
        "–",
        "nothing is set before a target is typed"
    );
    page.type_into(ASK, "8.5");
    let fresh = shown(&mut page);
    assert_eq!(number(&fresh, "share_along"), Some(0.0));
    page.tap("document.querySelector('[data-add-run]')");
    page.type_into(&run_box(0, "long_cm"), "14");
    let along = shown(&mut page);
    assert!(number(&along, "share_along").unwrap() > 0.1, "{along}");
    assert_eq!(number(&along, "share_across"), Some(0.0));
    page.type_into(&run_box(0, "right_cm"), "6");
    // The word follows the sign, and turns it over.
    let flip = "document.querySelector('[data-flip=right_cm]')";
    assert_eq!(words(&mut page, "[data-flip=right_cm]"), "right");
    page.tap(flip);
    assert_eq!(
        page.value(&format!("{}.value", run_box(0, "right_cm"))),
        "-6"
    );
    assert_eq!(words(&mut page, "[data-flip=right_cm]"), "left");
    let corrected = shown(&mut page);
    assert!(number(&corrected, "share_across").unwrap() > 0.0);
    assert!(
        number(&corrected, "aim_right_cm").unwrap() >= number(&fresh, "aim_right_cm").unwrap(),
        "came to rest left: the mark goes right"
    );

    // Locked and opened again.
    page.reload();
    assert_eq!(shown(&mut page), corrected);
    assert_eq!(page.value(&format!("{ASK}.value")), "8.5");

    // The rows that are copied out are a log that `correct` takes, with the same answer.
    page.tap("document.querySelector('#copy')");
    let rows = page.value("document.querySelector('#rows').value");
    folder.write("rows.csv", rows.as_str().unwrap());
    let answer = folder
        .run("correct out/calibration.json rows.csv --rig Bramble/wide --target 8.5 --json")
        .ended_with(0)
        .json();
    let setting = &answer["settings"][0];
    for name in ["whole_turns", "ticks", "aim_right_cm"] {
        assert_eq!(setting[name].as_f64(), number(&corrected, name), "{name}");
    }
    assert_eq!(answer["today"]["runs"], 1);

    // Nowhere wider than the phone; nor than a small one.
    for width in [320, 390] {
        page.call(
            "Emulation.setDeviceMetricsOverride",
            json!({"width": width, "height": 844, "deviceScaleFactor": 2, "mobile": true}),
        );
        let wide = page.value("document.documentElement.scrollWidth");
        assert_eq!(wide, width, "sideways scroll");
    }

    // Refused with a reason, and the setting is that without the run.
    page.type_into(&run_box(0, "ticks"), "20");
    assert!(
        words(&mut page, "[data-run] .note").contains("20 ticks"),
        "no reason"
    );
    assert_eq!(shown(&mut page), fresh);
    page.type_into(&run_box(0, "ticks"), "x");
    assert!(words(&mut page, "[data-run] .note").contains("not a number"));
    page.type_into(&run_box(0, "ticks"), "13");
    page.type_into(&run_box(0, "long_cm"), "-900");
    assert!(words(&mut page, "[data-run] .note").contains("behind the start"));
    page.type_into(&run_box(0, "long_cm"), "250");
    assert!(
        words(&mut page, "[data-run] .note").contains("slip"),
        "250 cm long is named"
    );
    assert_eq!(shown(&mut page), fresh, "and left out");
    for (typed, reason) in [
        ("8,x", "Not a number"),
        ("850", "not centimetres"),
        ("0", "ahead"),
    ] {
        page.type_into(ASK, typed);
        assert!(
            words(&mut page, "#target-reason").contains(reason),
            "{typed}"
        );
        assert_eq!(number(&shown(&mut page), "whole_turns"), None, "{typed}");
    }
    page.type_into(ASK, "8,5");
    assert_eq!(words(&mut page, "#target-reason"), "");

    // Taken out, undone, cleared, undone.
    page.type_into(&run_box(0, "long_cm"), "14");
    let with = shown(&mut page);
    page.tap("document.querySelector('[data-run] .remove')");
    assert_eq!(shown(&mut page), fresh);
    page.tap("document.querySelector('#undo')");
    assert_eq!(shown(&mut page), with);
    page.tap("document.querySelector('#clear')");
    assert_eq!(shown(&mut page), with, "one tap clears nothing");
    page.tap("document.querySelector('#clear')");
    assert_eq!(shown(&mut page), fresh);
    page.tap("document.querySelector('#undo')");
    assert_eq!(shown(&mut page), with);
    page.value(
        "document.querySelector('#clear').click(), document.querySelector('#clear').click()",
    );
    page.reload();
    assert_eq!(shown(&mut page), fresh, "cleared stays cleared");

    let wide =
        page.value("document.documentElement.scrollWidth - document.documentElement.clientWidth");
    assert_eq!(wide, 0, "sideways scroll");
    assert!(page.said.is_empty(), "{:?}", page.said);
}

/// The runs of yesterday are not today's: the day starts empty, says so, and gives them back when asked. Rows of a run that is
/// not finished are not copied, and that is said.
#[test]
fn a_new_day_starts_empty_and_gives_the_old_one_back() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let (folder, _) = bramble("");
    page.open(&folder.path().join("out/card.html"));
    page.type_into(ASK, "8.5");
    page.tap("document.querySelector('[data-add-run]')");
    page.type_into(&run_box(0, "long_cm"), "14");
    page.type_into(&run_box(0, "right_cm"), "3");
    page.tap("document.querySelector('[data-add-run]')");
    let corrected = shown(&mut page);
    page.tap("document.querySelector('#copy')");
    let rows = page.value("document.querySelector('#rows').value");
    assert_eq!(rows.as_str().expect("rows").lines().count(), 2, "{rows}");
    assert!(words(&mut page, "#copied-words").contains("left out: run 2"));
    let strip = words(&mut page, "#stays");
    assert!(strip.contains("turns") && strip.contains("aim"), "{strip}");
    assert!(words(&mut page, "#made-of").contains("52 runs from"));

    page.value(
        "(() => { for (const key of Object.keys(localStorage)) { const kept = JSON.parse(localStorage[key]); kept.day = '2001-02-03'; localStorage[key] = JSON.stringify(kept); } })()",
    );
    page.reload();
    let runs = "document.querySelectorAll('[data-run]').length";
    assert_eq!(page.value(runs), 0);
    assert_eq!(number(&shown(&mut page), "share_along"), Some(0.0));
    assert!(words(&mut page, "#restore").contains("2001-02-03"));
    page.tap("document.querySelector('#restore')");
    assert_eq!(page.value(runs), 2);
    assert_eq!(shown(&mut page), corrected);
    assert!(page.said.is_empty(), "{:?}", page.said);
}

/// How far down the page an element begins.
fn top_of(page: &mut Page, selector: &str) -> f64 {
    let top = page.value(&format!(
        "document.querySelector('{selector}').getBoundingClientRect().top"
    ));
    top.as_f64().expect("a number")
}

/// A tape read wrong: named above the setting and larger than the rest, the setting that of a new day, until it is confirmed.
#[test]
fn a_doubted_run_is_named_first_and_used_only_when_confirmed() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let (folder, _) = bramble("");
    page.open(&folder.path().join("out/card.html"));
    page.type_into(ASK, "8.5");
    let fresh = shown(&mut page);
    page.tap("document.querySelector('[data-add-run]')");
    page.type_into(&run_box(0, "long_cm"), "120");
    assert_eq!(shown(&mut page), fresh);
    let said = words(&mut page, "#doubt");
    assert!(said.contains("Run 1") && said.contains("farther"), "{said}");
    assert!(top_of(&mut page, "#doubt") < top_of(&mut page, "#answer"));
    let size = |page: &mut Page, selector: &str| {
        let px = page.value(&format!(
            "parseFloat(getComputedStyle(document.querySelector('{selector}')).fontSize)"
        ));
        px.as_f64().expect("a number")
    };
    assert!(size(&mut page, "#doubt") > 1.2 * size(&mut page, "#shares"));
    // Confirmed, kept over a reload, undone; and what is typed anew is doubted anew.
    page.tap("document.querySelector('[data-believe]')");
    let believed = shown(&mut page);
    assert!(
        number(&believed, "share_along").unwrap() > 0.1,
        "{believed}"
    );
    assert_eq!(words(&mut page, "#doubt"), "");
    page.reload();
    assert_eq!(shown(&mut page), believed);
    page.type_into(&run_box(0, "long_cm"), "130");
    assert_eq!(shown(&mut page), fresh);
    // 12 for 120: an ordinary run.
    page.type_into(&run_box(0, "long_cm"), "12");
    assert_eq!(words(&mut page, "#doubt"), "");
    assert!(number(&shown(&mut page), "share_along").unwrap() > 0.1);
    assert!(page.said.is_empty(), "{:?}", page.said);
}

/// The chance of stopping nearer than the distance to beat: a number in the result, words beside the box, empty without one.
#[test]
fn the_card_says_the_chance_to_beat_a_distance() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let (folder, calibration) = bramble("");
    page.open(&folder.path().join("out/card.html"));
    pick(&mut page, "rig", 0);
    page.type_into(ASK, "8.5");
    assert_eq!(shown(&mut page)["beat_chance"], "");
    let beat = "document.querySelector('[name=beat_cm]')";
    let situation =
        Situation::from_rig(&calibration.setup, &calibration.rigs[0], &Choice::default());
    let situation = situation.expect("one rig");
    let (_, prediction) =
        dial::setting_and_prediction(&situation, 8.5, calibration.level).expect("one");
    for (typed, beat_m) in [("14", 0.14), ("5,5", 0.055), ("60", 0.6)] {
        page.type_into(beat, typed);
        let wanted = prediction.chance_within(beat_m, calibration.setup.score.measure);
        let got = number(&shown(&mut page), "beat_chance").expect("a number");
        assert!(
            (got - wanted.expect("a chance")).abs() < 1e-4,
            "{typed}: {got} {wanted:?}"
        );
        assert_ne!(words(&mut page, "#beat-words"), "", "{typed}");
    }
    for typed in ["", "0", "-3", "x"] {
        page.type_into(beat, typed);
        assert_eq!(shown(&mut page)["beat_chance"], "", "{typed}");
    }
    page.type_into(beat, "14");
    let with = shown(&mut page);
    page.reload();
    assert_eq!(shown(&mut page), with);
    assert!(page.said.is_empty(), "{:?}", page.said);
}

/// After a run that rolled back: two blocks, each a whole setting; a run made by the second has its numbers.
#[test]
fn two_ways_on_stand_apart() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let (folder, _) = bramble("");
    page.open(&folder.path().join("out/card.html"));
    page.type_into(ASK, "8.5");
    page.tap("document.querySelector('[data-add-run]')");
    page.type_into(&run_box(0, "long_cm"), "-20");
    assert_eq!(words(&mut page, "#two-ways"), "");
    let ordinary = shown(&mut page);
    page.value(&format!(
        "(() => {{ const s = {}; s.value = 'recoil'; s.dispatchEvent(new Event('change')); }})()",
        run_box(0, "status")
    ));
    // Where it came to rest is what counts: the first way is that of any run that rests there.
    assert_eq!(shown(&mut page), ordinary);
    assert!(words(&mut page, "#two-ways").contains("two ways"));
    assert!(top_of(&mut page, "#answer") < top_of(&mut page, "#less-lead"));
    assert!(words(&mut page, "[data-run] .note").contains("where it came to rest"));
    let less = |page: &mut Page, name: &str| words(page, &format!("[data-less={name}]"));
    let lead: f64 = less(&mut page, "lead_turns").parse().expect("a lead");
    assert!(lead < number(&ordinary, "lead_turns").expect("a lead"));
    let turns = less(&mut page, "whole_turns");
    page.tap("document.querySelector('[data-add-less]')");
    for (name, wanted) in [("turns", turns), ("lead_turns", lead.to_string())] {
        assert_eq!(page.value(&format!("{}.value", run_box(1, name))), wanted);
    }
    let wide =
        page.value("document.documentElement.scrollWidth - document.documentElement.clientWidth");
    assert_eq!(wide, 0, "sideways scroll");
    assert!(page.said.is_empty(), "{:?}", page.said);
}

/// Sign and word never both say the side to the eye: at rest the size stands over the number, whose sign stays in the box's value.
#[test]
fn a_box_at_rest_leaves_the_side_to_its_word() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let (folder, _) = bramble("");
    page.open(&folder.path().join("out/card.html"));
    page.type_into(ASK, "8.5");
    page.tap("document.querySelector('[data-add-run]')");
    // What is seen of a box and its word, and its value.
    let seen = |page: &mut Page, name: &str| {
        page.value(&format!(
            "(box => {{ const size = box.nextElementSibling, over = getComputedStyle(size).visibility === 'visible',
                clear = getComputedStyle(box).webkitTextFillColor === 'rgba(0, 0, 0, 0)';
              return [over ? size.textContent : '', clear ? '' : box.value, size.nextElementSibling.textContent, box.value]; }})({})",
            run_box(0, name)
        ))
    };
    page.type_into(&run_box(0, "right_cm"), "-6");
    assert_eq!(seen(&mut page, "right_cm"), json!(["", "-6", "left", "-6"]));
    page.value("document.activeElement.blur()");
    assert_eq!(seen(&mut page, "right_cm"), json!(["6", "", "left", "-6"]));
    page.tap("document.querySelector('[data-flip=right_cm]')");
    assert_eq!(seen(&mut page, "right_cm"), json!(["6", "", "right", "6"]));
    // The mark that a new run starts from stands left, too.
    let aim = seen(&mut page, "aim_right_cm");
    let signed = aim[3].as_str().expect("a number");
    assert!(signed.starts_with('-'), "{aim}");
    assert_eq!(
        aim,
        json!([signed.trim_start_matches('-'), "", "left", signed])
    );
}

/// One turn is not "1 turns"; a gap is never said to be wider than it is, and one below nothing is a hit.
#[test]
fn the_card_counts_in_words_and_promises_no_wider_gap() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let (folder, _) = bramble("");
    page.open(&folder.path().join("out/card.html"));
    for (asked, said) in [
        ("counted(1, 'turn')", "turn"),
        ("counted('1.5', 'turn')", "turns"),
        ("counted(0, 'tick')", "ticks"),
        // 95 %: 39 of 40 runs lie above the lower end.
        (
            "gapWords({estimate: 0.179, low: 0.0199})",
            "17 cm expected, over 1 cm in 39 of 40 runs",
        ),
        (
            "gapWords({estimate: 0.179, low: 0.009})",
            "17 cm expected, a touch is possible",
        ),
        (
            "gapWords({estimate: -0.03, low: -0.2})",
            "3 cm too few: most runs hit it",
        ),
    ] {
        assert_eq!(page.value(asked), said, "{asked}");
    }
}

/// The rig of the newest runs, and the card says so: other wheels may long be off.
#[test]
fn the_card_opens_on_the_rig_of_the_newest_runs() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let rows = |wheels: &str, day: &str| {
        [(6, 25), (7, 29), (8, 33)]
            .map(|(m, turns)| format!("{day},{day},{wheels},{m},{turns},4\n"))
            .concat()
    };
    // The rig of the newest runs comes second in the first log and first in the second.
    for (log, newest) in [
        (
            rows("foam", "2025-09-12") + &rows("rubber", "2025-11-28"),
            "rubber",
        ),
        (
            rows("foam", "2025-11-28") + &rows("rubber", "2025-10-10"),
            "foam",
        ),
    ] {
        let (folder, _) = fitted(
            &format!("session,date,wheels,target_m,turns,long_cm\n{log}"),
            "",
        );
        page.open(&folder.path().join("out/card.html"));
        let said = page.value("document.querySelector('#choices summary').textContent");
        assert_eq!(said, format!("{newest} · the newest runs of 2 rigs"));
        let printed = page.value("[...document.querySelectorAll('[data-sheet]')].filter(s => !s.classList.contains('other')).map(s => s.querySelector('h1').textContent)");
        assert_eq!(printed.as_array().map(Vec::len), Some(1));
        assert!(
            printed[0].as_str().is_some_and(|h| h.starts_with(newest)),
            "{printed}"
        );
    }
}

#[test]
fn it_prints_on_one_sheet() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let fine = "[event]\nshortest_m = 5.0\nlongest_m = 9.0\nstep_m = 0.05\n";
    for (season, what, rigs) in [
        (bramble(""), "bramble", 2),
        (simulated(8, fine), "81 targets", 1),
    ] {
        // Without script there is paper for every rig; with it, for the one that is chosen.
        for (script, sheets) in [(true, 1), (false, rigs)] {
            page.call(
                "Emulation.setScriptExecutionDisabled",
                json!({"value": !script}),
            );
            page.open(&season.0.path().join("out/card.html"));
            for (paper, size_in) in PAPERS {
                let printed = page.printed(size_in).0;
                assert_eq!(printed, sheets, "{what} on {paper}, script {script}");
            }
        }
    }
}
