//! How many runs went wrong, and how.

use crate::error::Error;
use crate::report::svg::{self, Align, Figure, Mark, Pen, Type, WIDTH, text_width};
use crate::report::words;

/// Launches by what became of them.
#[derive(Debug, Clone)]
pub struct Wrong {
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

/// Draws it.
///
/// # Errors
/// As [`svg::draw`].
pub fn draw(name: &str, view: &Wrong) -> Result<Figure, Error> {
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
        for (i, kind) in cells.iter().enumerate() {
            let x = 8.0 + (i % PER_LINE) as f64 * CELL;
            let y = TOP + (i / PER_LINE) as f64 * CELL;
            sign(canvas, *kind, (x, y));
        }
        for (row, (kind, n)) in all.iter().enumerate() {
            let y = grid_foot + 24.0 + row as f64 * ROW / 2.0;
            sign(canvas, *kind, (8.0, y - CELL / 2.0 + 1.0));
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

/// One square with the sign of its kind in it.
fn sign(canvas: &mut svg::Canvas, kind: Option<usize>, (x, y): (f64, f64)) {
    let side = CELL - 4.0;
    let centre = (x + side / 2.0, y + side / 2.0);
    match kind {
        None => canvas.block((x, y), (x + side, y + side), Pen::Run, 0.22),
        Some(kind) => {
            canvas.block((x, y), (x + side, y + side), Pen::Warn, 0.16);
            let marks = [Mark::Cross, Mark::Triangle, Mark::Diamond, Mark::Ring];
            canvas.mark(centre, marks[kind % 4], 4.2, Pen::Warn);
        }
    }
}
