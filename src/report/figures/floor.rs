//! The floor seen from above, to true scale: does the way bow where it should, and where do runs come to rest?

use super::entry::{About, Entry, Plate, ReaderQuestion, TableRow, row};
use super::labels::{ROW, spread};
use super::marks::{Mark, Shape};
use super::style::{END, MIDDLE, START, small, small_bold};
use crate::decide::Setting;
use crate::decide::clearance::accepted_chance;
use crate::decide::dial::Warning;
use crate::decide::predict::Prediction;
use crate::error::Error;
use crate::report::svg::theme::{FOURTH, GRID, INK, LINE, RUN, SECOND, SOFT, WARN};
use crate::report::svg::{self, Chart, Drawn, Figure, Sheet, Span, pen, px, round_step, units_of};
use crate::report::{priors, words};
use crate::units;
use plotters::chart::{ChartBuilder, LabelAreaPosition};
use plotters::element::{Circle, PathElement, Polygon};
use plotters::series::LineSeries;
use plotters::style::colors::TRANSPARENT;
use plotters::style::{Color, RGBColor, TextStyle};

/// The floor from above.
pub const FIGURE: Entry = Entry {
    name: "floor",
    question: ReaderQuestion::HowFar,
    tell,
};

/// The floor with the ways to some targets. Points are (ahead, right) of the start mark, m.
#[derive(Debug, Clone)]
pub struct FloorView {
    /// Shortest first.
    pub targets: Vec<FloorTarget>,
    /// Centres of the obstacle: one, or one for each target where it moves with it.
    pub obstacles_m: Vec<(f64, f64)>,
    /// Radius of the obstacle; 0 without one.
    pub obstacle_radius_m: f64,
    /// Free width either side of the line.
    pub lane_half_width_m: Option<f64>,
    /// Width of the vehicle.
    pub vehicle_width_m: Option<f64>,
}

/// One target with its way.
#[derive(Debug, Clone)]
pub struct FloorTarget {
    /// Straight ahead of the start mark.
    pub target_m: f64,
    /// The aim mark beside it; `None` where nothing is known across.
    pub aim_right_m: Option<f64>,
    /// Expected path, from the start mark to rest.
    pub path_m: Vec<(f64, f64)>,
    /// Where runs may come to rest.
    pub rest_m: Vec<(f64, f64)>,
}

/// Number of points along a drawn path.
const PATH_POINTS: usize = 40;
/// Predicted rest points shown for each target.
pub(super) const REST_POINTS: usize = 100;

fn tell(about: &About, name: &str) -> Result<Option<Plate>, Error> {
    let floor = numbers(about);
    let caption = format!(
        "Equal scale along and across: the expected way to {}, and where runs may come to rest.{}{}{}",
        match floor.targets.len() {
            1 => "the target",
            2 => "two targets",
            _ => "three targets",
        },
        hidden_said(&floor),
        retrim(about),
        priors::in_bend(about.rig)
    );
    Ok(Some(Plate {
        rows: rows(about),
        fold: vec!["The path is an arc with the trim's curvature; all chance in direction is put into the start heading. Gap: nearest approach to the obstacle less its radius and half the vehicle's width; on the wrong side it is negative.".to_string()],
        ..Plate::new(draw(name, &floor)?, caption)
    }))
}

fn numbers(about: &About) -> FloorView {
    let rig = about.rig;
    let of_target = |(setting, prediction): &(Setting, Prediction)| FloorTarget {
        target_m: setting.target_m,
        aim_right_m: setting.aim_right_m,
        path_m: prediction.median_path(PATH_POINTS),
        rest_m: prediction.rest_points().take(REST_POINTS).collect(),
    };
    let setup = rig.situation.setup;
    let obstacle = setup.obstacle.as_ref();
    let mut obstacles_m: Vec<(f64, f64)> = rig
        .three
        .iter()
        .filter_map(|(s, _)| obstacle.map(|o| (o.at.distance_m(s.target_m), o.right_m)))
        .collect();
    obstacles_m.dedup();
    FloorView {
        targets: rig.three.iter().map(of_target).collect(),
        obstacles_m,
        obstacle_radius_m: obstacle.map_or(0.0, |o| o.diameter_m / 2.0),
        lane_half_width_m: setup.lane.as_ref().map(|l| l.half_width_m),
        vehicle_width_m: setup.vehicle.width_m,
    }
}

