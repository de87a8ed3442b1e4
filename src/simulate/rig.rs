//! A truth resolved: what holds for one rig in one session.

use jiff::Span;
use jiff::civil::Date;

use super::truth::Truth;
use super::truth_keys::{HeadingTruth, TravelTruth};

/// One rig with every value resolved: its own, or that of the first rig.
#[derive(Debug, Clone)]
pub struct ResolvedRig {
    /// Label of the vehicle.
    pub vehicle: String,
    /// Label of the wheel set.
    pub wheels: String,
    /// Travel in the first build.
    pub travel: TravelTruth,
    /// Heading in the first trim.
    pub heading: HeadingTruth,
    runs_per_session: Vec<usize>,
    /// Sessions it takes part in, counted from 1; empty: all.
    sessions: Vec<usize>,
}

/// The rigs of a truth, the first one first.
pub fn resolved_rigs(truth: &Truth) -> Vec<ResolvedRig> {
    let first = ResolvedRig {
        vehicle: truth.vehicle.clone(),
        wheels: truth.wheels.clone(),
        travel: truth.travel.clone(),
        heading: truth.heading.clone(),
        runs_per_session: truth.season.runs_per_session.clone(),
        sessions: Vec::new(),
    };
    let further = truth.rigs.iter().map(|rig| ResolvedRig {
        vehicle: rig.vehicle.clone().unwrap_or_else(|| first.vehicle.clone()),
        wheels: rig.wheels.clone().unwrap_or_else(|| first.wheels.clone()),
        travel: TravelTruth {
            distance_per_turn_m: rig
                .distance_per_turn_m
                .unwrap_or(first.travel.distance_per_turn_m),
            overshoot_m: rig.overshoot_m.unwrap_or(first.travel.overshoot_m),
            run_to_run_m: rig.run_to_run_m.unwrap_or(first.travel.run_to_run_m),
            between_sessions_m: rig
                .between_sessions_m
                .unwrap_or(first.travel.between_sessions_m),
            ..first.travel.clone()
        },
        heading: HeadingTruth {
            straight_rad: rig.straight_rad.unwrap_or(first.heading.straight_rad),
            curvature_per_m: rig.curvature_per_m.unwrap_or(first.heading.curvature_per_m),
            run_to_run_rad: rig.run_to_run_rad.unwrap_or(first.heading.run_to_run_rad),
            between_sessions_rad: rig
                .between_sessions_rad
                .unwrap_or(first.heading.between_sessions_rad),
        },
        runs_per_session: rig
            .runs_per_session
            .clone()
            .filter(|runs| !runs.is_empty())
            .unwrap_or_else(|| first.runs_per_session.clone()),
        sessions: rig.sessions.clone(),
    });
    std::iter::once(first.clone()).chain(further).collect()
}

impl ResolvedRig {
    /// Launches in a session (counted from 0).
    pub fn launches(&self, session: usize) -> usize {
        if !self.takes_part(session) || self.runs_per_session.is_empty() {
            return 0;
        }
        self.runs_per_session[session % self.runs_per_session.len()]
    }

    fn takes_part(&self, session: usize) -> bool {
        self.sessions.is_empty() || self.sessions.contains(&(session + 1))
    }

    /// Hand rolls in a session (counted from 0).
    pub fn hand_rolls(&self, truth: &Truth, session: usize) -> usize {
        let rolls = &truth.hand_rolls;
        let held = rolls.sessions.is_empty() || rolls.sessions.contains(&(session + 1));
        if held && self.takes_part(session) {
            rolls.runs_per_session
        } else {
            0
        }
    }

    /// Overshoot in a session (counted from 0), at the reference lead.
    pub fn overshoot_m(&self, truth: &Truth, session: usize) -> f64 {
        let changed = latest(truth.builds.iter(), session, |build| build.from_session)
            .and_then(|build| build.overshoot_m)
            .map_or(0.0, |overshoot_m| overshoot_m - truth.travel.overshoot_m);
        self.travel.overshoot_m + changed
    }

    /// Straight bias and curvature in a session (counted from 0).
    pub fn heading_at(&self, truth: &Truth, session: usize) -> (f64, f64) {
        let (mut straight_rad, mut curvature_per_m) =
            (self.heading.straight_rad, self.heading.curvature_per_m);
        if let Some(trim) = latest(truth.trims.iter(), session, |trim| trim.from_session) {
            straight_rad += trim
                .straight_rad
                .map_or(0.0, |now| now - truth.heading.straight_rad);
            curvature_per_m += trim
                .curvature_per_m
                .map_or(0.0, |now| now - truth.heading.curvature_per_m);
        }
        (straight_rad, curvature_per_m)
    }
}

/// The entry in force in a session (counted from 0): the one that began last.
fn latest<'a, T: 'a>(
    entries: impl Iterator<Item = &'a T>,
    session: usize,
    from_session: fn(&T) -> usize,
) -> Option<&'a T> {
    entries
        .filter(|entry| from_session(entry) <= session + 1)
        .max_by_key(|entry| from_session(entry))
}

impl Truth {
    /// The day of a session (counted from 0), where the log has dates.
    pub fn date(&self, session: usize) -> Option<Date> {
        let plan = &self.season;
        if !plan.dates.is_empty() {
            return plan.dates.get(session).copied();
        }
        let days = plan
            .days_between
            .checked_mul(i64::try_from(session).ok()?)?;
        plan.first_date?
            .checked_add(Span::new().try_days(days).ok()?)
            .ok()
    }

    /// The label of a session (counted from 0).
    pub fn session_label(&self, session: usize) -> String {
        match self.season.session_labels.get(session) {
            Some(label) => label.clone(),
            None => (session + 1).to_string(),
        }
    }

    /// The build in force in a session (counted from 0).
    pub fn build_label(&self, session: usize) -> &str {
        latest(self.builds.iter(), session, |build| build.from_session)
            .map_or(&self.build, |build| &build.build)
    }

    /// The trim in force in a session (counted from 0).
    pub fn trim_label(&self, session: usize) -> &str {
        latest(self.trims.iter(), session, |trim| trim.from_session)
            .map_or(&self.trim, |trim| &trim.trim)
    }

    /// Rows of a session (counted from 0), hand rolls and launches of all rigs.
    pub fn rows_in_session(&self, session: usize) -> usize {
        resolved_rigs(self)
            .iter()
            .map(|rig| rig.launches(session) + rig.hand_rolls(self, session))
            .sum()
    }
}
