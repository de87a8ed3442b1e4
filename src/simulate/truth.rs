//! What is true of an invented vehicle and its season, in SI units; the defaults.
//!
//! The file it is written in has the names and units of `calibration.json`: `truth_keys.rs` lists them, `truth_file.rs`
//! reads and prints it.

use jiff::civil::Date;

use crate::log::run::Status;

/// Everything that decides a season but chance.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Truth {
    /// Label of the vehicle.
    pub vehicle: String,
    /// Label of its first wheel set.
    pub wheels: String,
    /// Label of its first build.
    pub build: String,
    /// Label of its first trim.
    pub trim: String,
    /// Label of the floor where no [`FloorTruth`] says otherwise.
    pub floor: String,
    /// Along.
    pub travel: TravelTruth,
    /// Across.
    pub heading: HeadingTruth,
    /// Rolling back.
    pub recoil: RecoilTruth,
    /// How many sessions and runs, at which targets and leads.
    pub season: PlannedSeason,
    /// How the settings are chosen.
    pub settings: Settings,
    /// What the model of the calibration leaves out.
    pub effects: Effects,
    /// What is measured and how finely.
    pub measuring: Measuring,
    /// What goes wrong by chance.
    pub wrong: Mishaps,
    /// Slow pushes with the brake free.
    pub hand_rolls: HandRollsTruth,
    /// The fragile load, where one is watched.
    pub load: Option<LoadTruth>,
    /// The run time, where it is taken.
    pub time: Option<TimeTruth>,
    /// The obstacle, if there is one.
    pub obstacle: Option<ObstacleTruth>,
    /// Further rigs: other wheel sets, other vehicles.
    pub rigs: Vec<RigTruth>,
    /// Later builds.
    pub builds: Vec<BuildTruth>,
    /// Later trims.
    pub trims: Vec<TrimTruth>,
    /// Floors of some sessions.
    pub floors: Vec<FloorTruth>,
    /// Single rows to which something happens.
    pub rows: Vec<PlantedRow>,
}

/// How far it goes: s = overshoot + distance per turn × turns + lead effect + day + run.
#[derive(Debug, Clone, PartialEq)]
pub struct TravelTruth {
    /// Distance per turn.
    pub distance_per_turn_m: f64,
    /// Distance after the turns are used up, at `overshoot_at_lead_turns`.
    pub overshoot_m: f64,
    /// SD from one run to the next.
    pub run_to_run_m: f64,
    /// SD from one session to the next.
    pub between_sessions_m: f64,
    /// Overshoot gained by a turn of lead.
    pub lead_m_per_turn: f64,
    /// The lead at which the overshoot is the one above; `None`: the mean of the season's leads.
    pub overshoot_at_lead_turns: Option<f64>,
}

/// Where it goes: chord heading = aim + straight + curvature·s/2 + day + run.
#[derive(Debug, Clone, PartialEq)]
pub struct HeadingTruth {
    /// Straight bias δ, right positive. The file's `straight_cm_per_m` is 100·δ.
    pub straight_rad: f64,
    /// Curvature κ, right positive. The file's `curve_cm_per_m2` is 100·κ/2.
    pub curvature_per_m: f64,
    /// SD from one run to the next.
    pub run_to_run_rad: f64,
    /// SD from one session to the next.
    pub between_sessions_rad: f64,
}

/// Rolling back: chance = logistic(per_turn × (lead − half lead)).
#[derive(Debug, Clone, PartialEq)]
pub struct RecoilTruth {
    /// The lead with an even chance.
    pub half_lead_turns: f64,
    /// Log-odds a turn.
    pub per_turn: f64,
    /// Median roll-back.
    pub roll_back_m: f64,
    /// How far before the hard stop such a run turns round, as a median.
    pub short_m: f64,
    /// Share of the runs that are watched for it (a run that rolls back always is).
    pub watched: f64,
}

/// How many sessions and runs, at which targets and leads.
#[derive(Debug, Clone, PartialEq)]
pub struct PlannedSeason {
    /// Number of sessions.
    pub sessions: usize,
    /// Launches of the first rig in each session; a list is gone through again when it ends.
    pub runs_per_session: Vec<usize>,
    /// Targets; each session takes them in turn and shuffles them.
    pub targets_m: Vec<f64>,
    /// Leads, shared out the same way; one named twice is used twice as often.
    pub leads_turns: Vec<f64>,
    /// Seed, where none is asked for.
    pub seed: u64,
    /// Day of the first session; `None`: the log has no dates.
    pub first_date: Option<Date>,
    /// Days from one session to the next.
    pub days_between: i64,
    /// Days of the sessions, in place of the two above.
    pub dates: Vec<Date>,
    /// Labels of the sessions; `1`, `2`, ... where it is too short.
    pub session_labels: Vec<String>,
    /// Part of the variance between sessions that all rigs share on a day, 0–1.
    pub shared_shift: f64,
    /// Comment lines at the top of the log.
    pub comments: Vec<String>,
}

