//! Brake lead: how often does it roll back, and what does a gentler stop do to the roll-on?

use super::entry::{About, Entry, Plate, ReaderQuestion, TableRow, row};
use super::labels::{EndLabel, Taken, label_ends};
use super::marks::{self, Mark, Shape};
use super::style::{self, FOOT, HEAD, LABELS, SIDE};
use crate::calibration::Story;
use crate::calibration::recoil::{LeadRecoil, Recoil};
use crate::error::Error;
use crate::report::svg::theme::{LINE, RUN, SECOND, SOFT};
use crate::report::svg::{self, Chart, Drawn, Figure, Sheet, Span, pen, px};
use crate::report::words;
use crate::stats::interval::Interval;
use crate::units;
use plotters::chart::ChartBuilder;
use plotters::element::PathElement;
use plotters::series::{DashedLineSeries, LineSeries};
use plotters::style::Color;

/// Recoil and roll-on against lead.
pub const FIGURE: Entry = Entry {
    name: "recoil",
    question: ReaderQuestion::Why,
    tell,
};

/// Recoil and roll-on against lead.
#[derive(Debug, Clone)]
pub struct RecoilView {
    /// Leads in rising order.
    pub leads: Vec<Lead>,
    /// Chance over lead, where enough was seen to draw a curve.
    pub curve: Vec<(f64, f64)>,
    /// The chance a lead in use may carry.
    pub accept: f64,
    /// The lead in use.
    pub in_use_turns: Option<f64>,
    /// Roll-on of each run, as (lead, m); empty where lead makes no term of its own.
    pub roll_on: Vec<(f64, f64)>,
    /// Fitted overshoot as (lead, m), by rising lead.
    pub roll_on_line: Vec<(f64, f64)>,
}

/// Runs at one lead.
#[derive(Debug, Clone)]
pub struct Lead {
    /// The lead.
    pub lead_turns: f64,
    /// Launches where somebody watched.
    pub watched: usize,
    /// Watched launches that rolled back.
    pub seen: usize,
    /// Chance of rolling back at this lead, 0 to 1.
    pub chance: Interval,
}

fn tell(about: &About, name: &str) -> Result<Option<Plate>, Error> {
    let Some(story) = about.story() else {
        return Ok(None);
    };
    let known = &about.rig.situation.build().recoil;
    let (Some(first), Some(last)) = (known.by_lead.first(), known.by_lead.last()) else {
        return Ok(None);
    };
    let plate = Plate {
        rows: rows(known),
        fold: fold(about, known),
        ..Plate::default()
    };
    if first.lead_turns == last.lead_turns {
        return Ok(Some(Plate {
            title: "Brake lead".to_string(),
            caption: one_lead(first, known, &about.level()),
            ..plate
        }));
    }
    let view = numbers(about, story, (first.lead_turns, last.lead_turns));
    if view.leads.is_empty() && view.roll_on.is_empty() {
        return Ok(Some(Plate {
            title: "Brake lead".to_string(),
            caption: "Nobody noted whether it rolled back: write recoil_cm (0 for none) after each run, and the log will tell which lead is too much.".to_string(),
            ..plate
        }));
    }
    let leads: Vec<f64> = view.roll_on.iter().map(|p| p.0).collect();
    let seen = if known.watched > 0 {
        format!(
            "Roll-back was seen in {} of {}{}.",
            known.seen,
            watched(known.watched, known),
            of_builds(about, known)
        )
    } else {
        "Nobody noted whether it rolled back; each mark is a run.".to_string()
    };
    let caption = format!(
        "More lead stops more gently, until the elastic rolls the vehicle back. {seen}{}",
        marks::said_of_columns(&leads)
    );
    let drawn = Plate::new(draw(name, &view)?, caption);
    Ok(Some(Plate {
        rows: plate.rows,
        fold: plate.fold,
        ..drawn
    }))
}

/// How many runs were watched, or taken to have been.
fn watched(runs: usize, known: &Recoil) -> String {
    match known.by_status {
        true => format!(
            "{} (nobody noted having watched, so all ok runs are taken to have stayed put)",
            words::count(runs, "run", "runs")
        ),
        false => words::count(runs, "watched run", "watched runs"),
    }
}

/// Which builds the counts are of, where there are several.
fn of_builds(about: &About, known: &Recoil) -> String {
    let several = about.rig.situation.rig.travel.builds.len() > 1;
    match (several, known.from_all_builds) {
        (false, _) => String::new(),
        (true, true) => ", all builds together".to_string(),
        (true, false) => match about.rig.situation.build().label.as_str() {
            "" => " with the build that has no label".to_string(),
            label => format!(" with the build {}", words::label(label)),
        },
    }
}

