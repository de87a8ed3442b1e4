//! Views and templates to HTML. Templates end in `.html`, so that everything in them is escaped.

use super::answer::Answer;
use super::view::RigPage;
use super::words;
use crate::calibration::Calibration;
use crate::error::Error;
use minijinja::syntax::SyntaxConfig;
use minijinja::value::Serde;
use minijinja::{Environment, UndefinedBehavior, context};

/// Cautions of every printed page, in the words of the trade's common practice.
pub const CAUTIONS: [&str; 6] = [
    "A falling mass, stretched elastic and a launcher under load can break fingers and toes. Sight and aim before the mass is raised.",
    "Keep clear below the mass, and never put a face in line with a loaded launcher.",
    "Catch the mass on padding. Wear eye protection.",
    "Never load or reach in while it is cocked. Keep the track clear of people.",
    "The event's own current rule book decides what is allowed and how it is scored; a supervising adult decides what is safe.",
    "These are statements about past runs: a changed vehicle is a new vehicle.",
];

/// The style sheet that all pages share.
pub const STYLE: &str = include_str!("pages/style.css");

/// Templates by name.
const TEMPLATES: [(&str, &str); 6] = [
    ("answer.html", include_str!("pages/answer.html")),
    ("base.html", include_str!("pages/base.html")),
    ("card.html", include_str!("card/card.html")),
    ("cautions.html", include_str!("pages/cautions.html")),
    ("report.html", include_str!("pages/report.html")),
    ("sheet.html", include_str!("log_sheet/sheet.html")),
];

fn environment() -> Result<Environment<'static>, minijinja::Error> {
    let mut env = Environment::new();
    env.set_undefined_behavior(UndefinedBehavior::Strict);
    env.set_syntax(
        SyntaxConfig::builder()
            .trim_blocks(true)
            .lstrip_blocks(true)
            .build()?,
    );
    for (name, text) in TEMPLATES {
        env.add_template(name, text)?;
    }
    Ok(env)
}

/// The text of `report.html`.
///
/// # Errors
/// [`Error::Output`] when a template and its view do not fit: a fault of the program.
pub fn report(calibration: &Calibration, rigs: Vec<RigPage>) -> Result<String, Error> {
    let logs: Vec<String> = calibration
        .logs
        .iter()
        .map(|l| words::sentence(l))
        .collect();
    let score = &calibration.setup.score;
    let plain = crate::decide::score::is_plain(score);
    environment()
        .and_then(|env| {
            env.get_template("report.html")?.render(context! {
                title => "Settings that can be trusted, and how far",
                style => STYLE,
                cautions => CAUTIONS,
                logs => logs.join(", "),
                level => words::level(calibration.level.probability()),
                plain,
                rigs => Serde(rigs),
            })
        })
        .map_err(|cause| Error::Output {
            doing: "making report.html".to_string(),
            cause: std::io::Error::other(cause.to_string()),
        })
}

/// The text of a page with one answer.
///
/// # Errors
/// As [`report`].
pub(super) fn answer(name: &str, title: &str, answer: &Answer) -> Result<String, Error> {
    environment()
        .and_then(|env| {
            env.get_template("answer.html")?.render(context! {
                title,
                style => STYLE,
                cautions => CAUTIONS,
                page => Serde(answer),
            })
        })
        .map_err(|cause| Error::Output {
            doing: format!("making {name}.html"),
            cause: std::io::Error::other(cause.to_string()),
        })
}

/// Any page from its template and what it shows.
///
/// # Errors
/// As [`report`].
pub(super) fn render(template: &str, shown: minijinja::Value) -> Result<String, Error> {
    environment()
        .and_then(|env| env.get_template(template)?.render(shown))
        .map_err(|cause| Error::Output {
            doing: format!("making {template}"),
            cause: std::io::Error::other(cause.to_string()),
        })
}