fn rows(about: &About) -> Vec<TableRow> {
    let mut rows = Vec::new();
    for (s, _) in &about.rig.three {
        if let Some(gap) = s.gap_m {
            rows.push(row(
                &format!("gap at {} m", words::metres(s.target_m)),
                format!(
                    "{} cm, touch {}",
                    words::interval(&gap.scaled(100.0)),
                    s.touch_chance.map_or_else(String::new, words::chance)
                ),
            ));
        }
    }
    if let Some((low, high)) = about.rig.situation.rig.bend_wanted_per_m {
        let bend = |k: f64| {
            if k.is_finite() {
                words::figures(50.0 * k)
            } else {
                "no limit".to_string()
            }
        };
        rows.push(row(
            "bend that clears every target",
            format!("{} to {} cm per m²", bend(low), bend(high)),
        ));
    }
    rows
}

/// Advice on the trim: how the present bend compares with those that clear the obstacle at every target.
fn retrim(about: &About) -> String {
    let situation = &about.rig.situation;
    let (Some(trim), true) = (situation.trim(), about.calibration.setup.obstacle.is_some()) else {
        return String::new();
    };
    let at_8_m = |per_m: f64| 100.0 * 32.0 * per_m;
    let now = trim.curvature_point_per_m;
    let aside = clear_by_aim(about);
    match situation.rig.bend_wanted_per_m {
        None if aside => " Aimed at the target itself, no bend that was looked at clears the obstacle often enough at every target. The settings aim beside the target on purpose to clear it.".to_string(),
        None => " No bend that was looked at clears the obstacle often enough at every target: practise the tight ones, or ask whether the width in the set-up is right.".to_string(),
        Some((low, high)) if now >= low && now <= high => " Its bend clears the obstacle at every target often enough.".to_string(),
        Some((low, high)) => {
            let (a, b) = if now < low { (low - now, high - now) } else { (now - high, now - low) };
            let side = if now < low { "right" } else { "left" };
            let upto = if b.is_finite() { format!(" to {}", units::decimals(at_8_m(b), 0)) } else { " or more".to_string() };
            let then = match aside {
                true => " it aims at. As it bends now, the settings aim beside the target on purpose to clear it.",
                false => ". Moving the aim mark cannot do that.",
            };
            format!(
                " Re-trim it to bend {}{upto} cm more to the {side} at 8 m: then it clears the obstacle at every target{then}",
                units::decimals(at_8_m(a), 0)
            )
        }
    }
}

/// Whether the settings clear the obstacle, and keep to the lane, often enough because some aim beside the target on purpose.
fn clear_by_aim(about: &About) -> bool {
    let accepted = accepted_chance(&about.calibration.setup);
    let aside = |w: &Warning| matches!(w, Warning::OnPurpose(why) if why.right_m != 0.0);
    let settings = &about.rig.settings;
    let clears =
        |s: &Setting| (s.touch_chance.iter().chain(&s.leave_chance)).all(|c| *c <= accepted);
    settings.iter().all(clears) && settings.iter().flat_map(|s| &s.warnings).any(aside)
}

/// Room for the numbers up the side.
const LEFT: f64 = 40.0;
/// Width of the floor as drawn.
const FLOOR: f64 = 220.0;
const TOP: f64 = 12.0;
const FOOT: f64 = 42.0;
/// The floor is drawn at most this high.
const HEIGHT_MAX: f64 = 430.0;
/// At least this much floor is shown on either side of the line, m.
const SIDE_MIN_M: f64 = 0.7;
/// Dots that would stretch the floor to more than this part of the longest target, beyond it or to a side, are left out.
const BEYOND: f64 = 0.2;
const ASIDE: f64 = 0.4;

/// How much floor is shown.
struct Extent {
    /// Either side of the line, m.
    side_m: f64,
    /// Ahead of the start mark, m.
    ahead_m: f64,
    /// The lane's half width, where it is shown.
    lane_m: Option<f64>,
    /// Units of the figure to a metre.
    scale: f64,
}

