//! Views and templates to HTML. Templates end in `.html`, so that everything in them is escaped.

use super::answer::Answer;
use super::index::Line;
use super::view::RigPage;
use super::words;
use crate::calibration::Calibration;
use crate::decide::score::is_plain;
use crate::error::Error;
use minijinja::syntax::SyntaxConfig;
use minijinja::value::Serde;
use minijinja::{Environment, UndefinedBehavior, context};
use std::sync::OnceLock;

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
const TEMPLATES: [(&str, &str); 9] = [
    ("answer.html", include_str!("pages/answer.html")),
    ("base.html", include_str!("pages/base.html")),
    ("card.html", include_str!("card/card.html")),
    ("cautions.html", include_str!("pages/cautions.html")),
    ("index.html", include_str!("pages/index.html")),
    ("report.html", include_str!("pages/report.html")),
    ("rig.html", include_str!("pages/rig.html")),
    ("rig_page.html", include_str!("pages/rig_page.html")),
    ("sheet.html", include_str!("log_sheet/sheet.html")),
];

/// All templates, made ready once.
fn environment() -> Result<&'static Environment<'static>, minijinja::Error> {
    static READY: OnceLock<Environment<'static>> = OnceLock::new();
    if let Some(env) = READY.get() {
        return Ok(env);
    }
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
    Ok(READY.get_or_init(|| env))
}

/// The text of `report.html` with all rigs on it.
///
/// # Errors
/// [`Error::Output`] when a template and its view do not fit: a fault of the program.
pub fn report(calibration: &Calibration, rigs: Vec<RigPage>) -> Result<String, Error> {
    render(
        "report.html",
        context! {
            title => "Settings that can be trusted, and how far",
            style => STYLE,
            cautions => CAUTIONS,
            logs => logs(calibration),
            level => words::level(calibration.level.probability()),
            plain => is_plain(&calibration.setup.score),
            rigs => Serde(rigs),
        },
    )
}

/// The text of a page with one rig of many.
///
/// # Errors
/// As [`report`].
pub fn rig(calibration: &Calibration, rig: RigPage) -> Result<String, Error> {
    render(
        "rig_page.html",
        context! {
            title => rig.name(),
            style => STYLE,
            cautions => CAUTIONS,
            logs => logs(calibration),
            level => words::level(calibration.level.probability()),
            plain => is_plain(&calibration.setup.score),
            rig => Serde(rig),
        },
    )
}

/// The text of `report.html` where every rig has a page of its own.
///
/// # Errors
/// As [`report`].
pub fn index(calibration: &Calibration, lines: Vec<Line>) -> Result<String, Error> {
    let [_, middle_m, _] = calibration.range()?.three_m();
    render(
        "index.html",
        context! {
            title => "Settings that can be trusted, and how far",
            style => STYLE,
            cautions => CAUTIONS,
            logs => logs(calibration),
            level => words::level(calibration.level.probability()),
            middle => words::metres(middle_m),
            rigs => Serde(lines),
        },
    )
}

/// The logs by name.
fn logs(calibration: &Calibration) -> String {
    let names: Vec<String> = calibration
        .logs
        .iter()
        .map(|l| words::sentence(l))
        .collect();
    names.join(", ")
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
