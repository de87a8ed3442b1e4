//! What the commands read beside logs: the set-up, a calibration, and which part of it the flags ask for.

use std::path::{Path, PathBuf};

use super::args::{Common, RigArgs};
use crate::calibration::{Calibration, file};
use crate::decide::Choice;
use crate::error::Error;
use crate::fault::{Fault, Faults, read_text};
use crate::setup::{self, Dial, Setup, Vehicle};

/// The largest calibration that is read; a season's is under 1 MB.
pub const LARGEST_FILE_BYTES: u64 = 256 << 20;

/// The set-up that was asked for, or the defaults.
pub fn setup(common: &Common) -> Result<Setup, Error> {
    match &common.setup {
        Some(path) => setup::read(path),
        None => Ok(Setup::default()),
    }
}

/// The rig, build, trim and lead that the flags ask for.
pub fn choice(rig: &RigArgs, lead_turns: Option<f64>) -> Choice {
    Choice {
        rig: rig.rig.clone(),
        build: rig.build.clone(),
        trim: rig.trim.clone(),
        lead_turns,
    }
}

/// Reads a calibration, under the set-up given on the command line where there is one.
///
/// * `rig` — the only one that is needed; all where it is `None`
///
/// # Errors
/// Faults of both; [`Error::Input`] where the new set-up would need another fit.
pub fn calibration(path: &Path, rig: Option<&str>, common: &Common) -> Result<Calibration, Error> {
    let name = path.display().to_string();
    let text = read_text(path, LARGEST_FILE_BYTES, "a calibration")?;
    let mut calibration = file::read_for(&name, &text, rig)?;
    if let Some(setup_path) = &common.setup {
        let new = setup(common)?;
        needs_no_fit(&setup_path.display().to_string(), &calibration.setup, &new)?;
        calibration.setup = new;
    }
    Ok(calibration)
}

/// Files that were read for a calibration, and must not be written over.
pub fn files_read(calibration: &Path, common: &Common) -> Vec<PathBuf> {
    std::iter::once(calibration.to_path_buf())
        .chain(common.setup.clone())
        .collect()
}

/// Refuses a set-up whose dial, priors or wheel diameters are not those of the fit.
fn needs_no_fit(file: &str, old: &Setup, new: &Setup) -> Result<(), Error> {
    let mut faults = Faults::default();
    let mut changed = |key: &str, differs: bool| {
        if differs {
            faults.push(
                Fault::error(
                    file,
                    "not what the calibration was fitted with: fit again with this set-up",
                )
                .column(key),
            );
        }
    };
    let Dial { ticks_per_turn, .. } = old.dial;
    let Vehicle {
        wheel_diameter_m, ..
    } = old.vehicle;
    changed(
        "[dial] ticks_per_turn",
        ticks_per_turn != new.dial.ticks_per_turn,
    );
    changed("[prior]", old.prior != new.prior);
    changed(
        "[vehicle] wheel_diameter_cm",
        wheel_diameter_m != new.vehicle.wheel_diameter_m,
    );
    changed(
        "[wheels] diameter_cm",
        old.wheels_diameter_m != new.wheels_diameter_m,
    );
    if faults.any_error() {
        Err(faults.into())
    } else {
        Ok(())
    }
}
