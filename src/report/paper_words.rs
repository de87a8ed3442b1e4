//! How to correct with a pencil, in words: beside the table of the report and below the card's sheet.

use super::words;
use crate::decide::RigSettings;
use crate::setup::Dial;
use crate::units;

/// What to do after a run, where `has_aim` across too.
pub fn rule(dial: &Dial, has_aim: bool) -> String {
    let parts = parts(dial);
    let across = if has_aim {
        " Right: mark to the left. Left: mark to the right."
    } else {
        ""
    };
    format!(
        "After each run correct a share of its own miss, not all of it, which would chase chance. Count from the setting that the run was made at, not from the printed one. Long: {parts} off. Short: {parts} on.{across}"
    )
}

/// How to read the table, and what it cannot do: it has the shares of a day like the season's, and those of the program grow
/// with the miss.
pub const WORTH: &str = "Each 10 cm of the miss are worth what the table says after today’s run 1, 2 and 3, after later ones as after 3; between two lines take the nearer. Of a big miss paper takes less off than card.html and haltmark correct, which see in it that the day is unlike others: where they are at hand, go by them.";

/// What to do after a run that rolled back.
pub fn after_roll_back(rig: &RigSettings) -> String {
    let Some(less) = rig.less_lead else {
        return "A run that rolled back counts where it came to rest.".to_string();
    };
    let dial = &rig.situation.setup.dial;
    let size = less.ticks_off.abs();
    let more = match dial.ticks() {
        Some(_) => units::decimals(size, 0),
        None => units::decimals(size / f64::from(dial.ticks_per_turn), 2),
    };
    let with = if more.parse() == Ok(0.0) {
        "the same setting".to_string()
    } else {
        let way = if less.ticks_off > 0.0 { "less" } else { "more" };
        let part = match parts(dial) {
            "ticks" if more == "1" => "tick",
            parts => parts,
        };
        format!("{more} {part} {way}")
    };
    format!(
        "After a run that rolled back take one of two ways as it stands. The same lead: the run counts where it came to rest. Or lead {} with {with}: how far that run went is left out.",
        words::lead(less.lead_turns)
    )
}

/// What is counted on a dial.
fn parts(dial: &Dial) -> &'static str {
    match dial.ticks() {
        Some(_) => "ticks",
        None => "turns",
    }
}
