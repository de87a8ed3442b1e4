//! One season in, one calibration out. Of each rig: fits, sets blunders aside, fits again, sums up.

use std::collections::BTreeSet;
use std::sync::atomic::{AtomicU64, Ordering};

use jiff::civil::Date;
use rayon::prelude::*;

use super::blunders::{self, Blunder, Found, Room};
use super::heading::{self, HeadingFit};
use super::known::{Calibration, Rig, SetAside};
use super::range::EventRange;
use super::recoil::{self, BuildRecoil, TAKEN_FROM_STATUS};
use super::rows::{self, RigRuns, RunCounts};
use super::travel::{self, TravelFit};
use super::{checks, chronicle, fingerprint, left_out, range, since, summary, time};
use crate::error::{CannotAnswer, Error};
use crate::log::group;
use crate::log::run::{RowSlip, Season};
use crate::setup::{Dial, Setup};
use crate::stats::interval::Level;
use crate::units;
use crate::watch::{UNWATCHED, Watch};

/// Options of a fit.
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
/// [`Error::CannotAnswer`] when no rig can be fitted, naming what each of the first lacks, and when the options leave no
/// run.
pub fn fit(
    season: &Season,
    setup: &Setup,
    level: Level,
    options: Options,
) -> Result<Calibration, Error> {
    fit_watched(season, setup, level, options, UNWATCHED)
}

/// [`fit`], saying how many rigs are done.
///
/// # Errors
/// [`Error::CannotAnswer`] when no rig can be fitted, and when the options leave no run.
pub fn fit_watched(
    season: &Season,
    setup: &Setup,
    level: Level,
    options: Options,
    watch: Watch,
) -> Result<Calibration, Error> {
    let setup = &setup.for_log(season.ticks_seen);
    let (season, undated) = since::picked(season, options.since)?;
    let log_targets_m = range::logged_targets_m(&season);
    let range = EventRange::from_setup(setup, log_targets_m)?;
    let middle_lead = rows::middle_lead(&season);
    let rigs = group::rigs(&season);
    let done = AtomicU64::new(0);
    let fit_one = |rig: &group::RigIndices| {
        let runs = rows::sorted_out(&season, rig, middle_lead);
        let fitted = fit_rig(&runs, setup, level, options, range);
        watch(done.fetch_add(1, Ordering::Relaxed) + 1, rigs.len() as u64);
        fitted
    };
    // One rig knows nothing of another, and the order of what is collected is that of the rigs.
    let fitted: Vec<Result<Rig, Error>> = rigs.par_iter().map(fit_one).collect();
    let (rigs, refused) = fitted_and_refused(fitted)?;
    if rigs.is_empty() {
        return Err(none_fitted(&refused));
    }
    let aside = places_set_aside(&season, &rigs);
    let chronicle = chronicle::told(&season, &aside, setup.score.measure, level);
    Ok(Calibration {
        level,
        setup: setup.clone(),
        warnings: warnings(&refused, undated, setup),
        logs: season.files.clone(),
        log_targets_m,
        rigs,
        chronicle,
    })
}

/// File and line of every run that a rig's fits set aside.
fn places_set_aside(season: &Season, rigs: &[Rig]) -> BTreeSet<(u32, u32)> {
    let place = |aside: &SetAside| {
        let file = season.files.iter().position(|file| *file == aside.log)?;
        Some((u32::try_from(file).ok()?, u32::try_from(aside.line).ok()?))
    };
    let all = rigs.iter().flat_map(|rig| &rig.set_aside);
    all.filter_map(place).collect()
}

/// Divides the outcomes into rigs that were fitted and reasons why the others were not.
///
/// # Errors
/// Those that are not about one rig's runs.
fn fitted_and_refused(
    fitted: Vec<Result<Rig, Error>>,
) -> Result<(Vec<Rig>, Vec<CannotAnswer>), Error> {
    let (mut rigs, mut refused) = (Vec::new(), Vec::new());
    for fitted in fitted {
        match fitted {
            Ok(rig) => rigs.push(rig),
            Err(Error::CannotAnswer(why)) => refused.push(why),
            Err(other) => return Err(other),
        }
    }
    Ok((rigs, refused))
}

/// Rigs that cannot be fitted are named up to this many; an archive may hold thousands.
const REFUSED_NAMED: usize = 5;

