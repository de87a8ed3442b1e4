//! How often each check worries without a cause, and whether it finds one that was planted.
//!
//! Invented seasons with fixed seeds. The small version runs with the tests; the table on demand:
//! `cargo test --release --test checks -- --ignored --nocapture`.

mod common;

use std::collections::BTreeMap;

use haltmark::calibration::Check;
use haltmark::calibration::fit::{self, Options};
use haltmark::log::run::Season;
use haltmark::setup::{Obstacle, ObstacleAt, PassSide, Setup};
use haltmark::simulate::{self, FloorTruth as Floor, ObstacleTruth, Truth};
use haltmark::stats::interval::Level;
use rayon::prelude::*;

/// Six sessions of eight runs at five targets, days differing as much as runs, nothing wrong.
fn clean() -> Truth {
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

fn checks_of(season: &Season, setup: &Setup, keep_all: bool) -> Vec<Check> {
    let level = Level::new(0.95).expect("a level");
    let options = Options {
        keep_all,
        ..Options::default()
    };
    let calibration = fit::fit(season, setup, level, options);
    calibration.expect("a season to fit").rigs[0].checks.clone()
}

fn checks(truth: &Truth, seed: u64) -> Vec<Check> {
    checks_of(
        &simulate::season(truth, seed).season,
        &Setup::default(),
        false,
    )
}

#[track_caller]
fn named<'a>(checks: &'a [Check], name: &str) -> &'a Check {
    let found = checks.iter().find(|c| c.name == name);
    found.unwrap_or_else(|| panic!("no check {name:?} among {checks:?}"))
}

/// Per check the part of the seasons in which it worries, and last the part in which any with a p value does.
fn rates(truth: &Truth, seasons: u64, seed: u64) -> (BTreeMap<String, f64>, f64) {
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

type Plant = fn(&mut Truth);

/// A fault, the check that must see it, in what part of 200 (the chart: 400) seasons of the large table it does, and how to plant it.
/// What is always seen is asked for in 98 of 100.
const FAULTS: [(&str, &str, f64, Plant); 17] = [
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
        "3 cm a metre",
        "long runs scatter no more than short ones",
        0.64,
        |t| {
            t.travel.run_to_run_m = 0.001;
            t.effects.spread_m_per_m = 0.03;
            t.season.targets_m = vec![3.0, 5.0, 7.0, 9.0, 11.0];
        },
    ),
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
        0.98,
        |t| t.effects.bend_m_per_turn2 = 0.003,
    ),
];

#[test]
#[ignore = "large: some minutes"]
fn the_table() {
    for (sessions, runs) in [(3, 6), (6, 8), (8, 8)] {
        let mut truth = clean();
        truth.season.sessions = sessions;
        truth.season.runs_per_session = vec![runs];
        truth
            .floors
            .iter_mut()
            .for_each(|f| f.sessions.retain(|&s| s <= sessions));
        let (each, any) = rates(&truth, 400, 10_000 * sessions as u64);
        println!("clean, {sessions} sessions of {runs}: any {any:.3}");
        for (name, rate) in each {
            println!("  {rate:.3} {name}");
        }
    }
    for (what, name, found, plant) in FAULTS {
        let mut truth = clean();
        plant(&mut truth);
        let (each, any) = rates(&truth, 200, 500_000);
        println!("{what}: {name} {:.3} ({found}), any {any:.3}", each[name]);
    }
}

/// The large table has at most 9 of 100 clean seasons with a worry; with 100 seasons the standard error of one in ten
/// is 3 %: three of them are allowed.
#[test]
fn clean_seasons_seldom_worry() {
    let (each, any) = rates(&clean(), 100, 9_000);
    assert!(any <= 0.10 + 3.0 * 0.03, "{any}: {each:?}");
}

