//! The empty log as a workbook. The only file that knows the workbook crate.

use super::columns::{LogColumn, Takes, columns};
use crate::report::page::CAUTIONS;
use crate::setup::Setup;
use crate::units::at_most_decimals;
use rust_xlsxwriter::{
    Color, DataValidation, DataValidationErrorStyle, DataValidationRule, DocProperties,
    ExcelDateTime, Format, FormatAlign, FormatBorder, Formula, Workbook, Worksheet, XlsxError,
};

/// Name of the sheet that is read: the first.
const RUNS: &str = "runs";
/// Name of the sheet with the names that are offered.
const LISTS: &str = "lists";
const MEANINGS: &str = "what each column means";
/// Last row (from 0) whose cells are checked: more runs than most seasons have.
const LAST_ROW: u32 = 2000;
/// How many names a list may hold.
const NAMES: u32 = 40;
/// Headings of columns that every run needs, and of the others.
const NEEDED: Color = Color::RGB(0x1F_4E_79);
const OPTIONAL: Color = Color::RGB(0x5B_7F_A3);

/// The workbook's bytes.
///
/// # Errors
/// Any error of the crate: of a text too long for its place, which no input makes longer.
pub(super) fn bytes(setup: &Setup) -> Result<Vec<u8>, XlsxError> {
    let columns = columns(setup);
    let mut book = Workbook::new();
    // No clock: the file depends on the set-up alone.
    let made = ExcelDateTime::from_ymd(2026, 1, 1)?;
    book.set_properties(&DocProperties::new().set_creation_datetime(&made));
    runs(book.add_worksheet(), &columns)?;
    lists(book.add_worksheet(), &columns, setup)?;
    meanings(book.add_worksheet(), &columns)?;
    book.save_to_buffer()
}

fn heading(color: Color) -> Format {
    Format::new()
        .set_bold()
        .set_font_color(Color::White)
        .set_background_color(color)
        .set_border_bottom(FormatBorder::Thin)
}

fn wrapped() -> Format {
    Format::new().set_text_wrap().set_align(FormatAlign::Top)
}

/// Names a sheet, keeps its headings in sight, and fits its columns on one page's width.
fn lay_out(sheet: &mut Worksheet, name: &str) -> Result<(), XlsxError> {
    sheet.set_name(name)?;
    sheet.set_freeze_panes(1, 0)?;
    sheet.set_landscape();
    sheet.set_print_fit_to_pages(1, 0);
    Ok(())
}

/// The log itself.
fn runs(sheet: &mut Worksheet, columns: &[LogColumn]) -> Result<(), XlsxError> {
    lay_out(sheet, RUNS)?;
    sheet.set_print_gridlines(true);
    sheet.set_repeat_rows(0, 0)?;
    let mut list = 0;
    for (at, column) in (0..).zip(columns) {
        sheet.set_column_width(at, column.width)?;
        // Names stay as they are typed: a spreadsheet program makes a date of "14 Mar".
        match column.takes {
            Takes::Text | Takes::Name => {
                sheet.set_column_format(at, &Format::new().set_num_format("@"))?;
            }
            Takes::Day => {
                sheet.set_column_format(at, &Format::new().set_num_format("yyyy-mm-dd"))?;
            }
            _ => {}
        }
        let color = if column.is_needed { NEEDED } else { OPTIONAL };
        sheet.write_with_format(0, at, column.column.name(), &heading(color))?;
        if let Some(check) = check(column, at, list)? {
            sheet.add_data_validation(1, at, LAST_ROW, at, &check)?;
        }
        list += u16::from(matches!(column.takes, Takes::Name));
    }
    Ok(())
}

/// What the cells of a column are checked for; `None` where anything may stand.
///
/// * `at` — the column's index on its sheet
/// * `list` — index of its list of names, where it takes one
fn check(column: &LogColumn, at: u16, list: u16) -> Result<Option<DataValidation>, XlsxError> {
    let name = column.column.name();
    let check = DataValidation::new();
    let check = match column.takes {
        Takes::Text | Takes::Day => return Ok(None),
        Takes::Name => check
            .allow_list_formula(Formula::new(names(list)))
            .set_error_style(DataValidationErrorStyle::Warning)
            .set_error_title("A new name?")?
            .set_error_message(format!(
                "This name is not in the list on the sheet \"{LISTS}\". Is it new, then add it there: a name written in two \
                 ways counts as two."
            ))?,
        Takes::Word(words) => refusing(
            check.allow_list_strings(words)?,
            format!("Expected one of {}, or nothing.", words.join(", ")),
        )?
        .set_input_title(name)?
        .set_input_message(column.means.as_str())?,
        Takes::Whole(least, most) => refusing(
            check.allow_whole_number(DataValidationRule::Between(least, most)),
            format!("Expected a whole number of {name}, {least} to {most}. Is there a digit too many?"),
        )?,
        Takes::Number(least, most) => refusing(
            check.allow_decimal_number(DataValidationRule::Between(least, most)),
            format!(
                "{name}: expected a number from {} to {}. Is there a digit too many (120 for 12), is its point missing, or \
                 does it belong in another column?",
                at_most_decimals(least, 2),
                at_most_decimals(most, 2)
            ),
        )?,
        Takes::Measured(least, most) => refusing(
            check.allow_custom(Formula::new(within(at, least, most))),
            format!(
                "{name}: expected a number from {} to {}. Is there a digit too many, or is its point missing?",
                at_most_decimals(least, 2),
                at_most_decimals(most, 2)
            ),
        )?
        .set_input_title(name)?
        .set_input_message(column.means.as_str())?,
    };
    Ok(Some(check))
}

