//! Text or a spreadsheet in, typed runs out. Knows nothing of statistics.
//!
//! bytes -> [`table::Table`] (cells with their places) -> [`columns::Columns`] -> [`run::Run`]s.

mod cell;
pub mod columns;
pub mod group;
mod row;
pub mod run;
pub mod summary;
mod table;
mod text;

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
    for (i, path) in paths.iter().enumerate() {
        let name = path.display().to_string();
        if paths[..i].iter().any(|earlier| is_same_file(earlier, path)) {
            faults.push(Fault::error(
                name,
                "given twice; its runs would count twice",
            ));
            continue;
        }
        match table(path, &name, options) {
            Err(more) => faults.0.extend(more.0),
            Ok(table) => {
                let columns = columns::columns(&table, &mut faults);
                if table.rows.is_empty() {
                    faults.push(Fault::error(
                        &table.file,
                        "a header and no runs below it; expected one row a run",
                    ));
                }
                reader.add(&table, &columns, &mut faults);
            }
        }
    }
    if faults.any_error() {
        return Err(Error::Input(faults));
    }
    Ok((reader.finish(), faults))
}

fn is_same_file(a: &Path, b: &Path) -> bool {
    match (a.canonicalize(), b.canonicalize()) {
        (Ok(a), Ok(b)) => a == b,
        _ => false,
    }
}

/// A file as cells.
fn table(path: &Path, name: &str, _options: &Options) -> Result<table::Table, Faults> {
    let bytes = std::fs::read(path)
        .map_err(|cause| Fault::error(name, format!("could not be read: {cause}")))?;
    let text =
        String::from_utf8(bytes).map_err(|_| Fault::error(name, "expected text in UTF-8"))?;
    text::table(name, &text)
}
