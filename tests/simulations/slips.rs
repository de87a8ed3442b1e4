//! Slips of the pencil: how often a log without any is suspected, and how many of the planted ones are found.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use haltmark::error::Error;
use haltmark::fault::{Fault, FaultPlace};
use haltmark::log;
use haltmark::setup::Setup;
use haltmark::simulate::{
    self, BuildTruth as Build, FloorTruth as Floor, ObstacleTruth, RigTruth as Rig, TimeTruth,
    TrimTruth as Trim, Truth,
};
use haltmark::stats::resample::{self, Pcg64};
use rayon::prelude::*;

use super::bounds::Bounds;

/// Seasons of many kinds: few and many sessions and runs, steady and shifting days, settings that are right, wrong,
/// varied or chased, one aim for all or one for each target, one rig or two, with and without obstacle and times.
pub fn truth(index: u64) -> Truth {
    let mut chance = resample::replicate(501, index);
    let mut between =
        |least: f64, most: f64| least + (most - least) * resample::uniform(&mut chance);
    let mut truth = Truth::default();
    truth.travel.distance_per_turn_m = between(0.20, 0.26);
    truth.travel.overshoot_m = between(0.1, 0.5);
    truth.travel.run_to_run_m = between(0.03, 0.10);
    truth.travel.between_sessions_m = truth.travel.run_to_run_m * between(0.0, 2.0);
    truth.travel.lead_m_per_turn = between(-0.03, 0.06);
    truth.heading.straight_rad = between(-0.05, 0.05);
    truth.heading.curvature_per_m = between(-0.03, 0.03);
    truth.heading.run_to_run_rad = between(0.003, 0.012);
    truth.heading.between_sessions_rad = truth.heading.run_to_run_rad * between(0.0, 1.5);
    truth.season.sessions = between(2.0, 13.0) as usize;
    truth.season.runs_per_session = vec![between(3.0, 13.0) as usize, between(3.0, 13.0) as usize];
    truth.season.leads_turns = vec![1.0, 1.5, 2.0];
    truth.season.first_date = Some(jiff::civil::date(2026, 1, 10));
    truth.season.session_labels = (1..14).map(|i| format!("Practice {i}")).collect();
    if index.is_multiple_of(3) {
        truth.season.targets_m = vec![5.5, 10.5];
    } else if index % 3 == 1 {
        truth.season.targets_m = (0..9).map(|i| 6.0 + 0.5 * f64::from(i)).collect();
    }
    match index % 4 {
        0 => {
            truth.settings.believed_distance_per_turn_m =
                Some(truth.travel.distance_per_turn_m * 0.98)
        }
        1 => truth.settings.chase = between(0.2, 1.0),
        2 => truth.settings.vary_turns = between(0.1, 0.8),
        _ => truth.settings.vary_aim_m = between(0.02, 0.1),
    }
    if index.is_multiple_of(5) {
        truth.settings.aim_right_m = Some(between(-0.3, 0.3));
    }
    if index.is_multiple_of(2) {
        truth.hand_rolls.runs_per_session = 2;
        truth.time = Some(TimeTruth::default());
        truth.wrong.void = 0.04;
    }
    if index % 6 == 1 {
        truth.obstacle = Some(ObstacleTruth::default());
        truth.measuring.miss_noted = 0.5;
    }
    if index % 7 == 2 {
        truth.rigs.push(Rig {
            wheels: Some("wide".to_string()),
            distance_per_turn_m: Some(0.22),
            ..Rig::default()
        });
    }
    if index % 8 == 3 {
        truth.floors.push(Floor {
            floor: "hall".to_string(),
            sessions: vec![2, 3],
            long_m: between(-0.25, 0.25),
            right_rad: between(-0.01, 0.01),
        });
    }
    if index % 9 == 4 {
        truth.effects.wild = 0.03;
        truth.effects.first_run_long_m = 0.08;
    }
    labelled(truth)
}

