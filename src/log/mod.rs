//! Text or a spreadsheet in, typed runs out. Knows nothing of statistics.
//!
//! bytes -> a table of cells with their places -> [`columns::Columns`] -> [`run::Run`]s.

mod cell;
pub mod columns;
mod decode;
pub mod group;
mod limits;
pub mod packed;
mod row;
pub mod run;
mod sheet;
mod shorten;
mod slips;
pub mod summary;
mod table;
mod text;

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::setup::Setup;
use run::Season;

pub use cell::{LONGEST_M, date};
pub use row::{MOST_TURNS, SHORTEST_TARGET_M};

/// How logs are to be read.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Options {
    /// Sheet to read in a spreadsheet; the first one where it is `None`.
    pub sheet: Option<String>,
}

/// Reads logs into one season.
///
/// * `paths` — the logs; several are pooled in the order given, a session told apart by its label alone
/// * returns the season and its warnings
///
/// # Errors
/// [`Error::Input`] with every fault of every log, warnings included, when any of them is an error.
pub fn read(
    paths: &[PathBuf],
    setup: &Setup,
    options: &Options,
) -> Result<(Season, Faults), Error> {
    let mut faults = Faults::default();
    let mut reader = row::Reader::new(setup);
    let mut any_sheet = false;
    for (i, path) in paths.iter().enumerate() {
        let name = path.display().to_string();
        if paths[..i].iter().any(|earlier| is_same_file(earlier, path)) {
            faults.push(Fault::error(
                name,
                "given twice; its runs would count twice",
            ));
            continue;
        }
        match table(path, &name, options, &mut faults) {
            Err(more) => faults.0.extend(more.0),
            Ok(table) => {
                any_sheet |= matches!(table.origin.source, table::Source::Sheet { .. });
                let columns = columns::columns(&table, &mut faults);
                if table.rows.is_empty() {
                    faults.push(Fault::error(
                        &table.origin.file,
                        "a header and no runs below it; expected one row a run",
                    ));
                }
                reader.add(&table, columns, &mut faults);
            }
        }
    }
    if let (Some(sheet), false, false) = (&options.sheet, any_sheet, faults.any_error()) {
        faults.push(Fault::error(
            paths[0].display().to_string(),
            format!("not a spreadsheet, so it has no sheet {sheet}; leave --sheet out"),
        ));
    }
    let reading = reader.finish();
    faults.0.extend(group::too_many_labels(&reading));
    // A log with errors is read again once they are mended.
    if !faults.any_error() {
        faults.0.extend(slips::warnings(&reading).0);
    }
    let faults = shorten::warnings(faults);
    if faults.any_error() {
        return Err(Error::Input(faults));
    }
    Ok((reading.season, faults))
}

fn is_same_file(a: &Path, b: &Path) -> bool {
    match (a.canonicalize(), b.canonicalize()) {
        (Ok(a), Ok(b)) => a == b,
        _ => false,
    }
}

/// A file as cells.
fn table(
    path: &Path,
    name: &str,
    options: &Options,
    faults: &mut Faults,
) -> Result<table::Table, Faults> {
    let bytes = bytes(path, name)?;
    if sheet::is_packed(&bytes) {
        return sheet::table(name, &bytes, options.sheet.as_deref());
    }
    text::table(name, &decode::text(name, &bytes, faults)?)
}

/// All of a file, unless it is beyond the limit.
fn bytes(path: &Path, name: &str) -> Result<Vec<u8>, Faults> {
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(limits::FILE_BYTES + 1).read_to_end(&mut bytes))
        .map_err(|cause| Fault::error(name, format!("could not be read: {cause}")))?;
    if bytes.len() as u64 > limits::FILE_BYTES {
        let most = limits::FILE_BYTES >> 20;
        return Err(Fault::error(name, format!("too large: a log may have {most} MB")).into());
    }
    Ok(bytes)
}
