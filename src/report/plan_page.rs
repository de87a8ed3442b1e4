//! A plan as a page.

use super::answer::{self, Answer, AnswerFigure};
use super::figures::{parts, plan as chart};
use super::{page, plan_words, view, words};
use crate::calibration::Calibration;
use crate::decide::plan::{OPTION_SESSIONS, Plan, PlanOption};
use crate::decide::{Situation, dial, parts as miss_parts};
use crate::error::Error;

/// Numbers of sessions that get a line: the others lie between.
const LINES: [u32; 4] = [1, 2, 4, 8];

/// `plan.html` with its figures.
///
/// # Errors
/// As [`dial::plain_setting`]; [`Error::Internal`] when a figure would hold a number that is not finite.
pub fn files(
    calibration: &Calibration,
    situation: &Situation,
    plan: &Plan,
) -> Result<Vec<(String, Vec<u8>)>, Error> {
    let question = &plan.question;
    let lines = OPTION_SESSIONS
        .filter(|s| LINES.contains(s))
        .map(|sessions| chart::Line {
            sessions,
            points: plan
                .options
                .iter()
                .filter(|o| o.sessions == sessions)
                .map(|o| (o.runs_per_session, o.outlook.chance))
                .collect(),
        })
        .collect();
    let drawn = chart::draw(
        "plan",
        &chart::Plan {
            within_m: question.within_m,
            lines,
            now: plan.now.chance,
            limit: plan.limit.chance,
            asked: question.chance,
        },
    )?;
    let mut more = AnswerFigure::new(
        "plan",
        drawn,
        &format!(
            "How often the first run of a new day stops within {}. A line that is flat has little left to learn; what keeps it below the dashed line is the vehicle and the days, not the calibration.",
            words::cm_unit(question.within_m)
        ),
    );
    more.head = ["", "chance", "miss, cm"].map(str::to_string).to_vec();
    let row = |what: String, chance: f64, miss_m: f64| {
        vec![what, words::figures(chance), words::figures(100.0 * miss_m)]
    };
    let option = |o: &PlanOption| {
        row(
            format!("{} × {}", o.sessions, o.runs_per_session),
            o.outlook.chance,
            o.outlook.miss_m,
        )
    };
    more.rows
        .push(row("now".to_string(), plan.now.chance, plan.now.miss_m));
    more.rows.extend(plan.asked.iter().map(option));
    more.rows.extend(plan.options.iter().map(option));
    more.rows.push(row(
        "limit".to_string(),
        plan.limit.chance,
        plan.limit.miss_m,
    ));
    let day: Vec<String> = plan.event_day.iter().map(|c| words::figures(*c)).collect();
    more.fold = vec![
        format!(
            "Sessions × runs of each. Chance of a first run of a new session within {}; miss not exceeded with probability {}. For each state of the spreads left open by the log (ratio and σ integrated, not plugged in) long and right are independent, centred normals with variance σ²(h + r² + 1) + step²/12, h from the information of the log and of the new runs; averaged over the targets that can be announced. The limit has h = 0 and no steps.",
            words::cm_unit(question.within_m),
            words::figures(question.chance)
        ),
        format!(
            "On the day, after 0, 1, 2 runs made and corrected for: {}. What counts at the event: {}.",
            day.join(", "),
            words::figures(plan.event_chance)
        ),
        "Targets for new runs: the worst variance of the line over the event's range is least (Kiefer & Wolfowitz 1960), with one run in four kept in the middle.".to_string(),
    ];
    let middle = calibration.range()?.three_m()[1];
    let (turns, _) = dial::plain_setting(situation, middle)?;
    let along = miss_parts::along(situation, turns);
    let across = miss_parts::across(situation, middle);
    let size = |of: fn(&miss_parts::Parts) -> f64| (of(&along), across.as_ref().map(of));
    let named: [(&str, (f64, Option<f64>)); 4] = [
        (
            "from one run to the next: build better",
            size(|p| p.run_to_run_m),
        ),
        (
            "from one day to the next: other days and floors",
            size(|p| p.between_sessions_m),
        ),
        ("not yet known: more runs", size(|p| p.calibration_m)),
        ("coarseness of dial and aim mark", size(|p| p.step_m)),
    ];
    let shown = parts::Parts {
        target_m: middle,
        rows: named
            .into_iter()
            .map(|(what, (along_m, across_m))| parts::Part {
                what: what.to_string(),
                along_m,
                across_m,
            })
            .collect(),
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
    let mut sentences = plan_words::advice(situation, plan);
    sentences.push(plan_words::where_to_run(&plan.targets_m));
    let answer = Answer {
        made_from: format!("Made from the calibration of {}.", page::logs(calibration)),
        heading: format!("{}: how to get nearer", view::spoken(&situation.rig.name)),
        sentences,
        notes: situation
            .rig
            .warnings
            .iter()
            .map(|w| words::sentence(w))
            .collect(),
        figures: vec![more, made_of],
    };
    answer::files("plan", "What to practise", &answer)
}
