//! The log sheet to print, one side: columns of the log, who does what, checks and cautions; filled in where there is
//! something to fill in.

mod columns;
mod rows;
mod sketch;

use super::page;
use crate::calibration::Calibration;
use crate::decide::Situation;
use crate::decide::dial::Setting;
use crate::decide::next_session::FirstSession;
use crate::error::Error;
use crate::setup::Setup;
use crate::stats::interval::Level;
use columns::{Asked, When};
use minijinja::context;
use minijinja::value::Serde;
use rows::Filled;

/// The sheet of the next session.
///
/// * `settings` — one for each run, in the order of the runs
/// * `level` — level of the ranges in `settings`
///
/// # Errors
/// [`Error::Internal`] when template and view do not fit.
pub fn next(
    calibration: &Calibration,
    situation: &Situation,
    settings: &[Setting],
    level: Level,
) -> Result<String, Error> {
    let aims = settings.iter().any(|s| s.aim_right_m.is_some());
    let asked = Asked::from_setup(&calibration.setup, aims, false);
    let filled = rows::known(situation, settings, level, asked);
    write(&calibration.setup, asked, filled)
}

/// The sheet of a first session, or an empty one.
///
/// * `vehicle` — its label, may be blank
///
/// # Errors
/// [`Error::Internal`] when template and view do not fit.
pub fn first(setup: &Setup, session: &FirstSession, vehicle: &str) -> Result<String, Error> {
    let asked = Asked::from_setup(setup, false, true);
    write(setup, asked, rows::guessed(setup, session, vehicle, asked))
}

fn write(setup: &Setup, asked: Asked, filled: Filled) -> Result<String, Error> {
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
            tab => title(&filled),
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

/// Title of the document, with the rig where it is known.
fn title(filled: &Filled) -> String {
    let rig: Vec<&str> = filled.labels[..2]
        .iter()
        .map(String::as_str)
        .filter(|label| !label.is_empty())
        .collect();
    match rig.as_slice() {
        [] => "Log sheet".to_string(),
        names => format!("{}: log sheet", names.join("/")),
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
