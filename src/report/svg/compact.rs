//! From what plotters writes to what is kept: pens for stand-in colours, dashes, and few bytes.
//!
//! plotters writes each line and each mark as an element with all its attributes. Here neighbours of one look become one
//! path, points are told from the point before, and what only repeats a default is left out. What is seen is the same.

use super::{FINER, Pen, TEXT};
use std::fmt::Write;

/// plotters gives a mark seven.
const ATTRIBUTES_MAX: usize = 8;

/// A run of drawn elements of one look.
pub(super) enum Element<'t> {
    /// Lines through points.
    Lines {
        look: Stroke<'t>,
        paths: Vec<&'t str>,
    },
    /// Full areas.
    Areas {
        pen: Pen,
        opacity: &'t str,
        outlines: Vec<&'t str>,
    },
    /// Full rectangles: corner and size.
    Rectangles {
        pen: Pen,
        opacity: &'t str,
        corners: Vec<((i32, i32), (i32, i32))>,
    },
    /// Full circles of one size.
    Dots {
        pen: Pen,
        radius: i32,
        opacity: &'t str,
        centres: Vec<(i32, i32)>,
    },
    /// Outlines of circles: centre and radius.
    Circles {
        look: Stroke<'t>,
        circles: Vec<(&'t str, &'t str, &'t str)>,
    },
    /// Everything else as it came: a tag and the text behind it.
    Other { tag: &'t str, text: &'t str },
}

#[derive(Clone, Copy, PartialEq)]
pub(super) struct Stroke<'t> {
    pen: Pen,
    width: &'t str,
    opacity: &'t str,
}

/// Reads the elements inside a drawn `<svg>`.
pub(super) fn read(drawn: &str) -> Vec<Element<'_>> {
    let inside = drawn
        .find(">\n")
        .map_or("", |end| &drawn[end + 2..])
        .trim_end()
        .trim_end_matches("</svg>");
    let mut elements = Vec::new();
    let mut rest = inside;
    while let Some(open) = rest.find('<') {
        let close = rest[open..]
            .find('>')
            .map_or(rest.len(), |at| open + at + 1);
        let tag = &rest[open..close];
        rest = &rest[close..];
        // Between tags there is only text of the figure, escaped by plotters.
        let text = rest[..rest.find('<').unwrap_or(rest.len())].trim();
        let element = element(tag).unwrap_or(Element::Other { tag, text });
        add(&mut elements, element);
    }
    elements
}

/// Adds an element to the one before where both look alike.
fn add<'t>(elements: &mut Vec<Element<'t>>, element: Element<'t>) {
    use Element::{Areas, Circles, Dots, Lines, Rectangles};
    match (elements.last_mut(), element) {
        (
            Some(Lines { look, paths }),
            Lines {
                look: a,
                paths: more,
            },
        ) if *look == a => {
            paths.extend(more);
        }
        (
            Some(Areas {
                pen,
                opacity,
                outlines,
            }),
            Areas {
                pen: a,
                opacity: b,
                outlines: more,
            },
        ) if (*pen, *opacity) == (a, b) => outlines.extend(more),
        (
            Some(Rectangles {
                pen,
                opacity,
                corners,
            }),
            Rectangles {
                pen: a,
                opacity: b,
                corners: more,
            },
        ) if (*pen, *opacity) == (a, b) => corners.extend(more),
        (
            Some(Dots {
                pen,
                radius,
                opacity,
                centres,
            }),
            Dots {
                pen: a,
                radius: b,
                opacity: c,
                centres: more,
            },
        ) if (*pen, *radius, *opacity) == (a, b, c) => centres.extend(more),
        (
            Some(Circles { look, circles }),
            Circles {
                look: a,
                circles: more,
            },
        ) if *look == a => {
            circles.extend(more);
        }
        (_, element) => elements.push(element),
    }
}

