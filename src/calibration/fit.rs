//! One season in, one calibration out: sorts the runs, fits, sets blunders aside, fits again, sums up.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use super::blunders::{self, Blunder, Found};
use super::heading::{self, HeadingFit};
use super::rows::{self, RigRuns};
use super::travel::{self, TravelFit};
use super::{
    Build, Calibration, Drift, EventRange, Heading, LateralBias, Rig, SetAside, Story, StoryRun,
    StorySession, Travel, Trim, checks, left_out, recoil,
};
use crate::error::{CannotAnswer, Error};
use crate::geometry;
use crate::log::group;
use crate::log::run::{Run, Season, Status};
use crate::setup::Setup;
use crate::stats::charts;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::Posterior;
use crate::watch::{UNWATCHED, Watch};
use jiff::civil::Date;
use rayon::prelude::*;
use std::f64::consts::FRAC_PI_2;

/// τ beyond this many times its guess says that the guess was too small to be harmless.
const GUESS_TOO_SMALL: f64 = 3.0;
/// Fewest timed runs for a line of run time.
const TIMED_MIN: usize = 6;

/// What may be asked of a fit.
#[derive(Debug, Clone, Copy, Default)]
pub struct Options {
    /// Fit also the runs that would be set aside.
    pub keep_all: bool,
    /// Runs before this day are not looked at.
    pub since: Option<Date>,
}

/// Fits every rig of a season.
///
/// # Errors
/// [`Error::CannotAnswer`] when no rig can be fitted, naming what each of them lacks.
pub fn fit(
    season: &Season,
    setup: &Setup,
    level: Level,
    options: Options,
) -> Result<Calibration, Error> {
    Chosen::of(season, setup, level, options)?.fit(UNWATCHED)
}

/// Rigs that cannot be fitted are named up to this many; an archive may hold thousands.
const REFUSED_TOLD: usize = 5;

/// Rigs of fewer runs are tried before any is fitted in earnest: hardly another cannot be fitted.
const TRIED_BELOW: usize = 30;

/// Rigs that cannot be fitted, by their place in the logs, with what they lack.
pub type Refused = BTreeMap<usize, CannotAnswer>;

/// The runs that are to be fitted, by rig.
pub struct Chosen<'s> {
    /// Without the runs that are too old.
    season: Cow<'s, Season>,
    rigs: Vec<group::Rig>,
    middle_lead: Option<f64>,
    log_targets_m: (f64, f64),
    range: EventRange,
    /// Runs left out because nobody knows how old they are.
    undated: usize,
    setup: &'s Setup,
    level: Level,
    options: Options,
}

impl<'s> Chosen<'s> {
    /// Those of a season that the options leave.
    ///
    /// # Errors
    /// [`Error::CannotAnswer`] when no run is young enough.
    pub fn of(
        season: &'s Season,
        setup: &'s Setup,
        level: Level,
        options: Options,
    ) -> Result<Self, Error> {
        let mut season = Cow::Borrowed(season);
        let mut undated = 0;
        if let Some(since) = options.since {
            undated = season.runs.iter().filter(|r| r.date.is_none()).count();
            let young = |run: &&Run| run.date.is_some_and(|day| day >= since);
            season = Cow::Owned(season.with(season.runs.iter().filter(young).cloned().collect()));
            if season.runs.is_empty() {
                return Err(Error::cannot_answer(
                    format!("no run is dated {since} or later"),
                    "give an earlier day after --since, or fill in the date column",
                ));
            }
        }
        let log_targets_m = targets_m(&season);
        Ok(Chosen {
            rigs: group::rigs(&season),
            middle_lead: rows::middle_lead(&season),
            range: EventRange::of(setup, log_targets_m)?,
            log_targets_m,
            undated,
            season,
            setup,
            level,
            options,
        })
    }

    /// Fits every rig, saying how many are done.
    ///
    /// # Errors
    /// [`Error::CannotAnswer`] when no rig can be fitted, naming what each of the first lacks.
    pub fn fit(&self, watch: Watch) -> Result<Calibration, Error> {
        let mut refused = self.refused()?;
        loop {
            let keep = |_, rig| Ok((rig, ()));
            if let Some((calibration, _)) = self.fit_each(&mut refused, watch, keep)? {
                return Ok(calibration);
            }
        }
    }

