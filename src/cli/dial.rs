//! `haltmark dial` and `haltmark correct`: settings for announced targets, before and after today's runs.

use serde::Serialize;

use super::args::{Common, CorrectArgs, DialArgs};
use super::inputs;
use super::output::{self, Answer};
use crate::decide::correct::{self, AlmostImpossible, Corrected, DoubtedRun, Today};
use crate::decide::dial::{self, Exact, Setting};
use crate::decide::{Situation, score};
use crate::error::Error;
use crate::log;
use crate::report::words;
use crate::setup::Dial;
use crate::stats::interval::{Interval, Level};
use crate::units;

const CM: f64 = 100.0;

/// Answers `haltmark dial`: settings for the first run of a new session.
///
/// # Errors
/// Faults of calibration and set-up; data that cannot answer.
pub fn run(args: &DialArgs, common: &Common) -> Result<Answer, Error> {
    let calibration = inputs::calibration(&args.calibration, args.rig.rig.as_deref(), common)?;
    inputs::near_the_logs(&calibration, &args.target.0)?;
    let situation = Situation::new(&calibration, &inputs::choice(&args.rig, args.lead))?;
    let settings = settings(&situation, &args.target.0, args.beat, common.level)?;
    let answer = answer(&situation, settings, None, Vec::new(), common)?;
    Ok(Answer {
        next: format!(
            "haltmark correct {} TODAY.csv --target {}{}{}, after the first run",
            inputs::typed(&args.calibration),
            units::at_most_decimals(args.target.0[0], 3),
            inputs::with_rig(&args.rig),
            inputs::with_setup(common)
        ),
        ..answer
    })
}

/// Answers `haltmark correct`: settings after today's runs.
///
/// # Errors
/// Faults of calibration, set-up and today's log; data that cannot answer.
pub fn correct(args: &CorrectArgs, common: &Common) -> Result<Answer, Error> {
    let calibration = inputs::calibration(&args.calibration, args.rig.rig.as_deref(), common)?;
    inputs::near_the_logs(&calibration, &args.target.0)?;
    let options = log::ReadOptions {
        kind: log::LogKind::Day,
        sheet: args.sheet.clone(),
    };
    let (today, mut read) = log::read(
        std::slice::from_ref(&args.today),
        &calibration.setup,
        &options,
    )?;
    inputs::say_ticks_once(&mut read, &calibration.setup.dial);
    let almost_impossible = match args.believe {
        true => AlmostImpossible::Believed,
        false => AlmostImpossible::LeftOut,
    };
    let choice = inputs::choice(&args.rig, args.lead);
    let corrected = correct::correct(&calibration, &today, &choice, almost_impossible)?;
    let differs = corrected.today(args.target.0[0])?;
    let mut warnings = corrected.warnings.clone();
    warnings.extend(inputs::without_aim(&today));
    let why = match &differs {
        Some(today) => Some(why(&corrected, today, args.target.0[0])?),
        None => {
            warnings
                .push("no run of today can be used; this is the setting for a new day".to_string());
            None
        }
    };
    let settings = settings(
        &corrected.situation,
        &args.target.0,
        args.beat,
        common.level,
    )?;
    let less_lead = less_lead(&corrected, &args.target.0, args.beat, common.level)?;
    let day = Day {
        corrected: &corrected,
        differs,
        why,
        less_lead,
        row: log::row_word(&args.today.display().to_string()),
    };
    let mut answer = answer(&corrected.situation, settings, Some(day), warnings, common)?;
    answer.next = format!(
        "haltmark review {} {}{}{}, when the day is over",
        inputs::typed(&args.calibration),
        inputs::typed(&args.today),
        inputs::with_rig(&args.rig),
        inputs::with_setup(common)
    );
    answer.warnings = read;
    Ok(answer)
}

/// What `correct` adds to the settings.
struct Day<'c> {
    corrected: &'c Corrected<'c>,
    differs: Option<Today>,
    why: Option<String>,
    /// The settings of the other way on.
    less_lead: Option<Vec<Asked>>,
    /// What a row of today's log is called.
    row: &'static str,
}

