//! The floor that a fit is measured against: the log read, and as many plotters figures drawn of as many marks as the
//! report has, with no statistics at all.

use haltmark::log::run::Season;
use plotters::backend::{DrawingBackend, SVGBackend};
use plotters::style::{IntoFont, RGBAColor, ShapeStyle, TextStyle};

/// Marks, lines and texts of a figure.
type Figure = (usize, usize, usize);

/// More marks than this are thinned in the report too, to about so many.
const MARKS_MAX: usize = 2000;

/// The figures of a rig with so many runs and sessions, as `report::rig_figures` draws them.
fn of_a_rig(runs: usize, sessions: usize) -> [Figure; 10] {
    let runs = runs.min(MARKS_MAX);
    [
        (300, 70, 22),            // close up
        (300, 24, 18),            // floor
        (0, 20, 15),              // parts of the miss
        (runs, sessions + 10, 8), // left out
        (2 * runs, 22, 21),       // travel
        (runs, 16, 15),           // bias
        (2 * sessions, 2 * sessions + 15, 17),
        (runs, 23, 23), // recoil and roll-on
        (2 * sessions, 12, 12),
        (100, 10, 7), // what went wrong
    ]
}

/// Draws them all; returns how many bytes they take.
pub fn draw(season: &Season, rigs: usize) -> usize {
    let (runs, sessions) = (season.runs.len(), season.sessions.len());
    (0..rigs)
        .flat_map(|_| of_a_rig(runs / rigs, (sessions / rigs).max(1)))
        .map(|figure| one(figure).len())
        .sum()
}

fn one((marks, lines, texts): Figure) -> String {
    let mut drawn = String::new();
    {
        let mut on = SVGBackend::with_string(&mut drawn, (1840, 1200));
        let style = ShapeStyle {
            color: RGBAColor(20, 90, 160, 1.0),
            filled: true,
            stroke_width: 4,
        };
        // Writing into a string cannot fail.
        for i in 0..lines as i32 {
            let _ = on.draw_path([(i, 3 * i), (900 - i, 2 * i), (1800, i)], &style);
        }
        for i in 0..marks as i32 {
            let _ = on.draw_circle((i % 1800, (7 * i) % 1200), 12, &style, true);
        }
        let text = TextStyle::from(("sans-serif", 57.0).into_font());
        for i in 0..texts as i32 {
            let _ = on.draw_text("how far it went, cm", &text, (40, 50 * i));
        }
        let _ = on.present();
    }
    drawn
}
