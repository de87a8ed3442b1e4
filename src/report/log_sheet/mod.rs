//! The log sheet to print, a page a session: columns of the log, who does what, checks and cautions; filled in where there is
//! something to fill in.

mod columns;
mod rows;
mod sketch;

use super::{page, whose, words};
use crate::calibration::Calibration;
use crate::decide::Situation;
use crate::decide::next_session::{FirstSessions, NextSessions};
use crate::error::Error;
use crate::setup::Setup;
use crate::stats::interval::Level;
use columns::{Asked, When};
use minijinja::context;
use minijinja::value::Serde;
use rows::Filled;
pub use rows::LINES;
use std::slice;

/// The sheet of the next sessions.
///
/// * `level` — level of the ranges in `next`
///
/// # Errors
/// [`Error::Internal`] when template and view do not fit.
pub fn next(
    calibration: &Calibration,
    situation: &Situation,
    next: &NextSessions,
    level: Level,
) -> Result<String, Error> {
    let mut settings = next.sessions.iter().flatten();
    let aims = settings.any(|s| s.aim_right_m.is_some());
    let asked = Asked::from_setup(&calibration.setup, aims, false);
    let filled = rows::known(situation, next, level, asked);
    let whose = format!(
        "{} – settings from {}",
        whose::rig_name(&situation.rig.name),
        whose::made_from(calibration, slice::from_ref(situation.rig))
    );
    write(&calibration.setup, asked, filled, &whose)
}

/// The sheet of the first sessions, or empty ones.
///
/// * `vehicle` — its label, may be blank
///
/// # Errors
/// [`Error::Internal`] when template and view do not fit.
pub fn first(setup: &Setup, first: &FirstSessions, vehicle: &str) -> Result<String, Error> {
    let asked = Asked::from_setup(setup, false, true);
    let filled = rows::guessed(setup, first, vehicle, asked);
    let labels: Vec<&str> = filled.labels[..2]
        .iter()
        .map(String::as_str)
        .filter(|label| !label.is_empty())
        .collect();
    let whose = labels.join("/");
    write(setup, asked, filled, &whose)
}

/// * `whose` — the rig, and what its settings were made from; blank where neither is known
fn write(setup: &Setup, asked: Asked, filled: Filled, whose: &str) -> Result<String, Error> {
    let heads = columns::heads(setup.dial.ticks(), asked);
    let expected = if filled.expects {
        columns::EXPECT_WIDTH
    } else {
        0
    };
    let all = expected + heads.iter().map(|h| h.width).sum::<u32>();
    let (before, after): (Vec<_>, Vec<_>) = heads.into_iter().partition(|h| h.when == When::Before);
    page::render(
        "sheet.html",
        context! {
            tab => title(whose, filled.pages.len()),
            whose,
            roles => roles(asked),
            checks => checks(asked),
            across => asked.across,
            obstacle => Serde(sketch::obstacle(setup)),
            all_widths => all,
            expect_width => expected,
            before => Serde(before),
            after => Serde(after),
            sheet => Serde(filled),
        },
    )
}

/// Title of the document.
fn title(whose: &str, sessions: usize) -> String {
    let sheet = match sessions {
        1 => "log sheet".to_string(),
        n => format!("log sheet of {n} sessions"),
    };
    match whose {
        "" => words::capital(&sheet),
        whose => format!("{sheet}: {whose}"),
    }
}

/// Who does what (common practice, no source): the role and what it is.
fn roles(asked: Asked) -> Vec<(&'static str, &'static str)> {
    let measures = if asked.across {
        "along first, across second with a square edge, straight distance third; to the half centimetre"
    } else {
        "along the line, to the half centimetre"
    };
    let mut roles = vec![
        ("Winds", "reads the dial aloud"),
        ("Reads back", "looks at the dial and says it again"),
        ("Sights", "before the mass is raised"),
        ("Releases", "the adult"),
    ];
    if asked.obstacle {
        roles.push(("Stands by the obstacle", "gap, touch"));
    }
    roles.push(("Two measure", measures));
    roles.push(("Writes", "repeats what is called"));
    roles
}

/// Checks before each run (common practice, no source).
fn checks(asked: Asked) -> [&'static str; 9] {
    [
        if asked.obstacle {
            "Target and obstacle stand where they were laid out"
        } else {
            "Target is where it was laid out"
        },
        "Dial at zero, then wound on; lead set; load in",
        "Wheels free of dust; string short, not tangled",
        "Measuring point on the start mark",
        "Sighted on the aim mark, then sight taken off",
        "Padding below the mass, eyes covered, track clear",
        "Dial read again in the launcher, read back, written down",
        "Mass raised, everybody clear, adult releases",
        "Void? Say it before anybody measures",
    ]
}
