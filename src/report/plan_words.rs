//! What a plan comes to, in sentences: for the terminal and the page alike.

use super::{event_words, words};
use crate::decide::Situation;
use crate::decide::plan::{
    AtEvent, Gain, MissParts, OFTEN, POINT, Plan, PlanRow, Question, REACH_SESSIONS, USUAL_RUNS,
    is_as_good_as,
};
use crate::decide::practice::{self, LeadQuestion, OtherLead, Practice, PracticeRun};
use crate::units;

/// With fewer degrees of freedom the run-to-run spread may be three quarters larger or a third smaller (95 % limits
/// from chi-squared), and the limit of a plan is not the vehicle's.
const SPREAD_KNOWN_FROM: f64 = 10.0;

/// What more runs are for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SessionPurpose {
    /// To get nearer to the target.
    Nearer,
    /// To see what the lead does: nearer they hardly bring.
    Lead,
    /// Nothing that is asked.
    Nothing,
}

/// What the runs of a plan are for.
pub fn purpose(situation: &Situation, plan: &Plan) -> SessionPurpose {
    let event = &plan.at_event;
    // Of so few runs more tell how good the vehicle is.
    let untold = few(situation) && event.reach.is_none();
    if untold || is_calibration_largest(&plan.parts) || plan.is_worth_a_day() {
        SessionPurpose::Nearer
    } else if plan.practice.other_lead.is_some() {
        SessionPurpose::Lead
    } else {
        SessionPurpose::Nothing
    }
}

/// Whether so few runs are known that the run-to-run spread is hardly told.
fn few(situation: &Situation) -> bool {
    situation.known_travel().posterior.nu() < SPREAD_KNOWN_FROM
}

/// What counts, the answer for it, then the first run of a new day and what to do, in a few sentences.
pub fn advice(situation: &Situation, plan: &Plan) -> Vec<String> {
    let few = few(situation);
    let rule = plan.at_event.rule;
    let what_counts = event_words::what_counts(rule);
    let at_event = at_event(&plan.question, &plan.at_event, few);
    let mut out = match plan.gain() {
        Some(asked) => vec![format!("{what_counts} {}", gain(&asked)), at_event],
        None => vec![format!("{what_counts} {at_event}")],
    };
    if rule.runs > 1 {
        out.push(first_run(plan, few));
    }
    out.push(cure(&plan.parts));
    if rule.runs == 1 {
        out.extend(practice_on_the_day(plan));
    }
    out.extend(lead(situation));
    out
}

/// What sessions to come gain: "These 2 sessions of 10 runs would raise the chance that the better of 2 runs is within 20 cm
/// from 84 in 100 to 88 in 100."
pub fn gain(gain: &Gain) -> String {
    let runs = words::count(gain.runs_per_session as usize, "run", "runs");
    let (these, of) = match gain.sessions {
        1 => ("This session".to_string(), runs),
        n => (format!("These {n} sessions"), format!("{runs} each")),
    };
    let usual = match gain.is_usual {
        true => format!(" (which it keeps about {} now)", times(OFTEN)),
        false => String::new(),
    };
    let chance = format!(
        "the chance that {} is within {}{usual}",
        event_words::counted(gain.rule),
        asked_cm_unit(gain.within_m)
    );
    let (now, then) = (words::chance(gain.now), words::chance(gain.then));
    if gain.then - gain.now < POINT {
        return format!("{these} of {of} would hardly raise {chance}: {now} now, {then} then.");
    }
    format!("{these} of {of} would raise {chance} from {now} to {then}.")
}

