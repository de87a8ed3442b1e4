//! What is known turned into what to do: settings, corrections, plans, comparisons. Draws and words nothing.

pub mod bend;
pub mod clearance;
pub mod compare;
pub mod correct;
pub mod curves;
pub mod dial;
pub mod next_session;
pub mod paper;
pub mod parts;
pub mod plan;
pub mod predict;
pub mod review;
pub mod rounding;
pub mod score;
pub mod situation;
pub mod tabulated;

pub use dial::Setting;
pub use situation::{Choice, Situation};

use crate::calibration::{Calibration, EventRange, Rig};
use crate::error::Error;
use crate::setup::Setup;

/// Adds to a fresh calibration what only decisions can tell of it: the bend that is wanted.
///
/// # Errors
/// Those of [`Calibration::range`].
pub fn complete(calibration: &mut Calibration) -> Result<(), Error> {
    let range = calibration.range()?;
    for rig in &mut calibration.rigs {
        complete_rig(&calibration.setup, range, rig)?;
    }
    Ok(())
}

/// Adds the bend that is wanted to one rig of a fresh calibration.
///
/// # Errors
/// Those of [`Situation::of_rig`].
pub fn complete_rig(setup: &Setup, range: EventRange, rig: &mut Rig) -> Result<(), Error> {
    rig.bend_wanted_per_m =
        bend::wanted(&Situation::of_rig(setup, rig, &Choice::default())?, range);
    Ok(())
}