    /// Rigs that cannot be fitted, as far as can be told before fitting all.
    ///
    /// # Errors
    /// [`Error::CannotAnswer`] when that is all of them, naming what each of the first lacks.
    pub fn refused(&self) -> Result<Refused, Error> {
        let lacks = |(place, rig): (usize, &group::Rig)| {
            if rig.runs.len() >= TRIED_BELOW {
                return None;
            }
            let runs = rows::sorted_out(&self.season, rig, self.middle_lead);
            match fit_both(&runs, &[], self.setup, self.level, self.range) {
                Err(Error::CannotAnswer(why)) => Some((place, why)),
                _ => None,
            }
        };
        let tried = self.rigs.par_iter().enumerate().filter_map(lacks);
        let refused: Refused = tried.collect();
        if refused.len() == self.rigs.len() {
            return Err(none_fitted(&refused));
        }
        Ok(refused)
    }

    /// Number of rigs, without those refused.
    pub fn count(&self, refused: &Refused) -> usize {
        self.rigs.len() - refused.len()
    }

    /// What the calibration will say beside its rigs.
    pub fn about(&self) -> Calibration {
        Calibration {
            level: self.level,
            setup: self.setup.clone(),
            log_targets_m: self.log_targets_m,
            logs: self.season.files.clone(),
            rigs: Vec::new(),
        }
    }

    /// Fits every rig but those refused, rigs side by side, hands each over as soon as it is fitted, and collects, in
    /// order, what is left of it and what was made of it. `None` when more rigs turn out not to be fitted: the others
    /// were numbered and warned without knowing, so all is to be done again with what `refused` says then.
    ///
    /// * `each` — of the place of a rig among those fitted, and the rig with its story
    ///
    /// # Errors
    /// [`Error::CannotAnswer`] when no rig can be fitted, naming what each of the first lacks; those of `each`.
    pub fn fit_each<T: Send>(
        &self,
        refused: &mut Refused,
        watch: Watch,
        each: impl Fn(usize, Rig) -> Result<(Rig, T), Error> + Sync,
    ) -> Result<Option<(Calibration, Vec<T>)>, Error> {
        let places: Vec<usize> = (0..self.rigs.len())
            .filter(|place| !refused.contains_key(place))
            .collect();
        let warnings = self.warnings(refused);
        let done = AtomicU64::new(0);
        let one = |(index, &place): (usize, &usize)| {
            let runs = rows::sorted_out(&self.season, &self.rigs[place], self.middle_lead);
            let fitted = fit_rig(&runs, self.setup, self.level, self.options, self.range);
            let made = fitted.map(|mut rig| {
                rig.warnings.extend_from_slice(&warnings);
                each(index, rig)
            });
            watch(
                done.fetch_add(1, Ordering::Relaxed) + 1,
                places.len() as u64,
            );
            made
        };
        // One rig knows nothing of another, and the order of what is collected is that of the rigs.
        let made: Vec<_> = places.par_iter().enumerate().map(one).collect();
        let (known, mut all) = (refused.len(), Vec::with_capacity(made.len()));
        for (&place, made) in places.iter().zip(made) {
            match made {
                Ok(made) => all.push(made),
                Err(Error::CannotAnswer(why)) => {
                    refused.insert(place, why);
                }
                Err(other) => return Err(other),
            }
        }
        if refused.len() == self.rigs.len() {
            return Err(none_fitted(refused));
        }
        if refused.len() > known {
            return Ok(None);
        }
        let all = all.into_iter().collect::<Result<Vec<(Rig, T)>, Error>>()?;
        let (rigs, made) = all.into_iter().unzip();
        let calibration = Calibration {
            rigs,
            ..self.about()
        };
        Ok(Some((calibration, made)))
    }

