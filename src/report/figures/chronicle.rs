//! The season as it happened: how far from the target did each run come to rest, day by day, and what was new when?

use super::entry::{Plate, TableRow};
use super::labels::{Legend, ROW, cut, wrapped};
use super::marks::{self, Mark, Shape};
use super::session_names::SessionNames;
use super::style::{self, SIDE, SMALL, START, small, small_bold};
use crate::calibration::Chronicle;
use crate::calibration::chronicle::{LabelChange, RunMiss, SessionMisses};
use crate::error::Error;
use crate::log::run::Status;
use crate::report::svg::theme::{FOURTH, INK, LINE, RUN, SECOND, SOFT, WARN};
use crate::report::svg::{self, Chart, Drawn, Figure, Sheet, Span, WIDTH, pen, px, text_width};
use crate::report::{season_words, words};
use plotters::chart::ChartBuilder;
use plotters::element::PathElement;
use plotters::series::LineSeries;
use plotters::style::{Color, RGBColor};

/// File name without its end; also what the ids inside a page begin with.
pub const NAME: &str = "season";

/// The figure of a season with what stands around it; a sentence where it has one session.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn plate(told: &Chronicle) -> Result<Plate, Error> {
    let caption = season_words::misses(told);
    if told.sessions.len() < 2 {
        return Ok(Plate {
            title: season_words::MISSES.to_string(),
            caption,
            ..Plate::default()
        });
    }
    let flags = Flags::new(told);
    let unsaid = match told.changes().len() - flags.placed.len() {
        0 => "",
        _ => " Not every change has its name in the figure: the table has all.",
    };
    let places: Vec<f64> = places(told).map(|(x, _)| x).collect();
    let said = marks::said_of_thinned(places.len());
    Ok(Plate {
        head: vec!["session", "runs", "typical, cm", "best, cm", "new"],
        rows: rows(told),
        fold: season_words::of_misses(told, LISTED_MAX),
        ..Plate::new(draw(told, &flags)?, format!("{caption}{unsaid}{said}"))
    })
}

/// Most sessions listed in numbers; the figure shows all of them.
const LISTED_MAX: usize = 24;

fn rows(told: &Chronicle) -> Vec<TableRow> {
    let from = told.sessions.len().saturating_sub(LISTED_MAX);
    let of_session = |s: &SessionMisses| -> TableRow {
        let cm = |m: f64| words::figures(100.0 * m);
        vec![
            words::label(&s.label),
            s.counted().count().to_string(),
            cm(s.typical_m),
            cm(s.best_m),
            season_words::new_in(s),
        ]
    };
    told.sessions[from..].iter().map(of_session).collect()
}

const PLOT: f64 = 178.0;
/// Room to the right of the chart, for half of the last session's number.
const RIGHT: f64 = 14.0;
/// Room above the names of changes, for what the side counts.
const COUNTS: f64 = 20.0;
/// Part of the room between sessions that the runs of one spread over.
const SPREAD: f64 = 0.66;
/// Half of the bar of a typical run, in sessions.
const BAR: f64 = 0.4;
/// More sessions than this have their typical runs joined by a line.
const BARS_MAX: usize = 40;

fn draw(told: &Chronicle, flags: &Flags) -> Result<Figure, Error> {
    let names = names(told);
    let legend = legend(told);
    let top = legend.height() + COUNTS;
    let height = top + flags.height() + PLOT + names.height();
    svg::draw(
        NAME,
        season_words::MISSES,
        &season_words::description(told),
        height,
        |on| {
            legend.draw(on)?;
            let counts = if told.sessions.len() > BARS_MAX {
                "cm from the target; line: the typical run of each day"
            } else {
                "cm from the target; bars: the typical run of each day"
            };
            let at = (px(4.0), px(legend.height() + 8.0));
            on.area.draw_text(counts, &small(INK, START), at)?;
            misses(on, told, (top, height), flags)?;
            flags.draw(on, top)
        },
    )
}

fn names(told: &Chronicle) -> SessionNames {
    let labels = told.sessions.iter().map(|s| words::label(&s.label));
    SessionNames::new(labels.collect(), RIGHT)
}

/// The place along the foot of each run, sessions at 1, 2, 3 …: within its session in the order they were made.
fn places(told: &Chronicle) -> impl Iterator<Item = (f64, &RunMiss)> {
    let sessions = told.sessions.iter().enumerate();
    sessions.flat_map(|(i, session)| {
        let runs = session.runs.len() as f64;
        let place = move |k: usize| i as f64 + 1.0 + SPREAD * ((k as f64 + 0.5) / runs - 0.5);
        let each = session.runs.iter().enumerate();
        each.map(move |(k, run)| (place(k), run))
    })
}

