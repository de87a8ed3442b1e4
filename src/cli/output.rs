//! The only file that prints or writes: results as text or JSON, faults, and files put in place by rename.

mod disk;
mod files;
mod opener;
#[cfg(test)]
mod power_cut;
mod screen;
mod swap;
mod waiting;

use std::io::{self, Write};
use std::path::PathBuf;

use serde::Serialize;

pub use files::Output;

use crate::error::Error;
use crate::fault::{Fault, Faults, Severity, printable};
use screen::Screen;

/// What a command leaves when it is done.
#[derive(Debug, Default)]
pub struct Answer {
    /// Text for people, on standard output; lines without the last line end.
    pub text: String,
    /// The next useful command, printed after the text; blank where there is none.
    pub next: String,
    /// Whether the text is what a file would hold (a log, a truth file), to be left as it is.
    pub is_a_file: bool,
    /// JSON for programs, from [`json`]; `None` for a command whose text is its only result.
    pub json: Option<String>,
    /// Files to write, all or none.
    pub output: Option<Output>,
    /// A file to open when it is written.
    pub open: Option<PathBuf>,
    /// Files that were read, and must not be written over.
    pub inputs: Vec<PathBuf>,
    /// Warnings, for standard error.
    pub warnings: Faults,
    /// Exit status: 0 unless the answer itself is that something is wrong.
    pub status: u8,
}

/// How results are wanted.
#[derive(Debug, Clone, Copy)]
pub struct Wanted {
    /// JSON instead of text.
    pub json: bool,
    /// No warnings and remarks.
    pub quiet: bool,
}

/// A result as JSON in the order of its fields. A number that is not finite is written as `null`.
pub fn json(result: &impl Serialize) -> String {
    serde_json::to_string_pretty(result)
        .expect("the results are made of plain structs with text keys, which always serialise")
}

/// Writes files and prints; returns the exit status.
pub fn deliver(outcome: Result<Answer, Error>, wanted: Wanted) -> u8 {
    let mut out = Screen::stdout();
    let mut err = Screen::stderr();
    match outcome.and_then(|answer| put(answer, wanted, &mut out, &mut err)) {
        Ok(status) => status,
        Err(error) => {
            // Nobody is left to tell when standard error is closed too.
            let _ = complain(&error, wanted, &mut err);
            error.exit_status()
        }
    }
}

fn put(
    answer: Answer,
    wanted: Wanted,
    out: &mut Screen<impl Write>,
    err: &mut Screen<impl Write>,
) -> Result<u8, Error> {
    if let Some(output) = &answer.output {
        output.write(&answer.inputs)?;
    }
    // Nobody is left to tell when standard error is closed.
    let _ = tell(&answer.warnings, wanted, err);
    let text = match answer.json {
        Some(json) if wanted.json => json,
        _ if answer.is_a_file => answer.text,
        _ if wanted.quiet || answer.next.is_empty() => shown(&answer.text, out),
        _ => shown(&format!("{}\nnext: {}", answer.text, answer.next), out),
    };
    if !text.is_empty() {
        let to = &mut out.to;
        let printed = to
            .write_all(text.as_bytes())
            .and_then(|()| to.write_all(b"\n"))
            .and_then(|()| to.flush());
        match printed {
            // The reader has seen enough (a pager closed, `head`): no fault of ours.
            Err(cause) if cause.kind() == io::ErrorKind::BrokenPipe => {}
            Err(cause) => {
                return Err(Error::Output {
                    doing: "writing to standard output".to_string(),
                    cause,
                });
            }
            Ok(()) => {}
        }
    }
    if let Some(path) = &answer.open
        && let Err(cause) = opener::open(path)
    {
        let name = path.display().to_string();
        let why = Fault::warning(
            name,
            format!("could not be opened ({cause}); it is written"),
        );
        let _ = tell(&why.into(), wanted, err);
    }
    Ok(answer.status)
}

/// The text without control characters, for labels of the user stand in it; with headings in bold where there is colour.
fn shown(text: &str, on: &Screen<impl Write>) -> String {
    let lines: Vec<String> = text.split('\n').map(printable).collect();
    on.with_headings(lines.join("\n"))
}

fn complain(error: &Error, wanted: Wanted, err: &mut Screen<impl Write>) -> io::Result<()> {
    match error {
        Error::Input(faults) => tell(faults, wanted, err),
        other => err.error(&printable(&other.to_string())),
    }
}

fn tell(faults: &Faults, wanted: Wanted, err: &mut Screen<impl Write>) -> io::Result<()> {
    let mut shown = faults.clone().errors_first();
    shown
        .0
        .retain(|f| f.severity == Severity::Error || !wanted.quiet);
    for fault in &shown.0 {
        let line = fault.to_string();
        match fault.severity {
            Severity::Error => err.error(&line)?,
            Severity::Warning => err.warning(&line)?,
        }
    }
    if let Some(count) = shown.summed_up() {
        writeln!(err.to, "{count}")?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A reader that has gone away, and a disk that is full.
    struct Refuses(io::ErrorKind);

    impl Write for Refuses {
        fn write(&mut self, _: &[u8]) -> io::Result<usize> {
            Err(io::Error::from(self.0))
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn a_closed_pipe_is_no_fault_and_a_full_disk_is() {
        let wanted = Wanted {
            json: false,
            quiet: false,
        };
        let answer = || Answer {
            text: "x".into(),
            ..Answer::default()
        };
        fn screen<W>(to: W) -> Screen<W> {
            Screen {
                to,
                is_coloured: false,
            }
        }
        let mut err = screen(Vec::new());
        let closed = put(
            answer(),
            wanted,
            &mut screen(Refuses(io::ErrorKind::BrokenPipe)),
            &mut err,
        );
        assert!(matches!(closed, Ok(0)));
        let full = put(
            answer(),
            wanted,
            &mut screen(Refuses(io::ErrorKind::StorageFull)),
            &mut err,
        );
        assert_eq!(full.unwrap_err().exit_status(), 2);
    }

    #[test]
    fn a_number_that_is_not_finite_is_null() {
        assert_eq!(
            json(&[1.5, f64::INFINITY, f64::NAN]).replace([' ', '\n'], ""),
            "[1.5,null,null]"
        );
    }
}
