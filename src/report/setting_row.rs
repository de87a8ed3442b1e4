//! One setting as a line of a table, on the page and on the card's sheet.

use super::words;
use crate::decide::dial::Setting;
use crate::units;
use serde::Serialize;

/// What a table says of a setting; empty where the log cannot tell.
#[derive(Serialize)]
pub struct SettingRow {
    target: String,
    turns: String,
    ticks: String,
    aim: String,
    aim_side: &'static str,
    within: String,
    gap: String,
    flag: String,
}

/// A sign beside some rows of a table, explained once below it.
#[derive(Serialize)]
pub struct Flag {
    sign: String,
    means: &'static str,
}

/// The row of a setting; each new kind of warning gets a sign of its own in `flags`.
pub fn of(s: &Setting, flags: &mut Vec<Flag>) -> SettingRow {
    let cm = |m: Option<f64>| m.map_or_else(String::new, words::whole_cm);
    SettingRow {
        target: words::metres(s.target_m),
        turns: s.dial.whole_turns().to_string(),
        ticks: s.dial.ticks().to_string(),
        aim: s
            .aim_right_m
            .map_or_else(String::new, |a| units::at_most_decimals(100.0 * a.abs(), 1)),
        aim_side: match s.aim_right_m {
            Some(aim) if aim > 0.0 => "right",
            Some(aim) if aim < 0.0 => "left",
            _ => "",
        },
        within: cm(s.miss_m.map(|m| m.high)),
        gap: cm(s.gap_m.map(|g| g.low)),
        flag: signs(s, flags),
    }
}

fn signs(s: &Setting, flags: &mut Vec<Flag>) -> String {
    let mut signs = Vec::new();
    for warning in &s.warnings {
        let means = warning.kind();
        let at = flags
            .iter()
            .position(|f| f.means == means)
            .unwrap_or_else(|| {
                let sign = char::from(b'a' + (flags.len() % 26) as u8).to_string();
                flags.push(Flag { sign, means });
                flags.len() - 1
            });
        signs.push(flags[at].sign.clone());
    }
    signs.join(" ")
}
