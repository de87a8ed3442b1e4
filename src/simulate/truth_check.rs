//! Checks of several keys of a truth together.

use super::rig::{ResolvedRig, resolved_rigs};
use super::truth::Truth;
use super::truth_keys::MOST;

/// Most rows a season may have.
const MOST_ROWS: usize = 100_000;

/// Tightest path a target may need, as |κ| × its distance; at 2 it would be a half circle.
const TIGHTEST: f64 = 1.6;

/// Largest angle at which an aim mark may need to stand, rad; at a quarter turn it would be infinitely far.
const WIDEST_AIM_RAD: f64 = 1.2;

impl Truth {
    /// Faults of keys that contradict each other: the table concerned and a sentence that says what was expected.
    pub fn faults(&self) -> Vec<(&'static str, String)> {
        let mut faults = Vec::new();
        self.check_season(&mut faults);
        self.check_labels(&mut faults);
        self.check_session_numbers(&mut faults);
        self.check_rows(&mut faults);
        self.check_paths(&mut faults);
        faults
    }

    fn check_season(&self, faults: &mut Vec<(&'static str, String)>) {
        let plan = &self.season;
        let mut refuse = |text: &str| faults.push(("season", text.to_string()));
        if plan.targets_m.is_empty() {
            refuse("expected at least one target in targets_m");
        }
        if plan.leads_turns.is_empty() {
            refuse("expected at least one lead in leads_turns");
        }
        if plan.runs_per_session.is_empty() {
            refuse("expected a number of runs in runs_per_session");
        }
        let dated = self.date(0).is_some();
        if dated && plan.sessions > 0 && self.date(plan.sessions - 1).is_none() {
            refuse(
                "expected a date for every session: dates is shorter than the season, or it runs past year 9999",
            );
        }
        let mut labels: Vec<String> = (0..plan.sessions).map(|j| self.session_label(j)).collect();
        labels.sort();
        if labels.windows(2).any(|pair| pair[0] == pair[1]) || labels.iter().any(String::is_empty) {
            refuse("expected a different label for each session in session_labels");
        }
        let rows: usize = (0..plan.sessions).map(|j| self.rows_in_session(j)).sum();
        if rows > MOST_ROWS {
            refuse(&format!(
                "this season would have {rows} rows; expected {MOST_ROWS} at most"
            ));
        }
        if self.hand_rolls.runs_per_session > 0 && self.hand_rolls.turns.is_empty() {
            faults.push((
                "hand_rolls",
                "expected at least one number in turns".to_string(),
            ));
        }
    }

    /// Adds faults of blank labels: beside others a reader takes a blank for the label of the row above.
    fn check_labels(&self, faults: &mut Vec<(&'static str, String)>) {
        let mut check = |table: &'static str, key: &str, labels: &[&str]| {
            let some_blank = labels.iter().any(|label| label.is_empty());
            if some_blank && labels.iter().any(|label| !label.is_empty()) {
                let text =
                    format!("expected a label for every {key}, or for none, also at the top");
                faults.push((table, text));
            }
        };
        let rigs = resolved_rigs(self);
        let of = |pick: fn(&ResolvedRig) -> &str| rigs.iter().map(pick).collect::<Vec<_>>();
        check("rigs", "vehicle", &of(|rig| &rig.vehicle));
        check("rigs", "wheels", &of(|rig| &rig.wheels));
        let builds = self.builds.iter().map(|build| build.build.as_str());
        check(
            "builds",
            "build",
            &[&*self.build].into_iter().chain(builds).collect::<Vec<_>>(),
        );
        let trims = self.trims.iter().map(|trim| trim.trim.as_str());
        check(
            "trims",
            "trim",
            &[&*self.trim].into_iter().chain(trims).collect::<Vec<_>>(),
        );
        let floors = self.floors.iter().map(|floor| floor.floor.as_str());
        check(
            "floors",
            "floor",
            &[&*self.floor].into_iter().chain(floors).collect::<Vec<_>>(),
        );
        for (i, rig) in rigs.iter().enumerate() {
            let same =
                |other: &ResolvedRig| other.vehicle == rig.vehicle && other.wheels == rig.wheels;
            if rigs[..i].iter().any(same) {
                let text = "expected another vehicle or other wheels than a rig before it";
                faults.push(("rigs", text.to_string()));
            }
        }
    }

    fn check_session_numbers(&self, faults: &mut Vec<(&'static str, String)>) {
        let last = self.season.sessions;
        let mut check = |table: &'static str, session: usize| {
            if session == 0 || session > last {
                let text = format!("there is no session {session}; expected 1 to {last}");
                faults.push((table, text));
            }
        };
        self.rigs
            .iter()
            .flat_map(|rig| &rig.sessions)
            .for_each(|&j| check("rigs", j));
        self.floors
            .iter()
            .flat_map(|floor| &floor.sessions)
            .for_each(|&j| check("floors", j));
        self.hand_rolls
            .sessions
            .iter()
            .for_each(|&j| check("hand_rolls", j));
        self.builds
            .iter()
            .for_each(|build| check("builds", build.from_session));
        self.trims
            .iter()
            .for_each(|trim| check("trims", trim.from_session));
        self.rows.iter().for_each(|row| check("rows", row.session));
    }

    fn check_rows(&self, faults: &mut Vec<(&'static str, String)>) {
        const COLUMNS: [&str; 5] = ["turns", "ticks", "aim_right_cm", "long_cm", "right_cm"];
        for row in &self.rows {
            let runs = match row.session {
                1..=0x7fff if row.session <= self.season.sessions => {
                    self.rows_in_session(row.session - 1)
                }
                _ => MOST as usize,
            };
            if row.run == 0 || row.run > runs {
                let text = format!(
                    "session {} has no run {}; expected 1 to {runs}",
                    row.session, row.run
                );
                faults.push(("rows", text));
            }
            if let Some(column) = &row.column
                && !COLUMNS.contains(&column.as_str())
            {
                let text = format!(
                    "read column \"{column}\"; expected one of {}",
                    COLUMNS.join(", ")
                );
                faults.push(("rows", text));
            }
        }
    }

    fn check_paths(&self, faults: &mut Vec<(&'static str, String)>) {
        let longest_m = self.season.targets_m.iter().copied().fold(0.0, f64::max);
        for rig in resolved_rigs(self) {
            for session in 0..self.season.sessions {
                let (straight_rad, curvature_per_m) = rig.heading_at(self, session);
                let turned = curvature_per_m.abs() * longest_m;
                if turned > TIGHTEST {
                    let text = format!(
                        "a path with this curve does not reach {longest_m} m; expected a curve_cm_per_m2 of {:.1} at most",
                        50.0 * TIGHTEST / longest_m
                    );
                    faults.push(("heading", text));
                    return;
                }
                if straight_rad.abs() + libm::asin(turned / 2.0) > WIDEST_AIM_RAD {
                    let text = format!(
                        "no aim mark at {longest_m} m brings such a path to the target; expected less of straight_cm_per_m \
                         or curve_cm_per_m2"
                    );
                    faults.push(("heading", text));
                    return;
                }
            }
        }
    }
}
