//! The whole way on any small log: bytes make a log and a set-up, and those a calibration, its file, every page and
//! settings.

use haltmark::calibration::{Calibration, fit};
use haltmark::decide::{self, Choice, Situation, dial};
use haltmark::report;
use haltmark::stats::interval::Level;

use super::made::{self, Bytes, LogKept, any_log, any_setup};
use super::{Thorough, calibration, error_is_sound, finite, log};

const MOST_ROWS: u8 = 48;
/// With penalties every setting is a search.
const PRICED_ONE_IN: u64 = 200;
/// Writing a calibration and reading it back takes as long as the fit.
const FILE_ONE_IN: u64 = 8;
/// Pages take most of the time and see nothing that the settings do not.
const PAGES_ONE_IN: u64 = 200;
/// Pages of more targets than this are not drawn: one row of a table is like another.
const MOST_TARGETS: usize = 40;

/// Whether a log made of these bytes could be fitted, everything that came of it being sound.
pub fn is_fitted(input: &[u8], thorough: Thorough) -> bool {
    let mut bytes = Bytes(input);
    let mut setup = any_setup(&mut bytes);
    if !thorough.chosen("penalties", input, PRICED_ONE_IN) {
        made::without_prices(&mut setup);
    }
    let level = bytes.of(&[0.95, 0.5, 0.8, 0.999_999, 0.01]);
    let keep_all = bytes.next().is_multiple_of(4);
    let with_file = thorough.chosen("file", input, FILE_ONE_IN);
    let with_pages = thorough.chosen("pages", input, PAGES_ONE_IN);
    let kept = LogKept::any(&mut bytes);
    let log = any_log(&mut bytes, kept, MOST_ROWS, &made::SESSIONS);
    let Some(season) = log::read_with(log.as_bytes(), &setup) else {
        return false;
    };
    let level = Level::new(level).expect("a share");
    let options = fit::Options {
        keep_all,
        since: None,
    };
    let fitted = fit::fit(&season, &setup, level, options).and_then(|mut calibration| {
        decide::complete(&mut calibration)?;
        Ok(calibration)
    });
    match fitted {
        Err(error) => {
            error_is_sound(&error, "");
            false
        }
        Ok(calibration) => {
            is_sound(&calibration, with_file, with_pages);
            true
        }
    }
}

fn is_sound(fitted: &Calibration, with_file: bool, with_pages: bool) {
    if fitted.setup.score.is_plain() {
        calibration::dials(fitted);
    }
    if with_file {
        let (text, read) = calibration::is_written_as_read(fitted);
        finite::json(&text);
        is_dialled_alike(fitted, &read);
    }
    let few = (fitted.range()).is_ok_and(|range| range.targets_m().len() <= MOST_TARGETS);
    if with_pages && few {
        match decide::advise(fitted).and_then(|advice| report::files(fitted, &advice)) {
            Err(error) => error_is_sound(&error, ""),
            Ok(files) => finite::files(files),
        }
    }
}

/// A calibration read back gives the settings that it gave.
fn is_dialled_alike(fitted: &Calibration, read: &Calibration) {
    // With penalties each setting is a search.
    let rigs = match fitted.setup.score.is_plain() {
        true => fitted.rigs.len(),
        false => 1,
    };
    for (rig, same) in fitted.rigs.iter().zip(&read.rigs).take(rigs) {
        let choice = Choice::default();
        let of = |calibration, rig| {
            Situation::from_rig(calibration, rig, &choice)
                .expect("the first build and trim are there")
        };
        let (before, after) = (of(&fitted.setup, rig), of(&read.setup, same));
        for &target_m in made::targets_m(&fitted.setup) {
            let setting = dial::setting(&before, target_m, fitted.level);
            let again = dial::setting(&after, target_m, fitted.level);
            match (setting, again) {
                (Ok(setting), Ok(again)) => {
                    assert_eq!(
                        setting, again,
                        "another setting from the file than from the fit"
                    );
                    finite::setting(&setting);
                }
                (Err(error), Err(_)) => error_is_sound(&error, ""),
                (a, b) => panic!("{a:?} from the fit, {b:?} from its file"),
            }
        }
    }
}
