//! When one run moves by a millimetre, what is promised moves by about as much: at every size at which the program changes its
//! way, and all along the way of a run from far short to far long. Rules that decide something are live: a blunder is set
//! aside, a prior that the runs contradict is let go, a run of the day is doubted, another lead is used, spreads are reported
//! at the growth of largest weight. Each shows in the result, and there alone a step may be larger.

mod common;

use common::Folder;
use haltmark::calibration::file;
use haltmark::calibration::fit::{Options, fit};
use haltmark::decide::correct::{AlmostImpossible, correct};
use haltmark::decide::predict::{Hand, next_run};
use haltmark::decide::{Choice, Situation, dial};
use haltmark::log::run::Season;
use haltmark::setup::{self, Setup};
use haltmark::simulate::{self, Truth};
use haltmark::stats::interval::{Interval, Level};
use haltmark::stats::resample::{replicate, uniform};
use serde_json::Value;

/// How far a run is moved.
const MOVED_M: f64 = 0.001;

fn invented(seed: u64, sessions: usize, runs: usize, change: impl Fn(&mut Truth)) -> Season {
    let mut truth = Truth::default();
    truth.season.sessions = sessions;
    truth.season.runs_per_session = vec![runs];
    change(&mut truth);
    simulate::season(&truth, seed).season
}

fn setup(more: &str) -> Setup {
    let text = format!("[event]\nshortest_m = 6\nlongest_m = 9\n{more}");
    setup::from_toml("setup.toml", &text).expect("a set-up")
}

/// What is promised, m at a target of 8 m, and which live rules have spoken.
#[derive(Debug, Clone)]
struct Promised {
    settings: Vec<f64>,
    intervals: Vec<f64>,
    /// Spreads, at the growth of largest weight.
    reported: Vec<f64>,
    rules: Vec<String>,
    growth: f64,
}

const TARGET_M: f64 = 8.0;

fn promised(season: &Season, setup: &Setup) -> Promised {
    let calibration = fit(season, setup, Level::default(), Options::default()).expect("a fit");
    let situation = Situation::new(&calibration, &Choice::default()).expect("one rig");
    let mut out = of_situation(&situation);
    let rig = &calibration.rigs[0];
    out.rules.extend(
        rig.set_aside
            .iter()
            .map(|aside| format!("set aside: line {}", aside.line)),
    );
    let travel = &rig.travel;
    let heading = rig
        .heading
        .iter()
        .flat_map(|h| [h.run_to_run_rad, h.between_sessions_rad].map(|i| i.scaled(TARGET_M)));
    out.reported = ends(
        [travel.run_to_run_m, travel.between_sessions_m]
            .into_iter()
            .chain(heading),
    );
    out.growth = travel.posterior.likeliest_growth();
    out
}

fn of_situation(situation: &Situation) -> Promised {
    let rig = situation.rig;
    let m_per_turn = rig.travel.distance_per_turn_m.estimate;
    let exact = dial::exact(situation, TARGET_M, Level::default()).expect("a setting");
    let aim = exact.aim_right_m.map_or(0.0, |aim| aim.estimate);
    // At one hand, for the setting's own moves by whole ticks.
    let hand = Hand {
        target_m: TARGET_M,
        turns: 32.0,
        aim_right_m: -0.2,
    };
    let prediction = next_run(situation, hand);
    let long = prediction.long_m(Level::default());
    let miss = prediction.miss_m(situation.setup.score.measure, Level::default());
    let across = [prediction.right_m(Level::default()), miss]
        .into_iter()
        .flatten();
    let turns = exact.turns.scaled(m_per_turn);
    let mut rules: Vec<String> = rig
        .warnings
        .iter()
        .filter(|w| w.contains("are believed") || w.contains("not next to nothing"))
        .cloned()
        .collect();
    rules.push(format!("lead {:?}", situation.lead_turns));
    Promised {
        settings: vec![turns.estimate, aim],
        intervals: ends(
            [turns, long]
                .into_iter()
                .chain(exact.aim_right_m)
                .chain(across),
        ),
        reported: Vec::new(),
        rules,
        growth: 0.0,
    }
}

fn ends(of: impl IntoIterator<Item = Interval>) -> Vec<f64> {
    of.into_iter().flat_map(|i| [i.low, i.high]).collect()
}

