//! The sheet to print: every target with its setting and what to do after one, two and three runs, on one page.

use crate::calibration::Calibration;
use crate::decide::{RigSettings, Situation};
use crate::report::setting_row::{self, Columns, Flag};
use crate::report::view::{self, even_blocks};
use crate::report::{paper_words, whose, words};
use crate::setup::Dial;
use crate::units;
use serde::Serialize;
use std::slice;

/// Most rows of each of the two tables side by side: what fits on a US Letter sheet beside cautions and empty lines.
const BLOCK_ROWS: usize = 32;
/// Up to this many, lines stand wider apart and there are more empty ones.
const ROOMY_ROWS: usize = 22;

/// One rig's sheet.
#[derive(Serialize)]
pub struct RigSheet {
    name: String,
    /// Logs and days.
    made_from: String,
    line: String,
    below: Vec<String>,
    flags: Vec<Flag>,
    roomy: bool,
    #[serde(flatten)]
    columns: Columns,
    /// Rows, as HTML.
    blocks: Vec<String>,
}

/// The sheet of one rig: all targets, or evenly spaced ones where they would not fit.
pub fn rig_sheet(calibration: &Calibration, rig: &RigSettings) -> RigSheet {
    let situation = &rig.situation;
    let dial = &calibration.setup.dial;
    let every = rig.settings.len().div_ceil(2 * BLOCK_ROWS).max(1);
    let mut flags = Vec::new();
    let columns = Columns::from_settings(&rig.settings, dial).without_gap();
    let rows: Vec<String> = rig
        .settings
        .iter()
        .zip(&rig.paper)
        .step_by(every)
        .map(|(s, paper)| {
            let mut row = setting_row::setting_cells(s, columns, &mut flags);
            setting_row::paper(&mut row, " class=\"fix\"", paper, dial);
            row + "</tr>\n"
        })
        .collect();
    let blocks = even_blocks(rows, BLOCK_ROWS);
    RigSheet {
        name: whose::rig_name(&situation.rig.name),
        made_from: whose::made_from(calibration, slice::from_ref(situation.rig)),
        line: holds_for(calibration, rig),
        below: below(rig, dial, columns),
        columns,
        roomy: blocks.iter().all(|b| b.len() <= ROOMY_ROWS) && flags.len() <= 3,
        flags,
        blocks: blocks.iter().map(|rows| rows.concat()).collect(),
    }
}

/// What the settings are for, where that has a name; how often they roll back and how they pass the obstacle.
fn holds_for(calibration: &Calibration, rig: &RigSettings) -> String {
    let situation = &rig.situation;
    let mut about = Vec::new();
    let (build, trim) = (
        &situation.build().label,
        situation.trim().map_or("", |t| &t.label),
    );
    if !build.is_empty() {
        about.push(format!("build “{}”", words::label(build)));
    }
    if !trim.is_empty() {
        about.push(format!("trim “{}”", words::label(trim)));
    }
    let about = match about.as_slice() {
        [] => None,
        about => Some(format!("For {}.", about.join(", "))),
    };
    let within = format!(
        "Within: {} first runs of a new day stop at most this far from the target.",
        words::level(calibration.level.probability())
    );
    let gap = view::gap_fact(calibration, rig);
    let said = [about, view::lead_fact(situation), Some(within), gap];
    said.into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// What stands below the settings, in paragraphs.
fn below(rig: &RigSettings, dial: &Dial, columns: Columns) -> Vec<String> {
    let rule = paper_words::rule(dial, columns.has_aim());
    let slip = "A run far from all others is likelier a slip than the day: read tape and dial again, and leave it out unless it was read right.";
    vec![
        between_lines(&rig.situation, dial),
        format!("{rule} {}", paper_words::WORTH),
        format!("{slip} {}", paper_words::after_roll_back(rig)),
    ]
}

/// What a tick is worth between two lines, and what the lines were made from.
fn between_lines(situation: &Situation, dial: &Dial) -> String {
    let turn_m = situation.known_travel().distance_per_turn_m.estimate;
    let cm = |m: f64| units::decimals(100.0 * m, 1);
    let mut below = match (dial.ticks(), dial.is_assumed()) {
        (None, _) => format!(
            "Between two lines: a tenth of a turn is worth {} cm.",
            cm(turn_m / 10.0)
        ),
        (Some(ticks), false) => format!(
            "Between two lines: one of the {ticks} ticks is worth {} cm.",
            cm(turn_m / f64::from(ticks))
        ),
        (Some(ticks), true) => format!(
            "{ticks} ticks to a turn are assumed: count those of your dial. Between two lines: one is worth {} cm.",
            cm(turn_m / f64::from(ticks))
        ),
    };
    let counts = &situation.rig.counts;
    if counts.rolled_back > 0 {
        below += &format!(
            " Of the {} behind these lines {} rolled back: they hold for runs as they come.",
            words::count(counts.fitted, "run", "runs"),
            counts.rolled_back
        );
    }
    below
}
