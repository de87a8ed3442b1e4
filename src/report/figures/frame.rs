//! Axes: from quantities to points of a figure, with round numbers beside them.

use crate::report::svg::{Align, Canvas, HEIGHT_MAX, Pen, Type};
use crate::units;

/// One axis: the numbers at its two ends, which are never equal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// At the left or lower end.
    pub from: f64,
    /// At the right or upper end.
    pub to: f64,
}

impl Span {
    /// A span around all values, with a margin on both sides (a part of their range) and at least `least` wide.
    ///
    /// Values that are not finite are passed over (a figure refuses them where it would draw them).
    pub fn around(values: impl IntoIterator<Item = f64>, margin: f64, least: f64) -> Self {
        let (low, high) = values
            .into_iter()
            .filter(|v| v.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
                (l.min(v), h.max(v))
            });
        if low > high {
            return Span {
                from: 0.0,
                to: least,
            };
        }
        let short = (least - (high - low)).max(0.0) / 2.0;
        let by = margin * (high - low).max(least) + short;
        Span {
            from: low - by,
            to: high + by,
        }
    }

    /// The smallest span from −x to x that covers this one.
    pub fn symmetric(self) -> Self {
        let end = self.from.abs().max(self.to.abs());
        Span {
            from: -end,
            to: end,
        }
    }

    fn part(self, value: f64) -> f64 {
        (value - self.from) / (self.to - self.from)
    }

    /// Round numbers within the span, about `count` of them, with the decimals they need.
    pub fn ticks(self, count: usize) -> (Vec<f64>, usize) {
        let step = round_step((self.to - self.from).abs() / count.max(1) as f64);
        let decimals = (-step.log10().floor()).max(0.0) as usize;
        let first = (self.from.min(self.to) / step - 1e-9).ceil() as i64;
        let last = (self.from.max(self.to) / step + 1e-9).floor() as i64;
        let values = (first..=last).map(|k| k as f64 * step).collect();
        // 0.25 needs a digit more than its size says.
        let decimals = if step * 10f64.powi(decimals as i32) % 1.0 > 1e-6 {
            decimals + 1
        } else {
            decimals
        };
        (values, decimals)
    }
}

/// The smallest of 1, 2, 2.5, 5 times a power of ten that is at least `at_least`.
fn round_step(at_least: f64) -> f64 {
    let power = 10f64.powf(at_least.log10().floor());
    let found = [1.0, 2.0, 2.5, 5.0, 10.0]
        .into_iter()
        .find(|m| m * power >= at_least * (1.0 - 1e-9));
    found.unwrap_or(10.0) * power
}

/// A rectangle of a figure with an axis along its foot and one up its left side.
#[derive(Debug, Clone, Copy)]
pub struct Frame {
    /// Left edge, figure units.
    pub left: f64,
    /// Right edge.
    pub right: f64,
    /// Upper edge.
    pub top: f64,
    /// Lower edge.
    pub bottom: f64,
    /// Along the foot.
    pub x: Span,
    /// Up the side.
    pub y: Span,
}

impl Frame {
    /// The point of a pair of quantities.
    pub fn at(&self, x: f64, y: f64) -> (f64, f64) {
        (
            self.left + self.x.part(x) * (self.right - self.left),
            self.bottom - self.y.part(y) * (self.bottom - self.top),
        )
    }

    /// Help lines and numbers along the foot, with what they count below them.
    pub fn foot(&self, canvas: &mut Canvas, label: &str, count: usize) {
        let (values, decimals) = self.x.ticks(count);
        for value in values {
            let (x, _) = self.at(value, self.y.from);
            canvas.line(&[(x, self.bottom), (x, self.bottom + 4.0)], Pen::Soft, 1.0);
            canvas.text(
                (x, self.bottom + 13.0),
                &units::decimals(value, decimals),
                Type::small(Align::Middle),
            );
        }
        self.ground(canvas);
        self.foot_label(canvas, label);
    }

    /// What the foot counts, without numbers.
    pub fn foot_label(&self, canvas: &mut Canvas, label: &str) {
        canvas.text(
            ((self.left + self.right) / 2.0, self.bottom + 30.0),
            label,
            Type::small(Align::Middle).pen(Pen::Ink),
        );
    }

    /// The line the figure stands on.
    pub fn ground(&self, canvas: &mut Canvas) {
        canvas.line(
            &[(self.left, self.bottom), (self.right, self.bottom)],
            Pen::Soft,
            1.2,
        );
    }