/// How the settings are chosen.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Divisions of the wheel dial.
    pub ticks_per_turn: u32,
    /// Step of the aim mark.
    pub aim_step_m: f64,
    /// What whoever winds takes for the distance per turn; `None`: the truth.
    pub believed_distance_per_turn_m: Option<f64>,
    /// And for the overshoot; `None`: the truth.
    pub believed_overshoot_m: Option<f64>,
    /// One aim offset for all targets; `None`: what brings the mean run onto the line at the target.
    pub aim_right_m: Option<f64>,
    /// SD of turns wound on purposely beside that.
    pub vary_turns: f64,
    /// SD of the aim offset placed purposely beside that.
    pub vary_aim_m: f64,
    /// Share of each miss by which dial and mark are moved for the rest of the session; 1 is the common habit.
    pub chase: f64,
}

/// What the calibration's model leaves out, all 0 unless asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Effects {
    /// How much longer the first launch of a session goes.
    pub first_run_long_m: f64,
    /// How much longer each launch of a session goes than the one before.
    pub drift_long_m_per_run: f64,
    /// How much longer each session goes than the one before.
    pub drift_long_m_per_session: f64,
    /// SD of a factor on the distance per turn from one session to the next.
    pub stretch: f64,
    /// Run-to-run SD that grows with distance, m per m, added to the constant one in squares.
    pub spread_m_per_m: f64,
    /// Bend of travel in turns: this times (turns − turns for the middle target)².
    pub bend_m_per_turn2: f64,
    /// How much further right the first launch of a session heads, rad.
    pub first_run_right_rad: f64,
    /// How much further right each launch of a session heads than the one before, rad.
    pub drift_right_rad_per_run: f64,
    /// How much further right each session heads than the one before, rad.
    pub drift_right_rad_per_session: f64,
    /// Correlation of the run-to-run parts of long and right, −1 to 1.
    pub long_with_right: f64,
    /// How lopsided runs scatter along: (z + a·(z² − 1))/√(1 + 2a²) in place of a normal z, which keeps mean and SD and
    /// has the skewness (6a + 8a³)/(1 + 2a²)^1.5; above 0 a few go far too long.
    pub lopsided: f64,
    /// Chance that a run's spread along is `wild_times` as large.
    pub wild: f64,
    /// Chance that a run's spread across is.
    pub wild_right: f64,
    /// How many times as large.
    pub wild_times: f64,
}

/// What is measured and how finely.
#[derive(Debug, Clone, PartialEq)]
pub struct Measuring {
    /// Tape readings are rounded to this; 0: written to a hundredth of a millimetre.
    pub tape_step_m: f64,
    /// Share of the runs with the straight distance taped.
    pub miss_noted: f64,
    /// Share of the runs measured across.
    pub right_noted: f64,
}

/// What goes wrong by chance.
#[derive(Debug, Clone, PartialEq)]
pub struct Mishaps {
    /// Chance that a run is called void before measuring.
    pub void: f64,
    /// SD of what that adds along; across it adds a tenth of it.
    pub void_long_m: f64,
    /// Chance that whole turns are written ten too many or too few.
    pub slip: f64,
}

/// Slow pushes with the brake free.
#[derive(Debug, Clone, PartialEq)]
pub struct HandRollsTruth {
    /// How many for each rig in a session.
    pub runs_per_session: usize,
    /// In which sessions, counted from 1; empty: in all.
    pub sessions: Vec<usize>,
    /// Turns rolled, in turn.
    pub turns: Vec<f64>,
    /// By how much a launch covers less in a turn than a hand roll, as a share.
    pub launch_slip: f64,
    /// SD of a roll.
    pub run_to_run_m: f64,
}

/// The fragile load: chance of breaking = logistic(per_turn × (lead − half lead)).
#[derive(Debug, Clone, PartialEq)]
pub struct LoadTruth {
    /// The lead with an even chance.
    pub half_lead_turns: f64,
    /// Log-odds a turn; below 0, since a gentler stop breaks less.
    pub per_turn: f64,
    /// Share of the runs with a load that was looked at.
    pub noted: f64,
}

