//! What `plan` promises against what then happens.

use haltmark::calibration::Calibration;
use haltmark::calibration::fit::{self, Options};
use haltmark::decide::dial;
use haltmark::decide::plan::{Prospects, Question};
use haltmark::decide::predict::Hand;
use haltmark::decide::{Choice, Situation};
use haltmark::log::run::{Run, Season};
use haltmark::setup::{Counts, EventRule, Setup};
use haltmark::simulate;
use haltmark::stats::interval::Level;
use haltmark::stats::resample::{self, Pcg64};
use rayon::prelude::*;

use super::bounds::Bounds;
use super::vehicle::{
    self, RATIOS, RUN_TO_RUN_M, RUN_TO_RUN_RAD, TARGETS_M, after, hand, rest, truth,
};

fn setup() -> Setup {
    let mut setup = vehicle::setup();
    setup.event.shortest_m = Some(TARGETS_M[0]);
    setup.event.longest_m = Some(TARGETS_M[4]);
    setup.event.step_m = 1.0;
    setup
}

/// A fit that keeps all runs.
pub fn fitted(season: &Season) -> Calibration {
    // Blunders are none of this table's business: a season without any should lose no run.
    let options = Options {
        keep_all: true,
        since: None,
    };
    fit::fit(season, &setup(), Level::default(), options).expect("a season that can be fitted")
}

/// The same season with the sessions of another behind it.
fn joined(mut season: Season, more: &Season) -> Season {
    let behind = season.sessions.len() as u32;
    season
        .sessions
        .extend(more.sessions.iter().map(|s| format!("more {s}")));
    let line = season.runs.len() as u32 + 1;
    season
        .runs
        .extend(more.runs.iter().enumerate().map(|(i, r)| Run {
            session: r.session + behind,
            line: line + i as u32,
            ..r.clone()
        }));
    season
}

/// A new day of the vehicle: its shifts, in the vehicle's own units.
pub struct Day {
    chance: Pcg64,
    pub along_m: f64,
    heading: f64,
}

impl Day {
    pub fn new(ratio: f64, seed: u64, index: u64) -> Self {
        let mut chance = resample::replicate(seed, index);
        Day {
            along_m: ratio * RUN_TO_RUN_M * resample::normal(&mut chance),
            heading: ratio * RUN_TO_RUN_RAD * resample::normal(&mut chance),
            chance,
        }
    }

    /// Where a run comes to rest, (long, right) m; runs differ `wider` times as usual.
    pub fn run(&mut self, hand: Hand, wider: f64) -> (f64, f64) {
        let mut normal = || wider * resample::normal(&mut self.chance);
        let along_m = self.along_m + RUN_TO_RUN_M * normal();
        let heading = self.heading + RUN_TO_RUN_RAD * normal();
        rest(hand, along_m, heading)
    }
}

/// Settings of a calibration for every target of the event.
pub fn settings(situation: &Situation) -> Vec<Hand> {
    let setting = |&t: &f64| dial::setting(situation, t, Level::default()).expect("a setting");
    TARGETS_M.iter().map(|t| hand(&setting(t))).collect()
}

/// Share of new days' first runs within each distance.
fn happened(settings: &[Hand], ratio: f64, seed: u64, days: u64, within_m: f64) -> f64 {
    let mut inside = 0;
    for i in 0..days {
        let hand = settings[i as usize % settings.len()];
        let (long, right) = Day::new(ratio, seed, i).run(hand, 1.0);
        inside += u32::from(long.hypot(right) <= within_m);
    }
    f64::from(inside) / days as f64
}
/// A chance that was promised, and the share that came true.
#[derive(Clone, Copy)]
pub struct Promise {
    pub promised: f64,
    pub happened: f64,
}

