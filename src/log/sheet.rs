//! Reads a spreadsheet's cells as records, the form that text is read to, with sheet, row and column letter.

mod extent;
mod guard;
mod unpack;

use std::io::Cursor;

use calamine::{Data, Ods, Reader, Sheet, SheetType, SheetVisible, Xlsx, XlsxFormulaMetadata};

use super::limits;
use super::record::{Origin, Record, Records, SheetOrigin, letters};
use crate::fault::{Fault, Faults, beginning};
use crate::keys;

/// Whether these bytes are a packed file, as .xlsx and .ods are.
pub fn is_packed(bytes: &[u8]) -> bool {
    bytes.starts_with(b"PK\x03\x04")
}

/// One cell that is not empty: row and column from 0, and what stands there.
type Cell = (u32, u32, String);

/// The rows of one sheet.
///
/// * `sheet` — its name; the first visible one where it is `None`
///
/// # Errors
/// A file that is no spreadsheet, no such sheet, an empty sheet, and one beyond the limits.
pub fn records(file: &str, bytes: &[u8], sheet: Option<&str>) -> Result<Records<'static>, Faults> {
    let format = unpack::format(bytes).map_err(|why| Fault::error(file, why))?;
    let (name, cells) = guard::guarded(|| match format {
        unpack::Format::Xlsx => xlsx_cells(bytes, sheet),
        unpack::Format::Ods => ods_cells(bytes, sheet),
    })
    .map_err(|why| Fault::error(file, why))?;
    let (origin, rows) = rows(file, name, cells)?;
    Ok(Records {
        // A number stored as text is written the way the person writes numbers: a comma may be its point.
        decimal_comma: true,
        nothing: origin.error(
            1,
            None,
            "nothing on this sheet; expected a header row such as session, target_m, turns, long_cm and one row \
             a run",
        ),
        origin,
        rows: Box::new(rows.into_iter().map(Ok)),
    })
}

fn unreadable(error: impl std::fmt::Display) -> String {
    format!("could not be read as a spreadsheet: {}", beginning(&error))
}

fn xlsx_cells(bytes: &[u8], sheet: Option<&str>) -> Result<(String, Vec<Cell>), String> {
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).map_err(unreadable)?;
    let name = choose(book.sheets_metadata(), sheet)?;
    let mut reader = book.worksheet_cells_reader(&name).map_err(unreadable)?;
    let mut cells = Cells::default();
    while let Some(cell) = reader
        .next_cell_with_formula_metadata()
        .map_err(unreadable)?
    {
        let (row, column) = cell.pos;
        match (Data::from(cell.value), cell.formula) {
            (Data::Empty, Some(formula)) => {
                let text = match formula {
                    XlsxFormulaMetadata::Normal { formula }
                    | XlsxFormulaMetadata::Shared { formula, .. } => formula,
                    _ => String::new(),
                };
                cells.add_text(row, column, &format!("={text}"))?;
            }
            (data, _) => cells.add(row, column, &data)?,
        }
    }
    Ok((name, cells.found))
}

fn ods_cells(bytes: &[u8], sheet: Option<&str>) -> Result<(String, Vec<Cell>), String> {
    let content = unpack::part(bytes, "content.xml")?;
    // Repeated cells are written once and unrolled on reading; what they unroll to must be known before.
    extent::within_limits(&content)?;
    extent::is_balanced(&content)?;
    let mut book: Ods<_> = Ods::new(Cursor::new(bytes)).map_err(unreadable)?;
    let name = choose(book.sheets_metadata(), sheet)?;
    let range = book.worksheet_range(&name).map_err(unreadable)?;
    let (top, left) = range.start().unwrap_or_default();
    let mut cells = Cells::default();
    for (row, column, data) in range.used_cells() {
        cells.add(top + row as u32, left + column as u32, data)?;
    }
    let formulas = book.worksheet_formula(&name).map_err(unreadable)?;
    let (top, left) = formulas.start().unwrap_or_default();
    for (row, column, formula) in formulas.used_cells() {
        let (row, column) = (top + row as u32, left + column as u32);
        // Written with the prefix of its language: `of:=[.B2]*2`.
        let text = formula.split_once('=').map_or("", |(_, text)| text);
        if range
            .get_value((row, column))
            .is_none_or(|data| *data == Data::Empty)
        {
            cells.add_text(row, column, &format!("={text}"))?;
        }
    }
    Ok((name, cells.found))
}

