//! Builds logs and reads them; what every test file needs and nothing more.

use haltmark::error::Error;
use haltmark::fault::{Fault, Faults, Severity};
use haltmark::log::{self, run::Season};
use haltmark::setup::Setup;

/// A text as a log in a fresh folder, read with the default set-up.
pub fn try_read(text: &[u8]) -> Result<(Season, Faults), Error> {
    let folder = tempfile::tempdir().expect("a fresh folder");
    let path = folder.path().join("runs.csv");
    std::fs::write(&path, text).expect("the log is written");
    log::read(&[path], &Setup::default(), &log::Options::default())
}

/// The same for a log that must be sound.
pub fn read(text: &str) -> (Season, Faults) {
    try_read(text.as_bytes()).unwrap_or_else(|error| panic!("{text}\n{error}"))
}

/// The same for a log that must not be.
pub fn read_err(text: &str) -> Faults {
    match try_read(text.as_bytes()) {
        Err(Error::Input(faults)) => faults,
        other => panic!("expected faults in\n{text}\ngot {other:?}"),
    }
}

/// The faults that stop a command.
pub fn errors(faults: &Faults) -> Vec<&Fault> {
    of(faults, Severity::Error)
}

/// The faults that do not.
pub fn warnings(faults: &Faults) -> Vec<&Fault> {
    of(faults, Severity::Warning)
}

fn of(faults: &Faults, severity: Severity) -> Vec<&Fault> {
    faults.0.iter().filter(|f| f.severity == severity).collect()
}
