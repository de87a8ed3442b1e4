//! One run of a log, typed, in metres and turns, with its labels as small numbers.

use jiff::civil::Date;

/// A label (session, vehicle, wheels, build, trim, floor) as its index in [`Season`]'s list of that kind.
pub type Label = u32;

/// Whether the brake was to stop the run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Kind {
    /// Pulled off the launcher and stopped by the brake.
    #[default]
    Launch,
    /// Pushed slowly with the brake free: measures distance per turn.
    HandRoll,
}

/// What became of a run, after the rules of the contract (`recoil_cm`, `gap_cm`) were applied.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Status {
    /// Nothing went wrong.
    #[default]
    Ok,
    /// Rolled back after the stop.
    Recoil,
    /// Met the obstacle.
    Touched,
    /// Something else went wrong, and that was said before measuring.
    Void,
}

/// What became of the fragile load.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Load {
    /// Arrived in one piece.
    Whole,
    /// Broke.
    Broken,
}

/// One release of the vehicle, from the start mark to rest.
///
/// Lengths in metres. `None` means not written down. A void run may lack anything but its session.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Run {
    /// Which file, as an index into [`Season::files`].
    pub file: u32,
    /// Line (or spreadsheet row) in that file, counted from 1.
    pub line: u32,
    /// Session label.
    pub session: Label,
    /// Order within the session, from the column `run`; row order where it is absent.
    pub order: f64,
    /// Day of the run.
    pub date: Option<Date>,
    /// Vehicle label.
    pub vehicle: Label,
    /// Wheel set label.
    pub wheels: Label,
    /// Build label.
    pub build: Label,
    /// Trim label.
    pub trim: Label,
    /// Floor label.
    pub floor: Label,
    /// Launch or hand roll.
    pub kind: Kind,
    /// What became of it.
    pub status: Status,
    /// Distance from the start mark to the target.
    pub target_m: Option<f64>,
    /// Turns wound on, whole turns and ticks together.
    pub turns: Option<f64>,
    /// Where it came to rest along the line, from the start mark (target + long).
    pub rest_m: Option<f64>,
    /// Where it came to rest across the line, right positive.
    pub right_m: Option<f64>,
    /// Offset of the aim mark from the target, right positive; `Some(0)` in a season's log without the column.
    pub aim_right_m: Option<f64>,
    /// Straight distance taped from target to rest.
    pub miss_m: Option<f64>,
    /// Brake lead.
    pub lead_turns: Option<f64>,
    /// Roll-back, where it was noted.
    pub recoil_m: Option<f64>,
    /// Measured clearance from the obstacle.
    pub gap_m: Option<f64>,
    /// What became of the load.
    pub load: Option<Load>,
    /// Run time, s.
    pub time_s: Option<f64>,
}

impl Run {
    /// Whether the run tells how far turns carry the vehicle: an `ok` launch with turns and rest.
    pub fn is_fitted(&self) -> bool {
        self.kind == Kind::Launch
            && self.status == Status::Ok
            && self.turns.is_some()
            && self.rest_m.is_some()
    }

    /// Whether somebody watched for recoil (`src/contract.md`: status `recoil`, or `recoil_cm` filled).
    pub fn recoil_was_watched(&self) -> bool {
        self.kind == Kind::Launch && (self.status == Status::Recoil || self.recoil_m.is_some())
    }

    /// Whether it is noted that somebody watched and the launch did not roll back.
    pub fn stayed_put(&self) -> bool {
        self.recoil_was_watched() && self.status != Status::Recoil
    }

    /// Where it came to rest past the target (+) or before it (−).
    pub fn long_m(&self) -> Option<f64> {
        Some(self.rest_m? - self.target_m?)
    }
}

/// Everything read from one or more logs: runs in file and row order, and the words of their labels.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Season {
    /// Log names as given.
    pub files: Vec<String>,
    /// Every row, void runs and hand rolls included.
    pub runs: Vec<Run>,
    /// Session labels, in order of first appearance.
    pub sessions: Vec<String>,
    /// Vehicle labels.
    pub vehicles: Vec<String>,
    /// Wheel set labels.
    pub wheels: Vec<String>,
    /// Build labels.
    pub builds: Vec<String>,
    /// Trim labels.
    pub trims: Vec<String>,
    /// Floor labels.
    pub floors: Vec<String>,
    /// Label cells left empty that repeat the row above.
    pub repeated_labels: usize,
    /// Whether a run has a number of dial ticks.
    pub ticks_seen: bool,
    /// Whether a log lacks the column `aim_right_cm`, so that its runs are taken as aimed at the target itself.
    pub aimed_at_target: bool,
    /// Slips of the pencil that the logs show by themselves, the first of many.
    pub slips: Vec<RowSlip>,
}

/// A row that looks wrong beside the others of its log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowSlip {
    /// Log, as an index into [`Season::files`].
    pub file: u32,
    /// Line in it.
    pub line: u32,
    /// Where and why, as a sentence.
    pub says: String,
}

impl Season {
    /// A season with this one's files and labels, and the runs given.
    pub fn with(&self, runs: Vec<Run>) -> Season {
        Season {
            files: self.files.clone(),
            runs,
            sessions: self.sessions.clone(),
            vehicles: self.vehicles.clone(),
            wheels: self.wheels.clone(),
            builds: self.builds.clone(),
            trims: self.trims.clone(),
            floors: self.floors.clone(),
            repeated_labels: self.repeated_labels,
            ticks_seen: self.ticks_seen,
            aimed_at_target: self.aimed_at_target,
            slips: self.slips.clone(),
        }
    }

    /// Days of the first and the last dated run.
    pub fn days(&self) -> Option<(Date, Date)> {
        let dated = || self.runs.iter().filter_map(|run| run.date);
        dated().min().zip(dated().max())
    }
}
