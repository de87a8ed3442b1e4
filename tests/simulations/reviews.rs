//! How often `review` is right about a new session.

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
    bounds
}
