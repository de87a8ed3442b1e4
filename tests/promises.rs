//! What `plan` promises against what then happens, and how often `review` is right, on simulated seasons with fixed
//! seeds. This measures; it does not prove a formula. Small versions run with the tests; the tables on demand:
//! `cargo test --release --test promises -- --ignored --nocapture`.

use haltmark::calibration::fit::{self, Options};
use haltmark::calibration::{Calibration, Rig};
use haltmark::decide::dial::{self, Setting};
use haltmark::decide::plan::{Prospects, Question};
use haltmark::decide::review::{self, Verdict};
use haltmark::decide::{Choice, Situation};
use haltmark::log::run::{Run, Season};
use haltmark::setup::{Counts, Event, Setup};
use haltmark::simulate::{self, Truth};
use haltmark::stats::interval::Level;
use haltmark::stats::resample::{self, Pcg64};
use rayon::prelude::*;

const RUN_TO_RUN_M: f64 = 0.06;
const RUN_TO_RUN_RAD: f64 = 0.004;
const OVERSHOOT_M: f64 = 0.31;
const M_PER_TURN: f64 = 0.23;
const STRAIGHT_RAD: f64 = -0.02;
const CURVATURE_PER_M: f64 = 0.018;
const TARGETS_M: [f64; 5] = [6.0, 7.0, 8.0, 9.0, 10.0];
/// τ/σ of the vehicles, each as often as the others.
const RATIOS: [f64; 4] = [0.0, 0.5, 1.0, 2.0];

fn truth(ratio: f64, sessions: usize, targets_m: &[f64]) -> Truth {
    let mut truth = Truth::default();
    truth.travel.distance_per_turn_m = M_PER_TURN;
    truth.travel.overshoot_m = OVERSHOOT_M;
    truth.travel.run_to_run_m = RUN_TO_RUN_M;
    truth.travel.between_sessions_m = ratio * RUN_TO_RUN_M;
    truth.travel.lead_m_per_turn = 0.0;
    truth.heading.straight_rad = STRAIGHT_RAD;
    truth.heading.curvature_per_m = CURVATURE_PER_M;
    truth.heading.run_to_run_rad = RUN_TO_RUN_RAD;
    truth.heading.between_sessions_rad = ratio * RUN_TO_RUN_RAD;
    truth.season.sessions = sessions;
    truth.season.runs_per_session = vec![8];
    truth.season.targets_m = targets_m.to_vec();
    truth.season.leads_turns = vec![1.5];
    truth.recoil.half_lead_turns = 30.0;
    truth
}

fn setup() -> Setup {
    let mut setup = Setup::default();
    // The wheel itself covers 2 % more than a launch (model.md §2).
    setup.vehicle.wheel_diameter_m = Some(1.02 * M_PER_TURN / std::f64::consts::PI);
    setup.event.shortest_m = Some(TARGETS_M[0]);
    setup.event.longest_m = Some(TARGETS_M[4]);
    setup.event.step_m = 1.0;
    setup
}

fn fitted(season: &Season) -> Calibration {
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
struct Day {
    chance: Pcg64,
    along_m: f64,
    heading: f64,
}

impl Day {
    fn new(ratio: f64, seed: u64, index: u64) -> Self {
        let mut chance = resample::replicate(seed, index);
        Day {
            along_m: ratio * RUN_TO_RUN_M * resample::normal(&mut chance),
            heading: ratio * RUN_TO_RUN_RAD * resample::normal(&mut chance),
            chance,
        }
    }

    /// Where a run comes to rest, (long, right) m, by the simulator's own arc; runs differ `wider` times as usual.
    fn run(&mut self, target_m: f64, turns: f64, aim_right_m: f64, wider: f64) -> (f64, f64) {
        let mut normal = || wider * resample::normal(&mut self.chance);
        let arc = OVERSHOOT_M + M_PER_TURN * turns + self.along_m + RUN_TO_RUN_M * normal();
        let start =
            aim_right_m.atan2(target_m) + STRAIGHT_RAD + self.heading + RUN_TO_RUN_RAD * normal();
        let (ahead, right) = simulate::rest_point(arc, start, CURVATURE_PER_M);
        (ahead - target_m, right)
    }
}

/// Settings of a calibration for every target of the event.
fn settings(situation: &Situation) -> Vec<(f64, f64, f64)> {
    let of = |s: Setting| {
        (
            s.target_m,
            s.dial.turns(),
            s.aim_right_m.expect("across is told"),
        )
    };
    TARGETS_M
        .iter()
        .map(|&t| of(dial::setting(situation, t, Level::default()).expect("a setting")))
        .collect()
}

/// Share of new days' first runs within each distance.
fn happened(settings: &[(f64, f64, f64)], ratio: f64, seed: u64, days: u64, within_m: f64) -> f64 {
    let mut inside = 0;
    for i in 0..days {
        let (target, turns, aim) = settings[i as usize % settings.len()];
        let (long, right) = Day::new(ratio, seed, i).run(target, turns, aim, 1.0);
        inside += u32::from(long.hypot(right) <= within_m);
    }
    f64::from(inside) / days as f64
}

/// The situation after one run of today, by the calibration's own rows.
fn after<'a>(
    situation: &Situation<'a>,
    rig: &'a Rig,
    (target, turns, aim): (f64, f64, f64),
    (long, right): (f64, f64),
) -> Situation<'a> {
    let mut next = situation.clone();
    let (chord, psi) = haltmark::geometry::chord_and_heading(target + long, right);
    let arc = haltmark::geometry::arc_of_chord(chord, situation.curvature_per_m());
    next.travel = rig
        .travel
        .posterior
        .group(&[(situation.travel_row(turns), arc)]);
    if let (Some(h), Some(trim)) = (&rig.heading, situation.trim) {
        let excess = psi - aim.atan2(target);
        next.heading = Some(h.posterior.group(&[(h.row(trim, arc), excess)]));
    }
    next
}

