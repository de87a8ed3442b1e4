//! The packed file around a spreadsheet: which format it has, and that it does not unpack to more than it may.

use std::io::{self, Cursor, Read};

use zip::ZipArchive;

use crate::log::limits::UNPACKED_BYTES;

/// The spreadsheets that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Office Open XML.
    Xlsx,
    /// OpenDocument.
    Ods,
}

/// What a packed file is, once it is known to stay within the limits.
///
/// The sizes that a packed file states may be wrong, so its parts are unpacked, counted and thrown away.
///
/// # Errors
/// Why it cannot be read.
pub fn format(bytes: &[u8]) -> Result<Format, String> {
    let mut archive = open(bytes)?;
    let mut left = UNPACKED_BYTES;
    for index in 0..archive.len() {
        let part = archive.by_index(index).map_err(broken)?;
        let bytes = io::copy(&mut part.take(left + 1), &mut io::sink()).map_err(broken)?;
        left = left.checked_sub(bytes).ok_or_else(too_large)?;
    }
    let has = |name: &str| archive.index_for_name(name).is_some();
    if has("xl/workbook.xml") {
        Ok(Format::Xlsx)
    } else if has("content.xml") && has("META-INF/manifest.xml") {
        Ok(Format::Ods)
    } else {
        Err("a packed file but no .xlsx or .ods spreadsheet; save it as one, or as CSV".to_string())
    }
}

/// One part of a packed file; [`format`] has seen to its size.
///
/// # Errors
/// Why it cannot be read.
pub fn part(bytes: &[u8], name: &str) -> Result<String, String> {
    let mut archive = open(bytes)?;
    let part = archive.by_name(name).map_err(broken)?;
    let mut text = String::new();
    part.take(UNPACKED_BYTES)
        .read_to_string(&mut text)
        .map_err(broken)?;
    Ok(text)
}

/// The fault of a spreadsheet beyond the limit.
pub fn too_large() -> String {
    format!(
        "too large: a spreadsheet may hold {} MB once unpacked",
        UNPACKED_BYTES >> 20
    )
}

fn open(bytes: &[u8]) -> Result<ZipArchive<Cursor<&[u8]>>, String> {
    ZipArchive::new(Cursor::new(bytes)).map_err(broken)
}

fn broken(error: impl std::fmt::Display) -> String {
    format!(
        "it is damaged or has a password; open it in a spreadsheet program and save it again ({error})"
    )
}