/// Whether what counts at the event gets there, and what it takes.
///
/// * `few` — whether so few runs are known that the run-to-run spread is hardly told
fn at_event(question: &Question, event: &AtEvent, few: bool) -> String {
    let what = event_words::counted(event.rule);
    let within = asked_cm_unit(question.within_m);
    let goal = format!("within {within} {}", times(question.chance));
    let (now, limit) = (words::chance(event.chance), words::chance(event.limit));
    match event.reach {
        Some((0, _)) => format!("You are there: {what} is {goal} or better ({now} now)."),
        _ if event.is_there => format!(
            "You are there, as near as such a chance is known: {what} is {goal} ({now} now, at best {limit})."
        ),
        Some((sessions, runs)) => format!(
            "{} of {} more would get {what} {goal} ({now} now, at best {limit}){}",
            words::count(sessions as usize, "session", "sessions"),
            words::count(runs as usize, "run", "runs"),
            worth(event),
        ),
        None if few => format!(
            "So few runs hardly tell how much this vehicle differs from run to run, so it cannot be told yet what would get {what} {goal} (now, with all that the log leaves open: {now}). Make a session or two, fit again and ask again."
        ),
        None if event.limit < question.chance => format!(
            "None of these will get you there: however many runs you make, with this vehicle as it is {what} is within {within} {limit} at best ({now} now), not {}. Building better, not more runs, is the cure. {}",
            times(question.chance),
            worthwhile(event)
        ),
        None => format!(
            "Even {REACH_SESSIONS} more sessions would not quite get {what} {goal}: you are nearly at the limit of {limit} already ({now} now)."
        ),
    }
}

/// The end of the sentence on what is enough: whether it is worth its days, and what is.
fn worth(event: &AtEvent) -> String {
    let Some(enough) = event.enough.filter(|o| !o.is_worth_its_days(event.chance)) else {
        return ".".to_string();
    };
    let gain = match enough.event_chance - event.chance {
        small if small < POINT => "less than 1 in 100".to_string(),
        some => words::chance(some),
    };
    let days = match enough.sessions {
        1 => "a day".to_string(),
        n => format!("{n} days"),
    };
    format!(
        ". For {gain} more that is not worth {days}. {}",
        worthwhile(event)
    )
}

/// How many days still gain something each.
fn worthwhile(event: &AtEvent) -> String {
    event.worthwhile.map_or_else(
        || {
            format!("No day of {USUAL_RUNS} runs gains 1 in 100: what is left is the vehicle and the days themselves.")
        },
        |o| {
            format!(
                "{} of {} would bring {}; each day after that gains less than 1 in 100.",
                words::capital(&words::count(o.sessions as usize, "session", "sessions")),
                words::count(o.runs_per_session as usize, "run", "runs"),
                words::chance(o.event_chance)
            )
        },
    )
}

/// How the first run of a new day comes out by itself, where more than one run counts.
fn first_run(plan: &Plan, few: bool) -> String {
    let often = times(plan.question.chance);
    let more = match plan.reach {
        _ if is_as_good_as(plan.now.chance, plan.question.chance) => String::new(),
        Some((sessions, runs)) => format!(
            "; {} of {} more would bring that to {often}",
            words::count(sessions as usize, "session", "sessions"),
            words::count(runs as usize, "run", "runs"),
        ),
        None if few => String::new(),
        None => format!("; no number of runs would bring that to {often}"),
    };
    format!(
        "The first run of a new day alone stops within {} {} now, {} at best{more}.",
        asked_cm_unit(plan.question.within_m),
        words::chance(plan.now.chance),
        words::chance(plan.limit.chance)
    )
}

/// A distance that was asked for, as it was: `12.5 cm`, `0.1 cm`.
pub fn asked_cm_unit(distance_m: f64) -> String {
    let cm = 100.0 * distance_m;
    match cm < 0.1 {
        true => format!("{} cm", words::figures(cm)),
        false => format!("{} cm", units::at_most_decimals(cm, 2)),
    }
}

/// How many practice runs on the day would do, where none are needed before the day but one run counts.
fn practice_on_the_day(plan: &Plan) -> Option<String> {
    let (runs, chance) = (plan.event_day.iter().enumerate().skip(1))
        .find(|(_, c)| **c >= plan.question.chance)
        .filter(|_| !is_as_good_as(plan.now.chance, plan.question.chance))?;
    Some(format!(
        "On the day itself, {} made and corrected for before the one that counts would do it: {}.",
        words::count(runs, "practice run", "practice runs"),
        words::chance(*chance)
    ))
}

