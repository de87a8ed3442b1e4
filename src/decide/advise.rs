//! The settings of every rig of a calibration, with what its pages, tables and card show beside them.

use super::dial::{self, Setting};
use super::paper::{self, LessLead, Paper};
use super::parts::{self, Parts};
use super::plan::{self, MissParts, Prospects, USUAL_RUNS, miss_parts};
use super::predict::Prediction;
use super::situation::{Choice, Situation};
use crate::calibration::{Calibration, EventRange, Rig};
use crate::error::Error;
use rayon::prelude::*;

/// The settings of one rig, with its newest build and trim and the lead in use.
pub struct RigSettings<'a> {
    /// The rig in that state.
    pub situation: Situation<'a>,
    /// For every target that can be announced, shortest first.
    pub settings: Vec<Setting>,
    /// Shortest, middle and longest target (without repeats), with what is expected of the run.
    pub three: Vec<(Setting, Prediction)>,
    /// Which of `three` is the middle one.
    pub middle: usize,
    /// What the miss at the middle target is made of, along and, where it is known, across.
    pub parts: (Parts, Option<Parts>),
    /// What a first run's miss is made of over all targets, as `plan` says it; `None` where the log does not tell.
    pub miss_parts: Option<MissParts>,
    /// What to do on paper after runs at each of `settings`.
    pub paper: Vec<Paper>,
    /// The other way on after a run that rolled back; `None` where no less lead was tried.
    pub less_lead: Option<LessLead>,
    /// The distance within which what counts at the event is nine times in ten, m; `None` where the log does not tell.
    pub at_event_m: Option<f64>,
    /// Where the runs of one more session teach the most, shortest first; empty where that is not known.
    pub next_targets_m: Vec<f64>,
    /// The level of every interval.
    pub level: f64,
    /// Whether the calibration has no other rig.
    pub alone: bool,
}

impl RigSettings<'_> {
    /// How often what counts at the event is within [`RigSettings::at_event_m`].
    pub const OFTEN: f64 = plan::OFTEN;
}

/// The settings of every rig, rigs side by side, in their order.
///
/// # Errors
/// Any error of [`Calibration::range`]; [`Error::CannotAnswer`] for a rig that more turns do not carry farther.
pub fn advise(calibration: &Calibration) -> Result<Vec<RigSettings<'_>>, Error> {
    let range = calibration.range()?;
    let rigs = calibration.rigs.par_iter();
    let settings: Vec<_> = rigs
        .map(|rig| rig_setting(calibration, rig, range))
        .collect();
    // The first error in the order of the rigs, not of the threads.
    settings.into_iter().collect()
}

fn rig_setting<'a>(
    calibration: &'a Calibration,
    rig: &'a Rig,
    range: EventRange,
) -> Result<RigSettings<'a>, Error> {
    let situation = Situation::from_rig(&calibration.setup, rig, &Choice::default())?;
    let dial::SettingsTable { settings, three } =
        dial::table(&situation, range, calibration.level)?;
    let paper = settings
        .iter()
        .map(|s| paper::corrections(&situation, s.target_m))
        .collect::<Result<_, _>>()?;
    let is_middle = |(s, _): &(Setting, Prediction)| s.target_m == range.middle_m();
    let middle = three.iter().position(is_middle).unwrap_or_default();
    let at = &three[middle].0;
    let parts = (
        parts::along(&situation, at.dial.turns()),
        parts::across(&situation, at.target_m),
    );
    let prospects = Prospects::new(&situation, range).ok();
    let of_next = |p: &Prospects| p.targets_m(1, USUAL_RUNS as usize);
    let next_targets_m = prospects.as_ref().map_or_else(Vec::new, of_next);
    let over_all = |p: &Prospects| miss_parts(&situation, p).ok();
    let miss_parts = prospects.as_ref().and_then(over_all);
    let at_event_m = prospects.and_then(|p| p.event_miss_m(plan::OFTEN).ok());
    Ok(RigSettings {
        level: calibration.level.probability(),
        next_targets_m,
        at_event_m,
        less_lead: paper::less_lead(&situation),
        situation,
        settings,
        three,
        middle,
        parts,
        miss_parts,
        paper,
        alone: calibration.rigs.len() == 1,
    })
}