/// The settings of the other way on after a run that rolled back.
fn less_lead(
    corrected: &Corrected,
    targets_m: &[f64],
    beat_cm: Option<f64>,
    level: Level,
) -> Result<Option<Vec<Asked>>, Error> {
    let with_less = corrected.less_lead.as_ref();
    with_less
        .map(|situation| settings(situation, targets_m, beat_cm, level))
        .transpose()
}

/// A setting with its unrounded form and what it is expected to cost.
struct Asked {
    setting: Setting,
    exact: Exact,
    score: Option<Interval>,
    beat: Option<Beat>,
}

/// A miss to beat, and how likely the run is to stop nearer; `None` where the log does not tell.
struct Beat {
    cm: f64,
    chance: Option<f64>,
}

fn settings(
    situation: &Situation,
    targets_m: &[f64],
    beat_cm: Option<f64>,
    level: Level,
) -> Result<Vec<Asked>, Error> {
    targets_m
        .iter()
        .map(|&target| {
            let (mut setting, prediction) = dial::setting_and_prediction(situation, target, level)?;
            let miss_high_m = setting.miss_m.map(|m| m.high);
            let score = score::expected(situation, &prediction, miss_high_m, level)?;
            let exact = dial::exact(situation, target, level)?;
            if !(exact.turns.low.is_finite() && exact.turns.high.is_finite()) {
                setting.warnings.push(dial::Warning::FlatCalibration);
            }
            let measure = situation.setup.score.measure;
            let beat = beat_cm.map(|cm| Beat {
                cm,
                chance: prediction.chance_within(cm / CM, measure),
            });
            Ok(Asked {
                setting,
                exact,
                score,
                beat,
            })
        })
        .collect()
}

#[derive(Serialize)]
struct Dialled<'a> {
    level: f64,
    rig: &'a str,
    build: &'a str,
    trim: &'a str,
    settings: Vec<SettingJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    today: Option<Option<TodayJson>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    less_lead: Option<Option<LessLeadJson>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    warnings: Vec<String>,
}

#[derive(Serialize)]
struct SettingJson {
    target_m: f64,
    turns: f64,
    /// `null` where neither log nor set-up knows of ticks.
    whole_turns: Option<i64>,
    ticks: Option<i64>,
    aim_right_cm: Option<f64>,
    lead_turns: Option<f64>,
    recoil_chance: Option<f64>,
    long_cm: Interval,
    right_cm: Option<Interval>,
    miss_cm: Option<Interval>,
    turns_exact: Interval,
    aim_exact_right_cm: Option<Interval>,
    ticks_per_turn: Option<u32>,
    ticks_assumed: bool,
    beat_cm: Option<f64>,
    beat_chance: Option<f64>,
    time_s: Option<f64>,
    score: Option<Interval>,
    obstacle: Option<ObstacleJson>,
    lane: Option<LaneJson>,
    warnings: Vec<String>,
}

#[derive(Serialize)]
struct ObstacleJson {
    gap_cm: Interval,
    touch_chance: Option<f64>,
}

#[derive(Serialize)]
struct LaneJson {
    leave_chance: f64,
}

#[derive(Serialize)]
struct TodayJson {
    runs: usize,
    shift_long_cm: f64,
    shift_right_cm_per_m: Option<f64>,
    share_along: f64,
    share_across: Option<f64>,
    why: Option<String>,
    doubted: Vec<DoubtedJson>,
}

#[derive(Serialize)]
struct DoubtedJson {
    line: usize,
    why: String,
}

#[derive(Serialize)]
struct LessLeadJson {
    lead_turns: Option<f64>,
    settings: Vec<SettingJson>,
}

