//! Figures of extreme logs, in a browser: no word leaves its figure, covers another or stands on a dot; and what they
//! say where there is nothing to draw.

mod common;

use common::Folder;
use common::devtools::Page;
use haltmark::simulate::{self, Truth};
use serde_json::{Value, json};

/// What is wrong with the words of the open page's figures, as sentences.
///
/// Boxes of text reach above and below its letters: a fifth of their height is taken off, and a pixel is nothing.
const FAULTS: &str = r"(() => {
  const faults = [];
  const figures = [...document.querySelectorAll('svg.figure')];
  const meet = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
    && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1;
  for (const svg of figures) {
    const name = svg.querySelector('title').textContent, all = svg.getBoundingClientRect();
    const words = [...svg.querySelectorAll('text')].map(t => {
      const r = t.getBoundingClientRect(), off = 0.1 * r.height;
      return {text: t.textContent, left: r.left, right: r.right, top: r.top + off, bottom: r.bottom - off};
    });
    words.forEach((a, i) => {
      if (a.left < all.left - 0.5 || a.right > all.right + 0.5 || a.top < all.top - 0.5 || a.bottom > all.bottom + 0.5)
        faults.push(`${name}: “${a.text}” leaves the figure`);
      for (const b of words.slice(i + 1))
        if (meet(a, b)) faults.push(`${name}: “${a.text}” and “${b.text}” overlap`);
    });
    // A dot is a line of no length with round ends, as wide as it is.
    const scale = all.width / svg.viewBox.baseVal.width;
    for (const path of svg.querySelectorAll('path')) {
      const look = path.hasAttribute('stroke-linecap') ? path : path.parentNode;
      if (look.getAttribute('stroke-linecap') !== 'round') continue;
      let x = 0, y = 0;
      for (const [, kind, across, down] of path.getAttribute('d').matchAll(/(M|m)(-?\d+) ?(-?\d+)h0/g)) {
        [x, y] = kind === 'M' ? [+across, +down] : [x + +across, y + +down];
        const at = [all.left + scale * x, all.top + scale * y];
        for (const w of words)
          if (at[0] > w.left && at[0] < w.right && at[1] > w.top && at[1] < w.bottom)
            faults.push(`${name}: “${w.text}” stands on a dot`);
      }
    }
  }
  const wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
  if (wide > 0) faults.push(`the page scrolls sideways by ${wide}`);
  return [figures.length, [...new Set(faults)]];
})()";

/// An invented season with a few changes.
fn season(change: impl FnOnce(&mut Truth)) -> String {
    let mut truth = Truth::default();
    truth.season.leads_turns = vec![1.0, 1.5, 2.0];
    change(&mut truth);
    simulate::season(&truth, 4).to_csv()
}

/// A log with a label in every column of labels, each session with its own.
fn labelled(labels: &[&str]) -> String {
    let mut text =
        "session,vehicle,wheels,build,trim,floor,target_m,turns,long_cm,right_cm,aim_right_cm,lead_turns\n"
            .to_string();
    for (session, label) in labels.iter().enumerate() {
        let half = labels[session / (labels.len() / 2)];
        for run in 0..6 {
            let target = 6.0 + 0.5 * f64::from((3 * run + session as i32) % 6);
            let off = |k: i32| f64::from((7 * run + 5 * session as i32 + k) % 11 - 5);
            text += &format!(
                "{label},Thistle,foam,{half},{half},{label},{target},{:.2},{},{},-18,{}\n",
                (target - 0.3) / 0.22,
                2.0 * off(0),
                off(3),
                1.0 + 0.5 * f64::from(run % 2),
            );
        }
    }
    text
}

/// So many sessions of six runs with a build of its own each, a trim for two, a floor for three, and a few wild runs.
fn changing(sessions: usize) -> String {
    let mut text = "session,build,trim,floor,target_m,turns,long_cm,right_cm,status\n".to_string();
    for session in 0..sessions {
        for run in 0..6 {
            let target = 6.0 + ((run + session) % 6) as f64 / 2.0;
            let off = ((7 * run + 5 * session) % 11) as f64 - 5.0;
            let wild = if (run, session % 9) == (1, 4) {
                180.0
            } else {
                0.0
            };
            let status = ["ok", "ok", "recoil", "ok", "touched", "ok"][(run + session / 5) % 6];
            text += &format!(
                "{session},b{session},t{},hall {},{target},{:.2},{},{off},{status}\n",
                session / 2,
                session / 3,
                (target - 0.3) / 0.22,
                2.0 * off + wild,
            );
        }
    }
    text
}