/// Misses beyond this many times what 9 of 10 runs keep within are drawn at the upper edge.
const FAR: f64 = 2.0;

/// Where the chart ends, cm.
fn top_cm(told: &Chronicle) -> f64 {
    let counted = told.sessions.iter().flat_map(SessionMisses::counted);
    let mut sizes: Vec<f64> = counted.map(|run| 100.0 * run.miss_m).collect();
    sizes.sort_by(f64::total_cmp);
    let most = sizes.last().copied().unwrap_or(0.0);
    let nine_of_ten = sizes.get(9 * sizes.len() / 10).copied().unwrap_or(most);
    1.06 * most.min(FAR * nine_of_ten).max(1.0)
}

/// What a run's mark is, and its word in the legend.
fn kind(run: &RunMiss, top_cm: f64) -> (Shape, RGBColor, &'static str) {
    let is_far = 100.0 * run.miss_m > top_cm;
    match run.status {
        _ if run.set_aside && is_far => (Shape::Cross, WARN, "set aside, farther off"),
        _ if run.set_aside => (Shape::Cross, WARN, "set aside"),
        _ if is_far => (Shape::Ring, INK, "farther off than drawn"),
        Status::Recoil => (Shape::Triangle, SECOND, "rolled back"),
        Status::Touched => (Shape::Diamond, FOURTH, "touched the obstacle"),
        Status::Ok | Status::Void => (Shape::Dot, RUN, "run"),
    }
}

/// The marks that occur, where some are not plain runs.
fn legend(told: &Chronicle) -> Legend {
    let top = top_cm(told);
    let mut kinds: Vec<(Shape, RGBColor, String)> = Vec::new();
    for (_, run) in places(told) {
        let (shape, color, word) = kind(run, top);
        if !kinds.iter().any(|k| k.2 == word) {
            kinds.push((shape, color, word.to_string()));
        }
    }
    let only_plain = kinds.iter().all(|k| k.0 == Shape::Dot);
    Legend::new(kinds.into_iter().filter(|_| !only_plain))
}

fn misses(on: &Sheet, told: &Chronicle, (top, bottom): (f64, f64), flags: &Flags) -> Drawn {
    let names = names(told);
    let y = Span {
        from: 0.0,
        to: top_cm(told),
    };
    let mut chart = ChartBuilder::on(&on.between(top, bottom))
        .margin_top(px(flags.height()))
        .margin_right(px(RIGHT))
        .y_label_area_size(px(SIDE))
        .x_label_area_size(px(names.height()))
        .build_cartesian_2d(
            on.counting_axis(names.span(), names.numbers()),
            on.axis(y, 5),
        )?;
    style::levels(&mut chart)?;
    let step = |change: &LabelChange| {
        let x = change.session as f64 + 0.5;
        let color = if change.verdict.is_claim() { INK } else { SOFT };
        PathElement::new([(x, y.from), (x, y.to)], color.stroke_width(pen(1.0)))
    };
    chart.draw_series(told.changes().iter().map(step))?;
    runs(&mut chart, told)?;
    typical(&mut chart, told)?;
    names.draw(on, &mut chart)
}

/// A mark for each run; of very many those that can be seen.
fn runs(chart: &mut Chart, told: &Chronicle) -> Drawn {
    let top = top_cm(told);
    let all: Vec<(f64, &RunMiss)> = places(told).collect();
    let radius = marks::radius(all.len());
    let at = |x: f64, run: &RunMiss| (x, (100.0 * run.miss_m).min(0.985 * top));
    let shown = marks::thinned(chart, all, |&(x, run)| at(x, run));
    chart.draw_series(shown.into_iter().map(|(x, run)| {
        let (shape, color, _) = kind(run, top);
        Mark::new(at(x, run), shape, radius, color)
    }))?;
    Ok(())
}

/// A bar at the typical run of each session, or a line through them where they are many.
fn typical(chart: &mut Chart, told: &Chronicle) -> Drawn {
    let sessions = told.sessions.iter().enumerate();
    let points = sessions.map(|(i, s)| (i as f64 + 1.0, 100.0 * s.typical_m));
    if told.sessions.len() > BARS_MAX {
        chart.draw_series(LineSeries::new(points, LINE.stroke_width(pen(1.8))))?;
        return Ok(());
    }
    let bar = |(x, y): (f64, f64)| {
        PathElement::new([(x - BAR, y), (x + BAR, y)], LINE.stroke_width(pen(2.4)))
    };
    chart.draw_series(points.map(bar))?;
    Ok(())
}

