//! Arc on turns: s = o_build + C·N + o_L·(L − L̄) + session + noise, with a weak prior on C where there is one.

use super::heading::{TAPE_SD_M, THETA_PRIOR_SCALE};
use super::rows::RigRuns;
use super::{HandRolls, LeadTerm, TurnPrior, TurnPriorSource};
use crate::error::Error;
use crate::geometry;
use crate::setup::Setup;
use crate::stats::distributions::t_quantile;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::{Design, Posterior, PseudoRow, Reml, Rows, Spreads};
use nalgebra::{DMatrix, DVector};

/// Launches skid a little, so C lies this far below the wheel's own distance per turn (`model.md` §2).
const SKID: f64 = 0.02;
/// SD of the prior on C, as a part of it.
const TURN_PRIOR_SD: f64 = 0.03;
/// Standard error of C_hand from a single hand roll, as a part of it.
const SINGLE_HAND_ROLL_SE: f64 = 0.01;
/// The prior is dropped when the runs contradict it by more than this many standard deviations.
const PRIOR_CONTRADICTED: f64 = 3.0;
/// Fewest fitted launches that say anything.
pub const FITTED_MIN: usize = 3;

/// The travel fit of one rig, before it is summarised.
#[derive(Debug, Clone)]
pub struct TravelFit {
    /// Builds in the fit, as indices into the rig's list.
    pub builds: Vec<usize>,
    /// Column of C.
    pub turns_column: usize,
    /// The lead term, where the log can tell.
    pub lead_term: Option<LeadTerm>,
    /// Rows in the fit, as indices into the rig's launches.
    pub launches: Vec<usize>,
    /// The rows themselves.
    pub rows: Rows,
    /// Their sums, pseudo-rows included.
    pub design: Design,
    /// Restricted-likelihood estimates with the pseudo-rows.
    pub reml: Reml,
    /// Weights over θ.
    pub posterior: Posterior,
    /// Scale of the half-t prior on θ.
    pub theta_prior_scale: f64,
    /// σ̂ without pseudo-rows, m.
    pub sigma_m: f64,
    /// The prior in force.
    pub prior: Option<TurnPrior>,
    /// A prior that the runs contradicted, and C without it.
    pub dropped_prior: Option<(TurnPrior, f64)>,
    /// Whether two or more leads were used but could not be told apart from builds or turns.
    pub lead_confounded: bool,
}

impl TravelFit {
    /// What is known of the spreads.
    pub fn spreads(&self) -> Spreads {
        Spreads::from_design(&self.design, self.theta_prior_scale)
            .expect("the posterior was made of this design")
    }
}

/// What hand rolls say of the wheel: C_hand with its interval, and its standard error as a part of it.
pub fn hand_rolls(runs: &RigRuns, level: Level) -> Option<(HandRolls, f64)> {
    let pairs: Vec<(f64, f64)> = runs
        .hand_rolls
        .iter()
        .filter_map(|r| {
            let (chord, _) = geometry::chord_and_heading(r.rest_m?, r.right_m.unwrap_or(0.0));
            Some((r.turns?, chord))
        })
        .filter(|&(turns, arc)| turns > 0.0 && arc > 0.0)
        .collect();
    if pairs.is_empty() {
        return None;
    }
    let square: f64 = pairs.iter().map(|(n, _)| n * n).sum();
    let per_turn = pairs.iter().map(|(n, s)| n * s).sum::<f64>() / square;
    let n = pairs.len();
    let (se, multiplier) = if n == 1 {
        (
            SINGLE_HAND_ROLL_SE * per_turn,
            t_quantile(1.0 - level.lower_tail(), f64::INFINITY),
        )
    } else {
        let rss: f64 = pairs.iter().map(|(t, s)| (s - per_turn * t).powi(2)).sum();
        let df = (n - 1) as f64;
        (
            (rss / df).max(TAPE_SD_M * TAPE_SD_M).sqrt() / square.sqrt(),
            t_quantile(1.0 - level.lower_tail(), df),
        )
    };
    let rolls = HandRolls {
        runs: n,
        distance_per_turn_m: Interval {
            estimate: per_turn,
            low: per_turn - multiplier * se,
            high: per_turn + multiplier * se,
        },
        overshoot_at_m: Vec::new(),
    };
    Some((rolls, se / per_turn))
}

