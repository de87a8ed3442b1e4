//! How often `review` is right about a new session.

use haltmark::calibration::Calibration;
use haltmark::decide::correct::{AlmostImpossible, correct};
use haltmark::decide::review::{self, Verdict};
use haltmark::decide::{Choice, Situation};
use haltmark::log::run::{Run, Season};
use haltmark::simulate;
use haltmark::stats::interval::Level;
use rayon::prelude::*;

use super::bounds::{Bounds, allowed};
use super::promises::{Day, fitted, settings};
use super::vehicle::{RATIOS, RUN_TO_RUN_M, TARGETS_M, truth};

/// A new session of `runs` at printed settings, moved along by `shift_m` and `wider` times as wide, as a log.
fn new_session(
    situation: &Situation,
    ratio: f64,
    seed: u64,
    runs: usize,
    shift_m: f64,
    wider: f64,
) -> Season {
    let mut day = Day::new(ratio, seed, 0);
    day.along_m += shift_m;
    let settings = settings(situation);
    let blank = || vec![String::new()];
    Season {
        files: vec!["event.csv".to_string()],
        sessions: vec!["the event".to_string()],
        vehicles: blank(),
        wheels: blank(),
        builds: blank(),
        trims: blank(),
        floors: blank(),
        runs: (0..runs)
            .map(|i| {
                let hand = settings[(2 * i) % settings.len()];
                let (long, right) = day.run(hand, wider);
                Run {
                    line: i as u32 + 2,
                    order: i as f64,
                    target_m: Some(hand.target_m),
                    turns: Some(hand.turns),
                    rest_m: Some(hand.target_m + long),
                    right_m: Some(right),
                    aim_right_m: Some(hand.aim_right_m),
                    ..Run::default()
                }
            })
            .collect(),
        ..Season::default()
    }
}

/// Verdicts over seasons: shares of shifted and of wider (both count as each).
pub fn verdicts(
    sessions: usize,
    ratio: f64,
    seasons: u64,
    runs: usize,
    shift_sd: f64,
    wider: f64,
) -> (f64, f64) {
    let found: Vec<Verdict> = (0..seasons)
        .into_par_iter()
        .map(|i| {
            let seed = 70_000_000 + 100_000 * sessions as u64 + i;
            let season = simulate::season(&truth(ratio, sessions, &TARGETS_M), seed).season;
            let calibration = fitted(&season);
            let situation = Situation::new(&calibration, &Choice::default()).expect("one rig");
            // An SD of a first run of a new day.
            let sd_m = RUN_TO_RUN_M * (1.0 + ratio * ratio).sqrt();
            let new = new_session(
                &situation,
                ratio,
                seed ^ 0xfeed,
                runs,
                shift_sd * sd_m,
                wider,
            );
            review::review(&situation, &new, Level::default())
                .expect("runs")
                .verdict
        })
        .collect();
    let share =
        |of: &[Verdict]| found.iter().filter(|v| of.contains(v)).count() as f64 / seasons as f64;
    (
        share(&[Verdict::Shifted, Verdict::ShiftedAndWider]),
        share(&[Verdict::Wider, Verdict::ShiftedAndWider]),
    )
}

/// A season's calibration, and a new session of an unchanged vehicle whose first run is off by a slip along.
fn with_slip<T>(
    (sessions, ratio): (usize, f64),
    index: u64,
    (runs, slip_m): (usize, f64),
    told: impl Fn(&Calibration, &Situation, &Season) -> T,
) -> T {
    let seed = 90_000_000 + 100_000 * sessions as u64 + index;
    let season = simulate::season(&truth(ratio, sessions, &TARGETS_M), seed).season;
    let calibration = fitted(&season);
    let situation = Situation::new(&calibration, &Choice::default()).expect("one rig");
    let mut new = new_session(&situation, ratio, seed ^ 0xfeed, runs, 0.0, 1.0);
    new.runs[0].rest_m = new.runs[0].rest_m.map(|rest| rest + slip_m);
    told(&calibration, &situation, &new)
}

