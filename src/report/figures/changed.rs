//! Settings before and after the newest build or re-trim: by how much turns and aim mark have changed?

use super::entry::{About, Entry, Plate, ReaderQuestion, TableRow};
use super::labels::{EndLabel, Taken, label_ends};
use super::marks::{self, Mark, Shape};
use super::style::{self, EDGE, FOOT, HEAD, LABELS, SIDE};
use crate::calibration::{Story, StoryRun};
use crate::decide::Situation;
use crate::decide::dial::{self, Warning};
use crate::error::Error;
use crate::report::svg::theme::{INK, LINE, SOFT};
use crate::report::svg::{self, Drawn, Figure, Sheet, Span, pen, px};
use crate::report::words;
use crate::units;
use plotters::chart::ChartBuilder;
use plotters::series::LineSeries;
use plotters::style::Color;

/// Settings before and after the newest build or re-trim.
pub const FIGURE: Entry = Entry {
    name: "changed",
    question: ReaderQuestion::Why,
    tell,
};

/// What a new build or a re-trim has done to the settings.
#[derive(Debug, Clone)]
pub struct ChangedView {
    /// Turns, where there was another build.
    pub turns: Option<Change>,
    /// The aim mark in cm, right positive, where there was another trim.
    pub aim: Option<Change>,
}

/// One quantity before and after.
#[derive(Debug, Clone)]
pub struct Change {
    /// What was there before: `build long string`.
    pub before: String,
    /// What is there now.
    pub now: String,
    /// Target, m; setting before and now; by rising targets, at least one.
    pub points: Vec<(f64, f64, f64)>,
}

impl Change {
    fn by(&self) -> impl DoubleEndedIterator<Item = (f64, f64)> {
        self.points
            .iter()
            .map(|(m, before, now)| (*m, now - before))
    }
}

fn tell(about: &About, name: &str) -> Result<Option<Plate>, Error> {
    let Some(story) = about.story() else {
        return Ok(None);
    };
    let changed = numbers(about, story)?;
    if changed.turns.is_none() && changed.aim.is_none() {
        return Ok(None);
    }
    let both = [(&changed.turns, "turns"), (&changed.aim, "aim, cm right")];
    let rows = both
        .into_iter()
        .flat_map(|(change, unit)| rows(change, unit));
    Ok(Some(Plate {
        head: vec!["", "before", "now"],
        rows: rows.collect(),
        fold: vec!["Unrounded settings for the mean of a run: turns with the build of the runs before this one and with this one, at today’s trim and lead; the aim mark with the trim before and with this one. Two builds or trims share the distance per turn and the spreads, and differ in roll-on (build), direction and bend (trim).".to_string()],
        ..Plate::new(draw(name, &changed)?, caption(&changed) + beside(about))
    }))
}

/// The label used before the newest: that of the last fitted run with another one.
fn before(story: &Story, newest: usize, of: impl Fn(&StoryRun) -> Option<usize>) -> Option<usize> {
    story
        .runs
        .iter()
        .rev()
        .filter_map(of)
        .find(|k| *k != newest)
}

fn numbers(about: &About, story: &Story) -> Result<ChangedView, Error> {
    let now = &about.rig.situation;
    let build = before(story, now.build, |r| r.in_travel.then_some(r.build));
    let trim = now.trim.and_then(|newest| {
        let before = before(story, newest, |r| r.trim.filter(|_| r.in_heading))?;
        Some((newest, before))
    });
    let builds = &now.known_travel().builds;
    let turns = build.map(|build| {
        let old = Situation {
            build,
            ..now.clone()
        };
        let names = [&builds[build].label, &builds[now.build].label];
        change(about, &old, "build", names, |(turns, _)| turns)
    });
    let aim = trim
        .zip(now.rig.heading.as_ref())
        .map(|((newest, trim), known)| {
            let old = Situation {
                trim: Some(trim),
                ..now.clone()
            };
            let names = [&known.trims[trim].label, &known.trims[newest].label];
            change(about, &old, "trim", names, |(_, aim_m)| 100.0 * aim_m)
        });
    Ok(ChangedView {
        turns: turns.transpose()?,
        aim: aim.transpose()?,
    })
}