/// Thirty sessions of one or two runs, each with a build of its own, on a dozen floors.
fn many_builds() -> String {
    let mut text = "session,build,floor,target_m,turns,long_cm,right_cm,lead_turns\n".to_string();
    for session in 0..30 {
        for run in 0..1 + session % 2 {
            let target = 6.0 + f64::from((5 * session + 3 * run) % 8) / 2.0;
            let off = f64::from((7 * run + 5 * session) % 11 - 5);
            text += &format!(
                "{session},b{session},hall {},{target},{:.2},{},{off},1.5\n",
                session % 12,
                (target - 0.3) / 0.22,
                2.0 * off
            );
        }
    }
    text
}

/// A log without what is right or left.
fn nothing_across() -> String {
    let all = labelled(&["1", "2", "3", "4", "5", "6"]);
    let without = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        [&cells[..9], &cells[11..]].concat().join(",") + "\n"
    };
    all.lines().map(without).collect()
}

const LONG: [&str; 8] = [
    "Tuesday evening in the long corridor behind the library",
    "Wednesday evening in the long corridor behind the library",
    "Große Sporthalle am Fluß – Übungsabend Nr. 3",
    "Тренировка в большом спортивном зале школы",
    "とても長い名前の体育館での練習日その一",
    "قاعة الرياضة الكبيرة في المدرسة الجديدة",
    "Donaudampfschifffahrtsgesellschaftskapitän",
    "WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW",
];

/// Logs at the ends of what people have.
fn extremes() -> Vec<(&'static str, String)> {
    vec![
        (
            "three runs",
            "session,target_m,turns,long_cm,right_cm,lead_turns\n1,8,34,10,4,1.5\n,7,30,-5,-3,1.5\n,9,38,3,2,1.5\n"
                .to_string(),
        ),
        ("one session", season(|t| t.season.sessions = 1)),
        ("thirty sessions", season(|t| t.season.sessions = 30)),
        (
            "five hundred runs",
            season(|t| {
                t.season.sessions = 20;
                t.season.runs_per_session = vec![25];
            }),
        ),
        ("a hundred sessions", season(|t| t.season.sessions = 100)),
        ("changes with short names", changing(30)),
        ("many builds", many_builds()),
        ("long labels", labelled(&LONG)),
        ("nothing across", nothing_across()),
        (
            "many leads",
            season(|t| {
                t.season.leads_turns = (2..14).map(|i| 0.25 * f64::from(i)).collect();
                t.season.sessions = 12;
            }),
        ),
        ("one target", season(|t| t.season.targets_m = vec![8.0])),
        (
            "negative roll-on",
            season(|t| {
                t.travel.overshoot_m = -0.6;
                t.travel.lead_m_per_turn = -0.1;
            }),
        ),
        (
            "all on one side",
            season(|t| {
                t.heading.straight_rad = 0.2;
                t.heading.curvature_per_m = 0.06;
                t.settings.aim_right_m = Some(0.0);
            }),
        ),
    ]
}

#[test]
fn no_word_leaves_its_figure_or_covers_another_whatever_the_log() {
    let Some(mut page) = Page::start() else {
        return;
    };
    page.call(
        "Emulation.setDeviceMetricsOverride",
        json!({"width": 1280, "height": 900, "deviceScaleFactor": 1, "mobile": false}),
    );
    for (what, log) in extremes() {
        let folder = Folder::new();
        folder.write("s.csv", log);
        // With one target only the wheels say how far a turn goes.
        folder.write("setup.toml", "[vehicle]\nwheel_diameter_cm = 7.4\n");
        folder
            .run("fit s.csv --setup setup.toml --out out")
            .ended_with(0);
        page.open(&folder.path().join("out/report.html"));
        let found = page.value(FAULTS);
        assert!(found[0].as_u64() >= Some(4), "{what}: {found}");
        assert_eq!(found[1], json!([]), "{what}");
        assert_eq!(page.said, Vec::<String>::new(), "{what}");
    }
}

