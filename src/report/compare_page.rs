//! A comparison as a page.

use super::answer::{self, AnswerFigure, AnswerPage};
use super::figures::compare as chart;
use super::file::File;
use super::{compare_words, event_words, whose, words};
use crate::decide::compare::{Compared, ComparedSpreads, Comparison};
use crate::error::Error;
use crate::setup::Counts;

/// The files of a comparison: `compare.html` and its figure.
///
/// * `logs` — the logs it was made from, as given
///
/// # Errors
/// [`Error::Internal`] when a figure would hold a number that is not finite.
pub fn files(found: &Comparison, logs: &[String]) -> Result<Vec<File>, Error> {
    let names = [words::label(&found.a.label), words::label(&found.b.label)];
    let notes = compare_words::notes(found)
        .iter()
        .map(|note| words::sentence(note))
        .collect();
    let answer = AnswerPage {
        made_from: format!(
            "Made from runs of {}, in {}; they differ in {}.",
            words::sentence(&found.rig),
            whose::logs_and_days(logs, found.days),
            compare_words::differ_in(found)
        ),
        heading: format!(
            "{}: {} or {}?",
            words::capital(compare_words::differ_in(found)),
            names[0],
            names[1]
        ),
        about: "With which of two does the vehicle stop nearer to its target, and how sure is that?",
        sentences: compare_words::answer(found),
        notes,
        figures: vec![misses(found, &names)?],
    };
    answer::files("compare", "Which of the two is better?", &answer)
}

/// The figure with both side by side, and its table.
fn misses(found: &Comparison, names: &[String; 2]) -> Result<AnswerFigure, Error> {
    let view = bars(found, names);
    let caption = format!(
        "Shorter is better. What is not a miss is along the line, as a typical size; {} such bars hold what they are meant to.",
        view.level
    );
    let drawn = chart::draw("compare", &view)?;
    let mut figure = AnswerFigure::new("compare", drawn, &caption);
    figure.head = vec![
        String::new(),
        names[0].clone(),
        names[1].clone(),
        "second less first, or over it".to_string(),
    ];
    figure.rows = rows(found);
    figure.fold = vec![
        format!(
            "Each has its own line and spreads from run to run (σ) and day to day (τ). Where both ran on a day, the shifts have covariance ρ·τ₁·τ₂; ρ, the common part, is even between 0 and 1 beforehand, and only it cancels in a difference. Spreads and ρ are averaged over on a fixed set of points, weighted by the likelihood with the lines integrated out; a difference is a mixture of normals. Run j of a new day, perfectly set and corrected for those before it, has variance σ²g²(1 + r²/(1 + (j − 1)r²)), r = τ/σ, g = (N/N̄)^γ along and T across. Mean miss: √(2/π)·s·E(k), the mean length of two independent normal errors; of the best, the integral of the chance that all are farther; averaged over the targets. Intervals at {}; verdicts at the same chance.",
            words::percent(found.level.probability())
        ),
        "Runs to settle: the chance’s normal score grows as the misses’ uncertainty shrinks, days as large as until now.".to_string(),
    ];
    Ok(figure)
}

fn bars(found: &Comparison, names: &[String; 2]) -> chart::CompareView {
    let row = |what: &str, of| chart::CompareRow {
        what: what.to_string(),
        of,
    };
    let event = &found.at_event;
    let mut rows = Vec::new();
    if event.rule.runs > 1 {
        let each = match event.rule.counts {
            Counts::Sum => 1.0 / f64::from(event.rule.runs),
            _ => 1.0,
        };
        let what = event_words::counted(event.rule);
        rows.push(row(
            &format!("At the event, {what}: mean miss"),
            [event.miss_m.a, event.miss_m.b].map(|i| i.scaled(each)),
        ));
    }
    rows.push(row(
        "First run of a new day: mean miss",
        [found.event_miss_m.a, found.event_miss_m.b],
    ));
    rows.push(row(
        "From one run to the next",
        [found.run_to_run_m.a, found.run_to_run_m.b],
    ));
    // Where runs are corrected in between, how days differ hardly counts, and stands in the table.
    if event.rule.runs == 1 {
        rows.push(row(
            "From one day to the next",
            [found.between_sessions_m.a, found.between_sessions_m.b],
        ));
    }
    chart::CompareView {
        names: names.clone(),
        rows,
        level: words::level(found.level.probability()),
    }
}

fn rows(found: &Comparison) -> Vec<Vec<String>> {
    let mut rows = Vec::new();
    let mut row = |what: &str, values: [String; 3]| {
        let mut cells = vec![what.to_string()];
        cells.extend(values);
        rows.push(cells);
    };
    let compared = |c: &Compared, unit: f64| {
        [c.a, c.b, c.difference].map(|i| words::interval(&i.scaled(unit)))
    };
    let spreads = |s: &ComparedSpreads| {
        [
            words::interval(&s.a.scaled(100.0)),
            words::interval(&s.b.scaled(100.0)),
            format!("× {}", words::interval(&s.ratio)),
        ]
    };
    row(
        "runs in sessions",
        [
            format!("{} in {}", found.a.runs, found.a.sessions),
            format!("{} in {}", found.b.runs, found.b.sessions),
            format!("{} shared", found.sessions_shared),
        ],
    );
    row(
        &format!(
            "{} of what counts, cm",
            match found.at_event.rule.counts {
                Counts::Sum => "mean sum",
                Counts::Best | Counts::Last => "mean",
            }
        ),
        compared(&found.at_event.miss_m, 100.0),
    );
    row("mean first miss, cm", compared(&found.event_miss_m, 100.0));
    row(
        "distance per turn, cm",
        compared(&found.distance_per_turn_m, 100.0),
    );
    row("roll-on, cm", compared(&found.overshoot_m, 100.0));
    if let Some(curve) = &found.curvature_per_m {
        row("bend, cm per m²", compared(curve, 50.0));
    }
    row("run to run, cm", spreads(&found.run_to_run_m));
    row("day to day, cm", spreads(&found.between_sessions_m));
    if let Some(time) = &found.time_s {
        row("run time to the middle target, s", compared(time, 1.0));
    }
    if let Some(score) = &found.score {
        row("score", compared(score, 1.0));
    }
    if let Some(common) = &found.common {
        row(
            "shared part of a day's shift",
            [String::new(), String::new(), words::interval(common)],
        );
    }
    rows
}
