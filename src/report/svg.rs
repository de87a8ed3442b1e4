//! The shared look of every figure, and the only door to plotters.
//!
//! A figure is drawn in its own units (about a pixel on a wide screen; text is 13 high) and comes out twice: once to
//! stand inside a page, in the page's colours, and once as a file of its own on white paper. plotters knows neither
//! themes nor dashes and works in whole pixels, so a figure is drawn `FINER` times larger, each [`Pen`] under a
//! stand-in colour, and `backend` writes the pens out. Numbers that are not finite are refused here.

mod backend;
mod pen;

use crate::error::Error;
use backend::{Backend, Painted, escaped};
pub use pen::Pen;
use plotters::backend::DrawingBackend;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{FontDesc, FontFamily, FontStyle, ShapeStyle, TextStyle};
use std::fmt::Write;

/// plotters rounds to whole pixels (plotters-rs/plotters#128): at four times the size curves stay smooth.
const FINER: f64 = 4.0;
/// A point farther out than this many of plotters' pixels is drawn there: far outside either way, and a legal number.
const FAR: f64 = 1e8;
/// Width of every figure, so that text is equally large in all of them.
pub const WIDTH: f64 = 460.0;
/// Largest height of a figure, figure units.
pub const HEIGHT_MAX: f64 = 10_000.0;
/// Height of ordinary text in a figure.
pub const TEXT: f64 = 13.0;
/// Height of remarks.
pub const SMALL_TEXT: f64 = 11.5;
/// Width of a letter of ordinary text as a part of its height: on the wide side for sans-serif fonts.
const LETTER: f64 = 0.56;

/// The shape of a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// A full circle.
    Dot,
    /// An empty circle.
    Ring,
    /// A full square standing on a corner.
    Diamond,
    /// A triangle, point up.
    Triangle,
    /// A full square.
    Square,
    /// An x.
    Cross,
}

impl Mark {
    /// The mark for one of several kinds side by side; beyond four kinds marks repeat.
    pub fn for_kind(kind: usize) -> Mark {
        [Mark::Dot, Mark::Diamond, Mark::Triangle, Mark::Square][kind % 4]
    }
}

/// Which end or middle of a text stands at its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// The text starts there.
    Start,
    /// The text is centred there.
    Middle,
    /// The text ends there.
    End,
}

/// How a text is set.
#[derive(Debug, Clone, Copy)]
pub struct Type {
    /// Its height.
    pub size: f64,
    /// Its colour.
    pub pen: Pen,
    /// Which part of it stands at the point.
    pub align: Align,
    /// Whether it is bold.
    pub bold: bool,
}

impl Type {
    /// Ordinary text.
    pub const fn plain(align: Align) -> Self {
        Type {
            size: TEXT,
            pen: Pen::Ink,
            align,
            bold: false,
        }
    }

    /// Remarks and the numbers of an axis.
    pub const fn small(align: Align) -> Self {
        Type {
            size: SMALL_TEXT,
            pen: Pen::Soft,
            align,
            bold: false,
        }
    }

    /// This type with another pen.
    pub const fn pen(self, pen: Pen) -> Self {
        Type { pen, ..self }
    }

    /// This type in bold.
    pub const fn bold(self) -> Self {
        Type { bold: true, ..self }
    }
}

/// About how wide a text comes out; for leaving room, never for meaning.
pub fn text_width(text: &str, size: f64) -> f64 {
    text.chars().count() as f64 * LETTER * size
}

/// A finished figure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    /// What it shows, as its heading says.
    pub title: String,
    /// What is to be seen in it, for those who cannot see it.
    pub description: String,
    name: String,
    /// Width and height in plotters' pixels.
    size: (u32, u32),
    painted: Painted,
}

impl Figure {
    /// The `<svg>` for inside a page, in the page's colours.
    pub fn inline(&self) -> String {
        let mut out = String::new();
        self.head(&mut out, "class=\"figure\"");
        self.painted.write(&mut out, |pen, out| {
            out.push_str("var(--");
            out.push_str(pen.look().name);
            out.push(')');
        });
        out.push_str("\n</svg>");
        out
    }

    /// The figure as a file of its own, on white.
    pub fn file(&self) -> String {
        let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
        let size = format!(
            "width=\"{}\" height=\"{}\"",
            f64::from(self.size.0) / FINER,
            f64::from(self.size.1) / FINER
        );
        self.head(&mut out, &size);
        out.push_str("<rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n");
        self.painted
            .write(&mut out, |pen, out| out.push_str(pen.look().on_white));
        out.push_str("\n</svg>\n");
        out
    }

