//! Leave-one-session-out cross-validation: each session predicted from the others, as the event will be.

use super::heading::{HeadingFit, row as heading_row};
use super::known::{LeftOut, LeftOutAt, LeftOutRun, size};
use super::rows::{Launch, RigRuns};
use super::travel::TravelFit;
use crate::predict::{Hand, Prediction};
use crate::setup::Measure;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::{AtGrowth, Design, Growths, LeaveOut, Posterior, Row, SpreadPrior};

/// At most so many sessions are left out, evenly chosen: enough for a count, and the work stays that of a season.
const SESSIONS_MAX: usize = 60;
/// And at most so many of their runs, evenly chosen, are held against what is promised: the share inside 95 % is then known
/// to 2 in 100 (its binomial sd).
const RUNS_MAX: usize = 150;
/// Levels at which the counts are given beside that of the calibration.
const LEVELS: [f64; 3] = [0.5, 0.8, 0.95];

/// A fit without one of its sessions at a time.
struct Others<'a> {
    growths: &'a Growths,
    prior: SpreadPrior,
    each: Vec<LeaveOut<'a>>,
}

impl<'a> Others<'a> {
    fn new(growths: &'a Growths, prior: SpreadPrior) -> Self {
        let of = |at: &'a AtGrowth| LeaveOut::from_rows(&at.rows, &at.design);
        Others {
            growths,
            prior,
            each: growths.each().iter().map(of).collect(),
        }
    }

    /// What the others know; `None` where they do not hold a build or trim of the session, or leave too little to fit.
    fn without(&self, place: usize) -> Option<Posterior> {
        let designs: Vec<Design> = self.each.iter().map(|o| o.without_group(place)).collect();
        let shares = self.growths.each().iter().map(|at| at.share);
        let designs: Vec<(f64, &Design)> = shares.zip(&designs).collect();
        Posterior::averaged(&designs, self.prior).ok()
    }
}

/// What the other sessions know of one.
struct Foretold<'a> {
    runs: &'a RigRuns<'a>,
    fit: &'a TravelFit,
    heading: Option<&'a HeadingFit>,
    travel_known: Posterior,
    heading_known: Option<Posterior>,
}

/// Predicts each session of a rig from the others: one refit a session by the same engine, with N̄, σ̂, κ̂ and the runs set
/// aside of the full fit.
///
/// * `story_session` — turns a session label into the story's index
pub fn sessions(
    runs: &RigRuns,
    fit: &TravelFit,
    heading: Option<&HeadingFit>,
    (level, measure): (Level, Measure),
    story_session: impl Fn(usize) -> usize,
) -> LeftOut {
    let labels = fit.rows.group.labels();
    let mut out = LeftOut {
        at: LEVELS.map(LeftOutAt::none).to_vec(),
        ..LeftOut::default()
    };
    if labels.len() < 2 {
        return out;
    }
    let along = Others::new(&fit.growths, fit.spread_prior);
    let across = heading.map(|h| (h, Others::new(&h.growths, h.spread_prior)));
    let left_out = labels.len().min(SESSIONS_MAX);
    // The middle one of each of so many equal stretches.
    let places = (0..left_out).map(|k| (2 * k + 1) * labels.len() / (2 * left_out));
    let runs_of = |place| fit.rows.group.members(place);
    let all: usize = places.clone().map(|place| runs_of(place).len()).sum();
    let counted = all.min(RUNS_MAX);
    let mut passed = 0;
    for place in places {
        // So many of all, evenly spread over them.
        let chosen = runs_of(place).iter().filter(|_| {
            passed += 1;
            passed * counted / all > (passed - 1) * counted / all
        });
        let chosen: Vec<usize> = chosen.copied().collect();
        let Some(travel_known) = along.without(place) else {
            continue;
        };
        let heading_known = across.as_ref().and_then(|(h, others)| {
            let labels_across = h.rows().group.labels();
            others.without(labels_across.binary_search(&labels[place]).ok()?)
        });
        let foretold = Foretold {
            runs,
            fit,
            heading,
            travel_known,
            heading_known,
        };
        out.sessions += 1;
        let session = story_session(labels[place]) as u32;
        foretold.count(&chosen, session, (level, measure), &mut out);
    }
    out
}

