//! Is the model enough? Each check: a name, a p value where there is one, whether to worry, and what to do.

use super::heading::HeadingFit;
use super::rows::RigRuns;
use super::travel::TravelFit;
use super::{Check, LeftOut, Story};
use crate::setup::Setup;

/// What the checks look at.
pub struct Evidence<'a> {
    /// The rig's runs.
    pub runs: &'a RigRuns<'a>,
    /// Arc on turns.
    pub travel: &'a TravelFit,
    /// Heading excess on arc.
    pub heading: Option<&'a HeadingFit>,
    /// Runs and sessions with their residuals.
    pub story: &'a Story,
    /// Leave-one-session-out.
    pub left_out: &'a LeftOut,
    /// The set-up in force.
    pub setup: &'a Setup,
}

/// Every check that the log can make.
pub fn all(_evidence: &Evidence) -> Vec<Check> {
    Vec::new()
}