/// With a label for the wheels of each rig of several: an empty cell would repeat that of the row above.
fn labelled(mut truth: Truth) -> Truth {
    if !truth.rigs.is_empty() {
        truth.wheels = "foam".to_string();
    }
    truth
}

/// Seasons of other kinds, which the thresholds were not looked at with: one session to eight, re-trims, later builds,
/// coarse tapes, several floors and rigs, each with any of the above.
pub fn other_truth(index: u64) -> Truth {
    let mut truth = truth(index);
    let mut chance = resample::replicate(502, index);
    let mut of = |most: usize| (resample::uniform(&mut chance) * most as f64) as usize;
    truth.season.sessions = 1 + of(8);
    truth.measuring.tape_step_m = [0.0, 0.005, 0.01, 0.05][of(4)];
    if truth.measuring.tape_step_m > 0.01 {
        // Read to 5 cm, the straight distance differs by more than the 2 cm that the contract allows.
        truth.measuring.miss_noted = 0.0;
    }
    if of(2) == 0 {
        truth.trims.push(Trim {
            trim: "second".to_string(),
            from_session: 2 + of(3),
            straight_rad: Some(0.03 * (of(5) as f64 - 2.0)),
            curvature_per_m: Some(0.01 * (of(5) as f64 - 2.0)),
        });
    }
    if of(2) == 0 {
        truth.builds.push(Build {
            build: "heavy".to_string(),
            from_session: 2 + of(3),
            overshoot_m: Some(0.1 + 0.2 * of(3) as f64),
        });
    }
    if of(3) == 0 {
        truth.rigs.push(Rig {
            wheels: Some("narrow".to_string()),
            distance_per_turn_m: Some(0.19),
            ..Rig::default()
        });
    }
    if of(3) == 0 {
        truth.obstacle = Some(ObstacleTruth::default());
    }
    // What begins after the season's end is not in it.
    let sessions = truth.season.sessions;
    truth.trims.retain(|t| t.from_session <= sessions);
    truth.builds.retain(|b| b.from_session <= sessions);
    truth
        .floors
        .iter_mut()
        .for_each(|f| f.sessions.retain(|&s| s <= sessions));
    truth.floors.retain(|f| !f.sessions.is_empty());
    labelled(truth)
}

/// Seasons whose settings are all a full turn apart, with one lead: each session has pairs of runs that only chance can
/// bring to one place.
pub fn turns_apart(index: u64) -> Truth {
    let mut truth = truth(index);
    let turn_m = truth.travel.distance_per_turn_m;
    truth.rigs.clear();
    truth.floors.clear();
    truth.season.targets_m = vec![8.0, 8.0 + turn_m];
    truth.season.leads_turns = vec![1.5];
    truth.settings = Default::default();
    truth
}

