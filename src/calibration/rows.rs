//! A rig's runs sorted out: which are fitted, under which labels, with which lead.

use std::collections::BTreeMap;

use crate::geometry;
use crate::log::group;
use crate::log::median;
use crate::log::run::{Kind, Label, Load, Run, Season, Status};
use serde::{Deserialize, Serialize};

/// One launch with what the fits need of it.
#[derive(Debug, Clone)]
pub struct Launch {
    /// The row of the log.
    pub run: Run,
    /// Index in the rig's list of builds.
    pub build: usize,
    /// Index in the rig's list of trims.
    pub trim: usize,
    /// Brake lead, filled in from the session or the log where it was not written; `None` where no lead ever was.
    pub lead_turns: Option<f64>,
    /// Position among the session's launches, from 0.
    pub position: usize,
    /// Where rest point and aim are written.
    pub measured: Option<Measured>,
}

/// A launch as the heading fit takes it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Straight distance from the start mark to the rest point.
    pub chord_m: f64,
    /// Heading of the chord less that of the aim mark, rad.
    pub excess_rad: f64,
}

impl Measured {
    fn from_run(run: &Run) -> Option<Self> {
        let (chord_m, psi) = geometry::chord_and_heading(run.rest_m?, run.right_m?);
        let alpha = geometry::aim_heading(run.target_m?, run.aim_right_m?);
        Some(Measured {
            chord_m,
            excess_rad: psi - alpha,
        })
    }
}

impl Launch {
    /// Whether it can be in the heading fit: it stopped by itself, and both rest point and aim are written.
    pub fn tells_heading(&self) -> bool {
        matches!(self.run.status, Status::Ok | Status::Recoil)
            && self.run.rest_m.is_some_and(|rest| rest > 0.0)
            && self.measured.is_some()
    }
}

/// One rig's part of a season.
#[derive(Debug, Clone)]
pub struct RigRuns<'a> {
    /// The season it came from.
    pub season: &'a Season,
    /// `VEHICLE/WHEELS`, blank where neither has a label.
    pub name: String,
    /// Vehicle label.
    pub vehicle: Label,
    /// Wheel set label.
    pub wheels: Label,
    /// Launches of any status, in season order.
    pub launches: Vec<Launch>,
    /// Hand rolls.
    pub hand_rolls: Vec<Run>,
    /// Labels of builds that occur in launches, in order of appearance.
    pub builds: Vec<Label>,
    /// Labels of trims that occur in launches, in order of appearance.
    pub trims: Vec<Label>,
}

/// How many of a rig's runs were what.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct RunCounts {
    /// Launches fitted for travel.
    pub fitted: usize,
    /// Of these, rolled back at the lead in use or less.
    pub rolled_back: usize,
    /// Sessions with at least one of them.
    pub sessions: usize,
    /// Launches of any status.
    pub launches: usize,
    /// Void launches.
    pub void: usize,
    /// Launches that met the obstacle.
    pub touched: usize,
    /// Launches that rolled back.
    pub recoiled: usize,
    /// Slow pushes with the brake free.
    pub hand_rolls: usize,
    /// Launches whose load was noted.
    pub load_noted: usize,
    /// Of these, broken.
    pub load_broken: usize,
}

/// The middle of all leads written in a season, where any is.
pub fn middle_lead(season: &Season) -> Option<f64> {
    let leads = season.runs.iter().filter_map(|run| run.lead_turns);
    median(leads.collect())
}

/// The runs of one rig of a season, sorted out.
///
/// * `middle_lead` — the lead of a run whose session has none: [`middle_lead`] of the season
pub fn sorted_out<'s>(
    season: &'s Season,
    rig: &group::RigIndices,
    middle_lead: Option<f64>,
) -> RigRuns<'s> {
    let mut runs = RigRuns {
        season,
        name: rig.name.clone(),
        vehicle: rig.vehicle,
        wheels: rig.wheels,
        launches: Vec::with_capacity(rig.runs.len()),
        hand_rolls: Vec::new(),
        builds: Vec::new(),
        trims: Vec::new(),
    };
    for &i in &rig.runs {
        let run = &season.runs[i];
        if run.kind == Kind::HandRoll {
            runs.hand_rolls.push(run.clone());
            continue;
        }
        let build = index_of(&mut runs.builds, run.build);
        let trim = index_of(&mut runs.trims, run.trim);
        runs.launches.push(Launch {
            lead_turns: run.lead_turns,
            measured: Measured::from_run(run),
            run: run.clone(),
            build,
            trim,
            position: 0,
        });
    }
    runs.fill_in(middle_lead);
    runs
}

