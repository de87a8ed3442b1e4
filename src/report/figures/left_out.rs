//! Leave one session out: had the rest of the season been asked, would it have been right about that day?

use super::entry::{About, Entry, Plate, ReaderQuestion, TableRow};
use super::labels::{EndLabel, label_ends};
use super::marks::{self, inside_or_out, radius, thinned};
use super::style::{self, FOOT, HEAD, LABELS, SIDE};
use crate::calibration::{InsideCount, LeftOut, LeftOutAt, LeftOutRun};
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
    question: ReaderQuestion::HowSure,
    tell,
};

/// Leave-one-session-out cross-validation: every run against its prediction from the other sessions.
#[derive(Debug, Clone)]
pub struct LeftOutView {
    /// Runs in session order.
    pub runs: Vec<LeftOutPoint>,
    /// The level of the intervals, in words.
    pub level: String,
    /// What is promised of a run, and so what is shown.
    pub promise: Promised,
    /// Number of runs inside what was promised.
    pub inside: usize,
}

/// What is shown of runs held against their prediction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Promised {
    /// The miss, from 0 to the value that is not exceeded.
    Miss,
    /// Along only, where the log does not tell left from right.
    Long,
}

/// One run against its prediction, m.
#[derive(Debug, Clone, Copy)]
pub struct LeftOutPoint {
    /// Its session, counted from 0.
    pub session: usize,
    /// Its miss; or its long less the predicted one.
    pub off_m: f64,
    /// Lower end of what was promised.
    pub low_m: f64,
    /// Upper end of what was promised.
    pub high_m: f64,
}

fn tell(about: &About, name: &str) -> Result<Option<Plate>, Error> {
    let known = &about.rig.situation.rig.left_out;
    if known.runs == 0 {
        return Ok(None);
    }
    let view = view(known, about.level());
    let caption = format!(
        "Had the rest of the season been asked about each day beforehand, {} of {} runs would have stopped within the distance it promised; about {:.0} should.{}{}",
        view.inside,
        view.runs.len(),
        about.calibration.level.probability() * view.runs.len() as f64,
        marks::said_of_thinned(view.runs.len()),
        priors::in_days(about.rig)
    );
    Ok(Some(Plate {
        head: vec!["", "long", "right", "miss"],
        rows: counts(known),
        fold: vec![
            "Every session is taken out in turn, the rest is fitted as if it had never been, and its runs are held against what that promises of the settings they were made with (leave one session out). A range that is too wide or too narrow shows as a count far from the part it should hold.".to_string(),
            format!("Sessions predicted from the others: {}.", known.sessions),
        ],
        ..Plate::new(draw(name, &view)?, caption)
    }))
}

/// How many runs were inside at each level.
fn counts(known: &LeftOut) -> Vec<TableRow> {
    let of = |count: InsideCount| match count.of {
        0 => "–".to_string(),
        of => format!("{} of {of}", count.inside),
    };
    let at = |at: &LeftOutAt| {
        let inside = format!("inside what should hold {}", words::percent(at.level));
        vec![inside, of(at.long), of(at.right), of(at.miss)]
    };
    known.at.iter().map(at).collect()
}

/// The runs beside what was promised of them: the miss where it is known of any.
fn view(known: &LeftOut, level: String) -> LeftOutView {
    let miss_of = |r: &LeftOutRun| {
        r.miss_m.map(|(miss_m, high_m)| LeftOutPoint {
            session: r.session as usize,
            off_m: f64::from(miss_m),
            low_m: 0.0,
            high_m: f64::from(high_m),
        })
    };
    let long_of = |r: &LeftOutRun| LeftOutPoint {
        session: r.session as usize,
        off_m: f64::from(r.error_m),
        low_m: f64::from(r.low_m),
        high_m: f64::from(r.high_m),
    };
    let misses: Vec<LeftOutPoint> = known.predictions.iter().filter_map(miss_of).collect();
    let (promise, runs) = if misses.is_empty() {
        let long = known.predictions.iter().map(long_of).collect();
        (Promised::Long, long)
    } else {
        (Promised::Miss, misses)
    };
    LeftOutView {
        inside: runs.iter().filter(|run| run.is_inside()).count(),
        promise,
        runs,
        level,
    }
}

impl LeftOutPoint {
    fn is_inside(&self) -> bool {
        self.off_m >= self.low_m && self.off_m <= self.high_m
    }
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
        "For every session, the rest of the season was asked how near its runs would stop. {} of {} runs kept to what was said.{}",
        view.inside,
        view.runs.len(),
        marks::said_of_thinned(view.runs.len())
    );
    let height = HEAD + PLOT + BELOW;
    svg::draw(name, title, &description, height, |on| paint(on, view))
}

fn paint(on: &Sheet, view: &LeftOutView) -> Drawn {
    let ends = view.runs.iter().flat_map(|r| [r.off_m, r.low_m, r.high_m]);
    let around = Span::around(ends.map(|e| 100.0 * e), 0.05, 4.0);
    let (y, side) = match view.promise {
        Promised::Miss => (
            Span {
                from: 0.0,
                ..around
            },
            "cm from the target",
        ),
        Promised::Long => (
            around.symmetric(),
            "cm longer (+) or shorter (−) than foretold",
        ),
    };
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
    style::side(on, &mut chart, side)?;
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
    let points = view.runs.iter().enumerate();
    let points: Vec<_> = points
        .map(|(i, r)| ((i as f64 + 0.5, 100.0 * r.off_m), r.is_inside()))
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