/// Diameter of the wheels on the braked axle for a wheel set: its own, else the vehicle's.
pub fn wheel_diameter_m(setup: &Setup, wheels: &str) -> Option<f64> {
    setup
        .wheels_diameter_m
        .get(wheels)
        .copied()
        .or(setup.vehicle.wheel_diameter_m)
}

/// The prior on C that set-up and hand rolls give; hand rolls win.
pub fn turn_prior(runs: &RigRuns, setup: &Setup, level: Level) -> Option<TurnPrior> {
    let (centre, sd, source) = match hand_rolls(runs, level) {
        Some((rolls, se)) => (
            rolls.distance_per_turn_m.estimate,
            TURN_PRIOR_SD.hypot(se),
            TurnPriorSource::HandRolls,
        ),
        None => {
            let diameter = wheel_diameter_m(setup, runs.wheels_label())?;
            (
                std::f64::consts::PI * diameter,
                TURN_PRIOR_SD,
                TurnPriorSource::WheelDiameter,
            )
        }
    };
    let mean_m = (1.0 - SKID) * centre;
    Some(TurnPrior {
        mean_m,
        sd_m: sd * mean_m,
        source,
    })
}

/// The arc of a launch, with κ̂ of its trim and, where `right_cm` is missing, Y as the heading line would have it.
pub fn arc_m(
    runs: &RigRuns,
    launch: usize,
    heading: Option<&super::heading::HeadingFit>,
) -> Option<f64> {
    let launch = &runs.launches[launch];
    let run = &launch.run;
    let rest = run.rest_m?;
    let trim = heading.and_then(|h| {
        h.trims
            .iter()
            .position(|&t| t == launch.trim)
            .map(|k| (h, k))
    });
    let curvature = trim.map_or(0.0, |(h, k)| h.curvature[k]);
    let chord = match (launch.measured, run.right_m, trim) {
        (Some(measured), ..) => measured.chord_m,
        (None, Some(right), _) => geometry::chord_and_heading(rest, right).0,
        (None, None, Some((h, k))) => {
            let aimed = run.target_m.zip(run.aim_right_m);
            super::heading::chord_without_right(&h.posterior, h.trims.len(), k, rest, aimed)
        }
        (None, None, None) => rest,
    };
    let arc = geometry::arc_of_chord(chord, curvature);
    arc.is_finite().then_some(arc)
}

