//! Minima and roots of functions of one number: the only file that imports argmin. Takes a function, gives a point that was
//! checked afterwards, or says why there is none.
//!
//! argmin 0.11 takes NaN without a word, runs for ever unless bounded and never looks at the ends of a
//! bounded search; each function here closes those doors.

use super::Numerical;
use argmin::core::{CostFunction, Executor, State, TerminationReason, TerminationStatus};
use argmin::solver::brent::{BrentOpt, BrentRoot};

/// Brent's methods need about 1.44·log2(range/tolerance) steps at worst by golden section, 60 by bisection; this
/// is several times both.
const MOST_STEPS: u64 = 500;

/// A minimum of a function of one variable.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Minimum {
    /// Where.
    pub x: f64,
    /// The function there.
    pub value: f64,
}

/// A function of one number for argmin, which stops the search at the first value that is not finite.
struct OneVariable<F>(F);

impl<F: Fn(f64) -> f64> CostFunction for OneVariable<F> {
    type Param = f64;
    type Output = f64;

    fn cost(&self, x: &f64) -> Result<f64, argmin::core::Error> {
        let value = (self.0)(*x);
        if value.is_finite() {
            Ok(value)
        } else {
            Err(argmin::core::Error::new(Numerical::NotFinite {
                what: "a function to be searched",
            }))
        }
    }
}

/// Our own error out of argmin's, which carries it.
fn ours(error: argmin::core::Error) -> Numerical {
    error.downcast().unwrap_or(Numerical::Shape {
        what: "a search refused its arguments",
    })
}

fn check_range(low: f64, high: f64, tolerance: f64) -> Result<(), Numerical> {
    if !(low.is_finite() && high.is_finite()) {
        return Err(Numerical::NotFinite {
            what: "an end of a search",
        });
    }
    if low > high || tolerance.is_nan() || tolerance <= 0.0 {
        return Err(Numerical::Shape {
            what: "a search needs low ≤ high and a tolerance above 0",
        });
    }
    Ok(())
}

/// Smallest value of `f` on [`low`, `high`], ends included; the local minimum found where there are several.
///
/// * `tolerance` — on x, absolute; x is never better than 1.5e-8 of its own size, as no comparison of values is
/// * an end that is no worse than the inside is the answer, exactly; `f` may be +∞ at an end
///
/// # Errors
/// [`Numerical::NotFinite`] when `f` is not finite where looked at; [`Numerical::Shape`]; [`Numerical::DidNotSettle`].
///
/// Source: Brent (1973), Algorithms for Minimization without Derivatives, chapter 5.
pub fn minimum(
    f: impl Fn(f64) -> f64,
    low: f64,
    high: f64,
    tolerance: f64,
) -> Result<Minimum, Numerical> {
    check_range(low, high, tolerance)?;
    let mut best: Option<Minimum> = None;
    for x in [low, high] {
        let value = f(x);
        if value.is_nan() || value == f64::NEG_INFINITY {
            return Err(Numerical::NotFinite {
                what: "a function to be searched",
            });
        }
        if value.is_finite() && best.is_none_or(|so_far| value < so_far.value) {
            best = Some(Minimum { x, value });
        }
    }
    // Nothing to search between ends that are nearer than the search resolves.
    if high - low <= tolerance
        && let Some(end) = best
    {
        return Ok(end);
    }
    let solver = BrentOpt::new(low, high).set_tolerance(f64::EPSILON.sqrt(), tolerance / 3.0);
    let outcome = Executor::new(OneVariable(&f), solver)
        .configure(|state| state.max_iters(MOST_STEPS))
        .timer(false)
        .run()
        .map_err(ours)?;
    let state = outcome.state();
    let inside = match (state.get_param(), &state.termination_status) {
        (Some(&x), TerminationStatus::Terminated(TerminationReason::SolverConverged)) => Minimum {
            x,
            value: state.get_cost(),
        },
        _ => {
            return Err(Numerical::DidNotSettle {
                what: "the search for a minimum",
                last_change: (state.get_cost() - state.get_prev_cost()).abs(),
            });
        }
    };
    Ok(match best {
        Some(end) if end.value <= inside.value => end,
        _ => inside,
    })
}

