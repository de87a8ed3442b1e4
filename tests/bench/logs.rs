//! Invented logs of three sizes from a fixed seed, for measuring: a season, a club's archive, a league's archive.
//!
//! Each rig is played by `simulate` with a truth that differs a little from the others'. Rows stand in the order of the
//! season: week by week, in each week rig by rig.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

use haltmark::log::run::{Run, Status};
use haltmark::simulate::{SimulatedSeason, Truth, season};
use haltmark::stats::resample::{normal, replicate};
use haltmark::units::at_most_decimals;

/// Seed of every log.
const SEED: u64 = 6;
/// First day of every log, a Saturday.
const FIRST_DAY: jiff::civil::Date = jiff::civil::date(2021, 3, 6);
/// Header of every log.
const HEADER: &str = "session,date,vehicle,wheels,target_m,turns,ticks,long_cm,right_cm,aim_right_cm,lead_turns,status,recoil_cm";

/// A size of log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// 250 runs, 12 sessions shared by 2 rigs.
    Season,
    /// 10,000 runs, 500 sessions, 20 rigs.
    Club,
    /// 1,000,000 runs, 40,000 sessions, 400 rigs.
    League,
}

impl Size {
    /// All of them, from small to large.
    pub const ALL: [Size; 3] = [Size::Season, Size::Club, Size::League];

    /// Its name: that of the log without `.csv`.
    pub fn name(self) -> &'static str {
        match self {
            Size::Season => "season",
            Size::Club => "club",
            Size::League => "league",
        }
    }

    fn rigs(self) -> usize {
        match self {
            Size::Season => 2,
            Size::Club => 20,
            Size::League => 400,
        }
    }

    /// Sessions of each rig.
    fn sessions(self) -> usize {
        match self {
            Size::Season => 12,
            Size::Club => 25,
            Size::League => 100,
        }
    }

    /// Runs of a rig in each of its sessions, gone through again when the list ends.
    fn runs_per_session(self) -> Vec<usize> {
        match self {
            // 125 in twelve sessions.
            Size::Season => vec![11, 10, 11, 10, 10, 11, 10, 10, 11, 10, 11, 10],
            Size::Club => vec![20],
            Size::League => vec![25],
        }
    }

    fn session_label(self, session: usize, rig: usize) -> String {
        match self {
            Size::Season => format!("Saturday {}", session + 1),
            Size::Club | Size::League => format!("w{}r{}", session + 1, rig + 1),
        }
    }
}

/// Writes the log of that size.
///
/// # Errors
/// When the file cannot be written.
pub fn write(size: Size, path: &Path) -> io::Result<()> {
    let mut out = BufWriter::new(File::create(path)?);
    writeln!(out, "# invented runs; no real vehicle\n{HEADER}")?;
    let rigs: Vec<Vec<String>> = (0..size.rigs()).map(|rig| sessions(size, rig)).collect();
    for session in 0..size.sessions() {
        for rig in &rigs {
            out.write_all(rig[session].as_bytes())?;
        }
    }
    out.flush()
}

/// One rig's rows, a text for each of its sessions.
fn sessions(size: Size, rig: usize) -> Vec<String> {
    let played = season(&truth(size, rig), SEED + 1000 * rig as u64);
    let mut texts = vec![String::new(); size.sessions()];
    for run in &played.season.runs {
        texts[run.session as usize].push_str(&row(&played, run));
    }
    texts
}

/// What is true of a rig: the usual vehicle, each a little different.
fn truth(size: Size, rig: usize) -> Truth {
    let mut chance = replicate(SEED, rig as u64);
    let mut about = |middle: f64, spread: f64| middle * (1.0 + spread * normal(&mut chance));
    let mut truth = Truth {
        vehicle: format!("Car {}", rig / 2 + 1),
        wheels: ["foam", "rubber"][rig % 2].to_string(),
        ..Truth::default()
    };
    truth.travel.distance_per_turn_m = about(0.235, 0.02);
    truth.travel.overshoot_m = about(0.28, 0.2);
    truth.travel.run_to_run_m = about(0.05, 0.1);
    truth.travel.between_sessions_m = about(0.06, 0.1);
    truth.heading.straight_rad = about(-0.02, 0.2);
    truth.heading.curvature_per_m = about(0.018, 0.2);
    truth.season.sessions = size.sessions();
    truth.season.runs_per_session = size.runs_per_session();
    truth.season.targets_m = vec![6.0, 6.75, 7.5, 8.25, 9.0];
    truth.season.leads_turns = vec![1.25, 1.5, 1.75];
    truth.season.first_date = Some(FIRST_DAY);
    truth.season.session_labels = (0..size.sessions())
        .map(|session| size.session_label(session, rig))
        .collect();
    // A few go wrong, and about one in a thousand goes wild: what is set aside belongs to the work.
    truth.wrong.void = 0.01;
    truth.effects.wild = 0.001;
    truth.effects.wild_times = 12.0;
    truth
}

/// A run as its row.
fn row(played: &SimulatedSeason, run: &Run) -> String {
    let season = &played.season;
    let number =
        |value: Option<f64>| value.map_or(String::new(), |value| at_most_decimals(value, 4));
    let cm = |length_m: Option<f64>| number(length_m.map(|length_m| 100.0 * length_m));
    let ticks_per_turn = f64::from(played.ticks_per_turn);
    let ticks = run.turns.unwrap_or(0.0) * ticks_per_turn;
    let whole = (ticks.round() / ticks_per_turn).floor();
    let status = match run.status {
        Status::Ok => "ok",
        Status::Recoil => "recoil",
        Status::Touched => "touched",
        Status::Void => "void",
    };
    let cells = [
        season.sessions[run.session as usize].clone(),
        run.date.map_or(String::new(), |date| date.to_string()),
        season.vehicles[run.vehicle as usize].clone(),
        season.wheels[run.wheels as usize].clone(),
        number(run.target_m),
        number(Some(whole)),
        number(Some(ticks.round() - whole * ticks_per_turn)),
        cm(run.long_m()),
        cm(run.right_m),
        cm(run.aim_right_m),
        number(run.lead_turns),
        status.to_string(),
        cm(run.recoil_m),
    ];
    cells.join(",") + "\n"
}
