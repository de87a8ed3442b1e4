//! Recoil against brake lead, and which lead to use.
//!
//! P(recoil) = logistic(γ0 + γ1·lead) by penalised likelihood (Firth 1993; Heinze & Schemper 2002), intervals from
//! its profile. With no recoil seen, or one lead only, an exact binomial bound (Clopper & Pearson 1934) answers.
//! `model.md` §5 and §3 (Lead).

use super::rows::{Launch, RigRuns};
use crate::log::run::{Kind, Load, Run, Status};
use crate::setup::Setup;
use crate::stats::distributions::binomial_interval;
use crate::stats::interval::{Interval, Level};
use crate::stats::logistic::Logistic;
use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};

/// A build's own runs speak for it from this many on; below, all builds do.
const OWN_RUNS_MIN: usize = 6;
/// How far beyond the leads used the ends of the ED50 are looked for, turns.
const LOOK_BEYOND_TURNS: f64 = 20.0;
/// What a fit's rounding may come to, beside its uncertainty or the leads used.
const ROUNDING: f64 = 1e-9;
/// A lead cannot be set finer than this, turns.
const HALF_LEAD_WITHIN_TURNS: f64 = 1e-3;

/// Nothing rolls back by this many turns' ways: it is the brake's line, wound on over a lead of one to two turns, that winds it
/// back, and may let it roll on as far again (common practice, no source). Ten turns misread are more.
const ROLL_BACK_BEYOND_TURNS: f64 = 8.0;

/// How far from where its turns put it a run that rolled back may be a slip all the same, m: farther than rolling back explains.
///
/// * `turn_m` — the way of a turn, m
pub fn beyond_rolling_back_m(turn_m: f64) -> f64 {
    ROLL_BACK_BEYOND_TURNS * turn_m
}

/// What to say where only `status` tells of roll-backs.
pub const TAKEN_FROM_STATUS: &str = "How often it rolls back: no run is noted to have stayed put, so all ok runs are taken to have. Fill recoil_cm, with 0 where somebody watched and it stayed put.";

/// What is known of recoil for one build.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Recoil {
    /// Launches where somebody watched, with a lead to hold it against.
    pub watched: usize,
    /// Of these, rolled back.
    pub seen: usize,
    /// By lead used, rising.
    pub by_lead: Vec<LeadRecoil>,
    /// The fitted curve; `None` where only a bound can be given.
    pub curve: Option<RecoilCurve>,
    /// Whether other builds' runs had to be counted too.
    pub from_all_builds: bool,
    /// Whether nobody noted having watched, so that `ok` runs are taken to have stayed put.
    #[serde(default)]
    pub by_status: bool,
}

/// Runs at one lead.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LeadRecoil {
    /// Brake lead.
    pub lead_turns: f64,
    /// Watched launches at it.
    pub watched: usize,
    /// Of these, rolled back.
    pub seen: usize,
    /// Chance of a recoil.
    pub chance: Interval,
    /// Launches at it whose load was noted, and how many loads broke.
    pub load_noted: usize,
    /// Of these, broken.
    pub load_broken: usize,
}

/// Log-odds of a recoil as a straight line in lead.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RecoilCurve {
    /// Log-odds at no lead.
    pub at_zero: f64,
    /// Log-odds for each turn of lead.
    pub per_turn: Interval,
    /// The ED50, the lead with an even chance; `None` with a slope of 0 or less, ends ±∞ where they do not exist.
    pub half_lead_turns: Option<Interval>,
    /// The lead at which the chance reaches what the set-up accepts, within the leads used.
    pub lead_limit_turns: Option<f64>,
}

impl RecoilCurve {
    fn chance(&self, lead_turns: f64) -> f64 {
        1.0 / (1.0 + (-(self.at_zero + self.per_turn.estimate * lead_turns)).exp())
    }
}

/// Launches at one lead, counted.
#[derive(Debug, Clone, Copy, Default)]
struct Counted {
    lead_turns: f64,
    /// Whether any was not void.
    used: bool,
    watched: usize,
    seen: usize,
    load_noted: usize,
    load_broken: usize,
}

