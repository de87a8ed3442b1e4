//! How many runs went wrong, and how.

use super::entry::{About, Entry, Plate, ReaderQuestion, row};
use super::marks::{Mark, Shape};
use super::style::{SMALL, START, TEXT, plain, small};
use crate::error::Error;
use crate::report::svg::theme::{INK, RUN, SOFT, WARN};
use crate::report::svg::{self, Area, Drawn, Figure, Sheet, WIDTH, px, text_width};
use crate::report::words;
use plotters::element::Rectangle;
use plotters::style::Color;

/// How many runs went wrong.
pub const FIGURE: Entry = Entry {
    name: "wrong",
    question: ReaderQuestion::Wrong,
    tell,
};

const TITLE: &str = "How many runs went wrong, and how";

/// Launches by what became of them.
#[derive(Debug, Clone)]
pub struct WrongView {
    /// All launches.
    pub launches: usize,
    /// Each kind: its words and how many.
    pub kinds: Vec<(String, usize)>,
}

fn tell(about: &About, name: &str) -> Result<Option<Plate>, Error> {
    if about.story().is_none() {
        return Ok(None);
    }
    let known = about.rig.situation.rig;
    let counts = known.counts;
    let view = WrongView {
        launches: counts.launches,
        kinds: vec![
            ("void".to_string(), counts.void),
            ("touched the obstacle".to_string(), counts.touched),
            ("rolled back".to_string(), counts.recoiled),
        ],
    };
    let wrong = counts.void + counts.touched + counts.recoiled;
    let caption = match (counts.launches, wrong) {
        (0, _) => "The log has no launches.".to_string(),
        (launches, 0) => format!(
            "None of {} went wrong.",
            words::count(launches, "launch", "launches")
        ),
        (launches, wrong) => format!(
            "Of {}, {} went wrong ({}). That can happen at the event too, and no distance above allows for it{}. {}",
            words::count(launches, "launch", "launches"),
            wrong,
            words::one_in(wrong, launches),
            match counts.rolled_back {
                0 => "",
                _ => ", but for rolling back with the lead in use",
            },
            square_said(launches)
        ),
    };
    let mut rows = Vec::new();
    if counts.load_noted > 0 {
        rows.push(row(
            "loads broken",
            format!("{} of {} noted", counts.load_broken, counts.load_noted),
        ));
    }
    rows.push(row(
        "set aside by the program",
        known.set_aside.len().to_string(),
    ));
    if wrong == 0 {
        // Squares that are all alike say no more than the sentence.
        return Ok(Some(Plate {
            title: TITLE.to_string(),
            caption,
            rows,
            ..Plate::default()
        }));
    }
    Ok(Some(Plate {
        rows,
        ..Plate::new(draw(name, &view)?, caption)
    }))
}

/// What one square stands for.
fn square_said(launches: usize) -> String {
    match Grid::for_launches(launches).each {
        1 => "One square is one launch.".to_string(),
        each => format!("One square is {each} launches, or what is left of them."),
    }
}

/// How squares are laid out.
struct Grid {
    /// Launches to a square.
    each: usize,
    /// Squares in a row.
    across: usize,
    /// From one square to the next.
    cell: f64,
}

impl Grid {
    /// A square for every launch up to a thousand, in rows the longer the more they are; beyond, each stands for several.
    fn for_launches(launches: usize) -> Grid {
        const SQUARES_MAX: usize = 1000;
        let across = if launches <= 160 { 25 } else { 50 };
        Grid {
            each: launches.div_ceil(SQUARES_MAX).max(1),
            across,
            cell: (WIDTH - 2.0 * LEFT) / across as f64,
        }
    }

    fn corner(&self, i: usize) -> (f64, f64) {
        let (line, place) = (i / self.across, i % self.across);
        (
            LEFT + place as f64 * self.cell,
            TOP + line as f64 * self.cell,
        )
    }
}

