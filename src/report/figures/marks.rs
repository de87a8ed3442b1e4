//! Marks of runs: elements for plotters' series, and how very many of them are drawn.

use crate::report::svg::theme::{self, WARN};
use crate::report::svg::{Chart, Drawn, HEIGHT_MAX, pen, px, units_of};
use plotters::element::{Drawable, PathElement, PointCollection, Polygon};
use plotters::style::{Color, RGBColor, ShapeStyle};
use plotters_backend::{BackendCoord, DrawingBackend, DrawingErrorKind};
use std::collections::BTreeMap;

/// The shape of a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// A full circle.
    Dot,
    /// An empty circle.
    Ring,
    /// A full square standing on a corner.
    Diamond,
    /// A triangle, point up.
    Triangle,
    /// A full square.
    Square,
    /// An x.
    Cross,
}

impl Shape {
    /// The shape for one of several kinds side by side; with the colour of the kind (`theme::of_kind`) no two of the
    /// first sixteen are alike.
    pub fn of_kind(kind: usize) -> Shape {
        let shapes = [Shape::Dot, Shape::Diamond, Shape::Triangle, Shape::Square];
        shapes[(kind + kind / 4) % 4]
    }
}

/// An element of a series: a mark at a point, of about `radius` figure units.
#[derive(Debug, Clone, Copy)]
pub struct Mark<C> {
    at: C,
    shape: Shape,
    radius: f64,
    style: ShapeStyle,
}

impl<C> Mark<C> {
    /// A mark in a colour.
    pub fn new(at: C, shape: Shape, radius: f64, color: impl Color) -> Self {
        let width = match shape {
            Shape::Cross => 1.8,
            _ => 1.4,
        };
        Mark {
            at,
            shape,
            radius,
            style: color.stroke_width(pen(width)),
        }
    }
}

impl<'a, C: 'a> PointCollection<'a, C> for &'a Mark<C> {
    type Point = &'a C;
    type IntoIter = std::iter::Once<&'a C>;

    fn point_iter(self) -> Self::IntoIter {
        std::iter::once(&self.at)
    }
}

impl<C, DB: DrawingBackend> Drawable<DB> for Mark<C> {
    fn draw<I: Iterator<Item = BackendCoord>>(
        &self,
        mut points: I,
        backend: &mut DB,
        _: (u32, u32),
    ) -> Result<(), DrawingErrorKind<DB::ErrorType>> {
        let Some((x, y)) = points.next() else {
            return Ok(());
        };
        let part = |of: f64| px(of * self.radius);
        let style = &self.style;
        match self.shape {
            Shape::Dot => backend.draw_circle((x, y), pen(self.radius), style, true),
            Shape::Ring => backend.draw_circle((x, y), pen(self.radius), style, false),
            Shape::Diamond => {
                let r = part(1.25);
                backend.fill_polygon([(x, y - r), (x + r, y), (x, y + r), (x - r, y)], style)
            }
            Shape::Triangle => {
                let (r, foot) = (part(1.3), part(1.04));
                backend.fill_polygon([(x, y - r), (x + r, y + foot), (x - r, y + foot)], style)
            }
            Shape::Square => {
                let r = part(0.9);
                backend.draw_rect((x - r, y - r), (x + r, y + r), style, true)
            }
            Shape::Cross => {
                let r = part(1.0);
                backend.draw_path([(x - r, y - r), (x + r, y + r)], style)?;
                backend.draw_path([(x - r, y + r), (x + r, y - r)], style)
            }
        }
    }
}

/// The area between two curves over the same places, each as (place, low, high).
pub fn band(points: &[(f64, f64, f64)], style: impl Into<ShapeStyle>) -> Polygon<(f64, f64)> {
    let upper = points.iter().map(|&(x, _, high)| (x, high));
    let lower = points.iter().rev().map(|&(x, low, _)| (x, low));
    Polygon::new(upper.chain(lower).collect::<Vec<_>>(), style)
}

/// A level line across a chart.
pub fn level(chart: &Chart, y: f64, style: impl Into<ShapeStyle>) -> PathElement<(f64, f64)> {
    let across = chart.x_range();
    PathElement::new([(across.start, y), (across.end, y)], style)
}

