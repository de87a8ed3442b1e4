//! A plan as a page.

use super::answer::{self, AnswerFigure, AnswerPage};
use super::figures::{parts, plan as chart};
use super::file::File;
use super::{event_words, plan_words, whose, words};
use crate::calibration::Calibration;
use crate::decide::plan::{OPTION_SESSIONS, Outlook, Plan, PlanRow};
use crate::decide::{Situation, dial, parts as miss_parts};
use crate::error::Error;
use std::slice;

/// Numbers of sessions that get a line: the others lie between.
const LINES: [u32; 4] = [1, 2, 4, 8];

/// Chances nearer than this lie on each other in the figure: it is as much as a mark is high.
const MARK: f64 = 0.03;

/// The files of a plan: `plan.html` and its figures.
///
/// # Errors
/// [`Error::CannotAnswer`] when more turns would not carry the vehicle farther; [`Error::Internal`] when a figure would
/// hold a number that is not finite.
pub fn files(
    calibration: &Calibration,
    situation: &Situation,
    plan: &Plan,
) -> Result<Vec<File>, Error> {
    let mut sentences = plan_words::advice(situation, plan);
    sentences.extend(plan_words::where_to_run(
        &plan.practice,
        plan_words::purpose(situation, plan),
    ));
    let answer = AnswerPage {
        made_from: format!(
            "Made from the calibration of {}.",
            whose::made_from(calibration, slice::from_ref(situation.rig))
        ),
        heading: format!(
            "{}: how to get nearer",
            whose::rig_name(&situation.rig.name)
        ),
        about: "Would more practice bring the vehicle nearer to its target: how many more runs, on how many days, at which distances?",
        sentences: sentences.iter().map(|s| quoted(s)).collect(),
        notes: calibration
            .warnings
            .iter()
            .chain(&situation.rig.warnings)
            .map(|w| words::sentence(w))
            .collect(),
        figures: vec![
            more_runs(plan)?,
            made_of(situation, plan, calibration.range()?.middle_m())?,
        ],
    };
    answer::files("plan", "What to practise", &answer)
}

/// What is to be typed stands between backticks on the terminal, and in quotation marks on a page.
fn quoted(sentence: &str) -> String {
    let parts = sentence.split('`').enumerate();
    let joined = parts.map(|(i, part)| match i {
        0 => part.to_string(),
        i if i % 2 == 1 => format!("“{part}"),
        _ => format!("”{part}"),
    });
    joined.collect()
}

/// The figure of what more runs would bring, and its table.
fn more_runs(plan: &Plan) -> Result<AnswerFigure, Error> {
    let question = &plan.question;
    let what = event_words::counted(plan.at_event.rule);
    let drawn = chart::draw(
        "plan",
        &chart::PlanView {
            what: what.clone(),
            within: plan_words::asked_cm_unit(question.within_m),
            lines: lines(plan),
            now: plan.at_event.chance,
            limit: plan.at_event.limit,
            asked: question.chance,
            often: plan_words::times(question.chance),
        },
    )?;
    let within = plan_words::asked_cm_unit(question.within_m);
    let caption = format!(
        "How often {what}, corrected in between, is within {within}. A line that is flat has little left to learn; what keeps it below the dashed line is the vehicle and the days, not the calibration."
    );
    let mut more = AnswerFigure::new("plan", drawn, &caption);
    more.head = ["", "at the event", "first run", "first run’s miss, cm"]
        .map(str::to_string)
        .to_vec();
    more.rows = chance_rows(plan);
    let day: Vec<String> = plan.event_day.iter().map(|c| words::figures(*c)).collect();
    more.fold = vec![
        format!(
            "Fewest runs first; left out is what gains less than 1 in 100 at the event over the row before it. At the event: chance that what counts is within {within} ({what}). First run: chance that the first run of a new session is; miss not exceeded with probability {}. For each state of the spreads left open by the log (ratio and σ integrated, not plugged in) long and right of run j are independent, centred normals with variance σ²g²(v_j + 1) + step²/12, v_1 = h + r², v_j = v_1/(1 + (j − 1)v_1), h from the information of the log and of the new runs; what counts is taken for each state and only then averaged, over the states and the targets that can be announced. The limit has h = 0 and no steps.",
            words::figures(question.chance)
        ),
        format!(
            "The next run of a new session after 0, 1, 2 runs made and corrected for: {}.",
            day.join(", ")
        ),
        "Targets for new runs: the worst variance of the line over the event's range is least (Kiefer & Wolfowitz 1960), with one run in four kept in the middle.".to_string(),
    ];
    Ok(more)
}

