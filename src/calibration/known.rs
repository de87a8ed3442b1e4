//! What a season has taught, as values: what `calibration.json` keeps and every decision is made from.

use super::chronicle::Chronicle;
use super::heading;
use super::range::EventRange;
use super::recoil;
use super::rows::RunCounts;
use super::story::Story;
use crate::error::Error;
use crate::log;
use crate::setup::Setup;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::{Posterior, Row};
use jiff::civil::Date;
use serde::{Deserialize, Deserializer, Serialize};

/// Everything a season has taught, as `calibration.json` keeps it.
#[derive(Debug, Clone)]
pub struct Calibration {
    /// Of every interval in it.
    pub level: Level,
    /// The set-up it was made under.
    pub setup: Setup,
    /// Shortest and longest target in the logs, m; NaN where none was written.
    pub log_targets_m: (f64, f64),
    /// What holds for the whole season: rigs that could not be fitted, runs that were left out.
    pub warnings: Vec<String>,
    /// The logs it came from, as given.
    pub logs: Vec<String>,
    /// One for each rig that could be fitted, in order of first appearance.
    pub rigs: Vec<Rig>,
    /// The season as it happened, over all rigs; `None` when read back from a file, and for an archive.
    pub chronicle: Option<Chronicle>,
}

impl Calibration {
    /// The nearest and the farthest target that can be asked for, m: half of the logs' shortest and twice their longest, and
    /// whatever can be announced.
    pub fn told_targets_m(&self) -> (f64, f64) {
        let (shortest_m, longest_m) = self.log_targets_m;
        let (least_m, most_m) = (shortest_m / 2.0, 2.0 * longest_m);
        let event = &self.setup.event;
        (
            event.shortest_m.unwrap_or(least_m).min(least_m),
            event.longest_m.unwrap_or(most_m).max(most_m),
        )
    }

    /// What can be announced: the set-up's range, else that of the logs' targets.
    ///
    /// # Errors
    /// [`Error::CannotAnswer`] when the two leave nothing.
    pub fn range(&self) -> Result<EventRange, Error> {
        EventRange::from_setup(&self.setup, self.log_targets_m)
    }
}

/// One vehicle with one wheel set.
///
/// Serialised as it stands in `calibration.json` under `knows`; what is skipped stands beside that, or in no file.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Rig {
    /// `VEHICLE/WHEELS`, as `--rig` takes it; blank where neither has a label.
    pub name: String,
    /// Vehicle label, may be blank.
    pub vehicle: String,
    /// Wheel set label, may be blank.
    pub wheels: String,
    /// How many runs of which kind.
    pub counts: RunCounts,
    /// Arc on turns.
    pub travel: Travel,
    /// Heading excess on arc; `None` where the log does not tell (no `right_cm`, or too few runs).
    pub heading: Option<Heading>,
    /// Run time on arc: (intercept s, slope s/m); `None` with fewer than six timed runs.
    pub time: Option<Posterior>,
    /// Bias across at the shortest, middle and longest target, for each trim.
    pub lateral_bias: Vec<LateralBias>,
    /// Range of curvature that clears the obstacle often enough at every target, 1/m; filled in by `decide`.
    #[serde(deserialize_with = "ends")]
    pub bend_wanted_per_m: Option<(f64, f64)>,
    /// How each session came out when predicted from the others.
    pub left_out: LeftOut,
    /// Is the model enough? In words.
    #[serde(skip)]
    pub checks: Vec<Check>,
    /// Runs the program did not fit, with the reason.
    #[serde(skip)]
    pub set_aside: Vec<SetAside>,
    /// What a reader should know before trusting the numbers: first what looks wrong in the rows of the log.
    #[serde(skip)]
    pub warnings: Vec<String>,
    /// How many of `warnings` are about rows of the log.
    pub slips: usize,
    /// Days of its first and its last launch, where any is dated.
    pub days: Option<(Date, Date)>,
    /// Labels of the sessions it was fitted from.
    pub session_labels: Vec<String>,
    /// The launches it was fitted from, sorted, as [`super::fingerprint::launch`] tells them.
    pub launches: Vec<String>,
    /// What the figures show; `None` when read back from a file.
    #[serde(skip)]
    pub story: Option<Story>,
}