/// The largest step of a list of numbers; ends that do not exist on both sides are none.
fn step(a: &[f64], b: &[f64]) -> f64 {
    assert_eq!(a.len(), b.len());
    let steps = a
        .iter()
        .zip(b)
        .map(|(x, y)| if x == y { 0.0 } else { (x - y).abs() });
    steps.fold(0.0, f64::max)
}

fn moved(season: &Season, run: usize, by_m: f64, across: bool) -> Season {
    let mut season = season.clone();
    let run = &mut season.runs[run];
    match across {
        true => run.right_m = run.right_m.map(|right| right + by_m),
        false => run.rest_m = run.rest_m.map(|rest| rest + by_m),
    }
    season
}

/// Two of the millimetres moved, or five: the weight of one run in a line of three at the end of it, and what chance makes of
/// the spread of so few. A season of twelve runs moves by less than one. *Measured* over the cases below: settings 3.2 and
/// ends 4.0 mm with four runs, 0.5 mm with twenty.
const STEP_FEW_M: f64 = 0.005;
const STEP_M: f64 = 0.002;
const FEW_RUNS: usize = 10;

fn bound(runs: usize) -> f64 {
    if runs <= FEW_RUNS { STEP_FEW_M } else { STEP_M }
}

/// What a step of a millimetre met.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Met {
    /// Nothing: it was held against the bound.
    Nothing,
    /// A live rule that spoke on one side of it only.
    Rule,
}

/// Holds two fits that differ by a millimetre of one run against the bound.
fn holds(what: &str, a: &Promised, b: &Promised, bound: f64) -> Met {
    if a.rules != b.rules {
        return Met::Rule;
    }
    let steps = [
        step(&a.settings, &b.settings),
        step(&a.intervals, &b.intervals),
    ];
    assert!(
        steps.iter().all(|s| *s < bound),
        "{what}: {steps:?}\n{a:?}\n{b:?}"
    );
    if a.growth == b.growth {
        let reported = step(&a.reported, &b.reported);
        assert!(reported < bound, "{what}: {reported}\n{a:?}\n{b:?}");
    }
    Met::Nothing
}

/// All steps of a run on its way, from so many millimetres to so many: how many met a rule, and how many nothing.
fn along(
    way: std::ops::RangeInclusive<i32>,
    what: &str,
    bound: f64,
    at: impl Fn(i32) -> Promised,
) -> (u32, u32) {
    let mut before = at(*way.start());
    let (mut rules, mut held) = (0, 0);
    for mm in way.skip(1) {
        let after = at(mm);
        let met = holds(&format!("{what}, {mm} mm"), &before, &after, bound);
        rules += u32::from(met == Met::Rule);
        held += u32::from(met == Met::Nothing);
        before = after;
    }
    (rules, held)
}

/// Sizes on either side of whatever the program does otherwise with more of them: the fewest runs for a fit (3), for a blunder
/// and for a line of time (6), for the shorter table of quantiles (5 degrees of freedom), one session and one run in each;
/// the fifty sessions of the check of influence, the sixty of the sessions left out, the sixty settings of the test of a bend.
const SIZES: [(usize, usize); 22] = [
    (1, 3),
    (1, 4),
    (1, 5),
    (1, 6),
    (1, 7),
    (1, 8),
    (2, 2),
    (2, 3),
    (3, 1),
    (3, 2),
    (3, 3),
    (4, 1),
    (5, 1),
    (4, 4),
    (6, 8),
    (50, 2),
    (51, 2),
    (60, 2),
    (61, 2),
    (3, 60),
    (3, 61),
    (1, 67),
];

#[test]
fn a_millimetre_moves_promises_by_millimetres_at_every_size() {
    let (mut rules, mut held) = (0, 0);
    for (sessions, runs) in SIZES {
        let seasons = if sessions * runs > 30 { 1 } else { 4 };
        for seed in 0..seasons {
            let season = invented(seed, sessions, runs, |truth| {
                truth.season.targets_m = vec![6.0, 7.0, 9.0];
                truth.settings.vary_turns = 0.4;
            });
            let setup = setup(["", "[vehicle]\nwheel_diameter_cm = 7.6\n"][seed as usize % 2]);
            let before = promised(&season, &setup);
            let mut chance = replicate(1805, seed);
            for across in [false, true, false, true] {
                let run = (season.runs.len() as f64 * uniform(&mut chance)) as usize;
                let after = promised(&moved(&season, run, MOVED_M, across), &setup);
                let what = format!("{sessions} sessions of {runs}, season {seed}, run {run}");
                let met = holds(&what, &before, &after, bound(season.runs.len()));
                rules += u32::from(met == Met::Rule);
                held += u32::from(met == Met::Nothing);
            }
        }
    }
    // At a fixed place a rule hardly ever lies within the millimetre.
    assert!(rules <= 2 && held > 200, "{rules} {held}");
}

