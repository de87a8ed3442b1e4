//! The log reader, on any bytes: text in whatever encoding, or a packed file.

use haltmark::log::run::{Run, Season};
use haltmark::log::{self, ReadOptions};
use haltmark::setup::Setup;

use super::{error_is_sound, faults_are_sound};

/// Reads the bytes as a log, and looks at what came of it.
pub fn check(bytes: &[u8]) {
    read(bytes);
}

/// The season of these bytes, if they are a log.
pub fn read(bytes: &[u8]) -> Option<Season> {
    read_with(bytes, &Setup::default())
}

/// The season of bytes read with a set-up, if they are a log.
pub fn read_with(bytes: &[u8], setup: &Setup) -> Option<Season> {
    read_as(bytes, setup, &ReadOptions::default())
}

/// What bytes hold when read with a set-up as a season's log or a day's, if they are one.
pub fn read_as(bytes: &[u8], setup: &Setup, options: &ReadOptions) -> Option<Season> {
    let file = tempfile::Builder::new()
        .prefix("runs")
        .tempfile()
        .expect("a temporary file");
    std::fs::write(file.path(), bytes).expect("the file can be written");
    let name = file.path().display().to_string();
    match log::read(&[file.path().to_path_buf()], setup, options) {
        Err(error) => {
            error_is_sound(&error, &name);
            None
        }
        Ok((season, warnings)) => {
            assert!(!warnings.any_error());
            faults_are_sound(&warnings, &name);
            is_sound(&season);
            Some(season)
        }
    }
}

/// Numbers are finite and within what a run can be, labels are in their lists. (A log with headings alone has no runs.)
fn is_sound(season: &Season) {
    for run in &season.runs {
        numbers_are_sound(run);
        for (label, list) in [
            (run.session, &season.sessions),
            (run.vehicle, &season.vehicles),
            (run.wheels, &season.wheels),
            (run.build, &season.builds),
            (run.trim, &season.trims),
            (run.floor, &season.floors),
        ] {
            assert!((label as usize) < list.len(), "{run:?}");
        }
        assert!(run.line >= 1);
    }
}

fn numbers_are_sound(run: &Run) {
    let lengths = [
        run.target_m,
        run.rest_m,
        run.right_m,
        run.aim_right_m,
        run.miss_m,
        run.recoil_m,
        run.gap_m,
    ];
    for length_m in lengths.into_iter().flatten() {
        // Rest is target and long together.
        assert!(length_m.abs() <= 2.0 * log::LONGEST_M, "{run:?}");
    }
    for turns in [run.turns, run.lead_turns].into_iter().flatten() {
        assert!((0.0..=log::MOST_TURNS + 1e6).contains(&turns), "{run:?}");
    }
    assert!(
        run.time_s.is_none_or(f64::is_finite) && run.order.is_finite(),
        "{run:?}"
    );
}
