//! Which runs are meant by two labels, fitted each on their own; and in which common state to compare them.

use super::by::By;
use super::comparison::FittedLabel;
use super::named::Named;
use crate::calibration::fit::{self, Options, Settled};
use crate::calibration::known::size;
use crate::calibration::rows::{self, RigRuns};
use crate::calibration::travel::FITTED_MIN;
use crate::calibration::{EventRange, time};
use crate::error::Error;
use crate::geometry;
use crate::log::run::{Kind, Label, Run, Season};
use crate::log::{group, median};
use crate::setup::Setup;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::Posterior;

/// The runs of both.
pub(super) struct Both {
    /// Each with the labels of the whole season.
    pub seasons: [Season; 2],
    /// What was run, for a sentence.
    pub rig: String,
    /// What the two differ in: of rigs, the one of vehicle and wheels that differs.
    pub by: By,
    /// Whether vehicle and wheels both differ.
    pub vehicle_and_wheels: bool,
    /// The rigs of the newest runs of two vehicles, where these are not the ones compared.
    pub newest: Option<[String; 2]>,
    /// What a reader should know of the choice.
    pub warnings: Vec<String>,
}

/// Selects the two sets of runs: of one rig (of two for wheels and vehicles). Where several rigs or pairs have both
/// names, two on the same wheels come before others, then the pair whose smaller number of fitted runs is largest.
pub(super) fn both(season: &Season, by: By, named: &[Named; 2]) -> Result<Both, Error> {
    let selection = Selection { season, by, named };
    let rigs = group::rigs(season);
    let pairs = selection.pairs(&rigs);
    // The first of equals.
    let best = pairs
        .iter()
        .rev()
        .max_by_key(|pair| (pair.same_wheels(), pair.fitted_runs));
    let Some(best) = best else {
        return Err(no_pair(by, named));
    };
    let (first, second) = (best.first, best.second);
    let whole_rigs = named.iter().any(Named::is_rig);
    let rig = match whole_rigs {
        true => format!("{} and {}", first.name, second.name),
        false => spoken_rigs(season, by, first, second),
    };
    let part = |rig: &group::RigIndices, k: usize| season.with(selection.runs(rig, k));
    Ok(Both {
        seasons: [part(first, 0), part(second, 1)],
        by: match (by, first.vehicle == second.vehicle, best.same_wheels()) {
            (By::Vehicle, true, _) => By::Wheels,
            (By::Wheels, _, true) => By::Vehicle,
            _ => by,
        },
        vehicle_and_wheels: first.vehicle != second.vehicle && !best.same_wheels(),
        newest: (by == By::Vehicle && !whole_rigs)
            .then(|| selection.newest(&rigs, best))
            .flatten(),
        warnings: selection.why_this(&pairs, best, &rig).into_iter().collect(),
        rig,
    })
}

/// Which runs two names stand for.
struct Selection<'a> {
    season: &'a Season,
    by: By,
    named: &'a [Named; 2],
}

/// Two rigs (or one, twice) that have runs of both names.
struct CandidatePair<'r> {
    first: &'r group::RigIndices,
    second: &'r group::RigIndices,
    /// Fitted runs of the one that has fewer.
    fitted_runs: usize,
}

impl CandidatePair<'_> {
    fn same_wheels(&self) -> bool {
        self.first.wheels == self.second.wheels
    }
}