/// One run on its way from far short to far long, and from far left to far right, millimetre by millimetre: through the places at which it is set aside, at which a prior on the turn is let go, at which another growth is the likeliest.
#[test]
fn a_run_on_its_way_moves_promises_by_millimetres() {
    for (sessions, runs, far, more) in [
        (2, 3, 100, ""),
        (3, 4, 160, "[vehicle]\nwheel_diameter_cm = 7.0\n"),
        (4, 4, 160, "[prior]\nspread_growth = 0.5\n"),
    ] {
        let season = invented(9, sessions, runs, |truth| truth.travel.run_to_run_m = 0.03);
        let setup = setup(more);
        for across in [false, true] {
            let what = format!("{sessions} sessions of {runs}, across {across}");
            let at =
                |mm: i32| promised(&moved(&season, 4, f64::from(mm) * MOVED_M, across), &setup);
            let (rules, held) = along(-far..=far, &what, bound(season.runs.len()), at);
            assert!(rules <= 6 && held > far as u32, "{what}: {rules} {held}");
        }
    }
}

/// A run of today on its way: the corrected setting moves by less than the run does, but where it is doubted or no longer.
#[test]
fn a_run_of_today_moves_the_correction_by_less_than_itself() {
    let season = invented(1, 4, 6, |_| {});
    let calibration =
        fit(&season, &setup(""), Level::default(), Options::default()).expect("a fit");
    let mut today = season.clone();
    today.runs.truncate(3);
    today.sessions.truncate(1);
    for across in [false, true] {
        let at = |mm: i32| {
            let today = moved(&today, 1, f64::from(mm) * MOVED_M, across);
            let left_out = AlmostImpossible::LeftOut;
            let corrected =
                correct(&calibration, &today, &Choice::default(), left_out).expect("a day");
            let mut promised = of_situation(&corrected.situation);
            let doubted = corrected.doubted.iter();
            promised
                .rules
                .extend(doubted.map(|d| format!("doubted: line {}", d.line)));
            promised
        };
        let what = format!("across {across}");
        let (rules, held) = along(-500..=500, &what, MOVED_M, at);
        // Doubted on either side, and what may be doubted beside it.
        assert!(
            (1..=6).contains(&rules) && held > 900,
            "{what}: {rules} {held}"
        );
    }
}

/// `tests/kept/` has a calibration as an earlier version of the program wrote it, the log of a day, and what that version answered.
/// It is read, and says of two targets and of that day what it said then; or it is refused with what to do.
#[test]
fn a_calibration_of_an_earlier_version_is_read_or_refused_with_what_to_do() {
    let kept = |name: &str| {
        let path = format!("{}/tests/kept/{name}", env!("CARGO_MANIFEST_DIR"));
        std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"))
    };
    let folder = Folder::new();
    folder.write("calibration.json", kept("calibration.json"));
    folder.write("today.csv", kept("today.csv"));
    if let Err(faults) = file::read("calibration.json", &kept("calibration.json")) {
        let told = faults.to_string();
        assert!(
            told.contains("please make it again with haltmark fit"),
            "{told}"
        );
        return;
    }
    for (command, answer) in [
        ("dial . --target 6.5,8.2", "dial.json"),
        ("correct . today.csv --target 8.2", "correct.json"),
    ] {
        let now = folder
            .run(&format!("{command} --json"))
            .ended_with(0)
            .json();
        let then: Value = serde_json::from_str(&kept(answer)).expect("JSON");
        let (now, then) = (&now["settings"], &then["settings"]);
        let settings = |of: &Value| of.as_array().expect("settings").clone();
        assert_eq!(settings(now).len(), settings(then).len());
        for (now, then) in settings(now).iter().zip(&settings(then)) {
            for key in ["target_m", "turns", "aim_right_cm", "lead_turns"] {
                assert_eq!(now[key], then[key], "{command}: {key}");
            }
            for key in ["long_cm", "right_cm", "miss_cm"] {
                let high = |of: &Value| of[key]["high"].as_f64().expect("a number");
                assert!(
                    (high(now) - high(then)).abs() < 0.1,
                    "{command}: {key} {now} {then}"
                );
            }
        }
    }
}
