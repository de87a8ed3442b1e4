//! Would more runs help? The chance against more runs, one line for each number of sessions.

use super::labels::{EndLabel, label_ends};
use super::marks::{self, Mark, Shape};
use super::style::{self, FOOT, HEAD, LABELS, SIDE};
use crate::error::Error;
use crate::report::svg::theme::{self, INK, LINE};
use crate::report::svg::{self, Drawn, Figure, Sheet, Span, pen, px};
use crate::report::words;
use plotters::chart::ChartBuilder;
use plotters::series::{DashedLineSeries, LineSeries};
use plotters::style::Color;

/// The chance that what counts is within a distance.
#[derive(Debug, Clone)]
pub struct PlanView {
    /// What counts, in words.
    pub what: String,
    /// The distance, in words.
    pub within: String,
    /// One line for each number of sessions, or one for all.
    pub lines: Vec<PlanLine>,
    /// Chance with the present calibration.
    pub now: f64,
    /// Chance that no number of further runs can exceed.
    pub limit: f64,
    /// The chance that is wanted.
    pub asked: f64,
    /// That chance in words, short.
    pub often: String,
}

/// The chance for one number of further sessions.
#[derive(Debug, Clone)]
pub struct PlanLine {
    /// What it is called.
    pub name: String,
    /// Number of further sessions.
    pub sessions: u32,
    /// (runs in each, chance), rising.
    pub points: Vec<(u32, f64)>,
}

const PLOT: f64 = 196.0;

/// Draws the chance of what counts against the number of further runs.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, plan: &PlanView) -> Result<Figure, Error> {
    let title = "What more runs would bring";
    let description = format!(
        "Chance that {} is within {}, against how many more runs are made; the lines are for {}. Now {}; no number of runs beats {}; wanted: {}.",
        plan.what,
        plan.within,
        plan.lines
            .iter()
            .map(|l| l.name.as_str())
            .collect::<Vec<_>>()
            .join(", "),
        words::chance(plan.now),
        words::chance(plan.limit),
        plan.often
    );
    let height = HEAD + PLOT + FOOT;
    svg::draw(name, title, &description, height, |on| chances(on, plan))
}

fn chances(on: &Sheet, plan: &PlanView) -> Drawn {
    let runs = |l: &PlanLine, p: &(u32, f64)| f64::from(p.0 * l.sessions);
    let points = || {
        plan.lines
            .iter()
            .flat_map(|l| l.points.iter().map(move |p| (runs(l, p), p.1)))
    };
    let x = Span {
        from: 0.0,
        to: points().map(|p| p.0).fold(1.0, f64::max),
    };
    // All of a chance, so that a small gain looks small.
    let y = Span {
        from: 0.0,
        to: 100.0,
    };
    let mut chart = ChartBuilder::on(&on.area)
        .margin_top(px(HEAD))
        .margin_right(px(LABELS))
        .y_label_area_size(px(SIDE))
        .x_label_area_size(px(FOOT))
        .build_cartesian_2d(on.axis(x, 6), on.axis(y, 5))?;
    style::side(on, &mut chart, "chance, runs in 100")?;
    style::foot(&mut chart, "more runs in all")?;
    let (limit, asked, now) = (100.0 * plan.limit, 100.0 * plan.asked, 100.0 * plan.now);
    let across = [(x.from, limit), (x.to, limit)];
    let dashed = DashedLineSeries::new(across, px(7.0), px(5.0), LINE.stroke_width(pen(1.6)));
    chart.draw_series(dashed)?;
    let wanted = marks::level(&chart, asked, INK.stroke_width(pen(1.2)));
    chart.draw_series([wanted])?;
    let mut labels = vec![
        EndLabel::new(limit.ceil(), "at best", LINE),
        EndLabel::new(asked, plan.often.clone(), INK),
    ];
    // The most sessions first: where lines end alike their words stand in this order.
    for (k, line) in plan.lines.iter().enumerate().rev() {
        let color = theme::of_kind(k);
        let points = line.points.iter().map(|p| (runs(line, p), 100.0 * p.1));
        let points: Vec<(f64, f64)> = points.collect();
        chart.draw_series(LineSeries::new(
            points.clone(),
            color.stroke_width(pen(1.8)),
        ))?;
        chart.draw_series(
            points
                .iter()
                .map(|&at| Mark::new(at, Shape::of_kind(k), 3.2, color)),
        )?;
        if let Some((_, chance)) = points.last() {
            labels.push(EndLabel::new(chance.round(), line.name.clone(), color));
        }
    }
    chart.draw_series([Mark::new((0.0, now), Shape::Ring, 4.5, LINE)])?;
    labels.push(EndLabel::new(now.floor(), "○ now", LINE));
    label_ends(on, &chart, &labels)
}