/// What a log with one lead says of it; `level` in words.
fn one_lead(lead: &LeadRecoil, known: &Recoil, level: &str) -> String {
    let turns = words::lead(lead.lead_turns);
    let seen = match (lead.watched, lead.seen) {
        (0, _) => "nobody noted whether it rolled back".to_string(),
        (runs, 0) => format!(
            "none of {} rolled back, so at most {} will ({level} sure)",
            watched(runs, known),
            words::chance(lead.chance.high)
        ),
        (runs, seen) => format!("{seen} of {} rolled back", watched(runs, known)),
    };
    format!(
        "All runs were made with a lead of {turns}: {seen}. What another lead would do to the stop or to the distance, the log cannot say."
    )
}

/// Number of points of the recoil curve.
const CURVE_POINTS: usize = 40;

fn numbers(about: &About, story: &Story, (first, last): (f64, f64)) -> RecoilView {
    let situation = &about.rig.situation;
    let known = &situation.build().recoil;
    let at = |i: usize| first + (last - first) * i as f64 / (CURVE_POINTS - 1) as f64;
    let (roll_on, roll_on_line) = roll_on(about, story, (first, last));
    let seen = known.by_lead.iter().filter(|l| l.watched > 0);
    let curve = (0..CURVE_POINTS).filter_map(|i| Some((at(i), known.chance(at(i))?)));
    RecoilView {
        leads: seen
            .map(|l| Lead {
                lead_turns: l.lead_turns,
                watched: l.watched,
                seen: l.seen,
                chance: l.chance,
            })
            .collect(),
        curve: known.curve.map_or_else(Vec::new, |_| curve.collect()),
        accept: situation.setup.brake.recoil_accept,
        in_use_turns: situation.lead_turns,
        roll_on,
        roll_on_line,
    }
}

/// Points of (lead, m).
type ByLead = Vec<(f64, f64)>;

/// Roll-on of each run of the build, and the fitted line; nothing where lead has no term of its own.
fn roll_on(about: &About, story: &Story, (first, last): (f64, f64)) -> (ByLead, ByLead) {
    let situation = &about.rig.situation;
    let travel = situation.known_travel();
    let Some(term) = travel.lead_term else {
        return (Vec::new(), Vec::new());
    };
    // Overshoot is linear in the lead, so the runs of an archive need no row of the design each.
    let at_mean_lead = travel.posterior.coefficient(situation.build);
    let slope = travel.posterior.coefficient(term.column);
    let at = |lead: f64| at_mean_lead + slope * (lead - term.mean_turns);
    let of_build = story
        .runs
        .iter()
        .filter(|r| r.in_travel && r.build == situation.build);
    let runs: ByLead = of_build
        .filter_map(|r| {
            let lead = r.lead_turns?;
            Some((lead, at(lead) + r.arc_m - r.arc_fitted_m))
        })
        .collect();
    if runs.is_empty() {
        return (Vec::new(), Vec::new());
    }
    (runs, [first, last].map(|lead| (lead, at(lead))).to_vec())
}

fn rows(recoil: &Recoil) -> Vec<TableRow> {
    let mut rows = Vec::new();
    if let Some(curve) = &recoil.curve {
        rows.push(row(
            "log-odds for each turn of lead",
            words::interval(&curve.per_turn),
        ));
        if let Some(half) = &curve.half_lead_turns {
            rows.push(row(
                "lead with an even chance",
                format!("{} turns", words::interval(half)),
            ));
        }
        rows.push(row(
            "lead at which the accepted chance is reached",
            curve.lead_limit_turns.map_or_else(
                || "beyond the leads used".to_string(),
                |l| format!("{} turns", words::figures(l)),
            ),
        ));
    }
    for l in &recoil.by_lead {
        let of_100 = |p: f64| units::decimals(100.0 * p, 1);
        let mut said = format!(
            "{} of {} rolled back: {} ({} to {}) of 100",
            l.seen,
            l.watched,
            of_100(l.chance.estimate),
            of_100(l.chance.low),
            of_100(l.chance.high)
        );
        if l.load_noted > 0 {
            said += &format!("; {} of {} loads broke", l.load_broken, l.load_noted);
        }
        rows.push(row(&words::lead(l.lead_turns), said));
    }
    rows
}