/// One of an outcome's promises, with its name and what may lie between promised and happened on average over seasons.
type Kind = (&'static str, f64, fn(&Outcome) -> Promise);

/// What one season's plan promised: for a first run and for the better of two as things stand and after two more sessions
/// of eight, and for the last and the mean of two, with `correct` in between.
pub struct Outcome {
    pub now: Promise,
    pub more: Promise,
    pub best: Promise,
    pub best_more: Promise,
    pub last: Promise,
    pub sum: Promise,
}

/// Shares of days of two runs, the second corrected for the first, whose best, last and mean miss are within a distance.
struct Counted {
    best: f64,
    last: f64,
    sum: f64,
}

fn counted(calibration: &Calibration, ratio: f64, seed: u64, days: u64, within_m: f64) -> Counted {
    let situation = Situation::new(calibration, &Choice::default()).expect("one rig");
    let settings = settings(&situation);
    let mut inside = [0u32; 3];
    for i in 0..days {
        let mut day = Day::new(ratio, seed, i);
        let hand = settings[i as usize % settings.len()];
        let first = day.run(hand, 1.0);
        let next = after(&situation, &calibration.rigs[0], hand, first);
        let (turns, aim_right_m) = dial::plain_setting(&next, hand.target_m).expect("a setting");
        let corrected = Hand {
            turns,
            aim_right_m,
            ..hand
        };
        let second = day.run(corrected, 1.0);
        let misses = [first, second].map(|(long, right)| long.hypot(right));
        let counts = [
            misses[0].min(misses[1]),
            misses[1],
            0.5 * (misses[0] + misses[1]),
        ];
        for (count, miss) in inside.iter_mut().zip(counts) {
            *count += u32::from(miss <= within_m);
        }
    }
    let [best, last, sum] = inside.map(|n| f64::from(n) / days as f64);
    Counted { best, last, sum }
}

fn outcome(sessions: usize, index: u64, days: u64) -> Outcome {
    let seed = 10_000_000 * sessions as u64 + index;
    let ratio = RATIOS[index as usize % RATIOS.len()];
    let mut chance = resample::replicate(seed, 99);
    // From hopeless to sure: 3 to 35 cm.
    let within_m = 0.03 * (35.0f64 / 3.0).powf(resample::uniform(&mut chance));
    let question = Question {
        within_m,
        chance: 0.9,
        asked: None,
    };
    let season = simulate::season(&truth(ratio, sessions, &TARGETS_M), seed).season;
    let calibration = fitted(&season);
    let situation = Situation::new(&calibration, &Choice::default()).expect("one rig");
    let range = calibration.range().expect("a range");
    let prospects = Prospects::new(&situation, range).expect("across is told");
    let now = settings(&situation);
    // The set-up tells no rule: the best of two is assumed.
    let option = prospects.option(2, 8, &question).expect("an option");
    let new_targets = prospects.targets_m(2, 8);
    let more = simulate::season(&truth(ratio, 2, &new_targets), seed ^ 0xabcd).season;
    let after_more = fitted(&joined(season, &more));
    let later = Situation::new(&after_more, &Choice::default()).expect("one rig");
    let promised = |counts| {
        let rule = EventRule {
            runs: 2,
            counts,
            assumed: false,
        };
        prospects.event_chance(rule, within_m)
    };
    // Fewer days for the event: each needs a correction of its own.
    let event_days = days.div_ceil(5);
    let of_two = counted(&calibration, ratio, seed ^ 0x5eed, event_days, within_m);
    let later_two = counted(&after_more, ratio, seed ^ 0xfeed, event_days, within_m);
    let promise = |promised, happened| Promise { promised, happened };
    Outcome {
        now: promise(
            prospects.now(&question).expect("an outlook").chance,
            happened(&now, ratio, seed ^ 0xdead, days, within_m),
        ),
        more: promise(
            option.outlook.chance,
            happened(&settings(&later), ratio, seed ^ 0xbeef, days, within_m),
        ),
        best: promise(promised(Counts::Best), of_two.best),
        best_more: promise(option.event_chance, later_two.best),
        last: promise(promised(Counts::Last), of_two.last),
        sum: promise(promised(Counts::Sum), of_two.sum),
    }
}

pub fn outcomes(sessions: usize, seasons: u64, days: u64) -> Vec<Outcome> {
    (0..seasons)
        .into_par_iter()
        .map(|i| outcome(sessions, i, days))
        .collect()
}

/// Mean of what came true less what was promised, with its standard error over seasons.
pub fn gap(promises: &[Promise]) -> (f64, f64) {
    let n = promises.len() as f64;
    let gaps: Vec<f64> = promises.iter().map(|p| p.happened - p.promised).collect();
    let mean = gaps.iter().sum::<f64>() / n;
    let variance = gaps.iter().map(|g| (g - mean).powi(2)).sum::<f64>() / (n - 1.0);
    (mean, (variance / n).sqrt())
}

/// All kinds of promise, by name.
pub const KINDS: [Kind; 6] = [
    ("now", OF_FIRST_RUN, |o| o.now),
    ("2 sessions of 8 more", OF_FIRST_RUN, |o| o.more),
    ("best of 2, corrected", OF_EVENT, |o| o.best),
    ("best of 2 after 2 sessions of 8 more", OF_EVENT, |o| {
        o.best_more
    }),
    ("last of 2, corrected", OF_EVENT, |o| o.last),
    ("mean of 2, corrected", OF_EVENT, |o| o.sum),
];
/// For the first run of a new day.
const OF_FIRST_RUN: f64 = 0.04;
/// For what counts at the event.
const OF_EVENT: f64 = 0.03;

/// Promised and happened, by tenths of what was promised.
pub fn table(seasons: u64) -> Bounds {
    let mut bounds = Bounds::default();
    println!(
        "{seasons} seasons each, 8 runs a session, τ/σ 0, 0.5, 1, 2 mixed, within 3 to 35 cm; promised/happened by tenths of promise"
    );
    for sessions in [3, 4, 8] {
        let all = outcomes(sessions, seasons, 200);
        for (what, most, of) in KINDS {
            let promises: Vec<Promise> = all.iter().map(of).collect();
            let tenths: Vec<String> = (0..10).map(|b| tenth(&promises, b)).collect();
            let (mean, error) = gap(&promises);
            let what = format!("{sessions} sessions, {what}");
            println!("{what}: {} | gap {mean:+.3} ± {error:.3}", tenths.join(" "));
            bounds.at_most(&what, mean.abs(), most + 3.0 * error);
        }
    }
    bounds
}

fn tenth(promises: &[Promise], tenth: usize) -> String {
    let belongs = |p: &&Promise| ((p.promised * 10.0) as usize).min(9) == tenth;
    let members: Vec<&Promise> = promises.iter().filter(belongs).collect();
    if members.is_empty() {
        return "-".to_string();
    }
    let n = members.len() as f64;
    format!(
        "{:.2}/{:.2} ({})",
        members.iter().map(|p| p.promised).sum::<f64>() / n,
        members.iter().map(|p| p.happened).sum::<f64>() / n,
        members.len()
    )
}