/// A line, area or circle; `None` for anything else, and for what does not look as plotters writes it.
fn element(tag: &str) -> Option<Element<'_>> {
    let kind = tag.split(' ').next()?;
    if !matches!(kind, "<polyline" | "<polygon" | "<rect" | "<circle") {
        return None;
    }
    let all = attributes(tag);
    let of = |name: &str| all.iter().find(|a| a.0 == name).map(|a| a.1);
    let number = |name: &str| of(name)?.parse::<i32>().ok();
    let pen = |name: &str| Pen::from_stand_in(of(name)?);
    let opacity = of("opacity")?;
    let stroke = || {
        Some(Stroke {
            pen: pen("stroke")?,
            width: of("stroke-width")?,
            opacity,
        })
    };
    Some(match kind {
        "<polyline" => Element::Lines {
            look: stroke()?,
            paths: vec![of("points")?],
        },
        "<polygon" => Element::Areas {
            pen: pen("fill")?,
            opacity,
            outlines: vec![of("points")?],
        },
        "<rect" if of("stroke") == Some("none") => Element::Rectangles {
            pen: pen("fill")?,
            opacity,
            corners: vec![(
                (number("x")?, number("y")?),
                (number("width")?, number("height")?),
            )],
        },
        "<circle" => match pen("fill") {
            Some(pen) => Element::Dots {
                pen,
                radius: number("r")?,
                opacity,
                centres: vec![(number("cx")?, number("cy")?)],
            },
            None => Element::Circles {
                look: stroke()?,
                circles: vec![(of("cx")?, of("cy")?, of("r")?)],
            },
        },
        _ => return None,
    })
}

/// Names and values of a tag's attributes, in order; empty names beyond the last.
fn attributes(tag: &str) -> [(&str, &str); ATTRIBUTES_MAX] {
    let mut found = [("", ""); ATTRIBUTES_MAX];
    let mut rest = tag;
    for slot in &mut found {
        // Bytes, since this is most of the work on a figure of many marks.
        let find = |text: &str, byte: u8| text.bytes().position(|b| b == byte);
        let Some(from) = find(rest, b' ') else { break };
        let Some(open) = find(&rest[from..], b'"') else {
            break;
        };
        let value = &rest[from + open + 1..];
        let Some(close) = find(value, b'"') else {
            break;
        };
        *slot = (
            rest[from + 1..from + open].trim_end_matches('='),
            &value[..close],
        );
        rest = &value[close + 1..];
    }
    found
}

/// Writes elements, each pen in the colour that `color_of` gives it.
pub(super) fn write(elements: &[Element], out: &mut String, color_of: impl Fn(Pen) -> String) {
    for element in elements {
        match element {
            Element::Lines { look, paths } => {
                let mut style = stroke(look, &color_of);
                if let Some(dash) = look.pen.look().dash {
                    push(&mut style, " stroke-dasharray=", dash);
                }
                opacity_if_any(&mut style, " stroke-opacity=", look.opacity);
                let layers = layers(look.opacity, paths, |_, _| true);
                shapes(out, &style, &layers, |out, _, path| way(out, path));
            }
            Element::Areas {
                pen,
                opacity,
                outlines,
            } => {
                let style = fill(*pen, opacity, &color_of);
                let boxed: Vec<_> = outlines.iter().map(|o| (*o, extent(o))).collect();
                let layers = layers(opacity, &boxed, |(_, a), (_, b)| {
                    let apart = |a: (i32, i32), b: (i32, i32)| a.1 <= b.0 || b.1 <= a.0;
                    !apart(a.0, b.0) && !apart(a.1, b.1)
                });
                shapes(out, &style, &layers, |out, _, (outline, _)| {
                    way(out, outline);
                    out.push('z');
                });
            }
            Element::Rectangles {
                pen,
                opacity,
                corners,
            } => {
                let style = fill(*pen, opacity, &color_of);
                let apart = |a: i32, a_size: i32, b: i32, b_size: i32| {
                    i64::from(a) + i64::from(a_size) <= i64::from(b)
                        || i64::from(b) + i64::from(b_size) <= i64::from(a)
                };
                let layers = layers(opacity, corners, |(a, a_size), (b, b_size)| {
                    !apart(a.0, a_size.0, b.0, b_size.0) && !apart(a.1, a_size.1, b.1, b_size.1)
                });
                shapes(out, &style, &layers, |out, _, (at, size)| {
                    step(out, None, *at);
                    // Writing into a string cannot fail.
                    let _ = write!(out, "h{}v{}h{}z", size.0, size.1, -size.0);
                });
            }
            Element::Dots {
                pen,
                radius,
                opacity,
                centres,
            } => {
                // A line of no length with round ends is a dot.
                let mut style = " fill=\"none\" stroke-linecap=\"round\"".to_string();
                push(&mut style, " stroke=", &color_of(*pen));
                push(&mut style, " stroke-width=", &(2 * radius).to_string());
                opacity_if_any(&mut style, " stroke-opacity=", opacity);
                let far = f64::from(2 * radius) * f64::from(2 * radius);
                let layers = layers(opacity, centres, |a, b| {
                    let (x, y) = (
                        f64::from(a.0) - f64::from(b.0),
                        f64::from(a.1) - f64::from(b.1),
                    );
                    x * x + y * y < far
                });
                shapes(out, &style, &layers, |out, before, &to| {
                    match before {
                        None => step(out, None, to),
                        Some(&before) if before == to => return,
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
                });
            }
            Element::Circles { look, circles } => {
                out.push_str("<g");
                out.push_str(&stroke(look, &color_of));
                opacity_if_any(out, " stroke-opacity=", look.opacity);
                out.push('>');
                for (x, y, r) in circles {
                    push(out, "<circle cx=", x);
                    push(out, " cy=", y);
                    push(out, " r=", r);
                    out.push_str("/>");
                }
                out.push_str("</g>");
            }
            Element::Other { tag, text } => {
                other(tag, out, &color_of);
                out.push_str(text);
            }
        }
    }
    out.push('\n');
}

/// Shapes of one look in layers, each to be one path. Where something shines through, places covered twice are darker:
/// then shapes of one layer do not overlap.
fn layers<'s, T>(
    opacity: &str,
    shapes: &'s [T],
    overlap: impl Fn(&T, &T) -> bool,
) -> Vec<Vec<&'s T>> {
    if opacity == "1" {
        return vec![shapes.iter().collect()];
    }
    let mut layers: Vec<Vec<&T>> = Vec::new();
    for shape in shapes {
        let free = layers
            .iter_mut()
            .find(|layer| !layer.iter().any(|other| overlap(other, shape)));
        match free {
            Some(layer) => layer.push(shape),
            None => layers.push(vec![shape]),
        }
    }
    layers
}

