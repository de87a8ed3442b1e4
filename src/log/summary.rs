//! What stands in a season, counted: no wording, no statistics.

use std::collections::BTreeSet;

use jiff::civil::Date;

use super::group::{self, Rig};
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
        .into_iter()
        .map(|rig| summarise_rig(season, rig))
        .collect()
}

fn summarise_rig(season: &Season, rig: Rig) -> RigSummary {
    let runs: Vec<&Run> = rig.runs.iter().map(|&i| &season.runs[i]).collect();
    let count = |is: &dyn Fn(&Run) -> bool| runs.iter().filter(|run| is(run)).count();
    let launch = |run: &Run| run.kind == Kind::Launch;
    let with_status = |status| count(&move |run: &Run| launch(run) && run.status == status);
    let tells_heading =
        |run: &Run| run.is_fitted() && run.right_m.is_some() && run.aim_right_m.is_some();
    let fitted = || runs.iter().filter(|run| run.is_fitted());
    RigSummary {
        sessions: sessions(&runs),
        launches: count(&launch),
        hand_rolls: count(&|run| run.kind == Kind::HandRoll),
        ok: with_status(Status::Ok),
        recoiled: with_status(Status::Recoil),
        touched: with_status(Status::Touched),
        void: count(&|run| run.status == Status::Void),
        fitted: count(&Run::is_fitted),
        fitted_sessions: fitted()
            .map(|run| run.session)
            .collect::<BTreeSet<_>>()
            .len(),
        with_heading: count(&tells_heading),
        recoil_watched: count(&Run::recoil_was_watched),
        timed: count(&|run| launch(run) && run.time_s.is_some()),
        load_noted: count(&|run| run.load.is_some()),
        dated: count(&|run| run.date.is_some()),
        turns: distinct(fitted().filter_map(|run| run.turns)),
        targets_m: Range::of(
            runs.iter()
                .filter(|run| launch(run) && run.status != Status::Void)
                .filter_map(|run| run.target_m),
        ),
        leads_turns: distinct(fitted().filter_map(|run| run.lead_turns)),
        builds: first_appearances(runs.iter().map(|run| run.build)),
        trims: first_appearances(runs.iter().map(|run| run.trim))
            .into_iter()
            .map(|trim| (trim, count(&|run| run.trim == trim && tells_heading(run))))
            .collect(),
        rig,
    }
}

fn sessions(runs: &[&Run]) -> Vec<SessionSummary> {
    first_appearances(runs.iter().map(|run| run.session))
        .into_iter()
        .map(|session| {
            let of_it = || runs.iter().filter(move |run| run.session == session);
            SessionSummary {
                session,
                date: of_it().filter_map(|run| run.date).min(),
                runs: of_it().count(),
                hand_rolls: of_it().filter(|run| run.kind == Kind::HandRoll).count(),
            }
        })
        .collect()
}

fn first_appearances(labels: impl Iterator<Item = Label>) -> Vec<Label> {
    let mut seen = BTreeSet::new();
    labels.filter(|label| seen.insert(*label)).collect()
}

fn distinct(numbers: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut numbers: Vec<f64> = numbers.collect();
    numbers.sort_by(f64::total_cmp);
    numbers.dedup();
    numbers
}