/// A line for each of a few numbers of sessions; one for all where they would lie on each other.
fn lines(plan: &Plan) -> Vec<chart::PlanLine> {
    let most = *OPTION_SESSIONS.end();
    let gained = plan
        .options
        .iter()
        .map(|o| o.event_chance - plan.at_event.chance);
    let is_flat = gained.fold(0.0, f64::max) < MARK;
    OPTION_SESSIONS
        .filter(|s| LINES.contains(s) && (!is_flat || *s == most))
        .map(|sessions| chart::PlanLine {
            name: match is_flat {
                true => format!("1 to {most} sessions"),
                false => words::count(sessions as usize, "session", "sessions"),
            },
            sessions,
            points: plan
                .options
                .iter()
                .filter(|o| o.sessions == sessions)
                .map(|o| (o.runs_per_session, o.event_chance))
                .collect(),
        })
        .collect()
}

/// Rows of chance and miss: now, with each option that gains something, and in the limit of many runs.
fn chance_rows(plan: &Plan) -> Vec<Vec<String>> {
    let row = |what: String, event_chance: f64, o: &Outlook| {
        let each = [event_chance, o.chance, 100.0 * o.miss_m].map(words::figures);
        [vec![what], each.to_vec()].concat()
    };
    let option = |r: &PlanRow| {
        row(
            plan_words::row_name(r),
            r.option.event_chance,
            &r.option.outlook,
        )
    };
    let mut rows = vec![row("now".to_string(), plan.at_event.chance, &plan.now)];
    rows.extend(plan.rows().iter().map(option));
    rows.push(row("limit".to_string(), plan.at_event.limit, &plan.limit));
    rows
}

/// The figure of the parts of the miss at the middle target, and its table.
fn made_of(situation: &Situation, plan: &Plan, middle_m: f64) -> Result<AnswerFigure, Error> {
    let (turns, _) = dial::plain_setting(situation, middle_m)?;
    let along = miss_parts::along(situation, turns);
    let across = miss_parts::across(situation, middle_m);
    let part = |what: &str, size_m: fn(&miss_parts::Parts) -> f64| parts::Part {
        what: what.to_string(),
        along_m: size_m(&along),
        across_m: across.as_ref().map(size_m),
    };
    let shown = parts::PartsView {
        target_m: middle_m,
        rows: vec![
            part("from one run to the next: build better", |p| p.run_to_run_m),
            part("from one day to the next: other days and floors", |p| {
                p.between_sessions_m
            }),
            part("not yet known: more runs", |p| p.calibration_m),
            part("coarseness of dial and aim mark", |p| p.step_m),
        ],
    };
    let mut made_of = AnswerFigure::new(
        "plan-parts",
        parts::draw("plan-parts", &shown)?,
        "Each part has its own cure; working on a small one changes little.",
    );
    let p = &plan.parts;
    made_of.rows = [
        ("from one run to the next", p.run_to_run_m),
        ("from one day to the next", p.between_sessions_m),
        ("calibration", p.calibration_m),
        ("steps", p.steps_m),
    ]
    .map(|(what, m)| vec![format!("{what}, cm"), words::figures(100.0 * m)])
    .to_vec();
    made_of.fold = vec!["Standard deviations, along and across together where the straight distance counts, root mean square over the targets.".to_string()];
    Ok(made_of)
}