/// Smallest value of an `f` that may have several minima: the one around the least of its values at steps of `step` from
/// `low` to `high`, which may lie up to a step beyond these.
///
/// # Errors
/// [`Numerical::NotFinite`], [`Numerical::Shape`] and [`Numerical::DidNotSettle`], as [`minimum`] lists.
pub fn minimum_of_many(
    f: impl Fn(f64) -> f64,
    (low, high): (f64, f64),
    step: f64,
    tolerance: f64,
) -> Result<Minimum, Numerical> {
    let mut best = (low, f64::INFINITY);
    let mut x = low;
    while x <= high {
        let value = f(x);
        if value < best.1 {
            best = (x, value);
        }
        x += step;
    }
    minimum(f, best.0 - step, best.0 + step, tolerance)
}

/// A root of `f` between `low` and `high`, where it must have opposite signs.
///
/// * `tolerance` — on x, absolute
/// * a jump through 0 counts as a root: the place of the jump is returned
///
/// # Errors
/// [`Numerical::NoBracket`]; [`Numerical::NotFinite`]; [`Numerical::Shape`]; [`Numerical::DidNotSettle`].
///
/// Source: Brent (1973), chapter 4.
pub fn root(f: impl Fn(f64) -> f64, low: f64, high: f64, tolerance: f64) -> Result<f64, Numerical> {
    check_range(low, high, tolerance)?;
    let ends = [(low, f(low)), (high, f(high))];
    root_between(f, ends, tolerance)
}

/// A root of a rising `f`, bracketed from `start` outwards in steps that double; −∞ or +∞ where `f` has one sign all the
/// way to the limit on that side.
///
/// * `step` — the first, above 0
/// * `limits` — no place beyond is looked at; they may be infinite
/// * `tolerance` — on x, absolute
///
/// # Errors
/// [`Numerical::NotFinite`]; [`Numerical::Shape`]; [`Numerical::DidNotSettle`].
pub fn root_outward(
    f: impl Fn(f64) -> f64,
    start: f64,
    step: f64,
    (least, most): (f64, f64),
    tolerance: f64,
) -> Result<f64, Numerical> {
    let mut inner = (start, f(start));
    let side = if inner.1 < 0.0 { 1.0 } else { -1.0 };
    let mut reach = step;
    loop {
        let x = (inner.0 + side * reach).clamp(least, most);
        if x == inner.0 || x.is_infinite() {
            return Ok(side * f64::INFINITY);
        }
        let outer = (x, f(x));
        if inner.1 == 0.0 || outer.1 * side >= 0.0 || outer.1.is_nan() {
            let ends = if side > 0.0 {
                [inner, outer]
            } else {
                [outer, inner]
            };
            return root_between(f, ends, tolerance);
        }
        inner = outer;
        reach *= 2.0;
    }
}

