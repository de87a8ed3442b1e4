//! How often `compare` is right, on seasons of two wheel sets.

use haltmark::decide::compare::{Better, By, Comparison, CountedAnswer, compare};
use haltmark::setup::Setup;
use haltmark::simulate::{self, RigTruth as Rig, Truth};
use haltmark::stats::interval::{Interval, Level};
use rayon::prelude::*;

use super::bounds::{Bounds, allowed};

pub const RUN_TO_RUN_M: f64 = 0.06;
pub const RUN_TO_RUN_RAD: f64 = 0.005;
pub const A_PER_TURN_M: f64 = 0.23;
pub const B_PER_TURN_M: f64 = 0.225;
pub const A_OVERSHOOT_M: f64 = 0.31;
pub const B_OVERSHOOT_M: f64 = 0.35;

/// A season of two wheel sets.
#[derive(Clone, Copy)]
pub struct Season {
    /// All of a's spreads over b's.
    pub ratio: f64,
    /// Spread from day to day over that from run to run.
    pub days: f64,
    /// Sessions.
    pub sessions: usize,
    /// Runs of each in a session.
    pub runs: usize,
    /// Part of the variance of a day's shift that both share.
    pub shared: f64,
}

impl Season {
    pub fn truth(&self) -> Truth {
        let mut truth = Truth {
            wheels: "a".to_string(),
            ..Truth::default()
        };
        truth.travel.distance_per_turn_m = A_PER_TURN_M;
        truth.travel.overshoot_m = A_OVERSHOOT_M;
        truth.travel.run_to_run_m = RUN_TO_RUN_M;
        truth.travel.between_sessions_m = self.days * RUN_TO_RUN_M;
        truth.travel.lead_m_per_turn = 0.0;
        truth.heading.run_to_run_rad = RUN_TO_RUN_RAD;
        truth.heading.between_sessions_rad = self.days * RUN_TO_RUN_RAD;
        truth.season.sessions = self.sessions;
        truth.season.runs_per_session = vec![self.runs];
        truth.season.targets_m = vec![6.0, 7.0, 8.0, 9.0, 10.0];
        truth.season.leads_turns = vec![1.5];
        truth.season.shared_shift = self.shared;
        truth.recoil.half_lead_turns = 30.0;
        truth.rigs = vec![Rig {
            wheels: Some("b".to_string()),
            distance_per_turn_m: Some(B_PER_TURN_M),
            overshoot_m: Some(B_OVERSHOOT_M),
            run_to_run_m: Some(RUN_TO_RUN_M / self.ratio),
            between_sessions_m: Some(self.days * RUN_TO_RUN_M / self.ratio),
            run_to_run_rad: Some(RUN_TO_RUN_RAD / self.ratio),
            between_sessions_rad: Some(self.days * RUN_TO_RUN_RAD / self.ratio),
            ..Rig::default()
        }];
        truth
    }

    pub fn compared(&self, seed: u64) -> Comparison {
        let season = simulate::season(&self.truth(), seed).season;
        let level = Level::default();
        compare(&season, &Setup::default(), level, By::Wheels, "a", "b").expect("a comparison")
    }

    pub fn all(&self, seasons: u64, from: u64) -> Vec<Comparison> {
        let seeds = from..from + seasons;
        seeds.into_par_iter().map(|s| self.compared(s)).collect()
    }
}

/// One of a comparison's two answers.
pub type Asked = fn(&Comparison) -> &CountedAnswer;

/// By the first run of a new day, and by what counts at the event: the best of two, assumed.
pub const ANSWERS: [(&str, Asked); 2] = [
    ("first run", |c| &c.first_run),
    ("best of 2", |c| &c.at_event.answer),
];

pub fn count(all: &[Comparison], asked: Asked, verdict: Better) -> usize {
    all.iter().filter(|c| asked(c).verdict == verdict).count()
}