/// A range whose infinite ends JSON has as `null`.
fn ends<'de, D: Deserializer<'de>>(from: D) -> Result<Option<(f64, f64)>, D::Error> {
    let ends = Option::<(Option<f64>, Option<f64>)>::deserialize(from)?;
    let numbers = |(low, high): (Option<f64>, Option<f64>)| {
        (
            low.unwrap_or(f64::NEG_INFINITY),
            high.unwrap_or(f64::INFINITY),
        )
    };
    Ok(ends.map(numbers))
}

/// What is known of arc against turns.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Travel {
    /// Builds with fitted runs, in the order of their columns.
    pub builds: Vec<Build>,
    /// The newest of them.
    pub newest_build: usize,
    /// Column of distance per turn (the builds' own columns come first).
    pub turns_column: usize,
    /// Lead term: its column follows that of turns. `None` when the log cannot tell.
    pub lead_term: Option<LeadTerm>,
    /// N̄, mean turns of the fitted launches, at which the spreads are σ and τ.
    pub mean_turns: f64,
    /// Coefficients over the spread ratio and the growth of spreads: m, m per turn, m per turn of lead.
    pub posterior: Posterior,
    /// C, m per turn.
    pub distance_per_turn_m: Interval,
    /// What one more turn of lead adds to the arc, m.
    pub lead_m_per_turn: Option<Interval>,
    /// Prior on C that was in force.
    pub turn_prior: Option<TurnPrior>,
    /// Part of C's weight that came from it.
    pub prior_share: f64,
    /// σ at N̄ turns, m.
    pub run_to_run_m: Interval,
    /// τ at N̄ turns, m.
    pub between_sessions_m: Interval,
    /// Mean arc at N̄ turns of the newest build at its lead in use, m.
    pub spread_at_m: f64,
    /// γ, the power with which both grow with turns: that of largest weight, and what is left when the tails are cut off.
    pub spread_growth: Interval,
    /// σ̂ without pseudo-rows, by which they are weighted.
    pub sigma_for_priors_m: f64,
    /// Shortest and longest arc among the fitted runs.
    pub arc_range_m: (f64, f64),
    /// Fewest and most turns among them.
    pub turns_range: (f64, f64),
    /// What hand rolls measured.
    pub hand_rolls: Option<HandRolls>,
}

/// The linear term in brake lead.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LeadTerm {
    /// Column of the lead in the design.
    pub column: usize,
    /// L̄, what leads are counted from.
    pub mean_turns: f64,
}

/// One state of everything but wheels and steering.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Build {
    /// Label of the build in the log.
    pub label: String,
    /// Fitted launches.
    pub runs: usize,
    /// Sessions with them.
    pub sessions: usize,
    /// Overshoot at the rig's recommended lead (the newest build's), m.
    pub overshoot_m: Interval,
    /// Recoil against lead, as far as this build's runs (or all builds') tell.
    pub recoil: recoil::Recoil,
    /// The lead to use: `None` where no lead was written down.
    pub lead_turns: Option<f64>,
}

/// A weak prior on distance per turn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TurnPrior {
    /// Where it is centred, m per turn.
    pub mean_m: f64,
    /// Standard deviation of the prior, m per turn.
    pub sd_m: f64,
    /// What it rests on.
    pub source: TurnPriorSource,
}

/// What a prior on distance per turn rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TurnPriorSource {
    /// The wheel diameter of the set-up.
    WheelDiameter,
    /// Hand rolls in the log.
    HandRolls,
}

/// Distance per turn of the wheel itself.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct HandRolls {
    /// How many.
    pub runs: usize,
    /// C_hand = ΣsN/ΣN², m per turn.
    pub distance_per_turn_m: Interval,
    /// What a launch covers beyond C_hand·N, as (target, m), at the shortest and longest target.
    pub overshoot_at_m: Vec<(f64, f64)>,
}

/// What is known of heading excess against arc.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Heading {
    /// Trims with runs in the fit; trim k has δ in column 2k and κ/2's regressor in column 2k + 1.
    pub trims: Vec<Trim>,
    /// The newest trim, as an index into `trims`.
    pub newest_trim: usize,
    /// Posterior of the coefficients (rad, 1/m) over θ.
    pub posterior: Posterior,
    /// σ, rad.
    pub run_to_run_rad: Interval,
    /// τ, rad.
    pub between_sessions_rad: Interval,
    /// SD of the prior on each curvature, 1/m.
    pub curvature_prior_per_m: f64,
    /// σ̂ without pseudo-rows.
    pub sigma_for_priors_rad: f64,
    /// Runs in the fit.
    pub runs: usize,
    /// Whether κ̂ stopped at the bound that the longest chord sets.
    pub curvature_at_bound: bool,
}

