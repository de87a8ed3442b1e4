//! A file opened with the program that the system has for it.

use std::io;
use std::path::Path;
use std::process::{Command, Stdio};

/// Opens a file as a double click would.
///
/// # Errors
/// The system's reason, or that its opener did not succeed.
pub fn open(path: &Path) -> io::Result<()> {
    let (program, before): (&str, &[&str]) = if cfg!(windows) {
        // The blank text is the window's title.
        ("cmd", &["/C", "start", ""])
    } else if cfg!(target_vendor = "apple") {
        ("open", &[])
    } else {
        ("xdg-open", &[])
    };
    let status = Command::new(program)
        .args(before)
        .arg(path)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .map_err(|cause| io::Error::new(cause.kind(), format!("{program}: {cause}")))?;
    match status.success() {
        true => Ok(()),
        false => Err(io::Error::other(format!("{program} ended with {status}"))),
    }
}
