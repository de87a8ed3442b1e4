//! What is promised for the first and the second run of a new day, by band of distance: with spreads that grow as distance to
//! a power, with runs that roll back, and for logs of few runs. `model.md` §2.

use haltmark::calibration::fit::{self, Options};
use haltmark::calibration::recoil::tells_travel;
use haltmark::decide::predict::{Hand, Prediction, next_run};
use haltmark::decide::{Choice, Situation, dial};
use haltmark::geometry::{arc_of_chord, chord_and_heading};
use haltmark::log::run::{Kind, Run, Status};
use haltmark::simulate::{self, Truth};
use haltmark::stats::interval::{Interval, Level};
use haltmark::stats::resample;
use rayon::prelude::*;

use super::bounds::Bounds;
use super::vehicle::{
    CURVATURE_PER_M, M_PER_TURN, OVERSHOOT_M, RUN_TO_RUN_M, RUN_TO_RUN_RAD, STRAIGHT_RAD,
    TARGETS_M, hand, setup, truth,
};

/// Shortest and longest target of an event day; the bands are quarters of it.
const RANGE_M: (f64, f64) = (6.0, 10.0);
const BANDS: usize = 4;
const LEVELS: [f64; 3] = [0.5, 0.8, 0.95];
/// τ/σ of the vehicle.
const RATIO: f64 = 0.7;
const LEAD_TURNS: f64 = 1.5;

/// A kind of season.
#[derive(Clone, Copy)]
pub struct Kindred {
    pub growth: f64,
    /// The part of runs that roll back at the only lead.
    pub rolls_back: f64,
    pub sessions: usize,
    pub runs_per_session: usize,
}

impl Kindred {
    fn truth(self) -> Truth {
        let mut truth = truth(RATIO, self.sessions, &TARGETS_M);
        truth.travel.spread_growth = self.growth;
        truth.season.runs_per_session = vec![self.runs_per_session];
        if self.rolls_back > 0.0 {
            let odds = (self.rolls_back / (1.0 - self.rolls_back)).ln();
            truth.recoil.half_lead_turns = LEAD_TURNS - odds / truth.recoil.per_turn;
            truth.recoil.watched = 1.0;
        }
        truth
    }
}

/// One event day at one target, played by the vehicle's truth.
struct Day {
    truth: Truth,
    kind: Kindred,
    target_m: f64,
    shift: (f64, f64),
    /// Standard normal along and across, whether it rolls back, and how far, m.
    runs: [(f64, f64, bool, f64); 2],
}

impl Day {
    fn new(kind: Kindred, seed: u64, index: u64) -> Self {
        let truth = kind.truth();
        let mut chance = resample::replicate(seed, index);
        let recoil = truth.recoil.clone();
        let mut run = || {
            let along = resample::normal(&mut chance);
            let across = resample::normal(&mut chance);
            let rolls_back = resample::uniform(&mut chance) < kind.rolls_back;
            let short = recoil.short_m * (0.4 * resample::normal(&mut chance)).exp();
            let back = recoil.roll_back_m * (0.4 * resample::normal(&mut chance)).exp();
            (along, across, rolls_back, short + back.max(0.01))
        };
        let runs = [run(), run()];
        let shift = (resample::normal(&mut chance), resample::normal(&mut chance));
        let (low, high) = RANGE_M;
        Day {
            target_m: low + (high - low) * resample::uniform(&mut chance),
            truth,
            kind,
            shift,
            runs,
        }
    }

    fn band(&self) -> usize {
        let share = (self.target_m - RANGE_M.0) / (RANGE_M.1 - RANGE_M.0);
        ((share * BANDS as f64) as usize).min(BANDS - 1)
    }

    /// How much the spreads have grown at a number of turns, as the simulator has it: 1 for the middle target.
    fn grown(&self, turns: f64) -> f64 {
        let (low, high) = (TARGETS_M[0], TARGETS_M[TARGETS_M.len() - 1]);
        let middle = (0.5 * (low + high) - OVERSHOOT_M) / M_PER_TURN;
        (turns / middle).max(0.0).powf(self.kind.growth)
    }

    /// Where a run rests, (long, right) m.
    fn rest(&self, run: usize, hand: Hand) -> (f64, f64) {
        let (along, across, rolls_back, by_m) = self.runs[run];
        let off_m = RUN_TO_RUN_M * self.grown(hand.turns) * (RATIO * self.shift.0 + along);
        let back_m = if rolls_back { by_m } else { 0.0 };
        let arc = OVERSHOOT_M + M_PER_TURN * hand.turns + off_m - back_m;
        let heading = STRAIGHT_RAD + RUN_TO_RUN_RAD * (RATIO * self.shift.1 + across);
        let start = hand.aim_right_m.atan2(hand.target_m) + heading;
        let (ahead, right) = simulate::rest_point(arc, start, CURVATURE_PER_M);
        (ahead - hand.target_m, right)
    }

