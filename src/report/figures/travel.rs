//! Travel against turns: does distance go straight up with turns, and how far do runs scatter about the line?

use super::entry::{About, Entry, Plate, ReaderQuestion, TableRow, interval_row, named, row};
use super::labels::{EndLabel, Kinds, Taken, label_ends};
use super::marks::{self, RunMark, draw_runs};
use super::style::{self, EDGE, FOOT, HEAD, LABELS, SIDE};
use crate::calibration::{Story, StoryRun, Travel};
use crate::decide::curves;
use crate::error::Error;
use crate::report::svg::theme::{LINE, WARN};
use crate::report::svg::{self, Chart, Drawn, Figure, Sheet, Span, pen, px};
use crate::report::{priors, words};
use crate::units;
use plotters::chart::ChartBuilder;
use plotters::series::LineSeries;
use plotters::style::Color;

/// Travel against turns.
pub const FIGURE: Entry = Entry {
    name: "travel",
    question: ReaderQuestion::Why,
    tell,
};

/// Travel of one rig.
#[derive(Debug, Clone)]
pub struct TravelView {
    /// Every run shown.
    pub runs: Vec<TravelRun>,
    /// Labels of the builds, in the order that [`TravelRun::build`] counts.
    pub builds: Vec<String>,
    /// The build in use.
    pub build: usize,
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

fn tell(about: &About, name: &str) -> Result<Option<Plate>, Error> {
    let Some(story) = about.story() else {
        return Ok(None);
    };
    let travel = numbers(about, story);
    let turns: Vec<f64> = travel.runs.iter().map(|r| r.turns).collect();
    let caption = format!(
        "Each mark is a run. A straight line means that every turn carries the vehicle equally far; the lower panel shows how far each run lies from it.{}{}{}",
        said_of_set_aside(travel.runs.iter().any(|r| r.set_aside)),
        marks::said_of_columns(&turns),
        priors::in_travel(about.rig)
    );
    Ok(Some(Plate {
        rows: rows(&about.rig.situation.rig.travel),
        fold: vec![format!(
            "Arc = roll-on of the build + distance per turn × turns (+ lead term) + session + run. Random-intercept mixed model; estimates by restricted maximum likelihood (Harville 1977), {} intervals by integrating over the ratio of the spreads with half-t prior (Box & Tiao 1973; Gelman 2006). Intervals of a spread are the shortest.",
            about.percent()
        )],
        ..Plate::new(draw(name, &travel)?, caption)
    }))
}

fn numbers(about: &About, story: &Story) -> TravelView {
    let situation = &about.rig.situation;
    let known = situation.known_travel();
    let of_run = |r: &StoryRun| TravelRun {
        turns: r.turns,
        arc_m: r.arc_m,
        beyond_m: r.arc_m - r.arc_fitted_m,
        build: r.build,
        set_aside: r.set_aside,
    };
    let runs = story.runs.iter().filter(|r| r.in_travel || r.set_aside);
    let line = curves::travel(
        situation,
        widened(known.turns_range, 0.25),
        about.calibration.level,
    );
    TravelView {
        runs: runs.map(of_run).collect(),
        builds: known
            .builds
            .iter()
            .map(|b| words::label(&b.label))
            .collect(),
        build: situation.build,
        line: line
            .into_iter()
            .map(|p| LinePoint {
                turns: p.x,
                arc_m: p.y,
                line_m: (p.line.0 - p.y, p.line.1 - p.y),
                run_m: (p.run.0 - p.y, p.run.1 - p.y),
            })
            .collect(),
        level: about.level(),
        distance_per_turn_m: known.distance_per_turn_m.estimate,
    }
}

/// The range of what was run with a margin of 4 % on both sides, and no less than `least`.
pub(super) fn widened((from, to): (f64, f64), least: f64) -> (f64, f64) {
    let margin = (0.04 * (to - from)).max(least);
    (from - margin, to + margin)
}

fn rows(travel: &Travel) -> Vec<TableRow> {
    let mut rows = vec![interval_row(
        "distance per turn",
        travel.distance_per_turn_m,
        100.0,
        "cm",
    )];
    for b in &travel.builds {
        let what = format!("roll-on{}", named(&b.label));
        rows.push(interval_row(&what, b.overshoot_m, 100.0, "cm"));
    }
    if let Some(lead) = travel.lead_m_per_turn {
        rows.push(interval_row("one more turn of lead", lead, 100.0, "cm"));
    }
    rows.push(interval_row(
        "from one run to the next (SD)",
        travel.run_to_run_m,
        100.0,
        "cm",
    ));
    rows.push(interval_row(
        "from one day to the next (SD)",
        travel.between_sessions_m,
        100.0,
        "cm",
    ));
    rows.extend(prior_and_hand_rolls(travel));
    rows
}

/// Rows of what stands beside the fit of travel: the prior on distance per turn, and the hand rolls.
fn prior_and_hand_rolls(travel: &Travel) -> Vec<TableRow> {
    let mut rows = Vec::new();
    if let Some(prior) = &travel.turn_prior {
        rows.push(row(
            "prior on distance per turn",
            format!(
                "{} ± {} cm, {} of its weight",
                words::figures(100.0 * prior.mean_m),
                words::figures(100.0 * prior.sd_m),
                words::share(travel.prior_share)
            ),
        ));
    }
    if let Some(hand) = &travel.hand_rolls {
        rows.push(interval_row(
            &format!("hand rolls ({})", hand.runs),
            hand.distance_per_turn_m,
            100.0,
            "cm a turn",
        ));
        for (target, o) in &hand.overshoot_at_m {
            rows.push(row(
                &format!(
                    "beyond the hand rolls' distance at {} m",
                    words::metres(*target)
                ),
                words::true_minus(&words::cm_unit(*o)),
            ));
        }
    }
    rows
}

const UPPER: f64 = 128.0;
const LOWER: f64 = 118.0;

/// Draws travel against turns, and below it the residuals.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, travel: &TravelView) -> Result<Figure, Error> {
    let legend = travel.kinds().legend();
    let top = legend.height();
    let middle = top + HEAD + UPPER + 6.0;
    let height = middle + HEAD + LOWER + FOOT;
    let description = format!(
        "Above: distance rolled against turns wound on, {} and the season's line, which rises {} cm a turn. Below: how far each run went beyond or stayed short of the line, with a narrow band for the line and a wide one for runs on a new day.{}",
        words::count(travel.runs.len(), "run", "runs"),
        words::figures(100.0 * travel.distance_per_turn_m),
        marks::said_of_thinned(travel.runs.len())
    );
    svg::draw(name, "Travel against turns", &description, height, |on| {
        legend.draw(on)?;
        distance(on, travel, (top, middle))?;
        residuals(on, travel, (middle, height))
    })
}

