//! Is the model enough? Each check: a name, a p value where there is one, whether to worry, and what to do.

mod across;
mod days;
mod evidence;
mod influence;
mod line;
mod order;
mod wrong;

pub use evidence::Evidence;

use super::Check;

/// A curve is worded where chance alone would show one in fewer than this part of logs (`model.md` §2).
const CURVE_P_MAX: f64 = 0.01;
/// The other checks worry at half of that: there are about fifteen, and at 0.01 each one clean season in seven
/// had a worry (measured; with this, 7 to 9 of a hundred: `tests/checks.rs`).
const P_MAX: f64 = 0.005;

/// Every check that the log can make, in the order in which a reader should look.
pub fn all(evidence: &Evidence) -> Vec<Check> {
    let mut checks = vec![wrong::days_estimable(evidence)];
    checks.extend(wrong::went_wrong(evidence));
    let travel = evidence.along();
    let heading = evidence.across();
    if let Some(travel) = &travel {
        checks.extend(line::straight(travel));
        checks.extend(line::repeats(travel));
        checks.extend(line::spread(travel));
        checks.extend(line::normal(travel));
        checks.extend(order::all(travel));
        checks.extend(days::floors(evidence, travel));
        checks.extend(days::stretch(evidence, travel));
    }
    if let Some(heading) = &heading {
        checks.extend(line::normal(heading));
        checks.extend(order::all(heading));
        checks.extend(days::floors(evidence, heading));
    }
    if let (Some(travel), Some(heading)) = (&travel, &heading) {
        checks.extend(across::together(travel, heading));
    }
    checks.extend(across::gap(evidence));
    checks.extend(influence::all(evidence));
    checks.extend(days::drift_chart(evidence));
    checks.extend(days::left_out(evidence));
    checks
}

/// A check with a p value at the usual limit, worded for either outcome.
fn tested(name: &str, p: f64, fine: &str, worry: impl FnOnce() -> String) -> Check {
    tested_at(P_MAX, name, p, fine, worry)
}

/// A check with a p value that worries below `p_max`, worded for either outcome.
fn tested_at(p_max: f64, name: &str, p: f64, fine: &str, worry: impl FnOnce() -> String) -> Check {
    let ok = p >= p_max;
    Check {
        name: name.to_string(),
        p: Some(p),
        ok,
        means: if ok { fine.to_string() } else { worry() },
    }
}

/// A check without a p value.
fn said(name: &str, ok: bool, means: impl Into<String>) -> Check {
    Check {
        name: name.to_string(),
        p: None,
        ok,
        means: means.into(),
    }
}