pub fn holds(i: Interval, truth: f64) -> bool {
    i.low <= truth && truth <= i.high
}

/// Share of seasons whose intervals hold the truth: difference per turn, of the overshoot, and the ratio of spreads.
pub fn coverage(all: &[Comparison], ratio: f64) -> [f64; 3] {
    let share = |inside: &dyn Fn(&Comparison) -> bool| {
        all.iter().filter(|c| inside(c)).count() as f64 / all.len() as f64
    };
    [
        share(&|c| {
            holds(
                c.distance_per_turn_m.difference,
                B_PER_TURN_M - A_PER_TURN_M,
            )
        }),
        share(&|c| holds(c.overshoot_m.difference, B_OVERSHOOT_M - A_OVERSHOOT_M)),
        share(&|c| holds(c.run_to_run_m.ratio, 1.0 / ratio)),
    ]
}

/// Names of what [`coverage`] counts.
pub const INTERVALS: [&str; 3] = ["per turn", "overshoot", "ratio"];
/// The level of all intervals.
pub const LEVEL: f64 = 0.95;
/// The part of them that holds, at least.
pub const HELD: f64 = 0.92;
/// Either way a verdict is false in so many seasons of equal wheels at most.
pub const FALSE: f64 = 0.05;

/// Verdicts and coverage, days that both share in part, chances, and what `runs_to_settle` comes to.
pub fn table(seasons: u64) -> Bounds {
    let mut bounds = Bounds::default();
    verdicts(seasons, &mut bounds);
    shared_days(seasons, &mut bounds);
    chances(seasons.div_ceil(5));
    more_runs(2 * seasons.div_ceil(5));
    bounds
}

/// How often right, wrong and undecided.
fn verdicts(seasons: u64, bounds: &mut Bounds) {
    println!("right, wrong, undecided of {seasons}; at ratio 1 a and b are both false");
    let mut from = 1;
    for (sessions, runs) in [(3, 6), (5, 8), (8, 8), (15, 10)] {
        for days in [0.5, 1.0] {
            for ratio in [1.0, 1.25, 1.5, 2.0] {
                let season = Season {
                    ratio,
                    days,
                    sessions,
                    runs,
                    shared: 0.5,
                };
                let all = season.all(seasons, from);
                from += seasons;
                let held = coverage(&all, ratio);
                let [turn, roll, spread] = held;
                let what = format!("{sessions:2} x {runs:2}, days {days}, ratio {ratio:4}");
                println!(
                    "{what}: held: per turn {turn:.3}, overshoot {roll:.3}, ratio {spread:.3}"
                );
                for (by, asked) in ANSWERS {
                    let [a, b, open] =
                        [Better::A, Better::B, Better::Undecided].map(|v| count(&all, asked, v));
                    let mut more: Vec<usize> =
                        all.iter().filter_map(|c| asked(c).runs_to_settle).collect();
                    more.sort_unstable();
                    println!(
                        "  {by}: b {b:4}, a {a:4}, undecided {open:4}; more runs, median {:?} of {}",
                        more.get(more.len() / 2),
                        more.len()
                    );
                    let most = if ratio == 1.0 { 2.0 * FALSE } else { FALSE };
                    let wrong = if ratio == 1.0 { a + b } else { a };
                    let wrong = wrong as f64 / seasons as f64;
                    bounds.at_most(
                        &format!("{what}, {by}, false"),
                        wrong,
                        most + allowed(most, seasons),
                    );
                }
                are_held(&what, held, seasons, bounds);
            }
        }
    }
}

fn are_held(what: &str, held: [f64; 3], seasons: u64, bounds: &mut Bounds) {
    for (name, share) in INTERVALS.iter().zip(held) {
        bounds.at_least(
            &format!("{what}, {name} held"),
            share,
            HELD - allowed(HELD, seasons),
        );
    }
}