impl Selection<'_> {
    /// All pairs that have runs of both names, in the order of the rigs.
    fn pairs<'r>(&self, rigs: &'r [group::RigIndices]) -> Vec<CandidatePair<'r>> {
        let both_rigs = self.named.iter().all(Named::is_rig);
        let mut pairs = Vec::new();
        for (i, first) in rigs.iter().enumerate() {
            for (j, second) in rigs.iter().enumerate() {
                let meant = match self.by {
                    By::Wheels => i != j && (both_rigs || first.vehicle == second.vehicle),
                    By::Vehicle => i != j,
                    By::Build | By::Trim | By::Floor => i == j,
                };
                if meant && let (Some(m), Some(n)) = (self.fitted(first, 0), self.fitted(second, 1))
                {
                    pairs.push(CandidatePair {
                        first,
                        second,
                        fitted_runs: m.min(n),
                    });
                }
            }
        }
        pairs
    }

    /// Number of fitted runs of the `k`-th name; `None` where the rig has no run of it.
    fn fitted(&self, rig: &group::RigIndices, k: usize) -> Option<usize> {
        let runs = self.runs(rig, k);
        let named = runs.iter().any(|run| self.is_named(run, k));
        named.then(|| runs.iter().filter(|run| run.is_fitted()).count())
    }

    /// A rig's runs of the `k`-th name. Within a rig hand rolls belong to both: they measure the wheel, whatever the
    /// build, the trim or the floor was.
    fn runs(&self, rig: &group::RigIndices, k: usize) -> Vec<Run> {
        let within = !matches!(self.by, By::Wheels | By::Vehicle);
        let shared = |run: &Run| within && run.kind == Kind::HandRoll;
        let runs = rig.runs.iter().map(|&i| &self.season.runs[i]);
        runs.filter(|run| shared(run) || self.is_named(run, k))
            .cloned()
            .collect()
    }

    fn is_named(&self, run: &Run, k: usize) -> bool {
        self.named[k].is_of(run, self.by)
    }

    /// Why this pair of several, for a warning; `None` where there is no other.
    fn why_this(&self, pairs: &[CandidatePair], best: &CandidatePair, rig: &str) -> Option<String> {
        let other_wheels = || pairs.iter().any(|pair| !pair.same_wheels());
        let why = match best.same_wheels() && self.by == By::Vehicle && other_wheels() {
            true => "this one is on the same wheels",
            false => "this one has the most runs",
        };
        (pairs.len() > 1).then(|| format!("several pairs could be compared; {why}: {rig}"))
    }

    /// The names of the rigs on which two vehicles made their newest runs, where these are not the ones compared and each
    /// has runs enough for a line.
    fn newest(&self, rigs: &[group::RigIndices], best: &CandidatePair) -> Option<[String; 2]> {
        let newest = |k: usize| {
            let runs: Vec<&Run> = self
                .season
                .runs
                .iter()
                .filter(|r| self.is_named(r, k))
                .collect();
            let run = runs[group::newest(&runs, |run| run.date)?];
            rigs.iter()
                .find(|rig| (rig.vehicle, rig.wheels) == (run.vehicle, run.wheels))
        };
        let (first, second) = (newest(0)?, newest(1)?);
        let are_compared = (first.wheels, second.wheels) == (best.first.wheels, best.second.wheels);
        let enough = |rig: &group::RigIndices, k| self.fitted(rig, k) >= Some(FITTED_MIN);
        (!are_compared && enough(first, 0) && enough(second, 1))
            .then(|| [first.name.clone(), second.name.clone()])
    }
}

fn no_pair(by: By, named: &[Named; 2]) -> Error {
    let (what, would) = match by {
        _ if named.iter().any(Named::is_rig) => (
            "no two rigs are meant by these two names",
            "name both in full, as VEHICLE/WHEELS",
        ),
        By::Wheels => (
            "no vehicle ran both wheel sets",
            "make runs of one vehicle with each, best on the same days; or compare two rigs as they are, each named VEHICLE/WHEELS",
        ),
        _ => (
            "no vehicle with one wheel set was run with both labels",
            "make runs of one vehicle, on the same wheels, with each",
        ),
    };
    Error::cannot_answer(what, would)
}

/// What was run, for a sentence.
fn spoken_rigs(
    season: &Season,
    by: By,
    first: &group::RigIndices,
    second: &group::RigIndices,
) -> String {
    let said = |name: &str| match name {
        "" => "the vehicle".to_string(),
        name => name.to_string(),
    };
    match by {
        By::Wheels => said(&season.vehicles[first.vehicle as usize]),
        By::Vehicle => format!("{} and {}", said(&first.name), said(&second.name)),
        By::Build | By::Trim | By::Floor => said(&first.name),
    }
}

/// One of the two, fitted on its own.
pub(super) struct Side<'s> {
    pub runs: RigRuns<'s>,
    pub settled: Settled,
}

impl<'s> Side<'s> {
    pub fn fit(
        season: &'s Season,
        label: &str,
        setup: &Setup,
        level: Level,
        range: EventRange,
    ) -> Result<Self, Error> {
        let rig = &group::rigs(season)[0];
        let mut runs = rows::sorted_out(season, rig, rows::middle_lead(season));
        runs.name = label.to_string();
        let settled = fit::settled(&runs, setup, level, Options::default(), range)?;
        Ok(Side { runs, settled })
    }

    /// The label with how much was fitted of it.
    pub fn fitted_label(&self, label: &str) -> FittedLabel {
        let fit = &self.settled.fits.travel;
        FittedLabel {
            label: label.to_string(),
            runs: fit.launches.len(),
            sessions: fit.likeliest().design.groups(),
        }
    }

    /// The straight line of run time in arc; `None` with too few timed runs.
    pub fn time_line(&self) -> Option<Posterior> {
        time::line(&self.runs, &self.settled.fits.travel)
    }

