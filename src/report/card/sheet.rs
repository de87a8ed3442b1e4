//! The sheet to print: every target with its setting and what to do after one, two and three runs, on one page.

use crate::calibration::Calibration;
use crate::decide::{RigSettings, Situation};
use crate::report::setting_row::{self, Columns, Flag};
use crate::report::view::even_blocks;
use crate::report::whose;
use crate::report::words;
use crate::setup::Dial;
use crate::units;
use serde::Serialize;

/// Most rows of each of the two tables side by side: what fits on a US Letter sheet beside cautions and empty lines.
const BLOCK_ROWS: usize = 32;
/// Up to this many, lines stand wider apart and there are more empty ones.
const ROOMY_ROWS: usize = 22;

/// One rig's sheet.
#[derive(Serialize)]
pub struct RigSheet {
    name: String,
    line: String,
    below: String,
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
        line: format!(
            "{}Within: {} first runs of a new day stop at most this far from the target.",
            holds_for(situation),
            words::level(calibration.level.probability())
        ),
        below: below(situation, dial),
        columns,
        roomy: blocks.iter().all(|b| b.len() <= ROOMY_ROWS) && flags.len() <= 3,
        flags,
        blocks: blocks.iter().map(|rows| rows.concat()).collect(),
    }
}

/// Build, trim and lead that the settings are for, where they have names.
fn holds_for(situation: &Situation) -> String {
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
    if let Some(lead) = situation.lead_turns {
        about.push(format!("brake lead {}", words::lead(lead)));
    }
    match about.as_slice() {
        [] => String::new(),
        about => format!("For {}. ", about.join(", ")),
    }
}

/// What a tick is worth between two lines, and how to correct by hand.
fn below(situation: &Situation, dial: &Dial) -> String {
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
    below += " Correct by the mean of today’s misses; short and left are the other way round. A run far from all others is likelier a slip than the day: read tape and dial again, and leave it out unless it was read right.";
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
