//! The floor seen from above, to true scale: does the way bow where it should, and where do runs come to rest?

use crate::error::Error;
use crate::report::svg::{self, Align, Canvas, Figure, Mark, Pen, Type};
use crate::report::words;

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

const LEFT: f64 = 40.0;
const RIGHT: f64 = 312.0;
const TOP: f64 = 34.0;
const FOOT: f64 = 46.0;
/// The floor is drawn at most this high.
const HEIGHT_MAX: f64 = 640.0;
/// At least this much floor is shown on either side of the line, m.
const SIDE_MIN_M: f64 = 0.7;

/// Draws the floor from above with the expected path to each target.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, floor: &FloorView) -> Result<Figure, Error> {
    let everything = || {
        floor
            .targets
            .iter()
            .flat_map(|t| t.path_m.iter().chain(&t.rest_m).copied())
            .chain(floor.obstacles_m.iter().flat_map(|&(a, r)| {
                let radius = floor.obstacle_radius_m;
                [(a, r - radius), (a, r + radius)]
            }))
            .chain(
                floor
                    .targets
                    .iter()
                    .filter_map(|t| Some((t.target_m, t.aim_right_m?))),
            )
    };
    let half_vehicle = floor.vehicle_width_m.unwrap_or(0.0) / 2.0;
    let reach = everything().map(|p| p.1.abs()).fold(SIDE_MIN_M, f64::max) + half_vehicle + 0.1;
    // A lane far wider than the ways would only make them small.
    let lane = floor.lane_half_width_m.filter(|&half| half <= 2.0 * reach);
    let reach = lane.map_or(reach, |half| reach.max(half + 0.1));
    let longest = floor.targets.iter().map(|t| t.target_m).fold(0.1, f64::max);
    let ahead = everything().map(|p| p.0).fold(longest, f64::max) + 0.15;
    let scale = ((RIGHT - LEFT) / (2.0 * reach)).min(HEIGHT_MAX / ahead);
    let height = TOP + ahead * scale + FOOT;
    let start_y = height - FOOT;
    let centre_x = (LEFT + RIGHT) / 2.0;
    let at = |(a, r): (f64, f64)| (centre_x + r * scale, start_y - a * scale);

    let title = "The floor from above, to true scale";
    let description = description(floor);
    svg::draw(name, title, &description, height, |canvas| {
        ground(canvas, scale, reach, ahead, &at);
        if let Some(half) = lane {
            for side in [-half, half] {
                canvas.line(&[at((0.0, side)), at((ahead, side))], Pen::Fourth, 3.0);
            }
            let (x, y) = at((0.35, half));
            canvas.text((x - 5.0, y), "lane", Type::small(Align::End));
        }
        for target in &floor.targets {
            if half_vehicle > 0.0 {
                let swept: Vec<(f64, f64)> = swept(&target.path_m, half_vehicle)
                    .into_iter()
                    .map(at)
                    .collect();
                canvas.area(&swept, Pen::Line, 0.10);
            }
        }
        for (i, target) in floor.targets.iter().enumerate() {
            let path: Vec<(f64, f64)> = target.path_m.iter().map(|&p| at(p)).collect();
            canvas.line(&path, Pen::Line, 1.6);
            for &rest in &target.rest_m {
                canvas.disc(at(rest), 1.7, Pen::Run, 0.55);
            }
            label_target(canvas, floor, i, &at);
        }
        for &centre in &floor.obstacles_m {
            canvas.disc(at(centre), floor.obstacle_radius_m * scale, Pen::Warn, 0.25);
            canvas.circle(
                at(centre),
                floor.obstacle_radius_m * scale,
                Pen::Warn,
                Some(1.6),
            );
        }
        label_obstacle(canvas, floor, scale, &at);
        let start = at((0.0, 0.0));
        canvas.line(
            &[(start.0 - 14.0, start.1), (start.0 + 14.0, start.1)],
            Pen::Ink,
            3.0,
        );
        canvas.text(
            (start.0, start.1 + 16.0),
            "start mark",
            Type::small(Align::Middle).pen(Pen::Ink),
        );
        canvas.text(
            (start.0, start.1 + 33.0),
            "left  ←  you stand here and look at the target  →  right",
            Type::small(Align::Middle),
        );
    })
}

fn ground(
    canvas: &mut Canvas,
    scale: f64,
    reach: f64,
    ahead: f64,
    at: &impl Fn((f64, f64)) -> (f64, f64),
) {
    // One number a metre, or every second where they would crowd.
    let every = if scale < 26.0 { 2 } else { 1 };
    for metre in (0..=ahead.floor() as usize).step_by(every) {
        let a = metre as f64;
        canvas.line(&[at((a, -reach)), at((a, reach))], Pen::Grid, 1.0);
        canvas.text(
            (LEFT - 8.0, at((a, 0.0)).1),
            &format!("{metre} m"),
            Type::small(Align::End),
        );
    }
    canvas.line(&[at((0.0, 0.0)), at((ahead, 0.0))], Pen::Grid, 2.0);
}

fn label_target(
    canvas: &mut Canvas,
    floor: &FloorView,
    i: usize,
    at: &impl Fn((f64, f64)) -> (f64, f64),
) {
    let target = &floor.targets[i];
    let centre = at((target.target_m, 0.0));
    canvas.mark(centre, Mark::Cross, 5.0, Pen::Ink);
    if let Some(aim) = target.aim_right_m {
        canvas.mark(at((target.target_m, aim)), Mark::Triangle, 5.0, Pen::Second);
    }
    let label_x = RIGHT + 14.0;
    canvas.line(
        &[(centre.0 + 9.0, centre.1), (label_x - 4.0, centre.1)],
        Pen::Soft,
        0.8,
    );
    let name = match (i, floor.targets.len()) {
        (_, 1) => "the target",
        (0, _) => "shortest",
        (i, n) if i + 1 == n => "longest",
        _ => "middle",
    };
    let words = format!("{} m, {name}", words::metres(target.target_m));
    canvas.text(
        (label_x, centre.1),
        &words,
        Type::small(Align::Start).pen(Pen::Ink).bold(),
    );
    if let Some(aim) = target.aim_right_m {
        let words = format!("▲ aim {}", words::right_or_left(aim));
        canvas.text(
            (label_x, centre.1 + 16.0),
            &words,
            Type::small(Align::Start).pen(Pen::Second),
        );
    }
}

fn label_obstacle(
    canvas: &mut Canvas,
    floor: &FloorView,
    scale: f64,
    at: &impl Fn((f64, f64)) -> (f64, f64),
) {
    let Some(&last) = floor.obstacles_m.last() else {
        return;
    };
    let (x, y) = at(last);
    let label_x = RIGHT + 14.0;
    canvas.line(
        &[
            (x + floor.obstacle_radius_m * scale + 3.0, y),
            (label_x - 4.0, y),
        ],
        Pen::Warn,
        0.8,
    );
    canvas.text(
        (label_x, y),
        "obstacle",
        Type::small(Align::Start).pen(Pen::Warn),
    );
    if floor.obstacles_m.len() > 1 {
        canvas.text(
            (label_x, y + 16.0),
            "(one place a target)",
            Type::small(Align::Start).pen(Pen::Warn),
        );
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
        String::new()
    } else {
        " The obstacle stands beside the ways or on the line.".to_string()
    };
    format!(
        "Seen from above, start mark at the foot, equal scale along and across. The expected way to each target: {}. Dots show where {} runs may come to rest.{obstacle}",
        ways.join("; "),
        floor.targets.first().map_or(0, |t| t.rest_m.len())
    )
}