impl TravelView {
    fn kinds(&self) -> Kinds<'_> {
        Kinds {
            what: "build",
            unnamed: "build without a name",
            labels: &self.builds,
            newest: self.build,
        }
    }
}

fn turns(travel: &TravelView) -> Span {
    Span::around(travel.runs.iter().map(|r| r.turns), 0.06, 1.0)
}

/// What the crosses of a chart are, where it has some.
pub(super) fn said_of_set_aside(any: bool) -> &'static str {
    if any {
        " × marks a run that was set aside."
    } else {
        ""
    }
}

/// How far a run lies from the line, in few letters: `+2.4 m`, `−35 cm`.
fn said_far(beyond_m: f64) -> String {
    let sign = if beyond_m > 0.0 { '+' } else { '−' };
    if beyond_m.abs() < 1.0 {
        format!("{sign}{}", words::whole_cm_unit(beyond_m.abs()))
    } else {
        format!("{sign}{} m", units::decimals(beyond_m.abs(), 1))
    }
}

/// Runs as marks at a height of each.
fn run_marks(chart: &Chart, travel: &TravelView, y: impl Fn(&TravelRun) -> f64) -> Vec<RunMark> {
    let mut runs: Vec<RunMark> = travel
        .runs
        .iter()
        .map(|r| RunMark {
            at: (r.turns, y(r)),
            kind: travel.kinds().shown(r.build),
            set_aside: r.set_aside,
        })
        .collect();
    marks::apart(chart, &mut runs, |r| &mut r.at);
    runs
}