fn change(
    about: &About,
    old: &Situation,
    kind: &str,
    names: [&String; 2],
    of: fn((f64, f64)) -> f64,
) -> Result<Change, Error> {
    let settings = &about.rig.settings;
    let targets = settings.iter().map(|s| s.target_m);
    let points = targets.map(|target_m| {
        let at = |situation| dial::plain_setting(situation, target_m).map(of);
        Ok((target_m, at(old)?, at(&about.rig.situation)?))
    });
    let [before, now] = names.map(|label| match label.as_str() {
        "" => format!("{kind} without a name"),
        label => format!("{kind} {}", words::label(label)),
    });
    Ok(Change {
        before,
        now,
        points: points.collect::<Result<_, Error>>()?,
    })
}

/// First, middle and last of some items (without repeats).
fn three<T>(items: &[T]) -> impl Iterator<Item = &T> {
    let last = items.len().saturating_sub(1);
    let mut places = vec![0, last / 2, last];
    places.dedup();
    places.into_iter().filter_map(|i| items.get(i))
}

fn rows<'a>(change: &'a Option<Change>, unit: &'a str) -> impl Iterator<Item = TableRow> + 'a {
    let points = change.iter().flat_map(|c| three(&c.points));
    points.map(move |(target_m, before, now)| {
        vec![
            format!("{} m: {unit}", words::metres(*target_m)),
            words::figures(*before),
            words::figures(*now),
        ]
    })
}

/// The middle one of three targets.
fn middle(change: &Change) -> Option<&(f64, f64, f64)> {
    change
        .points
        .get((change.points.len().saturating_sub(1)) / 2)
}

fn caption(changed: &ChangedView) -> String {
    let mut out = String::new();
    if let Some((change, (target_m, before, now))) =
        changed.turns.as_ref().and_then(|c| Some((c, middle(c)?)))
    {
        out += &format!(
            "For {} m it took {} turns with {}, and takes {} with {}.",
            words::metres(*target_m),
            units::decimals(*before, 1),
            change.before,
            units::decimals(*now, 1),
            change.now
        );
    }
    if let Some((change, (target_m, before, now))) =
        changed.aim.as_ref().and_then(|c| Some((c, middle(c)?)))
    {
        out += if out.is_empty() { "" } else { " " };
        out += &format!(
            "For {} m the aim mark stood {} with {}, and stands {} with {}.",
            words::metres(*target_m),
            words::right_or_left(before / 100.0),
            change.before,
            words::right_or_left(now / 100.0),
            change.now
        );
    }
    out
}

/// That the settings in use are not these, where prices move them.
fn beside(about: &About) -> &'static str {
    let on_purpose = |w: &Warning| matches!(w, Warning::OnPurpose(_));
    let mut warnings = about.rig.settings.iter().flat_map(|s| &s.warnings);
    match warnings.any(on_purpose) {
        true => {
            " These would bring the mean of a run to the target itself; the settings of the table aim beside it on purpose."
        }
        false => "",
    }
}

const PLOT: f64 = 92.0;

