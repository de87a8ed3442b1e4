//! What plotters draws on: a backend that writes SVG in few bytes and leaves the theme open.
//!
//! * Where a colour belongs it is noted as plotters gave it, so that one drawing comes out twice: in the page's colours
//!   (the variables of `theme`) and in its own, on white paper.
//! * Consecutive shapes of one look become one path, points are written relative to the point before, corners on a
//!   straight line are left out, and so are defaults.
//! * Text stays text, in the font of the page around it.

use crate::units::whole as number;
use plotters_backend::text_anchor::{HPos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind,
    FontStyle, FontTransform,
};
use std::convert::Infallible;
use std::fmt::Write;

/// A colour as plotters hands it over.
pub(super) type Rgb = (u8, u8, u8);

type Done = Result<(), DrawingErrorKind<Infallible>>;

/// A kind of shape, with what all shapes of one path have in common.
#[derive(Clone, Copy, PartialEq)]
enum Shape {
    /// A line through points.
    Line { width: u32 },
    /// A full area with corners at points.
    Area,
    /// A full rectangle: upper left and lower right corner.
    Block,
    /// A full circle: its centre.
    Dot { radius: u32 },
    /// The outline of a circle: its centre, and its radius across and down.
    Circle { width: u32 },
}

/// How a shape looks.
#[derive(Clone, Copy, PartialEq)]
struct Look {
    shape: Shape,
    rgb: Rgb,
    opacity: f64,
}

/// Bounding box of a shape: its range across, then down.
type Extent = [(i32, i32); 2];

/// A figure in progress: plotters' backend for SVG with open colours.
pub struct ThemedSvg {
    size: (u32, u32),
    out: Painted,
    /// The look of the shapes not yet written.
    look: Option<Look>,
    /// Their points, one shape after the other.
    points: Vec<BackendCoord>,
    /// Where each of them ends among the points.
    ends: Vec<usize>,
}

/// Elements of SVG with places where colours belong.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Painted {
    text: String,
    /// Bytes of the text before each colour, and the colour.
    colors: Vec<(usize, Rgb)>,
}

impl Painted {
    /// Adds the elements to `out`, each colour as `write_color` puts it.
    pub(super) fn write(&self, out: &mut String, write_color: impl Fn(Rgb, &mut String)) {
        // No colour is longer than thirteen letters.
        out.reserve(self.text.len() + 13 * self.colors.len());
        let mut from = 0;
        for &(at, rgb) in &self.colors {
            out.push_str(&self.text[from..at]);
            write_color(rgb, out);
            from = at;
        }
        out.push_str(&self.text[from..]);
    }

    /// An attribute that is a colour; `name` with its `=` and the blank before it.
    fn color(&mut self, name: &str, rgb: Rgb) {
        self.text.push_str(name);
        self.text.push('"');
        self.colors.push((self.text.len(), rgb));
        self.text.push('"');
    }

    /// An attribute that is a whole number.
    fn number(&mut self, name: &str, value: i32) {
        self.text.push_str(name);
        self.text.push('"');
        number(&mut self.text, value);
        self.text.push('"');
    }

    fn opacity(&mut self, name: &str, opacity: f64) {
        if opacity != 1.0 {
            // Writing into a string cannot fail.
            let _ = write!(self.text, "{name}\"{opacity}\"");
        }
    }

    fn look(&mut self, look: Look) {
        let stroke = |out: &mut Self, width: u32| {
            out.color(" stroke=", look.rgb);
            out.number(" stroke-width=", width as i32);
        };
        let text = &mut self.text;
        match look.shape {
            Shape::Area | Shape::Block => {
                self.color(" fill=", look.rgb);
                self.opacity(" fill-opacity=", look.opacity);
                return;
            }
            Shape::Line { width } => {
                text.push_str(" fill=\"none\"");
                stroke(self, width);
            }
            // A line of no length with round ends is a dot.
            Shape::Dot { radius } => {
                text.push_str(" fill=\"none\" stroke-linecap=\"round\"");
                stroke(self, radius.saturating_mul(2));
            }
            Shape::Circle { width } => {
                text.push_str(" fill=\"none\"");
                stroke(self, width);
            }
        }
        self.opacity(" stroke-opacity=", look.opacity);
    }
}