fn index_of(labels: &mut Vec<Label>, label: Label) -> usize {
    labels.iter().position(|&l| l == label).unwrap_or_else(|| {
        labels.push(label);
        labels.len() - 1
    })
}

/// Least and largest value; +∞ and −∞ of none.
pub fn span(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
        (low.min(v), high.max(v))
    })
}

impl RigRuns<'_> {
    /// Whether roll-backs are told by `status` alone: some runs rolled back, and of none it is noted that it stayed put. Whoever
    /// wrote those down has watched, so the `ok` runs did not roll back: without them every watched run would have.
    pub fn tell_recoil_by_status(&self) -> bool {
        let any = |what: fn(&Run) -> bool| self.launches.iter().any(|l| what(&l.run));
        any(|run| run.status == Status::Recoil) && !any(Run::stayed_put)
    }

    /// Positions within sessions, and leads where none was written: the session's median, else the log's.
    fn fill_in(&mut self, middle_lead: Option<f64>) {
        for members in self.by_session() {
            let leads = members
                .iter()
                .filter_map(|&i| self.launches[i].run.lead_turns);
            let lead = median(leads.collect()).or(middle_lead);
            for (position, &i) in members.iter().enumerate() {
                let launch = &mut self.launches[i];
                launch.position = position;
                launch.lead_turns = launch.lead_turns.or(lead);
            }
        }
    }

    /// The launches of each session, by order within it.
    fn by_session(&self) -> Vec<Vec<usize>> {
        let mut sessions: BTreeMap<Label, Vec<usize>> = BTreeMap::new();
        for (i, launch) in self.launches.iter().enumerate() {
            sessions.entry(launch.run.session).or_default().push(i);
        }
        let order = |i: usize| self.launches[i].run.order;
        let mut sessions: Vec<Vec<usize>> = sessions.into_values().collect();
        for members in &mut sessions {
            members.sort_by(|&a, &b| order(a).total_cmp(&order(b)));
        }
        sessions
    }

    /// The rig's name for a sentence.
    pub fn spoken_name(&self) -> &str {
        if self.name.is_empty() {
            "the vehicle"
        } else {
            &self.name
        }
    }

    /// Vehicle label in words.
    pub fn vehicle_label(&self) -> &str {
        &self.season.vehicles[self.vehicle as usize]
    }

    /// Wheel set label in words.
    pub fn wheels_label(&self) -> &str {
        &self.season.wheels[self.wheels as usize]
    }

    /// The newest of some launches, by their places in [`RigRuns::launches`].
    pub fn newest(&self, launches: &[usize]) -> Option<&Launch> {
        let at = group::newest(launches, |&i| self.launches[i].run.date)?;
        Some(&self.launches[launches[at]])
    }

    /// Counts, given the launches that were fitted for travel.
    pub fn counts(&self, fitted: &[usize]) -> RunCounts {
        let with = |status| {
            self.launches
                .iter()
                .filter(|l| l.run.status == status)
                .count()
        };
        let fitted: Vec<&Run> = fitted.iter().map(|&i| &self.launches[i].run).collect();
        let mut sessions: Vec<Label> = fitted.iter().map(|run| run.session).collect();
        sessions.sort_unstable();
        sessions.dedup();
        let rolled_back = |run: &&&Run| run.status == Status::Recoil;
        RunCounts {
            fitted: fitted.len(),
            rolled_back: fitted.iter().filter(rolled_back).count(),
            sessions: sessions.len(),
            launches: self.launches.len(),
            void: with(Status::Void),
            touched: with(Status::Touched),
            recoiled: with(Status::Recoil),
            hand_rolls: self.hand_rolls.len(),
            load_noted: self
                .launches
                .iter()
                .filter(|l| l.run.load.is_some())
                .count(),
            load_broken: self
                .launches
                .iter()
                .filter(|l| l.run.load == Some(Load::Broken))
                .count(),
        }
    }
}