/// Writes layers of one look, each shape told the one before it in its path.
fn shapes<T>(
    out: &mut String,
    style: &str,
    layers: &[Vec<&T>],
    shape: impl Fn(&mut String, Option<&T>, &T),
) {
    let path = |out: &mut String, layer: &[&T]| {
        out.push_str(" d=\"");
        let mut before = None;
        for &one in layer {
            shape(out, before, one);
            before = Some(one);
        }
        out.push_str("\"/>");
    };
    if let [only] = layers {
        out.push_str("<path");
        out.push_str(style);
        return path(out, only);
    }
    out.push_str("<g");
    out.push_str(style);
    out.push('>');
    for layer in layers {
        out.push_str("<path");
        path(out, layer);
    }
    out.push_str("</g>");
}

fn fill(pen: Pen, opacity: &str, color_of: &impl Fn(Pen) -> String) -> String {
    let mut style = String::new();
    push(&mut style, " fill=", &color_of(pen));
    opacity_if_any(&mut style, " fill-opacity=", opacity);
    style
}

fn stroke(look: &Stroke, color_of: &impl Fn(Pen) -> String) -> String {
    let mut style = " fill=\"none\"".to_string();
    push(&mut style, " stroke=", &color_of(look.pen));
    push(&mut style, " stroke-width=", look.width);
    style
}

fn opacity_if_any(out: &mut String, name: &str, opacity: &str) {
    if opacity != "1" {
        push(out, name, opacity);
    }
}

/// An attribute with its name and `=` given, blank before it.
fn push(out: &mut String, name: &str, value: &str) {
    out.push_str(name);
    out.push('"');
    out.push_str(value);
    out.push('"');
}

/// Points written `x,y x,y`.
fn points(text: &str) -> impl Iterator<Item = (i32, i32)> + '_ {
    text.split_ascii_whitespace().filter_map(|point| {
        let (x, y) = point.split_once(',')?;
        Some((x.parse().ok()?, y.parse().ok()?))
    })
}

/// From where to where points lie, across and down.
fn extent(text: &str) -> ((i32, i32), (i32, i32)) {
    let none = (i32::MAX, i32::MIN);
    points(text).fold((none, none), |(across, down), (x, y)| {
        let with = |span: (i32, i32), at: i32| (span.0.min(at), span.1.max(at));
        (with(across, x), with(down, y))
    })
}

/// A way through points.
fn way(out: &mut String, text: &str) {
    let mut from = None;
    for to in points(text) {
        step(out, from, to);
        from = Some(to);
    }
}