impl Foretold<'_> {
    /// Holds the rows of the session against what the others say of their settings.
    fn count(
        &self,
        rows: &[usize],
        session: u32,
        (level, measure): (Level, Measure),
        out: &mut LeftOut,
    ) {
        // Settings repeat within a session, and so does what is promised at them.
        let mut known: Vec<(SettingOfRun, Promise)> = Vec::new();
        for &i in rows {
            let launch = &self.runs.launches[self.fit.launches[i]];
            let Some(setting) = self.setting(i, launch) else {
                continue;
            };
            let at = known.iter().position(|(at, _)| *at == setting);
            let at = at.unwrap_or_else(|| {
                let promise = Promise::new(self.prediction(&setting), level, measure);
                known.push((setting, promise));
                known.len() - 1
            });
            out.add(launch, &known[at].1, session);
        }
    }

    /// What a launch was made with; `None` where its target or turns are not written.
    fn setting(&self, row: usize, launch: &Launch) -> Option<SettingOfRun> {
        let run = &launch.run;
        let x: Vec<f64> = self.fit.rows.x.row(row).iter().copied().collect();
        let trims = self.heading.map(|h| &h.trims);
        let trim = trims.and_then(|t| t.iter().position(|&trim| trim == launch.trim));
        let across = run.aim_right_m.is_some() && run.right_m.is_some();
        Some(SettingOfRun {
            row: Row {
                size: size(x[self.fit.turns_column], self.fit.mean_turns),
                x,
            },
            hand: Hand {
                target_m: run.target_m?,
                turns: run.turns?,
                aim_right_m: run.aim_right_m.unwrap_or(0.0),
            },
            trim: trim.filter(|_| across),
        })
    }

    fn prediction(&self, setting: &SettingOfRun) -> Prediction {
        let arc_mean_m = self.travel_known.mean(&setting.row);
        let arc = self.travel_known.new_group_distribution(&setting.row);
        let known = self
            .heading
            .zip(self.heading_known.as_ref())
            .zip(setting.trim);
        let excess = known.map(|((fit, known), trim)| {
            known.new_group_distribution(&heading_row(fit.trims.len(), trim, arc_mean_m))
        });
        let curvature = self
            .heading
            .zip(setting.trim)
            .map_or(0.0, |(h, k)| h.curvature[k]);
        Prediction::new(setting.hand, curvature, (&arc, arc_mean_m), excess.as_ref())
    }
}

/// What one launch was made with.
#[derive(Debug, Clone, PartialEq)]
struct SettingOfRun {
    row: Row,
    hand: Hand,
    /// Index into the fitted trims; `None` where the run does not tell of direction.
    trim: Option<usize>,
}

/// What is promised of a run at one setting.
struct Promise {
    prediction: Prediction,
    measure: Measure,
    /// Along, at the calibration's level and at each of [`LEVELS`].
    long_m: Interval,
    long_at_m: [Interval; LEVELS.len()],
    right_at_m: [Option<Interval>; LEVELS.len()],
    /// The miss not exceeded with the chance of the calibration's level.
    miss_high_m: Option<f64>,
}

impl Promise {
    fn new(prediction: Prediction, level: Level, measure: Measure) -> Self {
        let levels = LEVELS.map(|level| Level::new(level).unwrap_or_default());
        Promise {
            long_m: prediction.long_m(level),
            long_at_m: levels.map(|level| prediction.long_m(level)),
            right_at_m: levels.map(|level| prediction.right_m(level)),
            miss_high_m: prediction.miss_quantile(level.probability(), measure),
            prediction,
            measure,
        }
    }
}

impl LeftOut {
    /// Holds a launch against what was promised of it.
    fn add(&mut self, launch: &Launch, promise: &Promise, session: u32) {
        let run = &launch.run;
        let Some(long_m) = run.long_m() else {
            return;
        };
        let right_m = run.right_m.filter(|_| promise.prediction.knows_across());
        let miss_m = match promise.measure {
            Measure::Point => right_m.map(|right| long_m.hypot(right)),
            Measure::Line => Some(long_m.abs()),
        };
        let chance = |miss_m| promise.prediction.chance_within(miss_m, promise.measure);
        let miss_chance = miss_m.and_then(chance);
        let inside = |x: f64, interval: Interval| x >= interval.low && x <= interval.high;
        for (k, at) in self.at.iter_mut().enumerate() {
            at.long.add(inside(long_m, promise.long_at_m[k]));
            if let Some((right_m, known)) = right_m.zip(promise.right_at_m[k]) {
                at.right.add(inside(right_m, known));
            }
            if let Some(chance) = miss_chance {
                at.miss.add(chance <= at.level);
            }
        }
        let expected = promise.long_m;
        self.runs += 1;
        self.inside += usize::from(inside(long_m, expected));
        // They are drawn, to a fraction of a millimetre.
        self.predictions.push(LeftOutRun {
            session,
            error_m: (long_m - expected.estimate) as f32,
            low_m: (expected.low - expected.estimate) as f32,
            high_m: (expected.high - expected.estimate) as f32,
            miss_m: miss_m
                .zip(promise.miss_high_m)
                .map(|(miss, high)| (miss as f32, high as f32)),
        });
    }
}
