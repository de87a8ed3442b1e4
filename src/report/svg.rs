//! The shared look of every figure, and the only door to plotters.
//!
//! Figures are plotters charts (`ChartBuilder`, `configure_mesh`, `draw_series`) on a backend of our own,
//! [`ThemedSvg`]: they come out once to stand inside a page, in the page's colours, and once as a file on white paper.
//! plotters works in whole pixels (plotters-rs/plotters#128), so its pixel is a tenth of a figure's unit, which is about
//! a pixel on a wide screen: [`px`] and [`pen`] go from the one to the other. Numbers that are not finite are refused by
//! the [`Axis`] that they are drawn along.

mod axis;
mod backend;
pub mod theme;

use crate::error::Error;
pub use axis::{Axis, Span, round_step};
pub use backend::ThemedSvg;
use backend::{Painted, escaped, text_ems};
use plotters::chart::ChartContext;
use plotters::coord::Shift;
use plotters::coord::cartesian::Cartesian2d;
use plotters::drawing::{DrawingArea, DrawingAreaErrorKind};
use std::cell::{Cell, RefCell};
use std::convert::Infallible;
use std::fmt::Write;
use std::rc::Rc;

/// plotters' pixels to one unit of a figure.
const FINER: f64 = 10.0;
/// Width of every figure, so that text is equally large in all of them; small enough to be read on a phone.
pub const WIDTH: f64 = 400.0;
/// Largest height of a figure, figure units.
pub const HEIGHT_MAX: f64 = 10_000.0;

/// A part of a figure that plotters draws on.
pub type Area = DrawingArea<ThemedSvg, Shift>;
/// A chart on it.
pub type Chart<'a> = ChartContext<'a, ThemedSvg, Cartesian2d<Axis, Axis>>;
/// What drawing gives: plotters passes on what its backend says, and writing into memory cannot fail.
pub type Drawn = Result<(), DrawError>;
/// An error of drawing, which can only be a layout that plotters does not take.
pub type DrawError = DrawingAreaErrorKind<Infallible>;

/// A length of a figure in plotters' pixels.
pub fn px(length: f64) -> i32 {
    // `as` saturates.
    (FINER * length).round() as i32
}

/// A width of a line in plotters' pixels.
pub fn pen(width: f64) -> u32 {
    px(width).max(1).unsigned_abs()
}

/// A position of plotters' pixels in units of the figure.
pub fn units_of(pixels: i32) -> f64 {
    f64::from(pixels) / FINER
}