    /// Design row: of a build (an index into those fitted) or of none, at a number of turns and a lead.
    pub fn travel_row(&self, build: Option<usize>, turns: f64, lead: Option<f64>) -> Vec<f64> {
        let fit = &self.settled.fits.travel;
        let mut row = vec![0.0; fit.rows.x.ncols()];
        if let Some(build) = build {
            row[build] = 1.0;
        }
        row[fit.turns_column] = turns;
        if let (Some(term), Some(lead)) = (fit.lead_term, lead) {
            row[term.column] = lead - term.mean_turns;
        }
        row
    }

    /// Size of a run to a target, N/N̄ with the turns that this one's own line needs in a state, that spreads along grow
    /// with.
    pub fn size_at(&self, target_m: f64, states: &SameStates, k: usize) -> f64 {
        let fit = &self.settled.fits.travel;
        let bent = self.settled.fits.heading.as_ref();
        let arc_m =
            geometry::arc_of_chord(target_m, bent.map_or(0.0, |h| h.curvature[states.trim[k]]));
        let overshoot = self.travel_row(Some(states.build[k]), 0.0, states.lead_turns);
        let mean = |(column, x): (usize, &f64)| x * fit.posterior.coefficient(column);
        let overshoot_m: f64 = overshoot.iter().enumerate().map(mean).sum();
        let turns = (arc_m - overshoot_m) / fit.posterior.coefficient(fit.turns_column);
        if turns > 0.0 && turns.is_finite() {
            size(turns, fit.mean_turns)
        } else {
            1.0
        }
    }

    pub fn run_to_run_m(&self, level: Level) -> Interval {
        let fit = &self.settled.fits.travel;
        fit.spreads().within_interval(fit.reml.sigma, level)
    }

    pub fn between_sessions_m(&self, level: Level) -> Interval {
        let fit = &self.settled.fits.travel;
        fit.spreads().between_interval(fit.reml.tau, level)
    }
}

/// The state in which the two are compared.
pub(super) struct SameStates {
    /// Index into each one's fitted builds.
    pub build: [usize; 2],
    /// Index into each one's fitted trims.
    pub trim: [usize; 2],
    /// The middle of all leads written.
    pub lead_turns: Option<f64>,
}

/// The newest build and the newest trim that both have; where there is none, each one's own newest, which is said.
pub(super) fn same_states(
    season: &Season,
    sides: &[Side; 2],
    by: By,
    warnings: &mut Vec<String>,
) -> SameStates {
    let builds = |k: usize| -> Vec<Label> {
        let side = &sides[k];
        let fitted = &side.settled.fits.travel.builds;
        fitted.iter().map(|&b| side.runs.builds[b]).collect()
    };
    let trims = |k: usize| -> Vec<Label> {
        let side = &sides[k];
        let fitted = side.settled.fits.heading.as_ref();
        fitted.map_or_else(Vec::new, |h| {
            h.trims.iter().map(|&t| side.runs.trims[t]).collect()
        })
    };
    let mut place = |what: &str, of: [Vec<Label>; 2], label: fn(&Run) -> Label, own: bool| {
        let newest = |allowed: &dyn Fn(Label) -> bool, of: Option<usize>| {
            let runs = match of {
                None => &season.runs,
                Some(k) => &sides[k].runs.season.runs,
            };
            let runs: Vec<&Run> = runs.iter().filter(|run| allowed(label(run))).collect();
            group::newest(&runs, |run| run.date).map(|at| label(runs[at]))
        };
        let common = newest(&|l| of[0].contains(&l) && of[1].contains(&l), None);
        [0, 1].map(|k| {
            let mine = common.or_else(|| newest(&|l| of[k].contains(&l), Some(k)));
            if k == 0 && common.is_none() && !own && !of[0].is_empty() && !of[1].is_empty() {
                warnings.push(format!(
                    "the two have no {what} in common: what the {what} does is part of the difference"
                ));
            }
            mine.and_then(|l| of[k].iter().position(|x| *x == l))
                .unwrap_or(0)
        })
    };
    let build = place(
        "build",
        [builds(0), builds(1)],
        |r| r.build,
        by == By::Build,
    );
    let trim = place("trim", [trims(0), trims(1)], |r| r.trim, by == By::Trim);
    let leads = sides
        .iter()
        .flat_map(|side| {
            let fitted = &side.settled.fits.travel.launches;
            fitted
                .iter()
                .filter_map(|&i| side.runs.launches[i].lead_turns)
        })
        .collect();
    SameStates {
        build,
        trim,
        lead_turns: median(leads),
    }
}
