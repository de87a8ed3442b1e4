//! What is meant where no log lies under the name that was given.

use std::io;
use std::path::{Path, PathBuf};

use crate::fault::Fault;
use crate::keys::misspelt;

/// Whether a file may be a log, by the ending of its name.
pub fn is_named_as_log(path: &Path) -> bool {
    is_named_as_spreadsheet(path) || has_ending(path, &["csv", "tsv", "txt"])
}

/// Whether a file is a spreadsheet, by the ending of its name.
pub(super) fn is_named_as_spreadsheet(path: &Path) -> bool {
    has_ending(path, &["xlsx", "ods"])
}

fn has_ending(path: &Path, endings: &[&str]) -> bool {
    let ending = path.extension().unwrap_or_default();
    endings.iter().any(|of| ending.eq_ignore_ascii_case(of))
}

/// The log beside a path that is not there which was meant by it: the name without its ending, or a slip of the pen.
pub fn log_beside(path: &Path) -> Option<PathBuf> {
    let stem = |path: &Path| Some(path.file_stem()?.to_string_lossy().to_lowercase());
    let asked = stem(path)?;
    let logs = logs_in(path.parent()?);
    let exact = logs.iter().find(|log| stem(log).as_ref() == Some(&asked));
    let near = || {
        let stems: Vec<String> = logs.iter().filter_map(|log| stem(log)).collect();
        let near = misspelt(&asked, stems.iter().map(String::as_str))?;
        logs.iter().find(|log| stem(log).as_deref() == Some(near))
    };
    let found = exact.or_else(near)?;
    Some(path.with_file_name(found.file_name()?))
}

/// Files in a folder that may be logs, by name.
fn logs_in(folder: &Path) -> Vec<PathBuf> {
    let folder = match folder.as_os_str().is_empty() {
        true => Path::new("."),
        false => folder,
    };
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let paths = entries.map(|entry| entry.path());
    let mut logs: Vec<PathBuf> = paths
        .filter(|path| is_named_as_log(path) && path.is_file())
        .collect();
    logs.sort();
    logs
}

/// The fault of a log that could not be read, with what is meant where that can be told.
pub(super) fn unreadable(path: &Path, name: &str, cause: io::Error) -> Fault {
    let meant = match cause.kind() {
        io::ErrorKind::IsADirectory => of_folder(path),
        io::ErrorKind::NotFound => log_beside(path)
            .map(|log| format!("there is no such file; did you mean {}?", log.display())),
        _ => None,
    };
    let fault = Fault::unreadable(name, cause);
    match meant {
        Some(expected) => Fault { expected, ..fault },
        None => fault,
    }
}

fn of_folder(folder: &Path) -> Option<String> {
    if folder.join("calibration.json").is_file() {
        return Some(
            "this is the folder of a fit; expected a log, such as the one that it was made from"
                .to_string(),
        );
    }
    let first = logs_in(folder).into_iter().next()?;
    Some(format!(
        "this is a folder; expected a log in it, such as {}",
        first.display()
    ))
}
