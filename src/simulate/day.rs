//! How a session differs from the vehicle's mean for one rig: the day, the floor, the drift of the season.

use super::chance::{Chance, Purpose};
use super::rig::ResolvedRig;
use super::truth::Truth;

/// What a session adds to the model of one rig.
pub struct RigDay {
    /// Shift along, m; longer is positive.
    pub long_m: f64,
    /// Shift of the heading, rad; right is positive.
    pub right_rad: f64,
    /// Factor on the distance per turn.
    pub stretch: f64,
}

impl RigDay {
    /// Draws the shifts of one session (counted from 0) and rig (its place among the rigs of the truth).
    pub fn drawn(
        truth: &Truth,
        seed: u64,
        session: usize,
        index: usize,
        rig: &ResolvedRig,
    ) -> RigDay {
        let mut common = Chance::new(seed, Purpose::Day, session, 0);
        let mut own = Chance::new(seed, Purpose::RigDay, session, index);
        let shared = truth.season.shared_shift.clamp(0.0, 1.0);
        // Variances add up to 1, whatever is shared.
        let mut shift =
            || libm::sqrt(shared) * common.normal() + libm::sqrt(1.0 - shared) * own.normal();
        let floor = truth
            .floors
            .iter()
            .find(|floor| floor.sessions.contains(&(session + 1)));
        RigDay {
            long_m: rig.travel.between_sessions_m * shift()
                + truth.effects.drift_long_m_per_session * session as f64
                + floor.map_or(0.0, |floor| floor.long_m),
            right_rad: rig.heading.between_sessions_rad * shift()
                + truth.effects.drift_right_rad_per_session * session as f64
                + floor.map_or(0.0, |floor| floor.right_rad),
            stretch: 1.0 + truth.effects.stretch * shift(),
        }
    }
}