impl Extent {
    fn of_floor(floor: &FloorView) -> Extent {
        let longest = floor.targets.iter().map(|t| t.target_m).fold(0.1, f64::max);
        let (aside, ahead) = (
            (ASIDE * longest).max(SIDE_MIN_M),
            (1.0 + BEYOND) * longest + 0.2,
        );
        let radius = floor.obstacle_radius_m;
        let obstacles = floor.obstacles_m.iter();
        let obstacles = obstacles.flat_map(|&(a, r)| [(a, r - radius), (a, r + radius)]);
        let aims = floor.targets.iter();
        let aims = aims.filter_map(|t| Some((t.target_m, t.aim_right_m?)));
        let ways = floor
            .targets
            .iter()
            .flat_map(|t| t.path_m.iter().chain(&t.rest_m).copied());
        // Not finite numbers are left for the axis to refuse.
        let shown = ways.filter(|p| p.0 <= ahead && p.1.abs() <= aside);
        let shown: Vec<(f64, f64)> = shown.chain(obstacles).chain(aims).collect();
        let half_vehicle = floor.vehicle_width_m.unwrap_or(0.0) / 2.0;
        let widest = shown.iter().map(|p| p.1.abs()).fold(SIDE_MIN_M, f64::max);
        let side_m = widest.min(2.0 * aside) + half_vehicle + 0.1;
        // A lane far wider than the ways would only make them small.
        let lane_m = floor.lane_half_width_m.filter(|&half| half <= 2.0 * side_m);
        let side_m = lane_m.map_or(side_m, |half| side_m.max(half + 0.1));
        let ahead_m = shown.iter().map(|p| p.0).fold(longest, f64::max) + 0.15;
        let scale = (FLOOR / (2.0 * side_m)).min(HEIGHT_MAX / ahead_m);
        Extent {
            side_m,
            ahead_m,
            lane_m,
            scale,
        }
    }

    fn holds(&self, (ahead, right): (f64, f64)) -> bool {
        (0.0..=self.ahead_m).contains(&ahead)
            && right.abs() <= self.side_m.max(FLOOR / self.scale / 2.0)
    }
}

/// How many dots lie outside of what is drawn; empty where all are inside.
fn hidden_said(floor: &FloorView) -> String {
    let extent = Extent::of_floor(floor);
    let dots = || floor.targets.iter().flat_map(|t| &t.rest_m);
    match dots().filter(|&&p| !extent.holds(p)).count() {
        0 => String::new(),
        hidden => format!(
            " {hidden} of the {} dots lie outside of the drawing.",
            dots().count()
        ),
    }
}

/// Draws the floor from above with the expected path to each target.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, floor: &FloorView) -> Result<Figure, Error> {
    let extent = Extent::of_floor(floor);
    let height = TOP + extent.ahead_m * extent.scale + FOOT;
    let title = "The floor from above, to true scale";
    svg::draw(name, title, &description(floor), height, |on| {
        let half = FLOOR / extent.scale / 2.0;
        let across = Span {
            from: -half,
            to: half,
        };
        let ahead = Span {
            from: 0.0,
            to: extent.ahead_m,
        };
        // One number a metre, or fewer where they would crowd.
        let every_m = round_step(26.0 / extent.scale).max(1.0);
        let count = (extent.ahead_m / every_m).ceil() as usize;
        let mut chart = ChartBuilder::on(&on.between(0.0, height - FOOT))
            .margin_top(px(TOP))
            .y_label_area_size(px(LEFT))
            .margin_right(px(svg::WIDTH - LEFT - FLOOR))
            .build_cartesian_2d(on.axis(across, 0), on.axis(ahead, count.max(1)))?;
        ground(on, &mut chart, &extent)?;
        ways(&mut chart, floor, &extent)?;
        obstacles(&mut chart, floor, &extent)?;
        labels(on, &chart, floor, &extent)
    })
}