/// `9 times in 10`.
pub fn times(chance: f64) -> String {
    match words::level(chance) {
        once if once.starts_with("1 ") => once.replacen(" of ", " time in ", 1),
        often => often.replacen(" of ", " times in ", 1),
    }
}

/// Whether what is not known of the calibration is the largest part: the one that more runs make smaller.
fn is_calibration_largest(parts: &MissParts) -> bool {
    let line = parts.calibration_m;
    line > parts.run_to_run_m && line > parts.between_sessions_m && line >= parts.steps_m
}

/// Which cure the parts ask for.
pub(super) fn cure(parts: &MissParts) -> String {
    let MissParts {
        across,
        run_to_run_m: run,
        between_sessions_m: day,
        calibration_m: line,
        steps_m: step,
    } = *parts;
    let all = (run * run + day * day + line * line + step * step).sqrt();
    let size = |m: f64| super::figures::parts::small_cm(m);
    // Along alone it is another number, which stands on the same page.
    let both = if across {
        ", along and across together"
    } else {
        ""
    };
    let largest = run.max(day).max(line).max(step);
    let first = if largest == run {
        format!(
            "The largest part of a first run’s miss is from one run to the next ({}{both}): only building can make it smaller (string, launcher, axles, brake, how the dial is set)",
            size(run)
        )
    } else if largest == day {
        format!(
            "The largest part of a first run’s miss is from one day to the next ({}{both}): practise on other days and floors, find out what changes between them, and correct after the first run of the day",
            size(day)
        )
    } else if is_calibration_largest(parts) {
        format!(
            "The largest part of a first run’s miss is what is not yet known of the vehicle ({}{both}): make more runs",
            size(line)
        )
    } else {
        format!(
            "The largest part of a first run’s miss is the coarseness of dial and aim mark ({}{both}): make them finer",
            size(step)
        )
    };
    let more = if is_calibration_largest(parts) {
        format!("; from one run to the next it is {}.", size(run))
    } else {
        // Parts add in squares: a part of 4 cm beside one of 9 is 1 cm of the miss.
        let without_line = (all * all - line * line).max(0.0).sqrt();
        format!(
            "; all parts together are {}, and more runs would make that at most {} smaller.",
            size(all),
            size(all - without_line)
        )
    };
    first + &more
}

/// Why some of the new runs are made at another lead, where recoil is the open question.
pub(super) fn lead(situation: &Situation) -> Option<String> {
    let lead = practice::other_lead(situation)?;
    let other = words::lead(lead.other_turns);
    let what_to_do = match lead.question {
        LeadQuestion::TooOften { .. } => {
            format!("make every second run with a lead of {other}, and see whether that stops it.")
        }
        LeadQuestion::NeverWatched => {
            format!(
                "watch every run, and make some of them, fewer than half, with a lead of {other}."
            )
        }
        LeadQuestion::SomeSeen { .. } => format!(
            "watch every run, and make some of them, fewer than half, with a lead of {other}, which rolls back no more often."
        ),
        LeadQuestion::NoneSeen { .. } => format!(
            "watch every run, and make some of them, fewer than half, with a lead of {other}. A run at more lead that does not roll back speaks for less lead as well; one that does shows where it begins."
        ),
    };
    Some(format!("{}: {what_to_do}", what_is_open(&lead)))
}

/// What is not known of the lead in use, or wrong with it.
pub(super) fn what_is_open(lead: &OtherLead) -> String {
    let in_use = words::lead(lead.in_use_turns);
    match lead.question {
        LeadQuestion::TooOften { chance } => format!(
            "The lead in use, {in_use}, rolls back too often ({})",
            words::chance(chance)
        ),
        LeadQuestion::NeverWatched => format!(
            "Nobody has written down yet whether it rolls back at the lead in use, {in_use}"
        ),
        LeadQuestion::SomeSeen { at_most } | LeadQuestion::NoneSeen { at_most } => format!(
            "Whether it rolls back at the lead in use, {in_use}, is still open (up to {} with what was seen)",
            words::chance(at_most)
        ),
    }
}

