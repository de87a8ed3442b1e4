//! `card.html`, the event-day card: one file that knows the calibration and does the program's arithmetic on a phone.
//!
//! The script is `numbers.js`, `settings.js` and `page.js`, one after the other; what it knows is a block of JSON in SI
//! units with every digit. The content security policy names script and style by their hashes, so that nothing else
//! can run. The sheets to print are made here, so that paper needs no script.

mod knows;
mod sheet;

use super::{page, whose, words};
use crate::calibration::Calibration;
use crate::decide::RigSettings;
use crate::error::Error;
use jiff::civil::Date;
use minijinja::context;
use minijinja::value::Serde;
use sheet::RigSheet;

const STYLE: &str = include_str!("card.css");
const SCRIPT: &str = concat!(
    "\"use strict\";\n",
    include_str!("numbers.js"),
    "\n",
    include_str!("settings.js"),
    "\n",
    include_str!("page.js"),
);
/// Hashes by which the content security policy names style and script. A failing test prints the right ones.
const STYLE_HASH: &str = "sha256-YCJzNtHBfM5fuWVBCitrztKjLgBBU9Twi5uNPE/TAvM=";
const SCRIPT_HASH: &str = "sha256-UGisHnUI7s4oRVyCkRgC1RkpB5wh35epj/EA+fvoYLs=";
/// Most bytes of JSON for the rigs of one card; a rig of a season takes 25,000 to 45,000 of it.
const KNOWN_BYTES_MAX: usize = 600_000;

/// How many of the first rigs a card holds, at least one, given the bytes that each takes.
fn how_many_fit(bytes: impl IntoIterator<Item = usize>) -> usize {
    let mut taken = 0;
    let fits = |&(index, bytes): &(usize, usize)| {
        taken += bytes;
        index == 0 || taken <= KNOWN_BYTES_MAX
    };
    bytes.into_iter().enumerate().take_while(fits).count()
}

/// The text of `card.html`.
///
/// * `check` — the sum that the calibration's file carries
///
/// # Errors
/// [`Error::CannotAnswer`] where no range of targets is known; [`Error::Internal`] when template and view do not fit.
pub fn write(
    calibration: &Calibration,
    check: &str,
    rigs: &[RigSettings],
) -> Result<String, Error> {
    // One after another, and no more than are looked at: a league has hundreds, of which a card holds a score.
    let mut known = Vec::new();
    let count = how_many_fit(rigs.iter().map(|rig| {
        known.push(knows::rig(calibration, rig.situation.rig));
        known[known.len() - 1].len()
    }));
    known.truncate(count);
    let (on_it, left_off) = rigs.split_at(count);
    let sheets: Vec<RigSheet> = on_it
        .iter()
        .map(|rig| sheet::rig_sheet(calibration, rig))
        .collect();
    let left_off: Vec<String> = left_off
        .iter()
        .map(|rig| whose::rig_name(&rig.situation.rig.name))
        .collect();
    let newest = newest(on_it.iter().map(|rig| rig.situation.rig.days));
    let known = knows::json(calibration, check, &known, newest, aim_reach_m(rigs))?;
    page::render(
        "card.html",
        context! {
            title => title(on_it),
            script_hash => SCRIPT_HASH,
            style_hash => STYLE_HASH,
            script => SCRIPT,
            style => STYLE,
            known,
            level => words::level(calibration.level.probability()),
            ticks_per_turn => calibration.setup.dial.ticks_per_turn,
            has_ticks => calibration.setup.dial.ticks().is_some(),
            ticks_assumed => calibration.setup.dial.is_assumed(),
            left_off => left_off.join(", "),
            sheets => Serde(sheets),
        },
    )
}

/// Which of some rigs has the newest run, given the days of the first and the last run of each: the card opens on it. Of
/// equals, and where days were not written down, the last in the log.
fn newest(days: impl Iterator<Item = Option<(Date, Date)>>) -> usize {
    let last = days.map(|days| days.map(|(_, last)| last)).enumerate();
    last.max_by_key(|&(index, last)| (last, index))
        .map_or(0, |(index, _)| index)
}

/// The card's title: the rig's name where it has one rig.
fn title(rigs: &[RigSettings]) -> String {
    match rigs {
        [rig] if !rig.situation.rig.name.is_empty() => {
            format!(
                "{}: event-day card",
                whose::rig_name(&rig.situation.rig.name)
            )
        }
        _ => "haltmark: event-day card".to_string(),
    }
}

/// The farthest aim mark of all settings.
fn aim_reach_m(rigs: &[RigSettings]) -> f64 {
    let settings = rigs.iter().flat_map(|rig| &rig.settings);
    let aims = settings.filter_map(|s| s.aim_right_m);
    aims.fold(0.0, |most: f64, aim| most.max(aim.abs()))
}

#[cfg(test)]
mod tests {
    use super::{KNOWN_BYTES_MAX, SCRIPT, SCRIPT_HASH, STYLE, STYLE_HASH, how_many_fit, newest};
    use base64::Engine;
    use base64::engine::general_purpose::STANDARD;
    use sha2::{Digest, Sha256};

    /// A hash as a content security policy names it.
    fn hash(text: &str) -> String {
        format!("sha256-{}", STANDARD.encode(Sha256::digest(text)))
    }

    #[test]
    fn the_first_rigs_are_on_the_card_as_far_as_there_is_room() {
        let third = KNOWN_BYTES_MAX / 3;
        // Three fit exactly; of the last sizes the fifth would fit, but the fourth before it does not.
        let sizes = [third, third, third, 2 * third, 1, 1];
        assert_eq!(how_many_fit(sizes), 3);
        // One is on it whatever it takes.
        assert_eq!(how_many_fit([2 * KNOWN_BYTES_MAX, 1]), 1);
        assert_eq!(how_many_fit([1]), 1);
    }

    #[test]
    fn the_card_opens_on_the_rig_of_the_newest_runs() {
        let day = |month, day| jiff::civil::date(2025, month, day);
        let (autumn, winter) = ((day(9, 12), day(10, 3)), (day(10, 24), day(11, 28)));
        assert_eq!(
            newest([Some(autumn), Some(winter), Some(autumn)].into_iter()),
            1
        );
        // Two that ran on the same last day, and a log without dates: the last in the log.
        assert_eq!(newest([Some(winter), Some(winter)].into_iter()), 1);
        assert_eq!(newest([None, None, None].into_iter()), 2);
        assert_eq!(newest([Some(autumn), None].into_iter()), 0);
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