fn refusing(check: DataValidation, why: String) -> Result<DataValidation, XlsxError> {
    check
        .set_error_style(DataValidationErrorStyle::Stop)
        .set_error_title("Please look again")?
        .set_error_message(why)
}

/// The cells of a list of names.
fn names(list: u16) -> String {
    let letter = letter(list);
    format!("={LISTS}!${letter}$2:${letter}${}", NAMES + 1)
}

/// The condition that a cell of the first row holds no number, or one within the range.
fn within(at: u16, least: f64, most: f64) -> String {
    let cell = format!("{}2", letter(at));
    format!("=OR(NOT(ISNUMBER({cell})),AND({cell}>={least},{cell}<={most}))")
}

/// The letter of one of the first 26 columns.
fn letter(at: u16) -> char {
    char::from(b'A' + (at % 26) as u8)
}

/// Height of a row, in points, whose longest text takes so many lines of the column of meanings.
fn height(text: &str) -> f64 {
    const CHARACTERS_A_LINE: usize = 90;
    const LINE: f64 = 15.0;
    LINE * text.chars().count().div_ceil(CHARACTERS_A_LINE).max(1) as f64
}

/// The names that the log offers, for people to fill in.
fn lists(sheet: &mut Worksheet, columns: &[LogColumn], setup: &Setup) -> Result<(), XlsxError> {
    lay_out(sheet, LISTS)?;
    let named: Vec<&LogColumn> = columns
        .iter()
        .filter(|column| matches!(column.takes, Takes::Name))
        .collect();
    for (at, column) in (0..).zip(&named) {
        let name = column.column.name();
        sheet.set_column_width(at, 18.0)?;
        sheet.set_column_format(at, &Format::new().set_num_format("@"))?;
        sheet.write_with_format(0, at, name, &heading(OPTIONAL))?;
        if column.column == crate::columns::Column::Wheels {
            for (row, label) in (1..=NAMES).zip(setup.wheels_diameter_m.keys()) {
                sheet.write_string(row, at, label)?;
            }
        }
    }
    let beside = named.len() as u16 + 1;
    sheet.set_column_width(beside, 60.0)?;
    let about = format!(
        "Write each name once, below its heading: the sheet \"{RUNS}\" then offers it. Other names may be typed there too; \
         you are asked whether they are new. This sheet is not read by haltmark."
    );
    sheet.write_with_format(1, beside, about, &wrapped())?;
    Ok(())
}

/// What each column means, where plus and minus lie, cautions, and how to go on.
fn meanings(sheet: &mut Worksheet, columns: &[LogColumn]) -> Result<(), XlsxError> {
    lay_out(sheet, MEANINGS)?;
    let heads = [
        ("column", 16.0),
        ("needed", 9.0),
        ("what it means", 100.0),
        ("for example", 16.0),
    ];
    for (at, (head, width)) in (0..).zip(heads) {
        sheet.set_column_width(at, width)?;
        sheet.write_with_format(0, at, head, &heading(NEEDED))?;
    }
    let bold = wrapped().set_bold();
    let mut row = 1;
    for column in columns {
        sheet.write_with_format(row, 0, column.column.name(), &bold)?;
        sheet.write_with_format(
            row,
            1,
            if column.is_needed { "yes" } else { "" },
            &wrapped(),
        )?;
        sheet.write_with_format(row, 2, column.means.as_str(), &wrapped())?;
        sheet.set_row_height(row, height(&column.means))?;
        sheet.write_with_format(row, 3, column.example, &wrapped())?;
        row += 1;
    }
    let sketch = Format::new().set_font_name("Courier New");
    let texts = [
        ("Where plus and minus lie", &SKETCH[..], &sketch),
        ("", &SIDES[..], &wrapped()),
        ("Cautions", &CAUTIONS[..], &wrapped()),
        ("How to go on", &NEXT[..], &wrapped()),
    ];
    for (head, lines, format) in texts {
        row += 1;
        sheet.write_with_format(row, 0, head, &Format::new().set_bold())?;
        for line in lines {
            row += 1;
            sheet.write_with_format(row, 2, *line, format)?;
            sheet.set_row_height(row, height(line))?;
        }
        row += 1;
    }
    Ok(())
}

/// A sketch of the floor from above, in letters of equal width.
const SKETCH: [&str; 7] = [
    "                     + long: past the target",
    "                     |",
    "  - left ------------X------------ right +      X: the target",
    "                     |",
    "                     - short: before it",
    "                     |",
    "                     start mark: stand here and look at the target",
];

/// What the sketch says, in words.
const SIDES: [&str; 2] = [
    "Long and short are along the line from the start mark to the target, right and left across it. Every run is measured at \
     the one point of the vehicle that was set on the start mark.",
    "Instead of a sign a word may stand: 14 short, 6 left. A cell with ?, - or n/a was not measured.",
];

const NEXT: [&str; 3] = [
    "Only the first sheet is read. Its columns may stand in any order, and those you do not need may be taken out.",
    "haltmark check FILE names every slip with its row; haltmark fit FILE makes report, settings and card. Close the file in \
     the spreadsheet program first.",
    "Eight to twelve launches at quite different targets are a start; two or three more days tell how days differ.",
];
