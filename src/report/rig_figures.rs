//! The figures of one rig, drawn.

use super::figures::{About, FIGURES, Plate, ReaderQuestion};
use crate::calibration::Calibration;
use crate::decide::RigSettings;
use crate::error::Error;

/// A figure of a rig with what stands around it.
pub struct RigFigure {
    /// The part of the page it stands in.
    pub question: ReaderQuestion,
    /// File name without its end.
    pub name: String,
    /// The drawing and its words.
    pub plate: Plate,
}

/// Every figure that a rig's log can make, in the reader's order.
///
/// * `prefix` — stands before the name of each file
///
/// # Errors
/// [`Error::Internal`] when one would hold a number that is not finite.
pub fn all(
    calibration: &Calibration,
    rig: &RigSettings,
    prefix: &str,
) -> Result<Vec<RigFigure>, Error> {
    let about = About { calibration, rig };
    let mut drawn = Vec::new();
    for entry in &FIGURES {
        let name = format!("{prefix}{}", entry.name);
        if let Some(plate) = (entry.tell)(&about, &name)? {
            drawn.push(RigFigure {
                question: entry.question,
                name,
                plate,
            });
        }
    }
    Ok(drawn)
}
