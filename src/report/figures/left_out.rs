//! Leave one session out: had the rest of the season been asked, would it have been right about that day?

use super::frame::{Frame, Span, thinned, thinned_word};
use super::legend::{Legend, Sign};
use crate::error::Error;
use crate::report::svg::{self, Figure, Mark, Pen, WIDTH};
use crate::report::words;

/// Leave-one-session-out cross-validation: every run against its prediction from the other sessions.
#[derive(Debug, Clone)]
pub struct LeftOutView {
    /// Runs in session order.
    pub runs: Vec<LeftOutPoint>,
    /// The level of the intervals, in words.
    pub level: String,
    /// Number of runs inside their interval.
    pub inside: usize,
}

/// One run against its prediction, m.
#[derive(Debug, Clone, Copy)]
pub struct LeftOutPoint {
    /// Its session, counted from 0.
    pub session: usize,
    /// Travel less the predicted travel.
    pub error_m: f64,
    /// Lower end of the prediction interval, less the predicted travel (negative).
    pub low_m: f64,
    /// Upper end of the prediction interval, less the predicted travel.
    pub high_m: f64,
}

/// Most steps of the band that a reader can distinguish.
const STEPS_MAX: usize = 400;

/// Draws every run against its leave-one-session-out prediction.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, view: &LeftOutView) -> Result<Figure, Error> {
    let legend = Legend::new([
        (
            Sign::Mark(Mark::Dot, Pen::Run),
            thinned_word("inside", view.runs.len()),
        ),
        (Sign::Mark(Mark::Cross, Pen::Warn), "outside".to_string()),
        (
            Sign::Band(Pen::Line, 0.22),
            format!("{} should fall in here", view.level),
        ),
    ]);
    let top = legend.height() + 34.0;
    let ends = view
        .runs
        .iter()
        .flat_map(|r| [r.error_m, r.low_m, r.high_m]);
    let frame = Frame {
        left: 46.0,
        right: WIDTH - 8.0,
        top,
        bottom: top + 190.0,
        x: Span {
            from: 0.0,
            to: view.runs.len().max(1) as f64,
        },
        y: Span::around(ends.map(|e| 100.0 * e), 0.05, 4.0).symmetric(),
    };
    let title = "Each session foretold by the others";
    let description = format!(
        "For every session, the rest of the season was asked where its runs would come to rest. {} of {} runs fell inside what was said.",
        view.inside,
        view.runs.len()
    );
    svg::draw(name, title, &description, frame.bottom + 42.0, |canvas| {
        legend.draw(canvas, 0.0);
        frame.side(canvas, "longer (+) or shorter (−) than foretold, cm", 6);
        let blocks = blocks(&view.runs);
        // Where runs stand closer than lines can be distinguished, a step is the mean of several runs.
        let each = view.runs.len().div_ceil(STEPS_MAX).max(1);
        for (from, runs) in &blocks {
            let steps: Vec<(f64, f64, f64)> = runs
                .chunks(each)
                .enumerate()
                .flat_map(|(i, runs)| {
                    let x = (from + i * each) as f64;
                    let count = runs.len() as f64;
                    let mean = |end: &dyn Fn(&LeftOutPoint) -> f64| {
                        100.0 * runs.iter().map(end).sum::<f64>() / count
                    };
                    let (low, high) = (mean(&|r| r.low_m), mean(&|r| r.high_m));
                    [(x + 0.06, low, high), (x + count - 0.06, low, high)]
                })
                .collect();
            frame.band(canvas, &steps, Pen::Line, 0.22);
        }
        for (from, _) in blocks.iter().skip(1) {
            let edge = [
                frame.at(*from as f64, frame.y.from),
                frame.at(*from as f64, frame.y.to),
            ];
            canvas.line(&edge, Pen::Grid, 1.4);
        }
        frame.level(canvas, 0.0, Pen::Line, 1.4);
        let points = view
            .runs
            .iter()
            .enumerate()
            .map(|(i, r)| (frame.at(i as f64 + 0.5, 100.0 * r.error_m), *r))
            .collect();
        let (inside, outside): (Vec<_>, Vec<_>) = thinned(points)
            .into_iter()
            .partition(|(_, run)| run.error_m >= run.low_m && run.error_m <= run.high_m);
        for (at, _) in inside {
            canvas.mark(at, Mark::Dot, 2.6, Pen::Run);
        }
        for (at, _) in outside {
            canvas.mark(at, Mark::Cross, 4.2, Pen::Warn);
        }
        frame.ground(canvas);
        frame.foot_label(
            canvas,
            &format!(
                "runs in order, {} side by side",
                words::count(blocks.len(), "session", "sessions")
            ),
        );
    })
}

/// Runs of one session each, with the index of their first run.
fn blocks(runs: &[LeftOutPoint]) -> Vec<(usize, &[LeftOutPoint])> {
    let mut from = 0;
    runs.chunk_by(|a, b| a.session == b.session)
        .map(|block| {
            let at = from;
            from += block.len();
            (at, block)
        })
        .collect()
}
