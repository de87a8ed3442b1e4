//! Figures as the page shows them: which stand under which heading, and what is said and listed with each.

mod how_sure;
mod why;

use super::rig_figures::{Drawn, Question};
use super::{RigSettings, next, words};
use crate::calibration::Calibration;
use crate::decide::dial::Setting;
use crate::error::Error;
use crate::stats::interval::Interval;
use serde::Serialize;

/// How a page shows its figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    /// Inside the page, which then needs nothing else.
    Inside,
    /// From their files beside it: what many rigs take together stays half as large.
    AsFiles,
}

/// The file of a figure below the report's folder.
pub(super) fn figure_file(name: &str) -> String {
    format!("figures/{name}.svg")
}

/// Figures under one heading.
#[derive(Serialize)]
pub(super) struct Section {
    heading: &'static str,
    figures: Vec<FigureView>,
}

#[derive(Serialize)]
struct FigureView {
    title: String,
    /// The figure, to stand inside the page; empty where `file` is shown.
    svg: String,
    /// The file of the figure, empty where it stands inside.
    file: String,
    /// What is to be seen in it.
    description: String,
    caption: String,
    /// Heads of the columns, where there is more than one.
    head: Vec<&'static str>,
    rows: Vec<Row>,
    fold: Vec<String>,
}

/// A row of a fold's table; the first cell says what it is.
pub(super) type Row = Vec<String>;

/// What stands around a figure.
#[derive(Default)]
struct Below {
    /// Plain words.
    caption: String,
    /// Heads of the columns, where there is more than one.
    head: Vec<&'static str>,
    /// Estimates and intervals.
    rows: Vec<Row>,
    /// Formula and sources.
    fold: Vec<String>,
}

/// The figures of a rig in the reader's order.
///
/// # Errors
/// As [`next::middle_parts`].
pub(super) fn sections(
    calibration: &Calibration,
    rig: &RigSettings,
    drawn: Vec<Drawn>,
    shown: Shown,
) -> Result<Vec<Section>, Error> {
    let order = [
        (
            "How far from the target it stops",
            vec![Question::Rest, Question::Floor],
        ),
        ("How sure this is", vec![Question::LeftOut, Question::Parts]),
        (
            "Why: what the log says of this vehicle",
            vec![
                Question::Travel,
                Question::Bias,
                Question::Sessions,
                Question::Recoil,
                Question::Drift,
            ],
        ),
        ("What went wrong", vec![Question::Wrong]),
    ];
    let mut drawn: Vec<Option<Drawn>> = drawn.into_iter().map(Some).collect();
    let mut take = |question| {
        drawn
            .iter_mut()
            .find(|d| d.as_ref().is_some_and(|d| d.question == question))
            .and_then(Option::take)
    };
    let mut sections = Vec::new();
    for (heading, questions) in order {
        let figures = questions
            .into_iter()
            .filter_map(&mut take)
            .map(|d| figure(calibration, rig, d, shown))
            .collect::<Result<Vec<_>, _>>()?;
        if !figures.is_empty() {
            sections.push(Section { heading, figures });
        }
    }
    Ok(sections)
}

/// A drawn figure with what stands around it.
fn figure(
    calibration: &Calibration,
    rig: &RigSettings,
    drawn: Drawn,
    shown: Shown,
) -> Result<FigureView, Error> {
    let (svg, file) = match shown {
        Shown::Inside => (drawn.figure.inline(), String::new()),
        Shown::AsFiles => (String::new(), figure_file(&drawn.name)),
    };
    let below = match drawn.question {
        Question::Rest => how_sure::rest(calibration, rig),
        Question::Floor => how_sure::floor(calibration, rig),
        Question::LeftOut => how_sure::left_out(calibration, rig),
        Question::Parts => how_sure::parts(calibration, rig)?,
        Question::Travel => why::travel(calibration, rig),
        Question::Bias => why::bias(rig),
        Question::Sessions => why::sessions(rig),
        Question::Recoil => why::recoil(rig),
        Question::Drift => why::drift(rig),
        Question::Wrong => why::wrong(rig),
    };
    let prior = match drawn.question {
        Question::Rest | Question::Travel => next::prior_in_travel(rig),
        Question::Floor | Question::Bias => next::prior_in_bend(rig),
        Question::Parts | Question::Sessions | Question::LeftOut => {
            next::prior_in_days(rig).to_string()
        }
        Question::Recoil | Question::Drift | Question::Wrong => String::new(),
    };
    Ok(FigureView {
        title: drawn.figure.title,
        svg,
        file,
        description: drawn.figure.description,
        caption: below.caption + &prior,
        head: below.head,
        rows: below.rows,
        fold: below.fold,
    })
}

fn row(what: &str, value: String) -> Row {
    vec![what.to_string(), value]
}

fn interval_row(what: &str, interval: Interval, factor: f64, unit: &str) -> Row {
    row(
        what,
        format!("{} {unit}", words::interval(&interval.scaled(factor))),
    )
}

/// The settings at the shortest, middle and longest target shown.
fn three<'a>(rig: &'a RigSettings) -> Vec<&'a Setting> {
    let n = rig.settings.len();
    let mut at = vec![0, n / 2, n.saturating_sub(1)];
    at.dedup();
    at.into_iter().filter_map(|i| rig.settings.get(i)).collect()
}
