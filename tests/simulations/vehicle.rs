//! The vehicle of the simulated event days, plans and reviews, and what its runs do on a day.

use haltmark::calibration::Rig;
use haltmark::decide::Situation;
use haltmark::decide::dial::Setting;
use haltmark::decide::predict::Hand;
use haltmark::geometry::{arc_of_chord, chord_and_heading};
use haltmark::setup::Setup;
use haltmark::simulate::{self, Truth};

pub const RUN_TO_RUN_M: f64 = 0.06;
pub const RUN_TO_RUN_RAD: f64 = 0.004;
pub const OVERSHOOT_M: f64 = 0.31;
pub const M_PER_TURN: f64 = 0.23;
pub const STRAIGHT_RAD: f64 = -0.02;
pub const CURVATURE_PER_M: f64 = 0.018;
pub const TARGETS_M: [f64; 5] = [6.0, 7.0, 8.0, 9.0, 10.0];
/// τ/σ of the vehicles, each as often as the others.
pub const RATIOS: [f64; 4] = [0.0, 0.5, 1.0, 2.0];

/// A season of eight runs a session.
///
/// * `ratio` — τ/σ, along and across
pub fn truth(ratio: f64, sessions: usize, targets_m: &[f64]) -> Truth {
    let mut truth = Truth::default();
    truth.travel.distance_per_turn_m = M_PER_TURN;
    truth.travel.overshoot_m = OVERSHOOT_M;
    truth.travel.run_to_run_m = RUN_TO_RUN_M;
    truth.travel.between_sessions_m = ratio * RUN_TO_RUN_M;
    truth.travel.lead_m_per_turn = 0.0;
    truth.heading.straight_rad = STRAIGHT_RAD;
    truth.heading.curvature_per_m = CURVATURE_PER_M;
    truth.heading.run_to_run_rad = RUN_TO_RUN_RAD;
    truth.heading.between_sessions_rad = ratio * RUN_TO_RUN_RAD;
    truth.season.sessions = sessions;
    truth.season.runs_per_session = vec![8];
    truth.season.targets_m = targets_m.to_vec();
    truth.season.leads_turns = vec![1.5];
    truth.recoil.half_lead_turns = 30.0;
    truth
}

pub fn setup() -> Setup {
    let mut setup = Setup::default();
    // The wheel itself covers 2 % more than a launch (model.md §2).
    setup.vehicle.wheel_diameter_m = Some(1.02 * M_PER_TURN / std::f64::consts::PI);
    setup
}

/// Where a run comes to rest, (long, right) m, by the simulator's own arc.
///
/// * `along_m`, `heading` — the day and chance together, beside the mean run
pub fn rest(hand: Hand, along_m: f64, heading: f64) -> (f64, f64) {
    let arc = OVERSHOOT_M + M_PER_TURN * hand.turns + along_m;
    let start = hand.aim_right_m.atan2(hand.target_m) + STRAIGHT_RAD + heading;
    let (ahead, right) = simulate::rest_point(arc, start, CURVATURE_PER_M);
    (ahead - hand.target_m, right)
}

/// What a setting says to wind on and where to aim.
pub fn hand(setting: &Setting) -> Hand {
    Hand {
        target_m: setting.target_m,
        turns: setting.dial.turns(),
        aim_right_m: setting.aim_right_m.expect("the log tells left from right"),
    }
}

/// The situation after one run of today, by the calibration's own rows.
pub fn after<'a>(
    situation: &Situation<'a>,
    rig: &'a Rig,
    hand: Hand,
    (long, right): (f64, f64),
) -> Situation<'a> {
    let mut next = situation.clone();
    let (chord, psi) = chord_and_heading(hand.target_m + long, right);
    let arc = arc_of_chord(chord, situation.curvature_per_m());
    let travel = [(situation.travel_row(hand.turns), arc)];
    next.travel = rig.travel.posterior.group(&travel);
    if let (Some(h), Some(trim)) = (&rig.heading, situation.trim) {
        let excess = psi - hand.aim_right_m.atan2(hand.target_m);
        next.heading = Some(h.posterior.group(&[(h.row(trim, arc), excess)]));
    }
    next
}