    /// What every rig is told of the others, and of runs left out.
    fn warnings(&self, refused: &Refused) -> Vec<String> {
        let told = refused.values().take(REFUSED_TOLD);
        let mut warnings: Vec<String> = told
            .map(|r| format!("Not fitted: {}; {}.", r.what, r.would_answer))
            .collect();
        if refused.len() > REFUSED_TOLD {
            warnings.push(format!("Nor were {} more.", refused.len() - REFUSED_TOLD));
        }
        if self.undated > 0 {
            warnings.push(format!(
                "{} runs without a date were left out because of --since.",
                self.undated
            ));
        }
        warnings
    }
}

/// That no rig can be fitted.
fn none_fitted(refused: &Refused) -> Error {
    let told = refused.values().take(REFUSED_TOLD);
    let what: Vec<String> = told.map(|r| r.what.clone()).collect();
    let would = refused.values().next().map_or_else(
        || "write down launches with turns and where they came to rest".to_string(),
        |r| r.would_answer.clone(),
    );
    Error::cannot_answer(what.join("; "), would)
}

/// Shortest and longest target written in a season, m; NaN without any.
pub fn targets_m(season: &Season) -> (f64, f64) {
    let targets_m = season.runs.iter().filter_map(|run| run.target_m);
    targets_m.fold((f64::NAN, f64::NAN), |(low, high), t| {
        (low.min(t), high.max(t))
    })
}

/// Both fits with the same launches left out.
pub struct Fits {
    /// Arc on turns.
    pub travel: TravelFit,
    /// Heading excess on arc; `None` where the log does not tell.
    pub heading: Option<HeadingFit>,
}

/// Both fits after blunders were set aside.
pub struct Settled {
    /// The fits.
    pub fits: Fits,
    /// The launches left out, as indices into the rig's list, rising.
    pub excluded: Vec<usize>,
    /// The same with reasons.
    pub set_aside: Vec<SetAside>,
}

fn fit_both(
    runs: &RigRuns,
    excluded: &[usize],
    setup: &Setup,
    level: Level,
    range: EventRange,
) -> Result<Fits, Error> {
    // A heading that cannot be fitted leaves the travel fit standing.
    let heading = heading::fit(runs, excluded, setup, range.shortest_m).unwrap_or(None);
    let travel = travel::fit(runs, excluded, setup, level, heading.as_ref())?;
    Ok(Fits { travel, heading })
}

/// Blunders are set aside in so many passes at most.
const PASSES_MAX: usize = 20;

/// Fits a rig, sets its blunders aside in passes, at most a tenth of its runs, and fits again after each (`model.md` §6).
///
/// # Errors
/// As [`travel::fit`].
pub fn settled(
    runs: &RigRuns,
    setup: &Setup,
    level: Level,
    options: Options,
    range: EventRange,
) -> Result<Settled, Error> {
    let mut excluded: Vec<usize> = Vec::new();
    let mut set_aside = Vec::new();
    let mut fits = fit_both(runs, &excluded, setup, level, range)?;
    let at_most = (fits.travel.launches.len() / 10).max(1);
    let passes = if options.keep_all { 0 } else { PASSES_MAX };
    for _ in 0..passes {
        let mut found = blunders::worst_of_sessions(&fits.travel, fits.heading.as_ref());
        found.truncate(at_most - excluded.len());
        if found.is_empty() {
            break;
        }
        let mut more = excluded.clone();
        more.extend(found.iter().map(|blunder| blunder.launch));
        more.sort_unstable();
        let Ok(next) = fit_both(runs, &more, setup, level, range) else {
            break; // what would be left cannot be fitted
        };
        let aside = |blunder| worded(runs, blunder, &fits, range);
        set_aside.extend(found.iter().map(aside));
        excluded = more;
        fits = next;
    }
    Ok(Settled {
        fits,
        excluded,
        set_aside,
    })
}