/// That no rig can be fitted.
fn none_fitted(refused: &[CannotAnswer]) -> Error {
    let Some(first) = refused.first() else {
        return Error::cannot_answer(
            "there are no runs to fit",
            "write down launches with turns and where they came to rest",
        );
    };
    let named = refused.iter().take(REFUSED_NAMED);
    let what: Vec<&str> = named.map(|r| r.what.as_str()).collect();
    Error::cannot_answer(what.join("; "), &first.would_answer)
}

/// What holds for the whole season: ticks that are assumed, rigs that could not be fitted, runs left out because nobody
/// knows how old they are.
fn warnings(refused: &[CannotAnswer], undated: usize, setup: &Setup) -> Vec<String> {
    let named = refused.iter().take(REFUSED_NAMED);
    let mut warnings: Vec<String> = setup.dial.caution().into_iter().collect();
    warnings.extend(named.map(|r| format!("Not fitted: {}; {}.", r.what, r.would_answer)));
    if refused.len() > REFUSED_NAMED {
        warnings.push(format!("Nor were {} more.", refused.len() - REFUSED_NAMED));
    }
    if undated > 0 {
        let runs = match undated {
            1 => "1 run without a date was".to_string(),
            n => format!("{n} runs without a date were"),
        };
        warnings.push(format!("{runs} left out because of --since."));
    }
    warnings
}

/// Fits one rig, and sums up what is known of it.
fn fit_rig(
    runs: &RigRuns,
    setup: &Setup,
    level: Level,
    options: Options,
    range: EventRange,
) -> Result<Rig, Error> {
    let Settled {
        recoils,
        fits,
        excluded,
        set_aside,
        left_in,
    } = settled(runs, setup, level, options, range)?;
    let travel = summary::travel::known(runs, &fits.travel, &recoils, level, range);
    let heading = fits
        .heading
        .as_ref()
        .map(|fit| summary::heading::known(runs, fit, level));
    let story = summary::story::shown(runs, &fits.travel, fits.heading.as_ref(), &excluded, level);
    let sessions = summary::story::sessions(runs);
    let session_index = |label: usize| sessions.partition_point(|&s| (s as usize) < label);
    let left_out = left_out::sessions(
        runs,
        &fits.travel,
        fits.heading.as_ref(),
        (level, setup.score.measure),
        session_index,
    );
    let checks = checks::all(&checks::Evidence {
        runs,
        travel: &fits.travel,
        heading: fits.heading.as_ref(),
        story: &story,
        left_out: &left_out,
        setup,
        level,
        middle_m: range.middle_m(),
    });
    let slips = slips(runs, &excluded);
    let lateral_bias = heading
        .as_ref()
        .map_or_else(Vec::new, |h| summary::heading::bias(h, range, level));
    Ok(Rig {
        name: runs.name.clone(),
        vehicle: runs.vehicle_label().to_string(),
        wheels: runs.wheels_label().to_string(),
        counts: runs.counts(&fits.travel.launches),
        time: time::line(runs, &fits.travel),
        slips: slips.len(),
        warnings: rig_warnings(runs, slips, &left_in, &fits, setup),
        days: days(runs),
        travel,
        heading,
        lateral_bias,
        bend_wanted_per_m: None,
        left_out,
        checks,
        set_aside,
        launches: fingerprints(runs, &fits),
        session_labels: story.sessions.iter().map(|s| s.label.clone()).collect(),
        story: Some(story),
    })
}

/// The launches of either fit, so that a review can tell that it looks at them again.
fn fingerprints(runs: &RigRuns, fits: &Fits) -> Vec<String> {
    let heading = fits.heading.iter().flat_map(|fit| &fit.launches);
    let fitted = fits.travel.launches.iter().chain(heading);
    let each = fitted.map(|&i| fingerprint::launch(&runs.name, &runs.launches[i].run));
    let mut launches: Vec<String> = each.collect();
    launches.sort_unstable();
    launches.dedup();
    launches
}

/// What a reader should know of a rig's fits before trusting them: first what looks wrong in its rows.
fn rig_warnings(
    runs: &RigRuns,
    slips: Vec<String>,
    left_in: &[SetAside],
    fits: &Fits,
    setup: &Setup,
) -> Vec<String> {
    let mut warnings = slips;
    warnings.extend(still_count(left_in));
    // A slip makes days differ too: a guess is not blamed for it.
    let sound = warnings.is_empty();
    warnings.extend(summary::travel::warnings(runs, &fits.travel, setup, sound));
    warnings.extend(rolled_back(runs, &fits.travel));
    if runs.tell_recoil_by_status() {
        warnings.push(TAKEN_FROM_STATUS.to_string());
    }
    match &fits.heading {
        Some(fit) => warnings.extend(summary::heading::warnings(runs, fit, setup, sound)),
        None => warnings.push(
            "Where it comes to rest to the right or left cannot be told: write right_cm (and aim_right_cm) for at least two runs."
                .to_string(),
        ),
    }
    warnings
}