/// Launches of one build, or of all, by lead, rising.
fn counted(runs: &RigRuns, of: Option<usize>) -> Vec<Counted> {
    let mut by_lead: Vec<Counted> = Vec::new();
    let of_build = |l: &&Launch| of.is_none_or(|b| l.build == b);
    let by_status = runs.tell_recoil_by_status();
    for launch in runs.launches.iter().filter(of_build) {
        let Some(lead_turns) = launch.lead_turns else {
            continue;
        };
        let at = by_lead.partition_point(|c| c.lead_turns < lead_turns);
        if by_lead.get(at).is_none_or(|c| c.lead_turns != lead_turns) {
            let none = Counted {
                lead_turns,
                ..Counted::default()
            };
            by_lead.insert(at, none);
        }
        let (count, run) = (&mut by_lead[at], &launch.run);
        let watched = run.recoil_was_watched() || by_status && run.status == Status::Ok;
        count.used |= run.status != Status::Void;
        count.watched += usize::from(watched);
        count.seen += usize::from(watched && run.status == Status::Recoil);
        count.load_noted += usize::from(run.load.is_some());
        count.load_broken += usize::from(run.load == Some(Load::Broken));
    }
    by_lead
}

/// Watched launches and recoils at some leads together.
fn sums<'c>(counts: impl IntoIterator<Item = &'c Counted>) -> (usize, usize) {
    let add = |(watched, seen), c: &Counted| (watched + c.watched, seen + c.seen);
    counts.into_iter().fold((0, 0), add)
}

/// Recoil of one build (an index into the rig's builds).
fn for_build(runs: &RigRuns, build: usize, setup: &Setup, level: Level) -> Recoil {
    let own = counted(runs, Some(build));
    let from_all_builds = sums(&own).0 < OWN_RUNS_MIN && runs.builds.len() > 1;
    let counts = if from_all_builds {
        counted(runs, None)
    } else {
        own
    };
    let curve = curve(&counts, setup, level);
    let fit = curve.as_ref().map(|c| &c.1);
    let by_lead = counts.iter().filter(|c| c.used).map(|c| LeadRecoil {
        lead_turns: c.lead_turns,
        watched: c.watched,
        seen: c.seen,
        chance: chance_at(&counts, fit, c.lead_turns, level),
        load_noted: c.load_noted,
        load_broken: c.load_broken,
    });
    let (watched, seen) = sums(&counts);
    Recoil {
        watched,
        seen,
        by_lead: by_lead.collect(),
        curve: curve.map(|c| c.0),
        from_all_builds,
        by_status: runs.tell_recoil_by_status(),
    }
}

/// The curve, where recoils were seen (and not only recoils) over at least two leads.
fn curve(counts: &[Counted], setup: &Setup, level: Level) -> Option<(RecoilCurve, Logistic)> {
    let (watched, seen) = sums(counts);
    let at: Vec<&Counted> = counts.iter().filter(|c| c.watched > 0).collect();
    if seen == 0 || seen == watched || at.len() < 2 {
        return None;
    }
    let number = |of: fn(&Counted) -> usize| at.iter().map(move |c| of(c) as f64);
    let leads = DMatrix::from_iterator(at.len(), 1, at.iter().map(|c| c.lead_turns));
    let trials = DVector::from_iterator(at.len(), number(|c| c.watched));
    let events = DVector::from_iterator(at.len(), number(|c| c.seen));
    let fit = Logistic::fit_counts(&leads, trials, events).ok()?;
    let per_turn = fit.interval(1, level).ok()?;
    let at_zero = fit.beta()[0];
    let (low, high) = (at[0].lead_turns, at[at.len() - 1].lead_turns);
    // Outcomes that say nothing of lead leave a slope of rounding alone.
    let rises = per_turn.estimate > ROUNDING * (per_turn.high - per_turn.low);
    let half_lead_turns = match rises {
        true => {
            let ends = fit.ed50(
                level,
                (low, high),
                LOOK_BEYOND_TURNS,
                HALF_LEAD_WITHIN_TURNS,
            );
            Some(ends.ok()?)
        }
        false => None,
    };
    let accept = setup.brake.recoil_accept;
    let limit = ((accept / (1.0 - accept)).ln() - at_zero) / per_turn.estimate;
    let slack = ROUNDING * (high - low);
    let within = limit.is_finite() && limit >= low - slack && limit <= high + slack;
    let lead_limit_turns = (rises && within).then_some(limit.clamp(low, high));
    Some((
        RecoilCurve {
            at_zero,
            per_turn,
            half_lead_turns,
            lead_limit_turns,
        },
        fit,
    ))
}

/// Chance at one lead: from the curve, else an exact bound from the runs that speak for it. More lead never rolls
/// back less often, so with none seen every run at this lead or more speaks; with nothing else seen, at this or less.
fn chance_at(counts: &[Counted], fit: Option<&Logistic>, lead: f64, level: Level) -> Interval {
    if let Some(chance) = fit.and_then(|f| f.chance_at(&[lead], level).ok()) {
        return chance;
    }
    let none_seen = sums(counts).1 == 0;
    let speaks = |c: &&Counted| match none_seen {
        true => c.lead_turns >= lead,
        false => c.lead_turns <= lead,
    };
    let (watched, seen) = sums(counts.iter().filter(speaks));
    binomial_interval(seen as u64, watched as u64, level)
}

