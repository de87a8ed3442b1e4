//! Travel against turns: does distance go straight up with turns, and how far do runs scatter about the line?

use super::frame::{Frame, Span, thinned, thinned_word};
use super::legend::{Legend, Sign};
use crate::error::Error;
use crate::report::svg::{self, Align, Canvas, Figure, Mark, Pen, Type, WIDTH};
use crate::report::words;

/// Travel of one rig.
#[derive(Debug, Clone)]
pub struct TravelView {
    /// Every run shown.
    pub runs: Vec<TravelRun>,
    /// Labels of the builds, in the order that [`TravelRun::build`] counts.
    pub builds: Vec<String>,
    /// The line, by rising turns.
    pub line: Vec<LinePoint>,
    /// The level of the bands, in words (`19 of 20`).
    pub level: String,
    /// Distance per turn, m.
    pub distance_per_turn_m: f64,
}

/// One run.
#[derive(Debug, Clone, Copy)]
pub struct TravelRun {
    /// Turns wound on.
    pub turns: f64,
    /// Path rolled.
    pub arc_m: f64,
    /// Residual: path rolled less the fitted path at this setting, m.
    pub beyond_m: f64,
    /// Its build.
    pub build: usize,
    /// Whether the program set it aside.
    pub set_aside: bool,
}

/// The line at one number of turns.
#[derive(Debug, Clone, Copy)]
pub struct LinePoint {
    /// Turns.
    pub turns: f64,
    /// Expected path, m.
    pub arc_m: f64,
    /// How far the line itself may lie below and above, m (below is negative).
    pub line_m: (f64, f64),
    /// How far one run on a new day may come to rest short and long of it, m (short is negative).
    pub run_m: (f64, f64),
}

const LEFT: f64 = 46.0;

/// Draws travel against turns, and below it the residuals.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, travel: &TravelView) -> Result<Figure, Error> {
    let mut items: Vec<(Sign, String)> = Vec::new();
    let many = travel.builds.len() > 1;
    for (k, label) in travel.builds.iter().enumerate().take(8) {
        let word = match (many, label.is_empty()) {
            (false, _) => "one run".to_string(),
            (true, true) => "build without a name".to_string(),
            (true, false) => format!("build {label}"),
        };
        let word = thinned_word(&word, travel.runs.len());
        items.push((Sign::Mark(Mark::for_kind(k), Pen::for_kind(k)), word));
    }
    if travel.runs.iter().any(|r| r.set_aside) {
        items.push((Sign::Mark(Mark::Cross, Pen::Warn), "set aside".to_string()));
    }
    items.push((Sign::Line(Pen::Line), "the season's line".to_string()));
    items.push((
        Sign::Band(Pen::Line, 0.35),
        "where the line itself may lie".to_string(),
    ));
    items.push((
        Sign::Band(Pen::Line, 0.14),
        format!("{} runs on a new day", travel.level),
    ));
    let legend = Legend::new(items);

    let x = Span::around(travel.runs.iter().map(|r| r.turns), 0.06, 1.0);
    let top = legend.height() + 34.0;
    let upper = Frame {
        left: LEFT,
        right: WIDTH - 8.0,
        top,
        bottom: top + 170.0,
        x,
        y: Span::around(travel.runs.iter().map(|r| r.arc_m), 0.08, 0.1),
    };
    // A run that was set aside would press all others flat: it is shown at the edge, with how far it lies.
    let fitted = travel.runs.iter().filter(|r| !r.set_aside);
    let beyond = fitted.map(|r| 100.0 * r.beyond_m);
    let bands = travel
        .line
        .iter()
        .flat_map(|p| [100.0 * p.run_m.0, 100.0 * p.run_m.1]);
    let lower = Frame {
        top: upper.bottom + 62.0,
        bottom: upper.bottom + 62.0 + 150.0,
        y: Span::around(beyond.chain(bands), 0.06, 4.0).symmetric(),
        ..upper
    };
    let title = "Travel against turns";
    let description = format!(
        "Above: distance rolled against turns wound on, {} and the season's line, which rises {} cm a turn. Below: how far each run went beyond or stayed short of the line, with a narrow band for the line and a wide one for runs on a new day.",
        words::count(travel.runs.len(), "run", "runs"),
        words::figures(100.0 * travel.distance_per_turn_m)
    );
    svg::draw(name, title, &description, lower.bottom + 42.0, |canvas| {
        legend.draw(canvas, 0.0);
        upper.side(canvas, "distance rolled, m", 4);
        upper.ground(canvas);
        let line: Vec<(f64, f64)> = travel
            .line
            .iter()
            .map(|p| upper.at(p.turns, p.arc_m))
            .collect();
        canvas.line(&line, Pen::Line, 1.8);
        marks(canvas, &upper, travel, |r| r.arc_m);
        lower.side(canvas, "beyond the line (+) or short of it (−), cm", 5);
        let wide: Vec<_> = travel
            .line
            .iter()
            .map(|p| (p.turns, 100.0 * p.run_m.0, 100.0 * p.run_m.1))
            .collect();
        let narrow: Vec<_> = travel
            .line
            .iter()
            .map(|p| (p.turns, 100.0 * p.line_m.0, 100.0 * p.line_m.1))
            .collect();
        lower.band(canvas, &wide, Pen::Line, 0.14);
        lower.band(canvas, &narrow, Pen::Line, 0.35);
        lower.level(canvas, 0.0, Pen::Line, 1.8);
        let edge = lower.y.to;
        marks(canvas, &lower, travel, |r| {
            (100.0 * r.beyond_m).clamp(-edge, edge)
        });
        for run in travel
            .runs
            .iter()
            .filter(|r| 100.0 * r.beyond_m.abs() > edge)
        {
            let (x, y) = lower.at(run.turns, edge.copysign(run.beyond_m));
            let below = if run.beyond_m > 0.0 { 12.0 } else { -12.0 };
            let align = if x > 0.5 * WIDTH {
                Align::End
            } else {
                Align::Start
            };
            let far = words::long_or_short(run.beyond_m).replace("long", "beyond");
            canvas.text((x, y + below), &far, Type::small(align).pen(Pen::Warn));
        }
        lower.foot(canvas, "turns wound on", 7);
    })
}

/// A mark for each run (or each spot, where they are very many).
fn marks(canvas: &mut Canvas, frame: &Frame, travel: &TravelView, y: impl Fn(&TravelRun) -> f64) {
    let points = travel
        .runs
        .iter()
        .map(|r| (frame.at(r.turns, y(r)), *r))
        .collect();
    for (at, run) in thinned(points) {
        if run.set_aside {
            canvas.mark(at, Mark::Cross, 4.2, Pen::Warn);
        } else {
            canvas.mark(at, Mark::for_kind(run.build), 3.0, Pen::for_kind(run.build));
        }
    }
}