    /// Help lines across and numbers up the side, with what they count above them.
    pub fn side(&self, canvas: &mut Canvas, label: &str, count: usize) {
        let (values, decimals) = self.y.ticks(count);
        for value in values {
            let (_, y) = self.at(self.x.from, value);
            canvas.line(&[(self.left, y), (self.right, y)], Pen::Grid, 1.0);
            canvas.text(
                (self.left - 6.0, y),
                &units::decimals(value, decimals),
                Type::small(Align::End),
            );
        }
        canvas.text(
            (4.0, self.top - 15.0),
            label,
            Type::small(Align::Start).pen(Pen::Ink),
        );
    }

    /// A stronger help line at a height.
    pub fn level(&self, canvas: &mut Canvas, y: f64, pen: Pen, width: f64) {
        canvas.line(
            &[self.at(self.x.from, y), self.at(self.x.to, y)],
            pen,
            width,
        );
    }

    /// The area between two curves over the same places.
    pub fn band(&self, canvas: &mut Canvas, points: &[(f64, f64, f64)], pen: Pen, opacity: f64) {
        let upper = points.iter().map(|&(x, _, high)| self.at(x, high));
        let lower = points.iter().rev().map(|&(x, low, _)| self.at(x, low));
        let outline: Vec<(f64, f64)> = upper.chain(lower).collect();
        canvas.area(&outline, pen, opacity);
    }
}

/// A figure of this many runs or fewer shows a mark for each.
pub const MARKS_MAX: usize = 2000;
/// Beyond it, one mark for each square of this side, figure units: marks that are nearer cannot be distinguished.
const BLOT: f64 = 6.0;

/// What is to be shown at a point of the figure.
pub type Placed<T> = ((f64, f64), T);

/// The points worth a mark: all of them, or in a figure of very many one for each spot ([`thinned_word`] says so).
pub fn thinned<T: Copy>(mut points: Vec<Placed<T>>) -> Vec<Placed<T>> {
    if points.len() > MARKS_MAX {
        // A bit for each square of the figure; `as` puts what lies outside into those at its edge.
        let mut taken = vec![0_u128; (HEIGHT_MAX / BLOT) as usize + 1];
        let last = taken.len() - 1;
        points.retain(|((x, y), _)| {
            let row = &mut taken[((y / BLOT) as usize).min(last)];
            let square = 1 << ((x / BLOT) as u32).min(u128::BITS - 1);
            let free = *row & square == 0;
            *row |= square;
            free
        });
    }
    points
}

/// What a figure of many marks says beside its words for one of them; nothing where every run has its mark.
pub fn thinned_word(word: &str, marks: usize) -> String {
    if marks > MARKS_MAX {
        format!("{word} (too many to draw each)")
    } else {
        word.to_string()
    }
}

/// Label heights moved until neighbours are `apart` from each other, in the order they had, within `from..=to`.
pub fn spread(heights: &[f64], apart: f64, from: f64, to: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..heights.len()).collect();
    order.sort_by(|&a, &b| heights[a].total_cmp(&heights[b]));
    let mut out = heights.to_vec();
    let mut last = from - apart;
    for &i in &order {
        out[i] = out[i].max(last + apart);
        last = out[i];
    }
    let mut next = to + apart;
    for &i in order.iter().rev() {
        out[i] = out[i].min(next - apart);
        next = out[i];
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_beside_an_axis_are_round() {
        let span = Span { from: 5.3, to: 9.8 };
        assert_eq!(span.ticks(5), (vec![6.0, 7.0, 8.0, 9.0], 0));
        let (values, decimals) = Span {
            from: -0.3,
            to: 0.31,
        }
        .ticks(4);
        assert_eq!(decimals, 1);
        assert_eq!(values.len(), 3);
        let (_, decimals) = Span { from: 0.0, to: 1.0 }.ticks(4);
        assert_eq!(decimals, 2); // 0.25
    }

    #[test]
    fn a_span_has_room_around_its_values_and_is_never_empty() {
        let span = Span::around([3.0, 3.0], 0.1, 1.0);
        assert!(span.from < 2.6 && span.to > 3.4);
        let none = Span::around([f64::NAN], 0.1, 1.0);
        assert!(none.to > none.from);
    }

    #[test]
    fn labels_that_would_overlap_move_apart_and_stay_inside() {
        let out = spread(&[50.0, 52.0, 10.0], 12.0, 0.0, 60.0);
        assert!((out[1] - out[0]).abs() >= 12.0 - 1e-9 && out[1] <= 60.0);
        assert_eq!(out[2], 10.0);
    }

    #[test]
    fn very_many_marks_are_thinned_to_what_can_be_seen() {
        let many: Vec<((f64, f64), ())> = (0..10_000)
            .map(|i| ((f64::from(i % 100), f64::from(i / 100)), ()))
            .collect();
        assert!(thinned(many.clone()).len() <= 17 * 17);
        assert!(thinned_word("one run", many.len()).contains("too many"));
        assert_eq!(thinned(many[..100].to_vec()).len(), 100);
        assert_eq!(thinned_word("one run", 100), "one run");
    }
}
