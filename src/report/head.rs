//! The head of a rig's report: what its settings are good for, the weakest part and its cure, the next session worth making.

use super::{event_words, plan_words, words};
use crate::calibration::LeftOutAt;
use crate::decide::RigSettings;
use crate::decide::plan::MissParts;

/// With fewer runs, or a single day, settings are a first guess and are called that.
const GUESS_BELOW: usize = 8;
/// What is not known of the vehicle is worth a session when more runs could take this part off a typical miss.
const WORTH: f64 = 0.05;

/// Three lines, in the reader's order.
pub(super) fn lines(rig: &RigSettings) -> [String; 3] {
    [
        good_for(rig),
        plan_words::cure(&parts(rig)),
        next_session(rig),
    ]
}

fn parts(rig: &RigSettings) -> MissParts {
    let (along, across) = rig.parts;
    let all = along.and_across(across);
    MissParts {
        run_to_run_m: all.run_to_run_m,
        between_sessions_m: all.between_sessions_m,
        calibration_m: all.calibration_m,
        steps_m: all.step_m,
    }
}

/// What the settings are good for, at the middle target and at the event; and how often the log foretold itself.
fn good_for(rig: &RigSettings) -> String {
    let known = rig.situation.rig;
    let rule = rig.situation.setup.event.rule();
    let middle = &rig.three[rig.middle].0;
    let counts = known.counts;
    let mut out = String::new();
    if counts.fitted < GUESS_BELOW || counts.sessions == 1 {
        let runs = words::count(counts.fitted, "run", "runs");
        let days = words::count(counts.sessions, "day", "days");
        out += &format!("A first guess, from {runs} of {days}: ");
    }
    let near = match middle.miss_m {
        Some(miss) => format!(
            "at {} m the first run of a new day stops within {} {}",
            words::metres(middle.target_m),
            words::whole_cm_unit(miss.high),
            plan_words::times(rig.level)
        ),
        None => format!(
            "at {} m the first run of a new day stops between {} and {}, {}",
            words::metres(middle.target_m),
            words::long_or_short(middle.long_m.low),
            words::long_or_short(middle.long_m.high),
            plan_words::times(rig.level)
        ),
    };
    out += &near;
    if let Some(within_m) = rig.at_event_m {
        out += &format!(
            "; {} is within {} {}",
            event_words::counted(rule),
            words::whole_cm_unit(within_m),
            plan_words::times(RigSettings::OFTEN)
        );
    }
    out += &foretold(&known.left_out.at);
    words::capital(&(out + "."))
}

/// How many runs kept to what the other days promised, at the highest level.
fn foretold(at: &[LeftOutAt]) -> String {
    let Some(highest) = at.last() else {
        return String::new();
    };
    let count = if highest.miss.of > 0 {
        highest.miss
    } else {
        highest.long
    };
    match count.of {
        0 => String::new(),
        of => format!(
            "; each day foretold by the others, {} of {of} runs kept to that",
            count.inside
        ),
    }
}

/// Where the next session's runs teach most, or that they would hardly help.
fn next_session(rig: &RigSettings) -> String {
    let parts = parts(rig);
    let squares = [parts.run_to_run_m, parts.between_sessions_m, parts.steps_m].map(|p| p * p);
    let without: f64 = squares.iter().sum::<f64>();
    let all = without + parts.calibration_m.powi(2);
    let gain = 1.0 - (without / all).sqrt();
    let counts = rig.situation.rig.counts;
    if gain < WORTH && counts.sessions > 2 {
        return "More runs would hardly change these settings: what is left is the vehicle and the days themselves. Practise correcting on the day.".to_string();
    }
    let days = match counts.sessions {
        1 => " on another day, best on another floor",
        _ => " on a new day",
    };
    let targets = match &rig.next_targets_m[..] {
        [] => String::new(),
        targets_m => format!(": {}", plan_words::runs_at(targets_m)),
    };
    format!("The next session worth making{days}{targets}.")
}
