//! `haltmark plan`: how many more runs, where, and what they would bring.

use serde::Serialize;

use super::args::{Common, PlanArgs};
use super::inputs;
use super::output::{self, Answer, Output};
use crate::calibration::EventRange;
use crate::decide::Situation;
use crate::decide::plan::{self, AtEvent, Outlook, Plan, PlanRow, Question, Reach, USUAL_RUNS};
use crate::decide::practice::Practice;
use crate::error::Error;
use crate::report::plan_words::SessionPurpose;
use crate::report::{plan_page, plan_words, words};

const CM: f64 = 100.0;

/// Plans the next sessions of one rig.
///
/// # Errors
/// Faults of calibration and set-up; data that cannot answer.
pub fn run(args: &PlanArgs, common: &Common) -> Result<Answer, Error> {
    let calibration = inputs::calibration(&args.calibration, args.rig.rig.as_deref(), common)?;
    let situation = Situation::new(&calibration, &inputs::choice(&args.rig, None))?;
    let question = Question {
        within_m: args.within / CM,
        chance: args.chance.probability(),
        asked: args.sessions.zip(args.runs),
    };
    let range = calibration.range()?;
    let plan = plan::plan(&situation, range, question)?;
    let output = match &args.out {
        Some(folder) => {
            let files = plan_page::files(&calibration, &situation, &plan)?;
            Some(Output::folder(folder, files))
        }
        None => None,
    };
    Ok(Answer {
        output,
        inputs: inputs::files_read(&args.calibration, common),
        text: text(
            &situation,
            &plan,
            inputs::page(args.out.as_ref(), "plan.html", common),
        ),
        next: next(&situation, &plan, range, args, common),
        json: Some(output::json(&PlanJson::from_plan(&plan, args, common))),
        ..Answer::default()
    })
}

/// The sheet for the sessions, where they are for something; else a setting.
fn next(
    situation: &Situation,
    plan: &Plan,
    range: EventRange,
    args: &PlanArgs,
    common: &Common,
) -> String {
    let calibration = inputs::typed(&args.calibration);
    let flags = inputs::with_rig(&args.rig) + &inputs::with_setup(common);
    let purpose = plan_words::purpose(situation, plan);
    let what = match (purpose, plan.practice.sessions.len()) {
        (SessionPurpose::Nothing, _) => {
            let middle = words::metres(range.middle_m());
            return format!(
                "haltmark dial {calibration} --target {middle}{flags}, for its settings"
            );
        }
        (SessionPurpose::Lead, _) => "for a session on the lead",
        (SessionPurpose::Nearer, 1) => "for the next session",
        (SessionPurpose::Nearer, _) => "for these sessions",
    };
    let size = size_flags(&plan.practice);
    format!("haltmark sheet {calibration}{size} --out sheet.html{flags}, {what}")
}

/// Flags with which `sheet` prints these sessions; none where they are what it prints without.
fn size_flags(practice: &Practice) -> String {
    match (practice.sessions.len(), practice.sessions[0].len()) {
        (1, runs) if runs == USUAL_RUNS as usize => String::new(),
        (sessions, runs) => format!(" --sessions {sessions} --runs {runs}"),
    }
}

#[derive(Serialize)]
struct PlanJson {
    level: f64,
    within_cm: f64,
    chance: f64,
    now: OutlookJson,
    limit: OutlookJson,
    event_day: Vec<DayJson>,
    event_chance: f64,
    options: Vec<OptionJson>,
    reach: Option<ReachJson>,
    at_event: AtEventJson,
    parts_cm: PartsJson,
    targets_m: Vec<f64>,
    runs: Vec<RunJson>,
}

/// A run to make; the keys are those of a run of `sheet`.
#[derive(Serialize)]
struct RunJson {
    session: usize,
    target_m: f64,
    lead_turns: Option<f64>,
}

#[derive(Serialize)]
struct OutlookJson {
    chance: f64,
    miss_cm: f64,
}

#[derive(Serialize)]
struct DayJson {
    runs_before: usize,
    chance: f64,
}

#[derive(Serialize)]
struct OptionJson {
    sessions: u32,
    runs_per_session: u32,
    chance: f64,
    event_chance: f64,
    miss_cm: f64,
}

#[derive(Serialize)]
struct AtEventJson {
    runs: u32,
    counts: &'static str,
    assumed: bool,
    chance: f64,
    limit: f64,
    reach: Option<ReachJson>,
}

#[derive(Serialize)]
struct ReachJson {
    sessions: u32,
    runs_per_session: u32,
}

#[derive(Serialize)]
struct PartsJson {
    run_to_run: f64,
    between_sessions: f64,
    calibration: f64,
    steps: f64,
}

impl OutlookJson {
    fn from_outlook(outlook: &Outlook) -> Self {
        OutlookJson {
            chance: outlook.chance,
            miss_cm: CM * outlook.miss_m,
        }
    }
}

impl ReachJson {
    fn from_reach(reach: Reach) -> Option<Self> {
        reach.map(|(sessions, runs_per_session)| ReachJson {
            sessions,
            runs_per_session,
        })
    }
}