/// A log as rows of cells.
#[derive(Clone)]
pub struct Log {
    header: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Log {
    pub fn simulated(index: u64) -> Log {
        Log::of(&truth(index), index)
    }

    pub fn of(truth: &Truth, index: u64) -> Log {
        let text = simulate::season(truth, index).to_csv();
        let mut lines = text.lines().filter(|line| !line.starts_with('#'));
        let cells = |line: &str| line.split(',').map(str::to_string).collect();
        let mut log = Log {
            header: cells(lines.next().expect("a log has a header")),
            rows: lines.map(cells).collect(),
        };
        // Half of all people do not number their runs.
        if index % 2 == 1 {
            let run = log.column("run");
            for row in log.rows.iter_mut().chain([&mut log.header]) {
                row.remove(run);
            }
        }
        log
    }

    pub fn column(&self, name: &str) -> usize {
        self.try_column(name)
            .unwrap_or_else(|| panic!("no column {name}"))
    }

    pub fn try_column(&self, name: &str) -> Option<usize> {
        self.header.iter().position(|h| h == name)
    }

    pub fn number(&self, row: usize, name: &str) -> f64 {
        self.rows[row][self.column(name)]
            .parse()
            .unwrap_or(f64::NAN)
    }

    pub fn set(&mut self, row: usize, name: &str, value: f64) {
        let column = self.column(name);
        self.rows[row][column] = format!("{}", (value * 1e6).round() / 1e6);
    }

    /// Writes it as a list: labels that repeat the row above left out, and what goes without saying.
    pub fn shorten(&mut self) {
        let labels = [
            "session", "date", "vehicle", "wheels", "build", "trim", "floor",
        ];
        for column in labels
            .iter()
            .filter_map(|name| self.try_column(name))
            .collect::<Vec<_>>()
        {
            for row in (1..self.rows.len()).rev() {
                if self.rows[row][column] == self.rows[row - 1][column] {
                    self.rows[row][column].clear();
                }
            }
        }
        for (name, usual) in [("status", "ok"), ("kind", "launch")] {
            if let Some(column) = self.try_column(name) {
                let cells = self.rows.iter_mut().map(|row| &mut row[column]);
                cells.filter(|cell| *cell == usual).for_each(String::clear);
            }
        }
        if let Some(run) = self.try_column("run") {
            self.rows.iter_mut().for_each(|row| row[run].clear());
        }
    }

    pub fn text(&self) -> String {
        let rows = std::iter::once(&self.header).chain(&self.rows);
        rows.map(|row| row.join(",") + "\n").collect()
    }

    /// Every warning, with the row it stands at.
    pub fn warnings(&self) -> Vec<(usize, Fault)> {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("runs.csv");
        std::fs::write(&path, self.text()).expect("a file");
        // A length beyond a kilometre is refused at once, which is as good as a warning.
        let faults = match log::read(&[path], &Setup::default(), &log::ReadOptions::default()) {
            Ok((_, faults)) | Err(Error::Input(faults)) => faults,
            Err(error) => panic!("{error}"),
        };
        let at = |fault: &Fault| match fault.place {
            FaultPlace::Line(line) => line.saturating_sub(2),
            _ => 0,
        };
        // Ticks without a set-up are no slip.
        let slips = faults
            .0
            .into_iter()
            .filter(|f| !f.expected.contains("no set-up says"));
        slips.map(|fault| (at(&fault), fault)).collect()
    }

    /// Rows of ok launches, measured both ways.
    pub fn ok_rows(&self) -> Vec<usize> {
        let launch = |row: &&usize| {
            self.try_column("kind")
                .is_none_or(|kind| self.rows[**row][kind] == "launch")
                && self.rows[**row][self.column("status")] == "ok"
                && self.number(**row, "long_cm").is_finite()
                && self.number(**row, "right_cm").is_finite()
        };
        let rows: Vec<usize> = (0..self.rows.len()).collect();
        rows.iter().filter(launch).copied().collect()
    }

    pub fn session_of(&self, row: usize) -> String {
        self.rows[row][self.column("session")].clone()
    }
}

/// The kinds of warning, by words of theirs.
const KINDS: [(&str, &str); 21] = [
    ("ten or a hundred times", "decimal point in the wrong"),
    ("long and short swapped, a run", "long and short swapped?"),
    (
        "long and short swapped, a session",
        "long and short look swapped",
    ),
    ("right and left swapped, a run", "right and left swapped?"),
    (
        "right and left swapped, a session",
        "right and left look swapped",
    ),
    ("aim mark on the wrong side, a run", "on the wrong side?"),
    (
        "aim mark on the wrong side, a session",
        "written down on the wrong side",
    ),
    ("centimetres for metres", "taken for"),
    ("ticks beyond the dial", "never shows this"),
    ("typed twice", "typed twice"),
    ("label like another", "differs from"),
    ("dates that go back", "further up"),
    ("two dates in a session", "made on one day"),
    ("tape disagrees", "the tape and the measurements"),
    ("no minus in the whole log", "were the minus signs"),
    ("metres typed under cm", "typed in metres"),
    ("a turn miscounted", "was a turn miscounted"),
    ("several turns miscounted", "were the turns miscounted"),
    ("lead that no brake has", "a brake lead of"),
    ("a session in millimetres", "look ten times too large"),
    ("label of another year", "which of the two years"),
];

fn kind(fault: &Fault) -> &'static str {
    if fault.is_error() {
        return "ten or a hundred times";
    }
    let found = KINDS
        .iter()
        .find(|(_, words)| fault.expected.contains(words));
    found
        .unwrap_or_else(|| panic!("a warning of no known kind: {fault}"))
        .0
}

