//! `haltmark sheet`: a log sheet to print, a page a session, filled in where there is a calibration.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::args::{Common, RigArgs, SheetArgs};
use super::dial;
use super::inputs;
use super::output::{self, Answer, Output};
use crate::decide::Situation;
use crate::decide::dial::Setting;
use crate::decide::next_session::{self, SessionsWanted};
use crate::decide::plan::Gain;
use crate::decide::rounding::DialSetting;
use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::report::{log_sheet, plan_words, words};
use crate::setup::Dial;
use crate::stats::interval::Interval;

const CM: f64 = 100.0;

/// Answers `haltmark sheet`: a log sheet to print.
///
/// # Errors
/// Faults of calibration and set-up; data that cannot answer.
pub fn run(args: &SheetArgs, common: &Common) -> Result<Answer, Error> {
    let out = &file(&args.out);
    let made = match &args.calibration {
        Some(path) => next(path, args, common)?,
        None => first(args, common)?,
    };
    let inputs = match &args.calibration {
        Some(calibration) => inputs::files_read(calibration, common),
        None => common.setup.iter().cloned().collect(),
    };
    Ok(Answer {
        text: if common.quiet {
            String::new()
        } else {
            text(args, out, &made)
        },
        next: "haltmark check LOG, when the sheet is typed in".to_string(),
        json: Some(output::json(&made.json)),
        output: Some(Output::file(out, made.page)),
        inputs,
        ..Answer::default()
    })
}

/// The file to write: in a folder, which is there or named with a slash at its end, `sheet.html`.
fn file(out: &Path) -> PathBuf {
    let is_named = out.to_string_lossy().ends_with(std::path::is_separator);
    match is_named || out.is_dir() {
        true => out.join("sheet.html"),
        false => out.to_path_buf(),
    }
}

struct Made {
    page: String,
    /// What is filled in, for a person.
    filled: String,
    /// What the sessions gain at the event, for a person.
    gain: Option<String>,
    /// What to know of its settings, for a person.
    caution: Option<String>,
    json: SheetJson,
}

fn seed(common: &Common) -> u64 {
    common.seed.unwrap_or(1)
}

fn wanted(args: &SheetArgs, common: &Common) -> SessionsWanted {
    SessionsWanted {
        sessions: args.sessions,
        runs: args.runs,
        seed: seed(common),
    }
}

/// The sheet of the next sessions of a calibration's rig.
fn next(path: &Path, args: &SheetArgs, common: &Common) -> Result<Made, Error> {
    let calibration = inputs::calibration(path, None, common)?;
    let situation = Situation::new(&calibration, &inputs::choice(&args.rig, None))?;
    let range = calibration.range()?;
    let next = next_session::settings(
        &situation,
        range,
        common.level,
        wanted(args, common),
        args.within.map(|cm| cm / CM),
    )?;
    let runs = size(args, "run", "runs");
    let of = match situation.rig.name.as_str() {
        "" => String::new(),
        name => format!(" of {}", words::label(name)),
    };
    let gain = next.gain.as_ref();
    Ok(Made {
        page: log_sheet::next(&calibration, &situation, &next, common.level)?,
        filled: format!(
            "{runs}{of}, in mixed order (--seed {} gives another), with settings and the range to expect",
            seed(common).wrapping_add(1)
        ),
        gain: gain.map(plan_words::gain),
        caution: situation.setup.dial.caution(),
        json: SheetJson {
            level: common.level.probability(),
            seed: seed(common),
            rig: situation.rig.name.clone(),
            build: situation.build().label.clone(),
            trim: situation
                .trim()
                .map_or_else(String::new, |t| t.label.clone()),
            sessions: args.sessions,
            runs_per_session: args.runs,
            gain: gain.map(GainJson::from_gain),
            runs: runs_json(&next.sessions, |session, s| {
                RunJson::known(session, s, &situation.setup.dial)
            }),
        },
    })
}

/// One line a run, session by session.
fn runs_json<T>(sessions: &[Vec<T>], run: impl Fn(usize, &T) -> RunJson) -> Vec<RunJson> {
    let mut out = Vec::new();
    for (runs, session) in sessions.iter().zip(1..) {
        out.extend(runs.iter().map(|r| run(session, r)));
    }
    out
}

/// `8 runs`, `2 sessions of 10 runs`.
fn size(args: &SheetArgs, one: &str, many: &str) -> String {
    let runs = words::count(args.runs as usize, one, many);
    match args.sessions {
        1 => runs,
        n => format!("{n} sessions of {runs}"),
    }
}

