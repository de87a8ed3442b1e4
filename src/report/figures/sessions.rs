//! Sessions in order: how far did each day differ, does the floor explain it, does the vehicle drift over the season?

use super::entry::{About, Entry, Plate, ReaderQuestion, TableRow};
use super::labels::{EndLabel, Kinds, label_ends};
use super::marks::{self, Mark, Shape};
use super::session_names::SessionNames;
use super::style::{self, HEAD, LABELS, SIDE};
use crate::calibration::{Story, StorySession};
use crate::error::Error;
use crate::report::svg::theme::{self, INK, LINE, SOFT, WARN};
use crate::report::svg::{self, Chart, DrawError, Drawn, Figure, Sheet, Span, pen, px};
use crate::report::{priors, words};
use crate::stats::interval::Interval;
use plotters::chart::ChartBuilder;
use plotters::element::{PathElement, Rectangle};
use plotters::series::{DashedLineSeries, LineSeries};
use plotters::style::Color;

/// Sessions in order.
pub const FIGURE: Entry = Entry {
    name: "sessions",
    question: ReaderQuestion::Why,
    tell,
};

/// Sessions of one rig, in season order.
#[derive(Debug, Clone)]
pub struct SessionsView {
    /// One entry for each session.
    pub sessions: Vec<Session>,
    /// Floors, in the order that [`Session::floor`] counts; one blank where none was written.
    pub floors: Vec<String>,
    /// Typical day-to-day difference along, m.
    pub typical_m: f64,
    /// Typical day-to-day difference in heading, m per m; `None` where nothing is known across.
    pub typical_across: Option<f64>,
}

/// One session.
#[derive(Debug, Clone)]
pub struct Session {
    /// Its label.
    pub label: String,
    /// Index of its floor.
    pub floor: usize,
    /// How far longer its runs went, m.
    pub shift_m: Option<Interval>,
    /// How far more to the right they headed, m per m.
    pub shift_across: Option<Interval>,
    /// The drift chart after it; `None` with few sessions.
    pub drift: Option<DriftPoint>,
}

/// The drift chart after one session (an exponentially weighted moving average), m.
#[derive(Debug, Clone, Copy)]
pub struct DriftPoint {
    /// Mean residual of the session's runs.
    pub value_m: f64,
    /// The moving average after it.
    pub average_m: f64,
    /// How far from zero the average may lie by chance.
    pub limit_m: f64,
}

fn tell(about: &About, name: &str) -> Result<Option<Plate>, Error> {
    let Some(story) = about.story() else {
        return Ok(None);
    };
    let view = numbers(about, story);
    if view.sessions.len() < 2 {
        return Ok(Some(Plate {
            title: "Sessions in order".to_string(),
            caption: "The log has one session: how much days differ, it cannot say. Two more days of a few runs each would begin to tell.".to_string(),
            ..Plate::default()
        }));
    }
    let drifts = view.sessions.iter().any(|s| s.drift.is_some());
    let caption = format!(
        "How far each day’s runs went beyond (or short of) the season, and how much more to one side; the bar says how sure that is. A day on another floor may differ more than any here.{}{}",
        if drifts {
            " The dark line is an average that forgets slowly: as long as it stays between the dashed lines, the vehicle does not creep longer or shorter over the season."
        } else {
            ""
        },
        priors::in_days(about.rig)
    );
    let head = if drifts {
        vec![
            "session",
            "along, cm",
            "direction, cm per m",
            "mean, cm",
            "average, cm",
            "limits, ± cm",
        ]
    } else {
        vec!["session", "along, cm", "direction, cm per m"]
    };
    Ok(Some(Plate {
        head,
        rows: rows(about, &view, drifts),
        fold: fold(&view, drifts),
        ..Plate::new(draw(name, &view)?, caption)
    }))
}