/// Seasons of these with a warning of each kind, and with any.
pub fn false_alarms(
    truth: fn(u64) -> Truth,
    seasons: Range<u64>,
    show: bool,
) -> (BTreeMap<&'static str, usize>, usize) {
    let mut counts = BTreeMap::new();
    let mut any = 0;
    for index in seasons {
        let warnings = Log::of(&truth(index), index).warnings();
        let kinds: BTreeSet<_> = warnings.iter().map(|(_, fault)| kind(fault)).collect();
        any += usize::from(!kinds.is_empty());
        for kind in kinds {
            *counts.entry(kind).or_default() += 1;
        }
        if show {
            warnings
                .iter()
                .for_each(|(_, fault)| println!("season {index}: {fault}"));
        }
    }
    (counts, any)
}

/// A slip to plant: what it does to a log, which rows it may be told at, and the kinds of warning that tell it.
/// `None` where the season has no place for it.
type Plant = fn(&mut Log, &mut Pcg64) -> Option<Vec<usize>>;

fn pick<T: Copy>(of: &[T], chance: &mut Pcg64) -> Option<T> {
    let at = (resample::uniform(chance) * of.len() as f64) as usize;
    of.get(at).copied()
}

fn any_row(log: &Log, chance: &mut Pcg64) -> Option<usize> {
    pick(&log.ok_rows(), chance)
}

fn times(name: &'static str, factor: f64, log: &mut Log, chance: &mut Pcg64) -> Option<Vec<usize>> {
    let row = any_row(log, chance)?;
    log.set(row, name, factor * log.number(row, name));
    if name == "turns" {
        log.set(row, "ticks", 0.0);
    }
    Some(vec![row])
}

/// A log in metres with one value in centimetres, of 2 cm and more.
fn cm_for_m(log: &mut Log, chance: &mut Pcg64) -> Option<Vec<usize>> {
    let mut rows = log.ok_rows();
    rows.retain(|&row| log.number(row, "long_cm").abs() >= 2.0);
    let slip = pick(&rows, chance)?;
    for row in 0..log.rows.len() {
        let value = log.number(row, "long_cm");
        if value.is_finite() && row != slip {
            log.set(row, "long_cm", value / 100.0);
        }
    }
    let column = log.column("long_cm");
    log.header[column] = "long_m".to_string();
    Some(vec![slip])
}

/// The other sign in a run whose value is at least so large.
fn swap(name: &str, least: f64, log: &mut Log, chance: &mut Pcg64) -> Option<Vec<usize>> {
    let mut rows = log.ok_rows();
    rows.retain(|&row| log.number(row, name).abs() >= least);
    let row = pick(&rows, chance)?;
    log.set(row, name, -log.number(row, name));
    Some(vec![row])
}

fn swap_session(name: &str, log: &mut Log, chance: &mut Pcg64) -> Option<Vec<usize>> {
    let session = log.session_of(any_row(log, chance)?);
    let rows: Vec<usize> = (0..log.rows.len())
        .filter(|&row| log.session_of(row) == session)
        .collect();
    for &row in &rows {
        let value = log.number(row, name);
        if value.is_finite() {
            log.set(row, name, -value);
        }
    }
    Some(rows)
}

fn type_twice(log: &mut Log, chance: &mut Pcg64) -> Option<Vec<usize>> {
    let row = any_row(log, chance)?;
    let again = log.rows[row].clone();
    log.rows.insert(row + 1, again);
    Some(vec![row + 1])
}