/// At which targets and leads to make the runs of each session, sessions alike together.
pub fn where_to_run(practice: &Practice, purpose: SessionPurpose) -> Vec<String> {
    let sessions = &practice.sessions;
    let mut kinds: Vec<(&Vec<PracticeRun>, Vec<usize>)> = Vec::new();
    for (index, runs) in sessions.iter().enumerate() {
        match kinds.iter_mut().find(|(of, _)| *of == runs) {
            Some((_, numbers)) => numbers.push(index + 1),
            None => kinds.push((runs, vec![index + 1])),
        }
    }
    let one_kind = kinds.len() == 1;
    let mut out: Vec<String> = kinds
        .iter()
        .map(|(runs, numbers)| {
            let which = match (sessions.len(), one_kind, numbers.as_slice()) {
                (1, ..) => match purpose {
                    SessionPurpose::Nearer => "the next session".to_string(),
                    SessionPurpose::Lead => "a session on the lead".to_string(),
                    SessionPurpose::Nothing => "one more session, if you like".to_string(),
                },
                (n, true, _) => format!("each of the {n} sessions"),
                (_, _, [number]) => format!("session {number}"),
                (_, _, numbers) => format!("sessions {}", words::list(numbers)),
            };
            format!(
                "For {which}: {}, in mixed order.",
                runs_and_leads(runs, practice)
            )
        })
        .collect();
    let size = match (sessions.len(), sessions[0].len()) {
        (1, runs) if runs == USUAL_RUNS as usize => String::new(),
        (sessions, runs) => format!(" --sessions {sessions} --runs {runs}"),
    };
    if let Some(last) = out.last_mut() {
        *last += &format!(" `haltmark sheet{size}` prints a log sheet with them.");
    }
    out
}

/// "2 runs at 6.00 m (1 with a lead of 2 turns), 1 run at 8.00 m"; equal targets stand together.
fn runs_and_leads(runs: &[PracticeRun], practice: &Practice) -> String {
    let other = practice.other_lead.as_ref();
    let places: Vec<String> = runs
        .chunk_by(|a, b| a.target_m == b.target_m)
        .map(|same| {
            let targets_m: Vec<f64> = same.iter().map(|run| run.target_m).collect();
            let with_other = |lead: &OtherLead| {
                let at = |run: &&PracticeRun| run.lead_turns == Some(lead.other_turns);
                match same.iter().filter(at).count() {
                    0 => None,
                    n => Some(format!(
                        " ({n} with a lead of {})",
                        words::lead(lead.other_turns)
                    )),
                }
            };
            runs_at(&targets_m) + &other.and_then(with_other).unwrap_or_default()
        })
        .collect();
    places.join(", ")
}

/// How a row of the table of options is called, and marked.
pub fn row_name(row: &PlanRow) -> String {
    let option = &row.option;
    let name = format!(
        "{} of {} more",
        words::count(option.sessions as usize, "session", "sessions"),
        words::count(option.runs_per_session as usize, "run", "runs")
    );
    let marks: Vec<&str> = [
        (row.is_asked, "asked"),
        (row.is_enough, "enough"),
        (row.is_worthwhile, "worth its days"),
    ]
    .into_iter()
    .filter_map(|(is_so, mark)| is_so.then_some(mark))
    .collect();
    match marks.as_slice() {
        [] => name,
        marks => format!("{name}: {}", marks.join(", ")),
    }
}

/// "2 runs at 6.00 m, 1 run at 8.00 m"; equal targets stand together.
pub(super) fn runs_at(targets_m: &[f64]) -> String {
    let places: Vec<String> = targets_m
        .chunk_by(|a, b| a == b)
        .map(|same| {
            format!(
                "{} at {} m",
                words::count(same.len(), "run", "runs"),
                words::metres(same[0])
            )
        })
        .collect();
    places.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_targets_are_counted() {
        assert_eq!(
            runs_at(&[6.0, 6.0, 8.125, 10.0]),
            "2 runs at 6.00 m, 1 run at 8.125 m, 1 run at 10.00 m"
        );
    }
}
