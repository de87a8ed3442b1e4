//! Two of a kind side by side: how far each is likely to land from the target, and what that is made of.

use super::labels::cut;
use super::marks::{Mark, Shape};
use super::parts::small_cm;
use super::style::{END, MIDDLE, SMALL, START, TEXT, bold, small};
use crate::error::Error;
use crate::report::svg::theme::{self, GRID, INK, SOFT};
use crate::report::svg::{self, Chart, Drawn, Figure, Sheet, Span, WIDTH, pen, px};
use crate::report::words;
use crate::stats::interval::Interval;
use crate::units;
use plotters::chart::ChartBuilder;
use plotters::element::{EmptyElement, PathElement, Rectangle, Text};
use plotters::style::Color;

/// Two things that are compared, number by number.
#[derive(Debug, Clone)]
pub struct CompareView {
    /// Names of the two.
    pub names: [String; 2],
    /// One for each number that is compared.
    pub rows: Vec<CompareRow>,
    /// The level of the intervals, in words.
    pub level: String,
}

/// One number, m, estimated for each of the two.
#[derive(Debug, Clone)]
pub struct CompareRow {
    /// In plain words.
    pub what: String,
    /// Estimate and interval for the first and for the second.
    pub of: [Interval; 2],
}

const TOP: f64 = 46.0;
const ROW: f64 = 66.0;
const BAR: f64 = 12.0;
const LEFT: f64 = 92.0;
/// Room for the number behind the longest bar.
const NUMBER: f64 = 72.0;
/// A range that goes on beyond this many times the largest estimate is cut off there, with an arrow's word.
const CUT: f64 = 2.5;

/// Draws both things' intervals as bars, one pair for each number.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, view: &CompareView) -> Result<Figure, Error> {
    let said: Vec<String> = view
        .rows
        .iter()
        .map(|q| {
            format!(
                "{}: {} {}, {} {}",
                q.what,
                view.names[0],
                range(&q.of[0]),
                view.names[1],
                range(&q.of[1])
            )
        })
        .collect();
    let height = TOP + view.rows.len() as f64 * ROW + 6.0;
    let description = format!("{}.", said.join("; "));
    svg::draw(name, "The two side by side", &description, height, |on| {
        bars(on, view, height)
    })
}

/// The bars: centimetres across, units of the figure down.
fn bars(on: &Sheet, view: &CompareView, height: f64) -> Drawn {
    let all = || view.rows.iter().flat_map(|q| q.of);
    let widest = all().map(|i| i.high).fold(0.0, f64::max);
    let largest = all().map(|i| i.estimate).fold(0.005, f64::max);
    let cm = Span {
        from: 0.0,
        to: 100.0 * widest.min(CUT * largest).max(0.01),
    };
    let down = Span {
        from: height,
        to: 0.0,
    };
    let mut chart = ChartBuilder::on(&on.area)
        .margin_left(px(LEFT))
        .margin_right(px(NUMBER))
        .build_cartesian_2d(on.axis(cm, 0), on.axis(down, 0))?;
    let remark = "cm; the mark is the best guess, the bar where it may lie";
    on.area
        .draw_text(remark, &small(SOFT, START), (px(4.0), px(12.0)))?;
    let (values, decimals) = cm.ticks(5);
    for x in values {
        let help = [(x, TOP - 8.0), (x, height - 6.0)];
        chart.draw_series([PathElement::new(help, GRID.stroke_width(pen(1.0)))])?;
        let number = Text::new(
            words::true_minus(&units::decimals(x, decimals)),
            (0, 0),
            small(SOFT, MIDDLE),
        );
        chart.draw_series([EmptyElement::at((x, TOP - 16.0)) + number])?;
    }
    for (i, row) in view.rows.iter().enumerate() {
        let top = TOP + i as f64 * ROW;
        let what = cut(&row.what, WIDTH - 8.0, 1.12 * TEXT);
        on.area
            .draw_text(&what, &bold(INK, START), (px(4.0), px(top + 6.0)))?;
        for k in 0..2 {
            let middle = top + 26.0 + k as f64 * (BAR + 6.0);
            let name = cut(&view.names[k], LEFT - 12.0, SMALL);
            on.area
                .draw_text(&name, &small(SOFT, END), (px(LEFT - 8.0), px(middle)))?;
            bar(&mut chart, k, &row.of[k].scaled(100.0), middle)?;
        }
    }
    Ok(())
}

/// One of two bars with its best guess, cm.
fn bar(chart: &mut Chart, kind: usize, of: &Interval, middle: f64) -> Drawn {
    let reach = chart.x_range().end;
    let at_most = |cm: f64| {
        if cm.is_finite() {
            cm.clamp(0.0, reach)
        } else {
            reach
        }
    };
    let (low, high) = (at_most(of.low), at_most(of.high));
    let corners = [
        (low, middle - BAR / 2.0),
        (high.max(low + 0.004 * reach), middle + BAR / 2.0),
    ];
    let color = theme::of_kind(kind);
    chart.draw_series([Rectangle::new(corners, color.mix(0.35).filled())])?;
    chart.draw_series([Mark::new(
        (at_most(of.estimate), middle),
        Shape::of_kind(kind),
        4.2,
        color,
    )])?;
    let more = if of.high > reach { " →" } else { "" };
    let number = format!("{}{more}", small_cm(of.estimate / 100.0));
    let number = Text::new(number, (px(7.0), 0), small(INK, START));
    chart.draw_series([EmptyElement::at((high, middle)) + number])?;
    Ok(())
}

fn range(i: &Interval) -> String {
    let cm = small_cm;
    format!("{} ({} to {})", cm(i.estimate), cm(i.low), cm(i.high))
}
