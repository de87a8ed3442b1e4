//! Rows of the sheet, and what is said around them: settings of the next sessions, or first guesses.

use super::columns::Asked;
use crate::decide::Setting;
use crate::decide::Situation;
use crate::decide::next_session::{FirstSessions, Guess, NextSessions};
use crate::decide::rounding::DialSetting;
use crate::report::{plan_words, words};
use crate::setup::{Dial, Setup};
use crate::stats::interval::{Interval, Level};
use crate::units;
use serde::Serialize;

/// Lines of a page: what fits on one side, and a dozen runs are a long session. A longer one goes on on another side.
pub const LINES: usize = 12;

/// Most other wheel sets for which the sheet has room.
const OTHER_WHEELS: usize = 2;

const ORDER: &str = "so that a floor that gets dusty or a string that stretches is not taken for \
                     something that a longer distance does";

/// A line of the table.
#[derive(Serialize)]
pub(super) struct SheetRow {
    /// What stands in the columns that are filled in before the run, in their order.
    before: Vec<String>,
    /// Ranges to expect, each with a box to tick.
    expect: Vec<String>,
}

/// What is written on the sheet.
#[derive(Serialize)]
pub(super) struct Filled {
    /// Vehicle, wheels, build, trim.
    pub labels: [String; 4],
    /// What the sessions gain at the event; blank where that is not known.
    pub gain: String,
    /// Sentences above the table.
    pub above: String,
    /// Sentences below the table, before the fixed ones.
    pub below: Vec<String>,
    /// The rows of each session.
    pub pages: Vec<Vec<SheetRow>>,
    /// Whether there are ranges to expect.
    pub expects: bool,
}

/// The sheet filled in with the next sessions' settings.
pub(super) fn known(
    situation: &Situation,
    next: &NextSessions,
    level: Level,
    asked: Asked,
) -> Filled {
    let before = |s: &Setting| Before {
        target_m: Some(s.target_m),
        dial: Some(s.dial),
        aim_m: s.aim_right_m,
        lead_turns: s.lead_turns,
        expect: std::iter::once(range(&s.long_m, "short", "long"))
            .chain(s.right_m.as_ref().map(|r| range(r, "left", "right")))
            .collect(),
    };
    let mut warnings: Vec<&str> = Vec::new();
    for warning in next.sessions.iter().flatten().flat_map(|s| &s.warnings) {
        if !warnings.contains(&warning.kind()) {
            warnings.push(warning.kind());
        }
    }
    let trust = (!warnings.is_empty()).then(|| {
        format!(
            "Know before you trust the settings: {}.",
            warnings.join("; ")
        )
    });
    Filled {
        labels: [
            words::label(&situation.rig.vehicle),
            words::label(&situation.rig.wheels),
            words::label(&situation.build().label),
            situation
                .trim()
                .map_or_else(String::new, |t| words::label(&t.label)),
        ],
        gain: next
            .gain
            .as_ref()
            .map_or_else(String::new, plan_words::gain),
        above: above(next, level),
        below: situation
            .setup
            .dial
            .caution()
            .into_iter()
            .chain(trust)
            .collect(),
        pages: pages(&next.sessions, before, &situation.setup.dial, asked),
        expects: true,
    }
}

/// Why these targets and leads, and what the ranges are.
fn above(next: &NextSessions, level: Level) -> String {
    let where_ = match next.gain {
        Some(_) => "These targets are where runs teach the most",
        None => "The targets are spread over what can be announced",
    };
    let lead = next.other_lead.as_ref().map_or_else(String::new, |lead| {
        format!(
            " Mind the lead, which changes from run to run: {}. Watch every run, and write 0 where it does not roll back.",
            words::small(&plan_words::what_is_open(lead))
        )
    });
    format!(
        "{where_}, in mixed order, {ORDER}: keep the order.{lead} Each range holds {} runs of a new day; tick its box if your run \
         stopped inside (runs of one day share that day's luck). Set something else? Cross it out and write what you set.",
        words::level(level.probability())
    )
}

