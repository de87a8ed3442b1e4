//! Heading excess on arc: ψ − α = δ_trim + (κ_trim/2)·s + session + noise.
//!
//! κ̂ sets the arcs and the arcs set κ̂: iterated here to convergence (`model.md` §2, Arcs).

use super::rows::{Measured, RigRuns};
use super::spread_prior::{SigmaAlone, reml_beside_guess};
use crate::geometry;
use crate::setup::{Obstacle, PassSide, Setup};
use crate::stats::Numerical;
use crate::stats::mixed::{
    Design, Groups, Growths, Posterior, PseudoRow, Reml, Row, Rows, SpreadPrior, Spreads,
};
use nalgebra::{DMatrix, DVector};

/// Rounding of a tape, m: no spread below it is believed.
pub const TAPE_SD_M: f64 = 0.0003;
/// κ̂ has converged when it changes by less than this, 1/m.
const SETTLED_PER_M: f64 = 1e-9;
/// Rounds of arcs and κ̂.
const ROUNDS_MAX: usize = 20;
/// |κ̂| stays at or under this over the longest chord: nearly a half circle.
const BEND_MAX: f64 = 1.6;

/// The heading fit of one rig, before it is summarised.
#[derive(Debug, Clone)]
pub struct HeadingFit {
    /// Trims in the fit, as indices into the rig's list.
    pub trims: Vec<usize>,
    /// κ̂ for each of them.
    pub curvature: Vec<f64>,
    /// Rows in the fit, as indices into the rig's launches.
    pub launches: Vec<usize>,
    /// The rows themselves and their sums, pseudo-rows included; headings are angles, which do not spread more far out.
    pub growths: Growths,
    /// Restricted-likelihood estimates with the pseudo-rows.
    pub reml: Reml,
    /// Weights over θ.
    pub posterior: Posterior,
    /// Weak priors on the spreads.
    pub spread_prior: SpreadPrior,
    /// σ̂ without pseudo-rows, and the guess that is worth one run.
    pub sigma_rad: SigmaAlone,
    /// SD of the prior on each curvature.
    pub curvature_prior_per_m: f64,
    /// Whether a κ̂ stopped at its bound.
    pub at_bound: bool,
}

impl HeadingFit {
    /// What is known of the spreads.
    pub fn spreads(&self) -> Spreads {
        Spreads::averaged(&self.growths.designs(), self.spread_prior)
            .expect("the posterior was made of these designs")
    }

    /// The rows.
    pub fn rows(&self) -> &Rows {
        &self.growths.each()[0].rows
    }

    /// Their sums, pseudo-rows included.
    pub fn design(&self) -> &Design {
        &self.growths.each()[0].design
    }
}

/// Design row of a trim at an arc, for `trims` trims.
pub fn row(trims: usize, trim: usize, arc_m: f64) -> Row {
    let mut x = vec![0.0; 2 * trims];
    x[2 * trim] = 1.0;
    x[2 * trim + 1] = arc_m / 2.0;
    Row::of_mean_size(x)
}

/// SD of the prior on a trim's curvature, 1/m: the set-up's, with an obstacle at least the bend that clears it at
/// the shortest target.
pub fn curvature_prior(setup: &Setup, shortest_m: f64) -> f64 {
    let asked = setup.prior.curvature_per_m;
    let Some(obstacle) = &setup.obstacle else {
        return asked;
    };
    let half_width = setup.vehicle.width_m.unwrap_or(0.0) / 2.0;
    asked.max(clearing_curvature(obstacle, half_width, shortest_m))
}

/// Curvature of a path from the start mark to the target that just clears the obstacle, 1/m, ≥ 0; 0 where the
/// straight line clears it. The bow at x of a chord T is κ·x·(T − x)/2.
fn clearing_curvature(obstacle: &Obstacle, half_width_m: f64, target_m: f64) -> f64 {
    let at = obstacle.at.distance_m(target_m);
    let side = match obstacle.pass {
        PassSide::Right => 1.0,
        PassSide::Left => -1.0,
    };
    let bow = side * obstacle.right_m + obstacle.diameter_m / 2.0 + half_width_m;
    let lever = at * (target_m - at) / 2.0;
    if bow > 0.0 && lever > 0.0 {
        bow / lever
    } else {
        0.0
    }
}

