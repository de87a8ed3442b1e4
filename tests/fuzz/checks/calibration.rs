//! The calibration reader, on any text; and `dial` from what it accepts.

use haltmark::calibration::{Calibration, file};
use haltmark::decide::{Choice, Situation, dial};
use haltmark::log::{LONGEST_M, SHORTEST_TARGET_M};
use serde_json::Value;

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

/// A calibration is written and read back as it is: its text, and what was read of it.
pub fn is_written_as_read(calibration: &Calibration) -> (String, Calibration) {
    let text = file::write(calibration);
    let again = file::read(FILE, &text).unwrap_or_else(|faults| panic!("{faults}\n{text}"));
    let twice = file::write(&again);
    let differing = text.lines().zip(twice.lines()).find(|(a, b)| a != b);
    assert!(
        twice == text,
        "written, read and written again it differs: {differing:?}"
    );
    (text, again)
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
        let middle_m = 0.5 * (shortest + longest);
        let targets_m: &[f64] = match calibration.setup.score.is_plain() {
            true => &[SHORTEST_TARGET_M, middle_m, LONGEST_M],
            // With penalties each is a search.
            false => &[middle_m],
        };
        for &target_m in targets_m {
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

/// What the text holds as `haltmark fit` would write it: the file's own reason to refuse a sum is not followed by
/// another.
fn with_its_sum(text: &str) -> String {
    match serde_json::from_str(text) {
        Ok(mut object @ Value::Object(_)) => file::sealed(&mut object),
        _ => text.to_string(),
    }
}
