//! Leave one session out: had the rest of the season been asked, would it have been right about that day?

use super::entry::{About, Entry, Plate, Question, row};
use super::labels::{EndLabel, label_ends};
use super::marks::{self, inside_or_out, radius, thinned};
use super::style::{self, FOOT, HEAD, LABELS, SIDE};
use crate::calibration::LeftOutRun;
use crate::error::Error;
use crate::report::svg::theme::{GRID, LINE, WARN};
use crate::report::svg::{self, Drawn, Figure, Sheet, Span, pen, px};
use crate::report::{priors, words};
use plotters::chart::ChartBuilder;
use plotters::element::PathElement;
use plotters::style::Color;

/// Leave-one-session-out cross-validation: each session predicted from the others.
pub const FIGURE: Entry = Entry {
    name: "left-out",
    question: Question::HowSure,
    tell,
};

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

fn tell(about: &About, name: &str) -> Result<Option<Plate>, Error> {
    let known = &about.rig.situation.rig.left_out;
    if known.runs == 0 {
        return Ok(None);
    }
    let of_run = |r: &LeftOutRun| LeftOutPoint {
        session: r.session as usize,
        error_m: f64::from(r.error_m),
        low_m: f64::from(r.low_m),
        high_m: f64::from(r.high_m),
    };
    let view = LeftOutView {
        runs: known.predictions.iter().map(of_run).collect(),
        level: about.level(),
        inside: known.inside,
    };
    let caption = format!(
        "Had the rest of the season been asked about each day beforehand, {} of {} runs would have come out inside the range it gave; about {:.0} should.{}{}",
        known.inside,
        known.runs,
        about.calibration.level.probability() * known.runs as f64,
        marks::said_of_thinned(view.runs.len()),
        priors::in_days(about.rig)
    );
    Ok(Some(Plate {
        rows: vec![
            row(
                "sessions predicted from the others",
                known.sessions.to_string(),
            ),
            row("runs inside", format!("{} of {}", known.inside, known.runs)),
        ],
        fold: vec![format!(
            "Every session is taken out in turn, the rest is fitted as if it had never been, and its runs are held against the {} range for a new session (leave one group out).",
            about.percent()
        )],
        ..Plate::new(draw(name, &view)?, caption)
    }))
}

/// Most steps of the band that a reader can distinguish.
const STEPS_MAX: usize = 400;
const PLOT: f64 = 156.0;
/// Room for what the foot counts, which has no numbers.
const BELOW: f64 = FOOT - 14.0;

/// Draws every run against its leave-one-session-out prediction.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, view: &LeftOutView) -> Result<Figure, Error> {
    let title = "Each session foretold by the others";
    let description = format!(
        "For every session, the rest of the season was asked where its runs would come to rest. {} of {} runs fell inside what was said.{}",
        view.inside,
        view.runs.len(),
        marks::said_of_thinned(view.runs.len())
    );
    let height = HEAD + PLOT + BELOW;
    svg::draw(name, title, &description, height, |on| paint(on, view))
}

fn paint(on: &Sheet, view: &LeftOutView) -> Drawn {
    let ends = view
        .runs
        .iter()
        .flat_map(|r| [r.error_m, r.low_m, r.high_m]);
    let y = Span::around(ends.map(|e| 100.0 * e), 0.05, 4.0).symmetric();
    let x = Span {
        from: 0.0,
        to: view.runs.len().max(1) as f64,
    };
    let mut chart = ChartBuilder::on(&on.area)
        .margin_top(px(HEAD))
        .margin_right(px(LABELS))
        .y_label_area_size(px(SIDE))
        .x_label_area_size(px(BELOW))
        .build_cartesian_2d(on.axis(x, 0), on.axis(y, 6))?;
    style::side(on, &mut chart, "cm longer (+) or shorter (−) than foretold")?;
    let blocks = blocks(&view.runs);
    let bands = blocks
        .iter()
        .map(|(from, runs)| steps(*from, runs, view.runs.len()));
    chart.draw_series(bands.map(|steps| marks::band(&steps, LINE.mix(0.22))))?;
    let edges = blocks.iter().skip(1).map(|(from, _)| *from as f64);
    let edge = |x: f64| PathElement::new([(x, y.from), (x, y.to)], GRID.stroke_width(pen(1.4)));
    chart.draw_series(edges.map(edge))?;
    let foretold = marks::level(&chart, 0.0, LINE.stroke_width(pen(1.4)));
    chart.draw_series([foretold])?;
    let is_inside = |run: &LeftOutPoint| run.error_m >= run.low_m && run.error_m <= run.high_m;
    let points = view.runs.iter().enumerate();
    let points: Vec<_> = points
        .map(|(i, r)| ((i as f64 + 0.5, 100.0 * r.error_m), is_inside(r)))
        .collect();
    let mut shown = thinned(&chart, points, |p| p.0);
    shown.sort_by_key(|p| !p.1);
    let size = radius(view.runs.len()).min(2.6);
    chart.draw_series(
        shown
            .iter()
            .map(|&(at, inside)| inside_or_out(at, inside, size)),
    )?;
    let outside = shown
        .iter()
        .find(|p| !p.1)
        .map(|(at, _)| EndLabel::new(at.1, "× outside", WARN));
    let sessions = words::count(blocks.len(), "session", "sessions");
    style::foot(
        &mut chart,
        &format!("runs in order, {sessions} side by side"),
    )?;
    let last = view.runs.last().map_or(0.0, |r| r.high_m);
    let band = format!("shaded: {} should fall in here", view.level);
    let mut labels = vec![EndLabel::new(100.0 * last, band, LINE)];
    labels.extend(outside);
    label_ends(on, &chart, &labels)
}

/// The band over one session's runs, from number `from` of `all`. Where runs stand closer than lines can be
/// distinguished, a step is the mean of several runs.
fn steps(from: usize, runs: &[LeftOutPoint], all: usize) -> Vec<(f64, f64, f64)> {
    let each = all.div_ceil(STEPS_MAX).max(1);
    let step = |(i, runs): (usize, &[LeftOutPoint])| {
        let x = (from + i * each) as f64;
        let count = runs.len() as f64;
        let mean =
            |end: fn(&LeftOutPoint) -> f64| 100.0 * runs.iter().map(end).sum::<f64>() / count;
        let (low, high) = (mean(|r| r.low_m), mean(|r| r.high_m));
        [(x + 0.06, low, high), (x + count - 0.06, low, high)]
    };
    runs.chunks(each).enumerate().flat_map(step).collect()
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