fn fold(about: &About, recoil: &Recoil) -> Vec<String> {
    let mut fold = vec![if recoil.curve.is_some() {
        "Logistic curve by penalised likelihood (Firth 1993), intervals from its profile (Heinze & Schemper 2002).".to_string()
    } else {
        "Exact binomial bounds (Clopper & Pearson 1934): too little was seen for a curve."
            .to_string()
    }];
    if recoil.from_all_builds {
        fold.push(
            "Fewer than six watched runs with this build: all builds are counted together."
                .to_string(),
        );
    }
    if about.rig.situation.rig.travel.lead_m_per_turn.is_none() {
        fold.push("All runs share one lead, or it changed only together with something else: what lead does to the distance cannot be told.".to_string());
    }
    fold
}

const UPPER: f64 = 128.0;
const LOWER: f64 = 100.0;
/// Room between the two charts.
const BETWEEN: f64 = 14.0;

/// Draws the chance of recoil against lead and, where lead has a term of its own, overshoot against lead.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, view: &RecoilView) -> Result<Figure, Error> {
    let (first, second) = (!view.leads.is_empty(), !view.roll_on.is_empty());
    let upper = match (first, second) {
        (false, _) => 0.0,
        (true, false) => HEAD + UPPER + FOOT,
        (true, true) => HEAD + UPPER + BETWEEN,
    };
    let height = upper + if second { HEAD + LOWER + FOOT } else { 0.0 };
    let title = match (first, second) {
        (true, true) => "Brake lead: rolling back and roll-on",
        (true, false) => "Brake lead: rolling back",
        (false, _) => "Brake lead and roll-on",
    };
    let leads = view.leads.iter().map(|l| l.lead_turns);
    let leads = leads.chain(view.in_use_turns);
    let leads = leads.chain(view.roll_on_line.iter().map(|p| p.0));
    let x = Span::around(leads, 0.12, 0.5);
    svg::draw(name, title, &description(view, second), height, |on| {
        if first {
            chances(on, view, x, upper, !second)?;
        }
        if second {
            distances(on, view, x, (upper, height))?;
        }
        Ok(())
    })
}

fn description(view: &RecoilView, second: bool) -> String {
    let seen = view.leads.iter().filter(|l| l.watched > 0);
    let said: Vec<String> = seen
        .map(|l| {
            let lead = words::lead(l.lead_turns);
            format!("{lead}: {} of {} rolled back", l.seen, l.watched)
        })
        .collect();
    if said.is_empty() {
        return "Roll-on of each run against brake lead. Nobody noted whether it rolled back."
            .to_string();
    }
    format!(
        "Chance of rolling back against brake lead. {}.{}",
        said.join("; "),
        if second {
            " Below: roll-on of each run against lead."
        } else {
            ""
        }
    )
}

/// The chart of the chance of recoil, from the head of the figure down to `bottom`.
fn chances(on: &Sheet, view: &RecoilView, x: Span, bottom: f64, has_foot: bool) -> Drawn {
    let y = Span {
        from: 0.0,
        to: 100.0,
    };
    let (numbers, below) = if has_foot { (6, FOOT) } else { (0, BETWEEN) };
    let mut chart = ChartBuilder::on(&on.between(0.0, bottom))
        .margin_top(px(HEAD))
        .margin_right(px(LABELS))
        .y_label_area_size(px(SIDE))
        .x_label_area_size(px(below))
        .build_cartesian_2d(on.axis(x, numbers), on.axis(y, 5))?;
    style::side(on, &mut chart, "rolled back, of 100")?;
    style::foot(&mut chart, if has_foot { "brake lead, turns" } else { "" })?;
    let accepted = 100.0 * view.accept;
    let across = [(x.from, accepted), (x.to, accepted)];
    let thin = LINE.stroke_width(pen(1.4));
    chart.draw_series(DashedLineSeries::new(across, px(7.0), px(5.0), thin))?;
    let curve: Vec<(f64, f64)> = view.curve.iter().map(|p| (p.0, 100.0 * p.1)).collect();
    let line = LineSeries::new(curve.clone(), LINE.stroke_width(pen(1.8)));
    chart.draw_series(line)?;
    let mut taken = Taken::none_of(&chart);
    taken.line(&chart, &across);
    taken.line(&chart, &curve);
    if let Some(lead) = view.in_use_turns {
        taken.mark(&chart, (lead, 0.0), 6.0);
    }
    shares(on, &mut chart, &view.leads, &mut taken)?;
    let triangle = |lead: f64| Mark::new((lead, 0.0), Shape::Triangle, 5.0, SECOND);
    chart.draw_series(view.in_use_turns.map(triangle))?;
    let accepted_is = format!("accepted: {}", words::chance(view.accept));
    let mut labels = vec![EndLabel::new(accepted, accepted_is, LINE)];
    let in_use = view.in_use_turns;
    labels.extend(in_use.map(|_| EndLabel::new(0.0, "▲ lead to use", SECOND)));
    labels.extend(
        curve
            .last()
            .map(|p| EndLabel::new(p.1, "season’s curve", LINE)),
    );
    label_ends(on, &chart, &labels)
}

