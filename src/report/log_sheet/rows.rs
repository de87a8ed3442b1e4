//! Rows of the sheet, and what is said around them: settings of the next session, or first guesses.

use super::columns::Asked;
use crate::decide::Situation;
use crate::decide::dial::Setting;
use crate::decide::next_session::FirstSession;
use crate::decide::rounding::DialSetting;
use crate::report::words;
use crate::setup::{Dial, Setup};
use crate::stats::interval::{Interval, Level};
use crate::units;
use serde::Serialize;

/// Lines of a sheet: what fits on one side, and a dozen runs are a long session.
const LINES: usize = 12;

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
    /// Sentence above the table.
    pub above: String,
    /// Sentences below the table, before the fixed ones.
    pub below: Vec<String>,
    pub rows: Vec<SheetRow>,
    /// Whether there are ranges to expect.
    pub expects: bool,
}

/// The sheet filled in with the next session's settings.
pub(super) fn known(
    situation: &Situation,
    settings: &[Setting],
    level: Level,
    asked: Asked,
) -> Filled {
    let rows = settings.iter().map(|s| Before {
        target_m: Some(s.target_m),
        dial: Some(s.dial),
        aim_m: s.aim_right_m,
        lead_turns: s.lead_turns,
        expect: std::iter::once(range(&s.long_m, "short", "long"))
            .chain(s.right_m.as_ref().map(|r| range(r, "left", "right")))
            .collect(),
    });
    let mut warnings: Vec<&str> = Vec::new();
    for warning in settings.iter().flat_map(|s| &s.warnings) {
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
        above: format!(
            "These targets are where runs teach the most, in mixed order, {ORDER}: keep the order. Each range holds {} runs \
             of a new day; tick its box if your run stopped inside (runs of one day share that day's luck). Set something \
             else? Cross it out and write what you set.",
            words::level(level.probability())
        ),
        below: situation
            .setup
            .dial
            .caution()
            .into_iter()
            .chain(trust)
            .collect(),
        rows: lines(rows, &situation.setup.dial, asked),
        expects: true,
    }
}

/// The sheet filled in with first guesses from the wheels' diameter.
pub(super) fn guessed(
    setup: &Setup,
    session: &FirstSession,
    vehicle: &str,
    asked: Asked,
) -> Filled {
    let rows = session.guesses.iter().map(|guess| Before {
        target_m: Some(guess.target_m),
        dial: guess.dial,
        ..Before::default()
    });
    let above = if session.guesses.is_empty() {
        format!("Take targets from the shortest to the longest, in mixed order, {ORDER}.")
    } else {
        format!(
            "The targets are in mixed order, {ORDER}: keep the order. Other targets do as well: cross out and write what you set."
        )
    };
    let own = session.diameter_m.map(|diameter_m| {
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
    let mut others: Vec<String> = session
        .others_m
        .iter()
        .take(OTHER_WHEELS)
        .map(|(label, diameter_m)| {
            per_metre(&format!("a “{}” wheel", words::label(label)), *diameter_m)
        })
        .collect();
    if session.others_m.len() > OTHER_WHEELS {
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
            words::label(&session.wheels),
            String::new(),
            String::new(),
        ],
        above,
        below: vec![guess],
        rows: lines(rows, &setup.dial, asked),
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

/// A line for each run, and empty ones.
fn lines(runs: impl Iterator<Item = Before>, dial: &Dial, asked: Asked) -> Vec<SheetRow> {
    runs.chain(std::iter::repeat_with(Before::default))
        .zip(1..=LINES)
        .map(|(run, number)| row(number, run, dial, asked))
        .collect()
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