/// About how wide a text of a height comes out, on the wide side; for leaving room, never for meaning.
pub fn text_width(text: &str, size: f64) -> f64 {
    size * text_ems(text, false)
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
        self.painted
            .write(&mut out, |rgb, out| match theme::variable(rgb) {
                Some(name) => {
                    let _ = write!(out, "var(--{name})");
                }
                None => hex(rgb, out),
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
        self.painted.write(&mut out, hex);
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

fn hex((r, g, b): (u8, u8, u8), out: &mut String) {
    // Writing into a string cannot fail.
    let _ = write!(out, "#{r:02x}{g:02x}{b:02x}");
}

/// What a figure is drawn on.
pub struct Sheet {
    /// All of it, for plotters.
    pub area: Area,
    /// Set when a number that is not finite was to be drawn.
    strange: Rc<Cell<bool>>,
}

impl Sheet {
    /// An axis over a span with about `ticks` round numbers beside it (none with 0).
    pub fn axis(&self, span: Span, ticks: usize) -> Axis {
        Axis::new(span, ticks, Rc::clone(&self.strange))
    }

    /// An axis over a span of what is counted, with about `ticks` whole numbers beside it (none with 0).
    pub fn counting_axis(&self, span: Span, ticks: usize) -> Axis {
        Axis::counting(span, ticks, Rc::clone(&self.strange))
    }

    /// The part of it between two heights, as wide as the figure.
    pub fn between(&self, top: f64, bottom: f64) -> Area {
        let height = px(bottom - top);
        let area = self.area.clone();
        area.shrink((0, px(top)), (px(WIDTH), height))
    }
}

/// Draws a figure [`WIDTH`] wide.
///
/// * `name` — file name without its end; also makes the ids inside a page, so it must be unique there
/// * `title`, `description` — plain text, what it shows and what is to be seen in it
/// * `height` — figure units; at most [`HEIGHT_MAX`]
///
/// # Errors
/// [`Error::Internal`] when something to be drawn is not a finite number.
pub fn draw(
    name: &str,
    title: &str,
    description: &str,
    height: f64,
    paint: impl FnOnce(&Sheet) -> Drawn,
) -> Result<Figure, Error> {
    let doing = || format!("drawing {name}");
    let size = (pen(WIDTH), pen(height.clamp(10.0, HEIGHT_MAX)));
    let backend = Rc::new(RefCell::new(ThemedSvg::new(size)));
    let sheet = Sheet {
        area: Area::from(&backend),
        strange: Rc::new(Cell::new(!height.is_finite())),
    };
    paint(&sheet).map_err(|cause| Error::internal(doing(), cause))?;
    if sheet.strange.get() {
        return Err(Error::internal(
            doing(),
            "a number to be drawn is not finite",
        ));
    }
    Ok(Figure {
        title: title.to_string(),
        description: description.to_string(),
        name: name.to_string(),
        size,
        painted: backend.replace(ThemedSvg::new(size)).done(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use plotters::chart::ChartBuilder;
    use plotters::element::{Rectangle, Text};
    use plotters::series::LineSeries;
    use plotters::style::{Color, IntoFont, RGBColor};
    use theme::{LINE, RUN};

    const UNIT: Span = Span { from: 0.0, to: 1.0 };

    fn probe(x: f64, text: &str) -> Result<Figure, Error> {
        draw("probe", "A <title>", "It's \"seen\"", 100.0, |on| {
            let (x_axis, y_axis) = (on.axis(UNIT, 2), on.axis(UNIT, 2));
            let mut chart = ChartBuilder::on(&on.area).build_cartesian_2d(x_axis, y_axis)?;
            chart.draw_series(LineSeries::new([(x, 0.5), (1.0, 0.75)], LINE))?;
            let block = Rectangle::new([(0.0, 0.0), (0.5, 0.5)], RUN.mix(0.5).filled());
            chart.draw_series([block])?;
            let odd = Rectangle::new([(0.0, 0.0), (0.5, 0.5)], RGBColor(1, 2, 3).filled());
            chart.draw_series([odd])?;
            let font = ("sans-serif", 120).into_font();
            chart.draw_series([Text::new(text.to_string(), (0.0, 0.0), font)])?;
            Ok(())
        })
    }

    #[test]
    fn a_number_that_is_not_finite_is_refused() {
        assert!(probe(0.25, "").is_ok());
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(matches!(probe(bad, ""), Err(Error::Internal { .. })));
            let span = Span { from: 0.0, to: bad };
            let drawn = draw("axis", "", "", 100.0, |on| {
                on.axis(span, 5);
                Ok(())
            });
            assert!(matches!(drawn, Err(Error::Internal { .. })));
        }
    }

    #[test]
    fn colours_become_the_theme_inside_and_stay_themselves_in_the_file() {
        let figure = probe(0.25, "").unwrap();
        let (inline, file) = (figure.inline(), figure.file());
        assert!(inline.contains("fill=\"var(--run)\" fill-opacity=\"0.5\""));
        assert!(inline.contains("stroke=\"var(--line)\""));
        assert!(inline.contains("fill=\"#010203\""));
        assert!(file.contains("fill=\"#1d63a5\"") && file.contains("stroke=\"#b8480b\""));
        assert!(!file.contains("var("));
    }

    #[test]
    fn text_stays_text_and_cannot_become_markup() {
        let evil = "<script>&\"' opacity=\"1\"";
        let figure = probe(0.25, evil).unwrap();
        for text in [figure.inline(), figure.file()] {
            assert!(!text.contains("<script"));
            assert!(text.contains(">&lt;script&gt;&amp;&quot;&#39; opacity=&quot;1&quot;</text>"));
            assert!(text.contains("A &lt;title&gt;</title>"));
        }
    }
}