/// The share that rolled back at each lead, with how sure that is and how many were watched.
fn shares(on: &Sheet, chart: &mut Chart, leads: &[Lead], taken: &mut Taken) -> Drawn {
    let watched: Vec<&Lead> = leads.iter().filter(|l| l.watched > 0).collect();
    let ends = |l: &Lead| [l.chance.low, l.chance.high].map(|p| (l.lead_turns, 100.0 * p));
    let bar = |l: &&Lead| PathElement::new(ends(l), SOFT.stroke_width(pen(1.6)));
    chart.draw_series(watched.iter().map(bar))?;
    let share = |l: &Lead| (l.lead_turns, 100.0 * l.seen as f64 / l.watched as f64);
    let mark = |l: &&Lead| Mark::new(share(l), Shape::Diamond, 4.5, RUN);
    chart.draw_series(watched.iter().map(mark))?;
    for lead in &watched {
        taken.line(chart, &ends(lead));
        taken.mark(chart, share(lead), 5.0);
    }
    // More than this would stand beside marks of other leads; the table says them too.
    const NAMED_MAX: usize = 6;
    for lead in watched.iter().filter(|_| watched.len() <= NAMED_MAX) {
        let words = format!("{} of {}", lead.seen, lead.watched);
        taken.say(on, chart, share(lead), &words, SOFT)?;
    }
    Ok(())
}

fn distances(on: &Sheet, view: &RecoilView, x: Span, (top, bottom): (f64, f64)) -> Drawn {
    let roll_on = view.roll_on.iter().chain(&view.roll_on_line);
    let y = Span::around(roll_on.map(|p| 100.0 * p.1), 0.08, 4.0);
    let mut chart = ChartBuilder::on(&on.between(top, bottom))
        .margin_top(px(HEAD))
        .margin_right(px(LABELS))
        .y_label_area_size(px(SIDE))
        .x_label_area_size(px(FOOT))
        .build_cartesian_2d(on.axis(x, 6), on.axis(y, 5))?;
    style::side(on, &mut chart, "roll-on of each run, cm")?;
    let cm = |p: &(f64, f64)| (p.0, 100.0 * p.1);
    let mut runs: Vec<(f64, f64)> = view.roll_on.iter().map(cm).collect();
    marks::apart(&chart, &mut runs, |p| p);
    let runs = marks::thinned(&chart, runs, |p| *p);
    let size = marks::radius(view.roll_on.len()).min(2.8);
    chart.draw_series(runs.iter().map(|&at| Mark::new(at, Shape::Dot, size, RUN)))?;
    let line: Vec<(f64, f64)> = view.roll_on_line.iter().map(cm).collect();
    chart.draw_series(LineSeries::new(line.clone(), LINE.stroke_width(pen(1.8))))?;
    style::foot(&mut chart, "brake lead, turns")?;
    let end = line
        .last()
        .map(|p| EndLabel::new(p.1, "season’s line", LINE));
    label_ends(on, &chart, end.as_slice())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_of_many_runs_stay_in_the_figure() {
        let lead = |lead_turns, seen| Lead {
            lead_turns,
            watched: 12_345,
            seen,
            chance: Interval {
                estimate: 0.1,
                low: 0.05,
                high: 0.2,
            },
        };
        let view = RecoilView {
            leads: vec![lead(1.0, 1_234), lead(2.0, 1_235)],
            curve: Vec::new(),
            accept: 0.1,
            in_use_turns: None,
            roll_on: Vec::new(),
            roll_on_line: Vec::new(),
        };
        let figure = draw("recoil", &view).unwrap().inline();
        for seen in [1_234, 1_235] {
            let words = format!("{seen} of 12345");
            let mut labels = figure.split("<text").skip(1);
            let label = labels.find(|t| t.contains(&words)).unwrap();
            let x: f64 = label.split('"').nth(1).unwrap().parse().unwrap();
            let end = x / 10.0 + svg::text_width(&words, style::SMALL);
            assert!(end <= svg::WIDTH, "{label} ends at {end}");
        }
    }
}