/// Run time: start + per metre × path + run.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeTruth {
    /// Time that does not depend on the distance.
    pub start_s: f64,
    /// Time for each metre of path.
    pub s_per_m: f64,
    /// SD from one run to the next.
    pub run_to_run_s: f64,
    /// Step of the watch.
    pub step_s: f64,
    /// Share of the runs timed.
    pub noted: f64,
}

/// An obstacle beside the line, and who watches it.
#[derive(Debug, Clone, PartialEq)]
pub struct ObstacleTruth {
    /// Where along the line, as a fraction of the target.
    pub at: f64,
    /// Where across it.
    pub right_m: f64,
    /// Its diameter.
    pub diameter_m: f64,
    /// Width of the vehicle.
    pub width_m: f64,
    /// Whether the vehicle must go by on its left (else on its right).
    pub pass_left: bool,
    /// Share of the runs whose gap is measured.
    pub gap_noted: f64,
}

/// A further rig. What is `None` is as for the first.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RigTruth {
    /// Label of the vehicle.
    pub vehicle: Option<String>,
    /// Label of the wheel set.
    pub wheels: Option<String>,
    /// Distance per turn.
    pub distance_per_turn_m: Option<f64>,
    /// Distance after the turns are used up.
    pub overshoot_m: Option<f64>,
    /// SD along from one run to the next.
    pub run_to_run_m: Option<f64>,
    /// SD along from one session to the next.
    pub between_sessions_m: Option<f64>,
    /// Straight bias, right positive.
    pub straight_rad: Option<f64>,
    /// Curvature, right positive.
    pub curvature_per_m: Option<f64>,
    /// SD of the heading from one run to the next.
    pub run_to_run_rad: Option<f64>,
    /// SD of the heading from one session to the next.
    pub between_sessions_rad: Option<f64>,
    /// Launches in each session it takes part in.
    pub runs_per_session: Option<Vec<usize>>,
    /// The sessions it takes part in, counted from 1; empty: all.
    pub sessions: Vec<usize>,
}

/// A later build; other rigs' overshoot moves by as much as the first rig's.
#[derive(Debug, Clone, PartialEq)]
pub struct BuildTruth {
    /// Its label.
    pub build: String,
    /// First session with it, counted from 1.
    pub from_session: usize,
    /// The first rig's overshoot with it; `None`: as in [`TravelTruth`].
    pub overshoot_m: Option<f64>,
}

/// A later trim; other rigs' heading moves by as much as the first rig's.
#[derive(Debug, Clone, PartialEq)]
pub struct TrimTruth {
    /// Its label.
    pub trim: String,
    /// First session with it, counted from 1.
    pub from_session: usize,
    /// The first rig's straight bias with it; `None`: as in [`HeadingTruth`].
    pub straight_rad: Option<f64>,
    /// The first rig's curvature with it; `None`: as in [`HeadingTruth`].
    pub curvature_per_m: Option<f64>,
}

/// A floor with a shift of its own.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FloorTruth {
    /// Its label.
    pub floor: String,
    /// The sessions held on it, counted from 1.
    pub sessions: Vec<usize>,
    /// How much longer runs go on it.
    pub long_m: f64,
    /// How much further right, rad.
    pub right_rad: f64,
}

/// One row of the log to which something happens.
///
/// `long_m` happens to the vehicle; `column` with `add` and `times` happens to the pencil: the value written is
/// `times` × what was read + `add`, in the column's own unit.
#[derive(Debug, Clone, PartialEq)]
pub struct PlantedRow {
    /// Session, counted from 1.
    pub session: usize,
    /// Row within the session, counted from 1 (hand rolls come first).
    pub run: usize,
    /// What becomes of it; `None`: whatever chance made of it.
    pub status: Option<Status>,
    /// How much further it goes.
    pub long_m: f64,
    /// Whether its rest is measured.
    pub measured: bool,
    /// Column miswritten: `turns`, `ticks`, `aim_right_cm`, `long_cm` or `right_cm`.
    pub column: Option<String>,
    /// Added to what is written.
    pub add: f64,
    /// Multiplies what is written.
    pub times: f64,
    /// What stands in the note.
    pub note: String,
}

impl Default for TravelTruth {
    /// A vehicle of the usual kind: 23–24 cm a turn (common practice, no source).
    fn default() -> Self {
        TravelTruth {
            distance_per_turn_m: 0.235,
            overshoot_m: 0.28,
            run_to_run_m: 0.05,
            between_sessions_m: 0.06,
            lead_m_per_turn: 0.0,
            overshoot_at_lead_turns: None,
        }
    }
}