/// As often as the large table finds them, less three standard errors of a share of 30 seasons.
#[test]
fn planted_faults_are_found() {
    const SEASONS: f64 = 30.0;

    for (what, name, found, plant) in FAULTS {
        let mut truth = clean();
        plant(&mut truth);
        let (each, _) = rates(&truth, SEASONS as u64, 700_000);
        let wanted = found - 3.0 * (found * (1.0 - found) / SEASONS).sqrt();
        assert!(each[name] >= wanted - 1e-9, "{what}: {each:?}");
    }
}

#[test]
fn one_day_cannot_tell_days_apart() {
    let mut truth = clean();
    truth.season.sessions = 1;
    let one_day = checks(&truth, 3);
    let check = named(&one_day, "days can be told apart");
    assert!(!check.ok && check.p.is_none() && check.means.contains("one day"));
    truth.season.sessions = 8;
    truth.season.runs_per_session = vec![1];
    let one_run = checks(&truth, 3);
    let check = named(&one_run, "days can be told apart");
    assert!(!check.ok && check.means.contains("one run only"));
}

#[test]
fn one_floor_is_said() {
    let mut truth = clean();
    truth.floors.clear();
    truth.floor = "hall".to_string();
    let all = checks(&truth, 4);
    let check = named(&all, "floors are alike");
    assert!(!check.ok && check.p.is_none() && check.means.contains("one floor"));
}

/// The set-up has the obstacle 10 cm from where it really stood.
#[test]
fn a_misplaced_obstacle_is_found() {
    let mut truth = clean();
    truth.heading.curvature_per_m = 0.06;
    truth.obstacle = Some(ObstacleTruth {
        at: 0.45,
        right_m: 0.10,
        diameter_m: 0.10,
        width_m: 0.16,
        pass_left: true,
        gap_noted: 1.0,
    });
    let season = simulate::season(&truth, 5).season;
    let mut setup = Setup::default();
    setup.vehicle.width_m = Some(0.16);
    let place = |right_m| Obstacle {
        at: ObstacleAt::Fraction(0.45),
        right_m,
        diameter_m: 0.10,
        pass: PassSide::Left,
        touch_accept: 0.02,
    };
    for (right_m, ok) in [(0.10, true), (0.20, false)] {
        setup.obstacle = Some(place(right_m));
        let all = checks_of(&season, &setup, false);
        let check = named(&all, "the gap at the obstacle is as expected");
        assert_eq!(check.ok, ok, "{check:?}");
    }
}

/// Two runs at the far target, one of them 30 cm long: by hand, without it the line at 10 m falls by 15 cm and half
/// way by 7.5 cm, against a run-to-run spread of about √(2 × 15²/6) = 8.7 cm.
#[test]
fn a_run_that_decides_the_setting_is_named() {
    let log = "session,target_m,turns,long_cm\n\
        a,6,25,1\na,6,25,-1\na,6,25,0\na,6,25,1\na,6,25,-1\na,6,25,0\n\
        a,10,42,0\na,10,42,30\n";
    let (season, _) = common::read(log);
    let all = checks_of(&season, &Setup::default(), true);
    let check = named(&all, "no single run decides the setting");
    assert!(!check.ok && check.means.contains("7.5 cm"), "{check:?}");
}

/// Two of twelve: 2/12, and the exact interval of Clopper and Pearson is 0.0209 to 0.4841, found apart
/// from this program by halving: P(X ≥ 2) = 0.025 at the lower end, P(X ≤ 2) = 0.025 at the upper.
#[test]
fn runs_that_went_wrong_are_counted() {
    let row = |i: usize| {
        let status = if i < 2 { "touched" } else { "" };
        format!(
            "{},{},{},{},{status}\n",
            i / 4,
            6 + i % 3,
            25 + 4 * (i % 3),
            i % 5
        )
    };
    let rows: String = (0..12).map(row).collect();
    let (season, _) = common::read(&format!("session,target_m,turns,long_cm,status\n{rows}"));
    let all = checks_of(&season, &Setup::default(), false);
    let check = named(&all, "runs that went wrong");
    assert!(check.means.contains("1 run in 6"), "{check:?}");
    assert!(check.means.contains("between 2 and 48 of 100"), "{check:?}");
}