/// One step of a path: to its first point, or a line by the distance from the point before.
fn step(out: &mut String, from: Option<(i32, i32)>, to: (i32, i32)) {
    let Some(from) = from else {
        out.push('M');
        return pair(out, to.0, to.1);
    };
    let (x, y) = (to.0.wrapping_sub(from.0), to.1.wrapping_sub(from.1));
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

/// Two numbers of a path; a minus keeps them apart as well as a blank.
fn pair(out: &mut String, x: i32, y: i32) {
    number(out, x);
    if y >= 0 {
        out.push(' ');
    }
    number(out, y);
}

fn number(out: &mut String, value: i32) {
    // Writing into a string cannot fail.
    let _ = write!(out, "{value}");
}

/// Copies a tag with its stand-in colours written out and what only repeats a default left out.
fn other(tag: &str, out: &mut String, color_of: &impl Fn(Pen) -> String) {
    let mut parts = tag.split('"');
    // Pieces alternate between ` name=` and a value.
    while let Some(piece) = parts.next() {
        let Some(value) = parts.next() else {
            out.push_str(piece);
            break;
        };
        match piece.trim_start().trim_end_matches('=') {
            "opacity" if value == "1" => continue,
            "font-family" => continue,
            "stroke" if value == "none" => continue,
            "font-size" => {
                let size = value.parse::<f64>().unwrap_or(TEXT * FINER);
                push(out, piece, &size.round().to_string());
            }
            _ => match Pen::from_stand_in(value) {
                Some(pen) => push(out, piece, &color_of(pen)),
                None => push(out, piece, value.trim_end()),
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn compacted(inside: &str) -> String {
        let drawn = format!("<svg>\n{inside}\n</svg>");
        let mut out = String::new();
        write(&read(&drawn), &mut out, |pen| pen.look().name.to_string());
        out.trim_end().to_string()
    }

    #[test]
    fn neighbours_of_one_look_become_one_path_that_tells_steps() {
        let line = |points: &str| {
            format!(
                "<polyline fill=\"none\" opacity=\"1\" stroke=\"#02FA05\" stroke-width=\"4\" points=\"{points}\"/>\n"
            )
        };
        assert_eq!(
            compacted(&(line("10,20 30,20 30,5 ") + &line("-1,-2 4,-9"))),
            "<path fill=\"none\" stroke=\"grid\" stroke-width=\"4\" d=\"M10 20h20v-15M-1-2l5-7\"/>"
        );
        let dot = |x: i32, y: i32, r: i32, opacity: &str| {
            format!(
                "<circle cx=\"{x}\" cy=\"{y}\" r=\"{r}\" opacity=\"{opacity}\" fill=\"#04FA05\" stroke=\"none\" stroke-width=\"4\"/>\n"
            )
        };
        assert_eq!(
            compacted(&(dot(5, 6, 12, "1") + &dot(7, 1, 12, "1") + &dot(0, 0, 9, "1"))),
            "<path fill=\"none\" stroke-linecap=\"round\" stroke=\"run\" stroke-width=\"24\" d=\"M5 6h0m2-5h0\"/><path fill=\"none\" stroke-linecap=\"round\" stroke=\"run\" stroke-width=\"18\" d=\"M0 0h0\"/>"
        );
        // What shines through stays apart where it overlaps: the third lies clear of the first.
        assert_eq!(
            compacted(&(dot(5, 6, 12, "0.6") + &dot(7, 1, 12, "0.6") + &dot(45, 0, 12, "0.6"))),
            "<g fill=\"none\" stroke-linecap=\"round\" stroke=\"run\" stroke-width=\"24\" stroke-opacity=\"0.6\"><path d=\"M5 6h0m40-6h0\"/><path d=\"M7 1h0\"/></g>"
        );
        let block = "<rect x=\"1\" y=\"2\" width=\"3\" height=\"4\" opacity=\"1\" fill=\"#00FA05\" stroke=\"none\" stroke-width=\"4\"/>\n";
        assert_eq!(compacted(block), "<path fill=\"ink\" d=\"M1 2h3v4h-3z\"/>");
        let area = |opacity: &str| {
            format!("<polygon opacity=\"{opacity}\" fill=\"#05FA05\" points=\"0,0 4,0 4,4 \"/>\n")
        };
        assert_eq!(
            compacted(&(area("0.5") + &area("0.5")))
                .matches("<path")
                .count(),
            2
        );
        assert_eq!(
            compacted(&(area("1") + &area("1"))),
            "<path fill=\"line\" d=\"M0 0h4v4zM0 0h4v4z\"/>"
        );
    }

    #[test]
    fn text_comes_through_as_it_is() {
        let text = "<text x=\"1\" y=\"2\" opacity=\"1\" fill=\"#00FA05\">\na &lt;b&gt;\n</text>\n";
        assert_eq!(
            compacted(text),
            "<text x=\"1\" y=\"2\" fill=\"ink\">a &lt;b&gt;</text>"
        );
    }
}