/// Draws by how much turns and aim mark have changed, against the target.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, changed: &ChangedView) -> Result<Figure, Error> {
    let panels: Vec<(&Change, &str, f64)> = [
        (
            &changed.turns,
            "turns more (+) or fewer (−) than before",
            0.5,
        ),
        (
            &changed.aim,
            "aim mark, cm to the right (+) or left (−) of before",
            5.0,
        ),
    ]
    .into_iter()
    .filter_map(|(change, counts, least)| Some((change.as_ref()?, counts, least)))
    .collect();
    let ends = |change: &Change| {
        let mut by = change.by();
        let first = by.next();
        let said = first.into_iter().chain(by.next_back());
        let said: Vec<String> = said
            .map(|(m, by)| format!("{} at {} m", signed(by), words::metres(m)))
            .collect();
        format!(
            "{} against {}: {}",
            change.now,
            change.before,
            said.join(", ")
        )
    };
    let said: Vec<String> = panels
        .iter()
        .map(|(change, counts, _)| format!("{counts}; {}", ends(change)))
        .collect();
    let height = panels.len() as f64 * (HEAD + PLOT + EDGE) + FOOT - EDGE;
    let description = format!("Against the target: {}.", said.join(". "));
    svg::draw(
        name,
        "Settings before and after",
        &description,
        height,
        |on| {
            let mut top = 0.0;
            for (i, (change, counts, least)) in panels.iter().enumerate() {
                let is_last = i + 1 == panels.len();
                let bottom = if is_last {
                    height
                } else {
                    top + HEAD + PLOT + EDGE
                };
                panel(on, change, (counts, *least), (top, bottom), is_last)?;
                top = bottom;
            }
            Ok(())
        },
    )
}

/// A difference with its sign: `+0.9`, `−34`.
fn signed(by: f64) -> String {
    let number = words::figures(if by.abs() < 10.0 {
        (10.0 * by).round() / 10.0
    } else {
        by.round()
    });
    if by > 0.0 && number != "0" {
        format!("+{number}")
    } else {
        number
    }
}

fn panel(
    on: &Sheet,
    change: &Change,
    (counts, least): (&str, f64),
    (top, bottom): (f64, f64),
    is_last: bool,
) -> Drawn {
    let points: Vec<(f64, f64)> = change.by().collect();
    let x = Span::around(points.iter().map(|p| p.0), 0.04, 0.2);
    let y = Span::around(points.iter().map(|p| p.1).chain([0.0]), 0.25, least);
    let area = on.between(top, bottom);
    let mut builder = ChartBuilder::on(&area);
    builder
        .margin_top(px(HEAD))
        .margin_right(px(LABELS))
        .y_label_area_size(px(SIDE));
    if is_last {
        builder.x_label_area_size(px(FOOT));
    } else {
        builder.margin_bottom(px(EDGE));
    }
    let mut chart = builder.build_cartesian_2d(on.axis(x, 6), on.axis(y, 4))?;
    style::side(on, &mut chart, counts)?;
    let before = marks::level(&chart, 0.0, INK.stroke_width(pen(1.2)));
    chart.draw_series([before])?;
    chart.draw_series(LineSeries::new(points.clone(), LINE.stroke_width(pen(1.8))))?;
    let shown: Vec<(f64, f64)> = three(&points).copied().collect();
    let dots = shown.iter().map(|at| Mark::new(*at, Shape::Dot, 3.4, LINE));
    chart.draw_series(dots)?;
    if is_last {
        style::foot(&mut chart, "target, m")?;
    }
    let mut taken = Taken::none_of(&chart);
    taken.line(&chart, &points);
    taken.line(&chart, &[(x.from, 0.0), (x.to, 0.0)]);
    for at in &shown {
        taken.mark(&chart, *at, 4.0);
    }
    for at in &shown {
        taken.say(on, &chart, *at, &signed(at.1), INK)?;
    }
    let Some(&(_, end)) = points.last() else {
        return Ok(());
    };
    let labels = [
        EndLabel::new(end, format!("now: {}", change.now), LINE),
        EndLabel::new(0.0, format!("before: {}", change.before), SOFT),
    ];
    label_ends(on, &chart, &labels)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn differences_are_said_with_a_sign_and_few_digits() {
        assert_eq!(signed(0.94), "+0.9");
        assert_eq!(signed(-34.4), "−34");
        assert_eq!(signed(0.01), "0");
        assert_eq!(signed(-0.01), "0");
    }

    #[test]
    fn nothing_is_said_twice_of_few_targets() {
        assert_eq!(three(&[1, 2, 3, 4, 5]).collect::<Vec<_>>(), [&1, &3, &5]);
        assert_eq!(three(&[1]).collect::<Vec<_>>(), [&1]);
        assert_eq!(three::<u8>(&[]).count(), 0);
    }
}