/// One state of steering, sight and launcher.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Trim {
    /// Label of the trim in the log.
    pub label: String,
    /// Runs in the fit.
    pub runs: usize,
    /// Sessions with them.
    pub sessions: usize,
    /// δ, rad.
    pub straight_rad: Interval,
    /// κ, 1/m.
    pub curvature_per_m: Interval,
    /// κ̂, the posterior mean, by which chords are turned into arcs everywhere.
    pub curvature_point_per_m: f64,
    /// Part of κ's weight that came from the prior.
    pub prior_share: f64,
}

impl Heading {
    /// Design row of a trim at an arc.
    pub fn row(&self, trim: usize, arc_m: f64) -> Row {
        heading::row(self.trims.len(), trim, arc_m)
    }
}

impl Travel {
    /// Design row of a build at a number of turns and a lead.
    pub fn row(&self, build: usize, turns: f64, lead_turns: Option<f64>) -> Row {
        let mut x = vec![0.0; self.turns_column];
        x[build] = 1.0;
        x.push(turns);
        if let Some(term) = self.lead_term {
            x.push(lead_turns.map_or(0.0, |lead| lead - term.mean_turns));
        }
        Row {
            x,
            size: size(turns, self.mean_turns),
        }
    }
}

/// A run of next to no turns has some spread all the same: no size is below this.
const SIZE_MIN: f64 = 0.05;

/// The size of a run, N/N̄, that spreads along grow with.
pub fn size(turns: f64, mean_turns: f64) -> f64 {
    (turns / mean_turns).max(SIZE_MIN)
}

/// Mean distance to the right of a vehicle aimed at the target, at one target.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LateralBias {
    /// Which trim.
    pub trim: String,
    /// Target.
    pub distance_m: f64,
    /// d·sin(δ + κs(d)/2), uncertainty of the mean only.
    pub right_m: Interval,
}

/// Result of leave-one-session-out cross-validation.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct LeftOut {
    /// Sessions that could be predicted from the others.
    pub sessions: usize,
    /// Runs of these sessions.
    pub runs: usize,
    /// Runs whose long fell inside its interval at the calibration's level.
    pub inside: usize,
    /// Counts at several levels.
    pub at: Vec<LeftOutAt>,
    /// Each of these runs: where it came to rest against its prediction.
    #[serde(skip)]
    pub predictions: Vec<LeftOutRun>,
}

/// How many runs of sessions left out fell inside their interval at one level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LeftOutAt {
    /// The level.
    pub level: f64,
    /// Along.
    pub long: InsideCount,
    /// Across.
    pub right: InsideCount,
    /// The miss, from 0 to the value not exceeded with the level's chance.
    pub miss: InsideCount,
}

impl LeftOutAt {
    /// Nothing counted yet.
    pub fn none(level: f64) -> Self {
        let nothing = InsideCount::default();
        LeftOutAt {
            level,
            long: nothing,
            right: nothing,
            miss: nothing,
        }
    }
}

/// How many runs there were, and how many fell inside.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct InsideCount {
    /// Runs.
    pub of: usize,
    /// Inside.
    pub inside: usize,
}

impl InsideCount {
    /// One more run.
    pub fn add(&mut self, is_inside: bool) {
        self.of += 1;
        self.inside += usize::from(is_inside);
    }
}

/// One run against its prediction from the other sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOutRun {
    /// Session, as an index into the story's sessions.
    pub session: u32,
    /// Long less the median prediction, m.
    pub error_m: f32,
    /// Lower end of the interval of the error, m.
    pub low_m: f32,
    /// Upper end of the interval of the error, m.
    pub high_m: f32,
    /// The miss and the value it was not to exceed, m; `None` where nothing is known across.
    pub miss_m: Option<(f32, f32)>,
}

/// One check, in words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Check {
    /// What is checked.
    pub name: String,
    /// p value of the check, where it has one.
    pub p: Option<f64>,
    /// Whether there is nothing to do.
    pub ok: bool,
    /// What it means and what to do.
    pub means: String,
}

/// A run that the program did not fit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetAside {
    /// Log.
    pub log: String,
    /// Line in it.
    pub line: usize,
    /// Why, in words.
    pub why: String,
}

impl SetAside {
    /// Where in its log it stands: `line 7`, in a spreadsheet `row 7`.
    pub fn row(&self) -> String {
        format!("{} {}", log::row_word(&self.log), self.line)
    }
}
