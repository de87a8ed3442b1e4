//! How large a log may be. Beyond a limit a file is refused by name, so that no file, however made, takes more than
//! about one and a half gigabytes of memory: the text, held whole while it is read, and 216 bytes a run. A league's
//! archive of a million runs is 60 MB of text.

/// Bytes of one text file. A season is a hundred kilobytes.
pub const TEXT_BYTES: u64 = 1 << 30;
/// Bytes of one file that has to be rewritten as a whole: a spreadsheet, or text that is not UTF-8 or has no line feed.
pub const FILE_BYTES: u64 = 32 << 20;
/// Bytes of everything inside one spreadsheet once unpacked.
pub const UNPACKED_BYTES: u64 = 64 << 20;
/// Rows of a spreadsheet: 100 000 rows of 100 cells are 240 MB of cells at the very worst.
pub const SHEET_ROWS: usize = 100_000;
/// Runs in a season, rows in a text file.
pub const ROWS: usize = 2_000_000;
/// Different labels in a season, of all kinds together.
pub const LABELS: usize = 500_000;
/// Bytes of all different labels together.
pub const LABEL_BYTES: usize = 32 << 20;
/// Columns in a file.
pub const COLUMNS: usize = 100;
/// Characters in one cell: a long note has some hundreds.
pub const CELL_CHARACTERS: usize = 5_000;
/// Characters in one row.
pub const ROW_CHARACTERS: usize = 50_000;
/// Faults that are listed; somebody who has mended these will look again.
pub const FAULTS: usize = 1_000;
