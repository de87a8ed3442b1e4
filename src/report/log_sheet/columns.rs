//! The columns of the sheet: the log's, with a short heading beside each name.

use crate::columns::Column;
use crate::setup::{Measure, Setup};
use serde::Serialize;

/// When a column is filled in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum When {
    /// Set and written down before the run.
    Before,
    /// Written down after it.
    After,
}

/// A column's head.
#[derive(Serialize)]
pub(super) struct Head {
    /// Name of the column in the log.
    pub name: &'static str,
    /// Name in everyday words; empty where that is the column's name.
    heading: &'static str,
    /// What goes into it.
    hint: String,
    /// Part of the table's width, against the other columns' parts.
    pub width: u32,
    #[serde(skip)]
    pub when: When,
}

/// Width of the column of ranges to expect, in the unit of [`Head::width`].
pub(super) const EXPECT_WIDTH: u32 = 31;

/// What a sheet asks for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Asked {
    /// Aim, right and the straight distance.
    pub across: bool,
    /// The gap to an obstacle.
    pub obstacle: bool,
    /// The run time.
    pub time: bool,
    /// The dial's ticks.
    pub ticks: bool,
}

impl Asked {
    /// What a sheet under this set-up asks for.
    ///
    /// * `aims` — whether an aim mark is given for some run
    /// * `any_vehicle` — whether the sheet may be for a vehicle that the set-up does not describe
    pub fn from_setup(setup: &Setup, aims: bool, any_vehicle: bool) -> Self {
        let in_the_way = setup.obstacle.is_some() || setup.lane.is_some();
        Asked {
            across: setup.score.measure == Measure::Point || in_the_way || aims,
            obstacle: setup.obstacle.is_some() || any_vehicle,
            time: setup.score.per_s > 0.0 || any_vehicle,
            ticks: setup.dial.ticks().is_some() || any_vehicle,
        }
    }
}

/// The columns in the order in which a run fills them in: whether it is void comes before anything is measured.
///
/// * `ticks_per_turn` — of the dial; `None` where nobody knows
pub(super) fn heads(ticks_per_turn: Option<u32>, asked: Asked) -> Vec<Head> {
    use When::{After, Before};
    let of_a_turn = ticks_per_turn.map_or_else(String::new, |ticks| format!("of {ticks}"));
    let turns = if asked.ticks { "whole" } else { "decimal" };
    let head = |column: Column, when, width, heading, hint: &str| Head {
        name: column.name(),
        heading,
        hint: hint.to_string(),
        width,
        when,
    };
    let mut heads = vec![
        head(Column::Run, Before, 9, "", ""),
        head(Column::Target, Before, 18, "target", ""),
        head(Column::Turns, Before, 14, "", turns),
    ];
    if asked.ticks {
        heads.push(head(Column::Ticks, Before, 13, "", &of_a_turn));
    }
    if asked.across {
        heads.push(head(
            Column::AimRight,
            Before,
            20,
            "aim mark",
            "right +, left −",
        ));
    }
    heads.push(head(Column::LeadTurns, Before, 17, "lead", ""));
    heads.push(head(
        Column::Status,
        After,
        22,
        "",
        "ok, recoil, touched, void",
    ));
    heads.push(head(Column::Long, After, 18, "long", "past +, short −"));
    if asked.across {
        heads.push(head(Column::Right, After, 18, "right", "right +, left −"));
        heads.push(head(Column::Miss, After, 16, "miss", "straight"));
    }
    heads.push(head(Column::Recoil, After, 16, "rolled back", "none: 0"));
    if asked.obstacle {
        heads.push(head(Column::Gap, After, 14, "gap", "to obstacle"));
    }
    heads.push(head(Column::Load, After, 15, "", "whole, broken"));
    if asked.time {
        heads.push(head(Column::Time, After, 13, "time", ""));
    }
    heads.push(head(Column::Kind, After, 17, "", "or hand_roll"));
    heads.push(head(Column::Note, After, 26, "", ""));
    heads
}
