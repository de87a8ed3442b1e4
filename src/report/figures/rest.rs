//! Close up on the targets, to true scale: how far from it do runs come to rest?

use super::frame::Span;
use crate::error::Error;
use crate::report::svg::{self, Align, Canvas, Figure, Mark, Pen, Type, WIDTH};
use crate::report::words;

/// Predicted rest points about up to three targets.
#[derive(Debug, Clone)]
pub struct RestView {
    /// Shortest first, at most three.
    pub targets: Vec<RestTarget>,
    /// The chance that a run stops within the circle, in words (`19 of 20`).
    pub level: String,
    /// Whether only long and short count.
    pub along_only: bool,
}

/// One target.
#[derive(Debug, Clone)]
pub struct RestTarget {
    /// Its distance.
    pub target_m: f64,
    /// Where runs may come to rest, as (long, right) of it, m.
    pub rest_m: Vec<(f64, f64)>,
    /// The miss that the level's chance does not exceed, m.
    pub within_m: Option<f64>,
}

const TOP: f64 = 44.0;
const GAP: f64 = 10.0;
/// Room for the largest of the circles, as a part of it.
const ROOM: f64 = 1.25;

/// Draws up to three targets close up with predicted rest points.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, rest: &RestView) -> Result<Figure, Error> {
    let side = (WIDTH - 2.0 * GAP - 8.0) / 3.0;
    let within = rest
        .targets
        .iter()
        .filter_map(|t| t.within_m)
        .fold(0.05, f64::max);
    let reach_m = ROOM * within;
    let step_m = [0.02, 0.05, 0.1, 0.2, 0.5, 1.0]
        .into_iter()
        .find(|s| reach_m / s <= 6.0)
        .unwrap_or(2.0);
    let title = "Close up: where runs come to rest";
    let circles: Vec<String> = rest
        .targets
        .iter()
        .filter_map(|t| {
            Some(format!(
                "{} m: {}",
                words::metres(t.target_m),
                words::whole_cm_unit(t.within_m?)
            ))
        })
        .collect();
    let description = format!(
        "One square for each target, to true scale, long is up. {} of the runs stop within: {}. One small square is {}.",
        rest.level,
        circles.join("; "),
        words::cm_unit(step_m)
    );
    svg::draw(name, title, &description, TOP + side + 44.0, |canvas| {
        canvas.text(
            (4.0, 12.0),
            &format!("one small square is {}", words::cm_unit(step_m)),
            Type::small(Align::Start),
        );
        for (i, target) in rest.targets.iter().enumerate() {
            let left = 4.0 + i as f64 * (side + GAP);
            panel(canvas, rest, target, (left, TOP), side, reach_m, step_m);
        }
    })
}

fn panel(
    canvas: &mut Canvas,
    rest: &RestView,
    target: &RestTarget,
    (left, top): (f64, f64),
    side: f64,
    reach_m: f64,
    step_m: f64,
) {
    let scale = side / (2.0 * reach_m);
    let centre = (left + side / 2.0, top + side / 2.0);
    let at = |(long, right): (f64, f64)| (centre.0 + right * scale, centre.1 - long * scale);
    let span = Span {
        from: -reach_m / step_m,
        to: reach_m / step_m,
    };
    for k in span.from.ceil() as i32..=span.to.floor() as i32 {
        let d = f64::from(k) * step_m;
        let width = if k == 0 { 2.0 } else { 1.0 };
        canvas.line(&[at((d, -reach_m)), at((d, reach_m))], Pen::Grid, width);
        canvas.line(&[at((-reach_m, d)), at((reach_m, d))], Pen::Grid, width);
    }
    for &(long, right) in &target.rest_m {
        let (l, r) = (
            long.clamp(-reach_m, reach_m),
            right.clamp(-reach_m, reach_m),
        );
        if (l, r) == (long, right) {
            canvas.disc(at((l, r)), 2.4, Pen::Run, 0.6);
        } else {
            canvas.mark(at((l, r)), Mark::Cross, 2.6, Pen::Run);
        }
    }
    if let Some(within) = target.within_m {
        if rest.along_only {
            for d in [-within, within] {
                canvas.line(&[at((d, -reach_m)), at((d, reach_m))], Pen::Limit, 1.6);
            }
        } else {
            let round: Vec<(f64, f64)> = (0..=72)
                .map(|k| {
                    let turn = f64::from(k) / 72.0 * std::f64::consts::TAU;
                    at((within * turn.cos(), within * turn.sin()))
                })
                .collect();
            canvas.line(&round, Pen::Limit, 1.6);
        }
    }
    canvas.mark(centre, Mark::Cross, 4.5, Pen::Ink);
    let head = format!("{} m", words::metres(target.target_m));
    canvas.text(
        (centre.0, top - 12.0),
        &head,
        Type::plain(Align::Middle).bold(),
    );
    canvas.text(
        (centre.0 + 4.0, top + 8.0),
        "long",
        Type::small(Align::Start),
    );
    canvas.text(
        (centre.0 + 4.0, top + side - 8.0),
        "short",
        Type::small(Align::Start),
    );
    canvas.text(
        (left + 3.0, centre.1 - 8.0),
        "left",
        Type::small(Align::Start),
    );
    canvas.text(
        (left + side - 3.0, centre.1 - 8.0),
        "right",
        Type::small(Align::End),
    );
    if let Some(within) = target.within_m {
        let below = format!("{} within", rest.level);
        canvas.text(
            (centre.0, top + side + 14.0),
            &below,
            Type::small(Align::Middle),
        );
        canvas.text(
            (centre.0, top + side + 31.0),
            &words::whole_cm_unit(within),
            Type::plain(Align::Middle).pen(Pen::Line).bold(),
        );
    }
}
