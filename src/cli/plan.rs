//! `haltmark plan`: how many more runs, where, and what they would bring.

use serde::Serialize;

use super::args::{Common, PlanArgs};
use super::inputs;
use super::output::{self, Answer, Output};
use crate::decide::Situation;
use crate::decide::plan::{self, AtEvent, Outlook, Plan, PlanOption, Question, Reach};
use crate::error::Error;
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
    let plan = plan::plan(&situation, calibration.range()?, question)?;
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
        text: text(&situation, &plan),
        next: format!(
            "haltmark sheet {} --out sheet.html{}, for the next session",
            inputs::typed(&args.calibration),
            inputs::with_rig(&args.rig)
        ),
        json: Some(output::json(&PlanJson::from_plan(&plan, args, common))),
        ..Answer::default()
    })
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
            targets_m: plan.targets_m.clone(),
        }
    }
}

fn text(situation: &Situation, plan: &Plan) -> String {
    let mut lines = plan_words::advice(situation, plan);
    lines.push(String::new());
    let rule = plan.at_event.rule;
    // With one run that counts the two columns are one.
    let both = rule.runs > 1;
    let row = |what: &str, event_chance: f64, outlook: &Outlook| {
        let first = format!(
            "{:<14} {} within {:.0} cm",
            words::chance(outlook.chance),
            words::level(plan.question.chance),
            CM * outlook.miss_m
        );
        match both {
            true => format!("  {what:<26} {:<16} {first}", words::chance(event_chance)),
            false => format!("  {what:<26} {first}"),
        }
    };
    let heading = match both {
        true => format!("  {:<26} {:<16} first run of a new day", "", "at the event"),
        false => format!("  {:<26} first run of a new day", ""),
    };
    lines.push(heading);
    lines.push(row("now", plan.at_event.chance, &plan.now));
    // Where no sessions and runs were asked for, the options for sessions of one size are enough for a terminal.
    let shown = |o: &&PlanOption| plan.asked.is_some() || o.runs_per_session == 8;
    for option in plan.listed().iter().filter(shown) {
        let what = format!(
            "{} of {} more",
            words::count(option.sessions as usize, "session", "sessions"),
            words::count(option.runs_per_session as usize, "run", "runs")
        );
        lines.push(row(&what, option.event_chance, &option.outlook));
    }
    lines.push(row(
        "no number of runs beats",
        plan.at_event.limit,
        &plan.limit,
    ));
    lines.push(plan_words::where_to_run(&plan.targets_m));
    lines.join("\n")
}