    /// The opening tag with some attributes of its own, and what the figure shows in words.
    fn head(&self, out: &mut String, extra: &str) {
        let ((width, height), name) = (self.size, &self.name);
        // Writing into a string cannot fail.
        let _ = write!(
            out,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" {extra} role=\"img\" aria-labelledby=\"{name}-title {name}-desc\" font-family=\"system-ui, sans-serif\">\n<title id=\"{name}-title\">"
        );
        escaped(&self.title, out);
        let _ = write!(out, "</title>\n<desc id=\"{name}-desc\">");
        escaped(&self.description, out);
        out.push_str("</desc>\n");
    }
}

/// What a figure is drawn on. Points are in figure units from the upper left corner.
pub struct Canvas {
    backend: Backend,
    not_finite: Option<&'static str>,
    /// The points of one shape, kept for the next.
    points: Vec<(i32, i32)>,
}

impl Canvas {
    fn pixel(&mut self, (x, y): (f64, f64), what: &'static str) -> (i32, i32) {
        if !(x.is_finite() && y.is_finite()) {
            self.not_finite = Some(what);
            return (0, 0);
        }
        (pixels(x), pixels(y))
    }

    /// Points as plotters takes them, without those that change nothing; to be given back to `self.points`.
    fn pixels(&mut self, points: &[(f64, f64)], what: &'static str) -> Vec<(i32, i32)> {
        let mut kept = std::mem::take(&mut self.points);
        kept.clear();
        for &point in points {
            let at = self.pixel(point, what);
            if kept.last() == Some(&at) {
                continue;
            }
            // A corner on the straight line between its neighbours changes nothing.
            if let [.., a, b] = kept[..]
                && straight_on(a, b, at)
            {
                kept.pop();
            }
            kept.push(at);
        }
        kept
    }

    /// A line through points.
    pub fn line(&mut self, points: &[(f64, f64)], pen: Pen, width: f64) {
        let points = self.pixels(points, "a line");
        let style = stroke(pen, width, 1.0);
        // Writing into memory cannot fail; plotters only passes on what its backend says.
        let _ = self.backend.draw_path(points.iter().copied(), &style);
        self.points = points;
    }

    /// An area with corners at points.
    pub fn area(&mut self, points: &[(f64, f64)], pen: Pen, opacity: f64) {
        let points = self.pixels(points, "an area");
        let style = stroke(pen, 1.0, opacity);
        let _ = self.backend.fill_polygon(points.iter().copied(), &style);
        self.points = points;
    }

    /// A full rectangle between two corners.
    pub fn block(&mut self, from: (f64, f64), to: (f64, f64), pen: Pen, opacity: f64) {
        let low = (from.0.min(to.0), from.1.min(to.1));
        let high = (from.0.max(to.0), from.1.max(to.1));
        let (a, b) = (self.pixel(low, "a block"), self.pixel(high, "a block"));
        let _ = self
            .backend
            .draw_rect(a, b, &stroke(pen, 1.0, opacity), true);
    }

    /// A circle, as an outline of a width or full.
    pub fn circle(&mut self, centre: (f64, f64), radius: f64, pen: Pen, outline: Option<f64>) {
        self.circle_with_opacity(centre, radius, pen, outline, 1.0);
    }

    /// A full circle of an opacity.
    pub fn disc(&mut self, centre: (f64, f64), radius: f64, pen: Pen, opacity: f64) {
        self.circle_with_opacity(centre, radius, pen, None, opacity);
    }

    fn circle_with_opacity(
        &mut self,
        centre: (f64, f64),
        radius: f64,
        pen: Pen,
        outline: Option<f64>,
        opacity: f64,
    ) {
        let at = self.pixel(centre, "a circle");
        if !radius.is_finite() {
            self.not_finite = Some("a circle");
            return;
        }
        let style = stroke(pen, outline.unwrap_or(1.0), opacity);
        let radius = pixels(radius).max(1).unsigned_abs();
        let _ = self
            .backend
            .draw_circle(at, radius, &style, outline.is_none());
    }

    /// A mark of about `radius`.
    pub fn mark(&mut self, at: (f64, f64), mark: Mark, radius: f64, pen: Pen) {
        let (x, y) = at;
        let r = radius;
        match mark {
            Mark::Dot => self.circle(at, r, pen, None),
            Mark::Ring => self.circle(at, r, pen, Some(1.4)),
            Mark::Diamond => {
                let r = 1.25 * r;
                self.area(&[(x, y - r), (x + r, y), (x, y + r), (x - r, y)], pen, 1.0);
            }
            Mark::Triangle => {
                let r = 1.3 * r;
                self.area(
                    &[(x, y - r), (x + r, y + 0.8 * r), (x - r, y + 0.8 * r)],
                    pen,
                    1.0,
                );
            }
            Mark::Square => {
                let r = 0.9 * r;
                self.block((x - r, y - r), (x + r, y + r), pen, 1.0);
            }
            Mark::Cross => {
                self.line(&[(x - r, y - r), (x + r, y + r)], pen, 1.8);
                self.line(&[(x - r, y + r), (x + r, y - r)], pen, 1.8);
            }
        }
    }