fn relabel(change: fn(&str) -> String, log: &mut Log, chance: &mut Pcg64) -> Option<Vec<usize>> {
    let row = any_row(log, chance)?;
    let session = log.column("session");
    log.rows[row][session] = change(&log.rows[row][session]);
    // Whichever of the two labels comes second is told.
    Some((0..log.rows.len()).collect())
}

fn misdate(log: &mut Log, chance: &mut Pcg64) -> Option<Vec<usize>> {
    let session = log.session_of(any_row(log, chance)?);
    if session == "Practice 1" {
        return None;
    }
    let date = log.column("date");
    for row in 0..log.rows.len() {
        if log.session_of(row) == session {
            log.rows[row][date] = log.rows[row][date].replace("2026", "2025");
        }
    }
    Some((0..log.rows.len()).collect())
}

/// The same for a session whose values are so large on average; there is nothing to see in one that is right anyway.
fn swap_far_session(
    name: &str,
    least: f64,
    log: &mut Log,
    chance: &mut Pcg64,
) -> Option<Vec<usize>> {
    let mut before = log.clone();
    let rows = swap_session(name, &mut before, chance)?;
    let values = rows
        .iter()
        .map(|&row| log.number(row, name))
        .filter(|v| v.is_finite());
    let values: Vec<f64> = values.collect();
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    *log = before;
    (mean.abs() >= least).then_some(rows)
}

/// Every length along and across without its sign, in a log of this many runs and more.
fn unsigned(log: &mut Log) -> Option<Vec<usize>> {
    let measured = |name: &str| {
        let rows = log.ok_rows().into_iter();
        rows.filter(|&row| log.number(row, name) != 0.0).count()
    };
    if measured("long_cm").min(measured("right_cm")) < 16 {
        return None;
    }
    for name in ["long_cm", "right_cm"] {
        for row in 0..log.rows.len() {
            let value = log.number(row, name);
            if value.is_finite() {
                log.set(row, name, value.abs());
            }
        }
    }
    Some((0..log.rows.len()).collect())
}

/// So many turns lost in a run.
fn lose_turns(lost: f64, log: &mut Log, chance: &mut Pcg64) -> Option<Vec<usize>> {
    let row = any_row(log, chance)?;
    log.set(row, "turns", log.number(row, "turns") - lost);
    Some(vec![row])
}

/// The lengths along of a session times this, in a log of several sessions; told at any of its rows.
fn scale_session(factor: f64, log: &mut Log, chance: &mut Pcg64) -> Option<Vec<usize>> {
    let session = log.session_of(any_row(log, chance)?);
    let rows: Vec<usize> = (0..log.rows.len())
        .filter(|&row| log.session_of(row) == session)
        .collect();
    let several = log.ok_rows().iter().any(|row| !rows.contains(row));
    for &row in rows.iter().filter(|_| several) {
        let value = log.number(row, "long_cm");
        if value.is_finite() {
            log.set(row, "long_cm", factor * value);
        }
    }
    several.then_some(rows)
}

/// Metres in one cell under `long_cm`, of 1 cm to 1 m.
fn metres_in_a_run(log: &mut Log, chance: &mut Pcg64) -> Option<Vec<usize>> {
    let mut rows = log.ok_rows();
    rows.retain(|&row| (1.0..100.0).contains(&log.number(row, "long_cm").abs()));
    let row = pick(&rows, chance)?;
    log.set(row, "long_cm", 0.01 * log.number(row, "long_cm"));
    Some(vec![row])
}

/// Metres under `long_cm`, where every run ended within a metre of its target.
fn metres(log: &mut Log) -> Option<Vec<usize>> {
    let all = 0..log.rows.len();
    if log.ok_rows().len() < 4
        || all
            .clone()
            .any(|row| log.number(row, "long_cm").abs() >= 100.0)
    {
        return None;
    }
    for row in all.clone() {
        let value = log.number(row, "long_cm");
        if value.is_finite() {
            log.set(row, "long_cm", value / 100.0);
        }
    }
    Some(all.collect())
}