impl AtEventJson {
    fn from_event(event: &AtEvent) -> Self {
        AtEventJson {
            runs: event.rule.runs,
            counts: event.rule.counts.name(),
            assumed: event.rule.assumed,
            chance: event.chance,
            limit: event.limit,
            reach: ReachJson::from_reach(event.reach),
        }
    }
}

impl PlanJson {
    fn from_plan(plan: &Plan, args: &PlanArgs, common: &Common) -> Self {
        let parts = &plan.parts;
        PlanJson {
            level: common.level.probability(),
            within_cm: args.within,
            chance: plan.question.chance,
            now: OutlookJson::from_outlook(&plan.now),
            limit: OutlookJson::from_outlook(&plan.limit),
            event_day: plan
                .event_day
                .iter()
                .enumerate()
                .map(|(runs_before, &chance)| DayJson {
                    runs_before,
                    chance,
                })
                .collect(),
            event_chance: plan.at_event.chance,
            options: plan
                .listed()
                .iter()
                .map(|o| OptionJson {
                    sessions: o.sessions,
                    runs_per_session: o.runs_per_session,
                    chance: o.outlook.chance,
                    event_chance: o.event_chance,
                    miss_cm: CM * o.outlook.miss_m,
                })
                .collect(),
            reach: ReachJson::from_reach(plan.reach),
            at_event: AtEventJson::from_event(&plan.at_event),
            parts_cm: PartsJson {
                run_to_run: CM * parts.run_to_run_m,
                between_sessions: CM * parts.between_sessions_m,
                calibration: CM * parts.calibration_m,
                steps: CM * parts.steps_m,
            },
            targets_m: plan.practice.sessions[0]
                .iter()
                .map(|run| run.target_m)
                .collect(),
            runs: runs(&plan.practice),
        }
    }
}

fn runs(practice: &Practice) -> Vec<RunJson> {
    let sessions = practice.sessions.iter().zip(1..);
    sessions
        .flat_map(|(runs, session)| {
            runs.iter().map(move |run| RunJson {
                session,
                target_m: run.target_m,
                lead_turns: run.lead_turns,
            })
        })
        .collect()
}

/// A row of the table for a person: its name, the chance at the event, and how the first run of a new day comes out.
struct Row {
    name: String,
    at_event: String,
    first_run: String,
    first_miss: String,
}

impl Row {
    fn new(name: &str, event_chance: f64, outlook: &Outlook, question: &Question) -> Self {
        Row {
            name: name.to_string(),
            at_event: words::chance(event_chance),
            first_run: words::chance(outlook.chance),
            first_miss: format!(
                "{} within {:.0} cm",
                words::level(question.chance),
                CM * outlook.miss_m
            ),
        }
    }
}

fn text(situation: &Situation, plan: &Plan, page: Option<String>) -> String {
    let mut lines = plan_words::advice(situation, plan);
    lines.push(String::new());
    lines.extend(table(plan));
    lines.push(
        "  (fewest runs first; left out is what gains less than 1 in 100 over the row before it)"
            .to_string(),
    );
    let purpose = plan_words::purpose(situation, plan);
    lines.extend(plan_words::where_to_run(&plan.practice, purpose));
    let caution = situation.setup.dial.caution();
    lines.extend(caution.map(|c| format!("note: {c}")));
    lines.extend(page);
    lines.join("\n")
}

/// Now, every row that gains something, and what no number of runs beats, below a heading.
fn table(plan: &Plan) -> Vec<String> {
    let row = |name: &str, event_chance: f64, outlook: &Outlook| {
        Row::new(name, event_chance, outlook, &plan.question)
    };
    let mut rows = vec![row("now", plan.at_event.chance, &plan.now)];
    // Who asked for one size has its answer in a line; without, every row that gains something.
    let is_shown = |r: &&PlanRow| plan.asked.is_none() || r.is_asked || r.is_enough;
    rows.extend(plan.rows().iter().filter(is_shown).map(|r| {
        let option = &r.option;
        let name = plan_words::row_name(r);
        row(&name, option.event_chance, &option.outlook)
    }));
    let beyond = "no number of runs beats";
    rows.push(row(beyond, plan.at_event.limit, &plan.limit));
    let width = |least: usize, of: fn(&Row) -> &String| {
        let each = rows.iter().map(|row| of(row).chars().count());
        each.fold(least, usize::max)
    };
    let event = width(16, |row| &row.at_event);
    let first = width(14, |row| &row.first_run);
    // With one run that counts the two columns are one.
    let both = plan.at_event.rule.runs > 1;
    let line = |name: &str, at_event: &str, rest: &str| match both {
        true => format!("  {name:<44} {at_event:<event$} {rest}"),
        false => format!("  {name:<44} {rest}"),
    };
    let mut lines = vec![line("", "at the event", "first run of a new day")];
    lines.extend(rows.iter().map(|row| {
        let rest = format!("{:<first$} {}", row.first_run, row.first_miss);
        line(&row.name, &row.at_event, &rest)
    }));
    lines
}