fn numbers(about: &About, story: &Story) -> SessionsView {
    let known = about.rig.situation.rig;
    let mut floors: Vec<String> = Vec::new();
    let mut place_of = |floor: String| {
        floors.iter().position(|f| *f == floor).unwrap_or_else(|| {
            floors.push(floor);
            floors.len() - 1
        })
    };
    // The drift chart has a value for each session with fitted runs, in the same order.
    let mut drift = story.drift.iter().flat_map(|d| {
        let rest = d.averages_m.iter().zip(&d.limits_m);
        d.values_m
            .iter()
            .zip(rest)
            .map(|(value, (average, limit))| DriftPoint {
                value_m: *value,
                average_m: *average,
                limit_m: *limit,
            })
    });
    let of_session = |s: &StorySession| Session {
        label: words::label(&s.label),
        floor: place_of(words::label(&s.floor)),
        shift_m: s.shift_m,
        shift_across: s.shift_rad,
        drift: s.shift_m.and_then(|_| drift.next()),
    };
    let differing = |s: &&StorySession| s.shift_m.is_some() || s.shift_rad.is_some();
    let sessions = story
        .sessions
        .iter()
        .filter(differing)
        .map(of_session)
        .collect();
    SessionsView {
        sessions,
        floors,
        typical_m: known.travel.between_sessions_m.estimate,
        typical_across: known
            .heading
            .as_ref()
            .map(|h| h.between_sessions_rad.estimate),
    }
}

/// Most sessions listed in numbers; the figure shows all of them.
const LISTED_MAX: usize = 24;

fn rows(about: &About, view: &SessionsView, drifts: bool) -> Vec<TableRow> {
    let known = about.rig.situation.rig;
    let cell =
        |i: Option<Interval>| i.map_or_else(String::new, |i| words::interval(&i.scaled(100.0)));
    let row = |what: String, along, across, drift: Option<DriftPoint>| {
        let mut row = vec![what, cell(along), cell(across)];
        if drifts {
            let of = |m: fn(DriftPoint) -> f64| {
                drift.map_or_else(String::new, |d| words::figures(100.0 * m(d)))
            };
            row.extend([of(|d| d.value_m), of(|d| d.average_m), of(|d| d.limit_m)]);
        }
        row
    };
    let mut rows = vec![row(
        "from one day to the next (SD)".to_string(),
        Some(known.travel.between_sessions_m),
        known.heading.as_ref().map(|h| h.between_sessions_rad),
        None,
    )];
    let from = view.sessions.len().saturating_sub(LISTED_MAX);
    let of_session = |s: &Session| row(s.label.clone(), s.shift_m, s.shift_across, s.drift);
    rows.extend(view.sessions[from..].iter().map(of_session));
    rows
}

fn fold(view: &SessionsView, drifts: bool) -> Vec<String> {
    let sessions = view.sessions.len();
    let mut fold = Vec::new();
    if sessions > LISTED_MAX {
        fold.push(format!(
            "Of {sessions} sessions the last {LISTED_MAX} are listed."
        ));
    }
    fold.push("Shift of each session as the fit sees it: pulled towards the season the more the fewer runs it has (best linear unbiased prediction, averaged over the ratio of the spreads).".to_string());
    if drifts {
        fold.push("Average: exponentially weighted moving average of the sessions' mean residuals, weight 0.3, limits at three standard deviations, which are told from how much each session differs from the one before (NIST/SEMATECH e-Handbook 6.3.2.4 and 6.3.2.2).".to_string());
    }
    fold
}

const PLOT: f64 = 118.0;

/// The names below the charts.
fn names_below(view: &SessionsView) -> SessionNames {
    let labels = view.sessions.iter().map(|s| s.label.clone());
    SessionNames::new(labels.collect(), LABELS)
}

