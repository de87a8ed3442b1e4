//! After today's runs: the same decisions with today's session taken into account.

use super::doubt::least_probable;
use super::observe::{Observation, observe, others_left_out};
use super::situation::{Choice, Situation};
use crate::calibration::{Calibration, Rig};
use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::log::run::{Run, Season};
use crate::stats::mixed::Row;

/// A run of today whose like chance brings less often than this is doubted.
const DOUBT_BELOW: f64 = 1e-3;

/// What becomes of a run of today that the calibration and today's other runs hold for almost impossible.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AlmostImpossible {
    /// Named and left out: a tape read wrong costs more than a run.
    LeftOut,
    /// Used like any other: somebody says that it was read right.
    Believed,
}

/// A run of today that was named and left out.
#[derive(Debug, Clone, PartialEq)]
pub struct DoubtedRun {
    /// Line in today's log.
    pub line: usize,
    /// Why, in words.
    pub why: String,
}

/// How today differs from the calibration, at one target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Today {
    /// Runs that were of use.
    pub runs: usize,
    /// + longer than the calibration says, m.
    pub shift_long_m: f64,
    /// + to the right of it, rad; `None` where nothing is known across.
    pub shift_right_rad: Option<f64>,
    /// Part of the mean miss that is taken out along; above 1 where the shift was seen near and spreads grow with the
    /// distance.
    pub share_along: f64,
    /// And across; `None` without a run that tells.
    pub share_across: Option<f64>,
}

/// What today's log adds: the situation before the next run, and what should be said about it.
#[derive(Debug, Clone)]
pub struct Corrected<'a> {
    /// After today's runs.
    pub situation: Situation<'a>,
    /// Before them.
    pub before: Situation<'a>,
    /// Runs that were of use.
    pub runs: usize,
    /// Whether any of them tells about direction.
    pub across: bool,
    /// Runs that were named and left out, the least probable first.
    pub doubted: Vec<DoubtedRun>,
    /// Runs that rolled back at the lead in use or less, and count where they came to rest.
    pub rolled_back: usize,
    /// The other way on after such a run: less lead, and these runs left out along. `None` where no less lead was tried.
    pub less_lead: Option<Situation<'a>>,
    /// In words.
    pub warnings: Vec<String>,
}

/// Takes today's runs into account.
///
/// # Errors
/// [`Error::Input`] for two sessions in today's log or a choice that cannot be meant.
pub fn correct<'a>(
    calibration: &'a Calibration,
    today: &Season,
    choice: &Choice,
    almost_impossible: AlmostImpossible,
) -> Result<Corrected<'a>, Error> {
    one_session(today)?;
    let before = Situation::new(calibration, choice)?;
    let mut warnings = Vec::new();
    if let Some(label) = today
        .sessions
        .first()
        .filter(|l| before.rig.session_labels.contains(l))
    {
        warnings.push(format!(
            "the calibration already has a session called {label}; today's runs are taken as a new one"
        ));
    }
    let mut used = observed(&before, today, &mut warnings);
    let doubted = match almost_impossible {
        AlmostImpossible::LeftOut => leave_doubted_out(before.rig, &mut used),
        AlmostImpossible::Believed => Vec::new(),
    };
    let rolled_back: Vec<&Observation> = used.iter().filter(|o| o.rolled_back_at_rest()).collect();
    let situation = after(&before, &used, |_| true);
    let less_lead = less_lead(&before, &rolled_back).map(|lead_turns| Situation {
        lead_turns: Some(lead_turns),
        ..after(&before, &used, |o| !o.rolled_back)
    });
    Ok(Corrected {
        situation,
        runs: used.len(),
        across: used.iter().any(|o| o.heading.is_some()),
        doubted,
        rolled_back: rolled_back.len(),
        less_lead,
        before,
        warnings,
    })
}

