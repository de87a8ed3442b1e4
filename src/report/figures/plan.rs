//! Would more runs help? The chance against more runs, one line for each number of sessions.

use super::frame::{Frame, Span, spread};
use crate::error::Error;
use crate::report::svg::{self, Align, Figure, Mark, Pen, Type, WIDTH};
use crate::report::words;

/// The chance of the first run of a new day to stop within a distance.
#[derive(Debug, Clone)]
pub struct PlanView {
    /// The distance.
    pub within_m: f64,
    /// One line for each number of sessions.
    pub lines: Vec<PlanLine>,
    /// Chance with the present calibration.
    pub now: f64,
    /// Chance that no number of further runs can exceed.
    pub limit: f64,
    /// The chance asked for.
    pub asked: f64,
}

/// The chance for one number of further sessions.
#[derive(Debug, Clone)]
pub struct PlanLine {
    /// Number of further sessions.
    pub sessions: u32,
    /// (runs in each, chance), rising.
    pub points: Vec<(u32, f64)>,
}

const RIGHT: f64 = 84.0;
/// Labels beside the lines stand at least this far apart.
const LABEL_APART: f64 = 13.0;

/// Draws the chance of a good first run against the number of further runs.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, plan: &PlanView) -> Result<Figure, Error> {
    let most = plan
        .lines
        .iter()
        .flat_map(|l| l.points.iter().map(|p| p.0 * l.sessions))
        .max()
        .unwrap_or(1);
    let chances = plan.lines.iter().flat_map(|l| l.points.iter().map(|p| p.1));
    let levels = [plan.now, plan.limit, plan.asked];
    let y = Span::around(chances.chain(levels).map(|c| 100.0 * c), 0.08, 4.0);
    let frame = Frame {
        left: 40.0,
        right: WIDTH - RIGHT,
        top: 34.0,
        bottom: 34.0 + 230.0,
        x: Span {
            from: 0.0,
            to: f64::from(most),
        },
        y: Span {
            from: y.from.max(0.0),
            to: y.to.min(100.0),
        },
    };
    let title = "What more runs would bring";
    let description = format!(
        "Chance that the first run of a new day stops within {}, against how many more runs are made, with one line for each number of sessions. Now {}; no number of runs beats {}; asked for: {}.",
        words::cm_unit(plan.within_m),
        words::chance(plan.now),
        words::chance(plan.limit),
        words::chance(plan.asked)
    );
    svg::draw(name, title, &description, frame.bottom + 42.0, |canvas| {
        frame.side(canvas, "chance, runs in 100", 5);
        frame.foot(canvas, "more runs in all", 6);
        frame.level(canvas, 100.0 * plan.limit, Pen::Limit, 1.6);
        frame.level(canvas, 100.0 * plan.asked, Pen::Ink, 1.2);
        let mut labels = vec![
            (100.0 * plan.limit, "at best".to_string(), Pen::Line),
            (100.0 * plan.asked, "asked for".to_string(), Pen::Ink),
        ];
        for (k, line) in plan.lines.iter().enumerate() {
            let pen = Pen::for_kind(k);
            let at = |&(runs, chance): &(u32, f64)| {
                frame.at(f64::from(runs * line.sessions), 100.0 * chance)
            };
            let points: Vec<(f64, f64)> = line.points.iter().map(at).collect();
            canvas.line(&points, pen, 1.8);
            for point in &points {
                canvas.mark(*point, Mark::for_kind(k), 3.2, pen);
            }
            if let Some((_, chance)) = line.points.last() {
                let sessions = words::count(line.sessions as usize, "session", "sessions");
                labels.push((100.0 * chance, sessions, pen));
            }
        }
        canvas.mark(frame.at(0.0, 100.0 * plan.now), Mark::Ring, 4.5, Pen::Line);
        labels.push((100.0 * plan.now, "○ now".to_string(), Pen::Line));
        let heights: Vec<f64> = labels.iter().map(|l| frame.at(0.0, l.0).1).collect();
        let apart = spread(&heights, LABEL_APART, frame.top, frame.bottom);
        for ((_, text, pen), y) in labels.iter().zip(apart) {
            canvas.text(
                (frame.right + 8.0, y),
                text,
                Type::small(Align::Start).pen(*pen),
            );
        }
    })
}