/// Fits the travel of a rig, `excluded` launches left out.
///
/// # Errors
/// [`Error::CannotAnswer`] with what is missing and what would help.
pub fn fit(
    runs: &RigRuns,
    excluded: &[usize],
    setup: &Setup,
    level: Level,
    heading: Option<&super::heading::HeadingFit>,
) -> Result<TravelFit, Error> {
    let name = runs.spoken_name();
    let mut launches = Vec::new();
    let mut arcs = Vec::new();
    for i in 0..runs.launches.len() {
        if runs.launches[i].tells_travel()
            && excluded.binary_search(&i).is_err()
            && let Some(arc) = arc_m(runs, i, heading)
        {
            launches.push(i);
            arcs.push(arc);
        }
    }
    if launches.len() < FITTED_MIN {
        let of = runs.launches.len();
        return Err(Error::cannot_answer(
            format!(
                "{name}: {} of its {of} launches can be fitted (status ok, with turns and where it came to rest); a line needs at least {FITTED_MIN}",
                launches.len()
            ),
            "make and write down a few more ok runs, at two or more settings of the dial",
        ));
    }
    let mut builds: Vec<usize> = launches.iter().map(|&i| runs.launches[i].build).collect();
    builds.sort_unstable();
    builds.dedup();
    let n = launches.len();
    let turns_column = builds.len();
    let turns = |i: usize| runs.launches[launches[i]].run.turns.unwrap_or(f64::NAN);
    let leads: Vec<Option<f64>> = launches
        .iter()
        .map(|&i| runs.launches[i].lead_turns)
        .collect();
    let known: Vec<f64> = leads.iter().flatten().copied().collect();
    let mean_lead = known.iter().sum::<f64>() / known.len().max(1) as f64;
    let several_leads = known.iter().any(|&l| l != known[0]);

    let mut x = DMatrix::zeros(n, turns_column + 2);
    for i in 0..n {
        let build = builds.partition_point(|&b| b < runs.launches[launches[i]].build);
        x[(i, build)] = 1.0;
        x[(i, turns_column)] = turns(i);
        x[(i, turns_column + 1)] = leads[i].map_or(0.0, |l| l - mean_lead);
    }
    let prior = turn_prior(runs, setup, level);
    let group = launches
        .iter()
        .map(|&i| runs.launches[i].run.session as usize)
        .collect();
    let y = DVector::from_vec(arcs);
    let all = Rows { x, y, group };
    let estimable = all.estimable_columns();
    let turns_estimable = estimable.contains(&turns_column);
    // A lead that only splits what builds or turns already split says nothing of its own.
    let mut lead_estimable = several_leads && estimable.contains(&(turns_column + 1));
    if !turns_estimable && prior.is_none() {
        let at = turns(0);
        let one = (1..n).all(|i| turns(i) == at);
        let what = if one {
            format!(
                "{name}: all {n} fitted runs were made at {at} turns, so distance per turn cannot be told"
            )
        } else {
            format!(
                "{name}: within each build all fitted runs were made at one number of turns, so distance per turn cannot be told"
            )
        };
        return Err(Error::cannot_answer(
            what,
            "make about four runs some turns away from it, or give the wheel diameter in the set-up file ([vehicle] wheel_diameter_cm)",
        ));
    }
    let priors = usize::from(prior.is_some());
    if n + priors < turns_column + 2 + usize::from(lead_estimable) {
        lead_estimable = false;
    }
    if n + priors < turns_column + 2 {
        return Err(Error::cannot_answer(
            format!(
                "{name}: {n} fitted runs over {turns_column} builds leave nothing to tell chance from"
            ),
            "make a few more runs with the build that will be used",
        ));
    }
    let columns = turns_column + 1 + usize::from(lead_estimable);
    let without_prior: Vec<usize> = (0..columns)
        .filter(|c| *c != turns_column || turns_estimable)
        .collect();
    let rows = all.with_columns(&(0..columns).collect::<Vec<_>>());
    let numerical = |e| Error::calculation(format!("{name}: the travel fit could not be made"), e);
    let pseudo_rows = |prior: &Option<TurnPrior>, sigma_m: f64| -> Vec<PseudoRow> {
        let row = |p: &TurnPrior| PseudoRow {
            column: turns_column,
            mean: p.mean_m,
            weight: sigma_m / p.sd_m,
        };
        prior.iter().map(row).collect()
    };
    let without = (n > without_prior.len())
        .then(|| {
            rows.with_columns(&without_prior)
                .design(&[], TAPE_SD_M)?
                .reml()
        })
        .transpose()
        .map_err(numerical)?;
    // Without a degree of freedom of its own, σ̂ is what the guess between sessions would make typical.
    let sigma_m = without
        .as_ref()
        .map_or(setup.prior.between_sessions_m, |reml| reml.sigma);

    let mut in_force = prior;
    let mut dropped_prior = None;
    if let (Some(p), Some(reml), true) = (&in_force, &without, turns_estimable) {
        let (estimate, se) = (
            reml.beta[turns_column],
            reml.covariance[(turns_column, turns_column)].sqrt(),
        );
        if (estimate - p.mean_m).abs() > PRIOR_CONTRADICTED * p.sd_m.hypot(se) {
            dropped_prior = in_force.take().map(|p| (p, estimate));
        }
    }
    let pseudo = pseudo_rows(&in_force, sigma_m);
    let design = rows.design(&pseudo, TAPE_SD_M).map_err(numerical)?;
    let reml = design.reml().map_err(numerical)?;
    let theta_prior_scale = THETA_PRIOR_SCALE * setup.prior.between_sessions_m / sigma_m;
    let posterior = Posterior::new(&design, theta_prior_scale).map_err(numerical)?;
    Ok(TravelFit {
        builds,
        turns_column,
        lead_term: lead_estimable.then_some(LeadTerm {
            column: turns_column + 1,
            mean_turns: mean_lead,
        }),
        launches,
        rows,
        design,
        reml,
        posterior,
        theta_prior_scale,
        sigma_m,
        prior: in_force,
        dropped_prior,
        lead_confounded: several_leads && !lead_estimable,
    })
}
