//! New runs against their prediction at the settings they were made with.

use super::frame::{Frame, Span};
use super::legend::{Legend, Sign};
use crate::error::Error;
use crate::report::svg::{self, Canvas, Figure, Mark, Pen, WIDTH};
use crate::report::words;

/// New runs in log order, along and across.
#[derive(Debug, Clone)]
pub struct ReviewView {
    /// One entry for each run.
    pub runs: Vec<ReviewRun>,
    /// The level of the intervals, in words.
    pub level: String,
}

/// One run, m: what it missed by, and from where to where it was expected.
#[derive(Debug, Clone, Copy)]
pub struct ReviewRun {
    /// Long (+) or short.
    pub long_m: Option<(f64, f64, f64)>,
    /// Right (+) or left.
    pub right_m: Option<(f64, f64, f64)>,
}

const HEIGHT: f64 = 160.0;
/// Half the width of a run's bar, as a part of its place.
const HALF_BAR: f64 = 0.3;

/// Draws new runs against their prediction intervals.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, view: &ReviewView) -> Result<Figure, Error> {
    let legend = Legend::new([
        (Sign::Mark(Mark::Dot, Pen::Run), "inside".to_string()),
        (Sign::Mark(Mark::Cross, Pen::Warn), "outside".to_string()),
        (
            Sign::Band(Pen::Line, 0.22),
            format!("{} should fall in here", view.level),
        ),
    ]);
    let along: Vec<_> = view.runs.iter().map(|r| r.long_m).collect();
    let across: Vec<_> = view.runs.iter().map(|r| r.right_m).collect();
    let upper = frame(&along, legend.height() + 34.0);
    let has_across = across.iter().any(Option::is_some);
    let lower = frame(&across, upper.bottom + 40.0);
    let bottom = if has_across {
        lower.bottom
    } else {
        upper.bottom
    };
    let description = format!(
        "{} in the order they were made. Above: how far past the target (+) or short of it each stopped, with the range foretold for its setting.{}",
        words::count(view.runs.len(), "run", "runs"),
        if has_across {
            " Below: the same to the right (+) or left."
        } else {
            ""
        }
    );
    svg::draw(
        name,
        "New runs against the forecast",
        &description,
        bottom + 42.0,
        |canvas| {
            legend.draw(canvas, 0.0);
            upper.side(canvas, "past the target (+) or short of it (−), cm", 5);
            marks(canvas, &upper, &along);
            if has_across {
                lower.side(canvas, "right (+) or left (−) of the target, cm", 5);
                marks(canvas, &lower, &across);
            }
            let last = if has_across { &lower } else { &upper };
            last.ground(canvas);
            last.foot_label(canvas, "runs in order");
        },
    )
}

fn frame(runs: &[Option<(f64, f64, f64)>], top: f64) -> Frame {
    let ends = runs
        .iter()
        .flatten()
        .flat_map(|&(x, low, high)| [x, low, high]);
    Frame {
        left: 46.0,
        right: WIDTH - 8.0,
        top,
        bottom: top + HEIGHT,
        x: Span {
            from: 0.0,
            to: runs.len().max(1) as f64,
        },
        y: Span::around(ends.map(|e| 100.0 * e), 0.06, 4.0),
    }
}

fn marks(canvas: &mut Canvas, frame: &Frame, runs: &[Option<(f64, f64, f64)>]) {
    frame.level(canvas, 0.0, Pen::Line, 1.2);
    for (i, run) in runs.iter().enumerate() {
        let Some((at, low, high)) = *run else {
            continue;
        };
        let x = i as f64 + 0.5;
        canvas.block(
            frame.at(x - HALF_BAR, 100.0 * high),
            frame.at(x + HALF_BAR, 100.0 * low),
            Pen::Line,
            0.22,
        );
        let place = frame.at(x, 100.0 * at);
        if at >= low && at <= high {
            canvas.mark(place, Mark::Dot, 3.4, Pen::Run);
        } else {
            canvas.mark(place, Mark::Cross, 4.6, Pen::Warn);
        }
    }
}