/// A chance that was promised, and the share that came true.
#[derive(Clone, Copy)]
struct Promise {
    promised: f64,
    happened: f64,
}

/// One of an outcome's promises, with its name.
type Kind = (&'static str, fn(&Outcome) -> Promise);

/// What one season's plan promised: for a first run as things stand, for one after two more sessions of eight, and for
/// the best of two with `correct` in between.
struct Outcome {
    now: Promise,
    more: Promise,
    event: Promise,
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
    let promised = prospects.now(&question).expect("an outlook").chance;
    let option = prospects.option(2, 8, &question).expect("an option");
    let new_targets = prospects.targets_m(2, 8);
    let more = simulate::season(&truth(ratio, 2, &new_targets), seed ^ 0xabcd).season;
    let after_more = fitted(&joined(season, &more));
    let later = Situation::new(&after_more, &Choice::default()).expect("one rig");
    let event = Event {
        runs: 2,
        counts: Counts::Best,
        ..Event::default()
    };
    // Fewer days for the event: each needs a correction of its own.
    let event_days = days.div_ceil(5);
    let best = (0..event_days)
        .filter(|&i| {
            let mut day = Day::new(ratio, seed ^ 0x5eed, i);
            let hand = now[i as usize % now.len()];
            let first = day.run(hand.0, hand.1, hand.2, 1.0);
            let next = after(&situation, &calibration.rigs[0], hand, first);
            let (turns, aim) = dial::plain_setting(&next, hand.0).expect("a setting");
            let second = day.run(hand.0, turns, aim, 1.0);
            first.0.hypot(first.1).min(second.0.hypot(second.1)) <= within_m
        })
        .count();
    Outcome {
        now: Promise {
            promised,
            happened: happened(&now, ratio, seed ^ 0xdead, days, within_m),
        },
        more: Promise {
            promised: option.outlook.chance,
            happened: happened(&settings(&later), ratio, seed ^ 0xbeef, days, within_m),
        },
        event: Promise {
            promised: prospects.event_chance(&event, within_m),
            happened: best as f64 / event_days as f64,
        },
    }
}

fn outcomes(sessions: usize, seasons: u64, days: u64) -> Vec<Outcome> {
    (0..seasons)
        .into_par_iter()
        .map(|i| outcome(sessions, i, days))
        .collect()
}

/// Mean of what came true less what was promised, with its standard error over seasons.
fn gap(promises: &[Promise]) -> (f64, f64) {
    let n = promises.len() as f64;
    let gaps: Vec<f64> = promises.iter().map(|p| p.happened - p.promised).collect();
    let mean = gaps.iter().sum::<f64>() / n;
    let variance = gaps.iter().map(|g| (g - mean).powi(2)).sum::<f64>() / (n - 1.0);
    (mean, (variance / n).sqrt())
}

fn seasons_wanted(usual: u64) -> u64 {
    let asked = std::env::var("SEASONS").ok().and_then(|s| s.parse().ok());
    asked.unwrap_or(usual)
}

#[test]
#[ignore = "large: some minutes in an optimised build"]
fn the_reliability_table_of_the_closing_note() {
    let seasons = seasons_wanted(1000);
    println!(
        "{seasons} seasons each, 8 runs a session, τ/σ 0, 0.5, 1, 2 mixed, within 3 to 35 cm; promised/happened by tenths of promise"
    );
    for sessions in [3, 4, 8] {
        let all = outcomes(sessions, seasons, 200);
        let kinds: [Kind; 3] = [
            ("now", |o| o.now),
            ("2 sessions of 8 more", |o| o.more),
            ("best of 2, corrected", |o| o.event),
        ];
        for (what, of) in kinds {
            let promises: Vec<Promise> = all.iter().map(of).collect();
            let bins: Vec<String> = (0..10)
                .map(|b| {
                    let members: Vec<Promise> = promises
                        .iter()
                        .copied()
                        .filter(|p| ((p.promised * 10.0) as usize).min(9) == b)
                        .collect();
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
                })
                .collect();
            let (mean, error) = gap(&promises);
            println!(
                "{sessions} sessions, {what}: {} | gap {mean:+.3} ± {error:.3}",
                bins.join(" ")
            );
        }
    }
}

/// On average over seasons, what is promised is what happens: within 0.04 and three standard errors, for all three kinds
/// of promise.
#[test]
fn chances_come_true_as_often_as_they_say() {
    let all = outcomes(4, 80, 50);
    let kinds: [Kind; 3] = [
        ("now", |o| o.now),
        ("more", |o| o.more),
        ("event", |o| o.event),
    ];
    for (what, of) in kinds {
        let promises: Vec<Promise> = all.iter().map(of).collect();
        let (mean, error) = gap(&promises);
        assert!(
            mean.abs() < 0.04 + 3.0 * error,
            "{what}: {mean:+.3} ± {error:.3}"
        );
    }
}

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
        repeated_labels: 0,
        runs: (0..runs)
            .map(|i| {
                let (target, turns, aim) = settings[(2 * i) % settings.len()];
                let (long, right) = day.run(target, turns, aim, wider);
                Run {
                    line: i as u32 + 2,
                    order: i as f64,
                    target_m: Some(target),
                    turns: Some(turns),
                    rest_m: Some(target + long),
                    right_m: Some(right),
                    aim_right_m: Some(aim),
                    ..Run::default()
                }
            })
            .collect(),
    }
}