fn fit_rig(
    runs: &RigRuns,
    setup: &Setup,
    level: Level,
    options: Options,
    range: EventRange,
) -> Result<Rig, Error> {
    let Settled {
        fits,
        excluded,
        set_aside,
    } = settled(runs, setup, level, options, range)?;
    let mut warnings = Vec::new();
    let travel = travel_summary(runs, &fits, setup, level, range, &mut warnings);
    let heading = fits
        .heading
        .as_ref()
        .map(|fit| heading_summary(runs, fit, setup, level, &mut warnings));
    if heading.is_none() {
        warnings.push(
            "Where it comes to rest to the right or left cannot be told: write right_cm (and aim_right_cm) for at least two runs."
                .to_string(),
        );
    }
    let story = story(runs, &fits, &excluded, level);
    let mut sessions: Vec<u32> = runs.launches.iter().map(|l| l.run.session).collect();
    sessions.sort_unstable();
    sessions.dedup();
    let session_index = |label: usize| sessions.partition_point(|&s| (s as usize) < label);
    let left_out = left_out::sessions(&fits.travel, level, session_index);
    let checks = checks::all(&checks::Evidence {
        runs,
        travel: &fits.travel,
        heading: fits.heading.as_ref(),
        story: &story,
        left_out: &left_out,
        setup,
        level,
        middle_m: range.three_m()[1],
    });
    let lateral_bias = heading
        .as_ref()
        .map_or_else(Vec::new, |h| lateral_bias(h, range, level));
    Ok(Rig {
        name: runs.name.clone(),
        vehicle: runs.vehicle_label().to_string(),
        wheels: runs.wheels_label().to_string(),
        counts: runs.counts(&excluded),
        time: time_line(runs, &fits, &excluded),
        travel,
        heading,
        lateral_bias,
        bend_wanted_per_m: None,
        left_out,
        checks,
        set_aside,
        warnings,
        session_labels: story.sessions.iter().map(|s| s.label.clone()).collect(),
        story: Some(story),
    })
}

/// The straight line of the newest fitted build, for a sentence.
#[derive(Clone, Copy)]
struct Line {
    overshoot_m: f64,
    per_turn_m: f64,
}

impl Line {
    fn of(beta: impl Fn(usize) -> f64, fit: &TravelFit) -> Self {
        Line {
            overshoot_m: beta(fit.turns_column - 1),
            per_turn_m: beta(fit.turns_column),
        }
    }

    fn turns_for(self, arc_m: f64) -> f64 {
        (arc_m - self.overshoot_m) / self.per_turn_m
    }
}

/// The reason a run was set aside, with how far it moves the setting for the middle target by itself.
fn worded(runs: &RigRuns, blunder: &Blunder, with: &Fits, range: EventRange) -> SetAside {
    let run = &runs.launches[blunder.launch].run;
    let middle = range.three_m()[1];
    let chance = if blunder.p < 1e-4 {
        "1 of 10 000".to_string()
    } else {
        format!("1 of {:.0}", 1.0 / blunder.p)
    };
    let why = match blunder.found {
        Found::Along => {
            let coefficient = |column| with.travel.posterior.coefficient(column);
            let without = |column| coefficient(column) - blunder.moves[column];
            let (with, without) = (
                Line::of(coefficient, &with.travel),
                Line::of(without, &with.travel),
            );
            let moved = with.turns_for(middle) - without.turns_for(middle);
            format!(
                "went {:.0} cm {} than the other runs say for {} turns; chance alone does this in fewer than {chance} logs. With it, the setting for {middle:.2} m would be {:.2} turns {}.",
                100.0 * blunder.off.abs(),
                if blunder.off > 0.0 {
                    "farther"
                } else {
                    "less far"
                },
                run.turns.map_or_else(String::new, |t| format!("{t}")),
                moved.abs(),
                if moved >= 0.0 { "more" } else { "fewer" },
            )
        }
        Found::Across => format!(
            "headed {:.0} cm a metre to the {} of what the other runs say for its aim mark; chance alone does this in fewer than {chance} logs.",
            100.0 * blunder.off.abs(),
            if blunder.off > 0.0 { "right" } else { "left" },
        ),
    };
    SetAside {
        log: runs.season.files[run.file as usize].clone(),
        line: run.line as usize,
        why,
    }
}

