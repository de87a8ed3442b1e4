//! A minimum in several variables by Nelder and Mead's simplex: an oracle, slow, that needs no derivative.

use argmin::core::{CostFunction, Error, Executor, State};
use argmin::solver::neldermead::NelderMead;

/// A minimum of a function of several variables.
pub struct MinimumNd {
    /// Where.
    pub x: Vec<f64>,
    /// The function there.
    pub value: f64,
}

struct SeveralVariables<F>(F);

impl<F: Fn(&[f64]) -> f64> CostFunction for SeveralVariables<F> {
    type Param = Vec<f64>;
    type Output = f64;

    fn cost(&self, x: &Vec<f64>) -> Result<f64, Error> {
        Ok((self.0)(x))
    }
}

/// A local minimum of `f`, which is finite or +∞ everywhere and finite at `start`; `None` where none is found in
/// `max_iters` steps over all simplexes.
///
/// * `step` — first move along each variable, not 0
/// * `tolerance` — on the value: the search ends when a fresh simplex, set up where the last one shrank to a spread of
///   values below `tolerance`, finds nothing better than that by more. Where `f` is smooth, x is good to the root of it.
///   A tolerance finer than the value's own rounding counts as that.
///
/// Source: Nelder and Mead (1965), Computer Journal 7, 308–313.
pub fn minimum_nd(
    f: impl Fn(&[f64]) -> f64,
    start: &[f64],
    step: &[f64],
    tolerance: f64,
    max_iters: u64,
) -> Option<MinimumNd> {
    let mut best = MinimumNd {
        x: start.to_vec(),
        value: f(start),
    };
    let mut left = max_iters;
    while left > 0 {
        // Values that differ by rounding alone would keep the simplex at work for ever.
        let tolerance = tolerance.max(16.0 * f64::EPSILON * best.value.abs());
        let mut simplex = vec![best.x.clone()];
        for (j, h) in step.iter().enumerate() {
            let mut corner = best.x.clone();
            corner[j] += h;
            simplex.push(corner);
        }
        let solver = NelderMead::new(simplex)
            .with_sd_tolerance(tolerance)
            .expect("a tolerance above 0");
        let outcome = Executor::new(SeveralVariables(&f), solver)
            .configure(|state| state.max_iters(left))
            .timer(false)
            .run()
            .expect("a function that is never NaN");
        let state = outcome.state();
        let gained = best.value - state.get_best_cost();
        if gained > 0.0 {
            best = MinimumNd {
                x: state.get_best_param().expect("one step at least").clone(),
                value: state.get_best_cost(),
            };
        }
        if state.get_iter() < left && gained <= tolerance {
            return Some(best);
        }
        left -= state.get_iter().clamp(1, left);
    }
    None
}
