//! Is the between-session variance estimable, and how often does a run go wrong?

use super::evidence::Evidence;
use super::worded::said;
use crate::calibration::known::Check;
use crate::log::run::Status;
use crate::stats::distributions::binomial_interval;

/// Whether the between-session variance is estimable: several sessions, several runs in some.
pub fn days_estimable(evidence: &Evidence) -> Check {
    let fit = evidence.travel;
    let sessions = fit.rows.group.labels();
    let name = "days can be told apart";
    if sessions.len() == 1 {
        return said(
            name,
            false,
            "All runs are from one day, so how far days differ is a guess: make runs on at least two more days.",
        );
    }
    if sessions.len() == fit.rows.group.len() {
        return said(
            name,
            false,
            "Every day has one run only, so days and runs cannot be told apart: make at least three runs on each day.",
        );
    }
    if fit.reml.tau == 0.0 {
        return said(
            name,
            true,
            "No difference between days was seen along; predictions reckon with one that may be there all the same.",
        );
    }
    said(
        name,
        true,
        "There are several days with several runs each, so the log can tell them apart.",
    )
}

/// Name of the report of runs that went wrong.
pub const WENT_WRONG: &str = "runs that went wrong";

/// How many launches were void, touched or rolled back.
pub fn went_wrong(evidence: &Evidence) -> Option<Check> {
    let launches = &evidence.runs.launches;
    let n = launches.len();
    let wrong = launches
        .iter()
        .filter(|l| l.run.status != Status::Ok)
        .count();
    if n == 0 {
        return None;
    }
    let name = WENT_WRONG;
    let range = binomial_interval(wrong as u64, n as u64, evidence.level);
    let of_hundred = format!(
        "({wrong} of {n}; between {:.0} and {:.0} of 100)",
        100.0 * range.low,
        100.0 * range.high
    );
    Some(if wrong == 0 {
        said(
            name,
            true,
            format!("No run was void, touched or rolled back {of_hundred}."),
        )
    } else {
        let about = format!(
            "About 1 run in {:.0} was void, touched or rolled back {of_hundred}",
            (n as f64 / wrong as f64).round()
        );
        // Nearly every season has some: only what is surely more than the lead in use may do is worth a mark.
        let often = range.low > evidence.setup.brake.recoil_accept;
        let what = if often {
            ": find out which of these it is, and cure that before making more runs."
        } else {
            "; that can happen at the event too."
        };
        said(name, !often, about + what)
    })
}