fn travel_summary(
    runs: &RigRuns,
    fits: &Fits,
    setup: &Setup,
    level: Level,
    range: EventRange,
    warnings: &mut Vec<String>,
) -> Travel {
    let fit = &fits.travel;
    let newest_build = newest_index(runs, &fit.launches, |l| l.build, &fit.builds);
    let sessions_of = |build: usize| {
        let mut sessions: Vec<u32> = fit
            .launches
            .iter()
            .filter(|&&i| runs.launches[i].build == build)
            .map(|&i| runs.launches[i].run.session)
            .collect();
        let runs = sessions.len();
        sessions.sort_unstable();
        sessions.dedup();
        (runs, sessions.len())
    };
    let known: Vec<(recoil::Recoil, Option<f64>)> = fit
        .builds
        .iter()
        .map(|&build| {
            let recoil = recoil::of_build(runs, build, setup, level);
            let lead = recoil.lead_to_use(runs.newest_session_lead(&fit.launches, build), setup);
            (recoil, lead)
        })
        .collect();
    let recommended = known[newest_build].1;
    let spreads = fit.spreads();
    let mut travel = Travel {
        builds: Vec::new(),
        newest_build,
        turns_column: fit.turns_column,
        lead_term: fit.lead_term,
        distance_per_turn_m: coefficient(&fit.posterior, &fit.reml.beta, fit.turns_column, level),
        lead_m_per_turn: fit
            .lead_term
            .map(|t| coefficient(&fit.posterior, &fit.reml.beta, t.column, level)),
        turn_prior: fit.prior.clone(),
        prior_share: fit.posterior.prior_share(&fit.design, fit.turns_column),
        run_to_run_m: spreads.within_interval(fit.reml.sigma, level),
        between_sessions_m: spreads.between_interval(fit.reml.tau, level),
        sigma_for_priors_m: fit.sigma_m,
        arc_range_m: rows::span(fit.rows.y.iter().copied()),
        turns_range: rows::span(fit.rows.x.column(fit.turns_column).iter().copied()),
        hand_rolls: None,
        posterior: fit.posterior.clone(),
    };
    for (k, ((recoil, lead_turns), &build)) in known.into_iter().zip(&fit.builds).enumerate() {
        let mut x = travel.row(k, 0.0, recommended);
        x[travel.turns_column] = 0.0;
        let estimate = x.iter().zip(fit.reml.beta.iter()).map(|(a, b)| a * b).sum();
        let (build_runs, sessions) = sessions_of(build);
        travel.builds.push(Build {
            label: runs.season.builds[runs.builds[build] as usize].clone(),
            runs: build_runs,
            sessions,
            overshoot_m: fit.posterior.interval(&x, estimate, level),
            recoil,
            lead_turns,
        });
    }
    if let Some((mut rolls, _)) = travel::hand_rolls(runs, level) {
        let hand = rolls.distance_per_turn_m.estimate;
        let (a, b) = (
            travel.builds[newest_build].overshoot_m.estimate,
            travel.distance_per_turn_m.estimate,
        );
        rolls.overshoot_at_m = [range.shortest_m, range.longest_m]
            .iter()
            .map(|&s| (s, s - hand * (s - a) / b))
            .collect();
        travel.hand_rolls = Some(rolls);
    }
    if let Some((prior, estimate)) = &fit.dropped_prior {
        warnings.push(format!(
            "The wheel diameter or the hand rolls say about {:.1} cm a turn, the runs say {:.1} cm: the runs are believed. Is the diameter in the set-up right?",
            100.0 * prior.mean_m,
            100.0 * estimate
        ));
    }
    if fit.lead_confounded {
        warnings.push(
            "What brake lead does to the distance cannot be told: it changed only together with something else."
                .to_string(),
        );
    }
    if fit.reml.tau > GUESS_TOO_SMALL * setup.prior.between_sessions_m {
        warnings.push(
            "Days differ far more than the guess in the set-up: [prior] between_sessions_cm looks too small."
                .to_string(),
        );
    }
    travel
}