    /// A text whose middle height is at the point.
    pub fn text(&mut self, at: (f64, f64), text: &str, how: Type) {
        let at = self.pixel(at, "a text");
        let h = match how.align {
            Align::Start => HPos::Left,
            Align::Middle => HPos::Center,
            Align::End => HPos::Right,
        };
        let style = if how.bold {
            FontStyle::Bold
        } else {
            FontStyle::Normal
        };
        let font = FontDesc::new(FontFamily::SansSerif, how.size * FINER, style);
        let color = how.pen.stand_in(1.0);
        let style = TextStyle::from(font)
            .color(&color)
            .pos(Pos::new(h, VPos::Center));
        let _ = self.backend.draw_text(text, &style, at);
    }
}

/// Whether `b` lies on the straight way from `a` on to `c`.
fn straight_on(a: (i32, i32), b: (i32, i32), c: (i32, i32)) -> bool {
    let by = |from: i32, to: i32| i64::from(to) - i64::from(from);
    let step = |from: (i32, i32), to: (i32, i32)| (by(from.0, to.0), by(from.1, to.1));
    let (first, second) = (step(a, b), step(b, c));
    // No point is farther out than `FAR`: products stay far below the largest number.
    first.0 * second.1 == first.1 * second.0 && first.0 * second.0 + first.1 * second.1 > 0
}

/// A length in plotters' pixels, halves away from zero.
fn pixels(length: f64) -> i32 {
    let exact = (length * FINER).clamp(-FAR, FAR);
    // `as` cuts off; rounding first would take a call.
    (exact + 0.5_f64.copysign(exact)) as i32
}

/// A pen of a width, as plotters asks for it.
fn stroke(pen: Pen, width: f64, opacity: f64) -> ShapeStyle {
    ShapeStyle {
        color: pen.stand_in(opacity),
        filled: false,
        stroke_width: pixels(width).max(1).unsigned_abs(),
    }
}

/// Draws a figure [`WIDTH`] wide.
///
/// * `name` — file name without its end; also makes the ids inside a page, so it must be unique there
/// * `title`, `description` — plain text, what it shows and what is to be seen in it
///
/// # Errors
/// [`Error::Internal`] when something to be drawn is not a finite number.
pub fn draw(
    name: &str,
    title: &str,
    description: &str,
    height: f64,
    paint: impl FnOnce(&mut Canvas),
) -> Result<Figure, Error> {
    let size = (
        (WIDTH * FINER) as u32,
        (height.clamp(10.0, HEIGHT_MAX) * FINER).round() as u32,
    );
    let mut canvas = Canvas {
        backend: Backend::new(size),
        not_finite: (!height.is_finite()).then_some("its height"),
        points: Vec::new(),
    };
    paint(&mut canvas);
    if let Some(what) = canvas.not_finite {
        return Err(Error::internal(
            format!("drawing {name}"),
            format!("{what} is not a finite number"),
        ));
    }
    Ok(Figure {
        title: title.to_string(),
        description: description.to_string(),
        name: name.to_string(),
        size,
        painted: canvas.backend.done(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(x: f64, text: &str) -> Result<Figure, Error> {
        draw("probe", "A <title>", "It's \"seen\"", 100.0, |canvas| {
            canvas.line(&[(x, 10.0), (60.0, 20.0)], Pen::Limit, 2.0);
            canvas.block((1.0, 2.0), (3.0, 4.0), Pen::Run, 0.5);
            canvas.text((5.0, 5.0), text, Type::plain(Align::Start));
        })
    }

    #[test]
    fn a_number_that_is_not_finite_is_refused() {
        assert!(square(1.0, "").is_ok());
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(matches!(square(bad, ""), Err(Error::Internal { .. })));
        }
    }

    #[test]
    fn pens_become_theme_colours_inside_and_fixed_ones_in_the_file() {
        let figure = square(1.0, "").unwrap();
        let (inline, file) = (figure.inline(), figure.file());
        assert!(inline.contains("fill=\"var(--run)\""));
        assert!(inline.contains("stroke=\"var(--line)\""));
        assert!(inline.contains("stroke-dasharray=\"28 20\""));
        assert!(file.contains(&format!("fill=\"{}\"", Pen::Run.look().on_white)));
        assert!(!file.contains("var("));
    }

    #[test]
    fn text_stays_text_and_cannot_become_markup() {
        let evil = "<script>&\"' opacity=\"1\"";
        let figure = square(1.0, evil).unwrap();
        for text in [figure.inline(), figure.file()] {
            assert!(!text.contains("<script"));
            assert!(text.contains(">&lt;script&gt;&amp;&quot;&#39; opacity=&quot;1&quot;</text>"));
            assert!(text.contains("A &lt;title&gt;</title>"));
        }
    }
}