const LEFT: f64 = 6.0;
const TOP: f64 = 8.0;
/// Height of a row of the list below.
const ROW: f64 = 23.0;
/// Side of a square in the list.
const LISTED: f64 = 16.0;

/// Draws one square a launch (or for several), by what became of them.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, view: &WrongView) -> Result<Figure, Error> {
    let grid = Grid::for_launches(view.launches);
    let wrong: usize = view.kinds.iter().map(|k| k.1).sum();
    let kinds = view.kinds.iter().enumerate().map(|(i, k)| (Some(i), k.1));
    let all: Vec<(Option<usize>, usize)> =
        std::iter::once((None, view.launches.saturating_sub(wrong)))
            .chain(kinds)
            .collect();
    let cells: Vec<Option<usize>> = all
        .iter()
        .flat_map(|&(kind, n)| std::iter::repeat_n(kind, n.div_ceil(grid.each)))
        .collect();
    let lines = cells.len().div_ceil(grid.across).max(1);
    let said: Vec<String> = view
        .kinds
        .iter()
        .map(|(word, n)| format!("{word}: {n}"))
        .collect();
    let description = format!(
        "{} {} launches. {}.",
        square_said(view.launches),
        view.launches,
        said.join("; ")
    );
    let foot = TOP + lines as f64 * grid.cell;
    let height = foot + 10.0 + all.len() as f64 * ROW + 4.0;
    svg::draw(name, TITLE, &description, height, |on| {
        let corners = || {
            cells
                .iter()
                .enumerate()
                .map(|(i, kind)| (*kind, grid.corner(i)))
        };
        for (kind, corner) in corners() {
            square(&on.area, kind, corner, grid.cell)?;
        }
        for (kind, corner) in corners() {
            sign(&on.area, kind, corner, grid.cell)?;
        }
        for (i, (kind, n)) in all.iter().enumerate() {
            listed(on, view, (*kind, *n), foot + 20.0 + i as f64 * ROW)?;
        }
        Ok(())
    })
}

/// A row of the list: a square of the kind, how many, and how often that is.
fn listed(on: &Sheet, view: &WrongView, (kind, n): (Option<usize>, usize), y: f64) -> Drawn {
    let corner = (LEFT, y - LISTED / 2.0 + 1.0);
    square(&on.area, kind, corner, LISTED)?;
    sign(&on.area, kind, corner, LISTED)?;
    let word = kind.map_or("went as it should", |k| view.kinds[k].0.as_str());
    let words = format!("{} {word}", words::grouped(n));
    on.area
        .draw_text(&words, &plain(INK, START), (px(30.0), px(y)))?;
    if kind.is_some() && n > 0 {
        let x = 30.0 + text_width(&words, TEXT) + 8.0;
        let part = words::one_in(n, view.launches);
        if x + text_width(&part, SMALL) < WIDTH {
            on.area
                .draw_text(&part, &small(SOFT, START), (px(x), px(y)))?;
        }
    }
    Ok(())
}

/// One square of its kind.
fn square(area: &Area, kind: Option<usize>, (x, y): (f64, f64), cell: f64) -> Drawn {
    let style = match kind {
        None => RUN.mix(0.22),
        Some(_) => WARN.mix(0.16),
    };
    let side = 0.8 * cell;
    let corners = [(px(x), px(y)), (px(x + side), px(y + side))];
    area.draw(&Rectangle::new(corners, style.filled()))
}

/// The sign of what went wrong in a square.
fn sign(area: &Area, kind: Option<usize>, (x, y): (f64, f64), cell: f64) -> Drawn {
    let Some(kind) = kind else { return Ok(()) };
    let shape = [Shape::Cross, Shape::Triangle, Shape::Diamond, Shape::Ring][kind % 4];
    let middle = (px(x + 0.4 * cell), px(y + 0.4 * cell));
    area.draw(&Mark::new(middle, shape, 0.25 * cell, WARN))
}
