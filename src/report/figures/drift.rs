//! Drift over the season: does it creep longer or shorter from day to day?

use super::frame::{Frame, Span, thinned};
use super::legend::{Legend, Sign};
use crate::error::Error;
use crate::report::svg::{self, Figure, Mark, Pen, WIDTH};

/// Session means against the season's line with their exponentially weighted moving average.
#[derive(Debug, Clone)]
pub struct DriftView {
    /// What each value is, in plain words: `session` or `run`.
    pub each: String,
    /// The values in order, m, against the season's line.
    pub values_m: Vec<f64>,
    /// Their moving average after each, m.
    pub averages_m: Vec<f64>,
    /// How far from zero the average may lie by chance after each, m.
    pub limits_m: Vec<f64>,
}

/// Draws the drift chart of a season.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, view: &DriftView) -> Result<Figure, Error> {
    let legend = Legend::new([
        (
            Sign::Mark(Mark::Ring, Pen::Soft),
            format!("one {}", view.each),
        ),
        (
            Sign::Mark(Mark::Dot, Pen::Run),
            "average that forgets slowly".to_string(),
        ),
        (
            Sign::Line(Pen::Limit),
            "chance alone stays within".to_string(),
        ),
    ]);
    let top = legend.height() + 34.0;
    let all = view
        .values_m
        .iter()
        .chain(&view.averages_m)
        .chain(&view.limits_m);
    let frame = Frame {
        left: 46.0,
        right: WIDTH - 8.0,
        top,
        bottom: top + 180.0,
        x: Span {
            from: 0.4,
            to: view.values_m.len().max(1) as f64 + 0.6,
        },
        y: Span::around(all.map(|v| 100.0 * v), 0.06, 2.0).symmetric(),
    };
    let outside = view
        .averages_m
        .iter()
        .zip(&view.limits_m)
        .position(|(average, limit)| average.abs() > *limit);
    let title = "Drift over the season";
    let description = format!(
        "How far each {} went longer or shorter than the season's line, and an average that forgets slowly. {}",
        view.each,
        outside.map_or_else(
            || "The average stays within what chance alone does.".to_string(),
            |i| format!(
                "The average leaves what chance alone does at {} {}.",
                view.each,
                i + 1
            )
        )
    );
    svg::draw(name, title, &description, frame.bottom + 42.0, |canvas| {
        legend.draw(canvas, 0.0);
        frame.side(canvas, "longer (+) or shorter (−) than the season, cm", 6);
        frame.level(canvas, 0.0, Pen::Soft, 1.2);
        let at = |i: usize, v: f64| frame.at(i as f64 + 1.0, 100.0 * v);
        for sign in [1.0, -1.0] {
            let limit: Vec<(f64, f64)> = view
                .limits_m
                .iter()
                .enumerate()
                .map(|(i, &v)| at(i, sign * v))
                .collect();
            canvas.line(&limit, Pen::Limit, 1.6);
        }
        let values = view
            .values_m
            .iter()
            .enumerate()
            .map(|(i, &v)| (at(i, v), ()))
            .collect();
        for (point, ()) in thinned(values) {
            canvas.mark(point, Mark::Ring, 3.0, Pen::Soft);
        }
        let averages: Vec<(f64, f64)> = view
            .averages_m
            .iter()
            .enumerate()
            .map(|(i, &v)| at(i, v))
            .collect();
        canvas.line(&averages, Pen::Run, 1.6);
        let dotted = averages
            .iter()
            .zip(view.averages_m.iter().zip(&view.limits_m));
        for (&point, (average, limit)) in dotted {
            if average.abs() > *limit {
                canvas.mark(point, Mark::Cross, 5.0, Pen::Warn);
            } else if view.averages_m.len() <= 400 {
                canvas.mark(point, Mark::Dot, 2.6, Pen::Run);
            }
        }
        frame.foot(canvas, &format!("{}, in order", view.each), 8);
    })
}
