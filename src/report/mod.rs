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

use crate::calibration::{Calibration, EventRange, Rig, file};
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
    /// Whether the calibration has no other rig.
    pub alone: bool,
}

/// Settings of one rig of a calibration.
///
/// * `alone` — whether it has no other
///
/// # Errors
/// As [`dial::table`] and [`paper::corrections`].
pub fn settings<'a>(
    calibration: &'a Calibration,
    rig: &'a Rig,
    range: EventRange,
    alone: bool,
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
        alone,
    })
}

/// Takes a finished file: its name below the report's folder, and its bytes. Called from several threads.
pub trait Put: Fn(&str, &[u8]) -> Result<(), Error> + Sync {}
impl<F: Fn(&str, &[u8]) -> Result<(), Error> + Sync> Put for F {}

/// What is left of a rig when its own files are made.
pub struct Made {
    /// Its rows of `settings.csv`.
    rows: String,
    /// Its farthest aim mark, m.
    aim_reach_m: f64,
    /// Its part of the card, unless it is known already that the card has no room for it.
    on_card: Option<card::OnCard>,
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

/// A report in progress: the files of each rig as it is fitted, rigs side by side and in any order. Those of all rigs
/// follow with [`finish`].
pub struct Report<'r, P> {
    /// What is known beside the rigs; its own are not looked at.
    about: &'r Calibration,
    range: EventRange,
    /// How many rigs there will be.
    count: usize,
    card: card::Room,
    put: &'r P,
}

impl<'r, P: Put> Report<'r, P> {
    /// None of its files is made yet.
    ///
    /// * `about` — the calibration, or one that says the same beside its rigs
    /// * `count` — how many rigs there will be
    /// * `put` — takes each file as soon as it is made
    ///
    /// # Errors
    /// As [`Calibration::range`].
    pub fn new(about: &'r Calibration, count: usize, put: &'r P) -> Result<Self, Error> {
        Ok(Report {
            about,
            range: about.range()?,
            count,
            card: card::Room::default(),
            put,
        })
    }

    /// Makes the files of one rig, number `index`.
    ///
    /// # Errors
    /// As [`settings`] and `put`; [`Error::Internal`] when a figure would hold a number that is not finite.
    pub fn rig(&self, index: usize, rig: &Rig) -> Result<Made, Error> {
        let about = self.about;
        let on_card = self.card.known(about, index, rig);
        let rig = settings(about, rig, self.range, self.count == 1)?;
        // Labels never become file names.
        let name = format!("rig{}", index + 1);
        let prefix = if rig.alone {
            String::new()
        } else {
            format!("{name}-")
        };
        let drawn = rig_figures::all(about, &rig, &prefix)?;
        for figure in &drawn {
            let file = captions::figure_file(&figure.name);
            (self.put)(&file, figure.figure.file().as_bytes())?;
        }
        let part = if self.count <= RIGS_ON_ONE_PAGE {
            let page = view::rig(about, &rig, index, drawn, Shown::Inside)?;
            Part::Whole(Box::new(page))
        } else {
            let page = view::rig(about, &rig, index, drawn, Shown::AsFiles)?;
            let file = format!("{name}.html");
            (self.put)(&file, page::rig(about, page)?.as_bytes())?;
            Part::Line(index::line(&rig, file))
        };
        Ok(Made {
            rows: settings_csv::rows(&rig),
            aim_reach_m: rig
                .settings
                .iter()
                .filter_map(|s| s.aim_right_m)
                .fold(0.0, |most: f64, aim| most.max(aim.abs())),
            on_card: on_card.map(|known| card::OnCard::of(known, about, &rig)),
            part,
            three: rig.three.into_iter().map(|(s, _)| s).collect(),
        })
    }
}

/// Makes the files of all rigs together. Returns the settings of each at the shortest, middle and longest target.
///
/// * `check` — the sum that the calibration's file carries
/// * `made` — of each rig of the calibration, in order
///
/// # Errors
/// As [`Report::rig`].
pub fn finish(
    calibration: &Calibration,
    check: &str,
    made: Vec<Made>,
    put: &impl Put,
) -> Result<Vec<Vec<Setting>>, Error> {
    let mut rows = Vec::new();
    let mut three = Vec::new();
    let mut on_card = Vec::new();
    let (mut whole, mut lines) = (Vec::new(), Vec::new());
    let mut aim_reach_m: f64 = 0.0;
    for made in made {
        rows.push(made.rows);
        three.push(made.three);
        on_card.push(made.on_card);
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
    let card = card::write(calibration, check, on_card, aim_reach_m)?;
    put("card.html", card.as_bytes())?;
    Ok(three)
}

/// Makes every file of the report of a calibration that kept what the figures show, and hands each over as soon as it
/// is done, rigs side by side.
///
/// # Errors
/// As [`Report::rig`].
pub fn write(calibration: &Calibration, put: &impl Put) -> Result<(), Error> {
    let report = Report::new(calibration, calibration.rigs.len(), put)?;
    let rigs = calibration.rigs.par_iter().enumerate();
    let made: Vec<Result<Made, Error>> = rigs.map(|(i, rig)| report.rig(i, rig)).collect();
    let made = made.into_iter().collect::<Result<_, _>>()?;
    finish(calibration, &file::check_sum(calibration), made, put)?;
    Ok(())
}

/// Every file of a report, in memory: names below its folder, and their bytes, by name.
///
/// # Errors
/// As [`write`].
pub fn files(calibration: &Calibration) -> Result<Vec<(String, Vec<u8>)>, Error> {
    let files = Mutex::new(Vec::new());
    write(calibration, &|name: &str, bytes: &[u8]| {
        let file = (name.to_string(), bytes.to_vec());
        files.lock().expect("no thread ends here").push(file);
        Ok(())
    })?;
    let mut files = files.into_inner().expect("no thread ends here");
    files.sort();
    Ok(files)
}
