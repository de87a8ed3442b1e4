//! An empty log to fill in: as a workbook with checked cells, or as plain text. Every log has one sheet that is read, the
//! first; the others explain it.

mod book;
mod columns;

use super::File;
use super::page::CAUTIONS;
use crate::error::Error;
use crate::setup::Setup;
use columns::columns;
use std::path::PathBuf;

/// An empty log as a workbook (.xlsx): headings, cells that refuse what cannot be meant, lists of names, and a sheet on what
/// each column means. Its bytes depend on the set-up alone.
///
/// * `setup` — the ticks of its dial bound those of the log, and the names of its wheel sets are offered
///
/// # Errors
/// [`Error::Internal`] when the workbook cannot be made.
pub fn workbook(name: PathBuf, setup: &Setup) -> Result<File, Error> {
    let bytes =
        book::bytes(setup).map_err(|cause| Error::internal("making the empty log", cause))?;
    Ok(File { name, bytes })
}

/// An empty log as text: headings, and above them comments on what each column means.
///
/// * `setup` — the ticks of its dial bound those of the log
pub fn csv(name: PathBuf, setup: &Setup) -> File {
    let columns = columns(setup);
    let mut text = "# An empty run log: write one row a run below the line of headings.\n\
                    # Lines that start with # are not read. Columns you do not need may be left empty or taken out.\n"
        .to_string();
    for column in &columns {
        let needed = if column.is_needed { " (needed)" } else { "" };
        text += &format!("# {}{needed}: {}\n", column.column.name(), column.means);
    }
    for caution in CAUTIONS {
        let caution = caution.replace(", ", " - ").replace("; ", " - ");
        text += &format!("# {caution}\n");
    }
    let names: Vec<&str> = columns.iter().map(|c| c.column.name()).collect();
    File::from_text(name, text + &names.join(",") + "\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comments_survive_a_spreadsheet_program() {
        let file = csv("season.csv".into(), &Setup::default());
        let text = String::from_utf8(file.bytes).expect("text");
        // A cell with one of these would be saved in quotation marks, and its line no longer begin with #.
        for line in text.lines().filter(|line| line.starts_with('#')) {
            assert!(
                line.is_ascii() && !line.contains([',', ';', '"', '\t']),
                "{line}"
            );
        }
    }
}
