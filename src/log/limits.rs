//! How large a log may be. Beyond a limit a file is refused by name, so that no file, however made, takes more
//! than about half a gigabyte of memory: 100 000 rows of 100 cells are 240 MB of cells at the very worst, beside
//! the file itself and its unpacked text.

/// Bytes of one file. A season is a hundred kilobytes.
pub const FILE_BYTES: u64 = 32 << 20;
/// Bytes of everything inside one spreadsheet once unpacked.
pub const UNPACKED_BYTES: u64 = 64 << 20;
/// Runs in a season, rows in a file.
pub const ROWS: usize = 100_000;
/// Columns in a file.
pub const COLUMNS: usize = 100;
/// Characters in one cell: a long note has some hundreds.
pub const CELL_CHARACTERS: usize = 5_000;
/// Characters in one row.
pub const ROW_CHARACTERS: usize = 50_000;
/// Faults that are listed; somebody who has mended these will look again.
pub const FAULTS: usize = 1_000;
