//! How often each check worries without a cause, and whether it finds one that was planted.

use std::collections::BTreeMap;

use haltmark::calibration::Check;
use haltmark::calibration::fit::{self, Options};
use haltmark::log::run::Season;
use haltmark::setup::Setup;
use haltmark::simulate::{self, FloorTruth as Floor, Truth};
use haltmark::stats::interval::Level;
use rayon::prelude::*;

use super::bounds::{Bounds, allowed};

/// Six sessions of eight runs at five targets, days differing as much as runs, nothing wrong.
pub fn clean() -> Truth {
    let mut truth = Truth::default();
    truth.travel.run_to_run_m = 0.06;
    truth.travel.between_sessions_m = 0.06;
    truth.heading.run_to_run_rad = 0.004;
    truth.heading.between_sessions_rad = 0.004;
    truth.season.sessions = 6;
    truth.season.runs_per_session = vec![8];
    truth.season.targets_m = vec![6.0, 7.0, 8.0, 9.0, 10.0];
    truth.season.leads_turns = vec![1.5];
    truth.recoil.half_lead_turns = 30.0;
    truth.wrong.void = 0.0;
    let floor = |floor: &str, sessions: Vec<usize>| Floor {
        floor: floor.to_string(),
        sessions,
        ..Floor::default()
    };
    truth.floors = vec![floor("hall", vec![1, 3, 5]), floor("yard", vec![2, 4, 6])];
    truth
}

/// The checks of a fit.
pub fn checks_of(season: &Season, setup: &Setup, keep_all: bool) -> Vec<Check> {
    let level = Level::new(0.95).expect("a level");
    let options = Options {
        keep_all,
        ..Options::default()
    };
    let calibration = fit::fit(season, setup, level, options);
    calibration.expect("a season to fit").rigs[0].checks.clone()
}

/// The checks of one simulated season.
pub fn checks(truth: &Truth, seed: u64) -> Vec<Check> {
    checks_of(
        &simulate::season(truth, seed).season,
        &Setup::default(),
        false,
    )
}

/// Per check the part of the seasons in which it worries, and last the part in which any with a p value does.
pub fn rates(truth: &Truth, seasons: u64, seed: u64) -> (BTreeMap<String, f64>, f64) {
    let all: Vec<Vec<Check>> = (0..seasons)
        .into_par_iter()
        .map(|i| checks(truth, seed + i))
        .collect();
    let part = 1.0 / seasons as f64;
    let mut rates = BTreeMap::new();
    let mut any = 0.0;
    for season in &all {
        for check in season {
            *rates.entry(check.name.clone()).or_insert(0.0) += if check.ok { 0.0 } else { part };
        }
        if season.iter().any(|c| c.p.is_some() && !c.ok) {
            any += part;
        }
    }
    (rates, any)
}

pub type Plant = fn(&mut Truth);

/// A fault, the check that must see it, in what part of 200 (the chart: 400) seasons of the large table it does, and how to plant it.
/// What is always seen is asked for in 98 of 100.
pub const FAULTS: [(&str, &str, f64, Plant); 16] = [
    (
        "first run 20 cm long",
        "the first run of a day is like the rest",
        0.98,
        |t| {
            t.effects.first_run_long_m = 0.20;
        },
    ),
    ("3 cm a run", "runs do not drift during a day", 0.98, |t| {
        t.effects.drift_long_m_per_run = 0.03;
    }),
    ("20 cm a session", "no drift over the season", 0.98, |t| {
        t.effects.drift_long_m_per_session = 0.20;
    }),
    (
        "days stretch by 4 %",
        "a day shifts all distances alike",
        0.78,
        |t| {
            t.effects.stretch = 0.04;
        },
    ),
    ("yard 60 cm longer", "floors are alike", 0.98, |t| {
        t.floors[1].long_m = 0.60;
    }),
    ("bend", "straight line is enough", 0.98, |t| {
        t.effects.bend_m_per_turn2 = 0.003;
    }),
    (
        "first run 2 cm a metre right",
        "left and right: the first run of a day is like the rest",
        0.98,
        |t| t.effects.first_run_right_rad = 0.02,
    ),
    (
        "2 mm a metre right each run",
        "left and right: runs do not drift during a day",
        0.98,
        |t| t.effects.drift_right_rad_per_run = 0.002,
    ),
    (
        "15 mm a metre right each session",
        "left and right: no drift over the season",
        0.98,
        |t| t.effects.drift_right_rad_per_session = 0.015,
    ),
    (
        "yard 5 cm a metre right",
        "left and right: floors are alike",
        0.98,
        |t| t.floors[1].right_rad = 0.05,
    ),
    (
        "long runs head right",
        "long or short has nothing to do with left or right",
        0.88,
        |t| t.effects.long_with_right = 0.6,
    ),
    (
        "wild runs along",
        "runs scatter as chance does",
        0.80,
        |t| {
            t.effects.wild = 0.3;
            t.effects.wild_times = 8.0;
        },
    ),
    ("lopsided", "runs scatter as chance does", 0.63, |t| {
        t.effects.lopsided = 0.5;
    }),
    (
        "wild runs across",
        "left and right: runs scatter as chance does",
        0.86,
        |t| {
            t.effects.wild_right = 0.3;
            t.effects.wild_times = 8.0;
        },
    ),
    (
        "20 cm a session, chart",
        "the drift chart stays inside its limits",
        0.59,
        |t| t.effects.drift_long_m_per_session = 0.20,
    ),
    (
        "bend",
        "runs at one setting scatter as much as runs about the line",
        0.93,
        |t| t.effects.bend_m_per_turn2 = 0.003,
    ),
];

/// The part of clean seasons in which any check may worry.
pub const WORRIED: f64 = 0.10;

/// Clean seasons of three sizes, then planted faults in half as many seasons each.
pub fn table(seasons: u64) -> Bounds {
    let mut bounds = Bounds::default();
    for (sessions, runs) in [(3, 6), (6, 8), (8, 8)] {
        let mut truth = clean();
        truth.season.sessions = sessions;
        truth.season.runs_per_session = vec![runs];
        let floors = truth.floors.iter_mut();
        floors.for_each(|f| f.sessions.retain(|&s| s <= sessions));
        let (each, any) = rates(&truth, seasons, 10_000 * sessions as u64);
        let what = format!("clean, {sessions} sessions of {runs}");
        println!("{what}: any {any:.3}");
        for (name, rate) in each {
            println!("  {rate:.3} {name}");
        }
        bounds.at_most(&what, any, WORRIED + allowed(WORRIED, seasons));
    }
    let seasons = seasons.div_ceil(2);
    for (what, name, found, plant) in FAULTS {
        let mut truth = clean();
        plant(&mut truth);
        let (each, any) = rates(&truth, seasons, 500_000);
        println!("{what}: {name} {:.3} ({found}), any {any:.3}", each[name]);
        bounds.at_least(what, each[name], found - allowed(found, seasons));
    }
    bounds
}