impl TodayJson {
    /// `None` with neither a run that is used nor one that could be.
    fn from_day(day: &Day) -> Option<Self> {
        let doubted = &day.corrected.doubted;
        if day.differs.is_none() && doubted.is_empty() {
            return None;
        }
        let differs = day.differs.as_ref();
        let each = |run: &DoubtedRun| DoubtedJson {
            line: run.line,
            why: run.why.clone(),
        };
        Some(TodayJson {
            runs: differs.map_or(0, |t| t.runs),
            shift_long_cm: differs.map_or(0.0, |t| CM * t.shift_long_m + 0.0),
            shift_right_cm_per_m: differs
                .and_then(|t| t.shift_right_rad)
                .map(|x| CM * x + 0.0),
            share_along: differs.map_or(0.0, |t| t.share_along),
            share_across: differs.and_then(|t| t.share_across),
            why: day.why.clone(),
            doubted: doubted.iter().map(each).collect(),
        })
    }
}

/// A length in m as cm without the rounding error of the product: a rounded aim of −0.235 m is −23.5 cm.
pub fn tidy_cm(m: f64) -> f64 {
    (m * 1e8).round() / 1e6 + 0.0
}

impl SettingJson {
    fn from_asked(asked: &Asked, dial: &Dial) -> Self {
        let s = &asked.setting;
        let ticks_per_turn = dial.ticks();
        SettingJson {
            target_m: s.target_m,
            turns: s.dial.turns(),
            whole_turns: ticks_per_turn.map(|_| s.dial.whole_turns()),
            ticks: ticks_per_turn.map(|_| s.dial.ticks()),
            aim_right_cm: s.aim_right_m.map(tidy_cm),
            lead_turns: s.lead_turns,
            recoil_chance: s.recoil_chance,
            long_cm: s.long_m.scaled(CM),
            right_cm: s.right_m.map(|i| i.scaled(CM)),
            miss_cm: s.miss_m.map(|i| i.scaled(CM)),
            turns_exact: asked.exact.turns,
            aim_exact_right_cm: asked.exact.aim_right_m.map(|i| i.scaled(CM)),
            ticks_per_turn,
            ticks_assumed: dial.is_assumed(),
            beat_cm: asked.beat.as_ref().map(|beat| beat.cm),
            beat_chance: asked.beat.as_ref().and_then(|beat| beat.chance),
            time_s: s.time_s,
            score: asked.score,
            obstacle: s.gap_m.map(|gap| ObstacleJson {
                gap_cm: gap.scaled(CM),
                touch_chance: s.touch_chance,
            }),
            lane: s.leave_chance.map(|leave_chance| LaneJson { leave_chance }),
            warnings: s.warnings.iter().map(ToString::to_string).collect(),
        }
    }
}

fn answer(
    situation: &Situation,
    settings: Vec<Asked>,
    day: Option<Day>,
    warnings: Vec<String>,
    common: &Common,
) -> Result<Answer, Error> {
    let dial = &situation.setup.dial;
    let mut lines: Vec<String> = state(situation).into_iter().collect();
    lines.extend(match &day {
        Some(day) => day_lines(day, &settings, dial),
        None => setting_lines(&settings, dial),
    });
    let said = warnings.iter().cloned().chain(dial.caution());
    lines.extend(said.map(|w| format!("note: {w}")));
    let each = |asked: &Asked| SettingJson::from_asked(asked, dial);
    let json = |settings: &[Asked]| settings.iter().map(each).collect();
    let less_lead = |day: &Day| {
        Some(LessLeadJson {
            lead_turns: day.corrected.less_lead.as_ref()?.lead_turns,
            settings: json(day.less_lead.as_ref()?),
        })
    };
    let result = Dialled {
        level: common.level.probability(),
        rig: &situation.rig.name,
        build: &situation.build().label,
        trim: situation.trim().map_or("", |t| &t.label),
        settings: json(&settings),
        today: day.as_ref().map(TodayJson::from_day),
        less_lead: day.as_ref().map(less_lead),
        warnings,
    };
    Ok(Answer {
        text: lines.join("\n"),
        json: Some(output::json(&result)),
        ..Answer::default()
    })
}

