//! From what plotters writes to what is kept: pens for stand-in colours, dashes, and few bytes.
//!
//! plotters writes each line and each mark as an element with all its attributes. Here neighbours of one look become one
//! path, points are told from the point before, and what only repeats a default is left out. What is seen is the same.

use super::{FINER, Pen, TEXT};

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
    /// Full circles of one size that nothing shines through.
    Dots {
        pen: Pen,
        radius: i32,
        centres: Vec<(i32, i32)>,
    },
    /// Full rectangles that nothing shines through: corner and size.
    Rectangles {
        pen: Pen,
        corners: Vec<((i32, i32), (i32, i32))>,
    },
    /// Full circles of one size that let through what lies below.
    Discs {
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
    let last = elements.last_mut();
    match (last, element) {
        // Where something shines through, places covered twice are darker: these stay apart.
        (
            Some(Element::Lines { look, paths }),
            Element::Lines {
                look: next,
                paths: more,
            },
        ) if *look == next && look.opacity == "1" => {
            paths.extend(more);
        }
        (
            Some(Element::Areas {
                pen,
                opacity,
                outlines,
            }),
            Element::Areas {
                pen: next,
                opacity: "1",
                outlines: more,
            },
        ) if *pen == next && *opacity == "1" => outlines.extend(more),
        (
            Some(Element::Dots {
                pen,
                radius,
                centres,
            }),
            Element::Dots {
                pen: next,
                radius: size,
                centres: more,
            },
        ) if *pen == next && *radius == size => centres.extend(more),
        (
            Some(Element::Circles { look, circles }),
            Element::Circles {
                look: next,
                circles: more,
            },
        ) if *look == next => {
            circles.extend(more);
        }
        (
            Some(Element::Rectangles { pen, corners }),
            Element::Rectangles {
                pen: next,
                corners: more,
            },
        ) if *pen == next => corners.extend(more),
        (
            Some(Element::Discs {
                pen,
                radius,
                opacity,
                centres,
            }),
            Element::Discs {
                pen: next,
                radius: size,
                opacity: through,
                centres: more,
            },
        ) if (*pen, *radius, *opacity) == (next, size, through) => centres.extend(more),
        (_, element) => elements.push(element),
    }
}

/// A line, area or circle; `None` for anything else, and for what does not look as plotters writes it.
fn element(tag: &str) -> Option<Element<'_>> {
    let of = |name: &str| attribute(tag, name);
    let pen = |name: &str| Pen::from_stand_in(of(name)?);
    let opacity = of("opacity")?;
    if tag.starts_with("<polyline") {
        let look = Stroke {
            pen: pen("stroke")?,
            width: of("stroke-width")?,
            opacity,
        };
        let paths = vec![of("points")?];
        return Some(Element::Lines { look, paths });
    }
    if tag.starts_with("<polygon") {
        return Some(Element::Areas {
            pen: pen("fill")?,
            opacity,
            outlines: vec![of("points")?],
        });
    }
    if tag.starts_with("<rect") {
        let number = |name: &str| of(name)?.parse::<i32>().ok();
        return match (opacity, of("stroke")) {
            ("1", Some("none")) => Some(Element::Rectangles {
                pen: pen("fill")?,
                corners: vec![(
                    (number("x")?, number("y")?),
                    (number("width")?, number("height")?),
                )],
            }),
            _ => None,
        };
    }
    if tag.starts_with("<circle") {
        let (x, y, r) = (of("cx")?, of("cy")?, of("r")?);
        let Some(full) = pen("fill") else {
            let look = Stroke {
                pen: pen("stroke")?,
                width: of("stroke-width")?,
                opacity,
            };
            let circles = vec![(x, y, r)];
            return Some(Element::Circles { look, circles });
        };
        let radius = r.parse().ok()?;
        let centres = vec![(x.parse().ok()?, y.parse().ok()?)];
        return Some(match opacity {
            "1" => Element::Dots {
                pen: full,
                radius,
                centres,
            },
            _ => Element::Discs {
                pen: full,
                radius,
                opacity,
                centres,
            },
        });
    }
    None
}

/// An attribute's value in a tag.
fn attribute<'t>(tag: &'t str, name: &str) -> Option<&'t str> {
    // Pieces alternate between ` name=` and a value.
    let mut parts = tag.split('"');
    while let (Some(piece), Some(value)) = (parts.next(), parts.next()) {
        let piece = piece.strip_suffix('=')?;
        if piece
            .strip_suffix(name)
            .is_some_and(|before| before.ends_with(' '))
        {
            return Some(value);
        }
    }
    None
}