/// Metres ahead, the line, the lane and the start mark.
fn ground(on: &Sheet, chart: &mut Chart, extent: &Extent) -> Drawn {
    chart
        .configure_mesh()
        .disable_x_mesh()
        .disable_x_axis()
        .bold_line_style(GRID.stroke_width(pen(1.0)))
        .axis_style(TRANSPARENT)
        .set_tick_mark_size(LabelAreaPosition::Left, px(3.0))
        .y_label_style(small(SOFT, END))
        .y_label_formatter(&|m| format!("{} m", units::at_most_decimals(*m, 1)))
        .draw()?;
    let upright =
        |right: f64, style| PathElement::new([(right, 0.0), (right, extent.ahead_m)], style);
    chart.draw_series([upright(0.0, GRID.stroke_width(pen(2.0)))])?;
    let sides = extent.lane_m.into_iter().flat_map(|half| [-half, half]);
    chart.draw_series(sides.map(|right| upright(right, FOURTH.stroke_width(pen(3.0)))))?;
    let (x, y) = chart.backend_coord(&(0.0, 0.0));
    let mark = PathElement::new(
        [(x - px(14.0), y), (x + px(14.0), y)],
        INK.stroke_width(pen(3.0)),
    );
    on.area.draw(&mark)?;
    let said = |text: &str, color: RGBColor, below: f64| {
        on.area
            .draw_text(text, &small(color, MIDDLE), (x, y + px(below)))
    };
    said("start mark", INK, 14.0)?;
    said("left  ←  as seen from here  →  right", SOFT, 31.0)
}

/// What the vehicle covers on its way to each target, the way, and where runs come to rest.
fn ways(chart: &mut Chart, floor: &FloorView, extent: &Extent) -> Drawn {
    let on_chart =
        |path: &[(f64, f64)]| -> Vec<(f64, f64)> { path.iter().map(|&(a, r)| (r, a)).collect() };
    let half_vehicle = floor.vehicle_width_m.unwrap_or(0.0) / 2.0;
    if half_vehicle > 0.0 {
        let swept = floor
            .targets
            .iter()
            .map(|t| on_chart(&swept(&t.path_m, half_vehicle)));
        chart.draw_series(swept.map(|outline| Polygon::new(outline, LINE.mix(0.10))))?;
    }
    for target in &floor.targets {
        let path = on_chart(&target.path_m);
        chart.draw_series(LineSeries::new(path, LINE.stroke_width(pen(1.6))))?;
    }
    let dots = floor.targets.iter().flat_map(|t| &t.rest_m);
    let shown = dots.filter(|p| extent.holds(**p) || !(p.0.is_finite() && p.1.is_finite()));
    chart.draw_series(shown.map(|&(a, r)| Circle::new((r, a), px(1.7), RUN.mix(0.55).filled())))?;
    for target in &floor.targets {
        let cross = Mark::new((0.0, target.target_m), Shape::Cross, 5.0, INK);
        let aim = target
            .aim_right_m
            .filter(|right| extent.holds((target.target_m, *right)));
        let aim =
            aim.map(|right| Mark::new((right, target.target_m), Shape::Triangle, 5.0, SECOND));
        chart.draw_series(std::iter::once(cross).chain(aim))?;
    }
    Ok(())
}

fn obstacles(chart: &mut Chart, floor: &FloorView, extent: &Extent) -> Drawn {
    let radius = px(floor.obstacle_radius_m * extent.scale);
    let circles = |style: plotters::style::ShapeStyle| {
        floor
            .obstacles_m
            .iter()
            .map(move |&(a, r)| Circle::new((r, a), radius, style))
    };
    chart.draw_series(circles(WARN.mix(0.25).filled()))?;
    chart.draw_series(circles(WARN.stroke_width(pen(1.6))))?;
    Ok(())
}

