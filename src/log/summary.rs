//! Counts of what a season holds: no wording, no statistics.

use std::collections::{BTreeSet, HashMap};

use jiff::civil::Date;

use super::group::{self, RigIndices};
use super::run::{Kind, Label, Run, Season, Status};

/// Smallest and largest of some numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Smallest.
    pub least: f64,
    /// Largest.
    pub most: f64,
}

impl Range {
    /// The range of some numbers; `None` without any.
    pub fn from_numbers(numbers: impl IntoIterator<Item = f64>) -> Option<Self> {
        numbers.into_iter().fold(None, |range, x| {
            Some(range.map_or(Range { least: x, most: x }, |r: Range| Range {
                least: r.least.min(x),
                most: r.most.max(x),
            }))
        })
    }
}

/// One session of one rig.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionSummary {
    /// Session label.
    pub session: Label,
    /// Earliest date among its runs.
    pub date: Option<Date>,
    /// Number of its runs with this rig.
    pub runs: usize,
    /// Hand rolls among them.
    pub hand_rolls: usize,
}

/// One rig, counted.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RigSummary {
    /// The rig and the indices of its runs.
    pub rig: RigIndices,
    /// Its sessions in order of first appearance.
    pub sessions: Vec<SessionSummary>,
    /// Launches.
    pub launches: usize,
    /// Hand rolls.
    pub hand_rolls: usize,
    /// Launches with status `ok`.
    pub ok: usize,
    /// Launches that rolled back.
    pub recoiled: usize,
    /// Launches that touched the obstacle.
    pub touched: usize,
    /// Void runs of either kind.
    pub void: usize,
    /// Launches fitted for travel.
    pub fitted: usize,
    /// Sessions with a fitted launch.
    pub fitted_sessions: usize,
    /// Fitted launches with both `right` and aim: those that tell the heading.
    pub with_heading: usize,
    /// Launches where somebody watched for a roll-back.
    pub recoil_watched: usize,
    /// Of these, noted to have stayed put.
    pub stayed_put: usize,
    /// Launches with a run time.
    pub timed: usize,
    /// Runs where the load was noted.
    pub load_noted: usize,
    /// Runs with a date.
    pub dated: usize,
    /// Distinct turns of the fitted launches, from few to many.
    pub turns: Vec<f64>,
    /// Targets of all launches that are not void, m.
    pub targets_m: Option<Range>,
    /// Distinct leads of the fitted launches, from short to long.
    pub leads_turns: Vec<f64>,
    /// Builds in order of first appearance.
    pub builds: Vec<Label>,
    /// Trims in order of first appearance, with the launches that tell each one's heading.
    pub trims: Vec<(Label, usize)>,
}

/// Counts every rig of a season, in order of first appearance.
pub fn summarise(season: &Season) -> Vec<RigSummary> {
    group::rigs(season)
        .into_iter()
        .map(|rig| summarise_rig(season, rig))
        .collect()
}

fn summarise_rig(season: &Season, rig: RigIndices) -> RigSummary {
    let mut counted = RigSummary::default();
    let mut sessions: HashMap<Label, usize> = HashMap::new();
    let mut trims: HashMap<Label, usize> = HashMap::new();
    let mut builds = BTreeSet::new();
    let mut fitted_sessions = BTreeSet::new();
    for &i in &rig.runs {
        let run = &season.runs[i];
        counted.add(run);
        let session = *sessions.entry(run.session).or_insert_with(|| {
            counted.sessions.push(SessionSummary {
                session: run.session,
                date: None,
                runs: 0,
                hand_rolls: 0,
            });
            counted.sessions.len() - 1
        });
        let session = &mut counted.sessions[session];
        session.runs += 1;
        session.date = session.date.into_iter().chain(run.date).min();
        session.hand_rolls += usize::from(run.kind == Kind::HandRoll);
        let trim = *trims.entry(run.trim).or_insert_with(|| {
            counted.trims.push((run.trim, 0));
            counted.trims.len() - 1
        });
        counted.trims[trim].1 += usize::from(tells_heading(run));
        if builds.insert(run.build) {
            counted.builds.push(run.build);
        }
        if run.is_fitted() {
            fitted_sessions.insert(run.session);
        }
    }
    counted.fitted_sessions = fitted_sessions.len();
    counted.turns = distinct(counted.turns);
    counted.leads_turns = distinct(counted.leads_turns);
    counted.rig = rig;
    counted
}

/// Whether a run is a fitted launch with both `right` and aim.
fn tells_heading(run: &Run) -> bool {
    run.is_fitted() && run.right_m.is_some() && run.aim_right_m.is_some()
}

impl RigSummary {
    /// Counts one run; turns and leads are listed as they come.
    fn add(&mut self, run: &Run) {
        self.dated += usize::from(run.date.is_some());
        self.void += usize::from(run.status == Status::Void);
        self.load_noted += usize::from(run.load.is_some());
        self.recoil_watched += usize::from(run.recoil_was_watched());
        self.stayed_put += usize::from(run.stayed_put());
        if run.kind == Kind::HandRoll {
            self.hand_rolls += 1;
            return;
        }
        self.launches += 1;
        self.timed += usize::from(run.time_s.is_some());
        match run.status {
            Status::Ok => self.ok += 1,
            Status::Recoil => self.recoiled += 1,
            Status::Touched => self.touched += 1,
            Status::Void => {}
        }
        if run.status != Status::Void {
            let known = self.targets_m.map(|range| [range.least, range.most]);
            let all = known.into_iter().flatten().chain(run.target_m);
            self.targets_m = Range::from_numbers(all);
        }
        if run.is_fitted() {
            self.fitted += 1;
            self.with_heading += usize::from(tells_heading(run));
            self.turns.extend(run.turns);
            self.leads_turns.extend(run.lead_turns);
        }
    }
}

fn distinct(mut numbers: Vec<f64>) -> Vec<f64> {
    numbers.sort_unstable_by(f64::total_cmp);
    numbers.dedup();
    numbers
}