/// The sheet filled in with first guesses from the wheels' diameter.
pub(super) fn guessed(setup: &Setup, first: &FirstSessions, vehicle: &str, asked: Asked) -> Filled {
    let before = |guess: &Guess| Before {
        target_m: Some(guess.target_m),
        dial: guess.dial,
        ..Before::default()
    };
    let above = if first.sessions[0].is_empty() {
        format!("Take targets from the shortest to the longest, in mixed order, {ORDER}.")
    } else {
        format!(
            "The targets are in mixed order, {ORDER}: keep the order. Other targets do as well: cross out and write what you set."
        )
    };
    let own = first.diameter_m.map(|diameter_m| {
        format!(
            "First guess at the turns: {} ({}). Expect the first runs to stop past the target: a \
             vehicle rolls on after its turns are used up. Keep the floor behind the target free",
            per_metre("a wheel", diameter_m),
            match setup.dial.ticks() {
                Some(ticks) => format!("{ticks} ticks make a turn"),
                None => "decimal turns: 36.5 is 36 and a half".to_string(),
            }
        )
    });
    let mut others: Vec<String> = first
        .others_m
        .iter()
        .take(OTHER_WHEELS)
        .map(|(label, diameter_m)| {
            per_metre(&format!("a “{}” wheel", words::label(label)), *diameter_m)
        })
        .collect();
    if first.others_m.len() > OTHER_WHEELS {
        others.push("for still others name them with --rig".to_string());
    }
    let guess = match (own, others.is_empty()) {
        (Some(own), true) => format!("{own}."),
        (Some(own), false) => format!("{own}. For other wheels: {}.", others.join("; ")),
        (None, false) => format!("First guess at the turns: {}.", others.join("; ")),
        (None, true) => {
            "First guess at the turns: target divided by the wheel's way round, which is 3.14 times its width across. \
             With the wheel diameter in a set-up file, this sheet does it for you."
                .to_string()
        }
    };
    Filled {
        labels: [
            words::label(vehicle),
            words::label(&first.wheels),
            String::new(),
            String::new(),
        ],
        gain: String::new(),
        above,
        below: vec![guess],
        pages: pages(&first.sessions, before, &setup.dial, asked),
        expects: false,
    }
}

/// `a wheel 7.7 cm across carries it 24.2 cm a turn, so 4.13 turns for each metre`
fn per_metre(wheel: &str, diameter_m: f64) -> String {
    let turn_m = std::f64::consts::PI * diameter_m;
    format!(
        "{wheel} {} cm across carries it {} cm a turn, so {} turns for each metre",
        units::at_most_decimals(100.0 * diameter_m, 2),
        units::decimals(100.0 * turn_m, 1),
        units::decimals(1.0 / turn_m, 2)
    )
}

/// What is set for one run.
#[derive(Default)]
struct Before {
    target_m: Option<f64>,
    dial: Option<DialSetting>,
    aim_m: Option<f64>,
    lead_turns: Option<f64>,
    expect: Vec<String>,
}

/// For each session a line for each run, and empty ones where the page has room.
fn pages<T>(
    sessions: &[Vec<T>],
    before: impl Fn(&T) -> Before,
    dial: &Dial,
    asked: Asked,
) -> Vec<Vec<SheetRow>> {
    let page = |runs: &Vec<T>| {
        let lines = runs.len().max(LINES);
        runs.iter()
            .map(&before)
            .chain(std::iter::repeat_with(Before::default))
            .zip(1..=lines)
            .map(|(run, number)| row(number, run, dial, asked))
            .collect()
    };
    sessions.iter().map(page).collect()
}

fn row(number: usize, run: Before, dial: &Dial, asked: Asked) -> SheetRow {
    let turns_and_ticks = match (run.dial, dial.ticks()) {
        (None, _) => [String::new(), String::new()],
        (Some(set), None) => [units::decimals(set.turns(), 2), String::new()],
        (Some(set), Some(_)) => [set.whole_turns().to_string(), set.ticks().to_string()],
    };
    let mut before = vec![
        number.to_string(),
        run.target_m.map_or_else(String::new, words::metres),
    ];
    let columns = if asked.ticks { 2 } else { 1 };
    before.extend(turns_and_ticks.into_iter().take(columns));
    if asked.across {
        before.push(run.aim_m.map_or_else(String::new, signed_cm));
    }
    before.push(
        run.lead_turns
            .map_or_else(String::new, |l| units::at_most_decimals(l, 2)),
    );
    SheetRow {
        before,
        expect: run.expect,
    }
}

/// The aim mark as the log takes it, with its sign and all digits of its step.
fn signed_cm(length_m: f64) -> String {
    let cm = units::at_most_decimals(100.0 * length_m.abs(), 2);
    match cm.as_str() {
        "0" => cm,
        _ if length_m < 0.0 => format!("−{cm}"),
        _ => format!("+{cm}"),
    }
}

/// `18 short to 19 long`, in cm.
fn range(interval: &Interval, minus: &str, plus: &str) -> String {
    let side = |m: f64| match words::whole_cm(m.abs()).as_str() {
        "0" => "0".to_string(),
        cm => format!("{cm} {}", if m < 0.0 { minus } else { plus }),
    };
    format!("{} to {}", side(interval.low), side(interval.high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_says_its_sides() {
        let of = |low, high| range(&Interval::holding(0.0, low, high), "short", "long");
        assert_eq!(of(-0.184, 0.19), "18 short to 19 long");
        assert_eq!(of(-0.004, 0.06), "0 to 6 long");
    }

    #[test]
    fn an_aim_mark_has_its_sign() {
        assert_eq!(signed_cm(-0.235), "−23.5");
        assert_eq!(signed_cm(0.02), "+2");
        assert_eq!(signed_cm(0.0), "0");
    }
}