/// How likely a miss is beaten, in one line.
fn nearer(beat: &Beat) -> String {
    let how = match beat.chance {
        Some(chance) => words::chance(chance),
        None => "cannot be told: the log does not tell left from right".to_string(),
    };
    format!(
        "  nearer than {} cm: {how}",
        units::at_most_decimals(beat.cm, 1)
    )
}

/// Which rig, build and trim the settings are for; `None` where none has a name.
fn state(situation: &Situation) -> Option<String> {
    let build = &situation.build().label;
    let trim = situation.trim().map_or("", |trim| &trim.label);
    let named = |what: &str, label: &str| match label {
        "" => None,
        label => Some(format!("{what}{}", words::label(label))),
    };
    let parts = [
        named("", &situation.rig.name),
        named("build ", build),
        named("trim ", trim),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    (!parts.is_empty()).then(|| format!("{}:", parts.join(", ")))
}

/// Settings, each with what to know of it.
fn setting_lines(settings: &[Asked], dial: &Dial) -> Vec<String> {
    let lines = |asked: &Asked| {
        let notes = asked.setting.warnings.iter();
        let notes = notes.map(|w| format!("  note: {w}"));
        std::iter::once(line(&asked.setting, dial))
            .chain(asked.beat.as_ref().map(nearer))
            .chain(notes)
            .collect()
    };
    let each: Vec<Vec<String>> = settings.iter().map(lines).collect();
    each.concat()
}

/// Doubted runs first, then the way on, or the two ways with a heading each, then why.
fn day_lines(day: &Day, settings: &[Asked], dial: &Dial) -> Vec<String> {
    let mut lines = Vec::new();
    for run in &day.corrected.doubted {
        lines.push(format!("LEFT OUT: {} {}", day.row.to_uppercase(), run.line));
        lines.push(format!("  {}.", run.why));
    }
    if !lines.is_empty() {
        let (it, was) = match day.corrected.doubted.len() {
            1 => ("it", "was"),
            _ => ("they", "were"),
        };
        lines.push(format!(
            "If {it} {was} read right, ask again with --believe. Without {}:",
            if it == "it" { "it" } else { "them" }
        ));
        lines.push(String::new());
    }
    match (&day.less_lead, &day.corrected.less_lead) {
        (Some(less), Some(situation)) => {
            lines.push(format!(
                "{} Two ways on; take one as it stands, never a part of each.",
                rolled_back(day.corrected.rolled_back)
            ));
            lines.push(String::new());
            lines.push(
                "THE SAME LEAD, where runs that roll back count where they came to rest:"
                    .to_string(),
            );
            lines.extend(setting_lines(settings, dial));
            lines.push(String::new());
            lines.push(format!(
                "OR LESS LEAD, {}, with how far what rolled back went left out:",
                words::lead(situation.lead_turns.unwrap_or_default())
            ));
            lines.extend(setting_lines(less, dial));
        }
        _ => {
            lines.extend(setting_lines(settings, dial));
            if day.corrected.rolled_back > 0 {
                lines.push(format!(
                    "{} What rolls back counts where it came to rest, since this lead will do it again; less lead was never tried.",
                    rolled_back(day.corrected.rolled_back)
                ));
            }
        }
    }
    if let Some(why) = &day.why {
        lines.push(String::new());
        lines.push(why.clone());
    }
    lines
}

fn rolled_back(runs: usize) -> String {
    match runs {
        1 => "One run of today rolled back.".to_string(),
        runs => format!("{runs} runs of today rolled back."),
    }
}

/// One setting in one line for a person.
///
/// * `dial` — the one it is set on: in ticks, or in decimal turns where nobody knows of ticks
pub fn line(setting: &Setting, dial: &Dial) -> String {
    let mut out = format!("{:.2} m: ", setting.target_m);
    out += &match dial.ticks() {
        None => format!("{:.2} turns", setting.dial.turns()),
        ticks_per_turn => units::turns(setting.dial.turns(), ticks_per_turn),
    };
    if let Some(aim_m) = setting.aim_right_m {
        out += &match tidy_cm(aim_m) {
            0.0 => ", aim at the target".to_string(),
            cm if cm > 0.0 => format!(", aim {cm} cm right"),
            cm => format!(", aim {} cm left", -cm),
        };
    }
    if let Some(lead) = setting.lead_turns {
        out += &format!(", lead {lead}");
    }
    if let Some(miss) = setting.miss_m {
        out += &format!("; stops within {}", words::within_cm_unit(miss.high));
    } else {
        out += &format!(
            "; stops between {} and {}",
            words::long_or_short(setting.long_m.low),
            words::long_or_short(setting.long_m.high)
        );
    }
    if let Some(gap) = setting.gap_m {
        let tightest = match words::clear_by_cm(gap.low) {
            Some(cm) => format!("{cm} at the tightest"),
            None => "a touch is possible".to_string(),
        };
        out += &format!(
            "; passes the obstacle by {}, {tightest}",
            words::whole_cm_unit(gap.estimate)
        );
    }
    out
}

/// Sentences on which share of today's shift was corrected, and what correcting the whole miss would have been; what moves
/// nothing is left out.
fn why(corrected: &Corrected, today: &Today, target_m: f64) -> Result<String, Error> {
    let ticks_per_turn = corrected.situation.setup.dial.ticks();
    let turned = |x: f64| {
        let size = units::turns_apart(x, ticks_per_turn)?;
        Some(format!("{size} {}", if x > 0.0 { "more" } else { "fewer" }))
    };
    let (turns, aim) = dial::plain_setting(&corrected.before, target_m)?;
    let (turns_now, aim_now) = dial::plain_setting(&corrected.situation, target_m)?;
    let runs = words::count(today.runs, "run", "runs");
    let mut text = format!("After {runs} today:");
    if today.share_along > 0.0 {
        let all_m = today.shift_long_m / today.share_along;
        text += &match rounds_to_nothing(all_m) {
            true => " on average as far as the season has it.".to_string(),
            false => format!(
                " on average {} than the season has it.",
                sized_cm(all_m, ["longer", "shorter"])
            ),
        };
        let moved = turns_now - turns;
        let taken_cm = CM * today.shift_long_m.abs();
        let taken = turned(moved).unwrap_or_else(|| "too little to turn the dial".to_string());
        if let Some(all) = turned(moved / today.share_along) {
            text += &match today.share_along < 1.0 {
                true => format!(
                    " {taken_cm:.0} cm of that ({:.0} %) are taken out, {taken}; all of it would be {all}.",
                    CM * today.share_along,
                ),
                // A shift that was seen near grows with the distance: farther on it is more than what was seen.
                false => format!(
                    " Days differ more the farther it goes: at {target_m:.2} m {taken_cm:.0} cm are taken out, {taken}."
                ),
            };
        }
    }
    if let Some(share) = today.share_across.filter(|&share| share > 0.0) {
        let moved_m = aim_now - aim;
        let side = ["to the right", "to the left"];
        let moved = match rounds_to_nothing(moved_m) {
            true => "which hardly moves the mark".to_string(),
            false => format!("the mark {}", sized_cm(moved_m, side)),
        };
        if !rounds_to_nothing(moved_m / share) {
            text += &format!(
                " {:.0} % of the miss across is taken out, {moved}; all of it would be {}.",
                CM * share,
                sized_cm(moved_m / share, side),
            );
        }
    }
    if today.share_along < 1.0 {
        text += " The rest of a miss is chance: correcting all of it chases that.";
    }
    Ok(text)
}

/// Whether a length in m is 0 in whole centimetres.
fn rounds_to_nothing(length_m: f64) -> bool {
    words::whole_cm(length_m.abs()) == "0"
}

/// A signed length in m in whole centimetres, with the word for its sign: `6 cm to the left`.
fn sized_cm(length_m: f64, [plus, minus]: [&str; 2]) -> String {
    let way = if length_m < 0.0 { minus } else { plus };
    format!("{} {way}", words::whole_cm_unit(length_m.abs()))
}
