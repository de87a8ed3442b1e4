//! Close up on the targets, to true scale: how far from it do runs come to rest?

use super::entry::{About, Entry, Plate, ReaderQuestion, row};
use super::floor::REST_POINTS;
use super::marks::{Mark, Shape};
use super::style::{END, START, bold, small};
use crate::decide::Setting;
use crate::decide::predict::Prediction;
use crate::error::Error;
use crate::report::svg::theme::{GRID, INK, LINE, RUN, SOFT};
use crate::report::svg::{self, Chart, DrawError, Drawn, Figure, Sheet, Span, pen, px};
use crate::report::{priors, words};
use crate::setup::Measure;
use crate::stats::interval::Interval;
use plotters::chart::ChartBuilder;
use plotters::element::Circle;
use plotters::series::{DashedLineSeries, LineSeries};
use plotters::style::{Color, TextStyle};

/// Where runs come to rest about the target.
pub const FIGURE: Entry = Entry {
    name: "rest",
    question: ReaderQuestion::HowFar,
    tell,
};

/// Predicted rest points about up to three targets.
#[derive(Debug, Clone)]
pub struct RestView {
    /// Shortest first, at most three.
    pub targets: Vec<RestTarget>,
    /// The chance that a run stops within the circle, in words (`19 of 20`).
    pub level: String,
    /// Whether only long and short count.
    pub along_only: bool,
}

/// One target.
#[derive(Debug, Clone)]
pub struct RestTarget {
    /// Its distance.
    pub target_m: f64,
    /// Where runs may come to rest, as (long, right) of it, m.
    pub rest_m: Vec<(f64, f64)>,
    /// The miss that the level's chance does not exceed, m.
    pub within_m: Option<f64>,
}

fn tell(about: &About, name: &str) -> Result<Option<Plate>, Error> {
    let rest = numbers(about);
    let reach_m = reach_m(&rest);
    let beyond = |t: &RestTarget| t.rest_m.iter().any(|&p| !within(p, reach_m));
    let caption = format!(
        "Each dot is a run as it may turn out on a new day at the printed setting; {} stop {}.{}{}",
        about.level(),
        if rest.along_only {
            "between the dashed lines"
        } else {
            "inside the circle"
        },
        if rest.targets.iter().any(beyond) {
            " A cross at the edge lies farther out."
        } else {
            ""
        },
        priors::in_travel(about.rig)
    );
    let rows = about.rig.three.iter().map(|(s, _)| {
        let across = s.right_m.map_or_else(String::new, |i| {
            format!("; {}", said(&i, words::right_or_left))
        });
        let what = format!("{} m", words::metres(s.target_m));
        row(
            &what,
            format!("{}{across}", said(&s.long_m, words::long_or_short)),
        )
    });
    Ok(Some(Plate {
        rows: rows.collect(),
        fold: vec![format!(
            "Central {} ranges for one run of a new session at exactly the rounded setting: a mixture of Student t distributions over the ratio of the two spreads (Box & Tiao 1973, ch. 5), carried through the geometry of the arc. The estimate is the median. They hold for a run that does not roll back, touch or go wrong.",
            about.percent()
        )],
        ..Plate::new(draw(name, &rest)?, caption)
    }))
}

/// An estimate with its interval, signs in words: `0.5 cm long (18 cm short to 19 cm long)`.
fn said(i: &Interval, side: fn(f64) -> String) -> String {
    format!("{} ({} to {})", side(i.estimate), side(i.low), side(i.high))
}

fn numbers(about: &About) -> RestView {
    let of_target = |(setting, prediction): &(Setting, Prediction)| RestTarget {
        target_m: setting.target_m,
        rest_m: prediction
            .rest_points()
            .take(REST_POINTS)
            .map(|(x, y)| (x - setting.target_m, y))
            .collect(),
        within_m: setting.miss_m.map(|m| m.high),
    };
    let situation = &about.rig.situation;
    RestView {
        targets: about.rig.three.iter().map(of_target).collect(),
        level: about.level(),
        along_only: situation.setup.score.measure == Measure::Line
            || situation.rig.heading.is_none(),
    }
}

/// Room left of the squares, for what is up and down.
const LEFT: f64 = 38.0;
const TOP: f64 = 24.0;
const GAP: f64 = 14.0;
/// Room below the last square, for what is left and right.
const BELOW: f64 = 22.0;
/// Side of one square alone, and of several.
const ALONE: f64 = 220.0;
const SEVERAL: f64 = 136.0;
/// Room for the largest of the circles, as a part of it.
const ROOM: f64 = 1.25;

/// Half the side of each square, m.
fn reach_m(rest: &RestView) -> f64 {
    let within = rest.targets.iter().filter_map(|t| t.within_m);
    ROOM * within.fold(0.05, f64::max)
}

fn within((long, right): (f64, f64), reach_m: f64) -> bool {
    long.abs() <= reach_m && right.abs() <= reach_m
}

