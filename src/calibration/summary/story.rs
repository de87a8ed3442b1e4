//! The runs and sessions of a rig as its fits saw them, for the figures.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::civil::Date;

use crate::calibration::heading::HeadingFit;
use crate::calibration::rows::{Launch, RigRuns};
use crate::calibration::story::{Drift, Story, StoryRun, StorySession};
use crate::calibration::travel::{TravelFit, arc_m};
use crate::log::run::Status;
use crate::stats::charts;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::design::GroupMean;
use crate::stats::mixed::{AtGrowth, Growths, Posterior};

/// The story of a rig.
///
/// * `excluded` — the launches set aside, as indices into the rig's list, rising
pub fn shown(
    runs: &RigRuns,
    travel: &TravelFit,
    heading: Option<&HeadingFit>,
    excluded: &[usize],
    level: Level,
) -> Story {
    let sessions = sessions(runs);
    let story_runs = story_runs(runs, travel, heading, excluded, &sessions);
    Story {
        drift: drift(travel, &story_runs, sessions.len()),
        runs: story_runs,
        sessions: story_sessions(runs, travel, heading, &sessions, level),
    }
}

/// The sessions of a rig's launches in order of first appearance, as their labels are numbered.
pub fn sessions(runs: &RigRuns) -> Vec<u32> {
    let mut sessions: Vec<u32> = runs.launches.iter().map(|l| l.run.session).collect();
    sessions.sort_unstable();
    sessions.dedup();
    sessions
}

fn story_sessions(
    runs: &RigRuns,
    travel: &TravelFit,
    heading: Option<&HeadingFit>,
    sessions: &[u32],
    level: Level,
) -> Vec<StorySession> {
    let travel_means = SessionMeans::from_growths(&travel.growths);
    let heading_means = heading.map(|h| SessionMeans::from_growths(&h.growths));
    // The first launch of each session, and its first date.
    let mut firsts: BTreeMap<u32, (usize, Option<Date>)> = BTreeMap::new();
    for (i, launch) in runs.launches.iter().enumerate() {
        let first = firsts.entry(launch.run.session).or_insert((i, None));
        first.1 = first.1.into_iter().chain(launch.run.date).min();
    }
    let of_session = |&session: &u32| {
        let (first, date) = firsts[&session];
        let floor = runs.launches[first].run.floor;
        let fitted = travel_means.place_of(session);
        let turned = heading_means
            .as_ref()
            .and_then(|means| Some((means, means.place_of(session)?)));
        StorySession {
            label: runs.season.sessions[session as usize].clone(),
            date,
            floor: runs.season.floors[floor as usize].clone(),
            runs: fitted.map_or(0, |place| travel_means.rows(place)),
            shift_m: fitted.map(|place| travel_means.shift(&travel.posterior, place, level)),
            shift_rad: heading
                .zip(turned)
                .map(|(h, (means, place))| means.shift(&h.posterior, place, level)),
        }
    };
    sessions.iter().map(of_session).collect()
}

/// Means of the sessions of a fit at every γ.
struct SessionMeans(Vec<(f64, Vec<GroupMean>)>);

impl SessionMeans {
    fn from_growths(growths: &Growths) -> Self {
        let at = |at: &AtGrowth| (at.design.growth(), at.rows.group_means());
        SessionMeans(growths.each().iter().map(at).collect())
    }

    /// Where a session stands among those of the fit.
    fn place_of(&self, session: u32) -> Option<usize> {
        let means = &self.0[0].1;
        means
            .binary_search_by_key(&(session as usize), |m| m.group)
            .ok()
    }

    fn rows(&self, place: usize) -> usize {
        self.0[0].1[place].rows as usize
    }

    /// How a session differs from the others.
    fn shift(&self, posterior: &Posterior, place: usize, level: Level) -> Interval {
        let at = |growth: f64| self.0.iter().find(|(at, _)| *at == growth);
        let mean = |growth: f64| &at(growth).unwrap_or(&self.0[0]).1[place];
        posterior.group_effect(mean).central(level)
    }
}

fn story_runs(
    runs: &RigRuns,
    travel: &TravelFit,
    heading: Option<&HeadingFit>,
    excluded: &[usize],
    sessions: &[u32],
) -> Vec<StoryRun> {
    let logs: Vec<Arc<str>> = runs
        .season
        .files
        .iter()
        .map(|f| f.as_str().into())
        .collect();
    let travel_line = travel.posterior.coefficients();
    let heading_line = heading.map(|h| h.posterior.coefficients());
    let arc_fitted_m = |build: usize, turns: f64, launch: &Launch| {
        let lead = travel.lead_term.zip(launch.lead_turns);
        travel_line[build]
            + travel_line[travel.turns_column] * turns
            + lead.map_or(0.0, |(term, lead)| {
                travel_line[term.column] * (lead - term.mean_turns)
            })
    };
    let of_launch = |(i, launch): (usize, &Launch)| {
        let run = &launch.run;
        let shown = matches!(run.status, Status::Ok | Status::Recoil);
        let (turns, rest_m) = (run.turns.filter(|_| shown)?, run.rest_m?);
        let arc_m = arc_m(runs, i, heading)?;
        let build = travel.builds.iter().position(|&b| b == launch.build)?;
        let trim = heading.and_then(|h| h.trims.iter().position(|&t| t == launch.trim));
        Some(StoryRun {
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
            arc_fitted_m: arc_fitted_m(build, turns, launch),
            heading_rad: launch.measured.map(|m| m.excess_rad),
            heading_fitted_rad: heading_line
                .as_ref()
                .zip(trim)
                .map(|(line, k)| line[2 * k] + line[2 * k + 1] * arc_m / 2.0),
            in_travel: travel.launches.binary_search(&i).is_ok(),
            in_heading: heading.is_some_and(|h| h.launches.binary_search(&i).is_ok()),
            set_aside: excluded.binary_search(&i).is_ok(),
            recoiled: run.status == Status::Recoil,
            gap_m: run.gap_m,
        })
    };
    runs.launches
        .iter()
        .enumerate()
        .filter_map(of_launch)
        .collect()
}

/// Fewest sessions that a drift chart says anything about: with four it cannot leave its limits.
const DRIFT_SESSIONS_MIN: usize = 5;
/// Weight of the newest value and width of the limits, the usual choice of the e-Handbook (6.3.2.4).
const DRIFT_WEIGHT: f64 = 0.3;
const DRIFT_SIGMAS: f64 = 3.0;

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
    let from_runs = travel.reml.sigma / typical_runs.sqrt();
    let sigma = charts::sd_of_moving_ranges(&values_m).max(from_runs);
    let chart = charts::ewma(&values_m, DRIFT_WEIGHT, 0.0, sigma, DRIFT_SIGMAS).ok()?;
    Some(Drift {
        values_m,
        averages_m: chart.averages,
        limits_m: chart.half_widths,
    })
}