/// Shares of days of two runs on which `correct` doubts the first run, and the second.
pub fn doubted(sessions: usize, ratio: f64, seasons: u64, slip_m: f64) -> [f64; 2] {
    let one = |index| {
        with_slip(
            (sessions, ratio),
            index,
            (2, slip_m),
            |calibration, _, new| {
                let choice = Choice::default();
                let found =
                    correct(calibration, new, &choice, AlmostImpossible::LeftOut).expect("a day");
                [2, 3].map(|line| found.doubted.iter().any(|d| d.line == line))
            },
        )
    };
    let all: Vec<[bool; 2]> = (0..seasons).into_par_iter().map(one).collect();
    [0, 1].map(|k| all.iter().filter(|d| d[k]).count() as f64 / seasons as f64)
}

/// Of reviews of six runs: shares in which the first run was set aside, another was, and the calibration holds without and with.
pub fn set_aside(sessions: usize, ratio: f64, seasons: u64, slip_m: f64) -> [f64; 4] {
    let one = |index| {
        with_slip(
            (sessions, ratio),
            index,
            (6, slip_m),
            |_, situation, new| {
                let found = review::review(situation, new, Level::default()).expect("runs");
                [
                    found.set_aside.iter().any(|s| s.line == 2),
                    found.set_aside.iter().any(|s| s.line != 2),
                    found.verdict == Verdict::Holds,
                    found.verdict_with_all == Verdict::Holds,
                ]
            },
        )
    };
    let all: Vec<[bool; 4]> = (0..seasons).into_par_iter().map(one).collect();
    [0, 1, 2, 3].map(|k| all.iter().filter(|d| d[k]).count() as f64 / seasons as f64)
}

/// A run that the day, the vehicle and chance could have brought is doubted in so many of 1,000 at most, twice over: of each two
/// chances, along and across.
pub const DOUBTED: f64 = 0.002;
/// A review of unchanged runs sets one aside in so many cases at most.
pub const SET_ASIDE: f64 = 0.01;

/// Mean and spread are each called changed in so many reviews of an unchanged vehicle at most: half of what the level leaves.
pub const FALSE: f64 = 0.025;

/// Shares called shifted and wider, by what changed.
pub fn table(seasons: u64) -> Bounds {
    let mut bounds = Bounds::default();
    println!(
        "{seasons} seasons a cell, 8 runs a session, 6 new runs in one session; shares called shifted / wider"
    );
    println!("sessions τ/σ | no change | 1 SD | 2 SD | 4 SD | 1.5 times as wide | 2 times");
    for sessions in [3, 4, 8] {
        for ratio in RATIOS {
            let of = |shift, wider| verdicts(sessions, ratio, seasons, 6, shift, wider);
            let (shifted, wider) = of(0.0, 1.0);
            let changed = [(1.0, 1.0), (2.0, 1.0), (4.0, 1.0), (0.0, 1.5), (0.0, 2.0)];
            let cells = changed.map(|(shift, wider)| {
                let (s, w) = of(shift, wider);
                format!("{s:.3} / {w:.3}")
            });
            println!(
                "{sessions} {ratio:.1} | {shifted:.3} / {wider:.3} | {}",
                cells.join(" | ")
            );
            for (what, share) in [("shifted", shifted), ("wider", wider)] {
                let what = format!("{sessions} sessions, τ/σ {ratio}, falsely {what}");
                bounds.at_most(&what, share, FALSE + allowed(FALSE, seasons));
            }
        }
    }
    println!(
        "slips of 0, 30 and 108 cm in the first run: doubted first second | of six runs set aside it another, holds without with"
    );
    for sessions in [3, 4, 8] {
        for ratio in RATIOS {
            let cells = [0.0, 0.3, 1.08].map(|slip_m| {
                let [first, second] = doubted(sessions, ratio, seasons, slip_m);
                let [it, another, without, with] = set_aside(sessions, ratio, seasons, slip_m);
                if slip_m == 0.0 {
                    let what = format!("{sessions} sessions, τ/σ {ratio}, falsely");
                    let most = DOUBTED + allowed(DOUBTED, seasons);
                    bounds.at_most(&format!("{what} doubted"), first.max(second), most);
                    let most = SET_ASIDE + allowed(SET_ASIDE, seasons);
                    bounds.at_most(&format!("{what} set aside"), it + another, most);
                }
                format!("{first:.3} {second:.3} | {it:.3} {another:.3} {without:.3} {with:.3}")
            });
            println!("{sessions} {ratio:.1} | {}", cells.join(" || "));
        }
    }
    bounds
}
