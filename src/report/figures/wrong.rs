//! How many runs went wrong, and how.

use crate::error::Error;
use crate::report::svg::{self, Align, Figure, Mark, Pen, Type, WIDTH, text_width};
use crate::report::words;

/// Launches by what became of them.
#[derive(Debug, Clone)]
pub struct WrongView {
    /// All launches.
    pub launches: usize,
    /// Each kind: its words and how many.
    pub kinds: Vec<(String, usize)>,
}

const TOP: f64 = 12.0;
const ROW: f64 = 46.0;
/// A square for every launch up to this many; beyond, each stands for several.
const SQUARES_MAX: usize = 200;
const PER_LINE: usize = 25;
const CELL: f64 = 18.0;

/// Draws one square a launch (or for several), by what became of them.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, view: &WrongView) -> Result<Figure, Error> {
    let each = view.launches.div_ceil(SQUARES_MAX).max(1);
    let wrong: usize = view.kinds.iter().map(|k| k.1).sum();
    let kinds = view.kinds.iter().enumerate().map(|(i, k)| (Some(i), k.1));
    let all: Vec<(Option<usize>, usize)> =
        std::iter::once((None, view.launches.saturating_sub(wrong)))
            .chain(kinds)
            .collect();
    let cells: Vec<Option<usize>> = all
        .iter()
        .flat_map(|&(kind, n)| std::iter::repeat_n(kind, n.div_ceil(each)))
        .collect();
    let lines = cells.len().div_ceil(PER_LINE).max(1);
    let title = "How many runs went wrong, and how";
    let said: Vec<String> = view
        .kinds
        .iter()
        .map(|(word, n)| format!("{word}: {n}"))
        .collect();
    let description = format!(
        "One square for every {} of {} launches. {}.",
        words::count(each, "launch", "launches"),
        view.launches,
        said.join("; ")
    );
    let grid_foot = TOP + lines as f64 * CELL;
    let height = grid_foot + 20.0 + (view.kinds.len() + 1) as f64 * ROW / 2.0 + 6.0;
    svg::draw(name, title, &description, height, |canvas| {
        let at = |i: usize| {
            let (line, place) = (i / PER_LINE, i % PER_LINE);
            (8.0 + place as f64 * CELL, TOP + line as f64 * CELL)
        };
        for (i, kind) in cells.iter().enumerate() {
            square(canvas, *kind, at(i));
        }
        for (i, kind) in cells.iter().enumerate() {
            sign(canvas, *kind, at(i));
        }
        for (row, (kind, n)) in all.iter().enumerate() {
            let y = grid_foot + 24.0 + row as f64 * ROW / 2.0;
            let corner = (8.0, y - CELL / 2.0 + 1.0);
            square(canvas, *kind, corner);
            sign(canvas, *kind, corner);
            let word = kind.map_or("went as it should", |k| view.kinds[k].0.as_str());
            let words = format!("{n} {word}");
            canvas.text((34.0, y), &words, Type::plain(Align::Start));
            if kind.is_some() && *n > 0 {
                let x = 34.0 + text_width(&words, svg::TEXT) + 8.0;
                let part = words::one_in(*n, view.launches);
                if x + text_width(&part, svg::SMALL_TEXT) < WIDTH {
                    canvas.text((x, y), &part, Type::small(Align::Start));
                }
            }
        }
    })
}

const SIDE: f64 = CELL - 4.0;

/// One square of its kind.
fn square(canvas: &mut svg::Canvas, kind: Option<usize>, (x, y): (f64, f64)) {
    let (pen, opacity) = match kind {
        None => (Pen::Run, 0.22),
        Some(_) => (Pen::Warn, 0.16),
    };
    canvas.block((x, y), (x + SIDE, y + SIDE), pen, opacity);
}

/// The sign of what went wrong in a square.
fn sign(canvas: &mut svg::Canvas, kind: Option<usize>, (x, y): (f64, f64)) {
    if let Some(kind) = kind {
        let marks = [Mark::Cross, Mark::Triangle, Mark::Diamond, Mark::Ring];
        let centre = (x + SIDE / 2.0, y + SIDE / 2.0);
        canvas.mark(centre, marks[kind % 4], 4.2, Pen::Warn);
    }
}
