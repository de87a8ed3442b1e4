//! Lateral bias against distance: does it point off, does it bend?

use super::frame::{Frame, Span, thinned, thinned_word};
use super::legend::{Legend, Sign};
use crate::error::Error;
use crate::report::svg::{self, Figure, Mark, Pen, WIDTH};
use crate::report::words;

/// Where vehicles aimed straight at the target come to rest across the line.
#[derive(Debug, Clone)]
pub struct BiasView {
    /// Every run shown.
    pub runs: Vec<BiasRun>,
    /// Labels of the trims, in the order that [`BiasRun::trim`] counts.
    pub trims: Vec<String>,
    /// The trim of the line and bands.
    pub trim: usize,
    /// Its line, by rising distance.
    pub line: Vec<BiasPoint>,
    /// The level of the bands, in words.
    pub level: String,
}

/// One run, as it would have been with the mark on the target.
#[derive(Debug, Clone, Copy)]
pub struct BiasRun {
    /// How far it went, m.
    pub distance_m: f64,
    /// To the right of the line, m.
    pub right_m: f64,
    /// Its trim.
    pub trim: usize,
    /// Whether the program set it aside.
    pub set_aside: bool,
}

/// The fitted line at one distance; offsets are m, right positive.
#[derive(Debug, Clone, Copy)]
pub struct BiasPoint {
    /// Distance.
    pub distance_m: f64,
    /// Expected offset.
    pub right_m: f64,
    /// Ends of the interval for the line itself.
    pub line_m: (f64, f64),
    /// Ends of the prediction interval for a run of a new session.
    pub run_m: (f64, f64),
}

/// Draws lateral bias against distance.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, bias: &BiasView) -> Result<Figure, Error> {
    let mut items: Vec<(Sign, String)> = Vec::new();
    for (k, label) in bias.trims.iter().enumerate().take(8) {
        let word = match (bias.trims.len() > 1, label.is_empty()) {
            (false, _) => "one run".to_string(),
            (true, true) => "trim without a name".to_string(),
            (true, false) => format!("trim {label}"),
        };
        let word = thinned_word(&word, bias.runs.len());
        items.push((Sign::Mark(Mark::for_kind(k), Pen::for_kind(k)), word));
    }
    if bias.runs.iter().any(|r| r.set_aside) {
        items.push((Sign::Mark(Mark::Cross, Pen::Warn), "set aside".to_string()));
    }
    let of = match &bias.trims[bias.trim] {
        label if label.is_empty() || bias.trims.len() == 1 => "the season's line".to_string(),
        label => format!("line of trim {label}"),
    };
    items.push((Sign::Line(Pen::Line), of));
    items.push((
        Sign::Band(Pen::Line, 0.35),
        "where the line itself may lie".to_string(),
    ));
    items.push((
        Sign::Band(Pen::Line, 0.14),
        format!("{} runs on a new day", bias.level),
    ));
    let legend = Legend::new(items);
    let top = legend.height() + 34.0;
    let distances = bias
        .runs
        .iter()
        .map(|r| r.distance_m)
        .chain(bias.line.iter().map(|p| p.distance_m));
    let across = bias
        .runs
        .iter()
        .map(|r| 100.0 * r.right_m)
        .chain(
            bias.line
                .iter()
                .flat_map(|p| [100.0 * p.run_m.0, 100.0 * p.run_m.1]),
        )
        .chain([0.0]);
    let frame = Frame {
        left: 46.0,
        right: WIDTH - 8.0,
        top,
        bottom: top + 220.0,
        x: Span::around(distances, 0.04, 0.2),
        y: Span::around(across, 0.06, 4.0),
    };
    let title = "Off to one side, against distance";
    let (first, last) = (bias.line.first(), bias.line.last());
    let ends: Vec<String> = first
        .into_iter()
        .chain(last)
        .map(|p| {
            format!(
                "{} at {} m",
                words::right_or_left(p.right_m),
                words::metres(p.distance_m)
            )
        })
        .collect();
    let description = format!(
        "How far right (+) or left (−) of the target runs come to rest when the mark stands on the target itself, against distance. The line goes from {}.",
        ends.join(" to ")
    );
    svg::draw(name, title, &description, frame.bottom + 42.0, |canvas| {
        legend.draw(canvas, 0.0);
        frame.side(
            canvas,
            "to the right (+) or left (−) with the mark on the target, cm",
            6,
        );
        let wide: Vec<_> = bias
            .line
            .iter()
            .map(|p| (p.distance_m, 100.0 * p.run_m.0, 100.0 * p.run_m.1))
            .collect();
        let narrow: Vec<_> = bias
            .line
            .iter()
            .map(|p| (p.distance_m, 100.0 * p.line_m.0, 100.0 * p.line_m.1))
            .collect();
        frame.band(canvas, &wide, Pen::Line, 0.14);
        frame.band(canvas, &narrow, Pen::Line, 0.35);
        frame.level(canvas, 0.0, Pen::Ink, 1.0);
        let line: Vec<(f64, f64)> = bias
            .line
            .iter()
            .map(|p| frame.at(p.distance_m, 100.0 * p.right_m))
            .collect();
        canvas.line(&line, Pen::Line, 1.8);
        let points = bias
            .runs
            .iter()
            .map(|r| (frame.at(r.distance_m, 100.0 * r.right_m), *r))
            .collect();
        for (at, run) in thinned(points) {
            if run.set_aside {
                canvas.mark(at, Mark::Cross, 4.2, Pen::Warn);
            } else {
                canvas.mark(at, Mark::for_kind(run.trim), 3.0, Pen::for_kind(run.trim));
            }
        }
        frame.foot(canvas, "distance, m", 6);
    })
}
