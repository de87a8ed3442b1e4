//! The ways a command can end badly, and the exit status of each.
//!
//! Faults of input carry their place (`fault.rs`); data that cannot answer say what would; trouble writing keeps the
//! system's reason; a fault of the program is called one. [`std::error::Error::source`] gives the cause below.

use crate::fault::{Fault, Faults};
use crate::stats::Numerical;

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
    /// The program is at fault: a page that does not fit its template, a figure of a number that is not finite. Exit
    /// status 2.
    Internal {
        /// What was being done.
        doing: String,
        /// What it came to.
        cause: Box<dyn std::error::Error + Send + Sync>,
    },
}

/// A question the data cannot answer, and what would answer it.
#[derive(Debug, Clone, PartialEq)]
pub struct CannotAnswer {
    /// What cannot be told, and why.
    pub what: String,
    /// What to add so that it can.
    pub would_answer: String,
    /// The calculation that failed, where that is the reason.
    pub cause: Option<Numerical>,
}

impl Error {
    /// 1 where the data cannot answer; 2 for bad input, trouble with files and faults of the program.
    pub fn exit_status(&self) -> u8 {
        match self {
            Error::CannotAnswer(_) => 1,
            Error::Input(_) | Error::Output { .. } | Error::Internal { .. } => 2,
        }
    }

    /// An [`Error::CannotAnswer`] whose reason is in the data, not in a calculation.
    pub fn cannot_answer(what: impl Into<String>, would_answer: impl Into<String>) -> Self {
        Error::CannotAnswer(CannotAnswer {
            what: what.into(),
            would_answer: would_answer.into(),
            cause: None,
        })
    }

    /// An [`Error::Internal`] with its cause.
    ///
    /// * `doing` — what was being done, as the beginning of a sentence
    pub fn internal(
        doing: impl Into<String>,
        cause: impl Into<Box<dyn std::error::Error + Send + Sync>>,
    ) -> Self {
        Error::Internal {
            doing: doing.into(),
            cause: cause.into(),
        }
    }

    /// A failed calculation: a fault of the program where its arguments did not fit together, else of data that no
    /// line can be laid through.
    ///
    /// * `what` — what could not be made, as the beginning of a sentence
    pub fn calculation(what: impl Into<String>, cause: Numerical) -> Self {
        let what = what.into();
        match cause {
            Numerical::Shape { .. } => Error::internal(what, cause),
            _ => Error::CannotAnswer(CannotAnswer {
                what: format!("{what} ({cause})"),
                would_answer: "please look for rows with mistyped turns or distances".to_string(),
                cause: Some(cause),
            }),
        }
    }
}

impl std::fmt::Display for Error {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Error::Input(faults) => write!(f, "{faults}"),
            Error::CannotAnswer(c) => write!(f, "{}; {}", c.what, c.would_answer),
            Error::Output { doing, cause } => write!(f, "{doing}: {cause}"),
            Error::Internal { doing, cause } => write!(
                f,
                "{doing}: {cause}; this is a fault of the program, please report it"
            ),
        }
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Error::Input(faults) => Some(faults.0.iter().find_map(Fault::cause)?),
            Error::CannotAnswer(c) => Some(c.cause.as_ref()?),
            Error::Output { cause, .. } => Some(cause),
            Error::Internal { cause, .. } => Some(cause.as_ref()),
        }
    }
}

impl From<Faults> for Error {
    fn from(faults: Faults) -> Self {
        Error::Input(faults)
    }
}

impl From<Numerical> for Error {
    fn from(cause: Numerical) -> Self {
        Error::calculation("a calculation did not come to an end", cause)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::error::Error as _;
    use std::io;

    #[test]
    fn trouble_with_a_file_keeps_the_reason_of_the_system() {
        let kind = |error: &Error| {
            let cause = error.source()?.downcast_ref::<io::Error>()?;
            Some(cause.kind())
        };
        let full = Error::Output {
            doing: "writing report.html".to_string(),
            cause: io::ErrorKind::StorageFull.into(),
        };
        assert_eq!(kind(&full), Some(io::ErrorKind::StorageFull));
        let missing = crate::fault::read_text("no/such/file".as_ref(), 10, "a set-up file");
        let missing = Error::from(missing.unwrap_err());
        assert_eq!(kind(&missing), Some(io::ErrorKind::NotFound));
    }

    #[test]
    fn a_calculation_without_an_end_is_kept_as_the_cause() {
        let cause = Numerical::DidNotSettle {
            what: "a search",
            last_change: 0.5,
        };
        let error = Error::from(cause.clone());
        assert_eq!(error.exit_status(), 1);
        assert!(error.to_string().contains("mistyped"), "{error}");
        assert_eq!(error.source().unwrap().downcast_ref(), Some(&cause));
    }

    #[test]
    fn arguments_that_do_not_fit_together_are_a_fault_of_the_program_and_not_of_the_rows() {
        let cause = Numerical::Shape {
            what: "a matrix to factorise must be square",
        };
        let error = Error::from(cause.clone());
        assert!(matches!(error, Error::Internal { .. }), "{error}");
        assert_eq!(error.exit_status(), 2);
        let said = error.to_string();
        assert!(!said.contains("mistyped"), "{said}");
        assert!(
            said.contains("must be square; this is a fault of the program, please report it"),
            "{said}"
        );
        assert_eq!(error.source().unwrap().downcast_ref(), Some(&cause));
    }
}
