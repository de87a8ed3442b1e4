//! The floor that a fit is measured against: the log read, and as many plotters figures drawn of as many marks as the
//! report has, with no statistics at all.

use haltmark::log::run::Season;
use haltmark::report::svg::{self, theme};
use plotters::element::{Circle, PathElement, Text};
use plotters::style::{Color, IntoFont};

/// Marks, lines and texts of a figure.
type Figure = (usize, usize, usize);

/// More marks than this are thinned in the report too, to about so many.
const MARKS_MAX: usize = 2000;

/// The figures of a rig with so many runs and sessions, as `report::rig_figures` draws them.
fn of_a_rig(runs: usize, sessions: usize) -> [Figure; 9] {
    let runs = runs.min(MARKS_MAX);
    [
        (300, 70, 22),            // close up
        (300, 24, 18),            // floor
        (0, 20, 15),              // parts of the miss
        (runs, sessions + 10, 8), // left out
        (2 * runs, 22, 21),       // travel
        (runs, 16, 15),           // bias
        (2 * sessions, 2 * sessions + 25, 24),
        (runs, 23, 23), // recoil and roll-on
        (100, 10, 7),   // what went wrong
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
    let drawn = svg::draw("floor", "how far", "it went", 300.0, |on| {
        for i in 0..lines as i32 {
            let bent = [(i, 3 * i), (900 - i, 2 * i), (3800, i)];
            on.area
                .draw(&PathElement::new(bent, theme::LINE.stroke_width(10)))?;
        }
        for i in 0..marks as i32 {
            let at = (i % 3800, (7 * i) % 2900);
            on.area.draw(&Circle::new(at, 30, theme::RUN.filled()))?;
        }
        for i in 0..texts as i32 {
            let font = ("sans-serif", 120).into_font();
            on.area
                .draw(&Text::new("how far it went, cm", (40, 100 * i), font))?;
        }
        Ok(())
    });
    drawn.expect("whole numbers are finite").file()
}
