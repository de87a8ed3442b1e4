//! `haltmark simulate`: an invented log from a truth file, or a truth file to edit.

use std::path::Path;

use serde::Serialize;

use super::args::{Common, SimulateArgs};
use super::inputs;
use super::output::{self, Answer, Output};
use crate::error::Error;
use crate::fault::{Fault, Faults, read_text};
use crate::simulate::{SimulatedSeason, Truth, season};

/// The largest truth file that is read; a real one has some hundred lines.
const LARGEST_FILE_BYTES: u64 = 1 << 20;

/// Prints the defaults as a file to edit, or plays a season.
///
/// # Errors
/// Faults of the truth file, of the set-up file.
pub fn run(args: &SimulateArgs, common: &Common) -> Result<Answer, Error> {
    let setup = inputs::setup(common)?;
    let Some(path) = &args.truth else {
        let page = Truth::default().to_toml();
        return Ok(Answer {
            json: Some(output::json(&Page { truth: &page })),
            text: page.trim_end().to_string(),
            is_a_file: true,
            ..Answer::default()
        });
    };
    let truth = read(path)?;
    let mut warnings = Faults::default();
    if setup.dial.is_told() && setup.dial.ticks_per_turn != truth.settings.ticks_per_turn {
        let text = format!(
            "settings.ticks_per_turn is {} here and {} in the set-up; the log is written with the {0} of this file, and should \
             be read with the same",
            truth.settings.ticks_per_turn, setup.dial.ticks_per_turn
        );
        warnings.push(Fault::warning(path.display().to_string(), text));
    }
    let seed = common.seed.unwrap_or(truth.season.seed);
    let simulated = season(&truth, seed);
    let log = simulated.to_csv();
    let json = Some(output::json(&Played::new(&simulated, seed, &log)));
    let Some(out) = &args.out else {
        return Ok(Answer {
            text: log.trim_end().to_string(),
            is_a_file: true,
            json,
            warnings,
            ..Answer::default()
        });
    };
    let runs = simulated.season.runs.len();
    let text = if common.quiet {
        String::new()
    } else {
        format!(
            "{}: {runs} invented {} in {} {}, with seed {seed}",
            out.display(),
            if runs == 1 { "run" } else { "runs" },
            truth.season.sessions,
            if truth.season.sessions == 1 {
                "session"
            } else {
                "sessions"
            },
        )
    };
    Ok(Answer {
        text,
        next: format!(
            "haltmark check {}{}",
            inputs::typed(out),
            inputs::with_setup(common)
        ),
        json,
        output: Some(Output::file(out, log)),
        inputs: vec![path.clone()],
        warnings,
        ..Answer::default()
    })
}

fn read(path: &Path) -> Result<Truth, Error> {
    let name = path.display().to_string();
    let text = read_text(path, LARGEST_FILE_BYTES, "a truth file")?;
    Ok(Truth::from_toml(&name, &text)?)
}

/// The truth file to edit.
#[derive(Serialize)]
struct Page<'a> {
    truth: &'a str,
}

/// What was played, with what no real log tells: how each session differed.
#[derive(Serialize)]
struct Played<'a> {
    seed: u64,
    sessions: usize,
    runs: usize,
    shifts: Vec<Shift<'a>>,
    log: &'a str,
}

#[derive(Serialize)]
struct Shift<'a> {
    session: &'a str,
    vehicle: &'a str,
    wheels: &'a str,
    shift_long_cm: f64,
    shift_right_cm_per_m: f64,
}

impl<'a> Played<'a> {
    fn new(simulated: &'a SimulatedSeason, seed: u64, log: &'a str) -> Self {
        let season = &simulated.season;
        let shifts = simulated.shifts.iter().map(|shift| Shift {
            session: &season.sessions[shift.session as usize],
            vehicle: &season.vehicles[shift.vehicle as usize],
            wheels: &season.wheels[shift.wheels as usize],
            shift_long_cm: 100.0 * shift.long_m,
            shift_right_cm_per_m: 100.0 * shift.right_rad,
        });
        Played {
            seed,
            sessions: season.sessions.len(),
            runs: season.runs.len(),
            shifts: shifts.collect(),
            log,
        }
    }
}
