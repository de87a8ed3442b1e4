//! How often the season's story claims that misses changed where they did not, and finds it where they did.

use std::collections::BTreeSet;

use haltmark::calibration::chronicle::{self, Chronicle, SinceVerdict};
use haltmark::log::run::{Run, Season, Status};
use haltmark::setup::Measure;
use haltmark::simulate::{self, BuildTruth, FloorTruth, TrimTruth, Truth};
use haltmark::stats::interval::Level;
use haltmark::stats::resample::{normal, replicate};
use rayon::prelude::*;

use super::bounds::{Bounds, allowed};

/// A season whose runs miss by a day's shift and a run's own error along and across, written down to the half centimetre.
#[derive(Debug, Clone, Copy)]
pub struct Misses {
    pub sessions: usize,
    pub runs: usize,
    /// Sd between sessions over sd between runs, along and across.
    pub days: f64,
    /// From which session on, counted from 0, all misses are this many times what they were.
    pub from: usize,
    pub times: f64,
    /// Ln of the typical miss of the last session over that of the first, beside that.
    pub ln_trend: f64,
}

impl Misses {
    /// Nothing changes.
    pub fn even(sessions: usize, runs: usize, days: f64) -> Self {
        Misses {
            sessions,
            runs,
            days,
            from: 0,
            times: 1.0,
            ln_trend: 0.0,
        }
    }

    /// The season of a seed, with a build that is new in the session at `build`, a trim at `trim` and a floor at `floor`.
    pub fn season(&self, seed: u64, [build, trim, floor]: [usize; 3]) -> Season {
        let mut stream = replicate(17, seed);
        let words = |name: &str| vec![format!("old {name}"), format!("new {name}")];
        let mut season = Season {
            files: vec!["season.csv".to_string()],
            sessions: (0..self.sessions)
                .map(|s| format!("day {}", s + 1))
                .collect(),
            vehicles: vec![String::new()],
            wheels: vec![String::new()],
            builds: words("build"),
            trims: words("trim"),
            floors: words("floor"),
            ..Season::default()
        };
        for session in 0..self.sessions {
            let part = session as f64 / (self.sessions - 1).max(1) as f64;
            let step = if session >= self.from {
                self.times
            } else {
                1.0
            };
            let size_m = 0.06 * step * (self.ln_trend * part).exp();
            let day = [(); 2].map(|()| self.days * normal(&mut stream));
            for run in 0..self.runs {
                let target_m = 6.0 + f64::from(u8::try_from((run + session) % 5).expect("small"));
                let mut off = |day: f64| {
                    let off_m = size_m * (target_m / 8.0).sqrt() * (day + normal(&mut stream));
                    (200.0 * off_m).round() / 200.0
                };
                let label = |from: usize| u32::from(session >= from);
                season.runs.push(Run {
                    line: u32::try_from(season.runs.len() + 2).expect("few rows"),
                    session: u32::try_from(session).expect("few sessions"),
                    order: run as f64,
                    build: label(build),
                    trim: label(trim),
                    floor: label(floor),
                    status: Status::Ok,
                    target_m: Some(target_m),
                    rest_m: Some(target_m + off(day[0])),
                    right_m: Some(off(day[1])),
                    ..Run::default()
                });
            }
        }
        season
    }
}

/// The story of a season at 95 %.
pub fn story(season: &Season) -> Chronicle {
    chronicle::told(season, &BTreeSet::new(), Measure::Point, Level::default()).expect("misses")
}

/// Whether anything is said to have changed.
pub fn claims_anything(told: &Chronicle) -> bool {
    told.judged
        .as_ref()
        .expect("several sessions")
        .is_claiming()
}

/// The part of seasons in which something holds.
pub fn share(seasons: u64, holds: impl Fn(u64) -> bool + Sync) -> f64 {
    let count = (0..seasons).into_par_iter().filter(|&i| holds(i)).count();
    count as f64 / seasons as f64
}

/// The part of seasons without a change of misses in which the story claims one; three labels change.
pub fn false_alarms(misses: Misses, seasons: u64, seed: u64) -> f64 {
    let at = |part: f64| ((part * misses.sessions as f64) as usize).max(1);
    let labels = [at(0.5), at(0.3), at(0.8)];
    share(seasons, |i| {
        claims_anything(&story(&misses.season(seed + i, labels)))
    })
}

/// The same on seasons of the simulator, which are set by a first guess at the dial and have a day's shift of their own.
pub fn false_alarms_of_simulator(seasons: u64, seed: u64) -> f64 {
    let mut truth = Truth::default();
    truth.season.sessions = 8;
    truth.season.runs_per_session = vec![8];
    let build = BuildTruth {
        build: "new".to_string(),
        from_session: 5,
        overshoot_m: None,
    };
    truth.builds = vec![build];
    truth.trims = vec![TrimTruth {
        trim: "new".to_string(),
        from_session: 3,
        ..TrimTruth::default()
    }];
    truth.floors = vec![FloorTruth {
        floor: "hall".to_string(),
        sessions: vec![7, 8],
        ..FloorTruth::default()
    }];
    share(seasons, |i| {
        claims_anything(&story(&simulate::season(&truth, seed + i).season))
    })
}

/// Of seasons whose misses are `times` what they were from the middle on, where a build was new: those in which this is
/// said of the build, and those in which its interval holds the truth.
pub fn found(sessions: usize, runs: usize, days: f64, times: f64, seasons: u64) -> (f64, f64) {
    let middle = sessions / 2;
    let misses = Misses {
        from: middle,
        times,
        ..Misses::even(sessions, runs, days)
    };
    let never = sessions;
    let change = |i: u64| {
        let told = story(&misses.season(5_000 + i, [middle, never, never]));
        told.judged
            .expect("several sessions")
            .changes
            .swap_remove(0)
    };
    let wanted = if times < 1.0 {
        SinceVerdict::Smaller
    } else {
        SinceVerdict::Larger
    };
    let hits = share(seasons, |i| change(i).verdict == wanted);
    let held = share(seasons, |i| {
        change(i)
            .ratio
            .is_some_and(|r| r.low <= times && times <= r.high)
    });
    (hits, held)
}

/// Most claims that seasons without a change may have.
pub const CLAIMED: f64 = 0.05;

/// False alarms by sessions, runs and how far days differ; hits for halved misses.
pub fn table(seasons: u64) -> Bounds {
    let mut bounds = Bounds::default();
    for sessions in [2, 3, 4, 6, 9, 30] {
        for runs in [4, 10] {
            for days in [0.0, 1.0, 2.0] {
                let rate = false_alarms(Misses::even(sessions, runs, days), seasons, 90_000);
                let what = format!("even, {sessions} sessions of {runs}, days {days}");
                println!("{what}: claimed {rate:.3}");
                bounds.at_most(&what, rate, CLAIMED + allowed(CLAIMED, seasons));
            }
        }
    }
    let rate = false_alarms_of_simulator(seasons, 40_000);
    println!("simulator: claimed {rate:.3}");
    bounds.at_most("simulator", rate, CLAIMED + allowed(CLAIMED, seasons));
    for (sessions, runs) in [(4, 8), (6, 8), (9, 12), (16, 8)] {
        for (days, times) in [(0.0, 0.5), (0.5, 0.5), (1.0, 0.5), (0.5, 2.0), (0.5, 0.25)] {
            let (hits, held) = found(sessions, runs, days, times, seasons);
            println!(
                "{sessions} sessions of {runs}, days {days}, {times} times: found {hits:.3}, held {held:.3}"
            );
        }
    }
    bounds
}
