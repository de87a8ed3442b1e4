//! Results in, pages and figures out as names and bytes; computes nothing and writes nothing.

mod answer;
mod captions;
mod card;
pub mod compare_page;
pub mod compare_words;
pub mod figures;
pub mod log_sheet;
mod next;
mod page;
pub mod plan_page;
pub mod plan_words;
pub mod review_page;
pub mod review_words;
mod rig_figures;
mod setting_row;
mod settings_csv;
pub mod svg;
mod view;
pub mod words;

use crate::calibration::{Calibration, EventRange, Rig};
use crate::decide::dial::{self, Setting};
use crate::decide::paper::{self, Paper};
use crate::decide::{Choice, Situation};
use crate::error::Error;

/// The parts of one rig's settings that pages and tables show.
pub struct RigSettings<'a> {
    /// The rig, with its newest build and trim and the lead in use.
    pub situation: Situation<'a>,
    /// Every target that can be announced.
    pub settings: Vec<Setting>,
    /// What to do on paper after runs at each of them.
    pub paper: Vec<Paper>,
}

/// Settings of every rig of a calibration.
///
/// # Errors
/// As [`dial::table`] and [`paper::corrections`].
pub fn settings(calibration: &Calibration) -> Result<Vec<RigSettings<'_>>, Error> {
    let range = calibration.range()?;
    calibration
        .rigs
        .iter()
        .map(|rig| rig_settings(calibration, rig, range))
        .collect()
}

fn rig_settings<'a>(
    calibration: &'a Calibration,
    rig: &'a Rig,
    range: EventRange,
) -> Result<RigSettings<'a>, Error> {
    let situation = Situation::of_rig(&calibration.setup, rig, &Choice::default())?;
    let settings = dial::table(&situation, range, calibration.level)?;
    let paper = settings
        .iter()
        .map(|s| paper::corrections(&situation, s.target_m))
        .collect::<Result<_, _>>()?;
    Ok(RigSettings {
        situation,
        settings,
        paper,
    })
}

/// Every file of a report: names below its folder, and their bytes.
///
/// # Errors
/// As [`settings`]; [`Error::Output`] when a figure would hold a number that is not finite.
pub fn files(calibration: &Calibration) -> Result<Vec<(String, Vec<u8>)>, Error> {
    let rigs = settings(calibration)?;
    let mut files = vec![(
        "settings.csv".to_string(),
        settings_csv::write(&rigs).into_bytes(),
    )];
    files.push((
        "card.html".to_string(),
        card::write(calibration, &rigs)?.into_bytes(),
    ));
    let mut parts = Vec::new();
    for (i, rig) in rigs.iter().enumerate() {
        // Labels never become file names.
        let prefix = if rigs.len() == 1 {
            String::new()
        } else {
            format!("rig{}-", i + 1)
        };
        let drawn = rig_figures::all(calibration, rig, &prefix)?;
        for figure in &drawn {
            files.push((
                format!("figures/{}.svg", figure.name),
                figure.figure.file.clone().into_bytes(),
            ));
        }
        parts.push(view::rig(calibration, rig, i, drawn)?);
    }
    files.insert(
        0,
        (
            "report.html".to_string(),
            page::report(calibration, parts)?.into_bytes(),
        ),
    );
    Ok(files)
}
