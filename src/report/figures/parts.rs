//! What the miss is made of, along and across: which cure helps?

use super::frame::Span;
use crate::error::Error;
use crate::report::svg::{self, Align, Figure, Pen, Type, WIDTH};
use crate::report::words;

/// Parts of the miss at one target.
#[derive(Debug, Clone)]
pub struct PartsView {
    /// The target.
    pub target_m: f64,
    /// In the order shown.
    pub rows: Vec<Part>,
}

/// One part: a typical size (standard deviation) each way, m.
#[derive(Debug, Clone)]
pub struct Part {
    /// In plain words.
    pub what: String,
    /// Along the line.
    pub along_m: f64,
    /// Across; `None` where nothing is known.
    pub across_m: Option<f64>,
}

const TOP: f64 = 34.0;
const ROW: f64 = 62.0;
const BAR: f64 = 14.0;
const LEFT: f64 = 70.0;
/// Room for the number behind the longest bar.
const NUMBER: f64 = 66.0;

/// Draws the parts of the miss as bars, along and across.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, parts: &PartsView) -> Result<Figure, Error> {
    let sizes = parts
        .rows
        .iter()
        .flat_map(|p| [Some(p.along_m), p.across_m])
        .flatten();
    let largest = sizes.fold(0.005, f64::max);
    let scale = (WIDTH - LEFT - NUMBER) / (100.0 * largest);
    let title = format!(
        "What the miss at {} m is made of",
        words::metres(parts.target_m)
    );
    let said: Vec<String> = parts
        .rows
        .iter()
        .map(|p| {
            let across = p
                .across_m
                .map_or_else(String::new, |a| format!(", {} across", small_cm(a)));
            format!("{}: {} along{across}", p.what, small_cm(p.along_m))
        })
        .collect();
    let description = format!(
        "Bars for the typical size of each part. {}.",
        said.join("; ")
    );
    let height = TOP + parts.rows.len() as f64 * ROW + 8.0;
    svg::draw(name, &title, &description, height, |canvas| {
        canvas.text(
            (4.0, 12.0),
            "typical size of each part, to one scale",
            Type::small(Align::Start),
        );
        let (values, _) = Span {
            from: 0.0,
            to: 100.0 * largest,
        }
        .ticks(5);
        for value in values {
            let x = LEFT + value * scale;
            canvas.line(&[(x, TOP - 8.0), (x, height - 6.0)], Pen::Grid, 1.0);
        }
        for (i, part) in parts.rows.iter().enumerate() {
            let y = TOP + i as f64 * ROW;
            canvas.text((4.0, y + 5.0), &part.what, Type::plain(Align::Start).bold());
            let ways = [
                ("along", Some(part.along_m), Pen::Run),
                ("across", part.across_m, Pen::Second),
            ];
            for (k, (word, size, pen)) in ways.into_iter().enumerate() {
                let Some(size) = size else { continue };
                let y = y + 24.0 + k as f64 * (BAR + 3.0);
                let end = LEFT + 100.0 * size * scale;
                canvas.text((LEFT - 8.0, y), word, Type::small(Align::End));
                canvas.block(
                    (LEFT, y - BAR / 2.0),
                    (end.max(LEFT + 1.0), y + BAR / 2.0),
                    pen,
                    0.85,
                );
                canvas.text(
                    (end + 7.0, y),
                    &small_cm(size),
                    Type::small(Align::Start).pen(Pen::Ink),
                );
            }
        }
    })
}

/// A size in metres as centimetres with the unit: to the millimetre below 10 cm, to the centimetre above.
pub fn small_cm(size_m: f64) -> String {
    let cm = 100.0 * size_m;
    if cm < 0.05 {
        "under 0.1 cm".to_string()
    } else if cm < 9.95 {
        format!("{} cm", crate::units::decimals(cm, 1))
    } else {
        format!("{} cm", crate::units::decimals(cm, 0))
    }
}