impl ThemedSvg {
    /// A blank figure.
    pub(super) fn new(size: (u32, u32)) -> Self {
        ThemedSvg {
            size,
            out: Painted::default(),
            look: None,
            points: Vec::new(),
            ends: Vec::new(),
        }
    }

    /// What was drawn.
    pub(super) fn done(mut self) -> Painted {
        self.flush();
        self.out
    }

    /// Adds a shape to those before it where they look alike.
    fn add(
        &mut self,
        shape: Shape,
        color: BackendColor,
        points: impl IntoIterator<Item = BackendCoord>,
    ) -> Done {
        if color.alpha == 0.0 {
            return Ok(());
        }
        let look = Look {
            shape,
            rgb: color.rgb,
            opacity: color.alpha,
        };
        if self.look != Some(look) {
            self.flush();
            self.look = Some(look);
        }
        let from = self.points.len();
        for point in points {
            self.push(shape, from, point);
        }
        if self.points.len() > self.ends.last().copied().unwrap_or(0) {
            self.ends.push(self.points.len());
        }
        Ok(())
    }

    /// Adds a point of the shape whose points begin at `from`, unless it changes nothing.
    fn push(&mut self, shape: Shape, from: usize, at: BackendCoord) {
        if let Shape::Line { .. } | Shape::Area = shape {
            let own = &self.points[from..];
            if own.last() == Some(&at) {
                return;
            }
            if let [.., a, b] = *own
                && straight_on(a, b, at)
            {
                self.points.pop();
            }
        }
        self.points.push(at);
    }

    /// Writes the shapes that wait.
    fn flush(&mut self) {
        let Some(look) = self.look.take() else { return };
        let out = &mut self.out;
        if self.ends.is_empty() {
            return;
        }
        let shapes = || {
            let starts = std::iter::once(0).chain(self.ends.iter().copied());
            let spans = starts.zip(self.ends.iter().copied());
            spans.map(|(from, to)| &self.points[from..to])
        };
        if let Shape::Circle { .. } = look.shape {
            out.text.push_str("<g");
            out.look(look);
            out.text.push('>');
            for circle in shapes() {
                out.number("<circle cx=", circle[0].0);
                out.number(" cy=", circle[0].1);
                out.number(" r=", circle[1].0);
                out.text.push_str("/>");
            }
            out.text.push_str("</g>");
        } else if look.opacity == 1.0 {
            out.text.push_str("<path");
            out.look(look);
            path(&mut out.text, look.shape, shapes());
        } else {
            let shapes: Vec<&[BackendCoord]> = shapes().collect();
            let (layer_of, layers) = layers(look.shape, &shapes);
            let group = layers > 1;
            out.text.push_str(if group { "<g" } else { "<path" });
            out.look(look);
            if group {
                out.text.push('>');
            }
            for layer in 0..layers {
                if group {
                    out.text.push_str("<path");
                }
                let of_it = shapes.iter().zip(&layer_of);
                let of_it = of_it.filter(|(_, at)| **at == layer).map(|(s, _)| *s);
                path(&mut out.text, look.shape, of_it);
            }
            if group {
                out.text.push_str("</g>");
            }
        }
        self.points.clear();
        self.ends.clear();
    }
}