fn distance(on: &Sheet, travel: &TravelView, (top, bottom): (f64, f64)) -> Drawn {
    let y = Span::around(travel.runs.iter().map(|r| r.arc_m), 0.08, 0.1);
    let mut chart = ChartBuilder::on(&on.between(top, bottom))
        .margin_top(px(HEAD))
        .margin_right(px(LABELS))
        .margin_bottom(px(EDGE))
        .y_label_area_size(px(SIDE))
        .build_cartesian_2d(on.axis(turns(travel), 6), on.axis(y, 4))?;
    style::side(on, &mut chart, "distance rolled, m")?;
    let line: Vec<(f64, f64)> = travel.line.iter().map(|p| (p.turns, p.arc_m)).collect();
    chart.draw_series(LineSeries::new(line.clone(), LINE.stroke_width(pen(1.8))))?;
    let runs = run_marks(&chart, travel, |r| r.arc_m);
    draw_runs(&mut chart, &runs)?;
    let mut taken = Taken::none_of(&chart);
    taken.line(&chart, &line);
    for run in &runs {
        taken.mark(&chart, run.at, 4.0);
    }
    // One is named; of the others the caption says what their crosses are.
    if let Some(run) = runs.iter().find(|r| r.set_aside) {
        taken.say(on, &chart, run.at, "set aside", WARN)?;
    }
    let Some(&(_, end)) = line.last() else {
        return Ok(());
    };
    let words = format!(
        "season’s line: {} cm a turn",
        words::figures(100.0 * travel.distance_per_turn_m)
    );
    label_ends(on, &chart, &[EndLabel::new(end, words, LINE)])
}

/// More runs than this beyond the edge have no number beside them.
const NAMED_MAX: usize = 4;

fn residuals(on: &Sheet, travel: &TravelView, (top, bottom): (f64, f64)) -> Drawn {
    // A run that was set aside would press all others flat: it is shown at the edge, with how far it lies.
    let fitted = travel.runs.iter().filter(|r| !r.set_aside);
    let beyond = fitted.map(|r| 100.0 * r.beyond_m);
    let ends = travel
        .line
        .iter()
        .flat_map(|p| [100.0 * p.run_m.0, 100.0 * p.run_m.1]);
    let y = Span::around(beyond.chain(ends), 0.06, 4.0).symmetric();
    let mut chart = ChartBuilder::on(&on.between(top, bottom))
        .margin_top(px(HEAD))
        .margin_right(px(LABELS))
        .y_label_area_size(px(SIDE))
        .x_label_area_size(px(FOOT))
        .build_cartesian_2d(on.axis(turns(travel), 6), on.axis(y, 5))?;
    style::side(on, &mut chart, "cm beyond the line (+) or short of it (−)")?;
    let area = |of: fn(&LinePoint) -> (f64, f64), opacity: f64| {
        let ends = |p: &LinePoint| (p.turns, 100.0 * of(p).0, 100.0 * of(p).1);
        let points: Vec<_> = travel.line.iter().map(ends).collect();
        marks::band(&points, LINE.mix(opacity))
    };
    chart.draw_series([area(|p| p.run_m, 0.14), area(|p| p.line_m, 0.35)])?;
    let line = marks::level(&chart, 0.0, LINE.stroke_width(pen(1.8)));
    chart.draw_series([line])?;
    let at_most = |cm: f64| cm.clamp(-y.to, y.to);
    let runs = run_marks(&chart, travel, |r| at_most(100.0 * r.beyond_m));
    draw_runs(&mut chart, &runs)?;
    style::foot(&mut chart, "turns wound on")?;
    let mut taken = Taken::none_of(&chart);
    for run in &runs {
        taken.mark(&chart, run.at, 4.0);
    }
    let far = travel
        .runs
        .iter()
        .zip(&runs)
        .filter(|(run, _)| 100.0 * run.beyond_m.abs() > y.to);
    for (run, mark) in far.take(NAMED_MAX) {
        let far = said_far(run.beyond_m);
        taken.say(on, &chart, mark.at, &far, WARN)?;
    }
    let Some(last) = travel.line.last() else {
        return Ok(());
    };
    let labels = [
        EndLabel::new(
            100.0 * last.run_m.1,
            format!("{} runs on a new day", travel.level),
            LINE,
        ),
        EndLabel::new(0.0, "darker: the line itself", LINE),
    ];
    label_ends(on, &chart, &labels)
}
