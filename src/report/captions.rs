//! Figures as the page shows them: which stand under which heading, inside the page or beside it.

use super::figures::{Plate, ReaderQuestion, TableRow};
use super::rig_figures::RigFigure;
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
pub struct Section {
    heading: &'static str,
    figures: Vec<FigureView>,
}

impl Section {
    /// Figures, each with the name of its file, under a heading.
    pub fn new(heading: &'static str, plates: &[(&str, Plate)], shown: Shown) -> Self {
        let figures = plates.iter().map(|(name, plate)| view(name, plate, shown));
        Section {
            heading,
            figures: figures.collect(),
        }
    }
}

#[derive(Serialize)]
struct FigureView {
    title: String,
    /// The figure, to stand inside the page; empty where `file` is shown or the caption says all there is.
    svg: String,
    /// The file of the figure, empty where it stands inside.
    file: String,
    /// What is to be seen in it.
    description: String,
    caption: String,
    points: Vec<String>,
    /// Heads of the columns, where there is more than one.
    head: Vec<&'static str>,
    rows: Vec<TableRow>,
    fold: Vec<String>,
}

/// The figures of a rig under the reader's questions.
pub(super) fn sections(figures: Vec<RigFigure>, shown: Shown) -> Vec<Section> {
    let mut sections: Vec<Section> = ReaderQuestion::ALL
        .map(|question| Section {
            heading: question.heading(),
            figures: Vec::new(),
        })
        .into();
    for figure in figures {
        let of_question = ReaderQuestion::ALL.iter().zip(&mut sections);
        for (_, section) in of_question.filter(|(q, _)| **q == figure.question) {
            section
                .figures
                .push(view(&figure.name, &figure.plate, shown));
        }
    }
    sections.retain(|section| !section.figures.is_empty());
    sections
}

/// A figure with what stands around it.
fn view(name: &str, plate: &Plate, shown: Shown) -> FigureView {
    let (svg, file) = match (&plate.figure, shown) {
        (None, _) => (String::new(), String::new()),
        (Some(figure), Shown::Inside) => (figure.inline(), String::new()),
        (Some(_), Shown::AsFiles) => (String::new(), figure_file(name)),
    };
    let description = plate.figure.as_ref().map(|f| f.description.clone());
    FigureView {
        title: plate.title.clone(),
        svg,
        file,
        description: description.unwrap_or_default(),
        caption: plate.caption.clone(),
        points: plate.points.clone(),
        head: plate.head.clone(),
        rows: plate.rows.clone(),
        fold: plate.fold.clone(),
    }
}