/// Writes elements, each pen in the colour that `color_of` gives it.
pub(super) fn write(elements: &[Element], out: &mut String, color_of: impl Fn(Pen) -> String) {
    for element in elements {
        match element {
            Element::Lines { look, paths } => {
                out.push_str("<path fill=\"none\" stroke=\"");
                out.push_str(&color_of(look.pen));
                out.push_str("\" stroke-width=\"");
                out.push_str(look.width);
                out.push('"');
                if let Some(dash) = look.pen.look().dash {
                    push(out, " stroke-dasharray=", dash);
                }
                opacity(out, look.opacity);
                way(out, paths, false);
            }
            Element::Areas {
                pen,
                opacity: through,
                outlines,
            } => {
                push(out, "<path fill=", &color_of(*pen));
                opacity(out, through);
                way(out, outlines, true);
            }
            Element::Dots {
                pen,
                radius,
                centres,
            } => {
                // A line of no length with round ends is a dot.
                push(
                    out,
                    "<path fill=\"none\" stroke-linecap=\"round\" stroke=",
                    &color_of(*pen),
                );
                push(out, " stroke-width=", &(2 * radius).to_string());
                out.push_str(" d=\"");
                let mut from = None;
                for &to in centres {
                    if from == Some(to) {
                        continue;
                    }
                    step(out, 'm', from, to);
                    out.push_str("h0");
                    from = Some(to);
                }
                out.push_str("\"/>");
            }
            Element::Discs {
                pen,
                radius,
                opacity,
                centres,
            } => {
                // A path for each, so that places covered twice are darker.
                push(out, "<g stroke-linecap=\"round\" stroke=", &color_of(*pen));
                push(out, " stroke-width=", &(2 * radius).to_string());
                push(out, " stroke-opacity=", opacity);
                out.push('>');
                for (x, y) in centres {
                    out.push_str(&format!("<path d=\"M{x} {y}h0\"/>"));
                }
                out.push_str("</g>");
            }
            Element::Rectangles { pen, corners } => {
                push(out, "<path fill=", &color_of(*pen));
                out.push_str(" d=\"");
                for (at, size) in corners {
                    let (x, y) = (at.0 + size.0, at.1 + size.1);
                    step(out, 'l', None, *at);
                    step(out, 'l', Some(*at), (x, at.1));
                    step(out, 'l', Some((x, at.1)), (x, y));
                    step(out, 'l', Some((x, y)), (at.0, y));
                    out.push('z');
                }
                out.push_str("\"/>");
            }
            Element::Circles { look, circles } => {
                let color = color_of(look.pen);
                push(out, "<g fill=\"none\" stroke=", &color);
                push(out, " stroke-width=", look.width);
                if look.opacity != "1" {
                    push(out, " stroke-opacity=", look.opacity);
                }
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

/// An attribute with its name and `=` given, blank before it.
fn push(out: &mut String, name: &str, value: &str) {
    out.push_str(name);
    out.push('"');
    out.push_str(value);
    out.push('"');
}

fn opacity(out: &mut String, value: &str) {
    if value != "1" {
        push(out, " opacity=", value);
    }
}

/// The end of a `<path>`: ways through points written `x,y x,y`, closed or not.
fn way(out: &mut String, paths: &[&str], closed: bool) {
    out.push_str(" d=\"");
    for path in paths {
        let mut from = None;
        // After a move further points are joined by lines without a letter.
        for point in path.split_whitespace() {
            let Some((x, y)) = point.split_once(',') else {
                continue;
            };
            let (Ok(x), Ok(y)) = (x.parse(), y.parse()) else {
                continue;
            };
            step(out, 'l', from, (x, y));
            from = Some((x, y));
        }
        if closed {
            out.push('z');
        }
    }
    out.push_str("\"/>");
}

/// One step of a path: with `M` to its first point, with `by` and the distance from the point before to the others.
fn step(out: &mut String, by: char, from: Option<(i32, i32)>, to: (i32, i32)) {
    let (x, y) = match from {
        None => {
            out.push('M');
            to
        }
        Some(from) => {
            let (x, y) = (to.0.wrapping_sub(from.0), to.1.wrapping_sub(from.1));
            if by == 'l' && y == 0 {
                out.push('h');
                out.push_str(&x.to_string());
                return;
            }
            if by == 'l' && x == 0 {
                out.push('v');
                out.push_str(&y.to_string());
                return;
            }
            out.push(by);
            (x, y)
        }
    };
    out.push_str(&x.to_string());
    if y >= 0 {
        out.push(' ');
    }
    out.push_str(&y.to_string());
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
        // What shines through stays apart.
        assert_eq!(
            compacted(&(dot(5, 6, 12, "0.6") + &dot(7, 1, 12, "0.6"))),
            "<g stroke-linecap=\"round\" stroke=\"run\" stroke-width=\"24\" stroke-opacity=\"0.6\"><path d=\"M5 6h0\"/><path d=\"M7 1h0\"/></g>"
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