/// The index, in `kept`, of the newest label among `launches`.
fn newest_index(
    runs: &RigRuns,
    launches: &[usize],
    label: impl Fn(&rows::Launch) -> usize,
    kept: &[usize],
) -> usize {
    runs.newest(launches)
        .and_then(|launch| kept.iter().position(|&k| k == label(launch)))
        .unwrap_or(kept.len() - 1)
}

fn coefficient(
    posterior: &Posterior,
    reml: &nalgebra::DVector<f64>,
    column: usize,
    level: Level,
) -> Interval {
    let mut x = vec![0.0; reml.len()];
    x[column] = 1.0;
    posterior.interval(&x, reml[column], level)
}

fn heading_summary(
    runs: &RigRuns,
    fit: &HeadingFit,
    setup: &Setup,
    level: Level,
    warnings: &mut Vec<String>,
) -> Heading {
    let newest_trim = newest_index(runs, &fit.launches, |l| l.trim, &fit.trims);
    let mut trims = Vec::new();
    for (k, &trim) in fit.trims.iter().enumerate() {
        let of_trim: Vec<&rows::Launch> = fit
            .launches
            .iter()
            .map(|&i| &runs.launches[i])
            .filter(|l| l.trim == trim)
            .collect();
        let mut sessions: Vec<u32> = of_trim.iter().map(|l| l.run.session).collect();
        sessions.sort_unstable();
        sessions.dedup();
        let label = runs.season.trims[runs.trims[trim] as usize].clone();
        let spoken = if label.is_empty() {
            "the trim".to_string()
        } else {
            format!("trim {label}")
        };
        if of_trim.len() < 2 {
            warnings.push(format!(
                "Only one run with {spoken}: its direction rests on the guess for the bend in the set-up."
            ));
        } else if sessions.len() == 1 {
            warnings.push(format!(
                "All runs with {spoken} were made in one session: how that day differed from others cannot be told from the trim."
            ));
        }
        trims.push(Trim {
            label,
            runs: of_trim.len(),
            sessions: sessions.len(),
            straight_rad: coefficient(&fit.posterior, &fit.reml.beta, 2 * k, level),
            curvature_per_m: coefficient(&fit.posterior, &fit.reml.beta, 2 * k + 1, level),
            curvature_point_per_m: fit.curvature[k],
            prior_share: fit.posterior.prior_share(&fit.design, 2 * k + 1),
        });
    }
    if fit.at_bound {
        warnings.push(
            "The bend of the path ran into its bound (nearly half a circle): please look for right and left swapped, or aim marks on the wrong side."
                .to_string(),
        );
    }
    if fit.reml.tau > GUESS_TOO_SMALL * setup.prior.between_sessions_rad {
        warnings.push(
            "Days differ in direction far more than the guess in the set-up: [prior] between_sessions_cm_per_m looks too small."
                .to_string(),
        );
    }
    let spreads = fit.spreads();
    Heading {
        trims,
        newest_trim,
        run_to_run_rad: spreads.within_interval(fit.reml.sigma, level),
        between_sessions_rad: spreads.between_interval(fit.reml.tau, level),
        curvature_prior_per_m: fit.curvature_prior_per_m,
        sigma_for_priors_rad: fit.sigma_rad,
        runs: fit.launches.len(),
        curvature_at_bound: fit.at_bound,
        posterior: fit.posterior.clone(),
    }
}

fn lateral_bias(heading: &Heading, range: EventRange, level: Level) -> Vec<LateralBias> {
    let mut out = Vec::new();
    for (k, trim) in heading.trims.iter().enumerate() {
        for d in range.three_m() {
            let x = heading.row(k, geometry::arc_of_chord(d, trim.curvature_point_per_m));
            let known = heading
                .posterior
                .interval(&x, heading.posterior.mean(&x), level);
            // A direction of which nothing is known may lie beyond a right angle; nothing is farther aside than there.
            let right_m = |angle: f64| d * angle.clamp(-FRAC_PI_2, FRAC_PI_2).sin();
            out.push(LateralBias {
                trim: trim.label.clone(),
                distance_m: d,
                right_m: Interval {
                    estimate: right_m(known.estimate),
                    low: right_m(known.low),
                    high: right_m(known.high),
                },
            });
        }
    }
    out
}