/// One run of a chart, in its coordinates.
#[derive(Debug, Clone, Copy)]
pub struct RunMark {
    /// Where it stands.
    pub at: (f64, f64),
    /// Which of several kinds it is.
    pub kind: usize,
    /// Whether the program set it aside.
    pub set_aside: bool,
}

impl RunMark {
    fn element(&self, radius: f64) -> Mark<(f64, f64)> {
        if self.set_aside {
            return Mark::new(self.at, Shape::Cross, 4.2, WARN);
        }
        let (shape, color) = (Shape::of_kind(self.kind), theme::of_kind(self.kind));
        Mark::new(self.at, shape, radius, color)
    }
}

/// Draws runs as marks, kind by kind, those that were set aside last; very many are [`thinned`].
pub fn draw_runs(chart: &mut Chart, runs: &[RunMark]) -> Drawn {
    let radius = radius(runs.len());
    let mut shown = thinned(chart, runs.to_vec(), |r| r.at);
    shown.sort_by_key(|r| (r.set_aside, r.kind));
    chart.draw_series(shown.iter().map(|r| r.element(radius)))?;
    Ok(())
}

/// Radius of the dots of so many runs.
pub fn radius(runs: usize) -> f64 {
    match runs {
        0..=120 => 3.0,
        121..=600 => 2.2,
        _ => 1.7,
    }
}

/// A figure of this many runs or fewer shows a mark for each.
pub const MARKS_MAX: usize = 2000;
/// Beyond it, one mark for each square of this side, figure units: marks that are nearer cannot be distinguished.
const BLOT: f64 = 6.0;

/// What is said of a chart of runs at these places along its foot, whose columns are drawn [`apart`] or whose marks are
/// [`thinned`]; empty where every run is simply where it was.
pub fn said_of_columns(places: &[f64]) -> &'static str {
    let ends = places
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
            (low.min(*x), high.max(*x))
        });
    // About as many columns as a chart can show side by side.
    let step = ((ends.1 - ends.0) / 90.0).max(f64::MIN_POSITIVE);
    let columns = columns(places.iter().map(|x| ((x - ends.0) / step).round() as i64));
    if places.len() > MARKS_MAX {
        said_of_thinned(places.len())
    } else if columns.values().any(|count| *count > FEW) {
        " Runs at one setting are drawn a little apart sideways, so that each can be seen."
    } else {
        ""
    }
}

/// What is said of a chart of so many runs that not each has a mark; else empty.
pub fn said_of_thinned(runs: usize) -> &'static str {
    if runs > MARKS_MAX {
        " Where runs lie on each other one mark stands for several: they are too many to draw each."
    } else {
        ""
    }
}

/// The items worth a mark: all of them, or in a chart of very many one for each spot.
pub fn thinned<T>(chart: &Chart, mut items: Vec<T>, at: impl Fn(&T) -> (f64, f64)) -> Vec<T> {
    if items.len() > MARKS_MAX {
        // A bit for each square of the figure; `as` puts what lies outside into those at its edge.
        let mut taken = vec![0_u128; (HEIGHT_MAX / BLOT) as usize + 1];
        let last = taken.len() - 1;
        items.retain(|item| {
            let (x, y) = chart.backend_coord(&at(item));
            let row = &mut taken[((units_of(y) / BLOT) as usize).min(last)];
            let square = 1 << ((units_of(x) / BLOT) as u32).min(u128::BITS - 1);
            let free = *row & square == 0;
            *row |= square;
            free
        });
    }
    items
}

/// A column of this many marks or fewer stays one.
const FEW: usize = 8;
/// Widest that a column of marks is spread, figure units.
const COLUMN: f64 = 20.0;
/// Widens a column by this much for each mark in it.
const FOR_EACH: f64 = 0.5;
/// The golden ratio less 1: its multiples fill a range evenly, in any number.
const GOLDEN: f64 = 0.618_033_988_749_894_9;

