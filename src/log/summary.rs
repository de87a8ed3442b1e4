//! What stands in a season, counted: no wording, no statistics.

use std::collections::{BTreeSet, HashMap};

use jiff::civil::Date;
use rayon::prelude::*;

use super::group::{self, Rig};
use super::packed::At;
use super::run::{Kind, Label, Season, Status};

/// Smallest and largest of some numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Smallest.
    pub least: f64,
    /// Largest.
    pub most: f64,
}

impl Range {
    /// `None` without numbers.
    pub fn of(numbers: impl IntoIterator<Item = f64>) -> Option<Self> {
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
    /// Which.
    pub session: Label,
    /// Earliest date among its runs.
    pub date: Option<Date>,
    /// Its runs of this rig.
    pub runs: usize,
    /// Those that are hand rolls.
    pub hand_rolls: usize,
}

/// One rig, counted.
#[derive(Debug, Clone, PartialEq)]
pub struct RigSummary {
    /// Which, and its runs.
    pub rig: Rig,
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
        .into_par_iter()
        .map(|rig| summarise_rig(season, rig))
        .collect()
}

fn summarise_rig(season: &Season, rig: Rig) -> RigSummary {
    let mut counted = RigSummary::new(rig.clone());
    let mut sessions: HashMap<Label, usize> = HashMap::new();
    let mut trims: HashMap<Label, usize> = HashMap::new();
    let mut builds = BTreeSet::new();
    let mut fitted_sessions = BTreeSet::new();
    for (range, shared) in season.runs.shared_by(&rig.runs) {
        let session = *sessions.entry(shared.session).or_insert_with(|| {
            counted.sessions.push(SessionSummary {
                session: shared.session,
                date: None,
                runs: 0,
                hand_rolls: 0,
            });
            counted.sessions.len() - 1
        });
        let trim = *trims.entry(shared.trim).or_insert_with(|| {
            counted.trims.push((shared.trim, 0));
            counted.trims.len() - 1
        });
        if builds.insert(shared.build) {
            counted.builds.push(shared.build);
        }
        let of_session = &mut counted.sessions[session];
        of_session.runs += range.len();
        of_session.date = of_session.date.into_iter().chain(shared.date).min();
        counted.dated += shared.date.map_or(0, |_| range.len());
        let (hand_rolls, fitted, with_heading) =
            (counted.hand_rolls, counted.fitted, counted.with_heading);
        for i in range {
            counted.add(season.runs.at(i));
        }
        counted.sessions[session].hand_rolls += counted.hand_rolls - hand_rolls;
        counted.trims[trim].1 += counted.with_heading - with_heading;
        if counted.fitted > fitted {
            fitted_sessions.insert(shared.session);
        }
    }
    counted.fitted_sessions = fitted_sessions.len();
    counted.turns = distinct(counted.turns);
    counted.leads_turns = distinct(counted.leads_turns);
    counted
}

impl RigSummary {
    /// Nothing counted yet.
    fn new(rig: Rig) -> Self {
        RigSummary {
            rig,
            sessions: Vec::new(),
            launches: 0,
            hand_rolls: 0,
            ok: 0,
            recoiled: 0,
            touched: 0,
            void: 0,
            fitted: 0,
            fitted_sessions: 0,
            with_heading: 0,
            recoil_watched: 0,
            timed: 0,
            load_noted: 0,
            dated: 0,
            turns: Vec::new(),
            targets_m: None,
            leads_turns: Vec::new(),
            builds: Vec::new(),
            trims: Vec::new(),
        }
    }

    /// Counts one run; turns and leads are listed as they come.
    fn add(&mut self, run: At) {
        let status = run.status();
        self.void += usize::from(status == Status::Void);
        self.load_noted += usize::from(run.load().is_some());
        self.recoil_watched += usize::from(run.recoil_was_watched());
        if run.kind() == Kind::HandRoll {
            self.hand_rolls += 1;
            return;
        }
        self.launches += 1;
        self.timed += usize::from(run.time_s().is_some());
        match status {
            Status::Ok => self.ok += 1,
            Status::Recoil => self.recoiled += 1,
            Status::Touched => self.touched += 1,
            Status::Void => {}
        }
        if status != Status::Void {
            let known = self.targets_m.map(|range| [range.least, range.most]);
            let all = known.into_iter().flatten().chain(run.target_m());
            self.targets_m = Range::of(all);
        }
        if run.is_fitted() {
            self.fitted += 1;
            let tells_heading = run.right_m().is_some() && run.aim_right_m().is_some();
            self.with_heading += usize::from(tells_heading);
            add_other(&mut self.turns, run.turns());
            add_other(&mut self.leads_turns, run.lead_turns());
        }
    }
}

/// Puts a number behind others, but for one like the last: neighbours often are.
fn add_other(numbers: &mut Vec<f64>, number: Option<f64>) {
    if number.is_some() && numbers.last().copied() != number {
        numbers.extend(number);
    }
}

fn distinct(mut numbers: Vec<f64>) -> Vec<f64> {
    numbers.sort_unstable_by(f64::total_cmp);
    numbers.dedup();
    // A handful of hundreds or thousands, kept for each rig.
    numbers.shrink_to_fit();
    numbers
}