impl Default for HeadingTruth {
    /// Sighted a little left, bending gently right.
    fn default() -> Self {
        HeadingTruth {
            straight_rad: -0.02,
            // 0.9 cm/m², see the field.
            curvature_per_m: 0.9 / 50.0,
            run_to_run_rad: 0.006,
            between_sessions_rad: 0.005,
        }
    }
}

impl Default for RecoilTruth {
    /// Rare with the usual lead of one to two turns, common beyond (common practice, no source).
    fn default() -> Self {
        RecoilTruth {
            half_lead_turns: 2.3,
            per_turn: 5.0,
            roll_back_m: 0.06,
            short_m: 0.05,
            watched: 1.0,
        }
    }
}

impl Default for PlannedSeason {
    fn default() -> Self {
        PlannedSeason {
            sessions: 6,
            runs_per_session: vec![8],
            targets_m: vec![6.0, 7.0, 8.0, 9.0],
            leads_turns: vec![1.5],
            seed: 1,
            first_date: None,
            days_between: 7,
            dates: Vec::new(),
            session_labels: Vec::new(),
            shared_shift: 0.5,
            comments: vec!["invented runs, made from a truth file; no real vehicle".to_string()],
        }
    }
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            ticks_per_turn: 20,
            aim_step_m: 0.005,
            believed_distance_per_turn_m: None,
            believed_overshoot_m: None,
            aim_right_m: None,
            vary_turns: 0.0,
            vary_aim_m: 0.0,
            chase: 0.0,
        }
    }
}

impl Default for Measuring {
    /// To the half centimetre, as two people with a tape do.
    fn default() -> Self {
        Measuring {
            tape_step_m: 0.005,
            miss_noted: 0.0,
            right_noted: 1.0,
        }
    }
}

impl Default for Effects {
    fn default() -> Self {
        Effects {
            first_run_long_m: 0.0,
            drift_long_m_per_run: 0.0,
            drift_long_m_per_session: 0.0,
            stretch: 0.0,
            spread_m_per_m: 0.0,
            bend_m_per_turn2: 0.0,
            first_run_right_rad: 0.0,
            drift_right_rad_per_run: 0.0,
            drift_right_rad_per_session: 0.0,
            long_with_right: 0.0,
            lopsided: 0.0,
            wild: 0.0,
            wild_right: 0.0,
            wild_times: 4.0,
        }
    }
}

impl Default for Mishaps {
    fn default() -> Self {
        Mishaps {
            void: 0.0,
            void_long_m: 0.8,
            slip: 0.0,
        }
    }
}

impl Default for HandRollsTruth {
    /// A launched wheel covers about 2 % less in a turn than a slowly pushed one (`model.md` §2).
    fn default() -> Self {
        HandRollsTruth {
            runs_per_session: 0,
            sessions: Vec::new(),
            turns: vec![20.0, 30.0],
            launch_slip: 0.02,
            run_to_run_m: 0.02,
        }
    }
}

impl Default for LoadTruth {
    fn default() -> Self {
        LoadTruth {
            half_lead_turns: 0.4,
            per_turn: -4.0,
            noted: 1.0,
        }
    }
}

impl Default for TimeTruth {
    fn default() -> Self {
        TimeTruth {
            start_s: 0.7,
            s_per_m: 0.32,
            run_to_run_s: 0.08,
            step_s: 0.01,
            noted: 1.0,
        }
    }
}

impl Default for ObstacleTruth {
    fn default() -> Self {
        ObstacleTruth {
            at: 0.5,
            right_m: 0.25,
            diameter_m: 0.2,
            width_m: 0.18,
            pass_left: true,
            gap_noted: 0.0,
        }
    }
}

impl Default for BuildTruth {
    fn default() -> Self {
        BuildTruth {
            build: String::new(),
            from_session: 1,
            overshoot_m: None,
        }
    }
}

impl Default for TrimTruth {
    fn default() -> Self {
        TrimTruth {
            trim: String::new(),
            from_session: 1,
            straight_rad: None,
            curvature_per_m: None,
        }
    }
}

impl Default for PlantedRow {
    fn default() -> Self {
        PlantedRow {
            session: 1,
            run: 1,
            status: None,
            long_m: 0.0,
            measured: true,
            column: None,
            add: 0.0,
            times: 1.0,
            note: String::new(),
        }
    }
}

impl TravelTruth {
    /// The lead at which the overshoot is `overshoot_m`.
    pub fn reference_lead_turns(&self, leads_turns: &[f64]) -> f64 {
        self.overshoot_at_lead_turns.unwrap_or_else(|| {
            let n = leads_turns.len().max(1) as f64;
            leads_turns.iter().sum::<f64>() / n
        })
    }
}
