//! The theme's colours. plotters draws in the colours on white paper; on a page each stands for a CSS variable, so that a
//! dark screen and paper get their own.
//!
//! Colours can be told apart under the common colour-vision deficiencies (after Okabe & Ito 2008), and each has a
//! contrast of at least 4.5 to 1 as text on its ground (WCAG 2.2, 1.4.3); only [`GRID`] and [`PAPER`] are for no text.
//! Where a figure uses several, marks, dashes or labels differ too.

use plotters::style::RGBColor;

/// Words, axes, outlines.
pub const INK: RGBColor = RGBColor(0x1c, 0x27, 0x33);
/// Words of less weight.
pub const SOFT: RGBColor = RGBColor(0x55, 0x61, 0x6e);
/// Help lines.
pub const GRID: RGBColor = RGBColor(0xd9, 0xdf, 0xe0);
/// The ground of the figure.
pub const PAPER: RGBColor = RGBColor(0xff, 0xff, 0xff);
/// Runs.
pub const RUN: RGBColor = RGBColor(0x1d, 0x63, 0xa5);
/// The line through them; what is expected; limits (dashed).
pub const LINE: RGBColor = RGBColor(0xb8, 0x48, 0x0b);
/// What went wrong, what stands in the way.
pub const WARN: RGBColor = RGBColor(0xa3, 0x18, 0x2e);
/// A second kind beside runs.
pub const SECOND: RGBColor = RGBColor(0x0b, 0x7a, 0x5c);
/// A third kind.
pub const THIRD: RGBColor = RGBColor(0x8a, 0x4c, 0x90);
/// A fourth kind.
pub const FOURTH: RGBColor = RGBColor(0x7a, 0x6a, 0x10);

/// The CSS variable of every colour of the theme, without the dashes before it.
const VARIABLES: [(RGBColor, &str); 10] = [
    (INK, "ink"),
    (SOFT, "soft"),
    (GRID, "grid"),
    (PAPER, "paper"),
    (RUN, "run"),
    (LINE, "line"),
    (WARN, "warn"),
    (SECOND, "second"),
    (THIRD, "third"),
    (FOURTH, "fourth"),
];

/// The colour for one of several kinds side by side; beyond four kinds colours repeat.
pub fn of_kind(kind: usize) -> RGBColor {
    [RUN, SECOND, THIRD, FOURTH][kind % 4]
}

/// The CSS variable that a colour stands for; `None` for a colour that is not the theme's.
pub(super) fn variable((r, g, b): (u8, u8, u8)) -> Option<&'static str> {
    let found = VARIABLES.iter().find(|(c, _)| *c == RGBColor(r, g, b));
    found.map(|(_, name)| *name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    /// The colours that each rule for `:root` of the pages' style sheet gives to variables.
    fn roots() -> Vec<BTreeMap<&'static str, &'static str>> {
        let style = include_str!("../pages/style.css");
        let rules = style.split(":root {").skip(1);
        let entries = |rule: &'static str| {
            let body = rule.split('}').next().unwrap_or("");
            let pair = |entry: &'static str| {
                let (name, value) = entry.split_once(':')?;
                Some((name.trim().trim_start_matches("--"), value.trim()))
            };
            body.split(';').filter_map(pair).collect()
        };
        rules.map(entries).collect()
    }

    /// Relative luminance (WCAG 2.2).
    fn luminance(hex: &str) -> f64 {
        let hex = hex.trim_start_matches('#');
        let digits: String = if hex.len() == 3 {
            hex.chars().flat_map(|c| [c, c]).collect()
        } else {
            hex.to_string()
        };
        let part = |i: usize| {
            let value = f64::from(u8::from_str_radix(&digits[i..i + 2], 16).unwrap()) / 255.0;
            if value <= 0.04045 {
                value / 12.92
            } else {
                ((value + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * part(0) + 0.7152 * part(2) + 0.0722 * part(4)
    }

    #[test]
    fn words_in_figures_can_be_read_in_every_theme_and_on_white() {
        let contrast = |a: &str, b: &str| {
            let (a, b) = (luminance(a), luminance(b));
            (a.max(b) + 0.05) / (a.min(b) + 0.05)
        };
        let roots = roots();
        assert!(roots.len() >= 3, "light, dark and print");
        for root in &roots {
            for (_, name) in VARIABLES {
                let color = root.get(name).unwrap_or_else(|| panic!("no --{name}"));
                let on = contrast(color, root["paper"]);
                let is_text = name != "grid" && name != "paper";
                assert!(!is_text || on >= 4.5, "--{name}: {color} has {on}");
            }
        }
        for (RGBColor(r, g, b), name) in VARIABLES {
            let on = contrast(&format!("{r:02x}{g:02x}{b:02x}"), "ffffff");
            let is_text = name != "grid" && name != "paper";
            assert!(!is_text || on >= 4.5, "{name} has {on} on white");
        }
    }

    /// A figure's file and the same figure on a page in light look alike.
    #[test]
    fn light_pages_have_the_colours_of_the_files() {
        for (RGBColor(r, g, b), name) in VARIABLES {
            assert_eq!(
                roots()[0][name],
                format!("#{r:02x}{g:02x}{b:02x}"),
                "{name}"
            );
        }
    }

    #[test]
    fn no_two_variables_share_a_colour() {
        for (i, (color, name)) in VARIABLES.iter().enumerate() {
            assert_eq!(variable((color.0, color.1, color.2)), Some(*name), "{i}");
        }
        assert_eq!(variable((1, 2, 3)), None);
    }
}