impl DrawingBackend for ThemedSvg {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        self.size
    }

    fn ensure_prepared(&mut self) -> Done {
        Ok(())
    }

    fn present(&mut self) -> Done {
        Ok(())
    }

    fn draw_pixel(&mut self, (x, y): BackendCoord, color: BackendColor) -> Done {
        let other = (x.saturating_add(1), y.saturating_add(1));
        self.add(Shape::Block, color, [(x, y), other])
    }

    fn draw_line<S: BackendStyle>(
        &mut self,
        from: BackendCoord,
        to: BackendCoord,
        style: &S,
    ) -> Done {
        self.draw_path([from, to], style)
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        a: BackendCoord,
        b: BackendCoord,
        style: &S,
        fill: bool,
    ) -> Done {
        if fill {
            return self.add(Shape::Block, style.color(), [a, b]);
        }
        self.draw_path([a, (b.0, a.1), b, (a.0, b.1), a], style)
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Done {
        let width = style.stroke_width();
        self.add(Shape::Line { width }, style.color(), path)
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        centre: BackendCoord,
        radius: u32,
        style: &S,
        fill: bool,
    ) -> Done {
        if fill {
            return self.add(Shape::Dot { radius }, style.color(), [centre]);
        }
        let width = style.stroke_width();
        let radius = i32::try_from(radius).unwrap_or(i32::MAX);
        self.add(
            Shape::Circle { width },
            style.color(),
            [centre, (radius, radius)],
        )
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        corners: I,
        style: &S,
    ) -> Done {
        self.add(Shape::Area, style.color(), corners)
    }

    fn draw_text<S: BackendTextStyle>(
        &mut self,
        text: &str,
        style: &S,
        (x, y): BackendCoord,
    ) -> Done {
        if text.trim().is_empty() {
            return Ok(());
        }
        self.flush();
        let out = &mut self.out;
        out.number("<text x=", x);
        out.number(" y=", y);
        out.text.push_str(match style.anchor().v_pos {
            VPos::Top => " dy=\"0.76em\"",
            VPos::Center => " dy=\"0.5ex\"",
            VPos::Bottom => " dy=\"-0.5ex\"",
        });
        out.text.push_str(match style.anchor().h_pos {
            HPos::Left => "",
            HPos::Center => " text-anchor=\"middle\"",
            HPos::Right => " text-anchor=\"end\"",
        });
        // `as` saturates.
        out.number(" font-size=", style.size().round() as i32);
        out.color(" fill=", style.color().rgb);
        if let FontStyle::Bold = style.style() {
            out.text.push_str(" font-weight=\"bold\"");
        }
        let degrees = match style.transform() {
            FontTransform::None => None,
            FontTransform::Rotate90 => Some(90),
            FontTransform::Rotate180 => Some(180),
            FontTransform::Rotate270 => Some(270),
        };
        if let Some(degrees) = degrees {
            let _ = write!(out.text, " transform=\"rotate({degrees} {x} {y})\"");
        }
        out.text.push('>');
        escaped(text.trim(), &mut out.text);
        out.text.push_str("</text>");
        Ok(())
    }

    fn estimate_text_size<S: BackendTextStyle>(
        &self,
        text: &str,
        style: &S,
    ) -> Result<(u32, u32), DrawingErrorKind<Infallible>> {
        let bold = matches!(style.style(), FontStyle::Bold);
        // `as` saturates.
        let width = style.size() * text_ems(text, bold);
        Ok((width.ceil() as u32, style.size().ceil() as u32))
    }
}

/// About how wide a text comes out, as a multiple of its height: on the wide side (letters of DejaVu Sans, the widest of
/// the common fonts of screens). For leaving room, never for meaning.
pub(super) fn text_ems(text: &str, bold: bool) -> f64 {
    let em = |c: char| match c {
        ' ' | 'i' | 'j' | 'l' | 'I' | '.' | ',' | ':' | ';' | '!' | '|' | '\'' => 0.33,
        'f' | 'r' | 't' | '(' | ')' | '[' | ']' | '/' | '-' => 0.42,
        'm' | 'w' | 'M' | 'W' | '%' | '@' | '…' | '→' | '←' | '▲' | '—' => 1.0,
        'A'..='Z' => 0.74,
        '\0'..='\x7f' => 0.63,
        '\u{300}'..='\u{36f}' => 0.0,
        // Latin with marks, Greek, Cyrillic, Hebrew, Arabic.
        '\u{80}'..='\u{8ff}' | '\u{2000}'..='\u{206f}' | '−' => 0.8,
        // Scripts of wide letters; pictures.
        _ => 1.2,
    };
    let width: f64 = text.chars().map(em).sum();
    if bold { 1.12 * width } else { width }
}