/// Run time on arc, s = a + b·arc, from at least six timed fitted runs; the same engine without priors on the line.
pub fn time_line(runs: &RigRuns, fits: &Fits, excluded: &[usize]) -> Option<Posterior> {
    let timed: Vec<(f64, f64, usize)> = fits
        .travel
        .launches
        .iter()
        .zip(fits.travel.rows.y.iter())
        .filter(|(i, _)| excluded.binary_search(i).is_err())
        .filter_map(|(&i, &arc)| {
            let run = &runs.launches[i].run;
            Some((arc, run.time_s?, run.session as usize))
        })
        .collect();
    if timed.len() < TIMED_MIN {
        return None;
    }
    let rows = crate::stats::mixed::Rows {
        x: nalgebra::DMatrix::from_fn(timed.len(), 2, |i, c| if c == 0 { 1.0 } else { timed[i].0 }),
        y: nalgebra::DVector::from_iterator(timed.len(), timed.iter().map(|t| t.1)),
        group: timed.iter().map(|t| t.2).collect(),
    };
    /// Stop-watches are read to a hundredth of a second.
    const WATCH_SD_S: f64 = 0.003;
    let design = rows.design(&[], WATCH_SD_S).ok()?;
    Posterior::new(&design, heading::THETA_PRIOR_SCALE).ok()
}

/// What the figures show.
fn story(runs: &RigRuns, fits: &Fits, excluded: &[usize], level: Level) -> Story {
    let travel = &fits.travel;
    let mut sessions: Vec<u32> = runs.launches.iter().map(|l| l.run.session).collect();
    sessions.sort_unstable();
    sessions.dedup(); // labels are numbered in order of first appearance
    let travel_means = travel.rows.group_means();
    let heading_means = fits
        .heading
        .as_ref()
        .map(|h| h.rows.group_means())
        .unwrap_or_default();
    let shift =
        |posterior: &Posterior, means: &[crate::stats::mixed::design::GroupMean], session: u32| {
            let at = means.binary_search_by_key(&(session as usize), |m| m.group);
            at.ok().map(|at| {
                let m = &means[at];
                posterior
                    .group_effect(m.x.as_slice(), m.y, m.rows)
                    .central(level)
            })
        };
    // The first launch of each session, and its first date.
    let mut firsts: BTreeMap<u32, (usize, Option<Date>)> = BTreeMap::new();
    for (i, launch) in runs.launches.iter().enumerate() {
        let first = firsts.entry(launch.run.session).or_insert((i, None));
        first.1 = first.1.into_iter().chain(launch.run.date).min();
    }
    let story_sessions = sessions
        .iter()
        .map(|&s| {
            let (first, date) = firsts[&s];
            let floor = runs.launches[first].run.floor;
            let fitted = travel_means.binary_search_by_key(&(s as usize), |m| m.group);
            StorySession {
                label: runs.season.sessions[s as usize].clone(),
                date,
                floor: runs.season.floors[floor as usize].clone(),
                runs: fitted.map_or(0, |at| travel_means[at].rows as usize),
                shift_m: shift(&travel.posterior, &travel_means, s),
                shift_rad: fits
                    .heading
                    .as_ref()
                    .and_then(|h| shift(&h.posterior, &heading_means, s)),
            }
        })
        .collect();
    let logs: Vec<Arc<str>> = runs
        .season
        .files
        .iter()
        .map(|f| f.as_str().into())
        .collect();
    let travel_line = travel.posterior.coefficients();
    let heading = fits.heading.as_ref();
    let heading_line = heading.map(|h| h.posterior.coefficients());
    let mut story_runs = Vec::with_capacity(runs.launches.len());
    for (i, launch) in runs.launches.iter().enumerate() {
        let run = &launch.run;
        let shown = matches!(run.status, Status::Ok | Status::Recoil);
        let (Some(turns), Some(rest_m), true) = (run.turns, run.rest_m, shown) else {
            continue;
        };
        let Some(arc_m) = travel::arc_m(runs, i, fits.heading.as_ref()) else {
            continue;
        };
        let Some(build) = travel.builds.iter().position(|&b| b == launch.build) else {
            continue;
        };
        let lead = travel.lead_term.zip(launch.lead_turns);
        let arc_fitted_m = travel_line[build]
            + travel_line[travel.turns_column] * turns
            + lead.map_or(0.0, |(term, lead)| {
                travel_line[term.column] * (lead - term.mean_turns)
            });
        let trim = fits
            .heading
            .as_ref()
            .and_then(|h| h.trims.iter().position(|&t| t == launch.trim));
        story_runs.push(StoryRun {
            log: Arc::clone(&logs[run.file as usize]),
            line: run.line as usize,
            session: sessions.partition_point(|&s| s < run.session),
            position: launch.position,
            build,
            trim,
            target_m: run.target_m,
            turns,
            lead_turns: launch.lead_turns,
            rest_m,
            right_m: run.right_m,
            aim_right_m: run.aim_right_m,
            arc_m,
            arc_fitted_m,
            heading_rad: launch.measured.map(|m| m.excess_rad),
            heading_fitted_rad: heading_line
                .as_ref()
                .zip(trim)
                .map(|(line, k)| line[2 * k] + line[2 * k + 1] * arc_m / 2.0),
            in_travel: travel.launches.binary_search(&i).is_ok(),
            in_heading: fits
                .heading
                .as_ref()
                .is_some_and(|h| h.launches.binary_search(&i).is_ok()),
            set_aside: excluded.binary_search(&i).is_ok(),
            recoiled: run.status == Status::Recoil,
            gap_m: run.gap_m,
        });
    }
    Story {
        drift: drift(travel, &story_runs, sessions.len()),
        runs: story_runs,
        sessions: story_sessions,
    }
}

