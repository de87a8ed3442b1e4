//! What a plan comes to, in sentences: for the terminal and the page alike.

use super::{event_words, words};
use crate::decide::plan::{AtEvent, MissParts, Plan, Question, REACH_SESSIONS};
use crate::decide::{Situation, next_session};

/// A lead's recoil chance is an open question when its upper end is this many times what the set-up accepts.
const OPEN_FROM: f64 = 2.0;
/// With fewer degrees of freedom the run-to-run spread may be three quarters larger or a third smaller (95 % limits
/// from chi-squared), and the limit of a plan is not the vehicle's.
const SPREAD_KNOWN_FROM: f64 = 10.0;

/// What counts, the answer for it, then the first run of a new day and what to do, in a few sentences.
pub fn advice(situation: &Situation, plan: &Plan) -> Vec<String> {
    let few = situation.known_travel().posterior.nu() < SPREAD_KNOWN_FROM;
    let rule = plan.at_event.rule;
    let mut out = vec![format!(
        "{} {}",
        event_words::what_counts(rule),
        at_event(&plan.question, &plan.at_event, few)
    )];
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

/// Whether what counts at the event gets there, and what it takes.
///
/// * `few` — whether so few runs are known that the run-to-run spread is hardly told
fn at_event(question: &Question, event: &AtEvent, few: bool) -> String {
    let what = event_words::counted(event.rule);
    let within = words::cm_unit(question.within_m);
    let goal = format!("within {within} {}", times(question.chance));
    let (now, limit) = (words::chance(event.chance), words::chance(event.limit));
    match event.reach {
        Some((0, _)) => format!("You are there: {what} is {goal} or better ({now} now)."),
        Some((sessions, runs)) => format!(
            "{} of {} more would get {what} {goal} ({now} now, at best {limit}).",
            words::count(sessions as usize, "session", "sessions"),
            words::count(runs as usize, "run", "runs"),
        ),
        None if few => format!(
            "So few runs hardly tell how much this vehicle differs from run to run, so it cannot be told yet what would get {what} {goal} (now, allowing for the worst: {now}). Make a session or two, fit again and ask again."
        ),
        None if event.limit < question.chance => format!(
            "None of these will get you there: however many runs you make, with this vehicle as it is {what} is within {within} {limit} at best ({now} now), not {}.",
            times(question.chance)
        ),
        None => format!(
            "Even {REACH_SESSIONS} more sessions would not quite get {what} {goal}: you are nearly at the limit of {limit} already ({now} now)."
        ),
    }
}

/// How the first run of a new day comes out by itself, where more than one run counts.
fn first_run(plan: &Plan, few: bool) -> String {
    let often = times(plan.question.chance);
    let more = match plan.reach {
        Some((0, _)) => String::new(),
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
        words::cm_unit(plan.question.within_m),
        words::chance(plan.now.chance),
        words::chance(plan.limit.chance)
    )
}

/// How many practice runs on the day would do, where none are needed before the day but one run counts.
fn practice_on_the_day(plan: &Plan) -> Option<String> {
    let (runs, chance) = (plan.event_day.iter().enumerate().skip(1))
        .find(|(_, c)| **c >= plan.question.chance)
        .filter(|_| plan.now.chance < plan.question.chance)?;
    Some(format!(
        "On the day itself, {} made and corrected for before the one that counts would do it: {}.",
        words::count(runs, "practice run", "practice runs"),
        words::chance(*chance)
    ))
}

/// `9 times in 10`.
pub fn times(chance: f64) -> String {
    words::level(chance).replacen(" of ", " times in ", 1)
}

/// Which cure the parts ask for.
pub(super) fn cure(parts: &MissParts) -> String {
    let MissParts {
        run_to_run_m: run,
        between_sessions_m: day,
        calibration_m: line,
        steps_m: step,
    } = *parts;
    let all = (run * run + day * day + line * line + step * step).sqrt();
    let size = |m: f64| super::figures::parts::small_cm(m);
    let largest = run.max(day).max(line).max(step);
    let first = if largest == run {
        format!(
            "The largest part of a first run’s miss is from one run to the next ({}): only building can make it smaller (string, launcher, axles, brake, how the dial is set)",
            size(run)
        )
    } else if largest == day {
        format!(
            "The largest part of a first run’s miss is from one day to the next ({}): practise on other days and floors, find out what changes between them, and correct after the first run of the day",
            size(day)
        )
    } else if largest == line {
        format!(
            "The largest part of a first run’s miss is what is not yet known of the vehicle ({}): make more runs",
            size(line)
        )
    } else {
        format!(
            "The largest part of a first run’s miss is the coarseness of dial and aim mark ({}): make them finer",
            size(step)
        )
    };
    let more = if largest == line {
        format!("; from one run to the next it is {}.", size(run))
    } else {
        // Parts add in squares: a part of 4 cm beside one of 9 is 1 cm of the miss.
        let without_line = (all * all - line * line).max(0.0).sqrt();
        format!(
            "; more runs would make a first run’s typical miss of {} at most {} smaller.",
            size(all),
            size(all - without_line)
        )
    };
    first + &more
}

/// At which leads to make the new runs, where recoil is the open question.
pub(super) fn lead(situation: &Situation) -> Option<String> {
    let recoil = &situation.build().recoil;
    let accept = situation.setup.brake.recoil_accept;
    let used = situation.lead_turns?;
    if recoil.watched == 0 {
        return Some(format!(
            "Nobody has written down yet whether it rolls back: watch for it in the new runs, at a lead of {} and half a turn less.",
            words::lead(used)
        ));
    }
    let at = recoil.by_lead.iter().find(|l| l.lead_turns == used)?;
    if let Some(less) = next_session::lead_to_try(situation) {
        return Some(format!(
            "The lead in use, {}, rolls back too often ({}): make every second of the new runs with a lead of {}, as `haltmark sheet` prints them, and see whether that stops it.",
            words::lead(used),
            words::chance(recoil.chance(used)?),
            words::lead(less)
        ));
    }
    if at.chance.high <= OPEN_FROM * accept {
        return None;
    }
    let less = recoil.by_lead.iter().rev().find(|l| l.lead_turns < used);
    let second = less.map_or_else(
        || {
            format!(
                "half of them at half a turn less than {}",
                words::lead(used)
            )
        },
        |l| {
            format!(
                "half of them at {}, half at {}",
                words::lead(l.lead_turns),
                words::lead(used)
            )
        },
    );
    Some(format!(
        "Whether it rolls back at a lead of {} is still open (up to {} with what was seen): watch for it, and make {second}.",
        words::lead(used),
        words::chance(at.chance.high)
    ))
}

/// At which targets to make the runs of a session; equal targets stand together in `targets_m`.
pub fn where_to_run(targets_m: &[f64]) -> String {
    format!(
        "For the next session: {}, in mixed order; `haltmark sheet` prints a log sheet with such targets.",
        runs_at(targets_m)
    )
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
        let said = where_to_run(&[6.0, 6.0, 8.125, 10.0]);
        assert!(
            said.contains("2 runs at 6.00 m, 1 run at 8.125 m, 1 run at 10.00 m"),
            "{said}"
        );
    }
}
