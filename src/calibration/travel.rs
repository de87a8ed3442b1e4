//! Arc on turns: s = o_build + C·N + o_L·(L − L̄) + session + noise, with a weak prior on C where there is one.

use super::heading::{TAPE_SD_M, THETA_PRIOR_SCALE};
use super::known::{HandRolls, LeadTerm, TurnPrior, TurnPriorSource};
use super::rows::RigRuns;
use crate::error::Error;
use crate::geometry;
use crate::setup::Setup;
use crate::stats::Numerical;
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
    /// Whether two or more leads were used but the lead column is aliased with builds or turns.
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

/// Fits the travel of a rig, `excluded` launches left out (`model.md` §2).
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
    let numerical = |e| Error::calculation(format!("{name}: the travel fit could not be made"), e);
    let full = FullDesign::from_launches(runs, excluded, heading)?;
    let turns_column = full.turns_column();
    let prior = turn_prior(runs, setup, level);
    let chosen = full.choose_columns(name, prior.is_some())?;
    let rows = full.rows.with_columns(&chosen.with_prior(turns_column));
    let without_prior =
        reml_without_prior(&rows, &chosen.without_prior(turns_column)).map_err(numerical)?;
    // Without a degree of freedom of its own, σ̂ is what the guess between sessions would make typical.
    let sigma_m = without_prior
        .as_ref()
        .map_or(setup.prior.between_sessions_m, |reml| reml.sigma);
    let alone = without_prior.filter(|_| chosen.turns_estimable);
    let (prior, dropped_prior) = unless_contradicted(prior, alone.as_ref(), turns_column);
    let pseudo_rows: Vec<PseudoRow> = prior
        .iter()
        .map(|prior| pseudo_row(prior, turns_column, sigma_m))
        .collect();
    let design = rows.design(&pseudo_rows, TAPE_SD_M).map_err(numerical)?;
    let reml = design.reml().map_err(numerical)?;
    let theta_prior_scale = THETA_PRIOR_SCALE * setup.prior.between_sessions_m / sigma_m;
    let posterior = Posterior::new(&design, theta_prior_scale).map_err(numerical)?;
    Ok(TravelFit {
        turns_column,
        lead_term: chosen.lead.then(|| full.lead_term()),
        lead_confounded: full.several_leads && !chosen.lead,
        builds: full.builds,
        launches: full.launches,
        rows,
        design,
        reml,
        posterior,
        theta_prior_scale,
        sigma_m,
        prior,
        dropped_prior,
    })
}

/// The launches of the travel regression with every column that might enter it: a build each, turns, lead.
struct FullDesign {
    launches: Vec<usize>,
    builds: Vec<usize>,
    mean_lead_turns: f64,
    several_leads: bool,
    rows: Rows,
}

impl FullDesign {
    /// Arcs, groups and columns of the launches that enter the regression (`model.md` §2, What is fitted).
    fn from_launches(
        runs: &RigRuns,
        excluded: &[usize],
        heading: Option<&super::heading::HeadingFit>,
    ) -> Result<Self, Error> {
        let (launches, arcs) = fitted_launches(runs, excluded, heading)?;
        let mut builds: Vec<usize> = launches.iter().map(|&i| runs.launches[i].build).collect();
        builds.sort_unstable();
        builds.dedup();
        let leads = launches.iter().filter_map(|&i| runs.launches[i].lead_turns);
        let leads: Vec<f64> = leads.collect();
        let mean_lead_turns = leads.iter().sum::<f64>() / leads.len().max(1) as f64;
        let turns_column = builds.len();
        let mut x = DMatrix::zeros(launches.len(), turns_column + 2);
        for (i, launch) in launches.iter().map(|&i| &runs.launches[i]).enumerate() {
            x[(i, builds.partition_point(|&b| b < launch.build))] = 1.0;
            x[(i, turns_column)] = launch.run.turns.unwrap_or(f64::NAN);
            x[(i, turns_column + 1)] = launch.lead_turns.map_or(0.0, |l| l - mean_lead_turns);
        }
        let session = |&i: &usize| runs.launches[i].run.session as usize;
        let group = launches.iter().map(session).collect();
        Ok(FullDesign {
            mean_lead_turns,
            several_leads: leads.iter().any(|&lead| lead != leads[0]),
            rows: Rows {
                x,
                y: DVector::from_vec(arcs),
                group,
            },
            launches,
            builds,
        })
    }

    /// Column of C; the builds' overshoots come before it.
    fn turns_column(&self) -> usize {
        self.builds.len()
    }

    fn lead_term(&self) -> LeadTerm {
        LeadTerm {
            column: self.turns_column() + 1,
            mean_turns: self.mean_lead_turns,
        }
    }