/// Figures of plans, reviews and comparisons, with labels that are long.
#[test]
fn no_word_leaves_the_figures_of_answers_either() {
    let Some(mut page) = Page::start() else {
        return;
    };
    let folder = Folder::new();
    folder.write("s.csv", labelled(&LONG));
    let all = labelled(&LONG);
    let newest: String = all
        .lines()
        .take(1)
        .chain(all.lines().skip(43))
        .map(|l| format!("{l}\n"))
        .collect();
    // Every third of them rolled back.
    let rolled = (newest.lines().enumerate()).map(|(i, line)| match i {
        0 => format!("{line},status\n"),
        i if i % 3 == 0 => format!("{line},recoil\n"),
        _ => format!("{line},\n"),
    });
    folder.write("rolled.csv", rolled.collect::<String>());
    folder.write("new.csv", newest);
    folder.run("fit s.csv --out out").ended_with(0);
    let answers: [(&str, &[&str]); 5] = [
        ("plan", &["plan", "out/calibration.json", "--within", "15"]),
        // One line for all numbers of sessions.
        ("plan", &["plan", "out/calibration.json", "--within", "0.1"]),
        ("review", &["review", "out/calibration.json", "new.csv"]),
        ("review", &["review", "out/calibration.json", "rolled.csv"]),
        (
            "compare",
            &[
                "compare", "s.csv", "--by", "build", "--a", LONG[0], "--b", LONG[1],
            ],
        ),
    ];
    for (i, (name, command)) in answers.into_iter().enumerate() {
        let out = format!("{name}{i}");
        folder
            .run_with(&[command, &["--out", &out]].concat())
            .ended_with(0);
        page.open(&folder.path().join(format!("{out}/{name}.html")));
        let found: Value = page.value(FAULTS);
        assert!(found[0].as_u64() >= Some(1), "{name}: {found}");
        assert_eq!(found[1], json!([]), "{name}");
    }
}

/// One lead and one session leave nothing to draw against: a sentence stands there, and no empty chart.
#[test]
fn where_there_is_nothing_to_draw_a_sentence_says_so() {
    let folder = Folder::new();
    folder.write(
        "s.csv",
        season(|t| {
            t.season.sessions = 1;
            t.season.leads_turns = vec![1.5];
            t.recoil.half_lead_turns = 9.0;
        }),
    );
    folder.run("fit s.csv --out out").ended_with(0);
    let page = folder.text("out/report.html");
    assert!(page.contains(
        "All runs were made with a lead of 1.5 turns: none of 8 watched runs rolled back"
    ));
    assert!(page.contains("The log has one session"));
    for absent in ["recoil", "sessions"] {
        assert!(
            !folder
                .path()
                .join(format!("out/figures/{absent}.svg"))
                .exists(),
            "{absent}"
        );
    }
}

/// Two builds of eight runs, of each one rolled back, and nobody filled recoil_cm.
#[test]
fn counts_of_roll_back_say_of_which_build_and_that_nobody_watched() {
    let row = |i: usize| {
        let (target_m, lead) = (6 + i % 4, 1 + i % 2);
        let turns = 4 * target_m + [2, 3][i % 2];
        let build = ["long string", "short string"][i / 8];
        let status = if i % 8 == 5 { "recoil" } else { "ok" };
        let past_cm = [4, -7, 11, -2, 0, -9, 6][i % 7];
        let day = ["A", "B", "C", "D"][i / 4];
        format!(
            "{day},{build},{target_m},{turns},{lead},{past_cm},{},{status}\n",
            i % 5
        )
    };
    let rows: String = (0..16).map(row).collect();
    let folder = Folder::new();
    folder.write(
        "s.csv",
        format!("session,build,target_m,turns,lead_turns,long_cm,right_cm,status\n{rows}"),
    );
    let fit = folder.run("fit s.csv --out out").ended_with(0);
    assert!(
        fit.stdout
            .contains("no run is noted to have stayed put, so all ok runs are taken to have"),
        "{fit}"
    );
    let page = folder.text("out/report.html");
    assert!(page.contains(
        "Roll-back was seen in 1 of 8 runs (nobody noted having watched, so all ok runs are taken to have stayed put) with \
         the build short string."
    ));
}

