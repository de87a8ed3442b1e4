//! What a page shows of a rig: rounded, worded, with units; plain structs that a template walks through.

use super::captions::Shown;
use super::rig_figures::RigFigure;
use super::setting_row::{self, Columns, Flag};
use super::{captions, event_words, head, next, paper_words, priors, whose, words};
use crate::calibration::checks::is_note;
use crate::calibration::{Calibration, Check, Rig};
use crate::decide::paper::Paper;
use crate::decide::{RigSettings, Situation};
use crate::setup::Dial;
use crate::units;
use serde::Serialize;
use std::slice;

/// Rows of settings in one block while there are few: what leaves room for the rest on a printed sheet.
const BLOCK_ROWS: usize = 24;
/// Blocks that stand beside each other on paper; a fourth was cut off at its edge.
const BLOCKS_BESIDE: usize = 3;
/// Rows of a block that still fits on a sheet below the heading.
const SHEET_ROWS: usize = 34;
/// Fewer rows than this stay in one block.
const SHORT_ROWS: usize = 12;

/// Most rows of what to do on paper: from target to target the corrections differ by a tenth of a tick, and the table
/// stands on one sheet with the settings.
const PAPER_ROWS: usize = 9;

/// One rig's part of the report.
#[derive(Serialize)]
pub struct RigPage {
    id: String,
    name: String,
    /// What stands above every printed sheet of it.
    running: String,
    summary: String,
    /// Fitted runs, for the table of several rigs.
    runs: usize,
    /// What a first run's miss at the middle target is not expected to exceed, cm; blank where it is not known.
    within: String,
    /// Within what what counts at the event is nine times in ten, cm; blank where it is not known.
    at_event: String,
    /// What the settings are good for, the weakest part, the next session.
    head: [String; 3],
    facts: Vec<String>,
    notes: Vec<String>,
    /// Rows of settings, as HTML.
    blocks: Vec<String>,
    #[serde(flatten)]
    columns: Columns,
    level: String,
    flags: Vec<Flag>,
    /// How to correct on paper, in paragraphs.
    paper_rule: [String; 3],
    /// Rows of what to do on paper, as HTML.
    paper: String,
    sections: Vec<captions::Section>,
    advice: Vec<String>,
    /// Checks to look at.
    look: Vec<CheckRow>,
    /// Those that only report what the log holds.
    note: Vec<CheckRow>,
    /// Checks that came out fine.
    fine: Vec<CheckRow>,
    set_aside: Vec<AsideRow>,
}

#[derive(Serialize)]
struct CheckRow {
    name: String,
    p: String,
    means: String,
}

#[derive(Serialize)]
struct AsideRow {
    place: String,
    why: String,
}

impl RigPage {
    /// The rig's name for a heading.
    pub fn name(&self) -> &str {
        &self.name
    }
}

/// The page's part for one rig, number `index` of the report.
pub fn rig(
    calibration: &Calibration,
    rig: &RigSettings,
    index: usize,
    drawn: Vec<RigFigure>,
    shown: Shown,
) -> RigPage {
    let known = rig.situation.rig;
    let mut flags = Vec::new();
    let columns = Columns::from_settings(&rig.settings, &rig.situation.setup.dial);
    let rows = rig
        .settings
        .iter()
        .map(|s| setting_row::setting_cells(s, columns, &mut flags) + "</tr>\n")
        .collect();
    let dial = &rig.situation.setup.dial;
    let paper = paper_rows(&rig.paper, dial).concat();
    RigPage {
        id: format!("rig{}", index + 1),
        name: whose::rig_name(&known.name),
        running: format!(
            "{} – {}",
            whose::rig_name(&known.name),
            whose::made_from(calibration, slice::from_ref(known))
        ),
        summary: summary(rig),
        runs: known.counts.fitted,
        within: rig.three[rig.middle]
            .0
            .miss_m
            .map_or_else(String::new, |miss| words::within_cm(miss.high)),
        at_event: rig.at_event_m.map_or_else(String::new, words::within_cm),
        head: head::lines(rig),
        facts: facts(calibration, rig),
        notes: notes(rig),
        blocks: blocks(rows),
        paper_rule: [
            paper_words::rule(dial, columns.has_aim()),
            paper_words::WORTH.to_string(),
            paper_words::after_roll_back(rig),
        ],
        columns,
        level: words::level(calibration.level.probability()),
        flags,
        paper,
        sections: captions::sections(drawn, shown),
        advice: next::advice(rig),
        look: checks(known, |c| !c.ok),
        note: checks(known, is_note),
        fine: checks(known, |c| c.ok && !is_note(c)),
        set_aside: known
            .set_aside
            .iter()
            .map(|a| AsideRow {
                place: format!("{}, {}", words::sentence(&a.log), a.row()),
                why: words::sentence(&a.why),
            })
            .collect(),
    }
}

/// Some of a rig's checks.
fn checks(known: &Rig, which: impl Fn(&Check) -> bool) -> Vec<CheckRow> {
    known
        .checks
        .iter()
        .filter(|c| which(c))
        .map(|c| CheckRow {
            // A question: what was found is said beside it.
            name: format!("{}?", words::capital(&words::sentence(&c.name))),
            p: c.p.map_or_else(|| "–".to_string(), words::p_value),
            means: words::sentence(&c.means),
        })
        .collect()
}

