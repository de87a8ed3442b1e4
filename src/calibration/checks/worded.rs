//! A check in words, with the limits at which one worries.

use crate::calibration::known::Check;

/// A curve is worded where chance alone would show one in fewer than this part of logs (`model.md` §2).
pub const CURVE_P_MAX: f64 = 0.01;
/// The other checks worry at half of that: there are about fifteen, and at 0.01 each one clean season in seven
/// had a worry (measured; with this, 7 to 9 of a hundred: `tests/checks.rs`).
pub const P_MAX: f64 = 0.005;

/// A check with a p value at the usual limit, worded for either outcome.
pub fn tested(name: &str, p: f64, fine: &str, worry: impl FnOnce() -> String) -> Check {
    tested_at(P_MAX, name, p, fine, worry)
}

/// A check with a p value that worries below `p_max`, worded for either outcome.
pub fn tested_at(
    p_max: f64,
    name: &str,
    p: f64,
    fine: &str,
    worry: impl FnOnce() -> String,
) -> Check {
    let ok = p >= p_max;
    Check {
        name: name.to_string(),
        p: Some(p),
        ok,
        means: if ok { fine.to_string() } else { worry() },
    }
}

/// A check without a p value.
pub fn said(name: &str, ok: bool, means: impl Into<String>) -> Check {
    Check {
        name: name.to_string(),
        p: None,
        ok,
        means: means.into(),
    }
}
