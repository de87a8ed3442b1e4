//! The calibration reader, on any text; and `dial` from what it accepts.

use haltmark::calibration::{Calibration, file};
use haltmark::decide::{Choice, Situation, dial};
use haltmark::log::{LONGEST_M, SHORTEST_TARGET_M};

use super::{error_is_sound, faults_are_sound};

const FILE: &str = "calibration.json";

/// Reads the text as it stands, and once more with the sum that a file of its content would carry, so that the
/// content is looked at too.
pub fn check(bytes: &[u8]) {
    accepted(bytes);
}

/// Whether one of the two was accepted.
pub fn accepted(bytes: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return false;
    };
    let mut accepted = false;
    for text in [text.to_string(), with_its_sum(text)] {
        match file::read(FILE, &text) {
            Err(faults) => {
                assert!(faults.any_error());
                faults_are_sound(&faults, FILE);
            }
            Ok(calibration) => {
                is_written_as_read(&calibration);
                dials(&calibration);
                accepted = true;
            }
        }
    }
    accepted
}

/// A calibration that was read is written and read back as it is.
pub fn is_written_as_read(calibration: &Calibration) {
    let text = file::write(calibration);
    let again = file::read(FILE, &text).unwrap_or_else(|faults| panic!("{faults}\n{text}"));
    let twice = file::write(&again);
    let differing = text.lines().zip(twice.lines()).find(|(a, b)| a != b);
    assert!(
        twice == text,
        "written, read and written again it differs: {differing:?}"
    );
}

/// Every rig is dialled at the ends of what can be asked for and in the middle of its runs.
pub fn dials(calibration: &Calibration) {
    // One is like another, and each takes its time.
    for rig in calibration.rigs.iter().take(2) {
        let choice = Choice {
            rig: Some(rig.name.clone()),
            ..Choice::default()
        };
        let situation = match Situation::new(calibration, &choice) {
            Ok(situation) => situation,
            Err(error) => {
                error_is_sound(&error, "");
                continue;
            }
        };
        let (shortest, longest) = rig.travel.arc_range_m;
        for target_m in [SHORTEST_TARGET_M, 0.5 * (shortest + longest), LONGEST_M] {
            if !(SHORTEST_TARGET_M..=LONGEST_M).contains(&target_m) {
                continue;
            }
            if let Err(error) = dial::setting(&situation, target_m, calibration.level)
                .and_then(|_| dial::exact(&situation, target_m, calibration.level))
            {
                error_is_sound(&error, "");
            }
        }
    }
}

/// The text with the `check` that `haltmark fit` would give it: the file's own reason to refuse a sum is not
/// followed by another. (FNV-1a over the head with an empty sum and no rigs, then the rigs without spaces; the rows of
/// numbers stand as they are, at the start of their lines.)
fn with_its_sum(text: &str) -> String {
    let (Some(check), Some(rigs)) = (text.find("\"check\": \""), text.find("  \"rigs\": [")) else {
        return text.to_string();
    };
    let from = check + "\"check\": \"".len();
    let Some(length) = text[from..].find('"') else {
        return text.to_string();
    };
    if rigs < from + length {
        return text.to_string();
    }
    let head = format!(
        "{}{}  \"rigs\": []\n}}\n",
        &text[..from],
        &text[from + length..rigs]
    );
    let list = text[rigs + "  \"rigs\": ".len()..]
        .trim_end()
        .strip_suffix('}')
        .unwrap_or("");
    let summed = head + &without_spaces(list);
    let sum = summed.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| {
        (h ^ u64::from(b)).wrapping_mul(0x0000_0100_0000_01b3)
    });
    format!("{}{sum:016x}{}", &text[..from], &text[from + length..])
}

fn without_spaces(json: &str) -> String {
    let (mut out, mut quoted, mut escaped) = (String::new(), false, false);
    let mut rest = json.chars().peekable();
    while let Some(c) = rest.next() {
        let starts_a_row = c == '\n' && rest.peek().is_some_and(|next| !next.is_whitespace());
        if !quoted && c.is_whitespace() && !starts_a_row {
            continue;
        }
        quoted ^= c == '"' && !escaped;
        escaped = c == '\\' && !escaped;
        out.push(c);
    }
    out
}