/// Draws the shift of each session, along with the drift chart, and across, in season order.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, view: &SessionsView) -> Result<Figure, Error> {
    let legend = view.floors().legend();
    let names = names_below(view).height();
    let top = legend.height();
    let middle = top + HEAD + PLOT + 8.0;
    let height = match view.typical_across {
        None => top + HEAD + PLOT + names,
        Some(_) => middle + HEAD + PLOT + names,
    };
    let title = "Sessions in order";
    svg::draw(name, title, &description(view), height, |on| {
        legend.draw(on)?;
        match view.typical_across {
            None => along(on, view, (top, height), Some(names)),
            Some(typical) => {
                along(on, view, (top, middle), None)?;
                across(on, view, typical, (middle, height), names)
            }
        }
    })
}

impl SessionsView {
    fn floors(&self) -> Kinds<'_> {
        Kinds {
            what: "floor",
            unnamed: "floor not written",
            labels: &self.floors,
            newest: self.sessions.last().map_or(0, |s| s.floor),
        }
    }
}

fn along(on: &Sheet, view: &SessionsView, between: (f64, f64), foot_room: Option<f64>) -> Drawn {
    let mut chart = panel(on, view, between, foot_room, |s| s.shift_m, view.typical_m)?;
    style::side(
        on,
        &mut chart,
        "cm longer (+) or shorter (−) than the season",
    )?;
    shifts(&mut chart, view, |s| s.shift_m, view.typical_m)?;
    if foot_room.is_some() {
        names_below(view).draw(on, &mut chart)?;
    }
    let mut labels = vec![typical_label(view.typical_m)];
    if let Some(last) = drift(&mut chart, view)? {
        labels.push(EndLabel::new(100.0 * last.average_m, "slow average", INK));
        let dashed = "dashed: its limits";
        labels.push(EndLabel::new(-100.0 * last.limit_m, dashed, INK));
    }
    label_ends(on, &chart, &labels)
}

fn across(
    on: &Sheet,
    view: &SessionsView,
    typical: f64,
    between: (f64, f64),
    foot_room: f64,
) -> Drawn {
    let mut chart = panel(
        on,
        view,
        between,
        Some(foot_room),
        |s| s.shift_across,
        typical,
    )?;
    style::side(
        on,
        &mut chart,
        "cm a metre more to the right (+) or left (−)",
    )?;
    shifts(&mut chart, view, |s| s.shift_across, typical)?;
    names_below(view).draw(on, &mut chart)?;
    label_ends(on, &chart, &[typical_label(typical)])
}

/// The word beside the band of the typical difference, which has no height where none was seen.
fn typical_label(typical: f64) -> EndLabel {
    let words = match typical {
        0.0 => "none was seen",
        _ => "typical difference",
    };
    EndLabel::new(100.0 * typical, words, LINE)
}

/// The chart of one shift; with room for names or numbers below, or a little air.
fn panel(
    on: &Sheet,
    view: &SessionsView,
    (top, bottom): (f64, f64),
    foot_room: Option<f64>,
    shift: impl Fn(&Session) -> Option<Interval>,
    typical: f64,
) -> Result<Chart<'static>, DrawError> {
    let ends = view.sessions.iter().filter_map(&shift);
    let ends = ends.flat_map(|i| [i.low, i.high]).chain([typical]);
    let y = Span::around(ends.map(|e| 100.0 * e), 0.06, 0.4).symmetric();
    let names = names_below(view);
    ChartBuilder::on(&on.between(top, bottom))
        .margin_top(px(HEAD))
        .margin_right(px(LABELS))
        .margin_bottom(px(foot_room.map_or(8.0, |_| 0.0)))
        .y_label_area_size(px(SIDE))
        .x_label_area_size(px(foot_room.unwrap_or(0.0)))
        .build_cartesian_2d(
            on.counting_axis(names.span(), names.numbers()),
            on.axis(y, 4),
        )
}

