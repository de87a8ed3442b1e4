//! `card.html`, the event-day card: one file that knows the calibration and does the program's arithmetic on a phone.
//!
//! The script is `numbers.js`, `settings.js` and `page.js`, one after the other; what it knows is a block of JSON in SI
//! units with every digit. The content security policy names script and style by their hashes, so that nothing else
//! can run. The sheets to print are made here, so that paper needs no script.

mod knows;
mod sheet;

use super::{page, words};
use crate::calibration::Calibration;
use crate::error::Error;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use minijinja::context;
use minijinja::value::Serde;
use serde_json::value::RawValue;
use sha2::{Digest, Sha256};
pub use sheet::{Sheet, of as sheet};

const STYLE: &str = include_str!("card.css");
const SCRIPT: [&str; 3] = [
    include_str!("numbers.js"),
    include_str!("settings.js"),
    include_str!("page.js"),
];
/// What the rigs of one card may take together; a season's two take a tenth of it.
const KNOWN_BYTES_MAX: usize = 600_000;

/// The rigs of a card: what its script knows of them, and their sheets in the same order.
pub struct OnCard {
    known: Vec<Box<RawValue>>,
    /// The sheets to print, one for each.
    pub sheets: Vec<Sheet>,
}

impl OnCard {
    /// The first rigs of the calibration that a card holds, no sheet of theirs yet.
    pub fn first_of(calibration: &Calibration) -> Self {
        OnCard {
            known: knows::rigs(calibration, KNOWN_BYTES_MAX),
            sheets: Vec::new(),
        }
    }

    /// How many they are.
    pub fn count(&self) -> usize {
        self.known.len()
    }
}

/// The text of `card.html`.
///
/// * `aim_reach_m` — the farthest aim mark of all settings
///
/// # Errors
/// As [`Calibration::range`]; [`Error::Output`] when template and view do not fit: a fault of the program.
pub fn write(calibration: &Calibration, on_it: OnCard, aim_reach_m: f64) -> Result<String, Error> {
    let left_off: Vec<String> = calibration.rigs[on_it.count()..]
        .iter()
        .map(|rig| words::label(&rig.name))
        .collect();
    let OnCard { known, sheets } = on_it;
    let known = knows::json(calibration, known, aim_reach_m)?;
    let script = format!("\"use strict\";\n{}", SCRIPT.join("\n"));
    page::render(
        "card.html",
        context! {
            script_hash => hash(&script),
            style_hash => hash(STYLE),
            script,
            style => STYLE,
            known,
            level => words::level(calibration.level.probability()),
            example => words::metres(calibration.range()?.three_m()[1]),
            ticks_per_turn => calibration.setup.dial.ticks_per_turn,
            left_off => left_off.join(", "),
            sheets => Serde(sheets),
        },
    )
}

/// A hash as a content security policy names it.
fn hash(text: &str) -> String {
    format!("sha256-{}", STANDARD.encode(Sha256::digest(text)))
}

#[cfg(test)]
mod tests {
    /// "abc" by FIPS 180-2, appendix B.1, as base64.
    #[test]
    fn hashes_are_those_of_the_standard() {
        assert_eq!(
            super::hash("abc"),
            "sha256-ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0="
        );
    }
}