pub const PLANTS: [(&str, &[&str], Plant); 39] = [
    ("target 100 times too small", &["ten or"], |l, c| {
        times("target_m", 0.01, l, c)
    }),
    ("turns 100 times too large", &["ten or"], |l, c| {
        times("turns", 100.0, l, c)
    }),
    ("long swapped, a session 20 cm off", &["long"], |l, c| {
        swap_far_session("long_cm", 20.0, l, c)
    }),
    ("long swapped, a session 40 cm off", &["long"], |l, c| {
        swap_far_session("long_cm", 40.0, l, c)
    }),
    (
        "right swapped, a session 20 cm off",
        &["right", "aim"],
        |l, c| swap_far_session("right_cm", 20.0, l, c),
    ),
    ("label with a space more", &["label"], |l, c| {
        relabel(|s| s.replace(' ', "  "), l, c)
    }),
    ("label with two letters swapped", &["label"], |l, c| {
        relabel(|s| s.replace("ct", "tc"), l, c)
    }),
    ("target 10 times too large", &["ten or"], |l, c| {
        times("target_m", 10.0, l, c)
    }),
    ("target in cm", &["ten or"], |l, c| {
        times("target_m", 100.0, l, c)
    }),
    ("target 10 times too small", &["ten or"], |l, c| {
        times("target_m", 0.1, l, c)
    }),
    ("turns 10 times too large", &["ten or"], |l, c| {
        times("turns", 10.0, l, c)
    }),
    ("turns 10 times too small", &["ten or"], |l, c| {
        times("turns", 0.1, l, c)
    }),
    ("aim in m", &["centi"], |l, c| {
        times("aim_right_cm", 0.01, l, c)
    }),
    ("long in cm in a column of m", &["centi"], cm_for_m),
    ("long swapped, any run", &["long"], |l, c| {
        swap("long_cm", 0.0, l, c)
    }),
    ("long swapped, 20 cm and more", &["long"], |l, c| {
        swap("long_cm", 20.0, l, c)
    }),
    ("long swapped, 40 cm and more", &["long"], |l, c| {
        swap("long_cm", 40.0, l, c)
    }),
    ("long swapped, a session", &["long"], |l, c| {
        swap_session("long_cm", l, c)
    }),
    ("right swapped, any run", &["right", "aim"], |l, c| {
        swap("right_cm", 0.0, l, c)
    }),
    (
        "right swapped, 30 cm and more",
        &["right", "aim"],
        |l, c| swap("right_cm", 30.0, l, c),
    ),
    ("right swapped, a session", &["right", "aim"], |l, c| {
        swap_session("right_cm", l, c)
    }),
    ("aim swapped, any run", &["aim", "right"], |l, c| {
        swap("aim_right_cm", 0.0, l, c)
    }),
    ("aim swapped, 10 cm and more", &["aim", "right"], |l, c| {
        swap("aim_right_cm", 10.0, l, c)
    }),
    ("aim swapped, 20 cm and more", &["aim", "right"], |l, c| {
        swap("aim_right_cm", 20.0, l, c)
    }),
    ("aim swapped, a session", &["aim", "right"], |l, c| {
        swap_session("aim_right_cm", l, c)
    }),
    ("24 ticks on a dial of 20", &["ticks"], |l, c| {
        let row = any_row(l, c)?;
        l.set(row, "ticks", 24.0);
        Some(vec![row])
    }),
    ("row typed twice", &["typed twice"], type_twice),
    ("label in lower case", &["label"], |l, c| {
        relabel(str::to_lowercase, l, c)
    }),
    ("label with a letter missing", &["label"], |l, c| {
        relabel(|s| s.replace("ti", "t"), l, c)
    }),
    ("date of last year", &["dates"], misdate),
    ("no minus in the whole log", &["no minus"], |l, _| {
        unsigned(l)
    }),
    ("metres in a column of cm", &["metres"], |l, _| metres(l)),
    ("metres in a session", &["metres"], |l, c| {
        scale_session(0.01, l, c)
    }),
    ("metres in a run", &["metres"], metres_in_a_run),
    ("mm in a session", &["a session in mil"], |l, c| {
        scale_session(10.0, l, c)
    }),
    ("3 turns lost", &["several"], |l, c| lose_turns(3.0, l, c)),
    ("5 turns lost", &["several"], |l, c| lose_turns(5.0, l, c)),
    ("10 turns lost", &["several"], |l, c| lose_turns(10.0, l, c)),
    ("lead without its point", &["lead"], |l, c| {
        times("lead_turns", 10.0, l, c)
    }),
];