/// Thirty builds cannot each have a mark of its own: none is drawn like another that the legend names.
#[test]
fn of_thirty_builds_the_newest_is_set_off_against_the_others() {
    let folder = Folder::new();
    folder.write("s.csv", many_builds());
    folder.run("fit s.csv --out out").ended_with(0);
    let travel = folder.text("out/figures/travel.svg");
    assert!(travel.contains(">29 other builds<") && travel.contains(">build b29<"));
    assert!(!travel.contains(">build b0<"));
    let sessions = folder.text("out/figures/sessions.svg");
    assert!(sessions.contains(">11 other floors<"), "{sessions}");
}

/// Squares that are all alike say no more than a sentence.
#[test]
fn where_nothing_went_wrong_a_sentence_says_so() {
    let folder = Folder::new();
    folder.write("s.csv", many_builds());
    folder.run("fit s.csv --out out").ended_with(0);
    assert!(
        folder
            .text("out/report.html")
            .contains("None of 45 launches went wrong.")
    );
    assert!(!folder.path().join("out/figures/wrong.svg").exists());
}

/// Three runs leave the spread so open that some dots fall tens of metres away: the floor is not stretched to them, and
/// that is said.
#[test]
fn three_runs_do_not_stretch_the_floor() {
    let folder = Folder::new();
    let (_, log) = extremes().swap_remove(0);
    folder.write("s.csv", log);
    folder.run("fit s.csv --out out").ended_with(0);
    let floor = folder.text("out/figures/floor.svg");
    let metres = floor.split("<text").filter_map(|t| {
        let text = t.split('>').nth(1)?.split('<').next()?;
        text.strip_suffix(" m")?.parse::<f64>().ok()
    });
    let farthest = metres.fold(0.0, f64::max);
    assert!(
        (8.0..12.0).contains(&farthest),
        "the floor goes to {farthest} m"
    );
    assert!(floor.contains("dots lie outside of the drawing"));
}

/// Few significant figures and a true minus sign in the folds; signs in words where a range is said.
#[test]
fn folds_have_three_figures_and_true_minus_signs() {
    let folder = Folder::new();
    folder.write("s.csv", season(|t| t.travel.overshoot_m = -0.6));
    folder.run("fit s.csv --out out").ended_with(0);
    let page = folder.text("out/report.html");
    let mut cells = 0;
    for table in page.split("<table class=\"stats\">").skip(1) {
        let table = table.split("</table>").next().expect("a part");
        for cell in table.split("<td>").skip(1) {
            let cell = cell.split("</td>").next().expect("a part");
            cells += 1;
            let has_hyphen = cell
                .match_indices('-')
                .any(|(at, _)| cell[at + 1..].starts_with(|c: char| c.is_ascii_digit()));
            assert!(!has_hyphen, "a hyphen for a minus in {cell:?}");
            for number in cell.split(|c: char| !c.is_ascii_digit() && c != '.') {
                let digits = number
                    .trim_matches('.')
                    .trim_start_matches(['0', '.'])
                    .replace('.', "");
                assert!(digits.len() <= 3, "{number} in {cell:?}");
            }
        }
    }
    assert!(cells > 50, "{cells}");
    assert!(page.contains("short to ") && page.contains("left to "));
}

/// Half of the sessions had another build and trim: one figure says what that did to turns and aim mark. A log of one
/// build and one trim has none.
#[test]
fn settings_before_and_after_are_drawn_where_the_log_has_both() {
    let folder = Folder::new();
    folder.write("both.csv", labelled(&["old", "new", "third", "fourth"]));
    folder.write("one.csv", season(|t| t.season.sessions = 3));
    folder.run("fit both.csv --out both").ended_with(0);
    folder.run("fit one.csv --out one").ended_with(0);
    let page = folder.text("both/report.html");
    assert!(page.contains("turns with build old, and takes"));
    assert!(page.contains("with trim old, and stands"));
    let drawn = folder.text("both/figures/changed.svg");
    assert!(drawn.contains("turns more (+)") && drawn.contains("aim mark, cm to the right"));
    let none = folder.path().join("one/figures/changed.svg");
    assert!(!none.exists());
}
