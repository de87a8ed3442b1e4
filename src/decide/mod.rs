//! What is known turned into what to do: settings, corrections, plans, comparisons. Draws and words nothing.

mod advise;
pub mod bend;
pub mod clearance;
pub mod compare;
pub mod correct;
mod counted;
pub mod curves;
pub mod dial;
mod doubt;
pub mod next_session;
mod observe;
pub mod on_purpose;
pub mod paper;
pub mod parts;
pub mod plan;
pub mod practice;
pub mod predict;
pub mod review;
pub mod rounding;
pub mod score;
pub mod situation;
pub use advise::{RigSettings, advise};
pub use dial::Setting;
pub use situation::{Choice, Situation};

use crate::calibration::{Calibration, Rig};
use crate::error::Error;
use rayon::prelude::*;

/// Adds to a fresh calibration what only decisions can tell of it: the bend that is wanted.
///
/// # Errors
/// Any error of [`Calibration::range`] and [`Situation::from_rig`].
pub fn complete(calibration: &mut Calibration) -> Result<(), Error> {
    let range = calibration.range()?;
    let setup = &calibration.setup;
    let wanted = |rig: &Rig| {
        let situation = Situation::from_rig(setup, rig, &Choice::default())?;
        Ok(bend::wanted(&situation, range))
    };
    let wanted: Vec<Result<_, Error>> = calibration.rigs.par_iter().map(wanted).collect();
    for (rig, wanted) in calibration.rigs.iter_mut().zip(wanted) {
        rig.bend_wanted_per_m = wanted?;
    }
    Ok(())
}