/// Whether `b` lies on the straight way from `a` on to `c`.
fn straight_on(a: BackendCoord, b: BackendCoord, c: BackendCoord) -> bool {
    let by = |from: i32, to: i32| i128::from(to) - i128::from(from);
    let step = |from: BackendCoord, to: BackendCoord| (by(from.0, to.0), by(from.1, to.1));
    let (first, second) = (step(a, b), step(b, c));
    first.0 * second.1 == first.1 * second.0 && first.0 * second.0 + first.1 * second.1 > 0
}

/// The layer of each shape, and the number of layers: shapes of one layer do not overlap. Translucent shapes that
/// overlap must be separate paths: SVG blends paths with each other, but paints one path only once wherever it overlaps
/// itself.
fn layers(shape: Shape, shapes: &[&[BackendCoord]]) -> (Vec<usize>, usize) {
    let radius = match shape {
        Shape::Dot { radius } => i32::try_from(radius).unwrap_or(i32::MAX),
        _ => 0,
    };
    let extents: Vec<Extent> = shapes.iter().map(|points| extent(points, radius)).collect();
    // A line reaches beyond its points: each gets a layer of its own.
    let flat = matches!(shape, Shape::Line { .. } | Shape::Circle { .. });
    let apart = |a: &Extent, b: &Extent| {
        let across = (a[0].1 <= b[0].0) | (b[0].1 <= a[0].0);
        !flat & (across | (a[1].1 <= b[1].0) | (b[1].1 <= a[1].0))
    };
    // Asked only of two shapes whose extents overlap.
    let overlap = |i: usize, j: usize| match shape {
        Shape::Line { .. } | Shape::Circle { .. } | Shape::Area | Shape::Block => true,
        Shape::Dot { radius } => {
            let (a, b) = (shapes[i][0], shapes[j][0]);
            let x = i64::from(a.0) - i64::from(b.0);
            let y = i64::from(a.1) - i64::from(b.1);
            x * x + y * y < 4 * i64::from(radius) * i64::from(radius)
        }
    };
    let mut layer_of: Vec<usize> = Vec::with_capacity(shapes.len());
    // For each layer the last shape that overlaps one in it.
    let mut taken: Vec<usize> = Vec::new();
    for (i, own) in extents.iter().enumerate() {
        for (j, (&layer, other)) in layer_of.iter().zip(&extents).enumerate() {
            if !apart(own, other) && overlap(i, j) {
                taken[layer] = i;
            }
        }
        let free = taken.iter().position(|&by| by != i);
        let layer = free.unwrap_or(taken.len());
        if layer == taken.len() {
            // No shape has this number.
            taken.push(usize::MAX);
        }
        layer_of.push(layer);
    }
    (layer_of, taken.len())
}

/// The bounding box of points, each with a radius.
fn extent(points: &[BackendCoord], radius: i32) -> Extent {
    let none = (i32::MAX, i32::MIN);
    points.iter().fold([none, none], |[across, down], &(x, y)| {
        let with = |span: (i32, i32), at: i32| {
            let (from, to) = (at.saturating_sub(radius), at.saturating_add(radius));
            (span.0.min(from), span.1.max(to))
        };
        [with(across, x), with(down, y)]
    })
}