/// Draws up to three targets close up with predicted rest points.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, rest: &RestView) -> Result<Figure, Error> {
    let count = rest.targets.len().max(1);
    let side = if count == 1 { ALONE } else { SEVERAL };
    let height = TOP + side * count as f64 + GAP * (count - 1) as f64 + BELOW;
    let reach_m = reach_m(rest);
    let help = help_lines(reach_m).ticks(HELP_LINES).0;
    let step_m = help.windows(2).map(|w| w[1] - w[0]).next();
    let square = step_m.map_or_else(String::new, |step| {
        format!("one small square is {}", words::cm_unit(step))
    });
    let circles = rest.targets.iter().filter_map(|t| {
        let within = words::within_cm_unit(t.within_m?);
        Some(format!("{} m: {within}", words::metres(t.target_m)))
    });
    let description = format!(
        "One square for each target, to true scale, long is up; {square}. {} of the runs stop within: {}.",
        rest.level,
        circles.collect::<Vec<_>>().join("; "),
    );
    let title = "Close up: where runs come to rest";
    svg::draw(name, title, &description, height, |on| {
        on.area
            .draw_text(&square, &small(SOFT, START), (px(LEFT), px(11.0)))?;
        // The longest on top, as on the floor.
        for (i, target) in rest.targets.iter().rev().enumerate() {
            let top = TOP + i as f64 * (side + GAP);
            let mut chart = square_at(on, (LEFT, top), side, reach_m)?;
            dots(&mut chart, target, reach_m)?;
            limit(&mut chart, target, rest.along_only)?;
            words_beside(on, target, &rest.level, (top, side))?;
        }
        let say = |text: &str, pos, x: f64| {
            let at = (px(x), px(height - BELOW + 11.0));
            on.area.draw_text(text, &small(SOFT, pos), at)
        };
        say("left", START, LEFT)?;
        say("right", END, LEFT + side)
    })
}

/// About so many help lines each way.
const HELP_LINES: usize = 8;

fn help_lines(reach_m: f64) -> Span {
    Span {
        from: -reach_m,
        to: reach_m,
    }
}

/// One square with its help lines; both ways in metres from the target.
fn square_at(
    on: &Sheet,
    (left, top): (f64, f64),
    side: f64,
    reach_m: f64,
) -> Result<Chart<'static>, DrawError> {
    let span = help_lines(reach_m);
    let part = on
        .area
        .clone()
        .shrink((px(left), px(top)), (px(side), px(side)));
    let (x, y) = (on.axis(span, HELP_LINES), on.axis(span, HELP_LINES));
    let mut chart = ChartBuilder::on(&part).build_cartesian_2d(x, y)?;
    chart
        .configure_mesh()
        .disable_axes()
        .bold_line_style(GRID.stroke_width(pen(1.0)))
        .draw()?;
    let middle = |ends: [(f64, f64); 2]| LineSeries::new(ends, GRID.stroke_width(pen(2.0)));
    chart.draw_series(middle([(-reach_m, 0.0), (reach_m, 0.0)]))?;
    chart.draw_series(middle([(0.0, -reach_m), (0.0, reach_m)]))?;
    Ok(chart)
}

fn dots(chart: &mut Chart, target: &RestTarget, reach_m: f64) -> Drawn {
    let inside = target.rest_m.iter().filter(|p| within(**p, reach_m));
    let dot =
        |&(long, right): &(f64, f64)| Circle::new((right, long), px(2.2), RUN.mix(0.6).filled());
    chart.draw_series(inside.map(dot))?;
    let edge = 0.97 * reach_m;
    // A number that is not finite stays what it is, and the axis refuses it.
    let at_edge = |x: f64| {
        if x.is_finite() {
            x.clamp(-edge, edge)
        } else {
            x
        }
    };
    let beyond = target.rest_m.iter().filter(|p| !within(**p, reach_m));
    chart.draw_series(beyond.map(|&(long, right)| {
        Mark::new((at_edge(right), at_edge(long)), Shape::Cross, 2.6, RUN)
    }))?;
    chart.draw_series([Mark::new((0.0, 0.0), Shape::Cross, 4.5, INK)])?;
    Ok(())
}

/// The circle that the level's share of runs stops in, or two lines where only long and short count.
fn limit(chart: &mut Chart, target: &RestTarget, along_only: bool) -> Drawn {
    let Some(within) = target.within_m else {
        return Ok(());
    };
    let dashed = |points: Vec<(f64, f64)>| {
        DashedLineSeries::new(points, px(7.0), px(5.0), LINE.stroke_width(pen(1.6)))
    };
    if along_only {
        let across = chart.x_range();
        for long in [-within, within] {
            chart.draw_series(dashed(vec![(across.start, long), (across.end, long)]))?;
        }
        return Ok(());
    }
    const CORNERS: u32 = 72;
    let corner = |k: u32| {
        let turn = f64::from(k) / f64::from(CORNERS) * std::f64::consts::TAU;
        (within * turn.sin(), within * turn.cos())
    };
    chart.draw_series(dashed((0..=CORNERS).map(corner).collect()))?;
    Ok(())
}

/// What is up and down, before a square; behind it the target, and what is within.
fn words_beside(on: &Sheet, target: &RestTarget, level: &str, (top, side): (f64, f64)) -> Drawn {
    let say = |text: &str, style: TextStyle, x: f64, y: f64| {
        on.area.draw_text(text, &style, (px(x), px(y)))
    };
    say("long", small(SOFT, END), LEFT - 5.0, top + 7.0)?;
    say("short", small(SOFT, END), LEFT - 5.0, top + side - 7.0)?;
    let (right, middle) = (LEFT + side + 14.0, top + side / 2.0);
    let head = format!("{} m", words::metres(target.target_m));
    let Some(within) = target.within_m else {
        return say(&head, bold(INK, START), right, middle);
    };
    say(&head, bold(INK, START), right, middle - 19.0)?;
    let stop = format!("{level} stop within");
    say(&stop, small(SOFT, START), right, middle)?;
    let size = words::within_cm_unit(within);
    say(&size, bold(LINE, START), right, middle + 19.0)
}
