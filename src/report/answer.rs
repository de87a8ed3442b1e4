//! The page of one answer (a plan, a review): what it says, and the figures it rests on.

use super::captions::figure_file;
use super::file::File;
use super::page;
use super::svg::Figure;
use crate::error::Error;
use minijinja::context;
use minijinja::value::Serde;
use serde::Serialize;

/// What a page of one answer shows.
#[derive(Serialize)]
pub(super) struct AnswerPage {
    /// What the answer was made from.
    pub made_from: String,
    /// Heading above the answer.
    pub heading: String,
    /// What the page is about, for somebody who has never seen one.
    pub about: &'static str,
    /// The answer first, then what to do.
    pub sentences: Vec<String>,
    /// Cautions about the answer.
    pub notes: Vec<String>,
    /// Figures.
    pub figures: Vec<AnswerFigure>,
}

/// A figure with its statistics.
#[derive(Serialize)]
pub(super) struct AnswerFigure {
    title: String,
    svg: String,
    /// Sentence below the title.
    pub caption: String,
    /// Heads of the columns; none for a table of pairs.
    pub head: Vec<String>,
    /// Rows of the fold's table.
    pub rows: Vec<Vec<String>>,
    /// Sentences below the fold's table.
    pub fold: Vec<String>,
    #[serde(skip)]
    name: String,
    #[serde(skip)]
    file: String,
}

impl AnswerFigure {
    pub(super) fn new(name: &str, figure: Figure, caption: &str) -> Self {
        AnswerFigure {
            svg: figure.inline(),
            caption: caption.to_string(),
            head: Vec::new(),
            rows: Vec::new(),
            fold: Vec::new(),
            name: name.to_string(),
            file: figure.file(),
            title: figure.title,
        }
    }
}

/// The files of an answer: its page and its figures.
///
/// # Errors
/// [`Error::Internal`] when template and view do not fit.
pub(super) fn files(name: &str, title: &str, answer: &AnswerPage) -> Result<Vec<File>, Error> {
    let tab = format!("{} {}", answer.heading, answer.made_from);
    let page = page::render(
        "answer.html",
        context! { title, tab, page => Serde(answer) },
    )?;
    let mut files = vec![File::from_text(format!("{name}.html"), page)];
    files.extend(
        answer
            .figures
            .iter()
            .map(|figure| File::from_text(figure_file(&figure.name), figure.file.as_str())),
    );
    Ok(files)
}
