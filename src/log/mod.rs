//! Text or a spreadsheet in, typed runs out. Knows nothing of statistics.
//!
//! bytes -> rows of cells with their places -> [`columns::Columns`] -> [`run::Run`]s, kept packed. A long text is read as
//! it comes, in parts of whole rows that are read side by side and joined in order.

mod cell;
pub mod columns;
mod decode;
pub mod group;
mod limits;
pub mod packed;
mod reader;
mod row;
pub mod run;
mod sheet;
mod shorten;
mod slips;
pub mod summary;
mod table;
mod text;

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::setup::Setup;
use crate::watch::{UNWATCHED, Watch, Watched};
use run::Season;
use table::Stop;
use text::Text;

pub use cell::{LONGEST_M, date};
pub use row::{MOST_TURNS, SHORTEST_TARGET_M};
pub use slips::median;

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
    read_watched(paths, setup, options, UNWATCHED)
}

/// The same, saying how many bytes are read.
///
/// # Errors
/// As [`read`].
pub fn read_watched(
    paths: &[PathBuf],
    setup: &Setup,
    options: &Options,
    watch: Watch,
) -> Result<(Season, Faults), Error> {
    let bytes = |path: &PathBuf| path.metadata().map_or(0, |metadata| metadata.len());
    let all: u64 = paths.iter().map(bytes).sum();
    let mut done = 0;
    let mut faults = Faults::default();
    let mut reader = reader::Reader::new(setup);
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
        let before = done;
        let watched = move |file| Watched::new(file, watch, before, all);
        done += bytes(path);
        match add(path, &name, options, watched, &mut reader, &mut faults) {
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

/// Adds a file to what was read; returns whether it is a spreadsheet.
fn add<'w>(
    path: &Path,
    name: &str,
    options: &Options,
    watched: impl Fn(File) -> Watched<'w, File>,
    reader: &mut reader::Reader,
    faults: &mut Faults,
) -> Result<bool, Faults> {
    let unreadable = |cause| Fault::unreadable(name, cause);
    let mut file = File::open(path).map_err(unreadable)?;
    let mut bytes = Vec::new();
    file.by_ref()
        .take(limits::FIRST_BYTES as u64)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    // What can be begun again is read as it comes; the rest, and what turns out not to be UTF-8, as a whole.
    let is_file = file.metadata().is_ok_and(|metadata| metadata.is_file());
    let is_long = bytes.len() == limits::FIRST_BYTES;
    if is_file && is_long && !sheet::is_packed(&bytes) && decode::may_stream(&bytes) {
        let first = std::mem::take(&mut bytes);
        match Text::new(name, watched(file), first).and_then(|text| reader.add_long(text, faults)) {
            Ok(()) => return Ok(false),
            Err(Stop::Faults(faults)) => return Err(faults),
            Err(Stop::NotUtf8) => file = File::open(path).map_err(unreadable)?,
        }
    }
    let left = limits::FILE_BYTES + 1 - bytes.len() as u64;
    file.take(left)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    if bytes.len() as u64 > limits::FILE_BYTES {
        let most = limits::FILE_BYTES >> 20;
        return Err(Fault::error(name, format!("too large: a log may have {most} MB")).into());
    }
    let is_sheet = sheet::is_packed(&bytes);
    let read = if is_sheet {
        let rows = sheet::rows(name, &bytes, options.sheet.as_deref())?;
        drop(bytes);
        reader.add_all(rows, faults)
    } else {
        let text = decode::text(name, &bytes, faults)?;
        let text = text::with_line_feeds(&text).into_owned().into_bytes();
        drop(bytes);
        Text::new(name, io::empty(), text).and_then(|text| reader.add_all(text, faults))
    };
    match read {
        Ok(()) => Ok(is_sheet),
        Err(Stop::Faults(faults)) => Err(faults),
        Err(Stop::NotUtf8) => Err(Fault::error(name, "could not be read: it is no text").into()),
    }
}
