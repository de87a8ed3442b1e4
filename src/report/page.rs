//! Views and templates to HTML. Templates end in `.html`, so that everything in them is escaped.

use super::captions::Section;
use super::index::RigLine;
use super::view::RigPage;
use super::{whose, words};
use crate::calibration::{Calibration, Rig};
use crate::error::Error;
use minijinja::syntax::SyntaxConfig;
use minijinja::value::Serde;
use minijinja::{Environment, UndefinedBehavior, context};
use std::slice;
use std::sync::OnceLock;

/// Cautions of every printed page, in the words of the trade's common practice.
pub(super) const CAUTIONS: [&str; 6] = [
    "A falling mass, stretched elastic and a launcher under load can break fingers and toes. Sight and aim before the mass is raised.",
    "Keep clear below the mass, and never put a face in line with a loaded launcher.",
    "Catch the mass on padding. Wear eye protection.",
    "Never load or reach in while it is cocked. Keep the track clear of people.",
    "The event's own current rule book decides what is allowed and how it is scored; a supervising adult decides what is safe.",
    "These are statements about past runs: a changed vehicle is a new vehicle.",
];

/// The style sheet that all pages share.
const STYLE: &str = include_str!("pages/style.css");

/// Title of a page with every rig.
const OVER_ALL: &str = "What to set, and how far to trust it";

/// Templates by name.
const TEMPLATES: [(&str, &str); 15] = [
    ("answer.html", include_str!("pages/answer.html")),
    ("base.html", include_str!("pages/base.html")),
    ("card.html", include_str!("card/card.html")),
    ("cautions.html", include_str!("pages/cautions.html")),
    ("index.html", include_str!("pages/index.html")),
    ("notes.html", include_str!("pages/notes.html")),
    ("plates.html", include_str!("pages/plates.html")),
    ("report.html", include_str!("pages/report.html")),
    ("rig.html", include_str!("pages/rig.html")),
    ("rig_page.html", include_str!("pages/rig_page.html")),
    ("rigs.html", include_str!("pages/rigs.html")),
    ("season.html", include_str!("pages/season.html")),
    ("sheet.html", include_str!("log_sheet/sheet.html")),
    ("statistics.html", include_str!("pages/statistics.html")),
    ("words.html", include_str!("pages/words.html")),
];

/// The templates, each made ready when it is first asked for.
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
    env.set_auto_reload(false);
    env.set_loader(|name| Ok(TEMPLATES.iter().find(|t| t.0 == name).map(|t| t.1)));
    Ok(READY.get_or_init(|| env))
}

/// The text of `report.html` with all rigs on it.
///
/// * `season` — the season's story, where there is one
///
/// # Errors
/// [`Error::Internal`] when a template and its view do not fit.
pub fn report(
    calibration: &Calibration,
    rigs: Vec<RigPage>,
    season: Option<Section>,
) -> Result<String, Error> {
    let shown = context! {
        plain => calibration.setup.score.is_plain(),
        rigs => Serde(rigs),
        season => Serde(season),
    };
    calibration_page(
        "report.html",
        OVER_ALL,
        calibration,
        &calibration.rigs,
        shown,
    )
}

/// The text of a page with one rig of many.
///
/// # Errors
/// [`Error::Internal`] when a template and its view do not fit.
pub fn rig(calibration: &Calibration, known: &Rig, rig: RigPage) -> Result<String, Error> {
    let name = rig.name().to_string();
    let shown = context! {
        plain => calibration.setup.score.is_plain(),
        rig => Serde(rig),
    };
    let only = slice::from_ref(known);
    calibration_page("rig_page.html", &name, calibration, only, shown)
}

/// The text of `report.html` where every rig has a page of its own.
///
/// * `season` — the season's story, where there is one
///
/// # Errors
/// [`Error::Internal`] when a template and its view do not fit.
pub fn index(
    calibration: &Calibration,
    lines: Vec<RigLine>,
    season: Option<Section>,
) -> Result<String, Error> {
    let shown = context! {
        middle => words::metres(calibration.range()?.middle_m()),
        rigs => Serde(lines),
        season => Serde(season),
    };
    calibration_page(
        "index.html",
        OVER_ALL,
        calibration,
        &calibration.rigs,
        shown,
    )
}

/// A page of some rigs of a calibration, with what it was made from and what holds for the whole season.
fn calibration_page(
    template: &str,
    title: &str,
    calibration: &Calibration,
    rigs: &[Rig],
    shown: minijinja::Value,
) -> Result<String, Error> {
    let warnings: Vec<String> = calibration
        .warnings
        .iter()
        .map(|w| words::sentence(w))
        .collect();
    let made_from = whose::made_from(calibration, rigs);
    let about = context! {
        title,
        tab => format!("{}: settings from {made_from}", whose::rig_names(rigs)),
        warnings,
        made_from,
        level => words::level(calibration.level.probability()),
    };
    render(template, context! { ..shown, ..about })
}

/// Any page from its template and what it shows; every page has the cautions, and the shared style unless it brings
/// one.
///
/// # Errors
/// [`Error::Internal`] when a template and its view do not fit.
pub(super) fn render(template: &str, shown: minijinja::Value) -> Result<String, Error> {
    let shared = context! { style => STYLE, cautions => CAUTIONS };
    environment()
        .and_then(|env| {
            env.get_template(template)?
                .render(context! { ..shown, ..shared })
        })
        .map_err(|cause| Error::internal(format!("making {template}"), cause))
}
