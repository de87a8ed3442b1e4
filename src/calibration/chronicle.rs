//! The season as it happened: misses session by session over all rigs of a log, what was new in each session, and since
//! which change misses are smaller or larger than chance alone makes them.
//!
//! Misses are those of the settings of that day: they also fall because settings become better. Nothing here says why.

mod judged;
mod session;

use std::collections::BTreeSet;

use crate::columns::Column;
use crate::geometry;
use crate::log::median;
use crate::log::run::{Kind, Label, Run, Season, Status};
use crate::setup::Measure;
use crate::stats::interval::Level;

pub use judged::{Judged, LabelChange, SinceVerdict, Trend};
pub use session::{Fresh, RunMiss, SessionMisses};

/// A log of more sessions is an archive, not the season of a team.
const SESSIONS_MAX: usize = 200;
/// A log of more runs is one too.
const RUNS_MAX: usize = 20_000;

/// What a team's season came to, session by session.
#[derive(Debug, Clone, PartialEq)]
pub struct Chronicle {
    /// What counts as a miss, the same for every run.
    pub miss: MissKind,
    /// Sessions with a counted run, in the order of the log.
    pub sessions: Vec<SessionMisses>,
    /// Runs that do not count.
    pub uncounted: Uncounted,
    /// What the changes came to; `None` with one session.
    pub judged: Option<Judged>,
}

/// What counts as a miss. A log that changes from one to the other in mid-season would seem to change its misses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MissKind {
    /// The straight distance from the target.
    Straight,
    /// The distance along the line only, which is what the set-up scores.
    AlongScored,
    /// The distance along the line only: in some session most runs were not measured across.
    AlongMeasured,
}

/// Launches that are not among the misses.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Uncounted {
    /// Said to be void before measuring.
    pub void: usize,
    /// Set aside by the program; shown all the same.
    pub set_aside: usize,
    /// Without a place where it came to rest, or not measured across where others were.
    pub unmeasured: usize,
}

/// Columns whose labels a team changes, with where a run has them and a season their words.
type LabelOf = (Column, fn(&Run) -> Label, fn(&Season) -> &[String]);
const CHANGEABLE: [LabelOf; 5] = [
    (Column::Vehicle, |r| r.vehicle, |s| &s.vehicles),
    (Column::Wheels, |r| r.wheels, |s| &s.wheels),
    (Column::Build, |r| r.build, |s| &s.builds),
    (Column::Trim, |r| r.trim, |s| &s.trims),
    (Column::Floor, |r| r.floor, |s| &s.floors),
];

/// The season as it happened; `None` where no run has a miss, and for an archive.
///
/// * `set_aside` — file and line of the runs that the fits set aside
/// * `level` — of all intervals together
pub fn told(
    season: &Season,
    set_aside: &BTreeSet<(u32, u32)>,
    measure: Measure,
    level: Level,
) -> Option<Chronicle> {
    let launches = season.runs.iter().filter(|r| r.kind == Kind::Launch);
    let (void, launches): (Vec<&Run>, Vec<&Run>) = launches.partition(|r| r.status == Status::Void);
    let by_session = by_session(&launches, season.sessions.len());
    if by_session.len() > SESSIONS_MAX || launches.len() > RUNS_MAX {
        return None;
    }
    let miss = miss_kind(&by_session, measure);
    let is_aside = |run: &Run| set_aside.contains(&(run.file, run.line));
    let mut labels = Labels::default();
    let mut sessions = Vec::new();
    for members in &by_session {
        let of_run = |run: &&Run| {
            Some(RunMiss {
                miss_m: miss.of(run)?,
                target_m: run.target_m?,
                status: run.status,
                set_aside: is_aside(run),
            })
        };
        let runs: Vec<RunMiss> = members.iter().filter_map(of_run).collect();
        let counted = || runs.iter().filter(|r| !r.set_aside).map(|r| r.miss_m);
        let Some(typical_m) = median(counted().collect()) else {
            continue;
        };
        let counts = |run: &&&Run| miss.of(run).is_some() && !is_aside(run);
        let counting: Vec<&Run> = members.iter().filter(counts).copied().collect();
        sessions.push(SessionMisses {
            label: season.sessions[members[0].session as usize].clone(),
            date: members.iter().filter_map(|run| run.date).min(),
            typical_m,
            best_m: counted().fold(f64::INFINITY, f64::min),
            fresh: labels.fresh_in(season, &counting),
            runs,
        });
    }
    if sessions.is_empty() {
        return None;
    }
    let unmeasured = |run: &&&Run| miss.of(run).is_none();
    let uncounted = Uncounted {
        void: void.len(),
        set_aside: sessions
            .iter()
            .flat_map(|s| &s.runs)
            .filter(|r| r.set_aside)
            .count(),
        unmeasured: launches.iter().filter(unmeasured).count(),
    };
    Some(Chronicle {
        miss,
        judged: judged::judged(&sessions, level),
        sessions,
        uncounted,
    })
}

