//! What a rig's runs cannot tell, and what would: sentences a thirteen-year-old can act on.

use super::words::counted;
use crate::calibration::recoil::TAKEN_FROM_STATUS;
use crate::log::run::Season;
use crate::log::summary::RigSummary;
use crate::setup::Setup;
use crate::units::{self, at_most_decimals};

/// Fewest timed runs from which run time is predicted (`model.md` §3).
const FEWEST_TIMED: usize = 6;
/// Fewest fitted launches that give a trim a line of its own (`model.md` §2).
const FEWEST_PER_TRIM: usize = 2;

/// One sentence for each question that the rig's runs leave open.
pub fn tell(season: &Season, rig: &RigSummary, setup: &Setup) -> Vec<String> {
    let mut open = Vec::new();
    travel(season, rig, setup, &mut open);
    days(rig, season, &mut open);
    heading(season, rig, &mut open);
    brake(rig, &mut open);
    rest(rig, setup, &mut open);
    open
}

fn travel(season: &Season, rig: &RigSummary, setup: &Setup, open: &mut Vec<String>) {
    let wheels = &season.wheels[rig.rig.wheels as usize];
    let diameter =
        setup.wheels_diameter_m.contains_key(wheels) || setup.vehicle.wheel_diameter_m.is_some();
    let stand_in = diameter || rig.hand_rolls > 0;
    match (rig.fitted, rig.turns.as_slice()) {
        (0, _) => open.push(
            "How far the vehicle goes: there is no launch with status ok. Launches that went right would tell."
                .to_string(),
        ),
        (n, [turns]) => open.push(format!(
            "Distance per turn: {} at {}{}. Four runs at quite different turns would settle it.",
            match n {
                1 => "the only ok launch was".to_string(),
                2 => "both ok launches were".to_string(),
                n => format!("all {n} ok launches were"),
            },
            units::turns(*turns, setup.dial.ticks()),
            if stand_in {
                ", so it rests on the wheel alone"
            } else {
                ", and no wheel diameter or hand roll stands in"
            }
        )),
        (n @ 1..=5, _) => open.push(format!(
            "Anything with much certainty: {} so far. Eight to twelve are a start.",
            counted(n, "ok launch", "ok launches")
        )),
        _ => {}
    }
}

fn days(rig: &RigSummary, season: &Season, open: &mut Vec<String>) {
    if rig.fitted > 0 && rig.fitted_sessions == 1 {
        open.push(
            "How one day differs from the next: all ok launches are of one session, so a guess stands in. Runs on \
             two or three more days would tell."
                .to_string(),
        );
    } else if rig.fitted > 1 && rig.fitted_sessions == rig.fitted {
        open.push(
            "Days apart from runs: each session has one ok launch. Three or more in a session would tell.".to_string(),
        );
    }
    let rolls_only: Vec<&str> = rig
        .sessions
        .iter()
        .filter(|session| session.hand_rolls == session.runs)
        .map(|session| season.sessions[session.session as usize].as_str())
        .collect();
    if !rolls_only.is_empty() {
        open.push(format!(
            "How launches went in {}: only hand rolls there, so it counts as no session.",
            rolls_only.join(", ")
        ));
    }
    if rig.dated == 0 {
        open.push(
            "Drift over the season, and --since: no run has a date. A column date would tell."
                .to_string(),
        );
    } else if rig.dated < rig.rig.runs.len() {
        open.push(format!(
            "Drift over the season: {} without a date.",
            counted(rig.rig.runs.len() - rig.dated, "run is", "runs are")
        ));
    }
}

fn heading(season: &Season, rig: &RigSummary, open: &mut Vec<String>) {
    if rig.fitted == 0 {
        return;
    }
    if rig.with_heading == 0 {
        open.push(
            "Left and right: no ok launch says where it came to rest across the line and where it was aimed. The \
             column right_cm would tell where to put the aim mark."
                .to_string(),
        );
        return;
    }
    if rig.with_heading < rig.fitted {
        open.push(format!(
            "Left and right of {} right_cm or the aim; only distance counts there.",
            counted(
                rig.fitted - rig.with_heading,
                "ok launch that lacks",
                "ok launches that lack"
            )
        ));
    }
    for &(trim, runs) in &rig.trims {
        if runs < FEWEST_PER_TRIM && rig.trims.len() > 1 {
            open.push(format!(
                "How trim \"{}\" bends: {} left and right. Two would give it a line of its own.",
                season.trims[trim as usize],
                counted(runs, "ok launch says", "ok launches say")
            ));
        }
    }
}

fn brake(rig: &RigSummary, open: &mut Vec<String>) {
    if rig.fitted == 0 {
        return;
    }
    if rig.recoil_watched == 0 {
        open.push(
            "How often it rolls back: nobody wrote down having watched. Fill recoil_cm, with 0 where it stayed put."
                .to_string(),
        );
    } else if rig.stayed_put == 0 && rig.ok > 0 {
        open.push(TAKEN_FROM_STATUS.to_string());
    }
    match rig.leads_turns.as_slice() {
        [] => open.push("How the brake lead matters: no run has lead_turns.".to_string()),
        [lead] => open.push(format!(
            "How the brake lead matters: every run had {}. Two or three leads would tell.",
            turns(*lead)
        )),
        _ => {}
    }
}

/// `1 turn`, `1.5 turns`.
fn turns(lead: f64) -> String {
    let number = at_most_decimals(lead, 3);
    let unit = if number == "1" { "turn" } else { "turns" };
    format!("{number} {unit}")
}

/// Whether the score counts seconds and too few runs have theirs, so that no fit can make a setting.
pub fn lacks_times(rig: &RigSummary, setup: &Setup) -> bool {
    setup.score.per_s > 0.0 && rig.timed < FEWEST_TIMED
}

fn rest(rig: &RigSummary, setup: &Setup, open: &mut Vec<String>) {
    if lacks_times(rig, setup) {
        open.push(format!(
            "The score: run time counts, and {} a time_s. Six would do.",
            counted(rig.timed, "launch has", "launches have")
        ));
    }
    if rig.load_noted == 0 {
        open.push("What became of the load: the column load is empty.".to_string());
    }
    if (setup.obstacle.is_some() || setup.lane.is_some()) && setup.vehicle.width_m.is_none() {
        open.push("Whether it clears the obstacle or the lane: the set-up lacks width_cm under [vehicle].".to_string());
    }
    if let Some(range) = rig.targets_m {
        let beyond = [
            setup.event.shortest_m.filter(|m| *m < range.least),
            setup.event.longest_m.filter(|m| *m > range.most),
        ];
        for target_m in beyond.into_iter().flatten() {
            open.push(format!(
                "A target of {} m, which may be announced: the log has {} to {} m. Runs out there would tell.",
                at_most_decimals(target_m, 3),
                at_most_decimals(range.least, 3),
                at_most_decimals(range.most, 3)
            ));
        }
    }
}
