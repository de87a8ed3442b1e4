//! The three ways a command can end badly, and the exit status of each.
//!
//! Faults of input carry their place (`fault.rs`); data that cannot answer say what would; trouble writing
//! keeps the system's reason.

use crate::fault::Faults;

/// Why a command stopped without an answer.
#[derive(Debug)]
pub enum Error {
    /// Something that was read is wrong: a log, a set-up file, a calibration, an argument. Exit status 2.
    Input(Faults),
    /// The data are sound but do not hold the answer. Exit status 1.
    CannotAnswer(CannotAnswer),
    /// A file or folder could not be written or read. Exit status 2.
    Output {
        /// What was being done, naming the file.
        doing: String,
        /// The system's own reason.
        cause: std::io::Error,
    },
}

/// A question the data cannot answer, and what would answer it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CannotAnswer {
    /// What cannot be told, and why.
    pub what: String,
    /// What to add so that it can.
    pub would_answer: String,
}

impl Error {
    /// 1 where the data cannot answer, 2 for bad input or trouble with files.
    pub fn exit_status(&self) -> u8 {
        match self {
            Error::CannotAnswer(_) => 1,
            Error::Input(_) | Error::Output { .. } => 2,
        }
    }

    /// Shorthand for [`Error::CannotAnswer`].
    pub fn cannot_answer(what: impl Into<String>, would_answer: impl Into<String>) -> Self {
        Error::CannotAnswer(CannotAnswer {
            what: what.into(),
            would_answer: would_answer.into(),
        })
    }
}

impl std::fmt::Display for Error {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Error::Input(faults) => write!(f, "{faults}"),
            Error::CannotAnswer(c) => write!(f, "{}; {}", c.what, c.would_answer),
            Error::Output { doing, cause } => write!(f, "{doing}: {cause}"),
        }
    }
}

impl std::error::Error for Error {}

impl From<Faults> for Error {
    fn from(faults: Faults) -> Self {
        Error::Input(faults)
    }
}
