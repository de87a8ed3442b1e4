//! What the miss is made of, along and across: which cure helps?

use super::entry::{About, Entry, Plate, ReaderQuestion, TableRow};
use super::labels::cut;
use super::style::{END, START, TEXT, bold, small};
use crate::decide::parts::Parts;
use crate::error::Error;
use crate::report::svg::theme::{GRID, INK, RUN, SECOND, SOFT};
use crate::report::svg::{self, Drawn, Figure, Sheet, Span, WIDTH, pen, px};
use crate::report::{priors, words};
use plotters::chart::ChartBuilder;
use plotters::element::{EmptyElement, PathElement, Rectangle, Text};
use plotters::style::{Color, RGBColor};

/// What the miss is made of.
pub const FIGURE: Entry = Entry {
    name: "parts",
    question: ReaderQuestion::HowSure,
    tell,
};

/// Parts of the miss at one target.
#[derive(Debug, Clone)]
pub struct PartsView {
    /// The target.
    pub target_m: f64,
    /// In the order shown.
    pub rows: Vec<Part>,
}

/// One part: a typical size (standard deviation) each way, m.
#[derive(Debug, Clone)]
pub struct Part {
    /// In plain words.
    pub what: String,
    /// Along the line.
    pub along_m: f64,
    /// Across; `None` where nothing is known.
    pub across_m: Option<f64>,
}

fn tell(about: &About, name: &str) -> Result<Option<Plate>, Error> {
    let (along, across) = &about.rig.parts;
    let part = |what: &str, size_m: fn(&Parts) -> f64| Part {
        what: what.to_string(),
        along_m: size_m(along),
        across_m: across.as_ref().map(size_m),
    };
    let parts = PartsView {
        target_m: about.rig.three[about.rig.middle].0.target_m,
        rows: vec![
            part("from one run to the next", |p| p.run_to_run_m),
            part("from one day to the next", |p| p.between_sessions_m),
            part("what the log leaves open", |p| p.calibration_m),
            part("steps of dial and aim mark", |p| p.step_m),
        ],
    };
    let caption = "The longest bar is the one to work on: build better against run to run; practise on other days and floors, or correct on the day, against day to day; make more runs against what the log leaves open.".to_string();
    Ok(Some(Plate {
        head: vec!["part", "along, cm", "across, cm"],
        rows: rows(along, across.as_ref()),
        fold: vec!["Standard deviations of one run of a new session at the middle target. Their squares add up. Run to run and day to day are root mean squares over what the log leaves open about them; a step contributes its width over √12.".to_string()],
        ..Plate::new(draw(name, &parts)?, caption + priors::in_days(about.rig) + &priors::unseen_between_days(about.rig))
    }))
}

fn rows(along: &Parts, across: Option<&Parts>) -> Vec<TableRow> {
    let said = |what: &str, f: &dyn Fn(&Parts) -> f64| -> TableRow {
        let cm = |p: Option<&Parts>| p.map_or_else(String::new, |p| words::figures(100.0 * f(p)));
        vec![what.to_string(), cm(Some(along)), cm(across)]
    };
    vec![
        said("from one run to the next", &|p| p.run_to_run_m),
        said("from one day to the next", &|p| p.between_sessions_m),
        said("what the log leaves open", &|p| p.calibration_m),
        said("steps", &|p| p.step_m),
        said("together", &Parts::total_m),
    ]
}

const TOP: f64 = 30.0;
const ROW: f64 = 55.0;
const BAR: f64 = 13.0;
/// Room before the bars for the words that say which way.
const LEFT: f64 = 56.0;
/// Room for the number behind the longest bar.
const NUMBER: f64 = 66.0;

/// Draws the parts of the miss as bars, along and across.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, parts: &PartsView) -> Result<Figure, Error> {
    let title = format!(
        "What the miss at {} m is made of",
        words::metres(parts.target_m)
    );
    let said: Vec<String> = parts
        .rows
        .iter()
        .map(|p| {
            let across = p
                .across_m
                .map_or_else(String::new, |a| format!(", {} across", small_cm(a)));
            format!("{}: {} along{across}", p.what, small_cm(p.along_m))
        })
        .collect();
    let description = format!(
        "Bars for the typical size of each part. {}.",
        said.join("; ")
    );
    let height = TOP + parts.rows.len() as f64 * ROW + 6.0;
    svg::draw(name, &title, &description, height, |on| {
        bars(on, parts, height)
    })
}

/// The bars: centimetres across, units of the figure down.
fn bars(on: &Sheet, parts: &PartsView, height: f64) -> Drawn {
    let sizes = parts
        .rows
        .iter()
        .flat_map(|p| [Some(p.along_m), p.across_m]);
    let largest = 100.0 * sizes.flatten().fold(0.005, f64::max);
    let cm = Span {
        from: 0.0,
        to: largest,
    };
    let down = Span {
        from: height,
        to: 0.0,
    };
    let mut chart = ChartBuilder::on(&on.area)
        .margin_left(px(LEFT))
        .margin_right(px(NUMBER))
        .build_cartesian_2d(on.axis(cm, 0), on.axis(down, 0))?;
    let remark = "typical size of each part, to one scale";
    on.area
        .draw_text(remark, &small(SOFT, START), (px(4.0), px(12.0)))?;
    let help = |x: f64| {
        PathElement::new(
            [(x, TOP - 6.0), (x, height - 4.0)],
            GRID.stroke_width(pen(1.0)),
        )
    };
    chart.draw_series(cm.ticks(5).0.into_iter().map(help))?;
    for (i, part) in parts.rows.iter().enumerate() {
        let top = TOP + i as f64 * ROW;
        let what = cut(&part.what, WIDTH - 8.0, 1.12 * TEXT);
        on.area
            .draw_text(&what, &bold(INK, START), (px(4.0), px(top + 4.0)))?;
        let ways = [
            ("along", Some(part.along_m), RUN),
            ("across", part.across_m, SECOND),
        ];
        for (k, (way, size_m, color)) in ways.into_iter().enumerate() {
            let middle = top + 22.0 + k as f64 * (BAR + 3.0);
            if let Some(size_m) = size_m {
                let end = (100.0 * size_m).max(0.004 * largest);
                let corners = [(0.0, middle - BAR / 2.0), (end, middle + BAR / 2.0)];
                chart.draw_series([Rectangle::new(corners, color.mix(0.85).filled())])?;
                words_about(on, &mut chart, (way, size_m), (end, middle))?;
            }
        }
    }
    Ok(())
}

/// Which way a bar lies, before it, and its size behind its end.
fn words_about(
    on: &Sheet,
    chart: &mut svg::Chart,
    (way, size_m): (&str, f64),
    (end, middle): (f64, f64),
) -> Drawn {
    on.area
        .draw_text(way, &small(SOFT, END), (px(LEFT - 7.0), px(middle)))?;
    let color: RGBColor = INK;
    let number = Text::new(small_cm(size_m), (px(7.0), 0), small(color, START));
    chart.draw_series([EmptyElement::at((end, middle)) + number])?;
    Ok(())
}

/// A size in metres as centimetres with the unit: to the millimetre below 10 cm, to the centimetre above.
pub fn small_cm(size_m: f64) -> String {
    let cm = 100.0 * size_m;
    if cm < 0.05 {
        "under 0.1 cm".to_string()
    } else if cm < 9.95 {
        format!("{} cm", crate::units::decimals(cm, 1))
    } else {
        format!("{} cm", crate::units::decimals(cm, 0))
    }
}
