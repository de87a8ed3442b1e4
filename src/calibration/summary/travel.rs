//! What is known of arc against turns, and what to know before trusting it.

use super::{GUESS_TOO_SMALL, coefficient, newest_index, runs_and_sessions};
use crate::calibration::known::{Build, HandRolls, Travel};
use crate::calibration::range::EventRange;
use crate::calibration::recoil;
use crate::calibration::rows::{self, RigRuns};
use crate::calibration::travel::{TravelFit, hand_rolls};
use crate::setup::Setup;
use crate::stats::interval::Level;

/// What is known of the travel of a rig.
pub fn known(
    runs: &RigRuns,
    fit: &TravelFit,
    setup: &Setup,
    level: Level,
    range: EventRange,
) -> Travel {
    let spreads = fit.spreads();
    let mut travel = Travel {
        builds: Vec::new(),
        newest_build: newest_index(runs, &fit.launches, |l| l.build, &fit.builds),
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
    travel.builds = builds(runs, fit, &travel, setup, level);
    travel.hand_rolls = hand_rolls(runs, level).map(|(rolls, _)| HandRolls {
        overshoot_at_m: beyond_hand_rolls(&travel, rolls.distance_per_turn_m.estimate, range),
        ..rolls
    });
    travel
}

/// The fitted builds, each with its overshoot at the lead to use with the newest.
fn builds(
    runs: &RigRuns,
    fit: &TravelFit,
    travel: &Travel,
    setup: &Setup,
    level: Level,
) -> Vec<Build> {
    let of_build = |&build: &usize| {
        let recoil = recoil::for_build(runs, build, setup, level);
        let lead = recoil.lead_to_use(runs.newest_session_lead(&fit.launches, build), setup);
        (build, recoil, lead)
    };
    let known: Vec<_> = fit.builds.iter().map(of_build).collect();
    let recommended = known[travel.newest_build].2;
    let with_overshoot = |(k, (build, recoil, lead_turns)): (usize, (usize, _, _))| {
        let mut x = travel.row(k, 0.0, recommended);
        x[travel.turns_column] = 0.0;
        let estimate = x.iter().zip(fit.reml.beta.iter()).map(|(a, b)| a * b).sum();
        let (build_runs, sessions) = runs_and_sessions(runs, &fit.launches, |l| l.build == build);
        Build {
            label: runs.season.builds[runs.builds[build] as usize].clone(),
            runs: build_runs,
            sessions,
            overshoot_m: fit.posterior.interval(&x, estimate, level),
            recoil,
            lead_turns,
        }
    };
    known.into_iter().enumerate().map(with_overshoot).collect()
}

/// What a launch of the newest build covers beyond the hand rolls' distance per turn, as (target, m), at the shortest and
/// the longest target.
fn beyond_hand_rolls(travel: &Travel, hand_m: f64, range: EventRange) -> Vec<(f64, f64)> {
    let overshoot_m = travel.builds[travel.newest_build].overshoot_m.estimate;
    let turn_m = travel.distance_per_turn_m.estimate;
    [range.shortest_m, range.longest_m]
        .iter()
        .map(|&s| (s, s - hand_m * (s - overshoot_m) / turn_m))
        .collect()
}

/// What a reader should know of the fit.
pub fn warnings(fit: &TravelFit, setup: &Setup) -> Vec<String> {
    let mut warnings = Vec::new();
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
    warnings
}
