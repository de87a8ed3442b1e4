//! What a review comes to, in sentences: for the terminal and the page alike.

use super::words;
use crate::calibration::InsideCount;
use crate::decide::review::{Review, ReviewedRun, Verdict};
use crate::log;

/// More lines than this are counted, not named.
const LISTED: usize = 6;

/// What was set aside, the verdict, what it rests on, and what to do.
pub fn advice(review: &Review) -> Vec<String> {
    let mut out = set_aside(review);
    out.push(verdict(review));
    out.extend(with_all(review));
    out.extend(own_runs(review));
    out.push(counted(review));
    out.extend(rolled_back(review));
    if let Some(shift) = review.shift_long_m {
        out.push(format!(
            "On average it came {} the calibration expected; days differ, so anything from {} to {} would have been ordinary.",
            words::sided(shift.by.estimate, "farther than", "less far than", "as far as"),
            words::long_or_short(shift.by.estimate - shift.by.high),
            words::long_or_short(shift.by.estimate - shift.by.low),
        ));
    }
    if let Some(ratio) = review.spread_ratio {
        out.push(format!(
            "From one run to the next it differed {} times as much as in the season ({} to {}).",
            words::figures((100.0 * ratio.estimate).round() / 100.0),
            words::figures((100.0 * ratio.low).round() / 100.0),
            words::figures((100.0 * ratio.high).round() / 100.0),
        ));
    }
    if review.sessions.len() > 1 {
        out.push(format!(
            "{} sessions are pooled here: each is allowed a shift of its own, and runs are compared within their session.",
            review.sessions.len()
        ));
    }
    if !review.all_are_known() {
        out.push(next(review.verdict).to_string());
    }
    out
}

/// Each run that was set aside, and what to do about it.
fn set_aside(review: &Review) -> Vec<String> {
    let named = review.set_aside.iter().map(|run| {
        format!(
            "Set aside: {}, {}, {}. Read the sheet again: a slip of tape, dial or pencil is likely.",
            words::label(&run.log),
            run.row(),
            run.why
        )
    });
    named.collect()
}

/// The verdict with the runs that were set aside, where there are any.
fn with_all(review: &Review) -> Option<String> {
    let what = match review.verdict_with_all {
        Verdict::Holds => "it holds as well",
        Verdict::Shifted => "it has shifted",
        Verdict::Wider => "the vehicle has become wider",
        Verdict::ShiftedAndWider => "it has shifted and the vehicle become wider",
        Verdict::TooFew => "they are still too few",
    };
    let count = words::count(review.set_aside.len(), "run", "runs");
    (!review.set_aside.is_empty())
        .then(|| format!("With what was set aside ({count}) the answer would be: {what}."))
}

/// That the calibration was made from some of the runs.
fn own_runs(review: &Review) -> Option<String> {
    let all = review.counted();
    match review.known {
        0 => None,
        _ if review.all_are_known() => Some(
            "These are the calibration's own runs: it has seen them, so that it fits them says very little. Ask about runs made since."
                .to_string(),
        ),
        known => Some(format!(
            "{known} of these {all} runs are the calibration's own (the same setting and the same place of rest): what it has seen cannot test it."
        )),
    }
}

/// The verdict in one sentence.
fn verdict(review: &Review) -> String {
    let where_to = || {
        let along = review
            .shift_long_m
            .map(|s| words::long_or_short(s.by.estimate));
        let across = review.shift_right_rad.map(|s| {
            format!(
                "{} for each metre",
                words::sided(s.by.estimate, "to the right", "to the left", "straight on")
            )
        });
        [along, across]
            .into_iter()
            .flatten()
            .collect::<Vec<_>>()
            .join(", ")
    };
    match review.verdict {
        Verdict::Holds => "The calibration holds: these runs look like the season's.".to_string(),
        Verdict::Shifted => format!(
            "The calibration has shifted: these runs lie farther off than days of the season did ({}).",
            where_to()
        ),
        Verdict::Wider => {
            "The vehicle has become wider: runs differ from each other more than they did in the season.".to_string()
        }
        Verdict::ShiftedAndWider => format!(
            "The calibration has shifted and the vehicle become wider: these runs lie farther off than days of the season did ({}), and differ more from each other.",
            where_to()
        ),
        Verdict::TooFew => {
            "Too few runs to tell: three at least are needed before the calibration can be judged.".to_string()
        }
    }
}

fn counted(review: &Review) -> String {
    let part =
        |what: &str, inside: InsideCount| format!("{} of {} {what}", inside.inside, inside.of);
    let mut parts = Vec::new();
    for (what, inside) in [
        ("along", review.inside_long),
        ("across", review.inside_right),
        ("in the miss", review.inside_miss),
    ] {
        if inside.of > 0 {
            parts.push(part(what, inside));
        }
    }
    format!(
        "Inside what was promised for the settings used: {}; about {} of {} were to be expected.",
        parts.join(", "),
        words::figures((10.0 * review.expected()).round() / 10.0),
        review.counted()
    )
}

/// Which of the judged runs rolled back, what is taken of them, and that they may be why runs differ.
fn rolled_back(review: &Review) -> Vec<String> {
    let all = || review.runs.iter().filter(|run| run.rolled_back);
    let at_rest: Vec<&ReviewedRun> = all().filter(|run| run.long_m.is_some()).collect();
    let direction: Vec<&ReviewedRun> = all().filter(|run| run.long_m.is_none()).collect();
    let is_wider = matches!(review.verdict, Verdict::Wider | Verdict::ShiftedAndWider);
    let mut out = Vec::new();
    if !at_rest.is_empty() {
        out.push(format!(
            "What rolled back counts where it came to rest: {}.{}",
            rows(&at_rest),
            match is_wider {
                true => " That by itself can make runs differ more: look at the brake first, and whether less lead stops it.",
                false => "",
            }
        ));
    }
    if !direction.is_empty() {
        out.push(format!(
            "What rolled back at more lead than is used counts for its direction only: {}.",
            rows(&direction)
        ));
    }
    out
}

/// The rows of runs: `line 4`, `lines 4 and 6`; of many how many.
fn rows(runs: &[&ReviewedRun]) -> String {
    let lines: Vec<usize> = runs.iter().map(|run| run.line).collect();
    match lines.as_slice() {
        [line] => format!("{} {line}", log::row_word(&runs[0].log)),
        lines if lines.len() <= LISTED => {
            format!("{}s {}", log::row_word(&runs[0].log), words::list(lines))
        }
        lines => words::count(lines.len(), "run", "runs"),
    }
}

/// What to do.
fn next(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Holds => {
            "Keep using it, and add these runs to the log: every session makes the next forecast better."
        }
        Verdict::Shifted => {
            "Look for what has changed (dial zero, string, mass, wheels, floor). If you know it, write a new build or trim and fit again with these runs; if not, fit again with these runs as one more session."
        }
        Verdict::Wider => {
            "Look for what has become loose or worn (axle, string, launcher, brake line) and mend it before you fit again; a wider vehicle needs a wider forecast, so fit again with these runs."
        }
        Verdict::ShiftedAndWider => {
            "Something has changed: look for it and mend it, write a new build or trim from there on, and make a session of practice before you trust any setting."
        }
        Verdict::TooFew => "Make more runs, or add those of another day, and ask again.",
    }
}
