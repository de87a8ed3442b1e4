//! What fuzzing has kept: every input below `tests/fuzz/corpus/` goes through the same checks as there, so that what
//! was mended once stays mended without the fuzzer. How to search for more: `DEVELOPERS.md`.

#[path = "fuzz/checks/mod.rs"]
mod checks;

use checks::Thorough;
use std::path::{Path, PathBuf};

fn inputs(target: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fuzz/corpus")
        .join(target);
    let entries =
        std::fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    let mut paths: Vec<PathBuf> = entries.map(|e| e.expect("an entry").path()).collect();
    paths.sort();
    assert!(!paths.is_empty(), "{}: nothing kept", folder.display());
    paths
}

fn replay(target: &str, check: fn(&[u8])) {
    for path in inputs(target) {
        // Said only when a check fails.
        println!("{}", path.display());
        check(&std::fs::read(&path).expect("a file"));
    }
}

#[test]
fn kept_logs() {
    replay("log", checks::log::check);
}

#[test]
fn kept_spreadsheets() {
    replay("sheet", checks::sheet::check);
}

#[test]
fn kept_set_ups() {
    replay("setup", checks::setup::check);
}

#[test]
fn kept_truths() {
    replay("truth", checks::truth::check);
}

#[test]
fn kept_calibrations() {
    replay("calibration", checks::calibration::check);
    // Cut to a few rows, so only with the sum that belongs to it: else nothing but the sum is looked at.
    for name in ["one.json", "small.json"] {
        let path = inputs("calibration")
            .into_iter()
            .find(|p| p.ends_with(name));
        let bytes = std::fs::read(path.expect("it is kept")).expect("a file");
        assert!(checks::calibration::accepted(&bytes), "{name}");
    }
}

#[test]
fn kept_seasons() {
    replay("season", |bytes| {
        checks::season::is_fitted(bytes, Thorough::Always);
    });
}

#[test]
fn kept_days() {
    replay("day", |bytes| {
        checks::day::is_answered(bytes, Thorough::Always);
    });
}

/// At least so many bytes from a fixed stream. The first chooses tables of the set-up; most people have none or two.
fn random_bytes(stream: u64, index: u64, shortest: usize) -> Vec<u8> {
    use haltmark::stats::resample;
    let mut chance = resample::replicate(stream, index);
    let mut byte = || (256.0 * resample::uniform(&mut chance)) as u8;
    let length = shortest + 3 * usize::from(byte());
    let mut bytes: Vec<u8> = (0..length).map(|_| byte()).collect();
    bytes[0] &= byte() & byte();
    println!("random_bytes({stream}, {index})");
    bytes
}

/// Logs that nobody kept: random choices make small logs and set-ups, and each goes the whole way.
#[test]
fn any_small_log_is_fitted_or_refused_in_words() {
    let is_fitted =
        |index: &u64| checks::season::is_fitted(&random_bytes(71, *index, 40), Thorough::Seldom);
    let fitted = (0..150).filter(is_fitted).count();
    // Else nothing but the reader was looked at.
    assert!(fitted > 30, "{fitted} of 150 fitted");
}

/// And so do a day's runs and later ones: compared, corrected for, reviewed.
#[test]
fn any_small_day_is_answered_or_refused_in_words() {
    let answered = (0..150)
        .map(|index| checks::day::is_answered(&random_bytes(72, index, 300), Thorough::Seldom));
    let (compared, corrected) = answered.fold((0, 0), |(a, b), (compared, corrected)| {
        (a + u32::from(compared), b + u32::from(corrected))
    });
    assert!(
        compared > 5 && corrected > 15,
        "{compared} compared, {corrected} corrected"
    );
}
