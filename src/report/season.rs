//! The season's story as a section of the report: for a team to show parents and judges.

use super::captions::{self, Section, Shown};
use super::figures::chronicle;
use super::file::File;
use super::season_words;
use crate::calibration::Calibration;
use crate::error::Error;

/// Heading of the section.
const HEADING: &str = "The season’s story";

/// The section with the file of its figure, where it has one; `None` where the log has no season to tell of.
///
/// # Errors
/// [`Error::Internal`] when the figure would hold a number that is not finite.
pub fn section(calibration: &Calibration) -> Result<Option<(Section, Option<File>)>, Error> {
    let Some(told) = &calibration.chronicle else {
        return Ok(None);
    };
    let misses = chronicle::plate(told)?;
    let file = misses.figure.as_ref().map(|figure| {
        let name = captions::figure_file(chronicle::NAME);
        File::from_text(name, figure.file())
    });
    let changes = season_words::changes(told, calibration.level);
    let plates = [misses].into_iter().chain(changes);
    let plates: Vec<_> = plates.map(|plate| (chronicle::NAME, plate)).collect();
    Ok(Some((Section::new(HEADING, &plates, Shown::Inside), file)))
}