impl Recoil {
    /// Point estimate of the chance at a lead; `None` where nobody watched or the lead says nothing.
    pub fn chance(&self, lead_turns: f64) -> Option<f64> {
        if self.watched == 0 {
            return None;
        }
        if let Some(curve) = &self.curve {
            return Some(curve.chance(lead_turns));
        }
        self.by_lead
            .iter()
            .find(|l| l.lead_turns == lead_turns && l.watched > 0)
            .map_or_else(
                || if self.seen == 0 { Some(0.0) } else { None },
                |l| Some(l.seen as f64 / l.watched as f64),
            )
    }

    /// The lead to use: `newest`, the median lead of the build's newest session, unless it rolls back too often;
    /// then the largest lead used that is known not to; the smallest used when there is none (`model.md` §3). A lead
    /// that nobody watched is not known to be any better.
    pub fn lead_to_use(&self, newest: Option<f64>, setup: &Setup) -> Option<f64> {
        let newest = newest?;
        let accept = setup.brake.recoil_accept;
        if self.chance(newest).is_none_or(|c| c <= accept) {
            return Some(newest);
        }
        let used = || self.by_lead.iter().map(|l| l.lead_turns);
        used()
            .filter(|&l| self.chance(l).is_some_and(|c| c <= accept))
            .max_by(f64::total_cmp)
            .or_else(|| used().min_by(f64::total_cmp))
    }
}

impl RigRuns<'_> {
    /// Median lead written in the newest session of a build, void launches left out; of an even number the lower middle
    /// one, so that it is a lead that was used.
    fn newest_session_lead(&self, build: usize) -> Option<f64> {
        let of_build = |l: &Launch| l.build == build && l.run.status != Status::Void;
        let launches: Vec<usize> = (0..self.launches.len())
            .filter(|&i| of_build(&self.launches[i]))
            .collect();
        let newest = &self.newest(&launches)?.run;
        let mut leads: Vec<f64> = launches
            .iter()
            .map(|&i| &self.launches[i])
            .filter(|l| l.run.session == newest.session)
            .filter_map(|l| l.lead_turns)
            .collect();
        leads.sort_by(f64::total_cmp);
        leads.get(leads.len().saturating_sub(1) / 2).copied()
    }
}

/// Recoil of one build, and the lead that settings are made for.
#[derive(Debug, Clone)]
pub struct BuildRecoil {
    /// Recoil against lead.
    pub recoil: Recoil,
    /// The lead in use; `None` where no lead was written down.
    pub lead_in_use: Option<f64>,
}

impl BuildRecoil {
    /// Every build of a rig, in the order of its list.
    pub fn of_builds(runs: &RigRuns, setup: &Setup, level: Level) -> Vec<Self> {
        let of_build = |build| {
            let recoil = for_build(runs, build, setup, level);
            let newest = runs.newest_session_lead(build);
            BuildRecoil {
                lead_in_use: recoil.lead_to_use(newest, setup),
                recoil,
            }
        };
        (0..runs.builds.len()).map(of_build).collect()
    }
}

/// Whether a run tells how far runs at the lead in use go: it stopped by itself or rolled back at that lead or less (a run
/// without a lead counts as made at it), and both turns and rest point are written. What counts at the event is where it
/// rests, and such a lead will roll back again (`model.md` §2).
pub fn tells_travel(run: &Run, lead_in_use: Option<f64>) -> bool {
    let no_more_lead = || {
        let both = run.lead_turns.zip(lead_in_use);
        both.is_none_or(|(lead, in_use)| lead <= in_use)
    };
    let stopped = match run.status {
        Status::Ok => true,
        Status::Recoil => no_more_lead(),
        Status::Touched | Status::Void => false,
    };
    stopped && run.kind == Kind::Launch && run.turns.is_some() && run.rest_m.is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Three of five rolled back at the one lead that was watched; a longer lead was used, but nobody watched.
    #[test]
    fn a_longer_lead_that_nobody_watched_is_not_taken_instead() {
        let by = |lead_turns, watched, seen| LeadRecoil {
            lead_turns,
            watched,
            seen,
            chance: Interval {
                estimate: 0.0,
                low: 0.0,
                high: 1.0,
            },
            load_noted: 0,
            load_broken: 0,
        };
        let recoil = Recoil {
            watched: 5,
            seen: 3,
            by_lead: vec![by(1.0, 5, 3), by(3.0, 0, 0)],
            curve: None,
            from_all_builds: false,
            by_status: false,
        };
        let lead = recoil.lead_to_use(Some(1.0), &Setup::default());
        assert_eq!(lead, Some(1.0));
    }
}
