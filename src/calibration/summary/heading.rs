//! What is known of heading excess against arc, and what to know before trusting it.

use std::f64::consts::FRAC_PI_2;

use super::{GUESS_TOO_SMALL, coefficient, newest_index, runs_and_sessions};
use crate::calibration::heading::HeadingFit;
use crate::calibration::known::{Heading, LateralBias, Trim};
use crate::calibration::range::EventRange;
use crate::calibration::rows::RigRuns;
use crate::geometry;
use crate::setup::Setup;
use crate::stats::interval::{Interval, Level};

/// What is known of the heading of a rig.
pub fn known(runs: &RigRuns, fit: &HeadingFit, level: Level) -> Heading {
    let of_trim = |(k, &trim): (usize, &usize)| {
        let (trim_runs, sessions) = runs_and_sessions(runs, &fit.launches, |l| l.trim == trim);
        Trim {
            label: label(runs, trim).to_string(),
            runs: trim_runs,
            sessions,
            straight_rad: coefficient(&fit.posterior, &fit.reml.beta, 2 * k, level),
            curvature_per_m: coefficient(&fit.posterior, &fit.reml.beta, 2 * k + 1, level),
            curvature_point_per_m: fit.curvature[k],
            prior_share: fit.posterior.prior_share(fit.design(), 2 * k + 1),
        }
    };
    let spreads = fit.spreads();
    Heading {
        trims: fit.trims.iter().enumerate().map(of_trim).collect(),
        newest_trim: newest_index(runs, &fit.launches, |l| l.trim, &fit.trims),
        run_to_run_rad: spreads.within_interval(fit.reml.sigma, level),
        between_sessions_rad: spreads.between_interval(fit.reml.tau, level),
        curvature_prior_per_m: fit.curvature_prior_per_m,
        sigma_for_priors_rad: fit.sigma_rad.sigma,
        runs: fit.launches.len(),
        curvature_at_bound: fit.at_bound,
        posterior: fit.posterior.clone(),
    }
}

fn label<'r>(runs: &'r RigRuns, trim: usize) -> &'r str {
    &runs.season.trims[runs.trims[trim] as usize]
}

/// What a reader should know of the fit.
///
/// * `sound` — whether no row looks like a slip, which would make days differ too
pub fn warnings(runs: &RigRuns, fit: &HeadingFit, setup: &Setup, sound: bool) -> Vec<String> {
    let mut warnings = Vec::new();
    for &trim in &fit.trims {
        let which = match label(runs, trim) {
            "" if fit.trims.len() == 1 => "that tell left and right".to_string(),
            "" => "with the trim without a name".to_string(),
            label => format!("with trim {label}"),
        };
        match runs_and_sessions(runs, &fit.launches, |l| l.trim == trim) {
            (0 | 1, _) => warnings.push(format!(
                "Only one run {which}: how its path bends is the guess in the set-up ([prior] curve_cm_per_m2)."
            )),
            (_, 1) => warnings.push(format!(
                "All runs {which} were made in one session: if that day ran to one side, the aim marks here lean to the other; a few runs on another day would tell."
            )),
            _ => {}
        }
    }
    if fit.sigma_rad.guess.is_none() {
        warnings.push(format!(
            "Directions of one day repeat far better than the guess in the set-up ([prior] run_to_run_cm_per_m = {}): the runs are believed, the guess is left out.",
            100.0 * setup.prior.run_to_run_rad
        ));
    }
    if fit.sigma_rad.guess_holds {
        warnings.push(format!(
            "So few directions happen to agree within each day: how far those of one day differ is the guess in the set-up ([prior] run_to_run_cm_per_m = {}), and not next to nothing. A few more runs on another day would tell.",
            100.0 * setup.prior.run_to_run_rad
        ));
    }
    if fit.at_bound {
        warnings.push(
            "The bend of the path ran into its bound (nearly half a circle): please look for right and left swapped, or aim marks on the wrong side."
                .to_string(),
        );
    }
    if sound && fit.reml.tau > GUESS_TOO_SMALL * setup.prior.between_sessions_rad {
        warnings.push(
            "Days differ in direction far more than the guess in the set-up: [prior] between_sessions_cm_per_m looks too small."
                .to_string(),
        );
    }
    warnings
}

/// Mean distance to the right of a vehicle aimed at the target, for each trim at the shortest, middle and longest target.
pub fn bias(heading: &Heading, range: EventRange, level: Level) -> Vec<LateralBias> {
    let mut out = Vec::new();
    for (k, trim) in heading.trims.iter().enumerate() {
        for d in range.three_m() {
            let x = heading.row(k, geometry::arc_of_chord(d, trim.curvature_point_per_m));
            let known = heading
                .posterior
                .interval(&x.x, heading.posterior.mean(&x), level);
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
