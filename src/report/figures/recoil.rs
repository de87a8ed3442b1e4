//! Brake lead: how often does it roll back, and what does a gentler stop do to the roll-on?

use super::frame::{Frame, Span, thinned, thinned_word};
use super::legend::{Legend, Sign};
use crate::error::Error;
use crate::report::svg::{self, Align, Figure, Mark, Pen, SMALL_TEXT, Type, WIDTH, text_width};
use crate::report::words;
use crate::stats::interval::Interval;

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

const LEFT: f64 = 46.0;

/// Draws the chance of recoil against lead and, where lead has a term of its own, overshoot against lead.
///
/// # Errors
/// [`Error::Internal`] when a number to be drawn is not finite.
pub fn draw(name: &str, view: &RecoilView) -> Result<Figure, Error> {
    let mut items = vec![
        (
            Sign::Mark(Mark::Diamond, Pen::Run),
            "share that rolled back, with how sure".to_string(),
        ),
        (
            Sign::Line(Pen::Limit),
            format!("accepted: {}", words::chance(view.accept)),
        ),
    ];
    if !view.curve.is_empty() {
        items.push((Sign::Line(Pen::Line), "the season's curve".to_string()));
    }
    if view.in_use_turns.is_some() {
        items.push((
            Sign::Mark(Mark::Triangle, Pen::Second),
            "lead to use".to_string(),
        ));
    }
    let legend = Legend::new(items);
    let top = legend.height() + 34.0;
    let leads = view
        .leads
        .iter()
        .map(|l| l.lead_turns)
        .chain(view.in_use_turns);
    let upper = Frame {
        left: LEFT,
        right: WIDTH - 8.0,
        top,
        bottom: top + 150.0,
        x: Span::around(leads, 0.12, 0.5),
        y: Span {
            from: 0.0,
            to: 100.0,
        },
    };
    let second = !view.roll_on.is_empty();
    let lower = Frame {
        top: upper.bottom + 60.0,
        bottom: upper.bottom + 60.0 + 130.0,
        y: Span::around(
            view.roll_on
                .iter()
                .chain(&view.roll_on_line)
                .map(|p| 100.0 * p.1),
            0.08,
            4.0,
        ),
        ..upper
    };
    let last = if second { &lower } else { &upper };
    let said: Vec<String> = view
        .leads
        .iter()
        .filter(|l| l.watched > 0)
        .map(|l| {
            format!(
                "{}: {} of {} rolled back",
                words::lead(l.lead_turns),
                l.seen,
                l.watched
            )
        })
        .collect();
    let title = if second {
        "Brake lead: rolling back and roll-on"
    } else {
        "Brake lead: rolling back"
    };
    let description = format!(
        "Chance of rolling back against brake lead. {}.{}",
        if said.is_empty() {
            "Nobody noted whether it rolled back".to_string()
        } else {
            said.join("; ")
        },
        if second {
            " Below: roll-on of each run against lead."
        } else {
            ""
        }
    );
    svg::draw(name, title, &description, last.bottom + 42.0, |canvas| {
        legend.draw(canvas, 0.0);
        upper.side(canvas, "rolled back, of 100", 5);
        upper.level(canvas, 100.0 * view.accept, Pen::Limit, 1.4);
        let curve: Vec<(f64, f64)> = view
            .curve
            .iter()
            .map(|p| upper.at(p.0, 100.0 * p.1))
            .collect();
        canvas.line(&curve, Pen::Line, 1.8);
        for lead in view.leads.iter().filter(|l| l.watched > 0) {
            let (x, part) = (lead.lead_turns, lead.seen as f64 / lead.watched as f64);
            let ends = [100.0 * lead.chance.low, 100.0 * lead.chance.high];
            canvas.line(&ends.map(|e| upper.at(x, e)), Pen::Soft, 1.6);
            let at = upper.at(x, 100.0 * part);
            canvas.mark(at, Mark::Diamond, 4.5, Pen::Run);
            let above = at.1 > upper.top + 30.0;
            let mut beside = at.1 + if above { -10.0 } else { 10.0 };
            // Not across the line of what is accepted.
            let accepted = upper.at(x, 100.0 * view.accept).1;
            if (beside - accepted).abs() < 9.0 {
                beside = accepted - 9.0;
            }
            let words = format!("{} of {}", lead.seen, lead.watched);
            let room = WIDTH - at.0 - 8.0;
            let (side, align) = if text_width(&words, SMALL_TEXT) < room {
                (8.0, Align::Start)
            } else {
                (-8.0, Align::End)
            };
            canvas.text((at.0 + side, beside), &words, Type::small(align));
        }
        if let Some(lead) = view.in_use_turns {
            let at = upper.at(lead, 0.0);
            canvas.mark((at.0, at.1 + 7.0), Mark::Triangle, 5.0, Pen::Second);
        }
        if second {
            upper.ground(canvas);
            let label = thinned_word("roll-on, cm", view.roll_on.len());
            lower.side(canvas, &label, 5);
            let line: Vec<(f64, f64)> = view
                .roll_on_line
                .iter()
                .map(|p| lower.at(p.0, 100.0 * p.1))
                .collect();
            let points = view
                .roll_on
                .iter()
                .map(|p| (lower.at(p.0, 100.0 * p.1), ()))
                .collect();
            for (at, ()) in thinned(points) {
                canvas.mark(at, Mark::Dot, 2.8, Pen::Run);
            }
            canvas.line(&line, Pen::Line, 1.8);
        }
        last.foot(canvas, "brake lead, turns", 6);
    })
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
        for (seen, anchor) in [(1_234, "start"), (1_235, "end")] {
            let label = figure
                .split("<text")
                .find(|t| t.contains(&format!(">{seen} of 12345<")));
            assert!(
                label
                    .unwrap()
                    .contains(&format!("text-anchor=\"{anchor}\"")),
                "{figure}"
            );
        }
    }
}
