//! What stands below a chart of sessions in order: their names while they fit, numbers where they are many.

use super::labels::{ROW, cut};
use super::style::{self, FOOT, MIDDLE, SIDE, SMALL, small};
use crate::report::svg::theme::SOFT;
use crate::report::svg::{Chart, Drawn, Sheet, Span, WIDTH, pen, px, text_width, units_of};
use plotters::element::PathElement;
use plotters::style::Color;

/// More sessions than this are numbered, not named.
const NAMED_MAX: usize = 14;
/// Least room between two names on one row.
const NAME_GAP: f64 = 6.0;
/// What lies left of the first session and right of the last one, in sessions.
const BESIDE: f64 = 0.6;

/// Names of the sessions of a chart, which stand at 1, 2, 3 … along its foot.
pub struct SessionNames {
    labels: Vec<String>,
    /// Room between neighbours.
    apart: f64,
}

impl SessionNames {
    /// The names below a chart with some room to its right.
    pub fn new(labels: Vec<String>, right: f64) -> Self {
        let apart = (WIDTH - SIDE - right) / (labels.len() as f64 - 1.0 + 2.0 * BESIDE);
        SessionNames { labels, apart }
    }

    /// The places along the foot.
    pub fn span(&self) -> Span {
        Span {
            from: 1.0 - BESIDE,
            to: self.labels.len().max(1) as f64 + BESIDE,
        }
    }

    /// About how many numbers stand along it.
    pub fn numbers(&self) -> usize {
        if self.are_named() { 0 } else { 8 }
    }

    /// How far from the left of the figure a place is.
    pub fn across(&self, place: f64) -> f64 {
        SIDE + (place - 1.0 + BESIDE) * self.apart
    }

    /// The room they take below the chart.
    pub fn height(&self) -> f64 {
        if self.are_named() {
            10.0 + ROW * self.rows() as f64
        } else {
            FOOT
        }
    }

    /// What the numbers count, with the names of the first and the last.
    fn key(&self) -> String {
        let says = |first: &str, last: &str| {
            format!("session: 1 is {first}, {} is {last}", self.labels.len())
        };
        let room = (WIDTH - SIDE - text_width(&says("", ""), SMALL)) / 2.0 - NAME_GAP;
        let name = |label: Option<&String>| cut(label.map_or("", |l| l), room, SMALL);
        says(&name(self.labels.first()), &name(self.labels.last()))
    }

    fn are_named(&self) -> bool {
        self.labels.len() <= NAMED_MAX
    }

    /// Rows that the names stand on in turn, so that neighbours do not touch: as few as they need.
    fn rows(&self) -> usize {
        const ROWS_MAX: usize = 3;
        let widths = self.labels.iter().map(|label| text_width(label, SMALL));
        let widest = widths.fold(0.0, f64::max) + NAME_GAP;
        let fitting = (1..ROWS_MAX).find(|rows| widest <= self.apart * *rows as f64);
        fitting.unwrap_or(ROWS_MAX.min(self.labels.len()))
    }

    /// Draws the line that the chart stands on with the names or numbers below it.
    pub fn draw(&self, on: &Sheet, chart: &mut Chart) -> Drawn {
        if !self.are_named() {
            return style::foot(chart, &self.key());
        }
        style::foot(chart, "")?;
        let rows = self.rows();
        let bottom = chart.plotting_area().get_pixel_range().1.end;
        for (i, label) in self.labels.iter().enumerate() {
            let (x, _) = chart.backend_coord(&(i as f64 + 1.0, 0.0));
            let row = (i % rows) as f64;
            let way = [(x, bottom), (x, bottom + px(3.0 + ROW * row))];
            on.area
                .draw(&PathElement::new(way, SOFT.stroke_width(pen(0.8))))?;
            let label = cut(label, self.apart * rows as f64 - NAME_GAP, SMALL);
            // A long name at either end leans inwards.
            let half = text_width(&label, SMALL) / 2.0 + 2.0;
            let middle = units_of(x).max(half).min(WIDTH - half);
            let at = (px(middle), bottom + px(11.0 + ROW * row));
            on.area.draw_text(&label, &small(SOFT, MIDDLE), at)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbered_sessions_say_which_the_first_and_the_last_are() {
        let days: Vec<String> = (1..=18).map(|day| format!("{day} May")).collect();
        let names = SessionNames::new(days, 14.0);
        assert_eq!(names.key(), "session: 1 is 1 May, 18 is 18 May");
        let long = SessionNames::new(vec!["a very long name of a day".repeat(4); 15], 14.0);
        assert!(
            text_width(&long.key(), SMALL) < WIDTH - SIDE,
            "{}",
            long.key()
        );
    }
}