/// The sheet of that name, else the first that can be seen.
fn choose(sheets: &[Sheet], wanted: Option<&str>) -> Result<String, String> {
    let names = || sheets.iter().map(|sheet| sheet.name.as_str());
    if let Some(wanted) = wanted {
        if names().any(|name| name == wanted) {
            return Ok(wanted.to_string());
        }
        let advice = match keys::nearest(wanted, names()) {
            Some(near) => format!("the nearest is {near}"),
            None => format!("it has {}", names().collect::<Vec<_>>().join(", ")),
        };
        return Err(format!("there is no sheet {wanted}; {advice}"));
    }
    let of_cells = |sheet: &&Sheet| sheet.typ == SheetType::WorkSheet;
    let seen = |sheet: &&Sheet| of_cells(sheet) && sheet.visible == SheetVisible::Visible;
    sheets
        .iter()
        .find(seen)
        .or_else(|| sheets.iter().find(of_cells))
        .map(|sheet| sheet.name.clone())
        .ok_or_else(|| "there is no sheet of cells in it".to_string())
}

/// The filled cells read so far, within the limits.
#[derive(Default)]
struct Cells {
    found: Vec<Cell>,
    bytes: u64,
}

impl Cells {
    fn add(&mut self, row: u32, column: u32, data: &Data) -> Result<(), String> {
        self.add_text(row, column, &cell_text(data))
    }

    fn add_text(&mut self, row: u32, column: u32, text: &str) -> Result<(), String> {
        let text = text.trim();
        if text.is_empty() {
            return Ok(());
        }
        if text.chars().count() > limits::CELL_CHARACTERS {
            return Err(format!(
                "row {}, column {}: the cell has more than {} characters",
                row + 1,
                letters(column as usize),
                limits::CELL_CHARACTERS
            ));
        }
        self.bytes += text.len() as u64;
        if self.bytes > limits::UNPACKED_BYTES {
            return Err(unpack::too_large());
        }
        self.found.push((row, column, text.to_string()));
        Ok(())
    }
}

/// What stands in a cell, as a person would type it into a text file; for a formula, the value last computed. (A formula
/// that was never computed stands there itself, after its equals sign: nothing else begins with one.)
fn cell_text(data: &Data) -> String {
    match data {
        Data::Empty => String::new(),
        Data::String(text) => text.clone(),
        Data::Int(number) => number.to_string(),
        Data::Float(number) => number.to_string(),
        Data::Bool(truth) => truth.to_string(),
        Data::Error(error) => error.to_string(),
        Data::DurationIso(text) => text.clone(),
        Data::DateTimeIso(text) => without_midnight(text.clone()),
        Data::DateTime(moment) => {
            let (year, month, day, hour, minute, second, milli) = moment.to_ymd_hms_milli();
            if moment.is_duration() || (milli, year) == (0, 1899) {
                return format!("{hour}:{minute:02}:{second:02}");
            }
            without_midnight(format!(
                "{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}"
            ))
        }
    }
}

fn without_midnight(text: String) -> String {
    match text.strip_suffix("T00:00:00") {
        Some(date) => date.to_string(),
        None => text,
    }
}

/// Cells in rows of equal length, comments and blank rows left out.
fn rows(file: &str, sheet: String, mut cells: Vec<Cell>) -> Result<(Origin, Vec<Record>), Faults> {
    cells.sort_by_key(|&(row, column, _)| (row, column));
    let comments = |cells: &[Cell]| {
        cells
            .first()
            .is_some_and(|(_, _, text)| text.starts_with('#'))
    };
    let rows: Vec<&[Cell]> = cells
        .chunk_by(|a, b| a.0 == b.0)
        .filter(|row| !comments(row))
        .collect();
    // People fill a formula down beyond the last run; such rows are blank, unless nothing else is there.
    let is_filled = |row: &&[Cell]| row.iter().any(|(_, _, text)| !text.starts_with('='));
    let any_run = rows.iter().skip(1).any(&is_filled);
    let rows: Vec<&[Cell]> = rows
        .into_iter()
        .filter(|row| !any_run || is_filled(row))
        .collect();
    let columns = || rows.iter().flat_map(|row| row.iter().map(|cell| cell.1));
    let first_column = columns().min().unwrap_or(0) as usize;
    let width = columns()
        .max()
        .map_or(0, |last| last as usize + 1 - first_column);
    let origin = Origin {
        file: file.to_string(),
        sheet: Some(SheetOrigin {
            name: sheet,
            first_column,
        }),
    };
    if width > limits::COLUMNS {
        return Err(origin
            .too_many_columns(rows[0][0].0 as usize + 1, width)
            .into());
    }
    if rows.len() > limits::SHEET_ROWS + 1 {
        let line = rows[limits::SHEET_ROWS + 1][0].0 as usize + 1;
        return Err(origin.too_many_rows(line, limits::SHEET_ROWS).into());
    }
    let records = rows
        .iter()
        .map(|row| {
            let mut cells = vec![""; width];
            for (_, column, text) in *row {
                cells[*column as usize - first_column] = text;
            }
            Record {
                line: row[0].0 as usize + 1,
                cells: cells.into(),
            }
        })
        .collect();
    Ok((origin, records))
}