/// Writes the path data of shapes, and closes the element.
fn path<'s>(out: &mut String, shape: Shape, shapes: impl Iterator<Item = &'s [BackendCoord]>) {
    out.push_str(" d=\"");
    let mut before: Option<BackendCoord> = None;
    for points in shapes {
        match shape {
            Shape::Dot { .. } => {
                let to = points[0];
                match before {
                    None => {
                        out.push('M');
                        pair(out, to.0, to.1);
                    }
                    Some(before) if before == to => continue,
                    Some(before) => {
                        out.push('m');
                        pair(
                            out,
                            to.0.wrapping_sub(before.0),
                            to.1.wrapping_sub(before.1),
                        );
                    }
                }
                out.push_str("h0");
                before = Some(to);
            }
            Shape::Block => {
                let (from, to) = (points[0], points[1]);
                out.push('M');
                pair(out, from.0, from.1);
                for (way, by) in [
                    ('h', to.0.wrapping_sub(from.0)),
                    ('v', to.1.wrapping_sub(from.1)),
                    ('h', from.0.wrapping_sub(to.0)),
                ] {
                    out.push(way);
                    number(out, by);
                }
                out.push('z');
            }
            Shape::Line { .. } | Shape::Area | Shape::Circle { .. } => {
                way(out, points);
                if shape == Shape::Area {
                    out.push('z');
                }
            }
        }
    }
    out.push_str("\"/>");
}

/// Writes path data through points: the first absolute, each further one relative to the point before.
fn way(out: &mut String, points: &[BackendCoord]) {
    let Some(&(x, y)) = points.first() else {
        return;
    };
    out.push('M');
    pair(out, x, y);
    for step in points.windows(2) {
        let x = step[1].0.wrapping_sub(step[0].0);
        let y = step[1].1.wrapping_sub(step[0].1);
        match (x, y) {
            (x, 0) => {
                out.push('h');
                number(out, x);
            }
            (0, y) => {
                out.push('v');
                number(out, y);
            }
            (x, y) => {
                out.push('l');
                pair(out, x, y);
            }
        }
    }
}

/// Two numbers of a path; a minus keeps them apart as well as a blank.
fn pair(out: &mut String, x: i32, y: i32) {
    number(out, x);
    if y >= 0 {
        out.push(' ');
    }
    number(out, y);
}