/// The set-up's obstacle as a vehicle on its way to a target meets it (a point where the set-up does not say how
/// wide it is); `None` without an obstacle, and for a target at which it stops before it comes there.
pub fn passing(setup: &Setup, target_m: f64) -> Option<geometry::Passing> {
    let obstacle = setup.obstacle.as_ref();
    let obstacle = obstacle.filter(|_| setup.obstacle_is_before(target_m))?;
    let width_m = setup.vehicle.width_m.unwrap_or(0.0);
    Some(geometry::Passing {
        centre_m: (obstacle.at.distance_m(target_m), obstacle.right_m),
        reach_m: (obstacle.diameter_m + width_m) / 2.0,
        pass: obstacle.pass,
    })
}

/// Chord of a run whose `right_cm` is missing: Y as the heading line would have it (`model.md` §1); where target or aim
/// was not written, as on the line.
///
/// * `posterior`, `trims`, `trim` — the heading fit and which of its trims
/// * `target_and_aim_m` — target and aim mark, right positive
pub fn chord_without_right(
    posterior: &Posterior,
    trims: usize,
    trim: usize,
    rest_m: f64,
    target_and_aim_m: Option<(f64, f64)>,
) -> f64 {
    target_and_aim_m.map_or(rest_m, |(target_m, aim_right_m)| {
        let alpha = geometry::aim_heading(target_m, aim_right_m);
        rest_m / (alpha + posterior.mean(&row(trims, trim, rest_m))).cos()
    })
}

/// Fits the headings of a rig, `excluded` launches left out; `Ok(None)` where the log cannot tell.
///
/// # Errors
/// A numerical failure that the data do not explain.
pub fn fit(
    runs: &RigRuns,
    excluded: &[usize],
    setup: &Setup,
    shortest_m: f64,
) -> Result<Option<HeadingFit>, Numerical> {
    let launches: Vec<usize> = (0..runs.launches.len())
        .filter(|&i| runs.launches[i].tells_heading() && excluded.binary_search(&i).is_err())
        .collect();
    if launches.len() < 2 {
        return Ok(None);
    }
    let mut regression = Regression::from_launches(runs, &launches);
    let priors = Priors {
        curvature_per_m: curvature_prior(setup, shortest_m),
        between_sessions_rad: setup.prior.between_sessions_rad,
        run_to_run_rad: setup.prior.run_to_run_rad,
    };
    let bound = regression.curvature_bound();
    let mut curvature = vec![0.0; regression.trims.len()];
    let mut round = 0;
    loop {
        round += 1;
        let sd_min = regression.set_arcs(&curvature);
        let Some(fitted) = regression.fit(&priors, sd_min)? else {
            return Ok(None);
        };
        let next = regression.curvatures(&fitted.posterior, bound);
        let changes = next.iter().zip(&curvature).map(|(a, b)| (a - b).abs());
        let settled = changes.fold(0.0, f64::max) < SETTLED_PER_M;
        if !settled {
            curvature.clone_from(&next);
        }
        if settled || round == ROUNDS_MAX {
            let (reml, sigma_rad) = fitted.sigma_rad.reml(&fitted.design)?;
            return Ok(Some(HeadingFit {
                at_bound: next.iter().any(|k| k.abs() >= bound),
                curvature,
                launches,
                trims: regression.trims,
                reml,
                growths: Growths::from_even(regression.rows, fitted.design),
                posterior: fitted.posterior,
                spread_prior: fitted.spread_prior,
                sigma_rad,
                curvature_prior_per_m: priors.curvature_per_m,
            }));
        }
    }
}

/// The rows of the heading regression, whose arcs depend on the curvatures.
struct Regression {
    /// Trims, as indices into the rig's list.
    trims: Vec<usize>,
    /// Trim of each row, as an index into `trims`.
    trim: Vec<usize>,
    measured: Vec<Measured>,
    rows: Rows,
}

/// SDs of the weak priors of the heading regression.
struct Priors {
    curvature_per_m: f64,
    between_sessions_rad: f64,
    run_to_run_rad: f64,
}

/// The regression at given arcs.
struct FittedAtArcs {
    design: Design,
    posterior: Posterior,
    spread_prior: SpreadPrior,
    sigma_rad: SigmaAlone,
}

impl Regression {
    fn from_launches(runs: &RigRuns, launches: &[usize]) -> Self {
        let mut trims: Vec<usize> = launches.iter().map(|&i| runs.launches[i].trim).collect();
        trims.sort_unstable();
        trims.dedup();
        let place = |&i: &usize| trims.partition_point(|&t| t < runs.launches[i].trim);
        let trim: Vec<usize> = launches.iter().map(place).collect();
        let measured = |&i: &usize| runs.launches[i].measured;
        let measured: Vec<Measured> = launches.iter().filter_map(measured).collect();
        let session = |&i: &usize| runs.launches[i].run.session as usize;
        let mut x = DMatrix::zeros(measured.len(), 2 * trims.len());
        for (i, &t) in trim.iter().enumerate() {
            x[(i, 2 * t)] = 1.0;
        }
        let excesses = measured.iter().map(|m| m.excess_rad);
        let rows = Rows::new(
            x,
            DVector::from_iterator(measured.len(), excesses),
            launches.iter().map(session).collect::<Groups>(),
        );
        Regression {
            trims,
            trim,
            measured,
            rows,
        }
    }

