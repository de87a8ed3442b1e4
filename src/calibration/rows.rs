//! A rig's runs sorted out: which are fitted, under which labels, with which lead.

use crate::calibration::RunCounts;
use crate::log::group;
use crate::log::run::{Kind, Label, Load, Run, Season, Status};

/// One launch with what the fits need of it.
#[derive(Debug, Clone)]
pub struct Launch<'a> {
    /// The row of the log.
    pub run: &'a Run,
    /// Its index in the season's runs.
    pub index: usize,
    /// Index in the rig's list of builds.
    pub build: usize,
    /// Index in the rig's list of trims.
    pub trim: usize,
    /// Brake lead, filled in from the session or the log where it was not written; `None` where no lead ever was.
    pub lead_turns: Option<f64>,
    /// Position among the session's launches, from 0.
    pub position: usize,
}

impl Launch<'_> {
    /// Whether it can be in the travel fit.
    pub fn tells_travel(&self) -> bool {
        self.run.is_fitted()
    }

    /// Whether it can be in the heading fit: it stopped by itself, and both rest point and aim are written.
    pub fn tells_heading(&self) -> bool {
        matches!(self.run.status, Status::Ok | Status::Recoil)
            && self.run.rest_m.is_some_and(|rest| rest > 0.0)
            && self.run.right_m.is_some()
            && self.run.aim_right_m.is_some()
            && self.run.target_m.is_some()
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
    pub launches: Vec<Launch<'a>>,
    /// Hand rolls.
    pub hand_rolls: Vec<&'a Run>,
    /// Labels of builds that occur in launches, in order of appearance.
    pub builds: Vec<Label>,
    /// Labels of trims that occur in launches, in order of appearance.
    pub trims: Vec<Label>,
}

/// The rigs of a season, in order of first appearance.
pub fn rigs(season: &Season) -> Vec<RigRuns<'_>> {
    let log_median = median(season.runs.iter().filter_map(|r| r.lead_turns).collect());
    let sort_out = |rig: group::Rig| {
        let mut runs = RigRuns {
            season,
            name: rig.name,
            vehicle: rig.vehicle,
            wheels: rig.wheels,
            launches: Vec::new(),
            hand_rolls: Vec::new(),
            builds: Vec::new(),
            trims: Vec::new(),
        };
        for index in rig.runs {
            let run = &season.runs[index];
            if run.kind == Kind::HandRoll {
                runs.hand_rolls.push(run);
                continue;
            }
            let build = index_of(&mut runs.builds, run.build);
            let trim = index_of(&mut runs.trims, run.trim);
            let lead_turns = run.lead_turns;
            runs.launches.push(Launch {
                run,
                index,
                build,
                trim,
                lead_turns,
                position: 0,
            });
        }
        runs.fill_in(log_median);
        runs
    };
    group::rigs(season).into_iter().map(sort_out).collect()
}

fn index_of(labels: &mut Vec<Label>, label: Label) -> usize {
    labels.iter().position(|&l| l == label).unwrap_or_else(|| {
        labels.push(label);
        labels.len() - 1
    })
}

/// The middle value (mean of the two middle ones); `None` of nothing.
pub fn median(mut values: Vec<f64>) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    Some(if values.len() % 2 == 1 {
        values[half]
    } else {
        0.5 * (values[half - 1] + values[half])
    })
}

impl RigRuns<'_> {
    /// Positions within sessions, and leads where none was written: the session's median, else the log's.
    fn fill_in(&mut self, log_median: Option<f64>) {
        let mut sessions: Vec<Label> = self.launches.iter().map(|l| l.run.session).collect();
        sessions.sort_unstable();
        sessions.dedup();
        for session in sessions {
            let mut members: Vec<usize> = (0..self.launches.len())
                .filter(|&i| self.launches[i].run.session == session)
                .collect();
            members.sort_by(|&a, &b| {
                self.launches[a]
                    .run
                    .order
                    .total_cmp(&self.launches[b].run.order)
            });
            let lead = median(
                members
                    .iter()
                    .filter_map(|&i| self.launches[i].run.lead_turns)
                    .collect(),
            )
            .or(log_median);
            for (position, &i) in members.iter().enumerate() {
                let launch = &mut self.launches[i];
                launch.position = position;
                launch.lead_turns = launch.lead_turns.or(lead);
            }
        }
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

    /// Season indices of the launches with these places in [`RigRuns::launches`].
    pub fn season_indices(&self, launches: &[usize]) -> Vec<usize> {
        launches.iter().map(|&i| self.launches[i].index).collect()
    }

    /// Counts, with the runs that `set_aside` names left out of the fitted ones.
    pub fn counts(&self, set_aside: &[usize]) -> RunCounts {
        let with = |status| {
            self.launches
                .iter()
                .filter(|l| l.run.status == status)
                .count()
        };
        let fitted: Vec<&Launch> = self
            .launches
            .iter()
            .enumerate()
            .filter(|(i, l)| l.tells_travel() && !set_aside.contains(i))
            .map(|(_, l)| l)
            .collect();
        let mut sessions: Vec<Label> = fitted.iter().map(|l| l.run.session).collect();
        sessions.sort_unstable();
        sessions.dedup();
        RunCounts {
            fitted: fitted.len(),
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
