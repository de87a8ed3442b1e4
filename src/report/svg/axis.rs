//! Axes: plotters' ranged coordinate with round numbers beside it, which refuses numbers that are not finite.

use crate::report::words;
use crate::units;
use plotters::coord::ranged1d::{KeyPointHint, NoDefaultFormatting, Ranged, ValueFormatter};
use std::cell::Cell;
use std::ops::Range;
use std::rc::Rc;

/// A point farther out than this many of plotters' pixels is drawn there: far outside either way, and a legal number.
const FAR: f64 = 1e8;

/// The numbers at the two ends of an axis, which are never equal.
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
    /// Values that are not finite are passed over (an axis refuses them where they would be drawn).
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

    /// The width, in the unit of the ends.
    pub fn width(self) -> f64 {
        (self.to - self.from).abs()
    }

    /// Whole numbers within the span, about `count` of them, for what is counted.
    pub fn whole_numbers(self, count: usize) -> Vec<f64> {
        let step = round_step((self.width() / count.max(1) as f64).max(1.0));
        // Of the round steps from 1 up 2.5 alone is no whole number.
        let step = if step.fract() > 0.0 { 5.0 } else { step };
        let first = (self.from.min(self.to) / step).ceil() as i64;
        let last = (self.from.max(self.to) / step).floor() as i64;
        (first..=last).map(|k| k as f64 * step).collect()
    }

    fn part(self, value: f64) -> f64 {
        (value - self.from) / (self.to - self.from)
    }

    /// Round numbers within the span, about `count` of them, with the decimals they need.
    pub fn ticks(self, count: usize) -> (Vec<f64>, usize) {
        let step = round_step(self.width() / count.max(1) as f64);
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

/// The smallest of 1, 2, 2.5, 5 times a power of ten that is at least `at_least` (above 0).
pub fn round_step(at_least: f64) -> f64 {
    let power = 10f64.powf(at_least.log10().floor());
    let found = [1.0, 2.0, 2.5, 5.0, 10.0]
        .into_iter()
        .find(|m| m * power >= at_least * (1.0 - 1e-9));
    found.unwrap_or(10.0) * power
}

/// An axis of a chart.
#[derive(Debug, Clone)]
pub struct Axis {
    span: Span,
    ticks: Vec<f64>,
    decimals: usize,
    /// Set when a number that is not finite was to be drawn.
    strange: Rc<Cell<bool>>,
}

impl Axis {
    /// An axis over a span with about `count` round numbers beside it (none with 0).
    pub(super) fn new(span: Span, count: usize, strange: Rc<Cell<bool>>) -> Self {
        if !(span.from.is_finite() && span.to.is_finite() && span.from != span.to) {
            strange.set(true);
        }
        let (ticks, decimals) = match count {
            0 => (Vec::new(), 0),
            _ if strange.get() => (Vec::new(), 0),
            _ => span.ticks(count),
        };
        Axis {
            span,
            ticks,
            decimals,
            strange,
        }
    }

    /// An axis over a span of what is counted, with about `count` whole numbers beside it (none with 0).
    pub(super) fn counting(span: Span, count: usize, strange: Rc<Cell<bool>>) -> Self {
        let bare = Axis::new(span, 0, strange);
        let ticks = match count {
            0 => Vec::new(),
            _ if bare.strange.get() => Vec::new(),
            _ => span.whole_numbers(count),
        };
        Axis { ticks, ..bare }
    }

    /// The numbers at its ends.
    pub fn span(&self) -> Span {
        self.span
    }
}

impl Ranged for Axis {
    type FormatOption = NoDefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, (from, to): (i32, i32)) -> i32 {
        if !value.is_finite() {
            self.strange.set(true);
            return from;
        }
        let at = f64::from(from) + self.span.part(*value) * (f64::from(to) - f64::from(from));
        at.clamp(-FAR, FAR).round() as i32
    }

    /// The round numbers for help lines with a number; none for those between.
    fn key_points<Hint: KeyPointHint>(&self, hint: Hint) -> Vec<f64> {
        if hint.weight().allow_light_points() {
            return Vec::new();
        }
        self.ticks.clone()
    }

    fn range(&self) -> Range<f64> {
        self.span.from..self.span.to
    }
}

impl ValueFormatter<f64> for Axis {
    fn format_ext(&self, value: &f64) -> String {
        words::true_minus(&units::decimals(*value, self.decimals))
    }
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
    fn what_is_counted_has_whole_numbers() {
        let of = |sessions: f64| Span {
            from: 0.4,
            to: sessions + 0.6,
        };
        // A step of 2.5 would be the next round one.
        assert_eq!(of(18.0).whole_numbers(8), vec![5.0, 10.0, 15.0]);
        assert_eq!(
            of(15.0).whole_numbers(8),
            (1..=7).map(|k| 2.0 * f64::from(k)).collect::<Vec<_>>()
        );
        assert_eq!(of(3.0).whole_numbers(8), vec![1.0, 2.0, 3.0]);
    }

    #[test]
    fn a_span_has_room_around_its_values_and_is_never_empty() {
        let span = Span::around([3.0, 3.0], 0.1, 1.0);
        assert!(span.from < 2.6 && span.to > 3.4);
        let none = Span::around([f64::NAN], 0.1, 1.0);
        assert!(none.to > none.from);
    }

    #[test]
    fn numbers_below_zero_have_a_true_minus() {
        let axis = Axis::new(
            Span {
                from: -20.0,
                to: 20.0,
            },
            4,
            Rc::default(),
        );
        assert_eq!(axis.format_ext(&-10.0), "−10");
    }
}
