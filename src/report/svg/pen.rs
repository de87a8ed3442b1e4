//! Pens: what is drawn, and its colour in either theme.

use plotters::style::RGBAColor;

/// What a line, mark or area stands for; its colour in either theme and its dash follow from it.
///
/// Colours can be distinguished under the common colour-vision deficiencies (after Okabe & Ito 2008); each also has a
/// mark, a dash or a label of its own in the figures that use several.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pen {
    /// Words, axes, outlines.
    Ink,
    /// Words of less weight.
    Soft,
    /// Help lines.
    Grid,
    /// The ground of the figure.
    Paper,
    /// Runs.
    Run,
    /// The line through them; what is expected.
    Line,
    /// A limit.
    Limit,
    /// What went wrong, what stands in the way.
    Warn,
    /// A second kind beside runs.
    Second,
    /// A third kind.
    Third,
    /// A fourth kind.
    Fourth,
}

/// A pen's CSS variable, its colour on white paper, its dash in figure units.
pub(super) struct Look {
    pub name: &'static str,
    pub on_white: &'static str,
    pub dash: Option<&'static str>,
}

impl Pen {
    const ALL: [Pen; 11] = [
        Pen::Ink,
        Pen::Soft,
        Pen::Grid,
        Pen::Paper,
        Pen::Run,
        Pen::Line,
        Pen::Limit,
        Pen::Warn,
        Pen::Second,
        Pen::Third,
        Pen::Fourth,
    ];

    /// Its variable, colour and dash.
    pub(super) fn look(self) -> Look {
        let (name, on_white, dash) = match self {
            Pen::Ink => ("ink", "#1c2733", None),
            Pen::Soft => ("soft", "#55616e", None),
            Pen::Grid => ("grid", "#dcd6c8", None),
            Pen::Paper => ("paper", "#ffffff", None),
            Pen::Run => ("run", "#1d63a5", None),
            Pen::Line => ("line", "#b8480b", None),
            Pen::Limit => ("line", "#b8480b", Some("28 20")),
            Pen::Warn => ("warn", "#a3182e", None),
            Pen::Second => ("second", "#0b7a5c", None),
            Pen::Third => ("third", "#8a4c90", None),
            Pen::Fourth => ("fourth", "#7a6a10", None),
        };
        Look {
            name,
            on_white,
            dash,
        }
    }

    /// The stand-in colour: its red component is the pen's number.
    pub(super) fn stand_in(self, opacity: f64) -> RGBAColor {
        RGBAColor(self as u8, 0, 0, opacity)
    }

    /// The pen behind a stand-in colour; ink behind any other.
    pub(super) fn from_stand_in((red, _, _): (u8, u8, u8)) -> Pen {
        let pen = Self::ALL.get(usize::from(red)).copied();
        pen.unwrap_or(Pen::Ink)
    }

    /// The pen for one of several kinds side by side; beyond four kinds pens repeat.
    pub fn for_kind(kind: usize) -> Pen {
        [Pen::Run, Pen::Second, Pen::Third, Pen::Fourth][kind % 4]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pen_is_found_again_behind_its_stand_in() {
        for (index, pen) in Pen::ALL.into_iter().enumerate() {
            assert_eq!(pen as usize, index);
            let RGBAColor(red, green, blue, _) = pen.stand_in(0.5);
            assert_eq!(Pen::from_stand_in((red, green, blue)), pen);
        }
        assert_eq!(Pen::from_stand_in((255, 0, 0)), Pen::Ink);
    }
}
