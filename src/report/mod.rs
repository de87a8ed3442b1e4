//! Results in, pages and figures out as names and bytes; computes nothing and writes nothing.

mod answer;
mod captions;
pub mod card;
pub mod compare_page;
pub mod compare_words;
pub mod figures;
mod index;
pub mod log_sheet;
mod next;
pub mod page;
pub mod plan_page;
pub mod plan_words;
pub mod review_page;
pub mod review_words;
pub mod rig_figures;
mod setting_row;
mod settings_csv;
pub mod svg;
pub mod view;
pub mod words;

pub use captions::Shown;

use crate::calibration::{Calibration, EventRange, Rig, Story};
use crate::decide::dial::{self, Setting};
use crate::decide::paper::{self, Paper};
use crate::decide::predict::Prediction;
use crate::decide::{Choice, Situation};
use crate::error::Error;
use rayon::prelude::*;
use std::sync::Mutex;

/// Up to this many rigs stand on one page; more get a page each, and `report.html` is their index.
pub const RIGS_ON_ONE_PAGE: usize = 4;

/// The parts of one rig's settings that pages and tables show.
pub struct RigSettings<'a> {
    /// The rig, with its newest build and trim and the lead in use.
    pub situation: Situation<'a>,
    /// Every target that can be announced.
    pub settings: Vec<Setting>,
    /// Shortest, middle and longest, with what is expected of the run.
    pub three: Vec<(Setting, Prediction)>,
    /// What to do on paper after runs at each of `settings`.
    pub paper: Vec<Paper>,
}

/// Settings of one rig of a calibration.
///
/// # Errors
/// As [`dial::table`] and [`paper::corrections`].
pub fn settings<'a>(
    calibration: &'a Calibration,
    rig: &'a Rig,
    range: EventRange,
) -> Result<RigSettings<'a>, Error> {
    let situation = Situation::of_rig(&calibration.setup, rig, &Choice::default())?;
    let dial::Table { settings, three } = dial::table(&situation, range, calibration.level)?;
    let paper = settings
        .iter()
        .map(|s| paper::corrections(&situation, s.target_m))
        .collect::<Result<_, _>>()?;
    Ok(RigSettings {
        situation,
        settings,
        three,
        paper,
    })
}

/// Takes a finished file: its name below the report's folder, and its bytes. Called from several threads.
pub trait Put: Fn(&str, &[u8]) -> Result<(), Error> + Sync {}
impl<F: Fn(&str, &[u8]) -> Result<(), Error> + Sync> Put for F {}

/// What is left of a rig when its own files are made.
struct Made {
    /// Its rows of `settings.csv`.
    rows: String,
    /// Its farthest aim mark, m.
    aim_reach_m: f64,
    /// Its sheet, if it is on the card.
    sheet: Option<card::Sheet>,
    /// Its part of `report.html`.
    part: Part,
    /// Its settings at the shortest, middle and longest target.
    three: Vec<Setting>,
}

/// A rig's part of `report.html`.
enum Part {
    /// All of it.
    Whole(Box<view::RigPage>),
    /// Its line in the index; the rest is a page of its own.
    Line(index::Line),
}

/// Makes every file of a report and hands each over as soon as it is done, rigs side by side. Returns the settings of
/// each rig at the shortest, middle and longest target.
///
/// * `story` — of a rig that does not bring its own
///
/// # Errors
/// As [`settings`] and `put`; [`Error::Output`] when a figure would hold a number that is not finite.
pub fn write(
    calibration: &Calibration,
    story: &(dyn Fn(&Rig) -> Option<Story> + Sync),
    put: &impl Put,
) -> Result<Vec<Vec<Setting>>, Error> {
    let range = calibration.range()?;
    let mut on_card = card::OnCard::first_of(calibration);
    let made: Vec<Result<Made, Error>> = calibration
        .rigs
        .par_iter()
        .enumerate()
        .map(|(i, rig)| {
            let told = rig.story.is_none().then(|| story(rig)).flatten();
            let told = told.map(|story| Rig {
                story: Some(story),
                ..rig.clone()
            });
            let rig = settings(calibration, told.as_ref().unwrap_or(rig), range)?;
            make(calibration, &rig, i, i < on_card.count(), put)
        })
        .collect();
    let mut rows = Vec::new();
    let mut three = Vec::new();
    let (mut whole, mut lines) = (Vec::new(), Vec::new());
    let mut aim_reach_m: f64 = 0.0;
    for made in made {
        let made = made?;
        rows.push(made.rows);
        three.push(made.three);
        on_card.sheets.extend(made.sheet);
        aim_reach_m = aim_reach_m.max(made.aim_reach_m);
        match made.part {
            Part::Whole(page) => whole.push(*page),
            Part::Line(line) => lines.push(line),
        }
    }
    let report = if lines.is_empty() {
        page::report(calibration, whole)?
    } else {
        page::index(calibration, lines)?
    };
    put("report.html", report.as_bytes())?;
    put("settings.csv", settings_csv::join(rows).as_bytes())?;
    let card = card::write(calibration, on_card, aim_reach_m)?;
    put("card.html", card.as_bytes())?;
    Ok(three)
}

/// Makes the files of one rig, number `index`.
fn make(
    calibration: &Calibration,
    rig: &RigSettings,
    index: usize,
    on_card: bool,
    put: &impl Put,
) -> Result<Made, Error> {
    let count = calibration.rigs.len();
    // Labels never become file names.
    let name = format!("rig{}", index + 1);
    let prefix = if count == 1 {
        String::new()
    } else {
        format!("{name}-")
    };
    let drawn = rig_figures::all(calibration, rig, &prefix)?;
    for figure in &drawn {
        let file = captions::figure_file(&figure.name);
        put(&file, figure.figure.file().as_bytes())?;
    }
    let part = if count <= RIGS_ON_ONE_PAGE {
        let page = view::rig(calibration, rig, index, drawn, Shown::Inside)?;
        Part::Whole(Box::new(page))
    } else {
        let page = view::rig(calibration, rig, index, drawn, Shown::AsFiles)?;
        let file = format!("{name}.html");
        put(&file, page::rig(calibration, page)?.as_bytes())?;
        Part::Line(index::line(rig, file))
    };
    Ok(Made {
        rows: settings_csv::rows(rig),
        aim_reach_m: rig
            .settings
            .iter()
            .filter_map(|s| s.aim_right_m)
            .fold(0.0, |most: f64, aim| most.max(aim.abs())),
        sheet: on_card.then(|| card::sheet(calibration, rig)),
        part,
        three: rig.three.iter().map(|(s, _)| s.clone()).collect(),
    })
}

/// Every file of a report, in memory: names below its folder, and their bytes, by name.
///
/// # Errors
/// As [`write`].
pub fn files(calibration: &Calibration) -> Result<Vec<(String, Vec<u8>)>, Error> {
    let files = Mutex::new(Vec::new());
    write(calibration, &|_| None, &|name: &str, bytes: &[u8]| {
        let file = (name.to_string(), bytes.to_vec());
        files.lock().expect("no thread ends here").push(file);
        Ok(())
    })?;
    let mut files = files.into_inner().expect("no thread ends here");
    files.sort();
    Ok(files)
}
