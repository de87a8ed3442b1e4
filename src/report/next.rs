//! What to do next, in sentences: which part of the miss to work on, which lead to watch, what to ask the program.

use super::plan_words;
use super::{RigSettings, words};
use crate::calibration::Calibration;
use crate::decide::dial::plain_setting;
use crate::decide::parts::{self, Parts};
use crate::decide::plan::MissParts;
use crate::error::Error;

/// Advice for a rig, the most useful first.
///
/// # Errors
/// As [`middle_parts`].
pub(super) fn advice(calibration: &Calibration, rig: &RigSettings) -> Result<Vec<String>, Error> {
    let situation = &rig.situation;
    let (along, across) = middle_parts(calibration, rig)?;
    let p = along.and_across(across);
    let mut out = vec![plan_words::cure(&MissParts {
        run_to_run_m: p.run_to_run_m,
        between_sessions_m: p.between_sessions_m,
        calibration_m: p.calibration_m,
        steps_m: p.step_m,
    })];
    if situation.rig.counts.sessions == 1 {
        out.push("All runs are from one session: two or three runs on another day say more than twenty on this one.".to_string());
    }
    out.extend(plan_words::lead(situation));
    let of = if !rig.alone {
        format!(" with --rig {}", words::label(&situation.rig.name))
    } else {
        String::new()
    };
    out.push(format!(
        "How many more runs and days would bring how much: ask haltmark plan{of}."
    ));
    Ok(out)
}

/// The parts of the miss at the middle target, along and, where it is known, across.
///
/// # Errors
/// As [`plain_setting`].
pub(super) fn middle_parts(
    calibration: &Calibration,
    rig: &RigSettings,
) -> Result<(Parts, Option<Parts>), Error> {
    let [_, middle_m, _] = calibration.range()?.three_m();
    let (turns, _) = plain_setting(&rig.situation, middle_m)?;
    Ok((
        parts::along(&rig.situation, turns),
        parts::across(&rig.situation, middle_m),
    ))
}

/// What of a figure about distance is not data, when the log is short; empty when it hardly matters.
pub(super) fn prior_in_travel(rig: &RigSettings) -> String {
    let known = rig.situation.rig;
    let share = known.travel.prior_share;
    if share < super::view::PRIOR_TOLD {
        return String::new();
    }
    format!(
        " The log is short: {} of the distance per turn here is a guess made beforehand, {} is data.",
        super::view::percent(share),
        super::view::percent(1.0 - share)
    )
}

/// The same for a figure about the bend of the path.
pub(super) fn prior_in_bend(rig: &RigSettings) -> String {
    match rig.situation.trim().map(|t| t.prior_share) {
        Some(share) if share >= super::view::PRIOR_TOLD => format!(
            " The log is short: {} of the bend here is a guess made beforehand, {} is data.",
            super::view::percent(share),
            super::view::percent(1.0 - share)
        ),
        _ => String::new(),
    }
}

/// The same for a figure about the difference between days.
pub(super) fn prior_in_days(rig: &RigSettings) -> &'static str {
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