    /// Largest |κ̂| that is believed, 1/m.
    fn curvature_bound(&self) -> f64 {
        let longest_m = self.measured.iter().map(|m| m.chord_m).fold(0.0, f64::max);
        BEND_MAX / longest_m
    }

    /// Computes the arcs from the chords with a curvature for each trim. Returns the smallest σ that is believed: a
    /// tape's rounding over the mean arc, rad.
    fn set_arcs(&mut self, curvature: &[f64]) -> f64 {
        let mut sum_m = 0.0;
        for (i, (m, &t)) in self.measured.iter().zip(&self.trim).enumerate() {
            let arc_m = geometry::arc_of_chord(m.chord_m, curvature[t]);
            self.rows.x[(i, 2 * t + 1)] = arc_m / 2.0;
            sum_m += arc_m;
        }
        TAPE_SD_M * self.measured.len() as f64 / sum_m
    }

    /// The mixed model at these arcs with a prior on each curvature (`model.md` §2, Two weak priors); `None` where
    /// even a common mean leaves no degree of freedom.
    fn fit(&self, priors: &Priors, sd_min: f64) -> Result<Option<FittedAtArcs>, Numerical> {
        let guess_rad = priors.run_to_run_rad;
        let Some(sigma_rad) = without_priors(&self.rows, sd_min, guess_rad) else {
            return Ok(None);
        };
        let pseudo_row = |trim| PseudoRow {
            column: 2 * trim + 1,
            mean: 0.0,
            weight: sigma_rad.sigma / priors.curvature_per_m,
        };
        let pseudo_rows: Vec<PseudoRow> = (0..self.trims.len()).map(pseudo_row).collect();
        let design = self.rows.design(&pseudo_rows, sd_min)?;
        let spread_prior = sigma_rad.prior(priors.between_sessions_rad);
        Ok(Some(FittedAtArcs {
            posterior: Posterior::new(&design, spread_prior)?,
            design,
            spread_prior,
            sigma_rad,
        }))
    }

    /// Posterior mean curvature of each trim, within the bound.
    fn curvatures(&self, posterior: &Posterior, bound: f64) -> Vec<f64> {
        (0..self.trims.len())
            .map(|t| posterior.coefficient(2 * t + 1).clamp(-bound, bound))
            .collect()
    }
}

/// σ as the rows alone and its guess have it: by restricted likelihood over the estimable columns, over the trims' means only
/// where that leaves no degree of freedom; `None` where even one common mean leaves none.
fn without_priors(rows: &Rows, sd_min: f64, guess_rad: f64) -> Option<SigmaAlone> {
    let fit = |rows: &Rows| {
        let design = rows.design(&[], sd_min).ok()?;
        Some(reml_beside_guess(&design, guess_rad).ok()?.1)
    };
    let estimable = rows.estimable_columns();
    let means: Vec<usize> = estimable.iter().copied().filter(|c| c % 2 == 0).collect();
    let some = [estimable, means].into_iter().find_map(|columns| {
        let fewer_than_rows = !columns.is_empty() && columns.len() < rows.y.len();
        fit(&fewer_than_rows.then(|| rows.with_columns(&columns))?)
    });
    some.or_else(|| {
        fit(&Rows {
            x: DMatrix::from_element(rows.y.len(), 1, 1.0),
            ..rows.clone()
        })
    })
}

#[cfg(test)]
mod tests {
    use crate::setup::from_toml;

    #[test]
    fn an_obstacle_stands_at_a_part_of_the_way_or_at_a_distance() {
        let stands = |at: &str| {
            let text =
                format!("[obstacle]\n{at}\nright_cm = 28\ndiameter_cm = 24\npass = \"left\"\n");
            let setup = from_toml("setup.toml", &text).expect("a set-up");
            setup.obstacle.expect("one").at.distance_m(8.0)
        };
        assert!((stands("at = 0.45") - 3.6).abs() < 1e-12);
        assert_eq!(stands("at_m = 4.2"), 4.2);
    }
}