/// The root between two ends that were looked at already.
fn root_between(
    f: impl Fn(f64) -> f64,
    [(low, at_low), (high, at_high)]: [(f64, f64); 2],
    tolerance: f64,
) -> Result<f64, Numerical> {
    if !(at_low.is_finite() && at_high.is_finite()) {
        return Err(Numerical::NotFinite {
            what: "a function at the end of a search",
        });
    }
    if at_low == 0.0 {
        return Ok(low);
    }
    if at_high == 0.0 {
        return Ok(high);
    }
    if (at_low > 0.0) == (at_high > 0.0) {
        return Err(Numerical::NoBracket { at_low, at_high });
    }
    // argmin evaluates the ends again; it is given the values already known.
    let known = |x: f64| {
        if x == low {
            at_low
        } else if x == high {
            at_high
        } else {
            f(x)
        }
    };
    let outcome = Executor::new(OneVariable(known), BrentRoot::new(low, high, tolerance))
        .configure(|state| state.max_iters(MOST_STEPS))
        .timer(false)
        .run()
        .map_err(ours)?;
    let state = outcome.state();
    let settled = matches!(
        state.termination_status,
        TerminationStatus::Terminated(TerminationReason::SolverConverged)
    );
    match state.get_param() {
        // The cost is |f|, and a root that is worse than both ends is none.
        Some(&x)
            if settled
                && (low..=high).contains(&x)
                && state.get_cost() <= at_low.abs().max(at_high.abs()) =>
        {
            Ok(x)
        }
        _ => Err(Numerical::DidNotSettle {
            what: "the search for a root",
            last_change: (state.get_cost() - state.get_prev_cost()).abs(),
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_minimum_at_an_end_is_that_end_exactly() {
        let found = minimum(|x| x * x, 0.0, 5.0, 1e-8).unwrap();
        assert_eq!((found.x, found.value), (0.0, 0.0));
        let found = minimum(|x| (x - 9.0).powi(2), 0.0, 5.0, 1e-8).unwrap();
        assert_eq!(found.x, 5.0);
        let flat = minimum(|_| 3.0, 0.0, 5.0, 1e-8).unwrap();
        assert_eq!((flat.x, flat.value), (0.0, 3.0));
        let point = minimum(|x| x, 2.0, 2.0, 1e-8).unwrap();
        assert_eq!(point.x, 2.0);
    }

    #[test]
    fn a_minimum_inside_is_found() {
        let found = minimum(|x| x.cosh() - x, -20.0, 20.0, 1e-9).unwrap();
        assert!((found.x - 1f64.asinh()).abs() < 1e-7);
        let open = minimum(|x| x - x.ln(), 0.0, 20.0, 1e-9).unwrap();
        assert!((open.x - 1.0).abs() < 1e-7);
    }

    #[test]
    fn values_that_are_no_numbers_are_errors() {
        let gap = |x: f64| if x > 2.0 { f64::NAN } else { x - 1.0 };
        let refused = |outcome| matches!(outcome, Err(Numerical::NotFinite { .. }));
        assert!(refused(minimum(gap, 0.0, 5.0, 1e-8).map(|found| found.x)));
        assert!(refused(root(gap, 0.0, 5.0, 1e-8)));
        let middle = |x: f64| {
            if (0.4..3.9).contains(&x) {
                f64::NAN
            } else {
                x - 1.0
            }
        };
        assert!(refused(root(middle, 0.0, 5.0, 1e-8)));
        assert!(refused(minimum(middle, 0.0, 5.0, 1e-8).map(|m| m.x)));
    }

    #[test]
    fn a_root_is_found_or_refused() {
        let found = root(|x| x.powi(3) - 2.0, 0.0, 2.0, 1e-14).unwrap();
        assert!((found - 2f64.cbrt()).abs() < 1e-14);
        assert_eq!(root(|x| x, 0.0, 3.0, 1e-9), Ok(0.0));
        assert_eq!(root(|x| x - 3.0, 0.0, 3.0, 1e-9), Ok(3.0));
        let none = root(|x| x * x + 1.0, -1.0, 1.0, 1e-9);
        assert!(matches!(none, Err(Numerical::NoBracket { .. })));
        let jump = root(|x| if x < 0.3 { -1.0 } else { 1.0 }, 0.0, 1.0, 1e-9).unwrap();
        assert!((jump - 0.3).abs() < 1e-8);
    }

    #[test]
    fn ends_that_make_no_sense_are_refused() {
        let shape = |outcome| matches!(outcome, Err(Numerical::Shape { .. }));
        assert!(shape(root(|x| x, 2.0, 1.0, 1e-9)));
        assert!(shape(root(|x| x, -1.0, 1.0, f64::NAN)));
        let endless = minimum(|x| x, 0.0, f64::INFINITY, 1e-9);
        assert!(matches!(endless, Err(Numerical::NotFinite { .. })));
    }

    #[test]
    fn a_root_is_found_outwards_from_either_side() {
        let everywhere = (f64::NEG_INFINITY, f64::INFINITY);
        let cube = |x: f64| x.powi(3) - 2.0;
        for start in [-1e6, 1.0, 2f64.cbrt(), 40.0] {
            let found = root_outward(cube, start, 0.1, everywhere, 1e-14).unwrap();
            assert!((found - 2f64.cbrt()).abs() < 1e-14, "{start}: {found}");
        }
        assert_eq!(
            root_outward(cube, 0.0, 0.1, (-1.0, 1.0), 1e-9),
            Ok(f64::INFINITY)
        );
        assert_eq!(
            root_outward(cube, 9.0, 0.1, (2.0, 9.0), 1e-9),
            Ok(f64::NEG_INFINITY)
        );
        assert_eq!(
            root_outward(|_| -1.0, 0.0, 0.1, everywhere, 1e-9),
            Ok(f64::INFINITY)
        );
        let nothing = root_outward(|_| f64::NAN, 0.0, 0.1, everywhere, 1e-9);
        assert!(matches!(nothing, Err(Numerical::NotFinite { .. })));
    }
}
