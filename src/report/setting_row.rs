//! One setting as a row of a table, on the page and on the card's sheet.

use super::words;
use crate::decide::dial::Setting;
use crate::decide::paper::Paper;
use crate::setup::Dial;
use crate::units;
use serde::Serialize;

/// Which columns a table has beside target, turns and ticks.
#[derive(Clone, Copy, Serialize)]
pub struct Columns {
    /// Whole turns and ticks; else decimal turns alone.
    has_ticks: bool,
    has_aim: bool,
    has_miss: bool,
    has_gap: bool,
}

impl Columns {
    /// The columns that hold a number for some target.
    ///
    /// * `dial` — the one that they are set on
    pub fn from_settings(settings: &[Setting], dial: &Dial) -> Self {
        Columns {
            has_ticks: dial.ticks().is_some(),
            has_aim: settings.iter().any(|s| s.aim_right_m.is_some()),
            has_miss: settings.iter().any(|s| s.miss_m.is_some()),
            has_gap: settings.iter().any(|s| s.gap_m.is_some()),
        }
    }

    /// Whether there is a column for the aim mark.
    pub fn has_aim(self) -> bool {
        self.has_aim
    }

    /// This choice of columns without the gap.
    pub fn without_gap(self) -> Self {
        Columns {
            has_gap: false,
            ..self
        }
    }
}

/// A sign beside some rows of a table, explained once below it.
#[derive(Serialize)]
pub struct Flag {
    sign: String,
    means: String,
}

/// A table row begun with the cells of a setting, empty where the log cannot tell; each new kind of warning gets a sign
/// of its own in `flags`.
///
/// Written as HTML here because a template takes some hundred times as long for a cell, and most cells of a page stand
/// in these tables; cells hold only numbers and fixed words, so nothing needs escaping.
pub fn setting_cells(s: &Setting, columns: Columns, flags: &mut Vec<Flag>) -> String {
    let class = tick_class(s.target_m);
    let target = words::metres(s.target_m);
    let mut row = format!("<tr{class}><th scope=\"row\">{target}");
    let flag = signs(s, flags);
    if !flag.is_empty() {
        row += &format!(" <sup>{flag}</sup>");
    }
    row += "</th>";
    let big = " class=\"big\"";
    if columns.has_ticks {
        cell(&mut row, big, &s.dial.whole_turns().to_string());
        cell(&mut row, big, &s.dial.ticks().to_string());
    } else {
        cell(&mut row, big, &units::decimals(s.dial.turns(), 2));
    }
    if columns.has_aim {
        let aim = s
            .aim_right_m
            .map_or_else(String::new, |a| units::at_most_decimals(100.0 * a.abs(), 1));
        let side = match s.aim_right_m {
            Some(aim) if aim > 0.0 => "right",
            Some(aim) if aim < 0.0 => "left",
            _ => "",
        };
        row += "<td class=\"aim\">";
        row += &aim;
        row += " <small>";
        row += side;
        row += "</small></td>";
    }
    if columns.has_miss {
        let within = s.miss_m.map(|m| words::within_cm(m.high));
        cell(&mut row, "", &within.unwrap_or_default());
    }
    if columns.has_gap {
        let over = s
            .gap_m
            .map(|gap| words::true_minus(&words::over_cm(gap.low)));
        cell(&mut row, "", &over.unwrap_or_default());
    }
    row
}

/// The attribute of a target's row, with the blank before it: at every half metre the tape along the table has a long
/// tick.
pub fn tick_class(target_m: f64) -> &'static str {
    let halves = 2.0 * target_m;
    if (halves - halves.round()).abs() < 1e-6 {
        " class=\"long\""
    } else {
        ""
    }
}

/// Adds the cells of what to do on paper.
///
/// * `class` — of each cell, as an attribute with the blank before it
/// * `dial` — the one that is corrected: in ticks, or in decimal turns where nobody knows of ticks
pub fn paper(row: &mut String, class: &str, paper: &Paper, dial: &Dial) {
    for ticks in paper.ticks {
        let off = match dial.ticks() {
            Some(_) => units::decimals(ticks, 1),
            None => units::decimals(ticks / f64::from(dial.ticks_per_turn), 2),
        };
        cell(row, class, &off);
    }
    for aim_m in paper.aim_m.into_iter().flatten() {
        cell(row, class, &units::decimals(100.0 * aim_m, 1));
    }
}

fn cell(row: &mut String, class: &str, text: &str) {
    for part in ["<td", class, ">", text, "</td>"] {
        row.push_str(part);
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
                let means = means.to_string();
                flags.push(Flag { sign, means });
                flags.len() - 1
            });
        signs.push(flags[at].sign.clone());
    }
    signs.sort();
    signs.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration;
    use crate::decide::advise;
    use crate::decide::dial::Warning;

    #[test]
    fn signs_stand_in_the_order_of_the_alphabet() {
        let calibration = calibration::file::example();
        let rigs = advise(&calibration).expect("settings");
        let with = |warnings: &[Warning]| Setting {
            warnings: warnings.to_vec(),
            ..rigs[0].settings[0].clone()
        };
        let (near, flat, one) = (
            Warning::TooNear,
            Warning::FlatCalibration,
            Warning::OneSession,
        );
        let mut flags = Vec::new();
        let first = with(&[near.clone(), flat.clone()]);
        assert_eq!(signs(&first, &mut flags), "a b");
        assert_eq!(signs(&with(&[one, near, flat]), &mut flags), "a b c");
    }
}