/// Rows in even blocks, each in one piece: two at least but for few rows, three beside each other as long as a sheet is
/// long enough for them.
fn blocks(rows: Vec<String>) -> Vec<String> {
    let most = match rows.len() {
        // Two short blocks side by side leave no half empty.
        SHORT_ROWS..=BLOCK_ROWS => rows.len().div_ceil(2),
        all => all.div_ceil(BLOCKS_BESIDE).clamp(BLOCK_ROWS, SHEET_ROWS),
    };
    let blocks = even_blocks(rows, most);
    blocks.iter().map(|rows| rows.concat()).collect()
}

/// Rows in even blocks of at most `most`.
pub fn even_blocks<T>(rows: Vec<T>, most: usize) -> Vec<Vec<T>> {
    let count = rows.len().div_ceil(most).max(1);
    let per_block = rows.len().div_ceil(count).max(1);
    let mut rows = rows.into_iter().peekable();
    let mut out = Vec::new();
    while rows.peek().is_some() {
        out.push(rows.by_ref().take(per_block).collect());
    }
    out
}

/// The rows of what to do on paper, targets with the same figures in one; of many targets those at even steps.
fn paper_rows(papers: &[Paper], dial: &Dial) -> Vec<String> {
    let cells = |paper: &Paper| {
        let mut row = String::new();
        setting_row::paper(&mut row, "", paper, dial);
        row
    };
    let step = papers.len().div_ceil(PAPER_ROWS).max(1);
    let shown = papers.iter().step_by(step);
    let told: Vec<(f64, String)> = shown.map(|p| (p.target_m, cells(p))).collect();
    told.chunk_by(|a, b| a.1 == b.1)
        .map(|alike| {
            let (first, last) = (&alike[0], &alike[alike.len() - 1]);
            let targets = match alike.len() {
                1 => words::metres(first.0),
                _ => format!("{} to {}", words::metres(first.0), words::metres(last.0)),
            };
            let class = setting_row::tick_class(first.0);
            format!(
                "<tr{class}><th scope=\"row\">{targets}</th>{}</tr>\n",
                first.1
            )
        })
        .collect()
}

fn summary(rig: &RigSettings) -> String {
    let known = rig.situation.rig;
    let sessions = words::count(known.counts.sessions, "session", "sessions");
    let mut out = format!("From {} in {sessions}", words::made_of(known));
    let (build, trim) = (
        &rig.situation.build().label,
        rig.situation.trim().map_or("", |t| &t.label),
    );
    if !build.is_empty() {
        out += &format!(", build “{}”", words::label(build));
    }
    if !trim.is_empty() {
        out += &format!(", trim “{}”", words::label(trim));
    }
    out += ". ";
    out += &event_words::what_counts(rig.situation.setup.event.rule());
    out
}

fn facts(calibration: &Calibration, rig: &RigSettings) -> Vec<String> {
    let situation = &rig.situation;
    let travel = situation.known_travel();
    let turn = travel.distance_per_turn_m.estimate;
    let mut out = Vec::new();
    out.extend(lead_fact(situation));
    out.push(one_turn(turn, &situation.setup.dial));
    let newest = &travel.builds[situation.build];
    out.push(format!(
        "Roll-on, the distance still covered after the turns are used up, is about {}. Roll-on is not the same as long: long means past the target.",
        format_args!("{} cm", words::true_minus(&units::decimals(100.0 * newest.overshoot_m.estimate, 1)))
    ));
    out.extend(gap_fact(calibration, rig));
    out
}

/// The lead in use and how often runs roll back with it; `None` where the log does not say.
pub(super) fn lead_fact(situation: &Situation) -> Option<String> {
    let lead = situation.lead_turns?;
    let chance = situation.build().recoil.chance(lead);
    let rolls_back = chance.map_or_else(String::new, |c| {
        if c == 0.0 {
            "; no roll-back was seen with it".to_string()
        } else {
            format!("; {} roll back with it", words::chance(c))
        }
    });
    Some(format!("Brake lead {}{rolls_back}.", words::lead(lead)))
}

/// How the obstacle is passed where it is tightest; `None` without one.
pub(super) fn gap_fact(calibration: &Calibration, rig: &RigSettings) -> Option<String> {
    let gaps = rig.settings.iter();
    let gaps = gaps.filter_map(|s| Some((s.target_m, s.gap_m?.low)));
    let gap = gaps.min_by(|a, b| a.1.total_cmp(&b.1))?;
    let target = words::metres(gap.0);
    Some(match words::clear_by_cm(gap.1) {
        Some(cm) => format!(
            "The tightest pass of the obstacle is at {target} m: {} runs pass it by more than {cm} cm.",
            words::level(1.0 - calibration.level.lower_tail())
        ),
        None => format!(
            "The tightest pass of the obstacle is at {target} m: a touch is possible there."
        ),
    })
}

/// What a turn and its smallest part are worth, for targets between two lines of the table.
fn one_turn(turn_m: f64, dial: &Dial) -> String {
    let cm = |m: f64| units::decimals(100.0 * m, 1);
    let turn = cm(turn_m);
    match dial.ticks() {
        Some(ticks) => format!(
            "One turn carries it {turn} cm, one of the {ticks} {}ticks {} cm: between two lines of the table, count ticks.",
            if dial.is_assumed() { "assumed " } else { "" },
            cm(turn_m / f64::from(ticks))
        ),
        None => format!(
            "One turn carries it {turn} cm, a tenth of a turn {} cm: between two lines of the table, add tenths.",
            cm(turn_m / 10.0)
        ),
    }
}

fn notes(rig: &RigSettings) -> Vec<String> {
    let known = rig.situation.rig;
    let mut out: Vec<String> = known.warnings.iter().map(|w| words::sentence(w)).collect();
    out.extend(priors::notes(rig));
    out
}