/// Refuses a log of today with runs under several labels.
fn one_session(today: &Season) -> Result<(), Error> {
    if today.sessions.len() <= 1 {
        return Ok(());
    }
    Err(Error::Input(Faults(vec![Fault::error(
        today.files.join(", "),
        format!(
            "holds {} sessions ({}); expected the runs of today only, under one label",
            today.sessions.len(),
            today.sessions.join(", ")
        ),
    )])))
}

/// The runs of today that tell something, in order.
fn observed(situation: &Situation, today: &Season, warnings: &mut Vec<String>) -> Vec<Observation> {
    warnings.extend(others_left_out(situation, today));
    let mut runs: Vec<&Run> = today.runs.iter().collect();
    runs.sort_by(|a, b| a.order.total_cmp(&b.order));
    (runs.iter())
        .filter_map(|run| observe(situation, today, run, warnings))
        .collect()
}

/// Takes runs away one at a time, the least probable first, while chance would hardly ever bring its like.
fn leave_doubted_out(rig: &Rig, used: &mut Vec<Observation>) -> Vec<DoubtedRun> {
    let mut doubted = Vec::new();
    loop {
        let runs: Vec<&Observation> = used.iter().collect();
        let Some(least) = least_probable(rig, &runs).filter(|least| least.p < DOUBT_BELOW) else {
            return doubted;
        };
        let others = if used.len() == 1 {
            "the season has it"
        } else {
            "the season and today's other runs have it"
        };
        let run = used.remove(least.run);
        doubted.push(DoubtedRun {
            line: run.line,
            why: format!(
                "{} {others}; by chance fewer than 1 run in 1,000 does that: read tape and dial again",
                least.how_far()
            ),
        });
    }
}

/// The situation after today's runs, or after those of them that `goes_along` lets tell how far it goes.
fn after<'a>(
    before: &Situation<'a>,
    used: &[Observation],
    goes_along: impl Fn(&Observation) -> bool,
) -> Situation<'a> {
    let along = used.iter().filter(|o| goes_along(o));
    let travel: Vec<(Row, f64)> = along.filter_map(|o| o.travel.clone()).collect();
    let heading: Vec<(Row, f64)> = used.iter().filter_map(|o| o.heading.clone()).collect();
    let rig = before.rig;
    Situation {
        travel: rig.travel.posterior.group(&travel),
        heading: rig.heading.as_ref().map(|h| h.posterior.group(&heading)),
        ..before.clone()
    }
}

/// The largest lead tried that is below the lead in use and below every lead at which a run of today rolled back; `None` of
/// no such run or lead.
fn less_lead(before: &Situation, rolled_back: &[&Observation]) -> Option<f64> {
    let in_use = before.lead_turns?;
    let leads = rolled_back.iter().filter_map(|o| o.lead_turns);
    let below = leads.chain([in_use]).reduce(f64::min)?;
    let less = before.tried_lead_below(below);
    less.filter(|_| !rolled_back.is_empty())
}

impl Corrected<'_> {
    /// How today differs, and the shares taken out, at a target; `None` with no usable run.
    ///
    /// # Errors
    /// Any error of [`super::dial::plain_setting`].
    pub fn today(&self, target_m: f64) -> Result<Option<Today>, Error> {
        if self.runs == 0 {
            return Ok(None);
        }
        let (turns, _) = super::dial::plain_setting(&self.before, target_m)?;
        let row = self.before.travel_row(turns);
        let arc = self.before.arc_to_m(target_m);
        let across = self.across.then_some(());
        Ok(Some(Today {
            runs: self.runs,
            shift_long_m: self.situation.travel.mean(&row) - self.before.travel.mean(&row),
            shift_right_rad: across
                .map(|()| self.situation.heading_mean(arc) - self.before.heading_mean(arc)),
            share_along: self.situation.travel.share(&row),
            share_across: across
                .and(self.situation.known_heading())
                .map(|(h, trim, today)| today.share(&h.row(trim, arc))),
        }))
    }
}
