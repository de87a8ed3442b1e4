//! Lateral bias against distance: does it point off, does it bend?

use super::entry::{About, Entry, Plate, ReaderQuestion, TableRow, interval_row, named, row};
use super::labels::{EndLabel, Kinds, Taken, label_ends};
use super::marks::{self, RunMark, draw_runs};
use super::style::{self, FOOT, HEAD, LABELS, SIDE};
use super::travel::{said_of_set_aside, widened};
use crate::calibration::{Story, StoryRun};
use crate::decide::curves;
use crate::error::Error;
use crate::geometry;
use crate::report::svg::theme::{INK, LINE, WARN};
use crate::report::svg::{self, Drawn, Figure, Sheet, Span, pen, px};
use crate::report::{priors, words};
use crate::units;
use plotters::chart::ChartBuilder;
use plotters::series::LineSeries;
use plotters::style::Color;

/// Lateral bias against distance.
pub const FIGURE: Entry = Entry {
    name: "bias",
    question: ReaderQuestion::Why,
    tell,
};

/// Where vehicles aimed straight at the target come to rest across the line.
#[derive(Debug, Clone)]
pub struct BiasView {
    /// Every run shown.
    pub runs: Vec<BiasRun>,
    /// Labels of the trims, in the order that [`BiasRun::trim`] counts.
    pub trims: Vec<String>,
    /// The trim of the line and bands.
    pub trim: usize,
    /// Its line, by rising distance.
    pub line: Vec<BiasPoint>,
    /// The level of the bands, in words.
    pub level: String,
}

/// One run, as it would have been with the mark on the target.
#[derive(Debug, Clone, Copy)]
pub struct BiasRun {
    /// How far it went, m.
    pub distance_m: f64,
    /// To the right of the line, m.
    pub right_m: f64,
    /// Its trim.
    pub trim: usize,
    /// Whether the program set it aside.
    pub set_aside: bool,
}

/// The fitted line at one distance; offsets are m, right positive.
#[derive(Debug, Clone, Copy)]
pub struct BiasPoint {
    /// Distance.
    pub distance_m: f64,
    /// Expected offset.
    pub right_m: f64,
    /// Ends of the interval for the line itself.
    pub line_m: (f64, f64),
    /// Ends of the prediction interval for a run of a new session.
    pub run_m: (f64, f64),
}

fn tell(about: &About, name: &str) -> Result<Option<Plate>, Error> {
    let Some(bias) = about.story().and_then(|story| numbers(about, story)) else {
        return Ok(None);
    };
    let caption = format!(
        "{}{}{}{}",
        caption(about),
        said_of_set_aside(bias.runs.iter().any(|r| r.set_aside)),
        marks::said_of_thinned(bias.runs.len()),
        priors::in_bend(about.rig)
    );
    Ok(Some(Plate {
        rows: rows(about),
        fold: vec!["Direction of the rest point less direction of the aim mark = straight + curvature/2 × arc + session + run, fitted like the travel. A weak prior centred on no bend keeps a short log from inventing one.".to_string()],
        ..Plate::new(draw(name, &bias)?, caption)
    }))
}

fn numbers(about: &About, story: &Story) -> Option<BiasView> {
    let situation = &about.rig.situation;
    let trims = &situation.rig.heading.as_ref()?.trims;
    let trim = situation.trim?;
    let arcs_m = widened(situation.known_travel().arc_range_m, 0.05);
    let line = curves::bias(situation, arcs_m, about.calibration.level)?;
    let of_run = |r: &StoryRun| {
        let trim = r.trim?;
        let chord = geometry::chord_of_arc(r.arc_m, trims[trim].curvature_point_per_m);
        Some(BiasRun {
            distance_m: chord,
            right_m: chord * r.heading_rad?.sin(),
            trim,
            set_aside: r.set_aside,
        })
    };
    let runs = story.runs.iter().filter(|r| r.in_heading || r.set_aside);
    Some(BiasView {
        runs: runs.filter_map(of_run).collect(),
        trims: trims.iter().map(|t| words::label(&t.label)).collect(),
        trim,
        // A path that bends comes to rest nowhere beyond its circle's diameter.
        line: line
            .into_iter()
            .filter(|p| p.y.is_finite())
            .map(|p| BiasPoint {
                distance_m: p.x,
                right_m: p.y,
                line_m: p.line,
                run_m: p.run,
            })
            .collect(),
        level: about.level(),
    })
}

fn rows(about: &About) -> Vec<TableRow> {
    let situation = &about.rig.situation;
    let mut rows = Vec::new();
    if let Some(h) = &situation.rig.heading {
        for t in &h.trims {
            let of = named(&t.label);
            let points = format!("points off{of} (+ right)");
            let bends = format!("bends{of} (+ right)");
            rows.push(interval_row(&points, t.straight_rad, 100.0, "cm per m"));
            rows.push(interval_row(&bends, t.curvature_per_m, 50.0, "cm per m²"));
            rows.push(row(
                &format!("share of the prior in the bend{of}"),
                words::share(t.prior_share),
            ));
        }
        let runs = "from one run to the next (SD)";
        let days = "from one day to the next (SD)";
        rows.push(interval_row(runs, h.run_to_run_rad, 100.0, "cm per m"));
        rows.push(interval_row(
            days,
            h.between_sessions_rad,
            100.0,
            "cm per m",
        ));
    }
    let of_trim = |label: &str| situation.trim().is_some_and(|t| t.label == label);
    for b in situation
        .rig
        .lateral_bias
        .iter()
        .filter(|b| of_trim(&b.trim))
    {
        let what = format!("bias at {} m", words::metres(b.distance_m));
        rows.push(interval_row(&what, b.right_m, 100.0, "cm"));
    }
    rows
}

