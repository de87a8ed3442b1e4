//! What a new fit changed: the settings of the calibration that it replaces beside its own.

use std::path::Path;

use super::inputs::LARGEST_FILE_BYTES;
use crate::calibration::{Calibration, Rig, file};
use crate::decide::{Choice, RigSettings, Setting, Situation, dial};
use crate::fault::read_text;
use crate::report::words;

const CM: f64 = 100.0;
/// More sessions than this are counted, not named.
const NAMED_MOST: usize = 6;

/// The calibration that a folder holds; `None` where it holds none that this version reads: nothing can be compared then.
pub fn previous(folder: &Path) -> Option<Calibration> {
    let path = folder.join("calibration.json");
    let text = read_text(&path, LARGEST_FILE_BYTES, "a calibration").ok()?;
    file::read(&path.display().to_string(), &text).ok()
}

/// For each rig that both know: by how much the settings for the shortest, middle and longest target moved, and which sessions
/// are new.
pub fn lines(before: &Calibration, now: &[RigSettings]) -> Vec<String> {
    now.iter()
        .filter_map(|rig| {
            let known = rig.situation.rig;
            let was = before.rigs.iter().find(|r| r.name == known.name)?;
            of_rig(before, was, rig)
        })
        .collect()
}

fn of_rig(before: &Calibration, was: &Rig, now: &RigSettings) -> Option<String> {
    let old = Situation::from_rig(&before.setup, was, &Choice::default()).ok()?;
    let known = now.situation.rig;
    let m_per_turn = known.travel.distance_per_turn_m.estimate;
    let in_ticks = now.situation.setup.dial.ticks().is_some();
    let moved: Vec<String> = now
        .three
        .iter()
        .filter_map(|(setting, _)| {
            let was = dial::setting(&old, setting.target_m, before.level).ok()?;
            Some(moved(&was, setting, m_per_turn, in_ticks))
        })
        .collect();
    let new: Vec<String> = known
        .session_labels
        .iter()
        .filter(|label| !was.session_labels.contains(label))
        .map(|label| words::label(label))
        .collect();
    let name = match known.name.as_str() {
        "" => String::new(),
        name => format!(" for {}", words::label(name)),
    };
    let because = match new.len() {
        0 => "no session is new".to_string(),
        1..=NAMED_MOST => format!("new since then: {}", new.join(", ")),
        n => format!("{n} sessions are new"),
    };
    Some(format!(
        "changed{name} since the fit that this one replaces ({because}): {}",
        moved.join("; ")
    ))
}

/// "6.50 m: 3 ticks more (3.5 cm), aim 1 cm more to the left".
///
/// * `in_ticks` — whether settings are made in ticks
fn moved(was: &Setting, now: &Setting, m_per_turn: f64, in_ticks: bool) -> String {
    let turns = now.dial.turns() - was.dial.turns();
    let same_dial = in_ticks && was.dial.ticks_per_turn == now.dial.ticks_per_turn;
    let ticks = now.dial.ticks_in_all - was.dial.ticks_in_all;
    let more = |x: f64| if x > 0.0 { "more" } else { "fewer" };
    let mut out = format!("{:.2} m: ", now.target_m);
    if turns == 0.0 {
        out += "the same turns";
    } else {
        let by = match same_dial {
            true => words::count(ticks.unsigned_abs() as usize, "tick", "ticks"),
            false => format!("{:.2} turns", turns.abs()),
        };
        let cm = CM * (turns * m_per_turn).abs();
        out += &format!("{by} {} ({cm:.1} cm)", more(turns));
    }
    if let Some((was, now)) = was.aim_right_m.zip(now.aim_right_m) {
        let by_cm = CM * (now - was);
        if by_cm.abs() >= 0.05 {
            let side = if by_cm > 0.0 { "right" } else { "left" };
            out += &format!(", aim {:.1} cm more to the {side}", by_cm.abs());
        }
    }
    out
}
