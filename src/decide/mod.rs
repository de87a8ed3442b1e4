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
pub mod shape;
pub mod situation;

pub use dial::Setting;
pub use situation::{Choice, Situation};

use crate::calibration::Calibration;
use crate::error::Error;

/// Adds to a fresh calibration what only decisions can tell of it: the bend that is wanted.
///
/// # Errors
/// As [`Calibration::range`].
pub fn complete(calibration: &mut Calibration) -> Result<(), Error> {
    let range = calibration.range()?;
    let setup = calibration.setup.clone();
    for rig in &mut calibration.rigs {
        let wanted = bend::wanted(&Situation::of_rig(&setup, rig, &Choice::default())?, range);
        rig.bend_wanted_per_m = wanted;
    }
    Ok(())
}
