//! What is known of arc against turns, and what to know before trusting it.

use super::{GUESS_TOO_SMALL, coefficient, newest_index, runs_and_sessions};
use crate::calibration::known::{Build, HandRolls, Travel, TurnPriorSource};
use crate::calibration::range::EventRange;
use crate::calibration::recoil::BuildRecoil;
use crate::calibration::rows::{self, RigRuns};
use crate::calibration::travel::{TravelFit, hand_rolls};
use crate::log::median;
use crate::setup::Setup;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::Posterior;

/// What is known of the travel of a rig.
pub fn known(
    runs: &RigRuns,
    fit: &TravelFit,
    recoils: &[BuildRecoil],
    level: Level,
    range: EventRange,
) -> Travel {
    let spreads = fit.spreads();
    let mut travel = Travel {
        builds: Vec::new(),
        newest_build: newest_index(runs, &fit.launches, |l| l.build, &fit.builds),
        turns_column: fit.turns_column,
        lead_term: fit.lead_term,
        mean_turns: fit.mean_turns,
        distance_per_turn_m: coefficient(&fit.posterior, &fit.reml.beta, fit.turns_column, level),
        lead_m_per_turn: fit
            .lead_term
            .map(|t| coefficient(&fit.posterior, &fit.reml.beta, t.column, level)),
        turn_prior: fit.prior.clone(),
        prior_share: (fit.posterior).prior_share(&fit.likeliest().design, fit.turns_column),
        run_to_run_m: spreads.within_interval(fit.reml.sigma, level),
        between_sessions_m: spreads.between_interval(fit.reml.tau, level),
        spread_at_m: f64::NAN,
        spread_growth: spread_growth(&fit.posterior, level),
        sigma_for_priors_m: fit.sigma_m.sigma,
        arc_range_m: rows::span(fit.rows.y.iter().copied()),
        turns_range: rows::span(fit.rows.x.column(fit.turns_column).iter().copied()),
        hand_rolls: None,
        posterior: fit.posterior.clone(),
    };
    travel.builds = builds(runs, fit, &travel, recoils, level);
    let lead = travel.builds[travel.newest_build].lead_turns;
    let at_mean = travel.row(travel.newest_build, travel.mean_turns, lead);
    travel.spread_at_m = travel.posterior.mean(&at_mean);
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
    recoils: &[BuildRecoil],
    level: Level,
) -> Vec<Build> {
    let recommended = recoils[fit.builds[travel.newest_build]].lead_in_use;
    let with_overshoot = |(k, &build): (usize, &usize)| {
        let BuildRecoil {
            recoil,
            lead_in_use,
        } = recoils[build].clone();
        let mut x = travel.row(k, 0.0, recommended).x;
        x[travel.turns_column] = 0.0;
        let estimate = x.iter().zip(fit.reml.beta.iter()).map(|(a, b)| a * b).sum();
        let (build_runs, sessions) = runs_and_sessions(runs, &fit.launches, |l| l.build == build);
        Build {
            label: runs.season.builds[runs.builds[build] as usize].clone(),
            runs: build_runs,
            sessions,
            overshoot_m: fit.posterior.interval(&x, estimate, level),
            recoil,
            lead_turns: lead_in_use,
        }
    };
    fit.builds.iter().enumerate().map(with_overshoot).collect()
}

/// The γ of largest weight, and what remains of them when (1 − level)/2 of the weight is cut from either side.
fn spread_growth(posterior: &Posterior, level: Level) -> Interval {
    let growths = posterior.growths();
    let tail = level.lower_tail();
    Interval::holding(
        posterior.likeliest_growth(),
        left_after(tail, growths.iter()),
        left_after(tail, growths.iter().rev()),
    )
}

/// The first of some values with their weights that is left when so much weight is cut off before it.
fn left_after<'g>(cut: f64, mut growths: impl Iterator<Item = &'g (f64, f64)>) -> f64 {
    let mut passed = 0.0;
    let left = growths.find(|(_, weight)| {
        passed += weight;
        passed > cut
    });
    left.map_or(f64::NAN, |(growth, _)| *growth)
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

/// A turn carries a vehicle as far as from the start mark to rest for each turn, but for the roll-on: a distance per turn
/// that is less than half of it or more than twice is that of no vehicle. Roll-on would have to be as long as all turns.
const IMPOSSIBLE_TIMES: f64 = 2.0;

/// What to say of a distance per turn that no vehicle has.
fn impossible_turn(runs: &RigRuns, fit: &TravelFit) -> Option<String> {
    let of_a_turn = |&i: &usize| {
        let run = &runs.launches[i].run;
        Some(run.rest_m? / run.turns.filter(|turns| *turns > 0.0)?)
    };
    let in_all_m = median(fit.launches.iter().filter_map(of_a_turn).collect())?;
    let fitted_m = fit.reml.beta[fit.turns_column];
    let times = fitted_m / in_all_m;
    let possible = 1.0 / IMPOSSIBLE_TIMES..=IMPOSSIBLE_TIMES;
    (!possible.contains(&times)).then(|| {
        format!(
            "By the fit a turn carries it {:.1} cm, yet from the start mark to where they stopped the runs went about {:.1} cm for each turn: no vehicle does both. Either rows are wrong, or the settings were too much alike to tell: trust no setting, least of all for another distance.",
            100.0 * fitted_m,
            100.0 * in_all_m
        )
    })
}

/// What a reader should know of the fit.
///
/// * `sound` — whether no row looks like a slip, which would make days differ too
pub fn warnings(runs: &RigRuns, fit: &TravelFit, setup: &Setup, sound: bool) -> Vec<String> {
    let mut warnings: Vec<String> = impossible_turn(runs, fit).into_iter().collect();
    if let Some((prior, estimate)) = &fit.dropped_prior {
        warnings.push(format!(
            "The {} about {:.1} cm a turn, the runs say {:.1} cm: the runs are believed. {}",
            match prior.source {
                TurnPriorSource::WheelDiameter => "wheel diameter in the set-up says",
                TurnPriorSource::HandRolls => "hand rolls say",
            },
            100.0 * prior.mean_m,
            100.0 * estimate,
            match prior.source {
                _ if !sound => "Rows that look wrong do this too: look at them first.",
                TurnPriorSource::WheelDiameter =>
                    "The diameter in the set-up is probably wrong: measure across the wheel, with the load in.",
                TurnPriorSource::HandRolls => "Look at the hand rolls in the log: turns and rest point.",
            }
        ));
    }
    if fit.sigma_m.guess.is_none() {
        warnings.push(format!(
            "Runs of one day repeat far better than the guess in the set-up ([prior] run_to_run_cm = {}): the runs are believed, the guess is left out.",
            100.0 * setup.prior.run_to_run_m
        ));
    }
    if fit.sigma_m.guess_holds {
        warnings.push(format!(
            "So few runs happen to lie on a line for each day: how far runs of one day differ is the guess in the set-up ([prior] run_to_run_cm = {}), and not next to nothing. A few more runs on another day would tell.",
            100.0 * setup.prior.run_to_run_m
        ));
    }
    if fit.lead_confounded {
        warnings.push(
            "What brake lead does to the distance cannot be told: it changed only together with something else."
                .to_string(),
        );
    }
    if sound && fit.reml.tau > GUESS_TOO_SMALL * setup.prior.between_sessions_m {
        warnings.push(
            "Days differ far more than the guess in the set-up: [prior] between_sessions_cm looks too small."
                .to_string(),
        );
    }
    warnings
}