/// How many marks stand in each column.
fn columns(places: impl Iterator<Item = i64>) -> BTreeMap<i64, usize> {
    let mut columns = BTreeMap::new();
    for place in places {
        *columns.entry(place).or_default() += 1;
    }
    columns
}

/// Moves marks that stand in one column apart sideways where they are many; each stays nearest to its own column.
pub fn apart<T>(chart: &Chart, marks: &mut [T], at: impl Fn(&mut T) -> &mut (f64, f64)) {
    let across = chart.plotting_area().get_pixel_range().0;
    let range = chart.x_range();
    let per_unit = (range.end - range.start) / units_of(across.end - across.start);
    // Columns that are nearer than this cannot be told apart.
    let place = |x: f64| ((x - range.start) / (3.0 * per_unit)).round() as i64;
    let columns = columns(marks.iter_mut().map(|mark| place(at(mark).0)));
    let places: Vec<i64> = columns.keys().copied().collect();
    let steps = places.windows(2).map(|p| p[1] - p[0]);
    let gap = 3.0 * steps.min().unwrap_or(i64::MAX) as f64;
    let mut seen: BTreeMap<i64, usize> = BTreeMap::new();
    for mark in marks.iter_mut() {
        let point = at(mark);
        let column = place(point.0);
        if columns[&column] <= FEW {
            continue;
        }
        let nth = seen.entry(column).or_default();
        let width = (FOR_EACH * columns[&column] as f64)
            .min(COLUMN)
            .min(0.7 * gap);
        *nth += 1;
        point.0 += width * per_unit * ((*nth as f64 * GOLDEN).fract() - 0.5);
    }
}

/// Colour of a run's mark inside or outside of what was expected.
pub fn inside_or_out(at: (f64, f64), is_inside: bool, radius: f64) -> Mark<(f64, f64)> {
    let color: RGBColor = if is_inside { theme::RUN } else { WARN };
    if is_inside {
        Mark::new(at, Shape::Dot, radius, color)
    } else {
        Mark::new(at, Shape::Cross, 4.2, color)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::svg::{self, Span};
    use plotters::chart::ChartBuilder;

    fn with_chart(test: impl Fn(&Chart)) {
        let span = Span {
            from: 0.0,
            to: 100.0,
        };
        svg::draw("probe", "", "", 100.0, |on| {
            let (x, y) = (on.axis(span, 0), on.axis(span, 0));
            test(&ChartBuilder::on(&on.area).build_cartesian_2d(x, y)?);
            Ok(())
        })
        .unwrap();
    }

    #[test]
    fn very_many_marks_are_thinned_to_what_can_be_seen() {
        let many: Vec<(f64, f64)> = (0..10_000)
            .map(|i| (f64::from(i % 100), f64::from(i / 100)))
            .collect();
        with_chart(|chart| {
            assert!(thinned(chart, many.clone(), |p| *p).len() <= 71 * 18);
            assert_eq!(thinned(chart, many[..100].to_vec(), |p| *p).len(), 100);
        });
        assert!(said_of_thinned(many.len()).contains("too many"));
        assert!(said_of_columns(&[7.0; 3000]).contains("too many"));
        assert!(said_of_columns(&[7.0; 45]).contains("apart"));
        let places: Vec<f64> = (0..500).map(|i| f64::from(i) / 7.0).collect();
        assert_eq!(said_of_columns(&places), "");
    }

    #[test]
    fn five_hundred_runs_at_one_setting_do_not_become_a_bar() {
        with_chart(|chart| {
            let mut runs: Vec<(f64, f64)> = (0..500).map(|i| (50.0, 0.2 * f64::from(i))).collect();
            runs.push((60.0, 0.0));
            apart(chart, &mut runs, |p| p);
            let away = runs[..500].iter().map(|p| (p.0 - 50.0).abs());
            let widest = away.fold(0.0, f64::max);
            assert!(widest > 1.0 && widest < 5.0, "{widest}");
            let mut few = vec![(50.0, 1.0); 5];
            apart(chart, &mut few, |p| p);
            assert_eq!(few, vec![(50.0, 1.0); 5]);
        });
    }
}