    /// Which columns the launches can carry (`model.md` §2, Lead and What may be asked).
    ///
    /// # Errors
    /// [`Error::CannotAnswer`] where C is not estimable and has no prior, or no degree of freedom would be left.
    fn choose_columns(&self, name: &str, has_prior: bool) -> Result<ChosenColumns, Error> {
        let estimable = self.rows.estimable_columns();
        let turns_estimable = estimable.contains(&self.turns_column());
        if !turns_estimable && !has_prior {
            return Err(self.turns_not_estimable(name));
        }
        let observations = self.launches.len() + usize::from(has_prior);
        let needed = self.turns_column() + 2;
        if observations < needed {
            return Err(self.no_degree_of_freedom(name));
        }
        // A lead column that is aliased with builds or turns has no coefficient of its own.
        let lead_estimable = self.several_leads && estimable.contains(&(self.turns_column() + 1));
        Ok(ChosenColumns {
            turns_estimable,
            lead: lead_estimable && observations > needed,
        })
    }

    fn turns_not_estimable(&self, name: &str) -> Error {
        let turns = self.rows.x.column(self.turns_column());
        let n = turns.len();
        let at = turns[0];
        let what = if turns.iter().all(|&t| t == at) {
            format!(
                "{name}: all {n} fitted runs were made at {at} turns, so distance per turn cannot be told"
            )
        } else {
            format!(
                "{name}: within each build all fitted runs were made at one number of turns, so distance per turn cannot be told"
            )
        };
        Error::cannot_answer(
            what,
            "make about four runs some turns away from it, or give the wheel diameter in the set-up file ([vehicle] wheel_diameter_cm)",
        )
    }

    fn no_degree_of_freedom(&self, name: &str) -> Error {
        let (n, builds) = (self.launches.len(), self.builds.len());
        Error::cannot_answer(
            format!(
                "{name}: {n} fitted runs over {builds} builds leave nothing to tell chance from"
            ),
            "make a few more runs with the build that will be used",
        )
    }
}

/// Columns of the full design that enter the regression, beside the builds'.
#[derive(Clone, Copy)]
struct ChosenColumns {
    /// Whether the launches alone estimate C.
    turns_estimable: bool,
    /// Whether the lead term enters.
    lead: bool,
}

impl ChosenColumns {
    /// All that enter.
    fn with_prior(self, turns_column: usize) -> Vec<usize> {
        (0..turns_column + 1 + usize::from(self.lead)).collect()
    }

    /// Those that the launches alone estimate.
    fn without_prior(self, turns_column: usize) -> Vec<usize> {
        let mut columns = self.with_prior(turns_column);
        columns.retain(|&c| c != turns_column || self.turns_estimable);
        columns
    }
}

/// Launches that enter the travel regression, as indices into the rig's, and the arc of each, m.
///
/// # Errors
/// [`Error::CannotAnswer`] for fewer than [`FITTED_MIN`].
fn fitted_launches(
    runs: &RigRuns,
    excluded: &[usize],
    heading: Option<&super::heading::HeadingFit>,
) -> Result<(Vec<usize>, Vec<f64>), Error> {
    let of = runs.launches.len();
    let (launches, arcs): (Vec<usize>, Vec<f64>) = (0..of)
        .filter(|i| runs.launches[*i].tells_travel() && excluded.binary_search(i).is_err())
        .filter_map(|i| Some((i, arc_m(runs, i, heading)?)))
        .unzip();
    if launches.len() < FITTED_MIN {
        let name = runs.spoken_name();
        return Err(Error::cannot_answer(
            format!(
                "{name}: {} of its {of} launches can be fitted (status ok, with turns and where it came to rest); a line needs at least {FITTED_MIN}",
                launches.len()
            ),
            "make and write down a few more ok runs, at two or more settings of the dial",
        ));
    }
    Ok((launches, arcs))
}

/// Restricted-likelihood estimates of the launches alone; `None` where `columns` use up every degree of freedom.
fn reml_without_prior(rows: &Rows, columns: &[usize]) -> Result<Option<Reml>, Numerical> {
    if rows.y.len() <= columns.len() {
        return Ok(None);
    }
    let design = rows.with_columns(columns).design(&[], TAPE_SD_M)?;
    design.reml().map(Some)
}

/// The prior on C that stays in force, or the one that the launches contradict with their own estimate of C
/// (`model.md` §2, Two weak priors).
fn unless_contradicted(
    prior: Option<TurnPrior>,
    alone: Option<&Reml>,
    turns_column: usize,
) -> (Option<TurnPrior>, Option<(TurnPrior, f64)>) {
    let (Some(p), Some(reml)) = (&prior, alone) else {
        return (prior, None);
    };
    let estimate = reml.beta[turns_column];
    let se = reml.covariance[(turns_column, turns_column)].sqrt();
    if (estimate - p.mean_m).abs() > PRIOR_CONTRADICTED * p.sd_m.hypot(se) {
        (None, prior.map(|p| (p, estimate)))
    } else {
        (prior, None)
    }
}

/// The prior on C as one more observation (`model.md` §2, Two weak priors).
fn pseudo_row(prior: &TurnPrior, turns_column: usize, sigma_m: f64) -> PseudoRow {
    PseudoRow {
        column: turns_column,
        mean: prior.mean_m,
        weight: sigma_m / prior.sd_m,
    }
}
