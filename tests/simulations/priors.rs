//! How often weak priors let go: the guess of σ, a wheel diameter that is right, and one typed twice too large.

use haltmark::calibration::fit::{self, Options};
use haltmark::setup::Setup;
use haltmark::simulate;
use haltmark::stats::interval::Level;
use rayon::prelude::*;

use super::bounds::Bounds;
use super::vehicle::{M_PER_TURN, TARGETS_M, truth};

const RATIO: f64 = 0.7;

/// What became of the priors of one season.
struct LetGo {
    guess: bool,
    diameter: bool,
}

fn let_go(run_to_run_m: f64, (sessions, runs): (usize, usize), diameters: f64, seed: u64) -> LetGo {
    let mut truth = truth(RATIO, sessions, &TARGETS_M);
    truth.travel.run_to_run_m = run_to_run_m;
    truth.travel.between_sessions_m = RATIO * run_to_run_m;
    truth.season.runs_per_session = vec![runs];
    let season = simulate::season(&truth, seed).season;
    let mut setup = Setup::default();
    let right = 1.02 * M_PER_TURN / std::f64::consts::PI;
    setup.vehicle.wheel_diameter_m = Some(diameters * right);
    let known = fit::fit(&season, &setup, Level::default(), Options::default());
    let rig = &known.expect("a season that can be fitted").rigs[0];
    let said = |words: &str| rig.warnings.iter().any(|w| w.contains(words));
    LetGo {
        guess: said("[prior] run_to_run_cm ="),
        diameter: rig.travel.turn_prior.is_none(),
    }
}

/// How often each prior is let go, by σ and number of runs.
pub fn table(seasons: u64) -> Bounds {
    let mut bounds = Bounds::default();
    println!(
        "{seasons} seasons a cell, guess of σ 5 cm, τ/σ {RATIO}: in 100 seasons the guess of σ is let go, a right diameter is let go, one twice too large is let go"
    );
    for run_to_run_cm in [1.0, 3.0, 6.0, 12.0] {
        for shape in [(1, 3), (1, 4), (1, 6), (2, 6), (3, 8), (6, 8)] {
            let of = |diameters: f64| -> Vec<LetGo> {
                let one = |i| let_go(0.01 * run_to_run_cm, shape, diameters, 6_000_000 + i);
                (0..seasons).into_par_iter().map(one).collect()
            };
            let share = |all: &[LetGo], f: fn(&LetGo) -> bool| {
                all.iter().filter(|l| f(l)).count() as f64 / all.len() as f64
            };
            let (right, twice) = (of(1.0), of(2.0));
            let guess = share(&right, |l| l.guess);
            let diameter = share(&right, |l| l.diameter);
            let wrong = share(&twice, |l| l.diameter);
            let runs = shape.0 * shape.1;
            println!(
                "σ {run_to_run_cm} cm, {runs} runs in {}: {:.1} {:.1} {:.1}",
                shape.0,
                100.0 * guess,
                100.0 * diameter,
                100.0 * wrong
            );
            // With σ beyond twice its guess three runs may say anything.
            if run_to_run_cm > 6.0 {
                continue;
            }
            let what = format!("σ {run_to_run_cm} cm, {runs} runs: right diameter let go");
            let most = 0.003 + super::bounds::allowed(0.003, seasons);
            bounds.at_most(&what, diameter, most);
            if runs >= 4 {
                let what = format!("σ {run_to_run_cm} cm, {runs} runs: wrong diameter let go");
                bounds.at_least(&what, wrong, 0.95);
            }
        }
    }
    bounds
}
