//! Results in, pages and figures out as names and bytes; computes nothing and writes nothing.

mod answer;
mod captions;
pub mod card;
pub mod compare_page;
pub mod compare_words;
pub mod event_words;
mod figures;
mod file;
mod head;
mod index;
pub mod log_sheet;
mod next;
pub mod notebook;
pub mod page;
mod paper_words;
pub mod plan_page;
pub mod plan_words;
mod priors;
pub mod review_page;
pub mod review_words;
pub mod rig_figures;
mod season;
mod season_words;
mod setting_row;
mod settings_csv;
pub mod svg;
pub mod view;
mod whose;
pub mod words;

pub use captions::Shown;
pub use file::File;

use crate::calibration::{self, Calibration};
use crate::decide::RigSettings;
use crate::error::Error;
use rayon::prelude::*;
use rig_figures::RigFigure;
use view::RigPage;

/// Up to this many rigs stand on one page; more get a page each, and `report.html` is their index.
pub const RIGS_ON_ONE_PAGE: usize = 4;

/// Every file of a report, by name, the calibration among them; rigs are drawn side by side.
///
/// * `advice` — the settings of every rig of the calibration, in order
///
/// # Errors
/// [`Error::CannotAnswer`] where no range of targets is known; [`Error::Internal`] when a figure would hold a number
/// that is not finite.
pub fn files(calibration: &Calibration, advice: &[RigSettings]) -> Result<Vec<File>, Error> {
    let on_one_page = advice.len() <= RIGS_ON_ONE_PAGE;
    let rigs = advice.par_iter().enumerate();
    let drawn: Vec<Result<_, Error>> = rigs
        .map(|(index, rig)| rig_files(calibration, rig, index, on_one_page))
        .collect();
    let (mut files, mut pages) = (Vec::new(), Vec::new());
    for drawn in drawn {
        let (its_files, page) = drawn?;
        files.extend(its_files);
        pages.extend(page);
    }
    let (season, drawn) = season::section(calibration)?.unzip();
    files.extend(drawn.flatten());
    let report = if on_one_page {
        page::report(calibration, pages, season)?
    } else {
        let lines = advice.iter().enumerate().map(index::line).collect();
        page::index(calibration, lines, season)?
    };
    files.push(File::from_text("report.html", report));
    files.push(File::from_text("settings.csv", settings_csv::text(advice)));
    let check = calibration::file::check_sum(calibration);
    let card = card::write(calibration, &check, advice)?;
    files.push(File::from_text("card.html", card));
    let json = calibration::file::write(calibration);
    files.push(File::from_text("calibration.json", json));
    files.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(files)
}

/// The files of one rig, number `index`; and its part of the page of all, where there is one.
fn rig_files(
    calibration: &Calibration,
    rig: &RigSettings,
    index: usize,
    on_one_page: bool,
) -> Result<(Vec<File>, Option<RigPage>), Error> {
    // Labels never become file names.
    let prefix = if rig.alone {
        String::new()
    } else {
        format!("rig{}-", index + 1)
    };
    let drawn = rig_figures::all(calibration, rig, &prefix)?;
    let file = |d: &RigFigure| {
        let figure = d.plate.figure.as_ref()?;
        Some(File::from_text(
            captions::figure_file(&d.name),
            figure.file(),
        ))
    };
    let mut files: Vec<File> = drawn.iter().filter_map(file).collect();
    if on_one_page {
        let page = view::rig(calibration, rig, index, drawn, Shown::Inside);
        return Ok((files, Some(page)));
    }
    let page = view::rig(calibration, rig, index, drawn, Shown::AsFiles);
    files.push(File::from_text(
        index::page_file(index),
        page::rig(calibration, rig.situation.rig, page)?,
    ));
    Ok((files, None))
}