/// Words beside the floor, each with the point it speaks of.
struct Beside {
    /// Right and ahead, m.
    at: (f64, f64),
    rows: Vec<(String, TextStyle<'static>)>,
    color: RGBColor,
}

fn labels(on: &Sheet, chart: &Chart, floor: &FloorView, extent: &Extent) -> Drawn {
    let targets = floor.targets.iter().enumerate();
    let mut all: Vec<Beside> = targets
        .map(|(i, t)| of_target(t, i, floor.targets.len()))
        .collect();
    if let Some(&(ahead, right)) = floor.obstacles_m.last() {
        let mut rows = vec![("obstacle".to_string(), small(WARN, START))];
        if floor.obstacles_m.len() > 1 {
            rows.push(("(one place a target)".to_string(), small(WARN, START)));
        }
        all.push(Beside {
            at: (right + floor.obstacle_radius_m, ahead),
            rows,
            color: WARN,
        });
    }
    if let Some(half) = extent.lane_m {
        all.push(Beside {
            at: (half, 0.06 * extent.ahead_m),
            rows: vec![("edge of the lane".to_string(), small(FOURTH, START))],
            color: FOURTH,
        });
    }
    let start = |b: &Beside| {
        let (x, y) = chart.backend_coord(&b.at);
        (units_of(x), units_of(y))
    };
    // The first row stands at the height of its point.
    let boxes: Vec<(f64, f64)> = all
        .iter()
        .map(|b| {
            let rows = b.rows.len() as f64;
            (start(b).1 + ROW * (rows - 1.0) / 2.0, ROW * rows + 4.0)
        })
        .collect();
    let bottom = TOP + extent.ahead_m * extent.scale;
    for (beside, (middle, (_, high))) in all
        .iter()
        .zip(spread(&boxes, 0.0, bottom).into_iter().zip(boxes))
    {
        let first = middle - (high - 4.0 - ROW) / 2.0;
        let (x, y) = start(beside);
        let left = LEFT + FLOOR + 12.0;
        let way = [
            (px(x + 8.0), px(y)),
            (px(LEFT + FLOOR), px(y)),
            (px(left - 4.0), px(first)),
        ];
        on.area.draw(&PathElement::new(
            way,
            beside.color.mix(0.6).stroke_width(pen(0.8)),
        ))?;
        for (i, (row, style)) in beside.rows.iter().enumerate() {
            on.area
                .draw_text(row, style, (px(left), px(first + ROW * i as f64)))?;
        }
    }
    Ok(())
}

/// What is said beside target number `i` of `count`.
fn of_target(target: &FloorTarget, i: usize, count: usize) -> Beside {
    let name = match (i, count) {
        (_, 1) => "the target",
        (0, _) => "shortest",
        (i, n) if i + 1 == n => "longest",
        _ => "middle",
    };
    let words = format!("{} m, {name}", words::metres(target.target_m));
    let mut rows = vec![(words, small_bold(INK, START))];
    if let Some(aim) = target.aim_right_m {
        let words = format!("▲ aim {}", words::right_or_left(aim));
        rows.push((words, small(SECOND, START)));
    }
    Beside {
        at: (0.0, target.target_m),
        rows,
        color: SOFT,
    }
}

/// The outline of what a vehicle of a half width covers along a path.
fn swept(path: &[(f64, f64)], half: f64) -> Vec<(f64, f64)> {
    let side = |sign: f64| {
        (0..path.len()).map(move |i| {
            let (a, b) = (path[i.saturating_sub(1)], path[(i + 1).min(path.len() - 1)]);
            let (du, dv) = (b.0 - a.0, b.1 - a.1);
            let length = du.hypot(dv).max(1e-9);
            (
                path[i].0 - sign * half * dv / length,
                path[i].1 + sign * half * du / length,
            )
        })
    };
    let mut outline: Vec<(f64, f64)> = side(1.0).collect();
    let back: Vec<(f64, f64)> = side(-1.0).collect();
    outline.extend(back.into_iter().rev());
    outline
}

fn description(floor: &FloorView) -> String {
    let ways: Vec<String> = floor
        .targets
        .iter()
        .map(|t| {
            let widest = t
                .path_m
                .iter()
                .map(|p| p.1)
                .fold(0.0, |w: f64, r| if r.abs() > w.abs() { r } else { w });
            let aim = t.aim_right_m.map_or_else(String::new, |a| {
                format!(", aimed {}", words::right_or_left(a))
            });
            let bow = if t.path_m.len() > 1 && widest.abs() >= 0.0025 {
                format!(", bows up to {}", words::right_or_left(widest))
            } else {
                String::new()
            };
            format!("{} m{aim}{bow}", words::metres(t.target_m))
        })
        .collect();
    let obstacle = if floor.obstacles_m.is_empty() {
        ""
    } else {
        " The obstacle stands beside the ways or on the line."
    };
    format!(
        "Seen from above, start mark at the foot, equal scale along and across. The expected way to each target: {}. Dots show where {} runs may come to rest.{}{obstacle}",
        ways.join("; "),
        floor.targets.first().map_or(0, |t| t.rest_m.len()),
        hidden_said(floor)
    )
}
