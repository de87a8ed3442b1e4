//! Text or a spreadsheet in, typed runs out. This room knows nothing of statistics.
//!
//! bytes -> text (`decode`) or a sheet's cells (`sheet`) -> records with their places (`text`, `record`) -> header and
//! columns (`header`, [`crate::columns`]) -> typed [`run::Run`]s (`row`, `reader`) -> warnings of slips (`slips`). Each log is
//! read once, whole.

mod cell;
mod columns;
mod decode;
pub mod group;
mod header;
mod kind;
mod limits;
mod no_log;
mod reader;
mod record;
mod row;
pub mod run;
mod sheet;
mod shorten;
mod slips;
pub mod summary;
mod text;
mod total;

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::setup::Setup;
use reader::Reader;
use run::Season;

pub use cell::{LONGEST_M, date};
pub use kind::LogKind;
pub use no_log::{is_named_as_log, log_beside};
pub use row::{MOST_TURNS, SHORTEST_TARGET_M, says_ticks_are_assumed};
pub use slips::median;

/// How logs are to be read.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ReadOptions {
    /// What they hold.
    pub kind: LogKind,
    /// Sheet to read in a spreadsheet; the first one where it is `None`.
    pub sheet: Option<String>,
}

/// Reads logs into one season.
///
/// * `paths` — the logs, of which [`STANDARD_INPUT`] may be one; several are pooled in the order given, runs with one session label are one session, whatever
///   their log
/// * returns the season and its warnings; a season of logs that have headings and no rows yet has no runs
///
/// # Errors
/// [`Error::Input`] with every fault of every log, warnings included, when any of them is an error.
pub fn read(
    paths: &[PathBuf],
    setup: &Setup,
    options: &ReadOptions,
) -> Result<(Season, Faults), Error> {
    let mut faults = Faults::default();
    let mut reader = Reader::new(setup, options.kind);
    let mut any_sheet = false;
    for (i, path) in paths.iter().enumerate() {
        let name = match is_standard_input(path) {
            true => STANDARD_INPUT_NAME.to_string(),
            false => path.display().to_string(),
        };
        if paths[..i].iter().any(|earlier| is_same_file(earlier, path)) {
            faults.push(Fault::error(
                name,
                "given twice; its runs would count twice",
            ));
            continue;
        }
        match add(path, &name, options, &mut reader, &mut faults) {
            Err(more) => faults.0.extend(more.0),
            Ok(is_sheet) => any_sheet |= is_sheet,
        }
    }
    if let (Some(sheet), false, false) = (&options.sheet, any_sheet, faults.any_error()) {
        faults.push(Fault::error(
            paths[0].display().to_string(),
            format!("not a spreadsheet, so it has no sheet {sheet}; leave --sheet out"),
        ));
    }
    let mut reading = reader.finish();
    faults.0.extend(reading.empty_logs());
    faults.0.extend(group::too_many_labels(&reading));
    // Slips are looked for only in a log without errors: it is read again once they are mended.
    if !faults.any_error() {
        let (kept, warnings) = slips::warnings(&reading);
        reading.season.slips = kept;
        faults.0.extend(warnings.0);
    }
    let faults = shorten::warnings(faults).errors_first();
    if faults.any_error() {
        return Err(Error::Input(faults));
    }
    Ok((reading.season, faults))
}

/// What a row of a log is called, by the log's name: `row` in a spreadsheet, else `line`.
pub fn row_word(log: &str) -> &'static str {
    match no_log::is_named_as_spreadsheet(Path::new(log)) {
        true => "row",
        false => "line",
    }
}

/// What a log from standard input is called.
pub const STANDARD_INPUT_NAME: &str = "standard input";

/// The path of a log that is read from standard input; a file of that name is `./-`.
pub const STANDARD_INPUT: &str = "-";

/// Whether a log is read from standard input.
pub fn is_standard_input(path: &Path) -> bool {
    path.as_os_str() == STANDARD_INPUT
}

fn is_same_file(a: &Path, b: &Path) -> bool {
    if is_standard_input(a) || is_standard_input(b) {
        return a == b;
    }
    match (a.canonicalize(), b.canonicalize()) {
        (Ok(a), Ok(b)) => a == b,
        _ => false,
    }
}

/// Adds a file to what was read; returns whether it is a spreadsheet.
fn add(
    path: &Path,
    name: &str,
    options: &ReadOptions,
    reader: &mut Reader,
    faults: &mut Faults,
) -> Result<bool, Faults> {
    let bytes = bytes(path, name)?;
    let is_sheet = sheet::is_packed(&bytes);
    if is_sheet {
        let records = sheet::records(name, &bytes, options.sheet.as_deref())?;
        drop(bytes);
        reader.add(records, faults)?;
    } else {
        let text = decode::text(name, bytes, faults)?;
        let headings = reader.headings().clone();
        reader.add(text::records(name, &headings, &text), faults)?;
    }
    Ok(is_sheet)
}

/// All bytes of a file.
fn bytes(path: &Path, name: &str) -> Result<Vec<u8>, Faults> {
    let unreadable = |cause| no_log::unreadable(path, name, cause);
    if is_standard_input(path) {
        return up_to_the_limit(std::io::stdin().lock(), 0, name, unreadable);
    }
    let file = File::open(path).map_err(unreadable)?;
    // Room for all of it at once, where its size is known.
    let size = file.metadata().map_or(0, |metadata| metadata.len());
    up_to_the_limit(file, size, name, unreadable)
}

/// All bytes there are to read.
///
/// * `size` — how many are expected; `unreadable` — words the system's reason
fn up_to_the_limit(
    from: impl Read,
    size: u64,
    name: &str,
    unreadable: impl Fn(io::Error) -> Fault,
) -> Result<Vec<u8>, Faults> {
    let mut bytes = Vec::with_capacity(size.min(limits::TEXT_BYTES) as usize + 1);
    from.take(limits::TEXT_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    let most = match sheet::is_packed(&bytes) {
        true => limits::FILE_BYTES,
        false => limits::TEXT_BYTES,
    };
    if bytes.len() as u64 > most {
        return Err(decode::too_large(name, most).into());
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spreadsheet_has_rows_and_a_text_has_lines() {
        for (log, word) in [
            ("odd.xlsx", "row"),
            ("of may/ODD.ODS", "row"),
            ("season.csv", "line"),
            (STANDARD_INPUT_NAME, "line"),
        ] {
            assert_eq!(row_word(log), word, "{log}");
        }
    }
}
