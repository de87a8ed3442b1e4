//! `card.html`, the event-day card: one file that knows the calibration and does the program's arithmetic on a phone.
//!
//! The script is `numbers.js`, `settings.js` and `page.js`, one after the other; what it knows is a block of JSON in SI
//! units with every digit. The content security policy names script and style by their hashes, so that nothing else
//! can run. The sheets to print are made here, so that paper needs no script.

mod knows;
mod sheet;

use super::{RigSettings, page, words};
use crate::calibration::{Calibration, Rig};
use crate::error::Error;
use minijinja::context;
use minijinja::value::Serde;
use sheet::Sheet;
use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

const STYLE: &str = include_str!("card.css");
const SCRIPT: &str = concat!(
    "\"use strict\";\n",
    include_str!("numbers.js"),
    "\n",
    include_str!("settings.js"),
    "\n",
    include_str!("page.js"),
);
/// How the content security policy names the two. A test says what belongs here.
const STYLE_HASH: &str = "sha256-kZGLIKYlJktsdQ5Ztx1kjijqY+7Ou7DyM7yla4lkNmE=";
const SCRIPT_HASH: &str = "sha256-0Mc6jUBcv2Nxny7Ou3+NQbWmZ0wBh7aZMR8WipgnHPE=";
/// What the rigs of one card may take together; a season's two take a tenth of it.
const KNOWN_BYTES_MAX: usize = 600_000;

/// A rig on a card.
pub struct OnCard {
    /// What the card's script knows of it, as JSON.
    known: String,
    /// Its sheet to print.
    sheet: Sheet,
}

impl OnCard {
    /// With what [`Room::known`] said of it.
    pub fn of(known: String, calibration: &Calibration, rig: &RigSettings) -> Self {
        OnCard {
            known,
            sheet: sheet::of(calibration, rig),
        }
    }
}

/// Room on a card, which goes to the first rigs though they may come in any order.
#[derive(Default)]
pub struct Room {
    /// Bytes that rigs take, by their number.
    taken: Mutex<BTreeMap<usize, usize>>,
}

impl Room {
    /// What the card's script knows of rig number `index`; `None` where those before it leave no room.
    pub fn known(&self, calibration: &Calibration, index: usize, rig: &Rig) -> Option<String> {
        let known = knows::rig(calibration, rig);
        self.may_hold(index, known.len()).then_some(known)
    }

    /// Whether there may be room for a rig: others before it may still come, and [`how_many_fit`] has the last word.
    fn may_hold(&self, index: usize, bytes: usize) -> bool {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let before: usize = taken.range(..index).map(|(_, bytes)| bytes).sum();
        let may = index == 0 || before + bytes <= KNOWN_BYTES_MAX;
        if may {
            taken.insert(index, bytes);
        }
        may
    }
}

/// How many of the first rigs a card holds, at least one, given what each takes where there may be room for it.
fn how_many_fit(bytes: impl Iterator<Item = Option<usize>>) -> usize {
    let up_to_each = bytes.map_while(|bytes| bytes).scan(0, |all, bytes| {
        *all += bytes;
        Some(*all)
    });
    let fits = |&(index, all): &(usize, usize)| index == 0 || all <= KNOWN_BYTES_MAX;
    up_to_each.enumerate().take_while(fits).count()
}

/// The text of `card.html`.
///
/// * `check` — the sum that the calibration's file carries
/// * `rigs` — each rig of the calibration, as far as there may be room for it
/// * `aim_reach_m` — the farthest aim mark of all settings
///
/// # Errors
/// Those of [`Calibration::range`]; [`Error::Output`] when template and view do not fit: a fault of the program.
pub fn write(
    calibration: &Calibration,
    check: &str,
    rigs: Vec<Option<OnCard>>,
    aim_reach_m: f64,
) -> Result<String, Error> {
    let count = how_many_fit(rigs.iter().map(|rig| Some(rig.as_ref()?.known.len())));
    let on_it = rigs.into_iter().take(count).flatten();
    let (known, sheets): (Vec<_>, Vec<_>) = on_it.map(|rig| (rig.known, rig.sheet)).unzip();
    let left_off: Vec<String> = calibration.rigs[known.len()..]
        .iter()
        .map(|rig| words::label(&rig.name))
        .collect();
    let known = knows::json(calibration, check, &known, aim_reach_m)?;
    page::render(
        "card.html",
        context! {
            script_hash => SCRIPT_HASH,
            style_hash => STYLE_HASH,
            script => SCRIPT,
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

#[cfg(test)]
mod tests {
    use super::{KNOWN_BYTES_MAX, Room, SCRIPT, SCRIPT_HASH, STYLE, STYLE_HASH, how_many_fit};
    use base64::Engine;
    use base64::engine::general_purpose::STANDARD;
    use sha2::{Digest, Sha256};

    /// A hash as a content security policy names it.
    fn hash(text: &str) -> String {
        format!("sha256-{}", STANDARD.encode(Sha256::digest(text)))
    }

    #[test]
    fn the_first_rigs_are_on_the_card_in_whatever_order_they_come() {
        let third = KNOWN_BYTES_MAX / 3;
        // Three fit exactly; of the last sizes the fifth would fit, but the fourth before it does not.
        let sizes = [third, third, third, 2 * third, 1, 1];
        for order in [
            [0, 1, 2, 3, 4, 5],
            [5, 4, 3, 2, 1, 0],
            [3, 0, 4, 1, 5, 2],
            [4, 2, 0, 3, 1, 5],
        ] {
            let room = Room::default();
            let mut kept = [None; 6];
            for index in order {
                let size = sizes[index];
                kept[index] = room.may_hold(index, size).then_some(size);
            }
            assert_eq!(how_many_fit(kept.into_iter()), 3, "{order:?}");
        }
        // One is on it whatever it takes.
        let large = Some(2 * KNOWN_BYTES_MAX);
        assert!(Room::default().may_hold(0, 2 * KNOWN_BYTES_MAX));
        assert_eq!(how_many_fit([large, Some(1)].into_iter()), 1);
    }

    /// "abc" by FIPS 180-2, appendix B.1, as base64.
    #[test]
    fn hashes_are_those_of_the_standard() {
        assert_eq!(
            hash("abc"),
            "sha256-ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0="
        );
    }

    #[test]
    fn script_and_style_have_the_hashes_that_the_card_names() {
        assert_eq!(SCRIPT_HASH, hash(SCRIPT));
        assert_eq!(STYLE_HASH, hash(STYLE));
    }
}