/// The sheet of the first sessions, from the set-up alone.
fn first(args: &SheetArgs, common: &Common) -> Result<Made, Error> {
    let setup = inputs::setup(common)?;
    let name = args.rig.rig.as_deref().unwrap_or("");
    let (vehicle, wheels) = labels(&args.rig)?;
    let meant = args.rig.rig.as_ref().map(|_| wheels);
    let first = next_session::first(&setup, meant, wanted(args, common))?;
    let runs = size(args, "target", "targets");
    let filled = match (first.sessions[0].is_empty(), first.diameter_m) {
        (true, _) => "empty lines (with --setup and a wheel diameter: targets and a first guess at the turns)".to_string(),
        (false, None) => format!("{runs} in mixed order; no turns, for no wheel diameter is known"),
        (false, Some(_)) => {
            format!("{runs} in mixed order, with a first guess at the turns from the wheel diameter")
        }
    };
    Ok(Made {
        page: log_sheet::first(&setup, &first, vehicle)?,
        filled,
        gain: None,
        caution: None,
        json: SheetJson {
            level: common.level.probability(),
            seed: seed(common),
            rig: name.to_string(),
            build: String::new(),
            trim: String::new(),
            sessions: args.sessions,
            runs_per_session: args.runs,
            gain: None,
            runs: runs_json(&first.sessions, |session, guess| {
                RunJson::set(session, guess.target_m, guess.dial, &setup.dial)
            }),
        },
    })
}

/// Vehicle and wheels from `--rig`, where there is no calibration to look them up in.
fn labels(rig: &RigArgs) -> Result<(&str, &str), Error> {
    if rig.build.is_some() || rig.trim.is_some() {
        let fault = Fault::error(
            "--build, --trim",
            "without a calibration there is nothing to pick them from",
        );
        return Err(Error::Input(Faults::from(fault)));
    }
    match rig.rig.as_deref() {
        None => Ok(("", "")),
        Some(name) => name.split_once('/').ok_or_else(|| {
            let fault = Fault::error(
                "--rig",
                "expected a vehicle and its wheels, as VEHICLE/WHEELS",
            );
            Error::Input(Faults::from(fault.read(name)))
        }),
    }
}

fn text(args: &SheetArgs, out: &Path, made: &Made) -> String {
    let mut lines = vec![
        format!("Log sheet: {}", out.display()),
        format!("  filled in: {}", made.filled),
    ];
    lines.extend(made.gain.iter().map(|gain| format!("  {gain}")));
    let paper = match (args.sessions, args.runs as usize > log_sheet::LINES) {
        (_, true) => format!(
            "landscape; {} runs are more than the {} of one sheet of paper, so a session takes several",
            args.runs,
            log_sheet::LINES
        ),
        (1, false) => "one side, landscape".to_string(),
        (n, false) => format!("{n} pages, one side each, landscape"),
    };
    lines.push(format!(
        "Open it in a browser and print it ({paper}). Afterwards type the rows into your log, with the column names of the \
         sheet, and let `haltmark check` look for slips."
    ));
    if args.sessions > 1 && args.calibration.is_some() {
        lines.push(
            "After each session fit again and print the rest anew: the settings get better with every day."
                .to_string(),
        );
    }
    lines.extend(made.caution.iter().map(|c| format!("note: {c}")));
    lines.join("\n")
}

#[derive(Serialize)]
struct SheetJson {
    level: f64,
    seed: u64,
    rig: String,
    build: String,
    trim: String,
    sessions: u32,
    runs_per_session: u32,
    gain: Option<GainJson>,
    runs: Vec<RunJson>,
}

/// What the sessions gain at the event; the chances are those of `plan`.
#[derive(Serialize)]
struct GainJson {
    within_cm: f64,
    event_chance_now: f64,
    event_chance: f64,
}

impl GainJson {
    fn from_gain(gain: &Gain) -> Self {
        GainJson {
            within_cm: dial::tidy_cm(gain.within_m),
            event_chance_now: gain.now,
            event_chance: gain.then,
        }
    }
}

/// One line of the sheet, in the words of `dial`.
#[derive(Serialize)]
struct RunJson {
    session: usize,
    target_m: f64,
    turns: Option<f64>,
    whole_turns: Option<i64>,
    ticks: Option<i64>,
    aim_right_cm: Option<f64>,
    lead_turns: Option<f64>,
    long_cm: Option<Interval>,
    right_cm: Option<Interval>,
}

impl RunJson {
    fn known(session: usize, setting: &Setting, on: &Dial) -> Self {
        RunJson {
            aim_right_cm: setting.aim_right_m.map(dial::tidy_cm),
            lead_turns: setting.lead_turns,
            long_cm: Some(setting.long_m.scaled(CM)),
            right_cm: setting.right_m.map(|i| i.scaled(CM)),
            ..RunJson::set(session, setting.target_m, Some(setting.dial), on)
        }
    }

    /// * `on` — the dial; where nobody knows of its ticks, the turns are decimal
    fn set(session: usize, target_m: f64, dial: Option<DialSetting>, on: &Dial) -> Self {
        let in_ticks = dial.filter(|_| on.ticks().is_some());
        RunJson {
            session,
            target_m,
            turns: dial.map(DialSetting::turns),
            whole_turns: in_ticks.map(DialSetting::whole_turns),
            ticks: in_ticks.map(DialSetting::ticks),
            aim_right_cm: None,
            lead_turns: None,
            long_cm: None,
            right_cm: None,
        }
    }
}
