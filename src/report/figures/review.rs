//! New runs against their prediction at the settings they were made with.

use super::labels::{EndLabel, label_ends};
use super::marks::{self, Mark, Shape, inside_or_out};
use super::style::{self, FOOT, HEAD, LABELS, SIDE};
use crate::error::Error;
use crate::report::svg::theme::{INK, LINE, WARN};
use crate::report::svg::{self, Drawn, Figure, Sheet, Span, pen, px};
use crate::report::words;
use plotters::chart::ChartBuilder;
use plotters::element::Rectangle;
use plotters::style::Color;

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
    /// Whether it rolled back.
    pub rolled_back: bool,
}

const PLOT: f64 = 134.0;
/// Half the width of a run's bar, as a part of its place.
const HALF_BAR: f64 = 0.3;
/// How far the ring of a run that rolled back lies around its mark, figure units.
const RING: f64 = 2.6;

/// Draws new runs against their prediction intervals.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, view: &ReviewView) -> Result<Figure, Error> {
    let along: Vec<_> = view.runs.iter().map(|r| r.long_m).collect();
    let across: Vec<_> = view.runs.iter().map(|r| r.right_m).collect();
    let has_across = across.iter().any(Option::is_some);
    let middle = HEAD + PLOT + 10.0;
    let bottom = if has_across {
        middle + HEAD + PLOT
    } else {
        middle
    };
    let ringed = view.runs.iter().filter(|r| r.rolled_back).count();
    let description = format!(
        "{} in the order they were made{}. Above: how far past the target (+) or short of it each stopped, with the range foretold for its setting.{}",
        words::count(view.runs.len(), "run", "runs"),
        match ringed {
            0 => String::new(),
            n => format!(", {n} of them with a ring: rolled back"),
        },
        if has_across {
            " Below: the same to the right (+) or left."
        } else {
            ""
        }
    );
    let title = "New runs against the forecast";
    let foot = FOOT - 14.0;
    svg::draw(name, title, &description, bottom + foot, |on| {
        let part = if has_across {
            (0.0, middle)
        } else {
            (0.0, middle + foot)
        };
        let below = if has_across { 10.0 } else { foot + 10.0 };
        runs(
            on,
            view,
            &along,
            part,
            below,
            "cm past the target (+) or short of it (−)",
        )?;
        if has_across {
            let part = (middle, bottom + foot);
            runs(
                on,
                view,
                &across,
                part,
                foot,
                "cm right (+) or left (−) of the target",
            )?;
        }
        Ok(())
    })
}

/// One panel: the bar each run was expected in, and its mark; `below` is the room under it, with words where it is wide.
fn runs(
    on: &Sheet,
    view: &ReviewView,
    runs: &[Option<(f64, f64, f64)>],
    (top, bottom): (f64, f64),
    below: f64,
    counts: &str,
) -> Drawn {
    let ends = runs
        .iter()
        .flatten()
        .flat_map(|&(x, low, high)| [x, low, high]);
    let y = Span::around(ends.map(|e| 100.0 * e), 0.06, 4.0);
    let x = Span {
        from: 0.0,
        to: runs.len().max(1) as f64,
    };
    let mut chart = ChartBuilder::on(&on.between(top, bottom))
        .margin_top(px(HEAD))
        .margin_right(px(LABELS))
        .y_label_area_size(px(SIDE))
        .x_label_area_size(px(below))
        .build_cartesian_2d(on.axis(x, 0), on.axis(y, 5))?;
    style::side(on, &mut chart, counts)?;
    style::foot(&mut chart, if below > 10.0 { "runs in order" } else { "" })?;
    let target = marks::level(&chart, 0.0, LINE.stroke_width(pen(1.2)));
    chart.draw_series([target])?;
    let placed = runs.iter().enumerate();
    let placed: Vec<(f64, (f64, f64, f64))> = placed
        .filter_map(|(i, run)| Some((i as f64 + 0.5, (*run)?)))
        .collect();
    chart.draw_series(placed.iter().map(|(x, (_, low, high))| {
        let corners = [(x - HALF_BAR, 100.0 * high), (x + HALF_BAR, 100.0 * low)];
        Rectangle::new(corners, LINE.mix(0.22).filled())
    }))?;
    let is_inside = |(at, low, high): (f64, f64, f64)| at >= low && at <= high;
    let point = |&(x, run): &(f64, (f64, f64, f64))| ((x, 100.0 * run.0), is_inside(run));
    let mut points: Vec<((f64, f64), bool)> = placed.iter().map(point).collect();
    points.sort_by_key(|p| !p.1);
    let size = marks::radius(runs.len()).min(3.4);
    chart.draw_series(
        points
            .iter()
            .map(|&(at, inside)| inside_or_out(at, inside, size)),
    )?;
    let rings: Vec<(f64, f64)> = (placed.iter())
        .filter(|(x, _)| view.runs[*x as usize].rolled_back)
        .map(|(x, run)| (*x, 100.0 * run.0))
        .collect();
    chart.draw_series(
        rings
            .iter()
            .map(|&at| Mark::new(at, Shape::Ring, size + RING, INK)),
    )?;
    let outside = points
        .iter()
        .find(|p| !p.1)
        .map(|(at, _)| EndLabel::new(at.1, "× outside", WARN));
    let last = placed
        .last()
        .map_or(0.0, |(_, (_, low, high))| 50.0 * (low + high));
    let words = format!("shaded: {} should fall in here", view.level);
    let mut labels = vec![EndLabel::new(last, words, LINE)];
    labels.extend(outside);
    let ring = rings.last();
    labels.extend(ring.map(|at| EndLabel::new(at.1, "○ rolled back", INK)));
    label_ends(on, &chart, &labels)
}