/// Verdicts over seasons: shares of shifted and of wider (both count as each).
fn verdicts(
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

#[test]
#[ignore = "large: some minutes in an optimised build"]
fn the_review_table_of_the_closing_note() {
    let seasons = seasons_wanted(1000);
    println!(
        "{seasons} seasons a cell, 8 runs a session, 6 new runs in one session; shares called shifted / wider"
    );
    println!("sessions τ/σ | no change | 1 SD | 2 SD | 4 SD | 1.5 times as wide | 2 times");
    for sessions in [3, 4, 8] {
        for ratio in RATIOS {
            let cells: Vec<String> = [
                (0.0, 1.0),
                (1.0, 1.0),
                (2.0, 1.0),
                (4.0, 1.0),
                (0.0, 1.5),
                (0.0, 2.0),
            ]
            .into_iter()
            .map(|(shift, wider)| {
                let (s, w) = verdicts(sessions, ratio, seasons, 6, shift, wider);
                format!("{s:.3} / {w:.3}")
            })
            .collect();
            println!("{sessions} {ratio:.1} | {}", cells.join(" | "));
        }
    }
}

/// With nothing changed at most 2.5 % of reviews say shifted and 2.5 % wider (three standard errors allowed), and a vehicle twice as wide is
/// seen more often than not.
#[test]
fn reviews_rarely_cry_wolf_and_see_what_is_there() {
    const SEASONS: u64 = 200;
    for ratio in [0.0, 1.0] {
        let (shifted, wider) = verdicts(4, ratio, SEASONS, 6, 0.0, 1.0);
        // Mean and spread each at half of what the level leaves.
        let allowed = 0.025 + 3.0 * (0.025 * 0.975 / SEASONS as f64).sqrt();
        for (what, share) in [("shifted", shifted), ("wider", wider)] {
            assert!(share <= allowed, "τ/σ {ratio}: {share} {what}");
        }
        let (_, wider) = verdicts(4, ratio, SEASONS, 6, 0.0, 2.0);
        assert!(wider > 0.5, "τ/σ {ratio}: {wider} of those twice as wide");
    }
}