    /// The setting of somebody who knows the vehicle and a part of today's shift (along in spreads at size 1, and heading).
    fn known_setting(&self, along: f64, heading: f64) -> Hand {
        let recoil = &self.truth.recoil;
        // Mean of a log-normal with sd 0.4 of the logarithm.
        let mean_back_m = (recoil.short_m + recoil.roll_back_m) * (0.08f64).exp();
        let half = (CURVATURE_PER_M * self.target_m / 2.0).asin();
        let arc = 2.0 * half / CURVATURE_PER_M + self.kind.rolls_back * mean_back_m;
        let mut turns = (arc - OVERSHOOT_M) / M_PER_TURN;
        for _ in 0..20 {
            turns = (arc - OVERSHOOT_M - along * self.grown(turns)) / M_PER_TURN;
        }
        Hand {
            target_m: self.target_m,
            turns,
            aim_right_m: self.target_m * (-(STRAIGHT_RAD + half + heading)).tan(),
        }
    }

    fn as_run(&self, run: usize, hand: Hand, (long, right): (f64, f64)) -> Run {
        Run {
            kind: Kind::Launch,
            status: if self.runs[run].2 {
                Status::Recoil
            } else {
                Status::Ok
            },
            target_m: Some(hand.target_m),
            turns: Some(hand.turns),
            rest_m: Some(hand.target_m + long),
            right_m: Some(right),
            aim_right_m: Some(hand.aim_right_m),
            lead_turns: Some(LEAD_TURNS),
            ..Run::default()
        }
    }
}

/// What one season and its event day gave, run by run.
pub struct Outcome {
    band: usize,
    /// Whether long lay inside at each level, for both runs.
    long: [[bool; 3]; 2],
    /// Whether the miss did.
    miss: [[bool; 3]; 2],
    /// Squared misses, m²: ours and of the one who knows the vehicle, for both runs.
    squared: [[f64; 2]; 2],
    width_m: f64,
}

fn inside(prediction: &Prediction, (long, right): (f64, f64)) -> ([bool; 3], [bool; 3]) {
    let within = |x: f64, i: Interval| x >= i.low && x <= i.high;
    let level = |p: f64| Level::new(p).expect("a level");
    let measure = setup().score.measure;
    (
        LEVELS.map(|p| within(long, prediction.long_m(level(p)))),
        LEVELS.map(|p| {
            prediction
                .miss_quantile(p, measure)
                .is_some_and(|q| long.hypot(right) <= q)
        }),
    )
}

/// The situation after a run of today, by the calibration's own rows.
fn after<'a>(situation: &Situation<'a>, hand: Hand, run: &Run) -> Situation<'a> {
    let mut next = situation.clone();
    let rig = situation.rig;
    let (chord, psi) = chord_and_heading(run.rest_m.unwrap_or(0.0), run.right_m.unwrap_or(0.0));
    let arc = arc_of_chord(chord, situation.curvature_per_m());
    if tells_travel(run, situation.build().lead_turns) {
        let travel = [(situation.travel_row(hand.turns), arc)];
        next.travel = rig.travel.posterior.group(&travel);
    }
    if let (Some(h), Some(trim)) = (&rig.heading, situation.trim) {
        let excess = psi - hand.aim_right_m.atan2(hand.target_m);
        next.heading = Some(h.posterior.group(&[(h.row(trim, arc), excess)]));
    }
    next
}

fn outcome(kind: Kindred, index: u64, seed: u64) -> Option<Outcome> {
    let season = simulate::season(&kind.truth(), seed + index).season;
    let level = Level::default();
    let calibration = fit::fit(&season, &setup(), level, Options::default()).ok()?;
    let day = Day::new(kind, seed ^ 0x5eed, index);
    let situation = Situation::new(&calibration, &Choice::default()).ok()?;
    situation.known_heading()?;
    let first = hand(&dial::setting(&situation, day.target_m, level).ok()?);
    let prediction = next_run(&situation, first);
    let rest = day.rest(0, first);
    let (long_first, miss_first) = inside(&prediction, rest);
    let width = prediction.long_m(level);

    let next = after(&situation, first, &day.as_run(0, first, rest));
    let second = hand(&dial::setting(&next, day.target_m, level).ok()?);
    let rest_second = day.rest(1, second);
    let (long_second, miss_second) = inside(&next_run(&next, second), rest_second);

    let known_rest = day.rest(0, day.known_setting(0.0, 0.0));
    let share = RATIO * RATIO / (1.0 + RATIO * RATIO);
    let (along, across, ..) = day.runs[0];
    let known = day.known_setting(
        share * RUN_TO_RUN_M * (RATIO * day.shift.0 + along),
        share * RUN_TO_RUN_RAD * (RATIO * day.shift.1 + across),
    );
    let known_second = day.rest(1, known);
    let squared = |(long, right): (f64, f64)| long * long + right * right;
    Some(Outcome {
        band: day.band(),
        long: [long_first, long_second],
        miss: [miss_first, miss_second],
        squared: [
            [squared(rest), squared(known_rest)],
            [squared(rest_second), squared(known_second)],
        ],
        width_m: width.high - width.low,
    })
}

