//! Two of a kind side by side: how far each is likely to land from the target, and what that is made of.

use super::frame::Span;
use crate::error::Error;
use crate::report::svg::{self, Align, Figure, Mark, Pen, Type, WIDTH, text_width};
use crate::stats::interval::Interval;

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
const ROW: f64 = 70.0;
const BAR: f64 = 12.0;
const LEFT: f64 = 92.0;
/// Room for the number behind the longest bar.
const NUMBER: f64 = 62.0;
/// A range that goes on beyond this many times the largest estimate is cut off there, with an arrow's word.
const CUT: f64 = 2.5;
/// Longest name that fits beside its bar.
const NAME_WIDTH: f64 = 78.0;

/// Draws both things' intervals as bars, one pair for each number.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, view: &CompareView) -> Result<Figure, Error> {
    let all = || view.rows.iter().flat_map(|q| q.of);
    let widest = all().map(|i| i.high).fold(0.0, f64::max);
    let largest = all().map(|i| i.estimate).fold(0.005, f64::max);
    let reach = 100.0 * widest.min(CUT * largest).max(0.01);
    let scale = (WIDTH - LEFT - NUMBER) / reach;
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
    svg::draw(
        name,
        "The two side by side",
        &format!("{}.", said.join("; ")),
        height,
        |canvas| {
            canvas.text(
                (4.0, 12.0),
                "cm; the mark is the best guess, the bar where it may lie",
                Type::small(Align::Start),
            );
            let span = Span {
                from: 0.0,
                to: reach,
            };
            let (values, decimals) = span.ticks(5);
            for value in values {
                let x = LEFT + value * scale;
                canvas.line(&[(x, TOP - 8.0), (x, height - 6.0)], Pen::Grid, 1.0);
                canvas.text(
                    (x, TOP - 16.0),
                    &crate::units::decimals(value, decimals),
                    Type::small(Align::Middle),
                );
            }
            for (i, row) in view.rows.iter().enumerate() {
                let y = TOP + i as f64 * ROW;
                canvas.text((4.0, y + 6.0), &row.what, Type::plain(Align::Start).bold());
                for k in 0..2 {
                    let y = y + 27.0 + k as f64 * (BAR + 6.0);
                    let at = |m: f64| LEFT + (100.0 * m).clamp(0.0, reach) * scale;
                    let of = &row.of[k];
                    let pen = Pen::for_kind(k);
                    canvas.text(
                        (LEFT - 8.0, y),
                        &short(&view.names[k]),
                        Type::small(Align::End),
                    );
                    canvas.block(
                        (at(of.low), y - BAR / 2.0),
                        (at(of.high).max(at(of.low) + 1.0), y + BAR / 2.0),
                        pen,
                        0.35,
                    );
                    canvas.mark((at(of.estimate), y), Mark::for_kind(k), 4.2, pen);
                    let more = if 100.0 * of.high > reach { " →" } else { "" };
                    canvas.text(
                        (at(of.high) + 7.0, y),
                        &format!("{}{more}", super::parts::small_cm(of.estimate)),
                        Type::small(Align::Start).pen(Pen::Ink),
                    );
                }
            }
        },
    )
}

fn range(i: &Interval) -> String {
    let cm = super::parts::small_cm;
    format!("{} ({} to {})", cm(i.estimate), cm(i.low), cm(i.high))
}

/// A name cut to its place.
fn short(name: &str) -> String {
    let size = Type::small(Align::End).size;
    let mut out: String = name.to_string();
    while text_width(&out, size) > NAME_WIDTH && out.pop().is_some() {}
    if out.len() < name.len() {
        out.pop();
        out.push('…');
    }
    out
}
