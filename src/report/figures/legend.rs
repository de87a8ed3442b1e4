//! What the marks of a figure stand for, in rows that never run out of the figure.

use crate::report::svg::{Align, Canvas, Mark, Pen, SMALL_TEXT, Type, WIDTH, text_width};

/// What stands before a word of the legend.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sign {
    /// A mark.
    Mark(Mark, Pen),
    /// A piece of line.
    Line(Pen),
    /// A piece of band.
    Band(Pen, f64),
}

/// Words longer than this are cut.
const WORD_MAX: usize = 44;
const ROW: f64 = 18.0;
const SIGN_WIDTH: f64 = 20.0;
const GAP: f64 = 14.0;
const LEFT: f64 = 4.0;

/// A legend, laid out in rows.
#[derive(Debug, Clone)]
pub struct Legend {
    rows: Vec<Vec<(Sign, String, f64)>>,
}

impl Legend {
    /// Lays out signs and their words.
    pub fn new(items: impl IntoIterator<Item = (Sign, String)>) -> Self {
        let mut rows: Vec<Vec<(Sign, String, f64)>> = Vec::new();
        let mut x = f64::INFINITY;
        for (sign, word) in items {
            let mut word = word;
            if word.chars().count() > WORD_MAX {
                word = word.chars().take(WORD_MAX - 1).collect::<String>() + "…";
            }
            let width = SIGN_WIDTH + text_width(&word, SMALL_TEXT);
            if x + width > WIDTH - LEFT {
                rows.push(Vec::new());
                x = LEFT;
            }
            if let Some(row) = rows.last_mut() {
                row.push((sign, word, x));
            }
            x += width + GAP;
        }
        Legend { rows }
    }

    /// The height it takes.
    pub fn height(&self) -> f64 {
        self.rows.len() as f64 * ROW
    }

    /// Draws it from `top` down.
    pub fn draw(&self, canvas: &mut Canvas, top: f64) {
        for (i, row) in self.rows.iter().enumerate() {
            let y = top + (i as f64 + 0.5) * ROW;
            for (sign, word, x) in row {
                match *sign {
                    Sign::Mark(mark, pen) => canvas.mark((x + 7.0, y), mark, 4.0, pen),
                    Sign::Line(pen) => canvas.line(&[(*x, y), (x + 15.0, y)], pen, 2.0),
                    Sign::Band(pen, opacity) => {
                        canvas.block((*x, y - 5.0), (x + 15.0, y + 5.0), pen, opacity);
                    }
                }
                canvas.text(
                    (x + SIGN_WIDTH, y),
                    word,
                    Type::small(Align::Start).pen(Pen::Ink),
                );
            }
        }
    }
}
