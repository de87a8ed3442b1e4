//! How much of what is said is a guess made beforehand, where the log is short.

use super::figures::parts::small_cm;
use super::words;
use crate::calibration::TurnPriorSource;
use crate::decide::RigSettings;

/// Smallest share of a prior in an estimate that a page mentions.
const PRIOR_TOLD: f64 = 0.10;

/// Notes on priors for the head of a rig's page.
pub(super) fn notes(rig: &RigSettings) -> Vec<String> {
    let known = rig.situation.rig;
    let mut out = Vec::new();
    if known.travel.prior_share >= PRIOR_TOLD
        && let Some(prior) = &known.travel.turn_prior
    {
        out.push(match is_all(known.travel.prior_share) {
            true => format!(
                "How far a turn carries comes from {} alone: the runs were made with nearly the same turns. Runs at short and at long targets would tell.",
                measured_by(prior.source)
            ),
            false => format!(
                "The log is short: {} of what is said about distance per turn comes from {}, not from launches.",
                words::share(known.travel.prior_share),
                measured_by(prior.source)
            ),
        });
    }
    if let Some(trim) = rig.situation.trim().filter(|t| t.prior_share >= PRIOR_TOLD) {
        out.push(format!(
            "{} of what is said about the bend of the path is a guess from the set-up ([prior] curve_cm_per_m2), not data: runs at short and at long targets would replace it.",
            words::share(trim.prior_share)
        ));
    }
    out
}

/// Whether a share is all, as it would be said.
fn is_all(share: f64) -> bool {
    share >= 0.995
}

/// What a prior on distance per turn was measured by.
fn measured_by(source: TurnPriorSource) -> &'static str {
    match source {
        TurnPriorSource::WheelDiameter => "the wheel measured for the set-up",
        TurnPriorSource::HandRolls => "the hand rolls",
    }
}

/// Note on the prior for a figure about distance; empty where the guess hardly matters.
pub(super) fn in_travel(rig: &RigSettings) -> String {
    let known = rig.situation.rig;
    let share = known.travel.prior_share;
    let Some(prior) = known
        .travel
        .turn_prior
        .as_ref()
        .filter(|_| share >= PRIOR_TOLD)
    else {
        return String::new();
    };
    if is_all(share) {
        return format!(
            " How far a turn carries comes from {} alone: the runs were made with nearly the same turns.",
            measured_by(prior.source)
        );
    }
    format!(
        " The log is short: {} of the distance per turn here comes from {}, the rest from launches.",
        words::share(share),
        measured_by(prior.source)
    )
}

/// Note on the prior for a figure about the bend of the path; empty where the guess hardly matters.
pub(super) fn in_bend(rig: &RigSettings) -> String {
    match rig.situation.trim().map(|t| t.prior_share) {
        Some(share) if share >= PRIOR_TOLD => format!(
            " The log is short: {} of the bend here is a guess made beforehand, {} is data.",
            words::share(share),
            words::share(1.0 - share)
        ),
        _ => String::new(),
    }
}

/// Note on the prior for a figure about the difference between days; empty where there were enough of them.
pub(super) fn in_days(rig: &RigSettings) -> &'static str {
    match rig.situation.rig.counts.sessions {
        1 => {
            " There was one session: how much days differ is a guess made beforehand, none of it data."
        }
        2 | 3 => {
            " There were few sessions: how much days differ is partly a guess made beforehand, so its range is wide."
        }
        _ => "",
    }
}

/// What is reckoned with where no difference between days was seen, for a figure that shows it; empty where one was seen, and
/// where a single day cannot show one.
pub(super) fn unseen_between_days(rig: &RigSettings) -> String {
    let known = rig.situation.rig;
    if known.counts.sessions < 2 {
        return String::new();
    }
    let said = |way: &str, up_to: String, carried_m: f64| {
        format!(
            " No difference between days was seen {way}, but up to {up_to} may be there: predictions reckon with {}.",
            small_cm(carried_m)
        )
    };
    let (along, across) = &rig.parts;
    let day = known.travel.between_sessions_m;
    let mut out = String::new();
    if day.estimate == 0.0 {
        out += &said("along", small_cm(day.high), along.between_sessions_m);
    }
    if let (Some(heading), Some(across)) = (&known.heading, across)
        && heading.between_sessions_rad.estimate == 0.0
    {
        let up_to = small_cm(heading.between_sessions_rad.high) + " in each metre";
        out += &said("across", up_to, across.between_sessions_m);
    }
    out
}