/// Launches of each session that has any, in the order of the log; within each as they were made.
fn by_session<'r>(launches: &[&'r Run], sessions: usize) -> Vec<Vec<&'r Run>> {
    let mut by_session = vec![Vec::new(); sessions];
    for &run in launches {
        by_session[run.session as usize].push(run);
    }
    by_session.retain(|members| !members.is_empty());
    for members in &mut by_session {
        members.sort_by(|a, b| a.order.total_cmp(&b.order));
    }
    by_session
}

/// Straight, unless the line is what is scored, or fewer than half of some session's runs have it.
fn miss_kind(by_session: &[Vec<&Run>], measure: Measure) -> MissKind {
    let has_most = |members: &Vec<&Run>| {
        let with = |kind: MissKind| members.iter().filter(|r| kind.of(r).is_some()).count();
        2 * with(MissKind::Straight) >= with(MissKind::AlongMeasured)
    };
    match measure {
        Measure::Line => MissKind::AlongScored,
        Measure::Point if by_session.iter().all(has_most) => MissKind::Straight,
        Measure::Point => MissKind::AlongMeasured,
    }
}

impl MissKind {
    /// The miss of a run, m; `None` where it was not measured. A straight distance that was taped stands in for one across
    /// that was not.
    fn of(self, run: &Run) -> Option<f64> {
        let long_m = run.long_m()?;
        match (self, run.right_m) {
            (MissKind::Straight, Some(right_m)) => {
                Some(geometry::chord_and_heading(long_m, right_m).0)
            }
            (MissKind::Straight, None) => run.miss_m.map(f64::abs),
            _ => Some(long_m.abs()),
        }
    }
}

/// Labels that sessions so far had, of each changeable column.
#[derive(Default)]
struct Labels {
    ever: [BTreeSet<Label>; CHANGEABLE.len()],
    before: [BTreeSet<Label>; CHANGEABLE.len()],
    any: bool,
}

impl Labels {
    /// What a session has that the session before it had not, in order of first appearance within each column.
    fn fresh_in(&mut self, season: &Season, runs: &[&Run]) -> Vec<Fresh> {
        let mut fresh = Vec::new();
        for (k, (column, label_of, words)) in CHANGEABLE.into_iter().enumerate() {
            let mut now = BTreeSet::new();
            for run in runs {
                let label = label_of(run);
                let word = &words(season)[label as usize];
                let is_new = now.insert(label) && !self.before[k].contains(&label);
                if self.any && is_new && !word.is_empty() {
                    fresh.push(Fresh {
                        column,
                        label: word.clone(),
                        first: !self.ever[k].contains(&label),
                    });
                }
            }
            self.ever[k].extend(&now);
            self.before[k] = now;
        }
        self.any = true;
        fresh
    }
}

