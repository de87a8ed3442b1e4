//! Figures as the page shows them: which stand under which heading, and what is said and listed with each.

mod below;
mod how_sure;
mod why;

use super::priors;
use super::rig_figures::{Drawn, FigureQuestion};
use crate::calibration::Calibration;
use crate::decide::RigSettings;
use below::TableRow;
use serde::Serialize;

/// How a page shows its figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    /// Inside the page, which then needs nothing else.
    Inside,
    /// As files beside the page: with many rigs this halves the size of the folder.
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
    rows: Vec<TableRow>,
    fold: Vec<String>,
}

/// The figures of a rig in the reader's order.
pub(super) fn sections(
    calibration: &Calibration,
    rig: &RigSettings,
    drawn: Vec<Drawn>,
    shown: Shown,
) -> Vec<Section> {
    let order = [
        (
            "How far from the target it stops",
            vec![FigureQuestion::Rest, FigureQuestion::Floor],
        ),
        (
            "How sure this is",
            vec![FigureQuestion::LeftOut, FigureQuestion::Parts],
        ),
        (
            "Why: what the log says of this vehicle",
            vec![
                FigureQuestion::Travel,
                FigureQuestion::Bias,
                FigureQuestion::Sessions,
                FigureQuestion::Recoil,
                FigureQuestion::Drift,
            ],
        ),
        ("What went wrong", vec![FigureQuestion::Wrong]),
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
            .collect::<Vec<_>>();
        if !figures.is_empty() {
            sections.push(Section { heading, figures });
        }
    }
    sections
}

/// A drawn figure with what stands around it.
fn figure(calibration: &Calibration, rig: &RigSettings, drawn: Drawn, shown: Shown) -> FigureView {
    let (svg, file) = match shown {
        Shown::Inside => (drawn.figure.inline(), String::new()),
        Shown::AsFiles => (String::new(), figure_file(&drawn.name)),
    };
    let below = match drawn.question {
        FigureQuestion::Rest => how_sure::rest(calibration, rig),
        FigureQuestion::Floor => how_sure::floor(calibration, rig),
        FigureQuestion::LeftOut => how_sure::left_out(calibration, rig),
        FigureQuestion::Parts => how_sure::parts(rig),
        FigureQuestion::Travel => why::travel(calibration, rig),
        FigureQuestion::Bias => why::bias(rig),
        FigureQuestion::Sessions => why::sessions(rig),
        FigureQuestion::Recoil => why::recoil(rig),
        FigureQuestion::Drift => why::drift(rig),
        FigureQuestion::Wrong => why::wrong(rig),
    };
    let prior = match drawn.question {
        FigureQuestion::Rest | FigureQuestion::Travel => priors::in_travel(rig),
        FigureQuestion::Floor | FigureQuestion::Bias => priors::in_bend(rig),
        FigureQuestion::Parts | FigureQuestion::Sessions | FigureQuestion::LeftOut => {
            priors::in_days(rig).to_string()
        }
        FigureQuestion::Recoil | FigureQuestion::Drift | FigureQuestion::Wrong => String::new(),
    };
    FigureView {
        title: drawn.figure.title,
        svg,
        file,
        description: drawn.figure.description,
        caption: below.caption + &prior,
        head: below.head,
        rows: below.rows,
        fold: below.fold,
    }
}