/// Most rows of names above the chart.
const FLAG_ROWS: usize = 4;
/// Longest name of a change.
const FLAG_MAX: f64 = 260.0;
/// Least room between two on one row.
const FLAG_GAP: f64 = 8.0;

/// The names of changes above the chart, each at the top of a pole between the sessions before and since.
struct Flags {
    placed: Vec<Flag>,
    rows: usize,
}

struct Flag {
    lines: Vec<String>,
    /// Whether misses are said to have changed there.
    claimed: bool,
    pole: f64,
    left: f64,
    right: f64,
    /// The uppermost of its rows.
    row: usize,
}

impl Flag {
    fn rows(&self) -> std::ops::Range<usize> {
        self.row..self.row + self.lines.len()
    }
}

impl Flags {
    /// Those that there is room for: first what is claimed, then in order.
    fn new(told: &Chronicle) -> Self {
        let names = names(told);
        let mut flags = Flags {
            placed: Vec::new(),
            rows: 0,
        };
        for claimed in [true, false] {
            let changes = told.changes().iter();
            for change in changes.filter(|c| c.verdict.is_claim() == claimed) {
                flags.place(change, names.across(change.session as f64 + 0.5));
            }
        }
        flags
    }

    /// Puts up the name of a change in the uppermost rows where it is clear of others and of their poles.
    fn place(&mut self, change: &LabelChange, pole: f64) {
        let lines = flag_lines(&season_words::flag(change), WIDTH - 5.0 - pole);
        let width = lines
            .iter()
            .map(|line| flag_width(line))
            .fold(0.0, f64::max);
        let left = (pole + 3.0).min(WIDTH - 2.0 - width);
        let right = left + width;
        let meets = |flag: &Flag| left < flag.right + FLAG_GAP && right + FLAG_GAP > flag.left;
        let pole_of = |pole: f64, (l, r): (f64, f64)| pole > l - 2.0 && pole < r + 2.0;
        let is_clear = |row: &usize| {
            let own = *row..*row + lines.len();
            self.placed.iter().all(|flag| {
                let theirs = flag.rows();
                let share_rows = own.start < theirs.end && theirs.start < own.end;
                // A pole comes down through all rows below its name.
                let is_struck = theirs.start < own.end && pole_of(flag.pole, (left, right));
                let strikes = own.start < theirs.end && pole_of(pole, (flag.left, flag.right));
                let is_covered = share_rows && meets(flag);
                !(is_covered || is_struck || strikes)
            })
        };
        let last = FLAG_ROWS.saturating_sub(lines.len());
        let Some(row) = (0..=last).find(is_clear) else {
            return;
        };
        self.rows = self.rows.max(row + lines.len());
        self.placed.push(Flag {
            lines,
            claimed: change.verdict.is_claim(),
            pole,
            left,
            right,
            row,
        });
    }

    /// Room above the chart.
    fn height(&self) -> f64 {
        6.0 + ROW * self.rows as f64
    }

    /// Names, and their poles down to the chart.
    fn draw(&self, on: &Sheet, top: f64) -> Drawn {
        for flag in &self.placed {
            let style = if flag.claimed {
                small_bold(INK, START)
            } else {
                small(INK, START)
            };
            let middle = |row: usize| top + ROW * (row as f64 + 0.5);
            for (row, line) in flag.rows().zip(&flag.lines) {
                on.area
                    .draw_text(line, &style, (px(flag.left), px(middle(row))))?;
            }
            // A name that leans inwards stands on its pole.
            let leans = flag.left < flag.pole;
            let from = if leans {
                middle(flag.rows().end - 1) + 6.5
            } else {
                middle(flag.row) - 5.5
            };
            let color = if flag.claimed { INK } else { SOFT };
            let way = [
                (px(flag.pole), px(from)),
                (px(flag.pole), px(top + self.height())),
            ];
            on.area
                .draw(&PathElement::new(way, color.stroke_width(pen(1.0))))?;
        }
        Ok(())
    }
}

/// Width of a line of a name; bold letters are wider.
fn flag_width(line: &str) -> f64 {
    1.1 * text_width(line, SMALL)
}

/// The lines of a name: one, or two where only so it stands to the right of its pole.
fn flag_lines(name: &str, room: f64) -> Vec<String> {
    let one = cut(name, FLAG_MAX, SMALL);
    if flag_width(&one) > room {
        let two = wrapped(name, room / 1.1, SMALL, 2);
        if two.iter().all(|line| !line.ends_with('…')) {
            return two;
        }
    }
    vec![one]
}
