//! `settings.csv`: a row for every target that can be announced. Columns are the contract's.

use crate::decide::RigSettings;
use crate::units;

const HEADER: &str = "rig,build,trim,target_m,whole_turns,ticks,turns,aim_right_cm,lead_turns,long_low_cm,long_high_cm,right_low_cm,right_high_cm,miss_high_cm,gap_low_cm,touch_chance,warning,aim_cm,aim_side,ticks_per_turn,units";

/// What a number of each kind of column is, in words; the same in every row, for rows are copied one by one.
const UNITS: &str = "target_m: m; all other lengths: cm; turns and lead_turns: wheel turns; ticks: parts of a turn; long: + past \
                     the target and - before it; right: + right and - left; touch_chance: 0 to 1";

/// The text of `settings.csv`.
pub fn text(rigs: &[RigSettings]) -> String {
    rigs.iter()
        .fold(format!("{HEADER}\n"), |out, rig| out + &rows(rig))
}

/// The rows of one rig.
fn rows(rig: &RigSettings) -> String {
    let mut out = String::new();
    let cm = |m: f64| units::at_most_decimals(100.0 * m, 2);
    let situation = &rig.situation;
    // Where nobody knows of ticks, the turns are decimal.
    let ticks = situation.setup.dial.ticks();
    for s in &rig.settings {
        let maybe = |m: Option<f64>| m.map_or_else(String::new, cm);
        let warnings: Vec<String> = s.warnings.iter().map(ToString::to_string).collect();
        let cells = [
            cell(&situation.rig.name),
            cell(&situation.build().label),
            cell(situation.trim().map_or("", |t| &t.label)),
            units::at_most_decimals(s.target_m, 4),
            ticks.map_or_else(String::new, |_| s.dial.whole_turns().to_string()),
            ticks.map_or_else(String::new, |_| s.dial.ticks().to_string()),
            units::at_most_decimals(s.dial.turns(), 6),
            maybe(s.aim_right_m),
            s.lead_turns
                .map_or_else(String::new, |l| units::at_most_decimals(l, 6)),
            cm(s.long_m.low),
            cm(s.long_m.high),
            maybe(s.right_m.map(|i| i.low)),
            maybe(s.right_m.map(|i| i.high)),
            maybe(s.miss_m.map(|i| i.high)),
            maybe(s.gap_m.map(|i| i.low)),
            s.touch_chance
                .map_or_else(String::new, |p| units::at_most_decimals(p, 6)),
            cell(&warnings.join("; ")),
            maybe(s.aim_right_m.map(f64::abs)),
            s.aim_right_m.map_or("", side).to_string(),
            ticks.map_or_else(String::new, |ticks| ticks.to_string()),
            cell(UNITS),
        ];
        out.push_str(&cells.join(","));
        out.push('\n');
    }
    out
}

/// The side of an offset across the line, as a word; empty where it is on neither.
fn side(right_m: f64) -> &'static str {
    match right_m {
        m if m > 0.0 => "right",
        m if m < 0.0 => "left",
        _ => "",
    }
}

/// A text cell: quoted where it must be, and never one that a spreadsheet would take for a formula.
fn cell(label: &str) -> String {
    let harmless = match label.trim_start().chars().next() {
        Some('=' | '+' | '-' | '@') => format!("'{label}"),
        _ => label.to_string(),
    };
    if harmless.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", harmless.replace('"', "\"\""))
    } else {
        harmless
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_cannot_become_a_formula_or_break_a_row() {
        assert_eq!(cell("=1+1"), "'=1+1");
        assert_eq!(cell("@x"), "'@x");
        assert_eq!(cell("a,b"), "\"a,b\"");
        assert_eq!(cell("say \"hi\""), "\"say \"\"hi\"\"\"");
        assert_eq!(cell("plain"), "plain");
    }
}