/// Adds plain text as it may stand in XML.
pub(super) fn escaped(text: &str, out: &mut String) {
    let mut rest = text;
    while let Some(at) = rest.find(['&', '<', '>', '"', '\'']) {
        out.push_str(&rest[..at]);
        out.push_str(match rest.as_bytes()[at] {
            b'&' => "&amp;",
            b'<' => "&lt;",
            b'>' => "&gt;",
            b'"' => "&quot;",
            _ => "&#39;",
        });
        rest = &rest[at + 1..];
    }
    out.push_str(rest);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::svg::theme::{self, GRID, INK, LINE, RUN, SOFT};
    use plotters::style::{Color, RGBColor, ShapeStyle};

    fn style(color: RGBColor, width: u32, opacity: f64) -> ShapeStyle {
        ShapeStyle::from(color.mix(opacity)).stroke_width(width)
    }

    fn drawn(paint: impl FnOnce(&mut ThemedSvg)) -> String {
        let mut on = ThemedSvg::new((100, 100));
        paint(&mut on);
        let mut out = String::new();
        on.done().write(&mut out, |rgb, out| {
            out.push_str(theme::variable(rgb).unwrap())
        });
        out
    }

    #[test]
    fn neighbours_of_one_look_become_one_path_that_tells_steps() {
        assert_eq!(
            drawn(|on| {
                let grid = style(GRID, 4, 1.0);
                on.draw_path([(10, 20), (30, 20), (30, 5)], &grid).unwrap();
                on.draw_line((-1, -2), (4, -9), &grid).unwrap();
                on.draw_path([], &grid).unwrap();
            }),
            "<path fill=\"none\" stroke=\"grid\" stroke-width=\"4\" d=\"M10 20h20v-15M-1-2l5-7\"/>"
        );
        let dots = |radii: [u32; 3], at: [BackendCoord; 3], opacity: f64| {
            drawn(|on| {
                for (radius, at) in radii.into_iter().zip(at) {
                    on.draw_circle(at, radius, &style(RUN, 4, opacity), true)
                        .unwrap();
                }
            })
        };
        assert_eq!(
            dots([12, 12, 9], [(5, 6), (7, 1), (0, 0)], 1.0),
            "<path fill=\"none\" stroke-linecap=\"round\" stroke=\"run\" stroke-width=\"24\" d=\"M5 6h0m2-5h0\"/><path fill=\"none\" stroke-linecap=\"round\" stroke=\"run\" stroke-width=\"18\" d=\"M0 0h0\"/>"
        );
        // Translucent shapes are separate paths where they overlap: the third lies clear of the first.
        assert_eq!(
            dots([12, 12, 12], [(5, 6), (7, 1), (45, 0)], 0.6),
            "<g fill=\"none\" stroke-linecap=\"round\" stroke=\"run\" stroke-width=\"24\" stroke-opacity=\"0.6\"><path d=\"M5 6h0m40-6h0\"/><path d=\"M7 1h0\"/></g>"
        );
        let ink = style(INK, 4, 1.0);
        assert_eq!(
            drawn(|on| on.draw_rect((1, 2), (4, 6), &ink, true).unwrap()),
            "<path fill=\"ink\" d=\"M1 2h3v4h-3z\"/>"
        );
        assert_eq!(
            drawn(|on| on.draw_rect((1, 2), (4, 6), &ink, false).unwrap()),
            "<path fill=\"none\" stroke=\"ink\" stroke-width=\"4\" d=\"M1 2h3v4h-3v-4\"/>"
        );
        let area = |opacity: f64| {
            drawn(|on| {
                for _ in 0..2 {
                    let corners = [(0, 0), (4, 0), (4, 4)];
                    on.fill_polygon(corners, &style(LINE, 4, opacity)).unwrap();
                }
            })
        };
        assert_eq!(area(0.5).matches("<path").count(), 2);
        assert_eq!(area(1.0), "<path fill=\"line\" d=\"M0 0h4v4zM0 0h4v4z\"/>");
        assert_eq!(area(0.0), "");
    }

    #[test]
    fn outlines_of_circles_share_their_look() {
        assert_eq!(
            drawn(|on| {
                let soft = style(SOFT, 6, 1.0);
                on.draw_circle((5, -6), 12, &soft, false).unwrap();
                on.draw_circle((7, 8), 9, &soft, false).unwrap();
            }),
            "<g fill=\"none\" stroke=\"soft\" stroke-width=\"6\"><circle cx=\"5\" cy=\"-6\" r=\"12\"/><circle cx=\"7\" cy=\"8\" r=\"9\"/></g>"
        );
    }

    #[test]
    fn shapes_of_one_layer_never_overlap_and_few_layers_do() {
        // Three discs in a row, each on the next: the outer two share a layer.
        let points = [[(0, 0)], [(6, 0)], [(12, 0)]];
        let shapes: Vec<&[BackendCoord]> = points.iter().map(|p| &p[..]).collect();
        let (layer_of, count) = layers(Shape::Dot { radius: 5 }, &shapes);
        assert_eq!((layer_of, count), (vec![0, 1, 0], 2));
        // Corners that touch are apart.
        let blocks = [[(0, 0), (4, 4)], [(4, 0), (8, 4)], [(3, 3), (5, 5)]];
        let shapes: Vec<&[BackendCoord]> = blocks.iter().map(|p| &p[..]).collect();
        assert_eq!(layers(Shape::Block, &shapes), (vec![0, 0, 1], 2));
    }
}