/// Each session's shift with how sure it is, on the band of the typical difference.
fn shifts(
    chart: &mut Chart,
    view: &SessionsView,
    shift: impl Fn(&Session) -> Option<Interval>,
    typical: f64,
) -> Drawn {
    let x = chart.x_range();
    let band = [(x.start, -100.0 * typical), (x.end, 100.0 * typical)];
    chart.draw_series([Rectangle::new(band, LINE.mix(0.16).filled())])?;
    let season = marks::level(chart, 0.0, LINE.stroke_width(pen(1.4)));
    chart.draw_series([season])?;
    let crowded = view.sessions.len() > 60;
    let known = view.sessions.iter().enumerate();
    let known: Vec<(f64, usize, Interval)> = known
        .filter_map(|(i, s)| {
            let kind = view.floors().shown(s.floor);
            Some((i as f64 + 1.0, kind, shift(s)?.scaled(100.0)))
        })
        .collect();
    let width = pen(if crowded { 0.8 } else { 1.6 });
    let bar = |&(x, _, i): &(f64, usize, Interval)| {
        PathElement::new([(x, i.low), (x, i.high)], SOFT.stroke_width(width))
    };
    chart.draw_series(known.iter().map(bar))?;
    let size = if crowded { 2.0 } else { 4.0 };
    chart.draw_series(known.iter().map(|&(x, floor, i)| {
        let color = theme::of_kind(floor);
        Mark::new((x, i.estimate), Shape::of_kind(floor), size, color)
    }))?;
    Ok(())
}

/// The slow average between its limits; gives its last point, where there is one.
fn drift(chart: &mut Chart, view: &SessionsView) -> Result<Option<DriftPoint>, DrawError> {
    let points = view.sessions.iter().enumerate();
    let points: Vec<(f64, DriftPoint)> = points
        .filter_map(|(i, s)| Some((i as f64 + 1.0, s.drift?)))
        .collect();
    for sign in [1.0, -1.0] {
        let limit = points.iter().map(|(x, d)| (*x, 100.0 * sign * d.limit_m));
        let limit: Vec<(f64, f64)> = limit.collect();
        chart.draw_series(DashedLineSeries::new(
            limit,
            px(6.0),
            px(4.0),
            INK.stroke_width(pen(1.2)),
        ))?;
    }
    let average = points.iter().map(|(x, d)| (*x, 100.0 * d.average_m));
    chart.draw_series(LineSeries::new(average, INK.stroke_width(pen(1.6))))?;
    let outside = points.iter().filter(|(_, d)| d.average_m.abs() > d.limit_m);
    chart.draw_series(
        outside.map(|(x, d)| Mark::new((*x, 100.0 * d.average_m), Shape::Cross, 5.0, WARN)),
    )?;
    Ok(points.last().map(|p| p.1))
}

fn description(view: &SessionsView) -> String {
    let extreme = view
        .sessions
        .iter()
        .filter_map(|s| Some((s, s.shift_m?.estimate)))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    let far = extreme.map_or_else(String::new, |(s, shift)| {
        format!(
            " The farthest off was {}, {}.",
            s.label,
            words::sided(shift, "longer", "shorter", "hardly different")
        )
    });
    let drift: Vec<(usize, DriftPoint)> = view
        .sessions
        .iter()
        .enumerate()
        .filter_map(|(i, s)| Some((i, s.drift?)))
        .collect();
    let outside = drift.iter().find(|(_, d)| d.average_m.abs() > d.limit_m);
    let creeps = match (outside, drift.is_empty()) {
        (_, true) => String::new(),
        (None, false) => {
            " A slow average over the sessions stays within what chance alone does.".to_string()
        }
        (Some((i, _)), false) => format!(
            " A slow average over the sessions leaves what chance alone does at session {}, {}.",
            i + 1,
            view.sessions[*i].label
        ),
    };
    format!(
        "How far each of {} differed from the season's line, along and in direction, with how sure that is; shaded, the typical difference.{far}{creeps}",
        words::count(view.sessions.len(), "session", "sessions")
    )
}
