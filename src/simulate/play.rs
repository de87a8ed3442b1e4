//! Plays a season: a truth and a seed in, runs out.

use super::chance::{Chance, Purpose};
use super::day::RigDay;
use super::launch::{
    Chased, Draws, ExactRun, SimulatedLaunch, settled, taped, ticks_per_turn, turns_from_ticks,
    whole_ticks,
};
use super::rig::{ResolvedRig, resolved_rigs};
use super::truth::Truth;
use super::truth_keys::PlantedRow;
use crate::log::run::{Kind, Label, Run, Season, Status};

/// An invented season, with what really happened beside what was written down.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedSeason {
    /// The runs as written down: rounded, with slips of the pencil.
    pub season: Season,
    /// The note of each run.
    pub notes: Vec<String>,
    /// What really happened in each run.
    pub exact: Vec<ExactRun>,
    /// How each session differed for each rig that took part in it.
    pub shifts: Vec<SessionShift>,
    /// Divisions of the wheel dial.
    pub ticks_per_turn: u32,
    /// Comment lines of the log.
    pub comments: Vec<String>,
}

/// How a session differs from the vehicle's own mean, for one rig: the day, the floor, the drift of the season.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SessionShift {
    /// Session label, an index into [`Season::sessions`].
    pub session: Label,
    /// Vehicle label.
    pub vehicle: Label,
    /// Wheel set label.
    pub wheels: Label,
    /// Shift along, m; longer is positive.
    pub long_m: f64,
    /// Shift of the heading, rad; right is positive.
    pub right_rad: f64,
}

/// Plays a season from a truth.
///
/// * `seed` — another seed, another season; the same seed, the same to the last bit on every machine
///
/// A truth made by hand should pass [`Truth::faults`]; one that does not gives a season without the parts that make
/// no sense, and does not panic.
///
/// ```
/// use haltmark::simulate::{Truth, season};
///
/// let mut truth = Truth::default();
/// truth.season.sessions = 3;
/// let simulated = season(&truth, 7);
/// assert_eq!(simulated.season.runs.len(), 3 * 8);
/// assert_eq!(simulated, season(&truth, 7));
/// ```
pub fn season(truth: &Truth, seed: u64) -> SimulatedSeason {
    let rigs = resolved_rigs(truth);
    let mut book = Notebook::new(truth, seed);
    for session in 0..truth.season.sessions {
        let mut order: Vec<usize> = (0..rigs.len()).collect();
        // Wheels are changed once a session; who goes first takes turns, so that no rig always has the tired floor.
        if session % 2 == 1 {
            order.reverse();
        }
        let days: Vec<RigDay> = (0..rigs.len())
            .map(|rig| RigDay::drawn(truth, seed, session, rig, &rigs[rig]))
            .collect();
        book.open_session(session);
        for &rig in &order {
            for roll in 0..rigs[rig].hand_rolls(truth, session) {
                book.hand_roll(&rigs[rig], rig, &days[rig], roll);
            }
        }
        for &rig in &order {
            book.launches(&rigs[rig], rig, &days[rig]);
        }
    }
    book.season
}

/// The season as it is being written down.
struct Notebook<'t> {
    truth: &'t Truth,
    seed: u64,
    season: SimulatedSeason,
    session: usize,
    /// Rows so far in this session.
    rows: usize,
    /// Launches so far in this session.
    launched: usize,
}

impl<'t> Notebook<'t> {
    fn new(truth: &'t Truth, seed: u64) -> Self {
        Notebook {
            truth,
            seed,
            season: SimulatedSeason {
                season: Season {
                    files: vec!["simulated".to_string()],
                    ..Season::default()
                },
                notes: Vec::new(),
                exact: Vec::new(),
                shifts: Vec::new(),
                ticks_per_turn: truth.settings.ticks_per_turn.max(1),
                comments: truth.season.comments.clone(),
            },
            session: 0,
            rows: 0,
            launched: 0,
        }
    }

    fn open_session(&mut self, session: usize) {
        self.session = session;
        self.rows = 0;
        self.launched = 0;
    }

    /// A row with its labels and nothing measured, and what is planted in it.
    fn begin(
        &mut self,
        rig: &ResolvedRig,
        day: &RigDay,
        kind: Kind,
    ) -> (Run, Option<&'t PlantedRow>) {
        self.rows += 1;
        let (truth, session, rows) = (self.truth, self.session, self.rows);
        let floor = truth
            .floors
            .iter()
            .find(|floor| floor.sessions.contains(&(session + 1)))
            .map_or(&truth.floor, |floor| &floor.floor);
        let lists = &mut self.season.season;
        let run = Run {
            file: 0,
            line: lists.runs.len() as u32 + 1,
            session: label(&mut lists.sessions, &truth.session_label(session)),
            order: rows as f64,
            date: truth.date(session),
            vehicle: label(&mut lists.vehicles, &rig.vehicle),
            wheels: label(&mut lists.wheels, &rig.wheels),
            build: label(&mut lists.builds, truth.build_label(session)),
            trim: label(&mut lists.trims, truth.trim_label(session)),
            floor: label(&mut lists.floors, floor),
            kind,
            status: Status::Ok,
            target_m: None,
            turns: None,
            rest_m: None,
            right_m: None,
            aim_right_m: None,
            miss_m: None,
            lead_turns: None,
            recoil_m: None,
            gap_m: None,
            load: None,
            time_s: None,
        };
        let shift = SessionShift {
            session: run.session,
            vehicle: run.vehicle,
            wheels: run.wheels,
            long_m: day.long_m,
            right_rad: day.right_rad,
        };
        if !self.season.shifts.iter().rev().any(|known| *known == shift) {
            self.season.shifts.push(shift);
        }
        let planted = truth
            .rows
            .iter()
            .find(|row| row.session == session + 1 && row.run == rows);
        (run, planted)
    }

