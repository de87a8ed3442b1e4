//! What must hold for any bytes, a module for each door of the program. `cargo fuzz` searches for bytes that break
//! one; `tests/corpus.rs` replays those that were kept in the ordinary tests.

pub mod calibration;
pub mod finite;
pub mod log;
#[path = "../../common/packed.rs"]
mod packed;
pub mod season;
pub mod setup;
pub mod sheet;
pub mod truth;

use haltmark::error::Error;
use haltmark::fault::Faults;

/// Every fault names its file and what was expected, on lines that cannot write on the terminal.
pub fn faults_are_sound(faults: &Faults, file: &str) {
    for fault in &faults.0 {
        assert_eq!(fault.file, file, "{fault:?}");
        assert!(!fault.expected.is_empty(), "{fault:?}");
        said_soundly(&fault.to_string());
    }
}

/// The words of an error, whichever it is.
pub fn error_is_sound(error: &Error, file: &str) {
    match error {
        Error::Input(faults) => {
            assert!(faults.any_error(), "an error without one: {faults:?}");
            faults_are_sound(faults, file);
        }
        Error::CannotAnswer(what) => {
            assert!(
                !what.what.is_empty() && !what.would_answer.is_empty(),
                "{what:?}"
            );
            said_soundly(&error.to_string());
        }
        Error::Output { .. } | Error::Internal { .. } => panic!("{error}"),
    }
}

/// A sentence for a terminal: no control characters, no endless line.
pub fn said_soundly(text: &str) {
    assert!(!text.chars().any(char::is_control), "{text:?}");
    assert!(text.chars().count() < 4000, "{text:?}");
}