fn caption(about: &About) -> String {
    let Some(trim) = about.rig.situation.trim() else {
        return String::new();
    };
    let side = |x: f64| if x > 0.0 { "right" } else { "left" };
    let straight = trim.straight_rad.estimate;
    let curve = 0.5 * trim.curvature_per_m.estimate;
    let points = if straight.abs() < 5e-4 {
        "points straight on".to_string()
    } else {
        format!(
            "points off to the {} by {} cm a metre",
            side(straight),
            units::decimals(100.0 * straight.abs(), 1)
        )
    };
    let bends = if curve.abs() * 64.0 < 0.01 {
        "hardly bends".to_string()
    } else {
        format!(
            "bends to the {} by {} cm at 8 m",
            side(curve),
            units::decimals(100.0 * 64.0 * curve.abs(), 0)
        )
    };
    format!(
        "Each mark is a run, where it would have come to rest if it had been aimed straight at the target. It {points} and {bends}."
    )
}

const PLOT: f64 = 178.0;

impl BiasView {
    fn kinds(&self) -> Kinds<'_> {
        Kinds {
            what: "trim",
            unnamed: "trim without a name",
            labels: &self.trims,
            newest: self.trim,
        }
    }
}

/// Draws lateral bias against distance.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, bias: &BiasView) -> Result<Figure, Error> {
    let legend = bias.kinds().legend();
    let top = legend.height();
    let height = top + HEAD + PLOT + FOOT;
    let ends: Vec<String> = bias
        .line
        .first()
        .into_iter()
        .chain(bias.line.last())
        .map(|p| {
            format!(
                "{} at {} m",
                words::right_or_left(p.right_m),
                words::metres(p.distance_m)
            )
        })
        .collect();
    let description = format!(
        "How far right (+) or left (−) of the target runs come to rest when the mark stands on the target itself, against distance. The line goes from {}.{}",
        ends.join(" to "),
        marks::said_of_thinned(bias.runs.len())
    );
    svg::draw(
        name,
        "Off to one side, against distance",
        &description,
        height,
        |on| {
            legend.draw(on)?;
            offsets(on, bias, (top, height))
        },
    )
}

fn offsets(on: &Sheet, bias: &BiasView, (top, bottom): (f64, f64)) -> Drawn {
    let distances = bias.runs.iter().map(|r| r.distance_m);
    let x = distances.chain(bias.line.iter().map(|p| p.distance_m));
    let ends = bias.line.iter().flat_map(|p| [p.run_m.0, p.run_m.1]);
    let across = bias.runs.iter().map(|r| r.right_m).chain(ends).chain([0.0]);
    let y = Span::around(across.map(|m| 100.0 * m), 0.06, 4.0);
    let mut chart = ChartBuilder::on(&on.between(top, bottom))
        .margin_top(px(HEAD))
        .margin_right(px(LABELS))
        .y_label_area_size(px(SIDE))
        .x_label_area_size(px(FOOT))
        .build_cartesian_2d(on.axis(Span::around(x, 0.04, 0.2), 6), on.axis(y, 6))?;
    style::side(
        on,
        &mut chart,
        "cm right (+) or left (−), aimed at the target",
    )?;
    let area = |of: fn(&BiasPoint) -> (f64, f64), opacity: f64| {
        let ends = |p: &BiasPoint| (p.distance_m, 100.0 * of(p).0, 100.0 * of(p).1);
        let points: Vec<_> = bias.line.iter().map(ends).collect();
        marks::band(&points, LINE.mix(opacity))
    };
    chart.draw_series([area(|p| p.run_m, 0.14), area(|p| p.line_m, 0.35)])?;
    let straight = marks::level(&chart, 0.0, INK.stroke_width(pen(1.0)));
    chart.draw_series([straight])?;
    let point = |p: &BiasPoint| (p.distance_m, 100.0 * p.right_m);
    let line: Vec<(f64, f64)> = bias.line.iter().map(point).collect();
    chart.draw_series(LineSeries::new(line.clone(), LINE.stroke_width(pen(1.8))))?;
    let of_run = |r: &BiasRun| RunMark {
        at: (r.distance_m, 100.0 * r.right_m),
        kind: bias.kinds().shown(r.trim),
        set_aside: r.set_aside,
    };
    let runs: Vec<RunMark> = bias.runs.iter().map(of_run).collect();
    draw_runs(&mut chart, &runs)?;
    style::foot(&mut chart, "distance, m")?;
    let mut taken = Taken::none_of(&chart);
    taken.line(&chart, &line);
    let across = chart.x_range();
    taken.line(&chart, &[(across.start, 0.0), (across.end, 0.0)]);
    for run in &runs {
        taken.mark(&chart, run.at, 4.0);
    }
    // One is named; of the others the caption says what their crosses are.
    if let Some(run) = runs.iter().find(|r| r.set_aside) {
        taken.say(on, &chart, run.at, "set aside", WARN)?;
    }
    end_labels(bias).map_or(Ok(()), |labels| label_ends(on, &chart, &labels))
}

/// What stands beside the line's end and the bands'.
fn end_labels(bias: &BiasView) -> Option<[EndLabel; 3]> {
    let last = bias.line.last()?;
    let label = &bias.trims[bias.trim];
    let of = if label.is_empty() || bias.trims.len() == 1 {
        "the season’s line".to_string()
    } else {
        format!("line of trim {label}")
    };
    let new_day = format!("{} runs on a new day", bias.level);
    Some([
        EndLabel::new(100.0 * last.run_m.1, new_day, LINE),
        EndLabel::new(100.0 * last.right_m, of, LINE),
        EndLabel::new(100.0 * last.run_m.0, "darker: the line itself", LINE),
    ])
}