    fn hand_roll(&mut self, rig: &ResolvedRig, index: usize, day: &RigDay, roll: usize) {
        let rolls = &self.truth.hand_rolls;
        let Some(&turns) = rolls.turns.get(roll % rolls.turns.len().max(1)) else {
            return;
        };
        let (mut run, planted) = self.begin(rig, day, Kind::HandRoll);
        let stream = roll * (self.truth.rigs.len() + 1) + index;
        let mut chance = Chance::new(self.seed, Purpose::HandRoll, self.session, stream);
        // Pushed slowly, a wheel does not slip: it covers more in a turn than when it is launched and braked.
        let per_turn_m = rig.travel.distance_per_turn_m / (1.0 - rolls.launch_slip).max(0.01);
        let turns = turns_from_ticks(self.truth, whole_ticks(self.truth, turns));
        let pushed_on_m = planted.map_or(0.0, |row| row.long_m);
        let rest_m =
            (per_turn_m * turns + rolls.run_to_run_m * chance.normal() + pushed_on_m).max(0.0);
        run.turns = Some(turns);
        run.rest_m = planted
            .is_none_or(|row| row.measured)
            .then(|| taped(self.truth, rest_m));
        let exact = ExactRun {
            turns,
            arc_m: rest_m,
            chord_heading_rad: 0.0,
            ahead_m: rest_m,
            right_m: 0.0,
            gap_m: None,
        };
        self.write(run, exact, planted);
    }

    fn launches(&mut self, rig: &ResolvedRig, index: usize, day: &RigDay) {
        let n = rig.launches(self.session);
        let mut order = Chance::new(self.seed, Purpose::Order, self.session, index);
        let targets = shared_out(&self.truth.season.targets_m, n, self.session, &mut order);
        let leads = shared_out(&self.truth.season.leads_turns, n, self.session, &mut order);
        let mut chased = Chased::default();
        for (&target_m, &lead_turns) in targets.iter().zip(&leads) {
            self.launch(rig, day, target_m, lead_turns, &mut chased);
        }
    }

    fn launch(
        &mut self,
        rig: &ResolvedRig,
        day: &RigDay,
        target_m: f64,
        lead_turns: f64,
        chased: &mut Chased,
    ) {
        let (mut run, planted) = self.begin(rig, day, Kind::Launch);
        self.launched += 1;
        let stream = Chance::new(self.seed, Purpose::Launch, self.session, self.launched);
        let launch = SimulatedLaunch {
            truth: self.truth,
            rig,
            day,
            session: self.session,
            before: self.launched - 1,
            draws: Draws::from_stream(stream),
            planted,
        };
        let setting = launch.setting(target_m, lead_turns, chased);
        let outcome = launch.outcome(&setting);
        run.target_m = Some(target_m);
        run.turns = Some(outcome.exact.turns);
        run.lead_turns = Some(lead_turns);
        run.aim_right_m = Some(setting.aim_right_m);
        run.status = outcome.status;
        if planted.is_none_or(|row| row.measured) {
            launch.measure(&mut run, &outcome, &setting);
        }
        launch.chase(&run, chased);
        launch.slip(&mut run);
        self.write(run, outcome.exact, planted);
    }

    /// Adds the row to the season, with the slip of the pencil that is planted there.
    fn write(&mut self, mut run: Run, exact: ExactRun, planted: Option<&PlantedRow>) {
        if let Some(row) = planted {
            slip(&mut run, row, ticks_per_turn(self.truth));
            if let (Kind::HandRoll, Some(status)) = (run.kind, row.status) {
                run.status = status;
            }
        }
        self.season.season.runs.push(run);
        self.season.exact.push(exact);
        self.season
            .notes
            .push(planted.map_or(String::new(), |row| row.note.clone()));
    }
}

/// Miswrites the planted column: times × read + add, in the column's own unit.
fn slip(run: &mut Run, row: &PlantedRow, ticks_per_turn: f64) {
    let written = |read: f64| row.times * read + row.add;
    let in_cm = |read_m: f64| settled(written(read_m * 100.0) / 100.0, 1e5);
    match row.column.as_deref() {
        Some("turns") => {
            run.turns = run.turns.map(|turns| {
                let whole = (turns + 1e-9).floor();
                written(whole) + (turns - whole)
            });
        }
        Some("ticks") => {
            run.turns = run.turns.map(|turns| {
                let whole = (turns + 1e-9).floor();
                whole + written((turns - whole) * ticks_per_turn) / ticks_per_turn
            });
        }
        Some("aim_right_cm") => run.aim_right_m = run.aim_right_m.map(in_cm),
        Some("right_cm") => run.right_m = run.right_m.map(in_cm),
        Some("long_cm") => {
            let target_m = run.target_m.unwrap_or(0.0);
            run.rest_m = run.long_m().map(|long_m| target_m + in_cm(long_m));
        }
        _ => {}
    }
}

/// Index of a label in its list, added where it is new.
fn label(list: &mut Vec<String>, text: &str) -> Label {
    let found = list.iter().position(|known| known == text);
    found.unwrap_or_else(|| {
        list.push(text.to_string());
        list.len() - 1
    }) as Label
}

/// `n` of the values in random order. Values are taken in turn, each session going on where the one before stopped.
fn shared_out(values: &[f64], n: usize, session: usize, chance: &mut Chance) -> Vec<f64> {
    if values.is_empty() {
        return Vec::new();
    }
    let start = session * n % values.len();
    let mut shared: Vec<f64> = (start..start + n)
        .map(|i| values[i % values.len()])
        .collect();
    chance.shuffle(&mut shared);
    shared
}