/// Of runs that are as far off as those set aside and count all the same so many are named: the next fit names others.
const STILL_COUNT_NAMED: usize = 3;

/// What to do about runs that are as far off as those set aside and count all the same.
pub fn still_count(left_in: &[SetAside]) -> impl Iterator<Item = String> {
    let named = left_in.iter().take(STILL_COUNT_NAMED);
    named.map(|run| {
        format!(
            "{}, {}: {} No more runs can be set aside, so this one still counts in every setting: mend it or mark it void, and fit again.",
            run.log,
            run.row(),
            run.why
        )
    })
}

/// Days of the first and the last launch.
fn days(runs: &RigRuns) -> Option<(Date, Date)> {
    let dates = || runs.launches.iter().filter_map(|launch| launch.run.date);
    dates().min().zip(dates().max())
}

/// The slips that the log shows in a rig's rows, but for launches set aside: why those are is said with them.
fn slips(runs: &RigRuns, excluded: &[usize]) -> Vec<String> {
    let slips = &runs.season.slips;
    let launches = runs.launches.iter().enumerate();
    let launches = launches.filter(|(i, _)| excluded.binary_search(i).is_err());
    let launches = launches.map(|(_, launch)| &launch.run);
    let of_rig = |slip: &&RowSlip| {
        let mut rows = launches.clone().chain(&runs.hand_rolls);
        rows.any(|run| (run.file, run.line) == (slip.file, slip.line))
    };
    slips
        .iter()
        .filter(of_rig)
        .map(|slip| slip.says.clone())
        .collect()
}