/// Fewest sessions that a drift chart says anything about: with four it cannot leave its limits.
const DRIFT_SESSIONS_MIN: usize = 5;
/// Weight of the newest value and width of the limits, the usual choice of the e-Handbook (6.3.2.4).
const DRIFT_WEIGHT: f64 = 0.3;
const DRIFT_SIGMAS: f64 = 3.0;

/// The mean difference of two independent normals is this many standard deviations, 2/√π: d₂ of the e-Handbook (6.3.2.2).
const MEAN_DIFFERENCE: f64 = std::f64::consts::FRAC_2_SQRT_PI;

/// The drift chart of the sessions' mean residuals, against how much one session differs from the next.
///
/// That spread is the mean moving range over d₂ (NIST/SEMATECH e-Handbook 6.3.2.2), no less than what the runs alone
/// make: τ would take up a drift as a difference between sessions, and a chart against it never leaves its limits.
/// Clean seasons of 6, 12 and 20 sessions leave them in 1, 1 and 3 of 100.
fn drift(travel: &TravelFit, runs: &[StoryRun], sessions: usize) -> Option<Drift> {
    let mut sums = vec![(0.0, 0.0); sessions];
    for run in runs.iter().filter(|r| r.in_travel) {
        sums[run.session].0 += run.arc_m - run.arc_fitted_m;
        sums[run.session].1 += 1.0;
    }
    sums.retain(|s| s.1 > 0.0);
    if sums.len() < DRIFT_SESSIONS_MIN {
        return None;
    }
    let values_m: Vec<f64> = sums.iter().map(|s| s.0 / s.1).collect();
    let typical_runs = sums.len() as f64 / sums.iter().map(|s| 1.0 / s.1).sum::<f64>();
    let ranges: f64 = values_m.windows(2).map(|v| (v[1] - v[0]).abs()).sum();
    let from_ranges = ranges / (values_m.len() - 1) as f64 / MEAN_DIFFERENCE;
    let sigma = from_ranges.max(travel.reml.sigma / typical_runs.sqrt());
    let chart = charts::ewma(&values_m, DRIFT_WEIGHT, 0.0, sigma, DRIFT_SIGMAS).ok()?;
    Some(Drift {
        values_m,
        averages_m: chart.averages,
        limits_m: chart.half_widths,
    })
}