impl Chronicle {
    /// The changes of labels, in order; none with one session.
    pub fn changes(&self) -> &[LabelChange] {
        self.judged.as_ref().map_or(&[], |judged| &judged.changes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::interval::Interval;

    /// A season of sessions with these misses along in cm at 8 m, one build each, by its index.
    fn season(sessions: &[(u32, &[f64])]) -> Season {
        let mut season = Season {
            files: vec!["s.csv".to_string()],
            sessions: (1..=sessions.len()).map(|s| format!("day {s}")).collect(),
            builds: ["", "light", "heavy"].map(String::from).to_vec(),
            ..Season::default()
        };
        for words in [
            &mut season.vehicles,
            &mut season.wheels,
            &mut season.trims,
            &mut season.floors,
        ] {
            words.push(String::new());
        }
        for (session, (build, long_cm)) in sessions.iter().enumerate() {
            for (k, long) in long_cm.iter().enumerate() {
                season.runs.push(Run {
                    line: season.runs.len() as u32 + 2,
                    session: session as u32,
                    order: k as f64,
                    build: *build,
                    target_m: Some(8.0),
                    rest_m: Some(8.0 + long / 100.0),
                    right_m: Some(0.0),
                    ..Run::default()
                });
            }
        }
        season
    }

    fn story(season: &Season) -> Chronicle {
        told(season, &BTreeSet::new(), Measure::Point, Level::default()).expect("misses")
    }

    #[track_caller]
    fn near(a: f64, b: f64) {
        assert!((a - b).abs() < 1e-9, "{a} {b}");
    }

    /// By hand: misses 3, 5 (4 right, 3 long), 10 and 20 cm have the median 7.5; a void run, a hand roll and one that was
    /// set aside do not count.
    #[test]
    fn misses_are_those_of_runs_that_came_to_rest() {
        let mut season = season(&[(1, &[3.0, 3.0, -10.0, 20.0, 90.0, 1.0, 2.0])]);
        season.runs[1].right_m = Some(-0.04);
        season.runs[2].status = Status::Recoil;
        season.runs[5].status = Status::Void;
        season.runs[6].kind = Kind::HandRoll;
        let aside = BTreeSet::from([(0, 6)]);
        let told = told(&season, &aside, Measure::Point, Level::default()).expect("misses");
        let [day] = &told.sessions[..] else {
            panic!("one session")
        };
        near(day.typical_m, 0.075);
        near(day.best_m, 0.03);
        assert_eq!((day.runs.len(), day.counted().count()), (5, 4));
        assert_eq!(day.runs[2].status, Status::Recoil);
        let out = Uncounted {
            void: 1,
            set_aside: 1,
            unmeasured: 0,
        };
        assert_eq!((told.uncounted, told.miss), (out, MissKind::Straight));
        assert_eq!(told.judged, None);
    }

    /// A session that was not measured across makes all count along the line: else its misses would seem smaller.
    #[test]
    fn one_kind_of_miss_counts_all_season() {
        let mut season = season(&[(1, &[3.0, 3.0]), (1, &[3.0, 3.0])]);
        season.runs[0].right_m = Some(0.04);
        season.runs[1].right_m = None;
        let first = |told: &Chronicle| told.sessions[0].runs[0].miss_m;
        let half = story(&season);
        assert_eq!(
            (half.miss, half.uncounted.unmeasured),
            (MissKind::Straight, 1)
        );
        near(first(&half), 0.05);
        season.runs[1].miss_m = Some(0.06);
        near(story(&season).sessions[0].runs[1].miss_m, 0.06);
        season.runs[2].right_m = None;
        season.runs[3].right_m = None;
        let along = story(&season);
        assert_eq!(
            (along.miss, along.uncounted.unmeasured),
            (MissKind::AlongMeasured, 0)
        );
        near(first(&along), 0.03);
    }

    #[test]
    fn a_label_is_new_once_and_then_comes_again() {
        let told = story(&season(&[
            (1, &[3.0]),
            (2, &[3.0]),
            (1, &[3.0]),
            (0, &[3.0]),
        ]));
        let fresh = |label: &str, first: bool| {
            vec![Fresh {
                column: Column::Build,
                label: label.to_string(),
                first,
            }]
        };
        let of: Vec<&Vec<Fresh>> = told.sessions.iter().map(|s| &s.fresh).collect();
        // A blank label is none.
        let wanted = [vec![], fresh("heavy", true), fresh("light", false), vec![]];
        assert_eq!(of, wanted.iter().collect::<Vec<_>>());
        let [change] = told.changes() else {
            panic!("one change: {told:?}")
        };
        assert_eq!((change.session, &change.labels), (1, &wanted[1]));
    }

    /// With as many runs in every session and one target, the ratio is that of the geometric means, whatever θ: before
    /// √(4·9·4·9) = 6 squared and rooted again, 6 cm; since √(1·9) = 3 cm and √(4·4) = 4 cm, √12. And the trend of the means
    /// m₁ … m₄ of ln(miss) over their places is 3·(3m₄ + m₃ − m₂ − 3m₁)/10.
    #[test]
    fn ratios_are_those_of_geometric_means() {
        let told = story(&season(&[
            (1, &[4.0, -9.0]),
            (1, &[9.0, 4.0]),
            (2, &[1.0, -9.0]),
            (2, &[4.0, 4.0]),
        ]));
        let judged = told.judged.as_ref().expect("several sessions");
        let estimate = |ratio: Option<Interval>| ratio.expect("a ratio").estimate;
        let step = estimate(judged.changes[0].ratio);
        assert!((step - 12f64.sqrt() / 6.0).abs() < 1e-6, "{step}");
        let m = [6f64, 6.0, 3.0, 4.0].map(f64::ln);
        let slope = 3.0 * (3.0 * m[3] + m[2] - m[1] - 3.0 * m[0]) / 10.0;
        let trend = estimate(judged.trend.map(|t| t.ratio));
        assert!(
            (trend - slope.exp()).abs() < 1e-6,
            "{trend} {}",
            slope.exp()
        );
        assert_eq!(judged.changes[0].verdict, SinceVerdict::Chance);
    }

    /// A step in each of the last two of three sessions, and the trend, leave no day to tell chance from together; two
    /// sessions never do.
    #[test]
    fn too_few_days_are_said_to_be() {
        let two = story(&season(&[(1, &[9.0, 8.0, 9.0]), (2, &[1.0, 2.0, 1.0])]));
        let judged = two.judged.expect("two sessions");
        assert_eq!(judged.changes[0].verdict, SinceVerdict::TooFew);
        assert_eq!((judged.changes[0].ratio, judged.trend), (None, None));
    }

    /// A miss of 0 counts as half a centimetre, the step of a tape.
    #[test]
    fn a_miss_of_nothing_counts_as_the_step_of_the_tape() {
        let sessions = |best: f64| {
            story(&season(&[
                (1, &[best, 6.0]),
                (1, &[9.0, 4.0]),
                (2, &[1.0, 9.0]),
            ]))
        };
        let ratio = |best: f64| {
            let judged = sessions(best).judged.expect("three sessions");
            judged.changes[0].ratio.expect("a ratio").high
        };
        near(ratio(0.0), ratio(0.5));
        assert!(ratio(1.0) < ratio(0.5));
        near(sessions(0.0).sessions[0].best_m, 0.0);
    }
}
