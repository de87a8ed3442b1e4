//! `card.html`, the event-day card: one file that knows the calibration and does the program's arithmetic on a phone.
//!
//! The script is `numbers.js`, `settings.js` and `page.js`, one after the other; what it knows is a block of JSON in SI
//! units with every digit. The content security policy names script and style by their hashes, so that nothing else
//! can run. The sheets to print are made here, so that paper needs no script.

mod knows;
mod sheet;

use super::{RigSettings, page, words};
use crate::calibration::Calibration;
use crate::error::Error;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use minijinja::context;
use minijinja::value::Serde;
use sha2::{Digest, Sha256};

const STYLE: &str = include_str!("card.css");
const SCRIPT: [&str; 3] = [
    include_str!("numbers.js"),
    include_str!("settings.js"),
    include_str!("page.js"),
];
/// What the rigs of one card may take together; a season's two take a tenth of it.
const KNOWN_BYTES_MAX: usize = 600_000;

/// The text of `card.html`.
///
/// # Errors
/// As [`crate::decide::score::Cost::new`]; [`Error::Output`] when template and view do not fit: a fault of the
/// program.
pub fn write(calibration: &Calibration, rigs: &[RigSettings]) -> Result<String, Error> {
    let (known, shown) = knows::json(calibration, rigs, KNOWN_BYTES_MAX)?;
    let (on_it, left_off) = rigs.split_at(shown);
    let sheets: Vec<_> = on_it
        .iter()
        .map(|rig| sheet::of(calibration, rig))
        .collect();
    let left_off: Vec<String> = left_off
        .iter()
        .map(|r| words::label(&r.situation.rig.name))
        .collect();
    let script = format!("\"use strict\";\n{}", SCRIPT.join("\n"));
    page::render(
        "card.html",
        context! {
            script_hash => hash(&script),
            style_hash => hash(STYLE),
            script,
            style => STYLE,
            known,
            cautions => page::CAUTIONS,
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