/// All seasons of one kind.
pub struct Cell(pub Vec<Outcome>);

impl Cell {
    pub fn new(kind: Kindred, seasons: u64, seed: u64) -> Self {
        let all = (0..seasons).into_par_iter();
        Cell(all.filter_map(|i| outcome(kind, i, seed)).collect())
    }

    /// The part of one run's promises of long that held at a level, in a band or in all.
    pub fn held(&self, run: usize, level: usize, band: Option<usize>) -> f64 {
        let of = |o: &&Outcome| band.is_none_or(|band| o.band == band);
        let all = self.0.iter().filter(of);
        let held = all.clone().filter(|o| o.long[run][level]).count();
        held as f64 / all.count() as f64
    }

    fn miss_held(&self, run: usize, level: usize) -> f64 {
        let held = self.0.iter().filter(|o| o.miss[run][level]).count();
        held as f64 / self.0.len() as f64
    }

    /// RMS miss of a run over that of the one who knows the vehicle.
    pub fn against_best(&self, run: usize) -> f64 {
        let sum = |who: usize| self.0.iter().map(|o| o.squared[run][who]).sum::<f64>();
        (sum(0) / sum(1)).sqrt()
    }
}

/// Every kind of season that is counted.
fn kinds() -> Vec<(String, Kindred)> {
    let full = Kindred {
        growth: 0.0,
        rolls_back: 0.0,
        sessions: 4,
        runs_per_session: 8,
    };
    let mut kinds = Vec::new();
    for growth in [0.0, 0.5, 1.0] {
        for rolls_back in [0.0, 0.2, 0.5] {
            let name = format!("γ {growth}, {:.0} % roll back", 100.0 * rolls_back);
            kinds.push((
                name,
                Kindred {
                    growth,
                    rolls_back,
                    ..full
                },
            ));
        }
    }
    for runs in [4, 5, 6] {
        let few = Kindred {
            growth: 0.5,
            sessions: 1,
            runs_per_session: runs,
            ..full
        };
        kinds.push((format!("γ 0.5, one session of {runs}"), few));
    }
    kinds
}

/// Coverage by band of distance, at 50, 80 and 95 %, and misses.
pub fn table(seasons: u64) -> Bounds {
    let mut bounds = Bounds::default();
    println!(
        "{seasons} seasons a cell, 4 sessions of 8 runs unless said, run to run 6 cm, τ/σ {RATIO}; long inside at 50 80 95 %, in all and in four bands from {} to {} m; miss inside",
        RANGE_M.0, RANGE_M.1
    );
    for (name, kind) in kinds() {
        let cell = Cell::new(kind, seasons, 4_000_000);
        for run in [0, 1] {
            let at = |band: Option<usize>| {
                let held = [0, 1, 2].map(|level| cell.held(run, level, band));
                held.map(|h| format!("{:.0}", 100.0 * h)).join(" ")
            };
            let bands: Vec<String> = (0..BANDS).map(|band| at(Some(band))).collect();
            let miss = [0, 1, 2].map(|level| format!("{:.0}", 100.0 * cell.miss_held(run, level)));
            println!(
                "{name} | run {} | {} | {} | miss {} | {:.2} of the best rule's miss",
                run + 1,
                at(None),
                bands.join(" / "),
                miss.join(" "),
                cell.against_best(run)
            );
        }
        let width = cell.0.iter().map(|o| o.width_m).sum::<f64>() / cell.0.len() as f64;
        println!(
            "{name} | mean width of 95 % for run 1: {:.0} cm, fitted {}",
            100.0 * width,
            cell.0.len()
        );
        if kind.rolls_back == 0.0 && kind.sessions > 1 {
            for band in 0..BANDS {
                let share = cell.held(0, 2, Some(band));
                let allowed = super::bounds::allowed(0.92, seasons / BANDS as u64);
                bounds.at_least(&format!("{name}, band {band}"), share, 0.92 - allowed);
            }
        }
    }
    bounds
}