/// What the numbers hold for where runs that rolled back are among those fitted.
fn rolled_back(runs: &RigRuns, fit: &TravelFit) -> Option<String> {
    let RunCounts {
        fitted,
        rolled_back,
        ..
    } = runs.counts(&fit.launches);
    let some = rolled_back > 0;
    some.then(|| {
        format!(
            "{rolled_back} of the {fitted} runs behind these numbers rolled back with the brake lead in use: where they came to rest counts, and so settings and distances hold for runs as they come, rolled back or not."
        )
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
    /// Recoil and the lead in use of each of the rig's builds.
    pub recoils: Vec<BuildRecoil>,
    /// The fits.
    pub fits: Fits,
    /// The launches left out, as indices into the rig's list, rising.
    pub excluded: Vec<usize>,
    /// The launches left out, with log, line and reason.
    pub set_aside: Vec<SetAside>,
    /// Launches that are as impossible and count all the same, the worst of each session, by rising p: as many as may
    /// leave had left, or nothing could be fitted without them.
    pub left_in: Vec<SetAside>,
}

/// Launches that tell of travel at the lead in use, as indices into the rig's, rising.
fn telling_travel(runs: &RigRuns, recoils: &[BuildRecoil]) -> Vec<usize> {
    let tells = |&i: &usize| {
        let launch = &runs.launches[i];
        recoil::tells_travel(&launch.run, recoils[launch.build].lead_in_use)
    };
    (0..runs.launches.len()).filter(tells).collect()
}

/// How many of a rig's launches a fit takes, before any is set aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FittedLaunches {
    /// Counts, with those that tell of travel as the fitted ones.
    pub counts: RunCounts,
    /// Those that tell of direction; one that rolled back tells it with any lead.
    pub with_heading: usize,
}

/// How many launches of each rig of a season a fit takes, in the order of [`group::rigs`].
pub fn taken(season: &Season, setup: &Setup, level: Level) -> Vec<FittedLaunches> {
    let middle_lead = rows::middle_lead(season);
    let of_rig = |rig: &group::RigIndices| {
        let runs = rows::sorted_out(season, rig, middle_lead);
        let recoils = BuildRecoil::of_builds(&runs, setup, level);
        FittedLaunches {
            counts: runs.counts(&telling_travel(&runs, &recoils)),
            with_heading: runs.launches.iter().filter(|l| l.tells_heading()).count(),
        }
    };
    group::rigs(season).par_iter().map(of_rig).collect()
}

fn fit_both(
    runs: &RigRuns,
    recoils: &[BuildRecoil],
    excluded: &[usize],
    setup: &Setup,
    level: Level,
    range: EventRange,
) -> Result<Fits, Error> {
    // A heading that cannot be fitted leaves the travel fit standing.
    let heading = heading::fit(runs, excluded, setup, range.shortest_m).unwrap_or(None);
    let mut launches = telling_travel(runs, recoils);
    launches.retain(|i| excluded.binary_search(i).is_err());
    let travel = travel::fit(runs, &launches, setup, level, heading.as_ref())?;
    Ok(Fits { travel, heading })
}

/// Blunders are set aside in so many passes at most.
const PASSES_MAX: usize = 20;

/// Fits a rig, sets its blunders aside in passes, at most a tenth of its runs along and across each, and fits again after
/// each (`model.md` §6).
///
/// # Errors
/// [`Error::CannotAnswer`] where the travel fit cannot be made, with what is missing and what would help.
pub fn settled(
    runs: &RigRuns,
    setup: &Setup,
    level: Level,
    options: Options,
    range: EventRange,
) -> Result<Settled, Error> {
    let mut excluded: Vec<usize> = Vec::new();
    let mut set_aside = Vec::new();
    let recoils = BuildRecoil::of_builds(runs, setup, level);
    let mut fits = fit_both(runs, &recoils, &excluded, setup, level, range)?;
    let mut room = Room::of(fits.travel.launches.len());
    let beyond_the_limit = |fits: &Fits| match options.keep_all {
        true => Vec::new(),
        false => blunders::beyond_the_limit(runs, &fits.travel, fits.heading.as_ref()),
    };
    let mut beyond = beyond_the_limit(&fits);
    for _ in 0..PASSES_MAX {
        let found = room.take(&beyond);
        if found.is_empty() {
            break;
        }
        let mut more = excluded.clone();
        more.extend(found.iter().map(|blunder| blunder.launch));
        more.sort_unstable();
        let Ok(next) = fit_both(runs, &recoils, &more, setup, level, range) else {
            break; // what would be left cannot be fitted
        };
        let aside = |blunder| worded(runs, blunder, &fits, (range, &setup.dial));
        set_aside.extend(found.iter().map(aside));
        excluded = more;
        fits = next;
        beyond = beyond_the_limit(&fits);
    }
    let left_in = blunders::worst_of_sessions(beyond);
    let left_in = left_in
        .iter()
        .map(|blunder| worded(runs, blunder, &fits, (range, &setup.dial)));
    Ok(Settled {
        recoils,
        excluded,
        set_aside,
        left_in: left_in.collect(),
        fits,
    })
}

/// The straight line of the newest fitted build, for a sentence.
#[derive(Clone, Copy)]
struct Line {
    overshoot_m: f64,
    per_turn_m: f64,
}

impl Line {
    fn from_coefficients(beta: impl Fn(usize) -> f64, fit: &TravelFit) -> Self {
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
fn worded(
    runs: &RigRuns,
    blunder: &Blunder,
    with: &Fits,
    (range, dial): (EventRange, &Dial),
) -> SetAside {
    let ticks_per_turn = dial.for_log(runs.season.ticks_seen).ticks();
    let run = &runs.launches[blunder.launch].run;
    let middle = range.middle_m();
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
                Line::from_coefficients(coefficient, &with.travel),
                Line::from_coefficients(without, &with.travel),
            );
            let more_turns = with.turns_for(middle) - without.turns_for(middle);
            let changed = units::turns_apart(more_turns, ticks_per_turn).map_or_else(
                || "the same".to_string(),
                |size| format!("{size} {}", if more_turns > 0.0 { "more" } else { "fewer" }),
            );
            format!(
                "went {:.0} cm {} than the other runs say for {}; chance alone does this in fewer than {chance} logs. With it, the setting for {middle:.2} m would be {changed}.",
                100.0 * blunder.off.abs(),
                if blunder.off > 0.0 {
                    "farther"
                } else {
                    "less far"
                },
                run.turns
                    .map_or_else(String::new, |t| units::turns(t, ticks_per_turn)),
            )
        }
        Found::Across => format!(
            "headed {} cm a metre to the {} of what the other runs say for its aim mark; chance alone does this in fewer than {chance} logs.",
            units::decimals(
                100.0 * blunder.off.abs(),
                usize::from(blunder.off.abs() < 0.1)
            ),
            if blunder.off > 0.0 { "right" } else { "left" },
        ),
    };
    SetAside {
        log: runs.season.files[run.file as usize].clone(),
        line: run.line as usize,
        why,
    }
}