/// How many of the seasons have a place for a slip, and in how many it is found.
pub fn hits(plant: usize, seasons: Range<u64>) -> (usize, usize) {
    let (_, starts, slip) = PLANTS[plant];
    let (mut planted, mut found) = (0, 0);
    for index in seasons {
        let mut log = Log::simulated(index);
        let mut chance = resample::replicate(900 + plant as u64, index);
        let Some(rows) = slip(&mut log, &mut chance) else {
            continue;
        };
        planted += 1;
        let tells = |(row, fault): &(usize, Fault)| {
            let kind_fits = starts.iter().any(|start| kind(fault).starts_with(start));
            // An error is not overlooked, whatever it says.
            rows.contains(row) && (kind_fits || fault.is_error())
        };
        found += usize::from(log.warnings().iter().any(tells));
    }
    (planted, found)
}

/// What cannot be overlooked must be found always; the others are told as often as they show.
pub const FOUND: [(&str, f64); 17] = [
    ("target 10 times too large", 1.0),
    ("target in cm", 1.0),
    ("turns 10 times too small", 1.0),
    ("24 ticks on a dial of 20", 1.0),
    ("label in lower case", 1.0),
    ("label with a letter missing", 1.0),
    ("date of last year", 1.0),
    ("no minus in the whole log", 1.0),
    ("metres in a column of cm", 1.0),
    ("row typed twice", 0.6),
    ("long in cm in a column of m", 0.8),
    ("aim swapped, 20 cm and more", 0.7),
    ("metres in a session", 1.0),
    ("metres in a run", 0.9),
    ("5 turns lost", 0.75),
    ("10 turns lost", 0.9),
    ("lead without its point", 1.0),
];
/// The part of seasons without a slip that may have any warning.
pub const SUSPECTED: f64 = 0.02;

/// Warnings of clean seasons by kind, then the part of each planted slip that is found.
pub fn table(seasons: u64) -> Bounds {
    let mut bounds = Bounds::default();
    for (name, truth) in [
        ("clean seasons", truth as fn(u64) -> Truth),
        ("clean seasons of other kinds", other_truth),
    ] {
        let (counts, any) = false_alarms(truth, 0..seasons, true);
        println!("{seasons} {name}, {any} with any warning");
        for (kind, _) in KINDS {
            println!("  {kind:40} {:4}", counts.get(kind).unwrap_or(&0));
        }
        bounds.at_most(name, any as f64 / seasons as f64, SUSPECTED);
    }
    println!("planted slips found");
    let all = (0..PLANTS.len()).into_par_iter();
    let all: Vec<(usize, usize)> = all.map(|plant| hits(plant, 0..seasons)).collect();
    for ((name, ..), (planted, found)) in PLANTS.iter().zip(all) {
        let share = found as f64 / planted.max(1) as f64;
        println!(
            "  {name:40} {found:4} of {planted:4} {:5.1} %",
            100.0 * share
        );
        let least = FOUND.iter().find(|(of, _)| of == name);
        bounds.at_least(name, share, least.map_or(0.0, |(_, least)| *least));
    }
    bounds
}
