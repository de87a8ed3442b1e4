//! What must hold for any bytes, a module for each door of the program. `cargo fuzz` searches for bytes that break
//! one; `tests/corpus.rs` replays those that were kept in the ordinary tests.

pub mod calibration;
pub mod day;
pub mod finite;
pub mod log;
mod made;
#[path = "../../common/packed.rs"]
mod packed;
pub mod season;
pub mod setup;
pub mod sheet;
pub mod truth;

use haltmark::error::Error;
use haltmark::fault::Faults;

/// How much of what takes its time is done for an input.
#[derive(Clone, Copy)]
pub enum Thorough {
    /// All of it: for inputs that are kept.
    Always,
    /// Once in so many inputs, chosen by a hash of the input, so that no heir of an input that was chosen need be.
    Seldom,
}

impl Thorough {
    /// Whether to do what is done for one of `many` inputs. Which inputs those are depends on `what` it is: where pages
    /// and penalties came together, one input in 200 took a third of the time.
    pub fn chosen(self, what: &str, input: &[u8], many: u64) -> bool {
        // FNV-1a.
        let hash = |sum: u64, byte: &u8| (sum ^ u64::from(*byte)).wrapping_mul(0x100_0000_01b3);
        let bytes = what.as_bytes().iter().chain(input);
        match self {
            Thorough::Always => true,
            Thorough::Seldom => {
                bytes.fold(0xcbf2_9ce4_8422_2325, hash) >> 16 & 0xffff < 0xffff / many
            }
        }
    }
}

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