/// How often the difference's interval holds the truth, by the part of a day's shift that both share.
fn shared_days(seasons: u64, bounds: &mut Bounds) {
    let mut from = 100_001;
    println!("difference held of {seasons}, and mean width of overshoot's, by the part shared");
    for (sessions, days) in [(3, 1.0), (5, 1.0), (8, 0.5), (8, 1.0), (8, 2.0)] {
        for shared in [0.0, 0.5, 1.0] {
            let season = Season {
                ratio: 1.25,
                days,
                sessions,
                runs: 8,
                shared,
            };
            let all = season.all(seasons, from);
            from += seasons;
            let held = coverage(&all, 1.25);
            let [turn, roll, spread] = held;
            let width =
                |c: &Comparison| c.overshoot_m.difference.high - c.overshoot_m.difference.low;
            let width = 100.0 * all.iter().map(width).sum::<f64>() / all.len() as f64;
            let what = format!("{sessions} sessions, days {days}, shared {shared}");
            println!(
                "{what}: per turn {turn:.3}, overshoot {roll:.3} ({width:.1} cm), ratio {spread:.3}"
            );
            are_held(&what, held, seasons, bounds);
        }
    }
}

/// What the chance promises against what is true: true ratios spread evenly in their logarithm about 1, both ways.
fn chances(seasons: u64) {
    let mut chances: Vec<([f64; 2], f64)> = Vec::new();
    let mut from = 200_001;
    for step in 0..41 {
        let ln_ratio = (f64::from(step) - 20.0) * 0.04;
        let season = Season {
            ratio: ln_ratio.exp(),
            days: 0.7,
            sessions: 5,
            runs: 8,
            shared: 0.5,
        };
        for c in season.all(seasons, from) {
            let better = if step == 20 {
                0.5
            } else {
                f64::from(u8::from(step > 20))
            };
            chances.push((ANSWERS.map(|(_, asked)| asked(&c).chance_b_better), better));
        }
        from += seasons;
    }
    for (k, (by, _)) in ANSWERS.iter().enumerate() {
        println!("{by}, chance_b_better in bins: said, came true, seasons");
        for bin in 0..10 {
            let low = f64::from(bin) / 10.0;
            let of: Vec<(f64, f64)> = chances
                .iter()
                .map(|(p, better)| (p[k], *better))
                .filter(|(p, _)| *p >= low && (*p < low + 0.1 || bin == 9))
                .collect();
            let mean = |f: &dyn Fn(&(f64, f64)) -> f64| {
                of.iter().map(f).sum::<f64>() / of.len().max(1) as f64
            };
            println!("{:.3} {:.3} {}", mean(&|c| c.0), mean(&|c| c.1), of.len());
        }
    }
}

/// Whether so many more runs do settle it: seasons made longer by what was said, in whole sessions.
fn more_runs(seasons: u64) {
    for ratio in [1.25, 1.5, 2.0] {
        let now = Season {
            ratio,
            days: 0.7,
            sessions: 5,
            runs: 8,
            shared: 0.5,
        };
        for (by, asked) in ANSWERS {
            let of: Vec<bool> = (0..seasons)
                .into_par_iter()
                .filter_map(|seed| {
                    let more = asked(&now.compared(500_000 + seed)).runs_to_settle?;
                    let longer = Season {
                        sessions: now.sessions + more.div_ceil(now.runs),
                        ..now
                    };
                    // The longer season goes on from the shorter one.
                    let runs =
                        |of: &Season| simulate::season(&of.truth(), 500_000 + seed).season.runs;
                    let (short, long) = (runs(&now), runs(&longer));
                    assert!(short.iter().eq(long.iter().take(short.len())));
                    Some(asked(&longer.compared(500_000 + seed)).verdict == Better::B)
                })
                .collect();
            let settled = of.iter().filter(|settled| **settled).count();
            println!(
                "ratio {ratio}, {by}: {} were given a number, {settled} were settled for b by it",
                of.len()
            );
        }
    }
}
