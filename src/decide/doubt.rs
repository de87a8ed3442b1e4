//! Runs of a new session that the calibration and the session's other runs hold for improbable: a tape read wrong, 120 typed
//! for 12. (`model.md` §4, Doubt, and §9, review.)
//!
//! Each run is held against its predictive distribution from the calibration and the other runs, along and across apart. So two
//! runs that agree with each other speak for each other: the day may truly differ. A run that rolled back may speak for
//! another, never against it, since it is not held against others itself, unless it is farther off than rolling back explains.

use super::observe::Observation;
use crate::calibration::Rig;
use crate::calibration::recoil::beyond_rolling_back_m;
use crate::stats::mixed::{Posterior, Row};

/// The least probable run of a session given the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Improbable {
    /// Which of the session's runs.
    pub run: usize,
    /// Whether its direction says so; else how far it went.
    pub across: bool,
    /// How far it lies from the centre of its distribution, m or rad: + longer or to the right.
    pub off: f64,
    /// Two-sided chance of a run as far out as this.
    pub p: f64,
}

/// The least probable of a session's runs; of equals the first, along before across. One that rolled back is none, for that it
/// came to rest elsewhere has a cause that was written down, unless it is farther off than rolling back explains.
pub(super) fn least_probable(rig: &Rig, session: &[&Observation]) -> Option<Improbable> {
    let travel = Some(&rig.travel.posterior);
    let heading = rig.heading.as_ref().map(|h| &h.posterior);
    let along = held_against_others(session, travel, false, |o| o.travel.as_ref());
    let across = held_against_others(session, heading, true, |o| o.heading.as_ref());
    let turn_m = (rig.travel.posterior).coefficient(rig.travel.turns_column);
    let beyond_m = beyond_rolling_back_m(turn_m);
    let may_be = |found: &Improbable| {
        !session[found.run].rolled_back || (!found.across && found.off.abs() >= beyond_m)
    };
    let all = along.into_iter().chain(across).filter(may_be);
    all.min_by(|a, b| a.p.total_cmp(&b.p))
}

/// Each run that has a row of this kind, given the rows of the others; where some of these rolled back, the better of its
/// chances with and without them.
fn held_against_others(
    session: &[&Observation],
    known: Option<&Posterior>,
    across: bool,
    row: impl Fn(&Observation) -> Option<&(Row, f64)>,
) -> Vec<Improbable> {
    let Some(known) = known else {
        return Vec::new();
    };
    let held = |(run, observed): (usize, &&Observation)| {
        let (own, y) = row(observed)?;
        let others = || (session.iter().enumerate()).filter(|(i, o)| *i != run && row(o).is_some());
        let given = |rolled_back_too: bool| {
            let speak = others().filter(|(_, o)| rolled_back_too || !o.rolled_back);
            let rows: Vec<(Row, f64)> = speak.filter_map(|(_, o)| row(o).cloned()).collect();
            let expected = known.group(&rows).next_distribution(own);
            Improbable {
                run,
                across,
                off: y - expected.centre(),
                p: expected.two_sided_p(*y),
            }
        };
        let with_all = given(true);
        if !others().any(|(_, o)| o.rolled_back) {
            return Some(with_all);
        }
        let without = given(false);
        Some(if without.p > with_all.p {
            without
        } else {
            with_all
        })
    };
    session.iter().enumerate().filter_map(held).collect()
}

impl Improbable {
    /// How far off, in words: `120 cm farther than`, `9 cm for each metre more to the right than`.
    pub fn how_far(&self) -> String {
        let cm = 100.0 * self.off.abs();
        match (self.across, self.off > 0.0) {
            (false, true) => format!("came to rest {cm:.0} cm farther than"),
            (false, false) => format!("came to rest {cm:.0} cm less far than"),
            (true, true) => format!("headed {cm:.0} cm in each metre more to the right than"),
            (true, false) => format!("headed {cm:.0} cm in each metre more to the left than"),
        }
    }
}
